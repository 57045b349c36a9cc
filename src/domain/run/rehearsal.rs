//! A service walked on paper: a protocol, the rules of a run as they are (`decide`, `fold`), instants made up.
//! Nothing is kept; so many acts from the start give the same screen every time.
//!
//! What only a real visit has stands in: every record holds, every hold point gets its first answer, products are
//! mild, a clock that waits for the product sheet gets the step's usual minutes, hands are quick while product is on.

use super::bells::BellKind;
use super::command::{Actor, Command, Context, Fact};
use super::decide::decide;
use super::event::{Event, Happened, NewEvent, Signed};
use super::frame::RunFrame;
use super::headline::NextAct;
use super::refusal::Refusals;
use super::stand_ins::{frame, holds, lot_of};
use super::state::State;
use super::value::{Comfort, CurlReading, FactId, HeadPlace, Instant, Progress, Rod};
use crate::domain::access::Role;
use crate::domain::chemistry::family::Family;
use crate::domain::ids::{LotId, PersonId, StationId};
use crate::domain::protocol::{Clock, HoldPoint, Meaning, Protocol, Section, Step, StepCode};
use time::Duration;

/// Most acts of a rehearsal: a service of 60 steps, all its sections tapped and looked at, has fewer.
pub const ACTS_MOST: usize = 900;
/// Whoever rehearses, in the made-up record.
const NOBODY: PersonId = PersonId(0);
const NOWHERE: StationId = StationId(0);

/// A rehearsal after some acts.
#[derive(Clone, Debug)]
pub struct Rehearsal {
    /// What it is held to.
    pub frame: RunFrame,
    /// The made-up record.
    pub events: Vec<Event>,
    /// The made-up clock.
    pub now: Instant,
    /// Acts done.
    pub acts: usize,
    /// What the last act was; empty at the start.
    pub said: String,
    /// The acts after which each step had begun, in the order begun.
    pub begun: Vec<(StepCode, usize)>,
    /// Every command taken, and when.
    pub commands: Vec<(Instant, Command)>,
    /// Why the service cannot go on as it is written; empty while it can.
    pub stuck: Refusals,
    start: Instant,
}

impl Rehearsal {
    /// Before the first act.
    pub fn new(protocol: &Protocol, start: Instant) -> Rehearsal {
        Rehearsal::held_to(frame(protocol), start)
    }

    /// Before the first act of a service with these very products and sheets. Each product's lot has its product's number.
    pub fn held_to(frame: RunFrame, start: Instant) -> Rehearsal {
        Rehearsal {
            frame,
            events: Vec::new(),
            now: start,
            acts: 0,
            said: String::new(),
            begun: Vec::new(),
            commands: Vec::new(),
            stuck: Vec::new(),
            start,
        }
    }

    /// A protocol after so many acts, fewer when it ends before.
    pub fn after(protocol: &Protocol, start: Instant, acts: usize) -> Rehearsal {
        let mut walked = Rehearsal::new(protocol, start);
        while walked.acts < acts.min(ACTS_MOST) && walked.act() {}
        walked
    }

