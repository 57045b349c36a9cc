//! What a decision about a run is told besides the run itself: who acts, tests, consent, plan, lots.

use time::{Duration, OffsetDateTime};

use super::lots;
use super::run_hands;
use super::runs::{Hand, Loaded};
use crate::app::App;
use crate::calendar::Zone;
use crate::domain::chemistry::family::Family;
use crate::domain::ids::{ClientId, LotId, PersonId, PlanId, ProductId, RunId, StationId};
use crate::domain::lot::Verdict;
use crate::domain::protocol::Chemical;
use crate::domain::qualification::Chemistry;
use crate::domain::run::holds::{
    ConsentRecord, LawVerdict, LotRecord, PATCH_TEST_MOST_DAYS, PatchTestRecord, PlanRecord, PlanVerdict,
    Reaction, SkinOutcome, SkinReading, StrandTestRecord, strand_test_stands,
};
use crate::domain::run::{Actor, Command, Context, HoldContext};
use crate::store::people::Person;
use crate::store::products;
use crate::store::run_frames::{self, ConsentRow, LotRow, PatchRow, PlanHead, StrandTestRow, Told};
use crate::store::run_past;
use crate::store::salons::{self, Salon};
use crate::store::{Scoped, StoreError, Stored};

/// A visit's consent and plan may be this much older than the run's start; the database says the same.
const VISIT: Duration = Duration::hours(12);
/// Age under which a guardian signs (trade-rules.md: under 18, local law decides).
const MINOR_YEARS: i32 = 18;

/// Everything `decide` asks for, read under the run's locks.
pub async fn context(s: &mut Scoped, app: &App, loaded: &Loaded, hand: Hand<'_>) -> Stored<Context> {
    let salon = salons::find(s).await?.ok_or_else(|| StoreError::Corrupt("salon", s.salon.to_string()))?;
    let holds = hold_context(s, app, loaded, &salon).await?;
    Ok(Context {
        now: loaded.now,
        actor: hand.person.map(actor),
        station: hand.station.unwrap_or(StationId(0)),
        holds,
        hands_until: None,
    })
}

/// The same for a command: an opening step also asks until when qualified hands stay.
pub async fn command_context(
    s: &mut Scoped,
    app: &App,
    loaded: &Loaded,
    hand: Hand<'_>,
    command: &Command,
) -> Stored<Context> {
    let mut context = context(s, app, loaded, hand).await?;
    if let Command::StartStep { step } = command
        && run_hands::asked_for(loaded.frame.protocol.step(step))
    {
        context.hands_until = run_hands::known(s, loaded, hand.person).await?.until();
    }
    Ok(context)
}

/// A person as far as a run cares.
pub fn actor(p: &Person) -> Actor {
    Actor { person: p.id, role: p.role, qualified: Chemistry::families(&p.qualifications) }
}

fn outcome(code: &str) -> SkinOutcome {
    match code {
        "no-reaction" => SkinOutcome::NoReaction,
        "itching" => SkinOutcome::Itching,
        "redness" => SkinOutcome::Redness,
        "swelling" => SkinOutcome::Swelling,
        "blister" => SkinOutcome::Blister,
        // Anything unreadable is taken as the worst.
        _ => SkinOutcome::RashElsewhere,
    }
}

fn patch(row: PatchRow) -> PatchTestRecord {
    let mut readings = Vec::new();
    if let (Some(read_at), Some(code)) = (row.read_at, &row.outcome) {
        let by = PersonId(row.read_by.unwrap_or(0));
        readings.push(SkinReading { read_at, by, outcome: outcome(code), in_chair: true });
    }
    if let (Some(read_at), Some(code)) = (row.told_at, &row.told_outcome) {
        readings.push(SkinReading { read_at, by: PersonId(0), outcome: outcome(code), in_chair: false });
    }
    PatchTestRecord {
        product: ProductId(row.product_id),
        family: Family::from_code(&row.family).unwrap_or(Family::Unknown),
        placed_at: row.placed_at,
        readings,
        formula_changed: row.formula_changed,
    }
}

