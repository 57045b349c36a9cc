//! What is done on a run: facts and permissions, each a small form.

use axum::extract::Path;
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse, Response};
use axum_extra::extract::Form;
use serde::Deserialize;

use super::bowl::Picked;
use super::facts::FactForm;
use super::page;
use super::refused::said;
use crate::domain::access::Act;
use crate::domain::ids::{LotId, PersonId, RunId, StationId};
use crate::domain::protocol::{HoldPoint, StepCode};
use crate::domain::run::{Command, HeadPlace, Signed};
use crate::flow::runs::{self, Hand};
use crate::flow::{run_context, sign_in};
use crate::store::{people, stations};
use crate::web::once;
use crate::web::problem::{Answered, Problem};
use crate::web::seat::Seat;

fn run_id(id: &str) -> Result<RunId, Problem> {
    id.parse().map_err(|_| Problem::NotFound)
}

pub(super) fn hand(seat: &Seat) -> Hand<'_> {
    Hand { person: seat.person(), station: seat.station_id(), session: seat.session_id }
}

/// Records a fact. From script: 204, or 422 with the page. Without: back to the page.
pub async fn record(
    seat: Seat,
    Path(id): Path<String>,
    headers: HeaderMap,
    Form(f): Form<FactForm>,
) -> Answered {
    let id = run_id(&id)?;
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let fact = f.read(now).map_err(Problem::Bad)?;
    match runs::record_fact(&mut s, &seat.app, id, fact, hand(&seat)).await {
        Ok(_) => {
            s.commit().await?;
            Ok(if headers.contains_key("x-rinsebell-fact") {
                StatusCode::NO_CONTENT.into_response()
            } else {
                crate::web::page::see(&format!("/runs/{id}"))
            })
        }
        Err(refused) => {
            drop(s);
            page::again(&seat, id, said(refused, &seat)?, Picked::default()).await
        }
    }
}

/// The fields all permissions share: the form's key, and the last sequence number its page knew.
struct Known<'a> {
    once: &'a str,
    seq: i64,
}

/// Does commands in one transaction, once; shows the run again, or why not.
async fn act(seat: &Seat, id: RunId, known: Known<'_>, commands: Vec<Command>, need: Act) -> Answered {
    act_with(seat, id, known, commands, need, Picked::default()).await
}

/// The same; what was picked for the bowl stands in its form again where it is refused.
async fn act_with(
    seat: &Seat,
    id: RunId,
    known: Known<'_>,
    commands: Vec<Command>,
    need: Act,
    picked: Picked,
) -> Answered {
    seat.require_on_run(need, id)?;
    let mut s = seat.begin().await?;
    let location = format!("/runs/{id}");
    if let Some(again) = once::claim(&mut s, known.once, &location).await? {
        return Ok(again);
    }
    for command in commands {
        if let Err(refused) = runs::act(&mut s, &seat.app, id, known.seq, command, hand(seat)).await {
            drop(s);
            return page::again(seat, id, said(refused, seat)?, picked).await;
        }
    }
    let answer: Response = once::settle(&mut s, known.once, &location).await?;
    s.commit().await?;
    Ok(answer)
}

/// Hold points answered for a step: each button carries "scalp:intact" or "scalp:red:nape".
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct SignForm {
    once: String,
    known: i64,
    step: String,
    sign: Vec<String>,
}

fn signed(text: &str) -> Result<Signed, Problem> {
    let mut parts = text.splitn(3, ':');
    let point = parts.next().and_then(HoldPoint::from_code);
    let hold_point =
        point.ok_or_else(|| Problem::Bad(tr!("This answer is none of ours: load the page again.").into()))?;
    Ok(Signed {
        hold_point,
        value: parts.next().unwrap_or_default().to_string(),
        place: parts.next().and_then(HeadPlace::from_code),
    })
}

impl SignForm {
    /// A command for each answer.
    pub(super) fn commands(&self) -> Result<Vec<Command>, Problem> {
        let step = StepCode::from(self.step.as_str());
        let one = |text: &String| Ok(Command::SignHoldPoint { step: step.clone(), signed: signed(text)? });
        self.sign.iter().take(20).map(one).collect()
    }
}

