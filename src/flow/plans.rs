//! Planning a service: the check against this head as it is known now, kept word for word, and the start of it.

use time::{Duration, OffsetDateTime};

use super::plan_checks::{Asked, PlannedTrim, check, salon};
use super::runs::{self, Hand, Refused};
use super::strands::{self, Told};
use crate::app::App;
use crate::domain::chemistry::Verdict;
use crate::domain::ids::{ClientId, PersonId, PlanId, ProductId, RunId};
use crate::domain::plan_check::{self, Found, PlannedProduct, Way};
use crate::domain::protocol::Protocol;
use crate::domain::strand::{Deed, Strand, Zone};
use crate::store::clients::Client;
use crate::store::plans::{KeptApplication, KeptFinding, KeptWay, NewPlan, Plan, SaidFinding};
use crate::store::protocols::Revision;
use crate::store::{Scoped, StoreError, Stored, clients, plans, protocols};
use crate::words::{Language, Unit, in_language, in_language_and_unit};

/// A plan is checked on the visit it is for (common practice, no source); the run's hold point says the same.
const VISIT: Duration = Duration::hours(12);

/// Checks and keeps a plan; an earlier plan stays.
pub async fn make_plan(
    s: &mut Scoped,
    app: &App,
    client: &Client,
    (revision, protocol): (&Revision, &Protocol),
    asked: &[Asked],
    trim: Option<PlannedTrim>,
    by: PersonId,
) -> Stored<PlanId> {
    clients::lock(s, client.id()).await?;
    let checked = in_language(Language::English, check(s, app, client, protocol, asked, trim)).await?;
    let kept: Vec<KeptApplication> =
        checked.products.iter().zip(&checked.product_ids).map(|(p, id)| kept_application(p, *id)).collect();
    let mut findings: Vec<KeptFinding> = checked.found.iter().take(400).map(kept_finding).collect();
    let tongues = Language::CHOICES.into_iter().flat_map(|l| Unit::CHOICES.map(|unit| (l, unit)));
    for (language, unit) in tongues.filter(|t| *t != (Language::English, Unit::Mm)) {
        let checking = check(s, app, client, protocol, asked, trim);
        let again = in_language_and_unit(language, unit, checking).await?;
        for (kept, found) in findings.iter_mut().zip(&again.found) {
            kept.said.insert(KeptFinding::tongue(language, unit), said_finding(found));
        }
    }
    let plan = plans::insert(
        s,
        &NewPlan {
            client: client.id(),
            protocol: &revision.protocol,
            revision: revision.revision,
            by,
            as_of: checked.today,
            strand_seq: checked.strand_seq,
            verdict: checked.verdict.code(),
            findings: &findings,
            applications: &kept,
            trim_mm: trim.map(|t| t.mm as f32),
            trim_agreed: trim.and_then(|t| t.agreed),
        },
    )
    .await?;
    for (p, id) in checked.products.iter().zip(&checked.product_ids) {
        let asked = plan_check::asks_strand_test(p, &checked.found);
        plans::insert_product(s, plan, &p.letter.to_string(), *id, asked).await?;
    }
    s.changed(format!("client:{}", client.client_id));
    Ok(plan)
}

/// A zone as kept: code, from, to.
pub fn zone_columns(zone: Zone) -> (&'static str, Option<f64>, Option<f64>) {
    match zone {
        Zone::NewGrowth => ("new-growth", None, None),
        Zone::RootToEnd => ("root-to-end", None, None),
        Zone::EndsFrom(from) => ("ends-from", Some(from), None),
        Zone::Between(from, to) => ("between", Some(from), Some(to)),
    }
}

/// An application as kept with the plan.
pub fn kept_application(p: &PlannedProduct, id: ProductId) -> KeptApplication {
    let (zone, from_mm, to_mm) = zone_columns(p.zone);
    KeptApplication {
        letter: p.letter.to_string(),
        title: p.title.clone(),
        product_id: id.0,
        product: p.product.clone(),
        family: p.family.code().into(),
        strength: p.strength.map(|x| x.code().to_string()).unwrap_or_default(),
        zone: zone.into(),
        from_mm,
        to_mm,
        straightens: p.straightens,
        opening: p.opening,
    }
}

/// A kept zone, read.
pub fn kept_zone(a: &KeptApplication) -> Option<Zone> {
    Some(match a.zone.as_str() {
        "new-growth" => Zone::NewGrowth,
        "root-to-end" => Zone::RootToEnd,
        "ends-from" => Zone::EndsFrom(a.from_mm?),
        "between" => Zone::Between(a.from_mm?, a.to_mm?),
        _ => return None,
    })
}

/// A finding as kept with the plan.
pub fn kept_finding(f: &Found) -> KeptFinding {
    KeptFinding {
        letters: f.letters.clone(),
        verdict: f.verdict.code().into(),
        span_mm: f.span_mm,
        rule: f.rule.clone(),
        title: f.title.clone(),
        why: f.why.clone(),
        source: f.source.clone(),
        until: f.until.map(crate::calendar::iso_day),
        trim_mm: f.trim_mm,
        ways: f.ways.iter().map(|w| KeptWay { at: w.code().into(), words: w.words().into() }).collect(),
        said: Default::default(),
    }
}

/// The words of a finding, as said in the language spoken when it was found.
fn said_finding(f: &Found) -> SaidFinding {
    SaidFinding {
        title: f.title.clone(),
        why: f.why.clone(),
        source: f.source.clone(),
        ways: f.ways.iter().map(|w| w.words().into()).collect(),
    }
}