fn strand_test(row: StrandTestRow) -> StrandTestRecord {
    StrandTestRecord {
        product: ProductId(row.product_id),
        strength: row.strength,
        read_at: row.done_at,
        formed: row.curl_formed,
        stretch_returns: row.wet_stretch == "returns",
        breaks: row.wet_stretch == "breaks",
        gummy: row.gummy,
        put_on_since: row.put_on_since,
    }
}

fn lot(row: &LotRow, law: LawVerdict, zone: &Zone) -> LotRecord {
    let after = |day: Option<time::Date>, days: i64| {
        day.and_then(|d| d.checked_add(Duration::days(days))).map(|d| zone.midnight(d))
    };
    LotRecord {
        lot: LotId(row.lot_id),
        product: ProductId(row.product_id),
        expires_at: after(row.best_before, 1),
        opened_until: row.opened_life_days.and_then(|life| after(row.opened_on, i64::from(life) + 1)),
        law,
        withdrawn: row.withdrawn,
        quarantined: row.quarantined,
        came_in_grams: row.received_grams.ceil() as u32,
    }
}

/// A strand was taken through with every product of this service that opens the hair, and passed: nothing is left to
/// write down where the strand tests are read.
pub async fn strand_tests_stand(s: &mut Scoped, loaded: &Loaded) -> Stored<bool> {
    let (client, run) = (ClientId(loaded.run.client_id), RunId(loaded.run.run_id));
    let tests: Vec<StrandTestRecord> =
        run_frames::list_strand_tests(s, client, run).await?.into_iter().map(strand_test).collect();
    let opens =
        |letter| loaded.frame.protocol.application(letter).is_some_and(|a| a.chemical == Chemical::Opening);
    let mut asked = loaded.frame.products.iter().filter(|p| opens(p.application));
    Ok(asked.all(|p| strand_test_stands(&tests, p, loaded.now).is_ok()))
}

/// Whole years between two days.
pub fn age_years(born: time::Date, on: time::Date) -> i32 {
    let years = on.year() - born.year();
    let before = (on.month() as u8, on.day()) < (born.month() as u8, born.day());
    years - i32::from(before)
}

async fn hold_context(s: &mut Scoped, app: &App, loaded: &Loaded, salon: &Salon) -> Stored<HoldContext> {
    let (client, plan, run) =
        (ClientId(loaded.run.client_id), PlanId(loaded.run.plan_id), RunId(loaded.run.run_id));
    let zone = Zone::find(&salon.zone).ok_or_else(|| StoreError::Corrupt("salon", salon.zone.clone()))?;
    let strand_tests: Vec<StrandTestRecord> =
        run_frames::list_strand_tests(s, client, run).await?.into_iter().map(strand_test).collect();
    let strand_test_needed = loaded.products.iter().any(|p| p.strand_test_asked);
    let mut holds = HoldContext {
        visit_from: loaded.run.started_at - VISIT,
        patch_test_days: u16::try_from(salon.patch_valid_days).unwrap_or(2),
        patch_tests: run_frames::list_patches(s, client).await?.into_iter().map(patch).collect(),
        reactions: reactions(&run_frames::list_reactions(s, client).await?),
        strand_test_needed,
        strand_tests,
        consent: consent(run_frames::find_consent(s, client).await?, &zone, loaded.now),
        plan: None,
        lots: lots(s, app, loaded, salon, &zone).await?,
    };
    holds.plan = plan_record(loaded, run_frames::find_plan(s, plan, Some(run)).await?, &holds);
    Ok(holds)
}

/// The plan's lots, each with what the law says of it: the worse of its verdict at reception and of today's.
async fn lots(
    s: &mut Scoped,
    app: &App,
    loaded: &Loaded,
    salon: &Salon,
    zone: &Zone,
) -> Stored<Vec<LotRecord>> {
    let of = (PlanId(loaded.run.plan_id), RunId(loaded.run.run_id));
    let mut records = Vec::new();
    let mut known: Vec<products::Product> = Vec::new();
    for row in run_frames::list_lots(s, of, zone.day_of(loaded.now)).await? {
        if !known.iter().any(|p| p.product_id == row.product_id) {
            known.extend(products::find(s, ProductId(row.product_id)).await?);
        }
        let product = known.iter().find(|p| p.product_id == row.product_id);
        let law = product.map_or(LawVerdict::NotJudged, |p| {
            match lots::law_now(app, &salon.place, p, (&row.law_verdict, row.contents.as_ref(), row.ph)) {
                Verdict::Outside => LawVerdict::Exceeds,
                Verdict::Within => LawVerdict::Within,
                Verdict::NotJudged => LawVerdict::NotJudged,
            }
        });
        records.push(lot(&row, law, zone));
    }
    Ok(records)
}

