//! A service being given: start it, act on it, put facts on record.
//!
//! Every act is one transaction: the client's lock, the run's lock, load, decide, append, tell the stations.
//! Permissions are judged against what the page knew: when a step, a stop or an ending came since, the act
//! is stale and the person sees what changed. Facts are never stale and never refused for being late.

use time::{Duration, OffsetDateTime};

use super::run_context;
use super::run_freeze::{frame_product, freeze_steps, hair_key, new_frame};
use crate::app::App;
use crate::domain::ids::{ClientId, PersonId, PlanId, ProductId, RunId, StationId};
use crate::domain::protocol::{Clock, Protocol, Step};
use crate::domain::run::holds::FrameProduct;
use crate::domain::run::{
    Command, Event, EventKind, Fact, Granted, Happened, Refusals, RunFrame, SheetTimes, State, decide,
};
use crate::domain::sheet::SheetHair;
use crate::store::people::Person;
use crate::store::run_frames::{self, PlanProduct};
use crate::store::runs::{self, NewRun, Run};
use crate::store::{Scoped, StoreError, Stored, protocols, sessions};

/// A run with all that its screens need.
pub struct Loaded {
    pub run: Run,
    pub frame: RunFrame,
    pub events: Vec<Event>,
    pub products: Vec<PlanProduct>,
    pub now: OffsetDateTime,
}

impl Loaded {
    /// The fold of its record.
    pub fn state(&self) -> State<'_> {
        State::fold(&self.frame, &self.events)
    }
}

/// Why an act on a run was not done.
#[derive(Debug)]
pub enum Refused {
    /// No such run here.
    NotFound,
    /// Somebody was first: what happened since the page was made.
    Stale(String),
    /// Not yet, with every reason.
    Reasons(Refusals),
    /// The database's own guard said no: `hold-point:why`.
    Guard(String),
    /// The store failed.
    Store(StoreError),
}

impl From<StoreError> for Refused {
    fn from(e: StoreError) -> Self {
        match e {
            StoreError::Refused { code, rule } if code == "RB001" => Refused::Guard(rule),
            other => Refused::Store(other),
        }
    }
}

/// Who acts, and where.
#[derive(Clone, Copy)]
pub struct Hand<'a> {
    pub person: Option<&'a Person>,
    pub station: Option<StationId>,
    pub session: Option<i64>,
}

/// The protocol of a stored revision.
pub async fn protocol(s: &mut Scoped, app: &App, code: &str, revision: i32) -> Stored<Option<Protocol>> {
    let Some(found) = protocols::find(s, code, revision).await? else { return Ok(None) };
    app.protocol(&found).map(Some)
}

/// Loads a run with its record. `None`: not this salon's.
pub async fn load(s: &mut Scoped, app: &App, id: RunId) -> Stored<Option<Loaded>> {
    let Some(run) = runs::find(s, id).await? else { return Ok(None) };
    load_found(s, app, run).await.map(Some)
}

/// Loads a run that was just listed.
pub async fn load_found(s: &mut Scoped, app: &App, run: Run) -> Stored<Loaded> {
    let protocol = protocol(s, app, &run.protocol, run.revision)
        .await?
        .ok_or_else(|| StoreError::Corrupt("run", tr!("{} without its protocol", run.run_id)))?;
    let (frame, products) = frozen_frame(s, protocol.spoken(), &run).await?;
    let events = runs::list_events(s, RunId(run.run_id), 0).await?;
    let now = s.now().await?;
    Ok(Loaded { run, frame, events, products, now })
}

/// What a run is held to, as frozen at its start, with the products of its plan.
pub async fn frozen_frame(
    s: &mut Scoped,
    protocol: Protocol,
    run: &Run,
) -> Stored<(RunFrame, Vec<PlanProduct>)> {
    let products = run_frames::list_plan_products(s, PlanId(run.plan_id)).await?;
    let mut sheet = Vec::new();
    let mut frozen: Vec<FrameProduct> = products.iter().map(frame_product).collect::<Stored<_>>()?;
    for row in runs::list_step_sheets(s, RunId(run.run_id)).await? {
        let mine =
            |p: &&mut FrameProduct| row.application.as_ref().is_some_and(|a| a.starts_with(p.application));
        if let Some(product) = frozen.iter_mut().find(mine)
            && (row.mixed_life_min.is_some() || !row.mixed_with.is_empty())
        {
            product.mixed_life_min = row.mixed_life_min.and_then(|m| u16::try_from(m).ok());
            product.parts = row.mixed_with.iter().map(|p| ProductId(*p)).collect();
        }
        for clock in [Clock::Phase, Clock::Exposure] {
            if let Some(figures) = row.sheet.0[clock.code()].as_array() {
                let at = |i: usize| {
                    figures.get(i).and_then(serde_json::Value::as_u64).and_then(|m| u16::try_from(m).ok())
                };
                sheet.push(SheetTimes {
                    step: row.code.as_str().into(),
                    clock,
                    target_min: at(0),
                    least_min: at(1),
                    most_min: at(2),
                    hair: row.sheet.0[hair_key(clock)]
                        .as_str()
                        .and_then(SheetHair::from_code)
                        .unwrap_or(SheetHair::Any),
                });
            }
        }
    }
    Ok((RunFrame { protocol, sheet, products: frozen }, products))
}

