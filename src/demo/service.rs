//! The demo's plans and the service under way: what a stylist would do on the screens, decided by the same rules at
//! the instants the file gives, and asked again by the database's own guard.

use time::OffsetDateTime;

use super::files::{Act, Client, Plan, Run};
use super::{DemoFault, Laid, Stage, named};
use crate::domain::ids::{ClientId, PlanId, RunId, StationId};
use crate::domain::protocol::{HoldPoint, Section, SectionWork, StepCode};
use crate::domain::run::{Command, Fact, FactId, Happened, Signed, decide};
use crate::domain::strand::Zone;
use crate::flow::plan_checks::Asked;
use crate::flow::plans;
use crate::flow::run_context;
use crate::flow::runs::{self, Hand, Refused};
use crate::secret;
use crate::store::people::Person;
use crate::store::{Scoped, clients, demo, people, plans as kept, protocols, runs as record};

/// Checks and keeps the client's plan, and gives the service as far as the file says.
pub async fn plan_and_run(s: &mut Scoped, stage: &Stage<'_>, id: ClientId, c: &'static Client) -> Laid<()> {
    let Some(plan) = &c.plan else { return Ok(()) };
    let plan = make_plan(s, stage, id, plan).await?;
    match &c.run {
        Some(run) => give(s, stage, plan, run).await,
        None => Ok(()),
    }
}

async fn make_plan(s: &mut Scoped, stage: &Stage<'_>, id: ClientId, p: &Plan) -> Laid<PlanId> {
    let missing = |what: &str| DemoFault::File(format!("{what} is not there"));
    let client = clients::find(s, id).await?.ok_or_else(|| missing("the client"))?;
    let newest = protocols::list_newest(s).await?;
    let found = newest.into_iter().find(|r| r.protocol == p.protocol);
    let revision = found.ok_or_else(|| missing(&p.protocol))?;
    let protocol = stage.app.protocol(&revision)?;
    let mut asked = Vec::new();
    for (letter, product) in [('A', &p.a), ('B', &p.b), ('C', &p.c)] {
        let zone = if letter == 'A' { Zone::NewGrowth } else { Zone::RootToEnd };
        asked.push(Asked { letter, product: named(&stage.products, product)?, zone });
    }
    let by = named(&stage.people, &p.by)?;
    let plan = plans::make_plan(s, stage.app, &client, (&revision, &protocol), &asked, None, by).await?;
    demo::date_plan(s, plan, stage.min(p.min)).await?;
    if let Some(offer) = &p.offer {
        kept::note_offer(s, plan, offer, &p.offer_answer).await?;
    }
    Ok(plan)
}

fn refused(at: f64, why: Refused) -> DemoFault {
    DemoFault::Refused(format!("{at} minutes from now: {why:?}"))
}

async fn somebody(s: &mut Scoped, stage: &Stage<'_>, name: &str) -> Laid<Person> {
    let id = named(&stage.people, name)?;
    people::find(s, id).await?.ok_or_else(|| DemoFault::File(format!("{name} is not there")))
}

async fn give(s: &mut Scoped, stage: &Stage<'_>, plan: PlanId, r: &Run) -> Laid<()> {
    let person = somebody(s, stage, &r.by).await?;
    let station = named(&stage.stations, &r.station)?;
    let hand = Hand { person: Some(&person), station: Some(station), session: None };
    demo::record_at(s, stage.min(r.min)).await?;
    let run = runs::start_run(s, stage.app, plan, &r.station, hand).await.map_err(|e| refused(r.min, e))?;
    demo::date_run(s, run, stage.min(r.min)).await?;
    for act in &r.acts {
        let person = somebody(s, stage, act.by.as_deref().unwrap_or(&r.by)).await?;
        let station = named(&stage.stations, act.station.as_deref().unwrap_or(&r.station))?;
        do_act(s, stage, run, act, &person, station).await?;
    }
    Ok(())
}

/// One act, decided as of its own instant.
async fn do_act(
    s: &mut Scoped,
    stage: &Stage<'_>,
    run: RunId,
    act: &Act,
    person: &Person,
    station: StationId,
) -> Laid<()> {
    let at = stage.min(act.min);
    let hand = Hand { person: Some(person), station: Some(station), session: None };
    let missing = || DemoFault::Refused(format!("run {run} is not there"));
    let mut loaded = runs::load(s, stage.app, run).await?.ok_or_else(missing)?;
    loaded.now = at;
    let command = command(stage, &loaded, act, at)?;
    let context = run_context::context(s, stage.app, &loaded, hand).await?;
    let events =
        decide(&loaded.state(), &command, &context).map_err(|why| refused(act.min, Refused::Reasons(why)))?;
    demo::record_at(s, at).await?;
    let mut seq = loaded.events.last().map_or(0, |e| e.seq);
    for event in &events {
        seq += 1;
        record::append(s, run, seq, event)
            .await
            .map_err(|e| refused(act.min, e.into()))?
            .ok_or_else(missing)?;
    }
    Ok(())
}

fn command(stage: &Stage<'_>, loaded: &runs::Loaded, act: &Act, at: OffsetDateTime) -> Laid<Command> {
    let unread = || DemoFault::File(format!("the act at {} minutes cannot be read", act.min));
    let step = || act.step.as_deref().map(StepCode::from).ok_or_else(unread);
    if let Some(step) = &act.start {
        return Ok(Command::StartStep { step: StepCode::from(step.as_str()) });
    }
    if let Some(point) = &act.sign {
        let hold_point = HoldPoint::from_code(point).ok_or_else(unread)?;
        let value = act.answer.clone().ok_or_else(unread)?;
        let signed = Signed { hold_point, value, place: None };
        return Ok(Command::SignHoldPoint { step: step()?, signed });
    }
    if let Some(lot) = &act.lot {
        let lot = named(&stage.lots, lot)?;
        let application = act.application.ok_or_else(unread)?;
        return Ok(Command::DispenseLot { application, lot, grams: act.grams.ok_or_else(unread)? });
    }
    let section = act.touch.as_deref().and_then(Section::from_code).ok_or_else(unread)?;
    let step = step()?;
    let work = loaded.frame.protocol.step(&step).and_then(|x| x.sections);
    let Some(SectionWork::Apply { pass }) = work else { return Err(unread()) };
    let fact_id = FactId(u128::from_le_bytes(secret::random()));
    let happened = Happened::SectionStarted { step, section, pass };
    Ok(Command::Record(Fact { fact_id, happened_at: at, happened }))
}
