//! May a step begin? Opening steps wait for everything; closing steps for gloves and eyes;
//! rinsing for nothing.

use super::asks::looks;
use super::command::{Actor, Context};
use super::decide::granted;
use super::event::{Granted, NewEvent};
use super::frame::RunFrame;
use super::records::hold_point_refusals;
use super::refusal::{Refusal, Refusals};
use super::state::State;
use super::stings::Owed;
use super::value::Instant;
use crate::domain::chemistry::Strength;
use crate::domain::chemistry::family::Family;
use crate::domain::protocol::{Chemical, Clock, Hands, HoldPoint, SectionWork, Step, StepCode};
use time::Duration;

/// Decides `StartStep`.
pub(super) fn start_step(
    state: &State,
    code: &StepCode,
    context: &Context,
    actor: &Actor,
) -> Result<Vec<NewEvent>, Refusals> {
    let Some(index) = state.frame.protocol.index_of(code) else {
        return Err(vec![Refusal::StepUnknown { step: code.clone() }]);
    };
    let step = &state.frame.protocol.steps[index];
    let ask = Start { state, step, index, context, actor };
    let refusals = match step.chemical {
        _ if is_rinse(step) => ask.rinse(),
        Chemical::Opening => ask.opening(),
        Chemical::Closing => ask.closing(),
        Chemical::None => ask.plain(),
    };
    if refusals.is_empty() {
        Ok(vec![granted(context, Granted::StepStarted { step: code.clone() })])
    } else {
        Err(refusals)
    }
}

/// Water: never shut out.
pub(super) fn is_rinse(step: &Step) -> bool {
    step.sections == Some(SectionWork::Rinse) || !step.rinses.is_empty()
}

/// Qualified for a family.
pub(super) fn qualified(actor: &Actor, family: Family) -> Result<(), Refusals> {
    if actor.qualified.contains(&family) {
        Ok(())
    } else {
        Err(vec![Refusal::QualificationMissing { family: family.code() }])
    }
}

/// The product of an application is of another family than is given there.
pub(super) fn other_family(frame: &RunFrame, letter: char) -> Option<Refusal> {
    let asked = frame.other_family(letter)?.code();
    Some(Refusal::OtherFamily { application: letter, asked })
}

/// A closing phase that has not lasted its least; rinsing is open all the same, and puts it on record.
pub(super) fn least_not_reached(state: &State, step: &Step, now: Instant) -> Option<Instant> {
    if !state.frame.protocol.closes(step) || state.stop.is_some() {
        return None;
    }
    let least = state.frame.figures(&step.code, Clock::Phase)?.least_min?;
    let until = state.step_state(&step.code)?.started_at? + Duration::minutes(i64::from(least));
    (now < until).then_some(until)
}

struct Start<'a> {
    state: &'a State<'a>,
    step: &'a Step,
    index: usize,
    context: &'a Context,
    actor: &'a Actor,
}

