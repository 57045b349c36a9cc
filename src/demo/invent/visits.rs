//! A visit as the program would have it on record: consult, readings, the check of the plan, tests, consent, the service.

use serde_json::Value;
use time::{Duration, OffsetDateTime};

use super::Invention;
use super::calls::{Booked, Turn};
use super::heads::{Head, Metal};
use super::kinds::Kind;
use super::text::{Table, canonical};
use super::world::next;
use crate::calendar::{day_words, iso_day};
use crate::domain::chemistry::Verdict;
use crate::domain::consult::{Circumstance, Told};
use crate::domain::growth::Observation;
use crate::domain::plan_check::{
    self, Found as Finding, Head as Checked, MetalSeen, PlannedProduct, Skin, StrandTest,
};
use crate::domain::strand::Zone;
use crate::flow::plans::{kept_application, kept_finding, zone_columns};
use crate::flow::readings::INDEX_SD;
use crate::reference::consent::ConsentValues;

/// Days a strand test may be old when a visit begins: one less than it holds (trade-rules.md, from memory), for its step
/// comes later.
const STRAND_HOLDS_DAYS: i64 = 13;
/// Least age of the salon, years.
const LEAST_AGE: u8 = 16;
/// Of strand tests: how many fail (common practice, no source).
const BREAKS: f64 = 0.004;
/// Of consults: how many tell of medication (common practice, no source).
const MEDICATED: f64 = 0.015;

impl Invention {
    /// A few minutes after the hour, as people come.
    pub(super) fn jittered(&mut self, head: usize, from: OffsetDateTime) -> OffsetDateTime {
        let late = self.heads[head].dice.whole(0, 300_000_000);
        from + Duration::microseconds(late)
    }

    /// The service of a booking, as far as the head lets it.
    pub(super) fn visit(&mut self, head: usize, booked: Booked) {
        let (day, by) = (booked.found.day, booked.found.stylist);
        let today = self.world.date(day);
        let start = self.jittered(head, booked.from);
        let before = |minutes: i64| start - Duration::minutes(minutes);
        let told = self.consult(head, (before(20), by));
        if !std::mem::replace(&mut self.heads[head].laid, true) {
            self.first_told(head, (before(19), by));
        }
        // A strand's days only ever go on: a visit is never before the last.
        let _ = self.heads[head].strand.grow_to(today);
        self.reading(head, today, (before(15), by));
        let mut found = self.check(head, booked.kind, (today, start), &told);
        let asked: Vec<i64> = self.planned(head, booked.kind, start, &found);
        for product in asked {
            let passes = !self.heads[head].dice.chance(BREAKS);
            self.strand_test(head, booked.kind, product, (before(40), by, day), passes);
            if !passes {
                self.heads[head].strand_tests.remove(&product);
            }
        }
        found = self.check(head, booked.kind, (today, start), &told);
        let open = !self.planned(head, booked.kind, start, &found).is_empty();
        let verdict = plan_check::worst(&found);
        let plan = self.plan(head, booked.kind, (before(6), by), (&found, open));
        if open || verdict > Verdict::TestFirst {
            self.counts.refused += 1;
            return match self.heads[head].metal {
                Metal::Told => self.metal_test(head, (start + Duration::minutes(4), by, day)),
                _ => self.go_on_after_refusal(head, day, &found),
            };
        }
        self.consent(head, (before(4), by), today);
        self.give(head, booked.kind, plan, (start, day), by);
        self.counts.services += 1;
        let h = &mut self.heads[head];
        h.given += 1;
        h.failed = 0;
        h.strand_tests.clear();
        h.met.extend(self.world.kinds[booked.kind].opening().map(|(_, id)| id.0));
        h.root_met = Some(today);
        self.agree_on_next(head, day);
    }