/// Begins the service of a plan; whoever asks becomes the run's stylist.
pub async fn start_run(
    s: &mut Scoped,
    app: &App,
    plan: PlanId,
    chair: &str,
    hand: Hand<'_>,
) -> Result<RunId, Refused> {
    let Some(person) = hand.person else {
        return Err(Refused::Reasons(vec![crate::domain::run::Refusal::PersonMissing]));
    };
    let Some(head) = run_frames::find_plan(s, plan, None).await? else { return Err(Refused::NotFound) };
    let protocol = protocol(s, app, &head.protocol, head.revision).await?.ok_or(Refused::NotFound)?;
    let products = run_frames::list_plan_products(s, plan).await?;
    let frame = new_frame(s, protocol, &products, ClientId(head.client_id)).await?;
    let run = runs::insert(
        s,
        NewRun {
            client: ClientId(head.client_id),
            plan,
            protocol: &head.protocol,
            revision: head.revision,
            fingerprint: &app.reference.fingerprint,
            chair,
            started_by: person.id,
        },
    )
    .await?;
    freeze_steps(s, run, &frame).await?;
    let found = runs::find(s, run).await?.ok_or(Refused::NotFound)?;
    let now = s.now().await?;
    let loaded = Loaded { run: found, frame, events: Vec::new(), products, now };
    let context = run_context::context(s, app, &loaded, hand).await?;
    let events = decide(&loaded.state(), &Command::StartRun, &context).map_err(Refused::Reasons)?;
    for (i, event) in events.iter().enumerate() {
        runs::append(s, run, i as i64 + 1, event)
            .await?
            .ok_or_else(|| Refused::Stale(tr!("The run began meanwhile.").into()))?;
    }
    tell(s, run);
    Ok(run)
}

/// What makes a page's knowledge stale for a command: steps, stops, endings, handovers; not sign-offs, not taps.
fn moves_on(kind: &EventKind) -> bool {
    matches!(
        kind,
        EventKind::Granted(
            Granted::StepStarted { .. }
                | Granted::StepFinished { .. }
                | Granted::StopClosed { .. }
                | Granted::RunFinished { .. }
                | Granted::RunLeft { .. }
                | Granted::HandoverAccepted
                | Granted::PermissionWithdrawn { .. }
        ) | EventKind::Happened(Happened::StopRecorded | Happened::ClosingStarted { .. })
    )
}

fn what_changed(loaded: &Loaded, known: i64) -> Option<String> {
    let event = loaded.events.iter().rev().find(|e| e.seq > known && moves_on(&e.kind))?;
    let title = event.kind.step().and_then(|c| loaded.frame.protocol.step(c)).map(|x| x.title.clone());
    Some(match (&event.kind, title) {
        (EventKind::Granted(Granted::StepStarted { .. }), Some(t)) => {
            tr!("Meanwhile “{t}” was started at another station.", t = t)
        }
        (EventKind::Granted(Granted::StepFinished { .. }), Some(t)) => {
            tr!("Meanwhile “{t}” was finished at another station.", t = t)
        }
        (EventKind::Happened(Happened::StopRecorded), _) => tr!("Meanwhile this service was stopped.").into(),
        (EventKind::Granted(Granted::HandoverAccepted), _) => {
            tr!("Meanwhile this service was handed over.").into()
        }
        _ => tr!("Meanwhile this service moved on at another station.").into(),
    })
}

/// Commands that rest on which step is in hand; the others go on top of whatever happened.
fn rests_on_step(command: &Command) -> bool {
    matches!(
        command,
        Command::StartStep { .. }
            | Command::FinishStep { .. }
            | Command::FinishRun
            | Command::LeaveRun { .. }
            | Command::AcceptHandover
            | Command::CloseStop { .. }
            | Command::TakeBack { .. }
    )
}