    /// The fold of the made-up record.
    pub fn state(&self) -> State<'_> {
        State::fold(&self.frame, &self.events)
    }

    /// Nothing more to do, or nothing more can be done.
    pub fn is_over(&self) -> bool {
        !self.stuck.is_empty() || self.acts >= ACTS_MOST || self.state().ended.is_some()
    }

    /// Does the next thing; false when there is none.
    pub fn act(&mut self) -> bool {
        if self.is_over() {
            return false;
        }
        let begun = self.begun.len();
        let Done { said, step } = match self.next() {
            Ok(done) => done,
            Err(refusals) => {
                self.stuck = refusals;
                return false;
            }
        };
        self.acts += 1;
        self.said = said;
        if let Some(step) = step {
            self.begun.push((step, self.acts));
        }
        debug_assert!(self.begun.len() <= begun + 1);
        true
    }

    fn context(&self) -> Context {
        let actor = Actor { person: NOBODY, role: Role::Manager, qualified: Family::ALL.to_vec() };
        Context {
            now: self.now,
            actor: Some(actor),
            station: NOWHERE,
            holds: holds(&self.frame, self.start),
            hands_until: None,
        }
    }

    /// Does something besides the next act, at the made-up clock.
    ///
    /// # Errors
    /// What [`decide`] says against it.
    pub fn command(&mut self, command: &Command) -> Result<(), Refusals> {
        let new = decide(&self.state(), command, &self.context())?;
        for e in new {
            let NewEvent { happened_at, by, station, fact_id, kind, .. } = e;
            let seq = i64::try_from(self.events.len()).unwrap_or(i64::MAX) + 1;
            self.events.push(Event { seq, recorded_at: self.now, happened_at, by, station, fact_id, kind });
        }
        self.commands.push((self.now, command.clone()));
        Ok(())
    }

    /// Puts something besides the next act on the made-up record.
    ///
    /// # Errors
    /// What [`decide`] says against it.
    pub fn fact(&mut self, happened: Happened) -> Result<(), Refusals> {
        let fact_id = FactId(self.events.len() as u128 + 1);
        self.command(&Command::Record(Fact { fact_id, happened_at: self.now, happened }))
    }

    fn title(&self, code: &StepCode) -> String {
        self.frame.protocol.step(code).map_or_else(String::new, |s| s.title.clone())
    }

    fn next(&mut self) -> Result<Done, Refusals> {
        let state = self.state();
        let headline = state.headline(self.now);
        let takes = |b: &super::Bell| !headline.danger && matches!(b.kind, BellKind::Soon | BellKind::Target);
        if let Some(bell) = state.ringing(self.now).into_iter().find(takes) {
            let title = self.title(&bell.step);
            self.fact(Happened::BellAnswered {
                step: bell.step,
                clock: bell.clock,
                comfort: Comfort::No,
                place: None,
            })?;
            return Done::of(tr!("Bell of “{title}” taken: no heat, no sting", title = title));
        }
        match headline.act {
            NextAct::StartRun => {
                self.command(&Command::StartRun)?;
                Done::of(tr!("Service begun"))
            }
            NextAct::StartStep(code) => self.go_on(&code, headline.danger),
            NextAct::FinishStep(code) => self.finish(&code),
            NextAct::StartSection { step, section, pass } => {
                self.work_on(&step);
                self.fact(Happened::SectionStarted { step, section, pass })?;
                Done::of(tr!("Touched: {}", section.words()))
            }
            NextAct::RinseSection { step, section } => {
                self.work_on(&step);
                self.fact(Happened::SectionRinsed { step, section: Some(section), clear: true })?;
                Done::of(tr!("Runs clear: {}", section.words()))
            }
            NextAct::WaterOn { step } => {
                self.fact(Happened::SectionRinsed { step, section: None, clear: false })?;
                Done::of(tr!("Water on the whole head"))
            }
            NextAct::RinsePlace { place } => {
                self.fact(Happened::PlaceRinsed { place })?;
                Done::of(tr!("Rinsed: {}", place.words()))
            }
            NextAct::RinseClear { step } => {
                self.fact(Happened::SectionRinsed { step, section: None, clear: true })?;
                Done::of(tr!("The whole head runs clear"))
            }
            NextAct::ReadCurl => {
                let reading = self.curl_now();
                self.fact(Happened::TestCurlRead { rod: Rod::First, reading })?;
                Done::of(if reading == CurlReading::S {
                    tr!("Test curl, first rod: firm S")
                } else {
                    tr!("Test curl, first rod: C")
                })
            }
            NextAct::ReadLook(look) => {
                let reading = self.look_now();
                let section = self.open_section();
                self.fact(Happened::ProgressRead { look, section, reading })?;
                Done::of(format!("{}, {}: {}", look.words(), section.words(), reading.words()))
            }
            NextAct::ReadScalp => {
                let state = self.state();
                let last = self.frame.protocol.steps.last();
                let step =
                    state.step_in_hand().or_else(|| state.next_step()).or(last).map(|s| s.code.clone());
                let step = step.unwrap_or_else(|| StepCode(String::new()));
                self.sign(&step, HoldPoint::Scalp)?;
                Done::of(tr!("Scalp read: intact"))
            }
            NextAct::ReadStop => {
                self.now = self.state().water_until().map_or(self.now, |until| until.max(self.now));
                self.command(&Command::ReadStop { whole: true, early: false })?;
                Done::of(tr!("Skin whole, eyes clear, no swelling"))
            }
            NextAct::FinishRun | NextAct::CloseStop | NextAct::Nothing => {
                self.command(&Command::FinishRun)?;
                Done::of(tr!("Service ended"))
            }
        }
    }

    /// When the step in hand is done: its target, else its shortest, else what hands take.
    #[must_use]
    pub fn done_at(&self) -> Option<Instant> {
        let state = self.state();
        let step = state.step_in_hand()?;
        let from = state.step_state(&step.code)?.started_at?;
        let figures = self.frame.figures(&step.code, Clock::Phase);
        let minutes = figures.and_then(|f| f.target_min.or(f.least_min)).unwrap_or(pace(&state, step));
        Some(from + minutes_of(minutes))
    }

    /// Puts the clock on to the next bell, or to the end of the step in hand, whichever is first.
    fn wait(&mut self) -> Option<String> {
        let done = self.done_at().filter(|at| *at > self.now)?;
        let bell = self.state().next_bell(self.now).filter(|b| b.at <= done);
        let (to, why) = match bell {
            Some(b) => (b.at, tr!("a bell rings")),
            None => (done, tr!("the step has taken its time")),
        };
        let minutes = (to - self.now).whole_seconds().div_euclid(60).max(1);
        self.now = to;
        let unit = if minutes == 1 { "minute" } else { "minutes" };
        Some(tr!("{minutes} {unit} on: {why}", minutes = minutes, unit = unit, why = why))
    }

    fn go_on(&mut self, code: &StepCode, at_once: bool) -> Result<Done, Refusals> {
        if !at_once && let Some(said) = self.rods().transpose()?.or_else(|| self.wait()) {
            return Done::of(said);
        }
        let step = self.frame.protocol.step(code).cloned();
        let unanswered = step.as_ref().map(|s| self.unanswered(s)).unwrap_or_default();
        match self.command(&Command::StartStep { step: code.clone() }) {
            Ok(()) => Ok(Done { said: tr!("Begun: {}", self.title(code)), step: Some(code.clone()) }),
            Err(refusals) if unanswered.is_empty() => Err(refusals),
            Err(_) => {
                let titles: Vec<_> = unanswered.iter().map(|p| p.title()).collect();
                let titles = titles.join(", ");
                for point in unanswered {
                    self.sign(code, point)?;
                }
                Done::of(tr!("Answered for “{}”: {titles}", self.title(code), titles = titles))
            }
        }
    }

    fn finish(&mut self, code: &StepCode) -> Result<Done, Refusals> {
        if let Some(said) = self.rods().transpose()?.or_else(|| self.wait()) {
            return Done::of(said);
        }
        self.command(&Command::FinishStep { step: code.clone() })?;
        Done::of(tr!("Done: {}", self.title(code)))
    }

    /// Rods are noted once all are wound.
    fn rods(&mut self) -> Option<Result<String, Refusals>> {
        let state = self.state();
        let wound = state.step_in_hand().is_some_and(|s| s.rods && state.untapped(s).is_empty());
        if !wound || state.rods.is_some() {
            return None;
        }
        let noted = Happened::RodsNoted { count: 60, first_at: HeadPlace::Nape, last_at: HeadPlace::Crown };
        Some(self.fact(noted).map(|()| tr!("Rods noted: 60").to_owned()))
    }

    /// Hold points of a step that a start would miss now.
    fn unanswered(&self, step: &Step) -> Vec<HoldPoint> {
        let (state, context) = (self.state(), self.context());
        let misses = |p: &HoldPoint| !super::hold_point_refusals(&state, step, *p, &context).is_empty();
        let own = step.hold_points.iter().copied();
        let looked = state.looked_at(step).map(|(_, point)| point).filter(|p| !step.hold_points.contains(p));
        own.chain(looked).filter(misses).collect()
    }

    fn sign(&mut self, step: &StepCode, point: HoldPoint) -> Result<(), Refusals> {
        let letter = self.frame.protocol.step(step).and_then(|s| s.application);
        if let (HoldPoint::Lot, Some(application)) = (point, letter) {
            for (lot, grams) in self.bowl_of(application) {
                self.command(&Command::DispenseLot { application, lot, grams })?;
            }
        }
        // The strand test nobody asked for is said so; every other first answer holds.
        let mut held = point.answers().iter().filter(|a| a.meaning == Meaning::Holds);
        let answer = if point == HoldPoint::StrandTest { held.next_back() } else { held.next() };
        let value = answer.map_or_else(String::new, |a| a.code.to_owned());
        let signed = Signed { hold_point: point, value, place: None };
        self.command(&Command::SignHoldPoint { step: step.clone(), signed })
    }

    /// What goes into the bowl of an application: its product, and one of what that is mixed with.
    fn bowl_of(&self, application: char) -> Vec<(LotId, f64)> {
        let Some(product) = self.frame.product(application) else { return Vec::new() };
        let part = product.parts.first().map(|part| (lot_of(*part), 60.0));
        std::iter::once((lot_of(product.product), 60.0)).chain(part).collect()
    }

    /// The clock goes on by one section's share of the step, from the second section on.
    fn work_on(&mut self, code: &StepCode) {
        let Some(step) = self.frame.protocol.step(code) else { return };
        let sections = self.frame.protocol.sections_of(step).len().max(1);
        let left = self.state().untapped(step).len();
        if left < sections {
            let share = i64::from(pace(&self.state(), step)) * 60 / i64::try_from(sections).unwrap_or(1);
            self.now += Duration::seconds(share);
        }
    }

    /// A firm S once a clock that reads curls is at its target.
    fn curl_now(&self) -> CurlReading {
        let at_target = |c: &super::Running| c.test_curl && c.target_at.is_some_and(|t| t <= self.now);
        if self.state().running().iter().any(at_target) { CurlReading::S } else { CurlReading::C }
    }

    /// Reached once the watched clock is at its target, or would be past its longest at the next look.
    fn look_now(&self) -> Progress {
        let reached = |c: &super::Running| {
            c.look.is_some_and(|l| {
                let next = self.now + minutes_of(l.every_min);
                c.target_at.is_some_and(|t| t <= self.now) || c.most_at.is_some_and(|m| m <= next)
            })
        };
        if self.state().running().iter().any(reached) { Progress::Reached } else { Progress::NotYet }
    }

    fn open_section(&self) -> Section {
        let state = self.state();
        let mut open = state.exposures.iter().filter(|e| e.is_open()).flat_map(|e| &e.sections);
        let open = open.find(|s| s.is_open()).map(|s| s.section);
        open.or_else(|| self.frame.sections().first().copied()).unwrap_or(Section::BackRight)
    }
}

/// Minutes a step's hands take: the usual ones, the least while product is on, when nobody dawdles.
fn pace(state: &State<'_>, step: &Step) -> u16 {
    if state.product_on() { step.minutes_least } else { step.minutes_typical }
}

/// One act done.
struct Done {
    said: String,
    step: Option<StepCode>,
}

impl Done {
    fn of(said: impl Into<String>) -> Result<Done, Refusals> {
        Ok(Done { said: said.into(), step: None })
    }
}

fn minutes_of(minutes: u16) -> Duration {
    Duration::minutes(i64::from(minutes))
}

#[cfg(test)]
#[path = "rehearsal_tests.rs"]
mod tests;