    /// A wait is waited for, what a strand test or the check refuses ends the line.
    fn go_on_after_refusal(&mut self, head: usize, day: usize, found: &[Finding]) {
        let until = found.iter().filter(|f| f.verdict == Verdict::Wait).filter_map(|f| f.until).max();
        if let (Some(until), Verdict::Wait) = (until, plan_check::worst(found)) {
            let days = usize::try_from((until - self.world.date(day)).whole_days()).unwrap_or(1);
            self.turn(day + 1, 10 * 60, head, Turn::Call { wanted: day + days.max(1) });
        }
    }

    /// Opening products that ask for a strand test which does not hold.
    fn planned(&self, head: usize, key: &str, at: OffsetDateTime, found: &[Finding]) -> Vec<i64> {
        let products = products(&self.heads[head], &self.world.kinds[key], at);
        let asks = products.iter().filter(|(p, _)| plan_check::asks_strand_test(p, found));
        asks.filter(|(p, _)| p.strand_test != StrandTest::Passed).map(|(_, id)| *id).collect()
    }

    fn check(
        &self,
        head: usize,
        key: &str,
        (today, at): (time::Date, OffsetDateTime),
        told: &Told,
    ) -> Vec<Finding> {
        let h = &self.heads[head];
        let products: Vec<PlannedProduct> =
            products(h, &self.world.kinds[key], at).into_iter().map(|(p, _)| p).collect();
        let known = Checked {
            strand: Some(&h.strand),
            odd: &[],
            felt: std::slice::from_ref(&h.felt),
            told: Some(told),
            circumstance: Circumstance {
                born_on: Some(h.born),
                taken_on: today,
                today,
                least_age_years: LEAST_AGE,
                metal_cleared: h.metal == Metal::Cleared,
            },
            metal: if h.metal == Metal::Cleared { MetalSeen::Negative } else { MetalSeen::NotCleared },
        };
        plan_check::check_service(&products, &known, &self.world.app.reference.rules)
    }

    fn consult(&mut self, head: usize, (at, by): (OffsetDateTime, usize)) -> Told {
        let mut told = self.heads[head].answers();
        told.medication = self.heads[head].dice.chance(MEDICATED);
        let reason = told.needs_reason().then(|| self.reason(head, at));
        let own: serde_json::Map<String, Value> =
            told.own.answers.iter().map(|(q, a)| (q.code().to_owned(), a.code().into())).collect();
        let id = next(&mut self.numbers.consult);
        self.batch
            .row(Table::Consult)
            .put(self.world.salon)
            .put(id)
            .put(self.heads[head].id)
            .at(at)
            .put(self.world.hands[by].id)
            .put("{}")
            .put(told.black_henna_reaction)
            .put(told.black_henna)
            .put(told.scalp.code())
            .put(told.scratched_within_3_days)
            .put(told.pregnant)
            .put(told.medication)
            .put(told.scalp_treatment)
            .put(told.home_colour.code())
            .put(told.silver_in_history)
            .maybe(reason)
            .maybe(told.own.sought.map(|s| s.code()))
            .words(&canonical(&Value::Object(own)))
            .end();
        told
    }

    /// Why a stylist goes on where the client was advised to ask a physician.
    fn reason(&mut self, head: usize, at: OffsetDateTime) -> i64 {
        let id = next(&mut self.numbers.answer);
        let salt = self.heads[head].dice.bits().to_be_bytes();
        let row = self.batch.row(Table::Answer).put(self.world.salon).put(id).put(self.heads[head].id);
        row.bytes(&salt).words("The physician was asked, and agrees.").at(at).end();
        id
    }

    /// What the first consult laid into the strand.
    fn first_told(&mut self, head: usize, (at, by): (OffsetDateTime, usize)) {
        let h = &self.heads[head];
        let (length, on) = h.began;
        self.batch.row(Table::Strand).put(self.world.salon).put(h.id).put(length).day(on).end();
        for (zone, exposure) in h.told.clone() {
            let did = Did {
                family: Some(exposure.family.code()),
                zone: Some(zone),
                known: "told",
                ..Did::default()
            };
            let did = Did { on_sd_days: exposure.on_sd_days, ..did };
            self.strand_event(head, ("apply", exposure.on), &did, (at, by));
        }
    }

