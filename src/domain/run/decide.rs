//! May it be done? Permissions get events or every reason against; facts go on record.

use super::command::{Actor, Command, Context};
use super::event::{EventKind, Granted, Happened, NewEvent, Signed};
use super::facts;
use super::records;
use super::refusal::{Refusal, Refusals};
use super::starts;
use super::state::State;
use super::take_back;
use super::value::{FactId, HeadPlace, Instant};
use crate::domain::access::{Act, Role, may};
use crate::domain::ids::{LotId, PersonId, StationId};
use crate::domain::protocol::hold_point::SAME_PAIR;
use crate::domain::protocol::{Chemical, Clock, HoldPoint, Meaning, Step, StepCode};

/// Longest reason or remark, in characters.
pub const REASON_MOST_CHARS: usize = 500;
/// Minutes of running water before hair is closed on skin that is not whole (trade-rules.md, first aid).
pub const FIRST_AID_WATER_MIN: i64 = 20;
/// Most grams of one product in the bowl that are believed.
pub const GRAMS_MOST: f64 = 1000.0;

/// Decides a command.
///
/// # Errors
/// Every reason against it, at once. Facts are refused only when they do not fit the protocol.
pub fn decide(state: &State, command: &Command, context: &Context) -> Result<Vec<NewEvent>, Refusals> {
    if let Command::Record(fact) = command {
        return facts::record(state, fact, context);
    }
    let Some(actor) = &context.actor else { return Err(vec![Refusal::PersonMissing]) };
    if state.ended.is_some() {
        return Err(vec![Refusal::RunEnded]);
    }
    if state.started_at.is_none() != matches!(command, Command::StartRun) {
        let why =
            if state.started_at.is_none() { Refusal::RunNotStarted } else { Refusal::RunAlreadyStarted };
        return Err(vec![why]);
    }
    let ask = Ask { state, context, actor };
    match command {
        Command::StartRun => ask.start_run(),
        Command::SignHoldPoint { step, signed } => ask.sign(step, signed),
        Command::StartStep { step } => starts::start_step(state, step, context, actor),
        Command::FinishStep { step } => ask.finish_step(step),
        Command::DispenseLot { application, lot, grams } => ask.dispense(*application, *lot, *grams),
        Command::OfferHandover { to } => ask.offer(*to),
        Command::AcceptHandover => ask.accept(),
        Command::ReadStop { whole, early } => ask.read_stop(*whole, *early),
        Command::CloseStop { reason } => ask.close_stop(reason),
        Command::FinishRun => ask.finish_run(),
        Command::LeaveRun { rinsed, reason } => ask.leave_run(*rinsed, reason),
        Command::ArmStation { station } => ask.arm(*station),
        Command::NameHands { hands } => ask.name_hands(hands),
        Command::TakeBack { seq, reason } => {
            ask.hair_hands()?;
            take_back::take_back(state, *seq, reason, context)
        }
        Command::Record(_) => Ok(Vec::new()),
    }
}

/// An event of this decision, in the actor's name.
pub(super) fn granted(context: &Context, granted: Granted) -> NewEvent {
    NewEvent {
        happened_at: context.now,
        claimed_at: None,
        by: context.actor.as_ref().map(|a| a.person),
        station: context.station,
        fact_id: None,
        kind: EventKind::Granted(granted),
    }
}

/// A fact that follows from a permission: named by the record's place it is decided at, instant and
/// station, so once only.
fn following(state: &State, context: &Context, happened: Happened) -> NewEvent {
    let nanos = context.now.unix_timestamp_nanos().unsigned_abs();
    let name = FactId(
        nanos
            ^ (u128::from(context.station.0.unsigned_abs()) << 96)
            ^ (u128::from(state.seq.unsigned_abs()) << 72),
    );
    NewEvent {
        fact_id: Some(if matches!(happened, Happened::StopRecorded) {
            name.following_stop()
        } else {
            name.following()
        }),
        kind: EventKind::Happened(happened),
        ..granted(context, Granted::HandoverAccepted)
    }
}

/// A reason is there, and not too long.
pub(super) fn reason_fits(reason: &str) -> bool {
    !reason.trim().is_empty() && reason.chars().count() <= REASON_MOST_CHARS
}

impl Actor {
    /// Treats hair: anybody but reception.
    pub fn treats_hair(&self) -> bool {
        may(self.role, Act::StartStep)
    }

