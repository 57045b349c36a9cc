//! A service being given: start it, act on it, put facts on record.
//!
//! Every act is one transaction: the client's lock, the run's lock, load, decide, append, tell the stations.
//! Permissions are judged against what the page knew: when a step, a stop or an ending came since, the act
//! is stale and the person sees what changed. Facts are never stale and never refused for being late.

use serde_json::json;
use time::{Duration, OffsetDateTime};

use super::{run_context, sheets};
use crate::app::App;
use crate::domain::hair_test::proposed_target_min;
use crate::domain::ids::{ClientId, PersonId, PlanId, ProductId, RunId, StationId};
use crate::domain::protocol::{Clock, Protocol, Source, Step};
use crate::domain::qualification::Chemistry;
use crate::domain::run::holds::{FrameProduct, SkinTest};
use crate::domain::run::{
    Command, Event, EventKind, Fact, Granted, Happened, Refusals, RunFrame, SheetTimes, State, decide,
};
use crate::domain::{sheet::SheetHair, skin_test::is_never_left_on_skin};
use crate::store::people::Person;
use crate::store::run_frames::{self, PlanProduct};
use crate::store::runs::{self, NewRun, NewStep, Run};
use crate::store::{Scoped, StoreError, Stored, hair_tests, products, protocols, sessions};

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

fn families(p: &PlanProduct) -> Stored<crate::domain::chemistry::family::Family> {
    crate::domain::chemistry::family::Family::from_code(&p.family)
        .ok_or_else(|| StoreError::Corrupt("product", p.family.clone()))
}

fn frame_product(p: &PlanProduct) -> Stored<FrameProduct> {
    let family = families(p)?;
    Ok(FrameProduct {
        application: p.application.chars().next().unwrap_or('A'),
        product: ProductId(p.product_id),
        family,
        strength: p.strength.clone(),
        // Entered as "no skin test by the sheet": signed with that, and believed of what is never left on skin.
        skin_test: if p.skin_test == "patch" || !is_never_left_on_skin(family) {
            SkinTest::Patch
        } else {
            SkinTest::NotBySheet { signed: true }
        },
        forbids_closing_after_stop: p.sheet_forbids_closing_after_stop,
        // Both are frozen with the steps when the run begins.
        mixed_life_min: None,
        parts: Vec::new(),
    })
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
        .ok_or_else(|| StoreError::Corrupt("run", format!("{} without its protocol", run.run_id)))?;
    let (frame, products) = frozen_frame(s, protocol, &run).await?;
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

/// Reads the product sheets into the frame of a run that is about to start.
/// The minutes a strand test took stand for the sheet's target from first touch to rinse, never above it.
async fn new_frame(
    s: &mut Scoped,
    protocol: Protocol,
    plan_products: &[PlanProduct],
    client: ClientId,
) -> Stored<RunFrame> {
    let mut sheet = Vec::new();
    let felt = sheets::weakest(s, client).await?;
    for product in plan_products {
        let letter = product.application.chars().next().unwrap_or('A');
        let id = ProductId(product.product_id);
        let tried = hair_tests::find_minutes(s, client, id).await?;
        let times = products::times(s, id).await?;
        for clock in [Clock::Phase, Clock::Exposure] {
            let Some((time, hair)) = sheets::for_hair(&times, clock, felt) else { continue };
            for step in
                protocol.steps.iter().filter(|x| x.application == Some(letter) && x.times(clock).is_some())
            {
                let target = whole(time.target_min.round());
                let tried = tried.filter(|_| clock == Clock::Exposure && step.is_opening());
                sheet.push(SheetTimes {
                    step: step.code.clone(),
                    clock,
                    target_min: proposed_target_min(target, tried),
                    // Rounded to the stricter side.
                    least_min: time.least_min.and_then(|m| whole(m.ceil())),
                    most_min: whole(time.most_min.floor()),
                    hair,
                });
            }
        }
    }
    let products = plan_products.iter().map(frame_product).collect::<Stored<_>>()?;
    Ok(RunFrame { protocol, sheet, products })
}

/// Where a step's frozen sheet says for which hair a clock's figures are.
const fn hair_key(clock: Clock) -> &'static str {
    match clock {
        Clock::Phase => "phase_hair",
        Clock::Exposure => "exposure_hair",
    }
}

fn whole(minutes: f32) -> Option<u16> {
    // The column is bounded to 0 … 180.
    (0.0..=600.0).contains(&minutes).then_some(minutes as u16)
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
            .ok_or_else(|| Refused::Stale("The run began meanwhile.".into()))?;
    }
    tell(s, run);
    Ok(run)
}

async fn freeze_steps(s: &mut Scoped, run: RunId, frame: &RunFrame) -> Stored<()> {
    for (i, step) in frame.protocol.steps.iter().enumerate() {
        let family = step.family.or(step.qualification).unwrap_or(frame.protocol.family);
        let figures = |clock| {
            frame.figures(&step.code, clock).map_or([None; 3], |f| [f.target_min, f.least_min, f.most_min])
        };
        let mut sheet = serde_json::Map::new();
        for t in frame.sheet.iter().filter(|t| t.step == step.code) {
            sheet.insert(t.clock.code().into(), json!([t.target_min, t.least_min, t.most_min]));
            if t.hair != SheetHair::Any {
                sheet.insert(hair_key(t.clock).into(), t.hair.code().into());
            }
        }
        let asked = [Clock::Phase, Clock::Exposure]
            .iter()
            .any(|c| step.times(*c).is_some_and(|t| t.source == Source::Sheet));
        runs::insert_step(
            s,
            run,
            NewStep {
                step_no: i16::try_from(i + 1).unwrap_or(i16::MAX),
                code: &step.code,
                chemical: step.chemical.code(),
                chemistry: Chemistry::of(family).code(),
                application: step.application.map(String::from),
                product: step.application.and_then(|l| frame.product(l)).map(|p| p.product),
                needs: step.hold_points.clone(),
                phase: figures(Clock::Phase),
                exposure: figures(Clock::Exposure),
                sheet_asked: asked,
                sheet: sheet.into(),
            },
        )
        .await?;
    }
    Ok(())
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
        ) | EventKind::Happened(Happened::StopRecorded | Happened::ClosingStarted { .. })
    )
}

fn what_changed(loaded: &Loaded, known: i64) -> Option<String> {
    let event = loaded.events.iter().rev().find(|e| e.seq > known && moves_on(&e.kind))?;
    let title = event.kind.step().and_then(|c| loaded.frame.protocol.step(c)).map(|x| x.title.clone());
    Some(match (&event.kind, title) {
        (EventKind::Granted(Granted::StepStarted { .. }), Some(t)) => {
            format!("Meanwhile “{t}” was started at another station.")
        }
        (EventKind::Granted(Granted::StepFinished { .. }), Some(t)) => {
            format!("Meanwhile “{t}” was finished at another station.")
        }
        (EventKind::Happened(Happened::StopRecorded), _) => "Meanwhile this service was stopped.".into(),
        (EventKind::Granted(Granted::HandoverAccepted), _) => {
            "Meanwhile this service was handed over.".into()
        }
        _ => "Meanwhile this service moved on at another station.".into(),
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
            .ok_or_else(|| Refused::Stale("Somebody acted in the same moment. Look again.".into()))?;
    }
    Ok(())
}

/// Facts that a full record still takes: what ends an exposure, and what says that it hurts.
const fn protects(happened: &Happened) -> bool {
    matches!(
        happened,
        Happened::SectionRinsed { .. }
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