/// Signs, in the name of whoever is signed in.
pub async fn sign(seat: Seat, Path(id): Path<String>, Form(f): Form<SignForm>) -> Answered {
    let id = run_id(&id)?;
    let commands = f.commands()?;
    if commands.is_empty() {
        seat.require_on_run(Act::SignPreparation, id)?;
        return Err(Problem::Bad(tr!("Choose what was seen, then sign.").into()));
    }
    act(&seat, id, Known { once: &f.once, seq: f.known }, commands, Act::SignPreparation).await
}

/// Lots taken into the bowl: of the product, of what it is mixed with, or both.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct LotForm {
    once: String,
    known: i64,
    application: String,
    lot: String,
    grams: String,
    part: String,
    part_grams: String,
}

impl LotForm {
    /// A command for each part.
    pub(super) fn commands(&self) -> Vec<Command> {
        let application = self.application.chars().next().unwrap_or('?');
        let one = |lot: &str, grams: &str| Command::DispenseLot {
            application,
            lot: LotId(lot.parse().unwrap_or(0)),
            grams: grams.trim().replace(',', ".").parse().unwrap_or(0.0),
        };
        let mut commands = Vec::new();
        if !self.lot.is_empty() || self.part.is_empty() {
            commands.push(one(&self.lot, &self.grams));
        }
        if !self.part.is_empty() {
            commands.push(one(&self.part, &self.part_grams));
        }
        commands
    }

    /// What stands in the form again where it is refused.
    pub(super) fn picked(&self) -> Picked {
        Picked {
            scan: String::new(),
            lot: self.lot.clone(),
            part: self.part.clone(),
            grams: self.grams.clone(),
            part_grams: self.part_grams.clone(),
        }
    }
}

/// Dispenses each part from its lot, all or nothing; with the last of them the lot's hold point is signed.
pub async fn dispense(seat: Seat, Path(id): Path<String>, Form(f): Form<LotForm>) -> Answered {
    let id = run_id(&id)?;
    let known = Known { once: &f.once, seq: f.known };
    act_with(&seat, id, known, f.commands(), Act::SignPreparation, f.picked()).await
}

/// A step begun or finished.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct StepForm {
    once: String,
    known: i64,
    step: String,
    #[serde(rename = "do")]
    what: String,
}

impl StepForm {
    pub(super) fn command(&self) -> Command {
        let step = StepCode::from(self.step.as_str());
        if self.what == "finish" { Command::FinishStep { step } } else { Command::StartStep { step } }
    }
}

/// Starts or finishes a step.
pub async fn step(seat: Seat, Path(id): Path<String>, Form(f): Form<StepForm>) -> Answered {
    let id = run_id(&id)?;
    act(&seat, id, Known { once: &f.once, seq: f.known }, vec![f.command()], Act::StartStep).await
}

/// A permission that a wrong tap got.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct TakeBackForm {
    once: String,
    known: i64,
    seq: i64,
}

impl TakeBackForm {
    /// The command of this form.
    pub(super) fn command(&self) -> Command {
        Command::TakeBack { seq: self.seq, reason: "tapped by mistake".into() }
    }
}

/// Takes it back.
pub async fn take_back(seat: Seat, Path(id): Path<String>, Form(f): Form<TakeBackForm>) -> Answered {
    act(&seat, run_id(&id)?, Known { once: &f.once, seq: f.known }, vec![f.command()], Act::StartStep).await
}

/// The answer after a stop.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct StopReading {
    once: String,
    known: i64,
    whole: String,
    /// "yes": whoever answers was told that the water has not run its minutes.
    early: String,
}

impl StopReading {
    /// The command of this form.
    pub(super) fn command(&self) -> Command {
        Command::ReadStop { whole: self.whole == "yes", early: self.early == "yes" }
    }
}

/// "Skin whole, eyes clear, no swelling?"
pub async fn read_stop(seat: Seat, Path(id): Path<String>, Form(f): Form<StopReading>) -> Answered {
    act(&seat, run_id(&id)?, Known { once: &f.once, seq: f.known }, vec![f.command()], Act::StartStep).await
}

/// A reason.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct ReasonForm {
    once: String,
    known: i64,
    pub(super) reason: String,
}

/// Ends a stop, with a reason.
pub async fn close_stop(seat: Seat, Path(id): Path<String>, Form(f): Form<ReasonForm>) -> Answered {
    act(
        &seat,
        run_id(&id)?,
        Known { once: &f.once, seq: f.known },
        vec![Command::CloseStop { reason: f.reason.clone() }],
        Act::CloseStop,
    )
    .await
}