    /// What hands and ruler found. One visit in seven nobody measured; one in five was read by eye.
    fn reading(&mut self, head: usize, today: time::Date, (at, by): (OffsetDateTime, usize)) {
        let h = &mut self.heads[head];
        let missed = h.dice.chance(0.14);
        let days = h.root_met.map_or(0, |on| (today - on).whole_days());
        let behind = days > 0 && h.strand.demarcation_mm() > 0.0;
        let by_eye = h.dice.chance(0.2);
        let sd: f64 = if by_eye { 4.0 } else { 2.0 };
        let natural = h.curl == "tight" && h.dice.chance(0.5);
        let index = if natural { h.curl_index } else { 1.0 };
        let grown = h.rate * days as f64;
        // Read to the half millimetre.
        let read = (h.dice.normal(grown / index, sd) * 2.0).round() / 2.0;
        let measured = (behind && !missed && read > 0.5).then_some((read, sd));
        let seen = measured.map(|(mm, sd)| match natural {
            true => Observation::natural(days as f64, (mm, sd), (index, INDEX_SD)),
            false => Observation { days: days as f64, mm, sd_mm: sd },
        });
        let code = |c: Option<&'static str>| c;
        let id = next(&mut self.numbers.reading);
        let felt = h.felt.clone();
        self.batch
            .row(Table::HairReading)
            .put(self.world.salon)
            .put(id)
            .put(h.id)
            .put("whole")
            .at(at)
            .put(self.world.hands[by].id)
            .maybe(measured.map(|m| m.0))
            .put(natural && measured.is_some())
            .maybe(measured.map(|m| m.1))
            .maybe(code(felt.texture.map(|t| t.code())))
            .maybe(code(felt.porosity.map(|t| t.code())))
            .put(h.density)
            .maybe(code(felt.wet_stretch.map(|t| t.code())))
            .put(felt.breakage)
            .put(felt.lightened)
            .put(false)
            .end();
        if let Some(seen) = seen.filter(|s| h.strand.measure(s.mm, s.sd_mm).is_ok()) {
            let did = Did { mm: Some(seen.mm), sd_mm: Some(seen.sd_mm), ..Did::default() };
            self.strand_event(head, ("measure", today), &did, (at, by));
        }
    }

    fn plan(
        &mut self,
        head: usize,
        key: &'static str,
        (at, by): (OffsetDateTime, usize),
        (found, open): (&[Finding], bool),
    ) -> i64 {
        let world = std::sync::Arc::clone(&self.world);
        let kind = &world.kinds[key];
        let products = products(&self.heads[head], kind, at);
        let kept: Vec<_> = found.iter().take(400).map(kept_finding).collect();
        let applications: Vec<_> =
            products.iter().map(|(p, id)| kept_application(p, crate::domain::ids::ProductId(*id))).collect();
        let verdict = plan_check::worst(found);
        let refused = open || verdict > Verdict::TestFirst;
        let json = |text: serde_json::Result<String>| text.unwrap_or_else(|_| "[]".to_owned());
        let (findings, applications) =
            (json(serde_json::to_string(&kept)), json(serde_json::to_string(&applications)));
        let verdict = if open { Verdict::Refuse } else { verdict };
        let id = self.plan_row(head, key, (at, by), (verdict, &findings, &applications, refused));
        for (p, product) in &products {
            let asked = plan_check::asks_strand_test(p, found);
            let row = self.batch.row(Table::PlanProduct).put(self.world.salon).put(id).put(p.letter);
            row.put(product).put(asked).end();
        }
        id
    }