fn reactions(told: &[Told]) -> Vec<Reaction> {
    let mut all = Vec::new();
    for told in told {
        all.extend(
            told.reaction_families
                .iter()
                .filter_map(|f| Family::from_code(f))
                .map(|family| Reaction { family }),
        );
        if told.black_henna_reaction {
            all.extend([Family::OxidativeColour, Family::DirectDye].map(|family| Reaction { family }));
        }
    }
    all
}

fn consent(row: Option<ConsentRow>, zone: &Zone, at: OffsetDateTime) -> Option<ConsentRecord> {
    row.map(|c| ConsentRecord {
        signed_at: c.signed_at,
        guardian_needed: c.born_on.is_some_and(|b| age_years(b, zone.day_of(at)) < MINOR_YEARS),
        guardian_signed: c.signer == "guardian",
    })
}

fn plan_record(loaded: &Loaded, head: Option<PlanHead>, holds: &HoldContext) -> Option<PlanRecord> {
    let head = head?;
    let tests_passed = loaded.products.iter().zip(&loaded.frame.products).all(|(asked, product)| {
        !asked.strand_test_asked || holds.strand_test_holds_at(product, loaded.now).is_ok()
    });
    let verdict = match head.verdict.as_str() {
        "clear" => PlanVerdict::Clear,
        "test-first" => PlanVerdict::TestFirst { passed: tests_passed },
        "wait" => PlanVerdict::Wait,
        _ => PlanVerdict::Refuse,
    };
    Some(PlanRecord { verdict, checked_at: head.made_at, stale: head.stale })
}

/// What the hold points of a run rested on at `loaded.now`, an instant gone by, as far as the tables still
/// tell. A salon may shorten how long a patch test holds; the past is judged by the longest there is.
pub async fn holds_then(s: &mut Scoped, loaded: &Loaded) -> Stored<HoldContext> {
    let salon = salons::find(s).await?.ok_or_else(|| StoreError::Corrupt("salon", s.salon.to_string()))?;
    let zone = Zone::find(&salon.zone).ok_or_else(|| StoreError::Corrupt("salon", salon.zone.clone()))?;
    let (client, plan, run, at) =
        (ClientId(loaded.run.client_id), PlanId(loaded.run.plan_id), RunId(loaded.run.run_id), loaded.now);
    let mut holds = HoldContext {
        visit_from: loaded.run.started_at - VISIT,
        patch_test_days: PATCH_TEST_MOST_DAYS,
        patch_tests: run_past::list_patches(s, client, at).await?.into_iter().map(patch).collect(),
        reactions: reactions(&run_past::list_reactions(s, client, at).await?),
        strand_test_needed: loaded.products.iter().any(|p| p.strand_test_asked),
        strand_tests: run_past::list_strand_tests(s, client, run, at)
            .await?
            .into_iter()
            .map(strand_test)
            .collect(),
        consent: consent(run_past::find_consent(s, client, at).await?, &zone, at),
        plan: None,
        lots: run_past::list_lots(s, run, at)
            .await?
            .iter()
            // What the law said then is not kept.
            .map(|l| lot(l, LawVerdict::NotJudged, &zone))
            .collect(),
    };
    holds.plan = plan_record(loaded, run_past::find_plan(s, plan, run, at).await?, &holds);
    Ok(holds)
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::date;

    #[test]
    fn an_age_turns_on_the_birthday() {
        assert_eq!(age_years(date!(2010 - 05 - 14), date!(2028 - 05 - 13)), 17);
        assert_eq!(age_years(date!(2010 - 05 - 14), date!(2028 - 05 - 14)), 18);
        assert_eq!(age_years(date!(2008 - 02 - 29), date!(2026 - 02 - 28)), 17);
        assert_eq!(age_years(date!(2008 - 02 - 29), date!(2026 - 03 - 01)), 18);
    }
}