/// To whom; nobody for accepting.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct HandoverForm {
    once: String,
    known: i64,
    to: String,
}

/// Offers the run to somebody, or accepts it.
pub async fn hand_over(seat: Seat, Path(id): Path<String>, Form(f): Form<HandoverForm>) -> Answered {
    let command = match f.to.parse() {
        Ok(to) => Command::OfferHandover { to: PersonId(to) },
        Err(_) => Command::AcceptHandover,
    };
    act(&seat, run_id(&id)?, Known { once: &f.once, seq: f.known }, vec![command], Act::HandOver).await
}

/// A manager names hands that stay; they answer for the service from then on.
pub async fn name_hands(seat: Seat, Path(id): Path<String>, Form(f): Form<HandoverForm>) -> Answered {
    let id = run_id(&id)?;
    seat.require_on_run(Act::HandOver, id)?;
    let person: i64 = f.to.parse().map_err(|_| Problem::Bad(tr!("Choose who stays.").into()))?;
    let mut s = seat.begin().await?;
    let found = people::find(&mut s, PersonId(person)).await?;
    s.commit().await?;
    let here = found.filter(|p| !p.left && !p.disabled).ok_or(Problem::NotFound)?;
    let command = Command::NameHands { hands: run_context::actor(&here) };
    act(&seat, id, Known { once: &f.once, seq: f.known }, vec![command], Act::HandOver).await
}

/// Which station.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct ArmForm {
    once: String,
    known: i64,
    station: i64,
}

/// "On to the basin": the person's way into another station, for this run, ten minutes, no PIN there.
pub async fn arm(seat: Seat, Path(id): Path<String>, Form(f): Form<ArmForm>) -> Answered {
    let id = run_id(&id)?;
    seat.require_on_run(Act::StartStep, id)?;
    let mut s = seat.begin().await?;
    let station = stations::find(&mut s, StationId(f.station)).await?;
    s.commit().await?;
    if !station.is_some_and(|x| x.paired && !x.revoked) {
        return Err(Problem::NotFound);
    }
    act(
        &seat,
        id,
        Known { once: &f.once, seq: f.known },
        vec![Command::ArmStation { station: StationId(f.station) }],
        Act::StartStep,
    )
    .await
}

/// Whose name the taps at this station bear from now on: "theirs", who handed the run on, or "mine".
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct WhoseForm {
    once: String,
    whose: String,
}

/// Settles whose name a station acts in, where a run was handed on to it while somebody else is signed in. One of the
/// two sign-ins ends.
pub async fn whose(seat: Seat, Path(id): Path<String>, Form(f): Form<WhoseForm>) -> Answered {
    let id = run_id(&id)?;
    seat.require_on_run(Act::StartStep, id)?;
    let mut s = seat.begin().await?;
    crate::store::runs::find(&mut s, id).await?.ok_or(Problem::NotFound)?;
    let location = format!("/runs/{id}");
    if let Some(again) = once::claim(&mut s, &f.once, &location).await? {
        return Ok(again);
    }
    let answer: Response = once::settle(&mut s, &f.once, &location).await?;
    s.commit().await?;
    let on = seat.handed_on.as_ref().filter(|on| on.run == id);
    let ends = match (on, f.whose.as_str()) {
        (Some(_), "theirs") => seat.session_id,
        (Some(on), "mine") => Some(on.session_id),
        _ => None,
    };
    if let Some(ends) = ends {
        sign_in::lock(&seat.app, seat.salon, ends).await?;
    }
    Ok(answer)
}

/// How it ends.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct EndForm {
    once: String,
    known: i64,
    how: String,
    rinsed: String,
    reason: String,
}

impl EndForm {
    pub(super) fn command(&self) -> Command {
        if self.how == "left" {
            Command::LeaveRun { rinsed: self.rinsed == "yes", reason: self.reason.clone() }
        } else {
            Command::FinishRun
        }
    }
}

/// Ends the service: finished, or the client left.
pub async fn end(seat: Seat, Path(id): Path<String>, Form(f): Form<EndForm>) -> Answered {
    act(&seat, run_id(&id)?, Known { once: &f.once, seq: f.known }, vec![f.command()], Act::FinishRun).await
}