    pub(super) fn plan_row(
        &mut self,
        head: usize,
        key: &'static str,
        (at, by): (OffsetDateTime, usize),
        (verdict, findings, applications, refused): (Verdict, &str, &str, bool),
    ) -> i64 {
        let world = std::sync::Arc::clone(&self.world);
        let kind = &world.kinds[key];
        let id = next(&mut self.numbers.plan);
        let h = &mut self.heads[head];
        let offer = refused.then_some("A trim, a treatment and a set today.");
        let answer = refused.then(|| *h.dice.pick(&["Yes, gladly.", "Not today."]));
        self.batch
            .row(Table::Plan)
            .put(self.world.salon)
            .put(id)
            .put(h.id)
            .put(&kind.code)
            .put(kind.revision)
            .at(at)
            .put(self.world.hands[by].id)
            .day(self.world.zone.day_of(at))
            .put(h.seq)
            .put(verdict.code())
            .words(findings)
            .words(applications)
            .maybe(offer)
            .maybe(answer)
            .end();
        id
    }

    fn consent(&mut self, head: usize, (at, by): (OffsetDateTime, usize), today: time::Date) {
        let h = &self.heads[head];
        let day = format!("{} {}", day_words(today), today.year());
        let values = ConsentValues {
            salon: &self.world.name,
            client: &h.name,
            day: &day,
            emergency_number: &self.world.emergency_number,
        };
        let words = self.world.app.reference.consent.words(false, &values);
        let id = next(&mut self.numbers.consent);
        let (station, _) = self.world.chairs[by % self.world.chairs.len()];
        self.batch
            .row(Table::Consent)
            .put(self.world.salon)
            .put(id)
            .put(h.id)
            .words(&words)
            .words(&h.name)
            .put("client")
            .put(station)
            .put(self.world.hands[by].id)
            .at(at)
            .end();
    }
}

/// What is written of a deed on a strand.
#[derive(Clone, Copy, Debug, Default)]
pub struct Did {
    pub family: Option<&'static str>,
    pub zone: Option<Zone>,
    pub known: &'static str,
    pub on_sd_days: f64,
    pub mm: Option<f64>,
    pub sd_mm: Option<f64>,
    pub run: Option<i64>,
    /// Of thio: straightened, or re-formed into curls.
    pub straightened: Option<bool>,
}

impl Invention {
    pub(super) fn strand_event(
        &mut self,
        head: usize,
        (did, on): (&str, time::Date),
        what: &Did,
        (at, by): (OffsetDateTime, usize),
    ) {
        let h = &mut self.heads[head];
        h.seq += 1;
        let zone = what.zone.map(zone_columns);
        self.batch
            .row(Table::StrandEvent)
            .put(self.world.salon)
            .put(h.id)
            .put(h.seq)
            .put(iso_day(on))
            .put(did)
            .maybe(what.family)
            .maybe(zone.map(|z| z.0))
            .maybe(zone.and_then(|z| z.1))
            .maybe(zone.and_then(|z| z.2))
            .put(what.on_sd_days)
            .maybe(what.family.map(|_| what.known))
            .maybe(what.mm)
            .maybe(what.sd_mm)
            .maybe(what.run)
            .at(at)
            .put(self.world.hands[by].id)
            .maybe(what.straightened)
            .end();
    }
}

/// The products of a service on this head as its tests stand at an instant.
fn products(h: &Head, kind: &Kind, at: OffsetDateTime) -> Vec<(PlannedProduct, i64)> {
    let planned = kind.planned.iter().map(|(blank, id)| {
        let mut p = blank.clone();
        p.first = !h.met.contains(&id.0);
        let placed = h.patch.get(&id.0);
        if p.skin != Skin::NotBySheet && placed.is_some_and(|placed| at - *placed < Duration::days(182)) {
            p.skin = Skin::NoReaction;
        }
        let tested = h.strand_tests.get(&id.0);
        if tested.is_some_and(|done| at - *done < Duration::days(STRAND_HOLDS_DAYS)) {
            p.strand_test = StrandTest::Passed;
        }
        (p, id.0)
    });
    planned.collect()
}