    /// May put product on.
    pub fn may_open(&self) -> bool {
        may(self.role, Act::StartOpening)
    }
}

/// What signing a hold point asks of a role; anybody who treats hair may sign that it does not hold.
const fn act_of(point: HoldPoint) -> Act {
    match point {
        HoldPoint::Scalp | HoldPoint::PatchTest | HoldPoint::StrandTest | HoldPoint::Plan => {
            Act::SignJudgement
        }
        _ => Act::SignPreparation,
    }
}

struct Ask<'a> {
    state: &'a State<'a>,
    context: &'a Context,
    actor: &'a Actor,
}

type Answer = Result<Vec<NewEvent>, Refusals>;

impl Ask<'_> {
    fn one(&self, event: Granted) -> Answer {
        Ok(vec![granted(self.context, event)])
    }

    fn now(&self) -> Instant {
        self.context.now
    }

    fn protocol_step(&self, code: &StepCode) -> Result<&Step, Refusals> {
        let step = self.state.frame.protocol.step(code);
        step.ok_or_else(|| vec![Refusal::StepUnknown { step: code.clone() }])
    }

    fn hair_hands(&self) -> Result<(), Refusals> {
        let who = tr!("somebody who treats hair");
        if self.actor.treats_hair() { Ok(()) } else { Err(vec![Refusal::RoleMissing { who }]) }
    }

    /// The run's stylist or a manager.
    fn answerable(&self) -> Result<(), Refusals> {
        let theirs = self.state.stylist == Some(self.actor.person);
        if theirs || self.actor.role == Role::Manager { Ok(()) } else { Err(vec![Refusal::NotAnswerable]) }
    }

    fn start_run(&self) -> Answer {
        let mut refusals = Vec::new();
        if !self.actor.may_open() {
            refusals.push(Refusal::RoleMissing { who: tr!("a stylist") });
        }
        let frame = self.state.frame;
        for (step, clock) in frame.sheet_times_missing() {
            refusals.push(Refusal::SheetTimeMissing { step, clock });
        }
        let opening = frame.protocol.applications.iter().filter(|a| a.chemical == Chemical::Opening);
        for application in opening.filter(|a| frame.product(a.letter).is_none()) {
            refusals.push(Refusal::ProductMissing { application: application.letter });
        }
        refusals
            .extend(frame.protocol.applications.iter().filter_map(|a| starts::other_family(frame, a.letter)));
        if let Err(lacks) = self.context.holds.plan_holds_at(self.now()) {
            refusals.push(Refusal::RecordLacking { hold_point: HoldPoint::Plan, application: None, lacks });
        }
        if !refusals.is_empty() {
            return Err(refusals);
        }
        let mut events = vec![granted(self.context, Granted::RunStarted { stylist: self.actor.person })];
        events.extend(self.records_that_hold());
        Ok(events)
    }

    /// What consent, plan and strand test say at the start is signed with it; what does not hold
    /// yet is signed when it does.
    fn records_that_hold(&self) -> Vec<NewEvent> {
        let Some(first) = self.state.frame.protocol.steps.first() else { return Vec::new() };
        let points = [HoldPoint::Plan, HoldPoint::Consent, HoldPoint::StrandTest];
        let needed = |p: &HoldPoint| {
            self.state.frame.protocol.steps.iter().any(|s| s.is_opening() && s.hold_points.contains(p))
        };
        points
            .into_iter()
            .filter(needed)
            .filter(|p| records::record_lacks(self.state, *p, None, self.context).is_empty())
            .map(|p| {
                let signed = Signed {
                    hold_point: p,
                    value: records::record_value(p, self.context).to_owned(),
                    place: None,
                };
                granted(self.context, Granted::HoldPointSigned { step: first.code.clone(), signed })
            })
            .collect()
    }

    fn sign(&self, step: &StepCode, signed: &Signed) -> Answer {
        let point = signed.hold_point;
        let found = self.protocol_step(step)?;
        self.hair_hands()?;
        let mut refusals = Vec::new();
        // The scalp may be read at any step: after a sting it is asked again.
        if !found.hold_points.contains(&point) && point != HoldPoint::Scalp {
            refusals.push(Refusal::HoldPointNotOfStep { hold_point: point });
        }
        match signed.answer() {
            None => refusals.push(Refusal::AnswerUnknown { hold_point: point }),
            Some(answer) if answer.asks_where && signed.place.is_none() => {
                refusals.push(Refusal::PlaceMissing { hold_point: point });
            }
            Some(answer) if answer.meaning == Meaning::Holds => {
                if !may(self.actor.role, act_of(point)) {
                    refusals.push(Refusal::RoleMissing { who: tr!("a stylist") });
                }
                refusals.extend(records::record_lacks(self.state, point, Some(found), self.context));
            }
            Some(_) => {}
        }
        let same_pair = point == HoldPoint::Gloves && signed.value == SAME_PAIR;
        if same_pair && !self.state.wears_the_same_pair(self.actor.person) {
            refusals.push(Refusal::GlovesNotTheSame);
        }
        if !refusals.is_empty() {
            return Err(refusals);
        }
        let event = Granted::HoldPointSigned { step: step.clone(), signed: signed.clone() };
        let mut events = vec![granted(self.context, event)];
        // What nobody may override is stop and rinse while product is on: skin broken or red, a reaction told late, or
        // "intact" put right once the step runs.
        let for_good = signed.answer().is_some_and(|a| a.meaning == Meaning::FailsForGood);
        if for_good && self.state.product_on() && self.state.stop.is_none() {
            events.push(following(self.state, self.context, Happened::StopRecorded));
        }
        Ok(events)
    }

    fn finish_step(&self, code: &StepCode) -> Answer {
        let step = self.protocol_step(code)?;
        self.hair_hands()?;
        if self.state.step_in_hand().map(|s| &s.code) != Some(code) {
            return Err(vec![Refusal::StepNotInHand { step: code.clone() }]);
        }
        if let Some(until) = starts::least_not_reached(self.state, step, self.now()) {
            let clock = Clock::Phase;
            return Err(vec![Refusal::LeastTimeNotReached { clock, until }]);
        }
        let mut events = Vec::new();
        if starts::is_rinse(step) && self.state.product_on() {
            let step = code.clone();
            events.push(following(
                self.state,
                self.context,
                Happened::SectionRinsed { step, section: None, clear: true },
            ));
        }
        events.push(granted(self.context, Granted::StepFinished { step: code.clone() }));
        Ok(events)
    }

    fn dispense(&self, letter: char, lot: LotId, grams: f64) -> Answer {
        self.hair_hands()?;
        let mut refusals = Vec::new();
        if self.state.stop.is_some() {
            refusals.push(Refusal::RunStopped);
        }
        if !(grams > 0.0 && grams <= GRAMS_MOST) {
            refusals.push(Refusal::FigureImplausible {
                words: tr!("grams in the bowl: more than 0, at most 1000"),
            });
        }
        if !self.context.holds.lot_ever_had(lot, grams) {
            refusals.push(Refusal::FigureImplausible { words: tr!("more grams than came in with this lot") });
        }
        refusals.extend(starts::other_family(self.state.frame, letter));
        match self.state.frame.product(letter) {
            None => refusals.push(Refusal::ProductMissing { application: letter }),
            Some(product) => {
                let of = self.context.holds.product_of(lot).filter(|p| product.parts.contains(p));
                let of = of.unwrap_or(product.product);
                if let Err(lacks) = self.context.holds.lot_holds_at(of, lot, self.now()) {
                    refusals.push(Refusal::LotUnfit { lot, lacks });
                }
            }
        }
        if !refusals.is_empty() {
            return Err(refusals);
        }
        let mut events =
            vec![granted(self.context, Granted::LotDispensed { application: letter, lot, grams })];
        let for_step = self
            .state
            .frame
            .protocol
            .steps
            .iter()
            .find(|s| s.application == Some(letter) && s.hold_points.contains(&HoldPoint::Lot));
        if let Some(step) = for_step.filter(|_| self.both_parts_with(letter, lot)) {
            let value = records::record_value(HoldPoint::Lot, self.context).to_owned();
            let signed = Signed { hold_point: HoldPoint::Lot, value, place: None };
            let event = Granted::HoldPointSigned { step: step.code.clone(), signed };
            events.push(granted(self.context, event));
        }
        Ok(events)
    }

    /// With this lot every part of what goes on is in the bowl; the lots are answered for together.
    fn both_parts_with(&self, letter: char, lot: LotId) -> bool {
        let Some(product) = self.state.frame.product(letter) else { return false };
        let of = |lot| self.context.holds.product_of(lot);
        let bowl = self.state.bowl(product, &of);
        let is_part = of(lot).is_some_and(|p| product.parts.contains(&p));
        product.parts.is_empty() || if is_part { bowl.own.is_some() } else { bowl.part.is_some() }
    }

    fn offer(&self, to: PersonId) -> Answer {
        self.answerable()?;
        if self.state.stylist == Some(to) {
            return Err(vec![Refusal::HandoverToSelf { person: to }]);
        }
        self.one(Granted::HandoverOffered { to })
    }

    fn accept(&self) -> Answer {
        if self.state.offered_to != Some(self.actor.person) {
            return Err(vec![Refusal::HandoverNotOffered]);
        }
        if !self.actor.may_open() {
            return Err(vec![Refusal::RoleMissing { who: tr!("a stylist") }]);
        }
        starts::qualified(self.actor, self.state.frame.protocol.family)?;
        self.one(Granted::HandoverAccepted)
    }

    fn read_stop(&self, whole: bool, early: bool) -> Answer {
        self.hair_hands()?;
        if self.state.stop.is_none() {
            return Err(vec![Refusal::NotStopped]);
        }
        if whole && !early && self.state.water_runs_short(self.now()) {
            return Err(vec![Refusal::WaterTooShort { until: self.state.water_until() }]);
        }
        self.one(Granted::StopRead { whole })
    }

    fn close_stop(&self, reason: &str) -> Answer {
        self.answerable()?;
        let Some(stop) = self.state.stop else { return Err(vec![Refusal::NotStopped]) };
        let mut refusals = Vec::new();
        match stop.read {
            None => refusals.push(Refusal::StopReadingMissing),
            Some(false) => refusals.push(Refusal::SkinNotWhole),
            Some(true) => {}
        }
        let on = self.state.exposures.iter().filter(|e| e.is_open());
        refusals.extend(on.map(|e| Refusal::RinseMissing { application: e.letter }));
        if !reason_fits(reason) {
            refusals.push(Refusal::ReasonMissing);
        }
        if !refusals.is_empty() {
            return Err(refusals);
        }
        self.one(Granted::StopClosed { reason: reason.to_owned() })
    }

    fn finish_run(&self) -> Answer {
        if !may(self.actor.role, Act::FinishRun) {
            return Err(vec![Refusal::RoleMissing { who: tr!("a stylist") }]);
        }
        let on = self.state.exposures.iter().filter(|e| e.is_open());
        let mut refusals: Refusals = on.map(|e| Refusal::RinseMissing { application: e.letter }).collect();
        let stopped = self.state.stop.is_some();
        // After a stop that left the skin not whole, the hair is closed later, by a doctor's leave.
        // Where the sheet forbids closing, a stylist signs that it stays open.
        let closed_later = self.state.stop.is_some_and(|s| {
            s.read == Some(false) || (s.read.is_some() && self.state.sheet_forbids_closing())
        });
        if self.state.hair_open() && !closed_later {
            refusals.push(Refusal::HairLeftOpen);
        }
        if !refusals.is_empty() {
            return Err(refusals);
        }
        self.one(Granted::RunFinished { stopped })
    }

    fn leave_run(&self, rinsed: bool, reason: &str) -> Answer {
        self.hair_hands()?;
        if !reason_fits(reason) {
            return Err(vec![Refusal::ReasonMissing]);
        }
        self.one(Granted::RunLeft { rinsed, reason: reason.to_owned() })
    }

    fn arm(&self, station: StationId) -> Answer {
        self.hair_hands()?;
        self.one(Granted::StationArmed { station })
    }

    fn name_hands(&self, hands: &Actor) -> Answer {
        if self.actor.role != Role::Manager {
            return Err(vec![Refusal::RoleMissing { who: tr!("a manager") }]);
        }
        let (person, family) = (hands.person, self.state.frame.protocol.family);
        if !hands.may_open() || !hands.qualified.contains(&family) {
            return Err(vec![Refusal::HandsNotQualified { person, family: family.code() }]);
        }
        self.one(Granted::HandsNamed { person })
    }
}

/// Where a complaint counts when nobody said.
pub(super) const PLACE_UNKNOWN: HeadPlace = HeadPlace::Crown;