/// What was asked for in a kept plan.
pub fn asked_of(plan: &Plan) -> Stored<Vec<Asked>> {
    plan.applications
        .iter()
        .map(|a| {
            let (letter, zone) = (a.letter.chars().next(), kept_zone(a));
            let corrupt = || StoreError::Corrupt("plan", tr!("{}: application {}", plan.plan_id, a.letter));
            let (letter, zone) = letter.zip(zone).ok_or_else(corrupt)?;
            Ok(Asked { letter, product: ProductId(a.product_id), zone })
        })
        .collect()
}

/// Why a service cannot be started from a plan now: words and the way out; empty when it can. Everything is
/// checked again as it stands: a plan only ever gets stricter.
pub async fn stands_against(
    s: &mut Scoped,
    app: &App,
    client: &Client,
    plan: &Plan,
    now: OffsetDateTime,
) -> Stored<Vec<(String, Way)>> {
    let again = || Way::Words(tr!("Check the plan again.").into());
    let kept = Verdict::from_code(&plan.verdict).unwrap_or(Verdict::Refuse);
    match kept {
        Verdict::Refuse => {
            let way = tr!("Change the plan with the client, or agree when you look again.").into();
            return Ok(vec![(
                tr!("This plan is refused: no service is started from it.").into(),
                Way::Words(way),
            )]);
        }
        Verdict::Wait => {
            return Ok(vec![(tr!("This plan waits: no service is started from it yet.").into(), again())]);
        }
        Verdict::Clear | Verdict::TestFirst => {}
    }
    let mut against = Vec::new();
    if plan.stale {
        against.push((tr!("What is in the hair has changed since this plan was checked.").into(), again()));
    }
    if now - plan.made_at > VISIT {
        against.push((tr!("It was checked before this visit.").into(), again()));
    }
    let Some(revision) = protocols::find(s, &plan.protocol, plan.revision).await? else {
        return Err(StoreError::Corrupt("plan", plan.protocol.clone()));
    };
    let protocol = app.protocol(&revision)?;
    let checked = check(s, app, client, &protocol, &asked_of(plan)?, None).await?;
    if checked.verdict > Verdict::TestFirst {
        let worst = checked.verdict;
        for f in checked.found.iter().filter(|f| f.verdict == worst) {
            against.push((format!("{}.", f.title.trim_end_matches('.')), again()));
        }
    }
    against.extend(checked.open_tests());
    Ok(against)
}

/// Why a start was not given.
#[derive(Debug)]
pub enum NotStarted {
    /// No such plan here.
    NotFound,
    /// Not yet, with every reason and its way out.
    Against(Vec<(String, Way)>),
    /// The run's own rules said no.
    Run(Refused),
    /// The store failed.
    Store(StoreError),
}

impl From<StoreError> for NotStarted {
    fn from(e: StoreError) -> Self {
        NotStarted::Store(e)
    }
}

/// Starts the service of a plan.
pub async fn start_service(
    s: &mut Scoped,
    app: &App,
    id: PlanId,
    chair: &str,
    hand: Hand<'_>,
) -> Result<RunId, NotStarted> {
    let plan = plans::find(s, id).await?.ok_or(NotStarted::NotFound)?;
    let client = clients::find(s, ClientId(plan.client_id)).await?.ok_or(NotStarted::NotFound)?;
    clients::lock(s, client.id()).await?;
    let plan = plans::find(s, id).await?.ok_or(NotStarted::NotFound)?;
    let now = s.now().await?;
    if plan.run_id.is_some() {
        let way = Way::Words(tr!("Go on with it, or check a new plan.").into());
        return Err(NotStarted::Against(vec![(
            tr!("A service was started from this plan already.").into(),
            way,
        )]));
    }
    let against = stands_against(s, app, &client, &plan, now).await?;
    if !against.is_empty() {
        return Err(NotStarted::Against(against));
    }
    runs::start_run(s, app, id, chair, hand).await.map_err(NotStarted::Run)
}

/// The client said yes and the hair was cut: the strand is shorter by that, and the same service is checked anew.
pub async fn cut_and_check(
    s: &mut Scoped,
    app: &App,
    client: &Client,
    plan: &Plan,
    mm: f64,
    by: PersonId,
) -> Stored<PlanId> {
    clients::lock(s, client.id()).await?;
    let (_, zone) = salon(s).await?;
    let today = zone.day_of(s.now().await?);
    crate::store::strands::append(s, client.id(), (today, &Deed::Trim(mm)), None, Some(by)).await?;
    let revision = protocols::find(s, &plan.protocol, plan.revision)
        .await?
        .ok_or_else(|| StoreError::Corrupt("plan", plan.protocol.clone()))?;
    let protocol = app.protocol(&revision)?;
    make_plan(s, app, client, (&revision, &protocol), &asked_of(plan)?, None, by).await
}

/// Notes what was offered and what the client answered.
pub async fn note_offer(s: &mut Scoped, plan: &Plan, offer: &str, answer: &str) -> Stored<()> {
    plans::note_offer(s, PlanId(plan.plan_id), offer, answer).await?;
    s.changed(format!("client:{}", plan.client_id));
    Ok(())
}

/// The strand a plan was checked on.
pub async fn strand_of(s: &mut Scoped, app: &App, client: &Client, plan: &Plan) -> Stored<Option<Told>> {
    strands::load(s, &app.reference, client, plan.as_of, Some(plan.strand_seq)).await
}

/// What is left of a length after a trim; none when nothing would be.
pub fn trimmed_length(length_mm: f64, mm: f64) -> Option<f64> {
    (length_mm - mm > 0.5).then_some(length_mm - mm)
}

/// A strand as it would be after a trim; none when nothing would be left.
pub fn trimmed(strand: &Strand, mm: f64) -> Option<Strand> {
    let mut strand = strand.clone();
    strand.trim(mm).ok()?;
    Some(strand)
}