impl Start<'_> {
    /// Once anything may have touched, rinsing is never refused to anybody who treats hair; before
    /// that there is nothing to rinse, and the step waits its turn.
    fn rinse(&self) -> Refusals {
        let mut refusals = if self.actor.treats_hair() { Vec::new() } else { self.hands() };
        if self.state.exposures.is_empty() {
            refusals.extend(self.turn());
        }
        refusals
    }

    fn plain(&self) -> Refusals {
        let mut refusals = self.hands();
        refusals.extend(self.turn());
        for point in self.step.hold_points.iter().filter(|p| !looks(self.step, **p)) {
            refusals.extend(self.hold_point(*point));
        }
        // What the step before was there to look at was seen, and lets this one begin.
        if let Some((looked, point)) = self.state.looked_at(self.step) {
            refusals.extend(hold_point_refusals(self.state, looked, point, self.context));
        }
        refusals
    }

    fn closing(&self) -> Refusals {
        let mut refusals = if self.actor.treats_hair() { Vec::new() } else { self.hands() };
        for point in [HoldPoint::Gloves, HoldPoint::EyeProtection] {
            refusals.extend(self.hold_point(point));
        }
        // Hair that has been opened may always be closed; before that it waits its turn.
        if self.state.exposures.is_empty() {
            refusals.extend(self.turn());
        }
        if self.state.sheet_forbids_closing() {
            refusals.push(Refusal::SheetForbidsClosing);
        }
        if let Some(stop) = self.state.stop {
            match stop.read {
                Some(true) => {}
                None => refusals.push(Refusal::StopReadingMissing),
                // Water and medical help first; later, off the scalp, a stylist signs.
                Some(false) => {
                    if !self.actor.may_open() || self.state.water_runs_short(self.context.now) {
                        refusals.push(Refusal::SkinNotWhole);
                    }
                }
            }
        }
        refusals
    }

    fn opening(&self) -> Refusals {
        let mut refusals = Vec::new();
        if !self.actor.may_open() {
            refusals.push(Refusal::RoleMissing { who: tr!("a stylist") });
        }
        if let Some(family) = self.step.qualification.or(self.step.family) {
            refusals.extend(qualified(self.actor, family).err().into_iter().flatten());
        }
        if self.state.stop.is_some() {
            refusals.push(Refusal::RunStopped);
        }
        refusals.extend(self.turn());
        for (step, clock) in self.state.frame.sheet_times_missing() {
            refusals.push(Refusal::SheetTimeMissing { step, clock });
        }
        refusals.extend(self.step.application.and_then(|l| other_family(self.state.frame, l)));
        refusals.extend(self.too_strong());
        refusals.extend(self.on_the_hair());
        refusals.extend(self.stung());
        for point in self.step.hold_points.iter().copied() {
            refusals.extend(self.hold_point(point));
        }
        refusals.extend(self.hands_stay());
        refusals
    }

    /// The product is stronger than the protocol lets onto such a head; what is not known counts as strong.
    fn too_strong(&self) -> Option<Refusal> {
        let letter = self.step.application?;
        let most = self.state.frame.protocol.application(letter)?.strength_most?;
        let strength = Strength::from_code(&self.state.frame.product(letter)?.strength);
        (strength.unwrap_or(Strength::Strong) > most)
            .then_some(Refusal::TooStrong { application: letter, most })
    }

    /// A complaint is answered for first: that place rinsed, then the scalp there read. The hold point of the scalp says
    /// the second where the step has one.
    fn stung(&self) -> Option<Refusal> {
        let (sting, owed) = self.state.open_sting()?;
        match owed {
            Owed::Water => Some(Refusal::StingNotRinsed { place: sting.place }),
            Owed::Look { .. } if !self.step.hold_points.contains(&HoldPoint::Scalp) => {
                Some(Refusal::StingNotRead { place: sting.place })
            }
            Owed::Look { .. } => None,
        }
    }

    /// What is on the hair already, and how long.
    fn on_the_hair(&self) -> Refusals {
        let mut refusals = Vec::new();
        let now = self.context.now;
        for exposure in self.state.exposures.iter().filter(|e| e.is_open()) {
            if Some(exposure.letter) != self.step.application {
                refusals.push(Refusal::RinseMissing { application: exposure.letter });
                continue;
            }
            let most = self.state.exposure_figures(exposure.letter).and_then(|f| f.most_min);
            if most.and_then(|m| exposure.reaches_at(m)).is_some_and(|at| now >= at) {
                refusals.push(Refusal::MostTimePassed { application: exposure.letter });
            }
            let began = self.state.try_began(exposure, now);
            let window = self.step.window_min.map(|m| began + Duration::minutes(i64::from(m)));
            if let Some(shut) = window.filter(|shut| now >= *shut) {
                refusals.push(Refusal::WindowShut { at: shut });
            }
        }
        if self.state.curl_says_rinse().is_some() || self.state.look_says_rinse().is_some() {
            refusals.push(Refusal::RinseDue);
        }
        refusals
    }

    /// The role that the step's hands ask for.
    fn hands(&self) -> Refusals {
        let (fits, who) = match self.step.hands {
            Hands::Stylist => (self.actor.may_open(), tr!("a stylist")),
            Hands::Nobody | Hands::Assistant | Hands::Any => {
                (self.actor.treats_hair(), tr!("somebody who treats hair"))
            }
        };
        if fits { Vec::new() } else { vec![Refusal::RoleMissing { who }] }
    }

    /// Steps go in order, from the furthest begun: what a rinse or a closing step jumped over does
    /// not hold up what follows, and nothing opening goes back. A step is taken up again only
    /// after its stop was ended.
    fn turn(&self) -> Refusals {
        let step = self.step.code.clone();
        let out_of_turn = |first: usize| {
            let first = self.state.frame.protocol.steps[first].title.clone();
            vec![Refusal::StepOutOfTurn { step: step.clone(), first }]
        };
        let begun = &self.state.steps[self.index];
        let resumed = self.state.closed_seq > begun.seq;
        match self.state.furthest() {
            _ if begun.started_at.is_some() => match self.closing_begun() {
                // Hair that is being closed is not opened again.
                Some(closing) if resumed && self.step.is_opening() => out_of_turn(closing),
                _ if resumed => Vec::new(),
                _ => vec![Refusal::StepAlreadyDone { step }],
            },
            Some(furthest) if furthest > self.index => {
                if self.step.is_opening() {
                    out_of_turn(furthest)
                } else {
                    Vec::new()
                }
            }
            furthest => {
                let from = furthest.map_or(0, |f| f + 1);
                let steps = &self.state.frame.protocol.steps;
                // A pass whose window has shut is left out: what is on is smoothed and rinsed.
                let shut = |i: usize| {
                    !self.step.is_opening() && self.state.window_is_shut(&steps[i], self.context.now)
                };
                let first = (from..self.index).find(|i| !steps[*i].optional && !shut(*i));
                first.map(out_of_turn).unwrap_or_default()
            }
        }
    }

    /// A closing step after this one has begun.
    fn closing_begun(&self) -> Option<usize> {
        let steps = &self.state.frame.protocol.steps;
        let begun = |i: usize| steps[i].is_closing() && self.state.steps[i].started_at.is_some();
        (self.index..steps.len()).find(|i| begun(*i))
    }

    fn hold_point(&self, point: HoldPoint) -> Refusals {
        hold_point_refusals(self.state, self.step, point, self.context)
    }

    /// Qualified hands stay until the hair is closed, or where nothing closes it, until the product is rinsed off.
    fn hands_stay(&self) -> Refusals {
        let protocol = &self.state.frame.protocol;
        let steps = &protocol.steps;
        let last = protocol.last_at_work().unwrap_or(self.index);
        let left: i64 = steps
            .get(self.index..=last.max(self.index))
            .unwrap_or_default()
            .iter()
            .map(|s| i64::from(s.minutes_typical))
            .sum();
        let needed = self.context.now + Duration::minutes(left);
        self.context
            .hands_until
            .filter(|until| *until < needed)
            .map(|until| Refusal::HandsLeaving { until, needed, closes: protocol.closes_hair() })
            .into_iter()
            .collect()
    }
}