/// Acts on a run: a permission. `known` is the last sequence number the page knew.
pub async fn act(
    s: &mut Scoped,
    app: &App,
    id: RunId,
    known: i64,
    command: Command,
    hand: Hand<'_>,
) -> Result<Loaded, Refused> {
    let found = runs::find(s, id).await?.ok_or(Refused::NotFound)?;
    runs::lock(s, ClientId(found.client_id), id).await?;
    let loaded = load(s, app, id).await?.ok_or(Refused::NotFound)?;
    if let (true, Some(what)) = (rests_on_step(&command), what_changed(&loaded, known)) {
        return Err(Refused::Stale(what));
    }
    let context = run_context::command_context(s, app, &loaded, hand, &command).await?;
    let events = decide(&loaded.state(), &command, &context).map_err(Refused::Reasons)?;
    append_all(s, id, &loaded, &events).await?;
    let after = load(s, app, id).await?.ok_or(Refused::NotFound)?;
    super::run_effects::after_command(s, app, &after, &command, hand).await?;
    tell(s, id);
    Ok(after)
}

async fn append_all(
    s: &mut Scoped,
    id: RunId,
    loaded: &Loaded,
    events: &[crate::domain::run::NewEvent],
) -> Result<(), Refused> {
    let last = loaded.events.last().map_or(0, |e| e.seq);
    for (i, event) in events.iter().enumerate() {
        runs::append(s, id, last + 1 + i as i64, event)
            .await?
            .ok_or_else(|| Refused::Stale(tr!("Somebody acted in the same moment. Look again.").into()))?;
    }
    Ok(())
}

/// Facts that a full record still takes: what ends an exposure, and what says that it hurts.
const fn protects(happened: &Happened) -> bool {
    matches!(
        happened,
        Happened::SectionRinsed { .. }
            | Happened::PlaceRinsed { .. }
            | Happened::StingReported { .. }
            | Happened::StopRecorded
            | Happened::ClosingStarted { .. }
    )
}

/// Puts a fact on record, once however often it is sent. Known facts get their first answer again.
pub async fn record_fact(
    s: &mut Scoped,
    app: &App,
    id: RunId,
    fact: Fact,
    hand: Hand<'_>,
) -> Result<Loaded, Refused> {
    let found = runs::find(s, id).await?.ok_or(Refused::NotFound)?;
    runs::lock(s, ClientId(found.client_id), id).await?;
    let loaded = load(s, app, id).await?.ok_or(Refused::NotFound)?;
    if loaded.events.iter().any(|e| e.fact_id == Some(fact.fact_id)) {
        return Ok(loaded);
    }
    if loaded.events.len() >= runs::RECORD_FULL && !protects(&fact.happened) {
        return Err(Refused::Reasons(vec![crate::domain::run::Refusal::RecordFull]));
    }
    let context = run_context::context(s, app, &loaded, hand).await?;
    let events = decide(&loaded.state(), &Command::Record(fact), &context).map_err(Refused::Reasons)?;
    append_all(s, id, &loaded, &events).await?;
    tell(s, id);
    let after = load(s, app, id).await?.ok_or(Refused::NotFound)?;
    if loaded.run.ended_at.is_some() {
        super::run_effects::after_late_fact(s, app, &loaded, &after, hand).await?;
    }
    Ok(after)
}

fn tell(s: &mut Scoped, id: RunId) {
    s.changed(format!("run:{id}"));
    s.changed("floor");
}

/// While a chemical step runs its station stays with who started it, to 5 minutes past its most time.
pub(super) async fn hold_station(s: &mut Scoped, after: &Loaded, hand: Hand<'_>) -> Stored<()> {
    let state = after.state();
    let run = RunId(after.run.run_id);
    // Gloves stay on until the closing product is rinsed: it works in a step of its own, and so does its rinse.
    let gloved = |x: &&Step| {
        x.is_chemical() || state.product_on() || after.frame.protocol.closes(x) || !x.rinses.is_empty()
    };
    let chemical = state.step_in_hand().filter(gloved);
    match (chemical, hand.session) {
        (Some(step), Some(session)) => {
            let most = [Clock::Exposure, Clock::Phase]
                .iter()
                .filter_map(|c| after.frame.figures(&step.code, *c).and_then(|f| f.most_min))
                .max()
                .unwrap_or(60);
            let until = after.now + Duration::minutes(i64::from(most) + 5);
            sessions::hold(s, session, run, until).await
        }
        (None, _) => sessions::release(s, run).await,
        _ => Ok(()),
    }
}

/// The run's stylist now, for screens.
pub fn stylist_of(loaded: &Loaded) -> PersonId {
    loaded.state().stylist.unwrap_or(PersonId(loaded.run.started_by))
}
