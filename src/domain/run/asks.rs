//! Questions a screen and `decide` ask of a run.

use super::exposure::Exposure;
use super::frame::Figures;
use super::state::{Looked, Signature, State, StepState, TestCurl};
use super::value::{CurlReading, Instant, Progress};
use crate::domain::ids::PersonId;
use crate::domain::protocol::{Chemical, Clock, HoldPoint, Meaning, Step, StepCode, Validity};
use time::Duration;

/// How many steps ahead of an opening step its questions may stop it: base, gloves and bowl come in between.
const AHEAD: usize = 3;

/// A step without chemistry that is there to look at the scalp: it is answered at its end, not before it.
pub(super) fn looks(step: &Step, point: HoldPoint) -> bool {
    point == HoldPoint::Scalp && step.chemical == Chemical::None && step.hold_points.contains(&point)
}

impl State<'_> {
    /// The step in hand.
    pub fn step_in_hand(&self) -> Option<&Step> {
        self.in_hand.map(|i| &self.frame.protocol.steps[i])
    }

    /// How far a step has come.
    pub fn step_state(&self, code: &StepCode) -> Option<&StepState> {
        self.frame.protocol.index_of(code).map(|i| &self.steps[i])
    }

    /// The contact of an application, once it has touched.
    pub fn exposure(&self, letter: char) -> Option<&Exposure> {
        self.exposures.iter().find(|e| e.letter == letter)
    }

    /// The figures in force for an application's exposure clock.
    pub fn exposure_figures(&self, letter: char) -> Option<Figures> {
        let step = self.frame.protocol.exposure_step(letter)?;
        self.frame.figures(&step.code, Clock::Exposure)
    }

    /// Product is on the hair.
    pub fn product_on(&self) -> bool {
        self.exposures.iter().any(Exposure::is_open)
    }

    /// Something that must be closed has touched, and no closing step has been done since.
    pub fn hair_open(&self) -> bool {
        let needs_closing = self.frame.protocol.steps.iter().any(|s| self.frame.protocol.closes(s));
        let closed = self.closed_from();
        needs_closing
            && self
                .exposures
                .iter()
                .any(|e| e.is_open() || closed.is_none_or(|at| at < e.rinsed_at().unwrap_or(e.first_touch)))
    }

    /// After a stop the sheet of a product that touched, or of what would close the hair, forbids
    /// neutraliser and normalising shampoo: water, medical help, and a stylist signs.
    pub fn sheet_forbids_closing(&self) -> bool {
        let closes =
            |letter| self.frame.protocol.application(letter).is_some_and(|a| a.chemical == Chemical::Closing);
        self.stop.is_some()
            && self.frame.products.iter().any(|p| {
                let meant = self.exposure(p.application).is_some() || closes(p.application);
                p.forbids_closing_after_stop && meant
            })
    }

    /// When the last closing step that was finished began, once every closing step is done.
    fn closed_from(&self) -> Option<Instant> {
        let closing = || {
            self.frame.protocol.steps.iter().zip(&self.steps).filter(|(s, _)| self.frame.protocol.closes(s))
        };
        if closing().any(|(_, s)| s.finished_at.is_none()) {
            return None;
        }
        closing().filter_map(|(_, s)| s.started_at).max()
    }

    /// The last step begun, in the protocol's order.
    pub fn furthest(&self) -> Option<usize> {
        self.steps.iter().rposition(|s| s.started_at.is_some())
    }

    /// The step that comes after the last one begun.
    pub fn next_step(&self) -> Option<&Step> {
        let next = self.furthest().map_or(0, |i| i + 1);
        self.frame.protocol.steps.get(next)
    }

    /// Hold points asked before a step is begun, each with the step it is answered for: its own; what the step before it
    /// was there to look at; and what would stop the opening step that comes next, before anything is mixed for it.
    pub fn asked_before<'s>(&'s self, step: &'s Step) -> Vec<(&'s Step, HoldPoint)> {
        let looked = self.looked_at(step);
        let own = step.hold_points.iter().filter(|p| !looks(step, **p)).map(|p| (step, *p));
        let mut asked: Vec<(&Step, HoldPoint)> = looked.into_iter().chain(own).collect();
        let steps = &self.frame.protocol.steps;
        let from = self.frame.protocol.index_of(&step.code).map_or(steps.len(), |i| i + 1);
        if step.chemical == Chemical::None && step.rinses.is_empty() {
            let ahead = steps
                .iter()
                .skip(from)
                .take(AHEAD)
                .find(|s| s.chemical != Chemical::None || !s.rinses.is_empty());
            let early = ahead.filter(|s| s.is_opening()).into_iter().flat_map(|s| {
                let asks = |p: &&HoldPoint| matches!(p, HoldPoint::PatchTest | HoldPoint::HairDry);
                s.hold_points.iter().filter(asks).map(move |p| (s, *p))
            });
            asked.extend(early);
        }
        asked
    }

    /// The scalp that the last step begun before this one was there to look at.
    pub fn looked_at(&self, step: &Step) -> Option<(&Step, HoldPoint)> {
        let last = self.furthest().map(|i| &self.frame.protocol.steps[i])?;
        (last.code != step.code && looks(last, HoldPoint::Scalp)).then_some((last, HoldPoint::Scalp))
    }

    /// A pass that can no longer be begun: its window has shut over what is on.
    pub fn window_is_shut(&self, step: &Step, now: Instant) -> bool {
        let Some((min, letter)) = step.window_min.zip(step.application) else { return false };
        let ended = self.closes.iter().map(|(_, ended)| *ended).max();
        let on = self.exposure(letter).filter(|e| e.is_open() && step.is_opening());
        on.is_some_and(|e| now >= e.touched_after(ended) + Duration::minutes(i64::from(min)))
    }

    /// The step that comes after the last one begun, passes left out whose window has shut.
    pub fn next_possible(&self, now: Instant) -> Option<&Step> {
        let from = self.furthest().map_or(0, |i| i + 1);
        self.frame.protocol.steps.iter().skip(from).find(|s| !self.window_is_shut(s, now))
    }

    /// The last answer to a hold point that counts for a step: after the last `stop_closed`, and
    /// for one-step answers given for this very step.
    pub fn signature(&self, point: HoldPoint, step: &StepCode) -> Option<&Signature> {
        let outlives_stop = matches!(point, HoldPoint::Consent | HoldPoint::Plan);
        self.signatures.iter().rev().find(|s| {
            s.signed.hold_point == point
                && (outlives_stop || s.seq > self.closed_seq)
                && match point.validity() {
                    Validity::Step => s.step == *step,
                    Validity::Mixture => s.step == *step || self.same_mixture(&s.step, step),
                    _ => true,
                }
        })
    }

    /// This person's gloves were answered for, no water has run since, and no stop was ended: the pair may be the same.
    pub fn wears_the_same_pair(&self, person: PersonId) -> bool {
        let gloves = |s: &&Signature| s.signed.hold_point == HoldPoint::Gloves && s.by == Some(person);
        self.signatures.iter().rev().find(gloves).is_some_and(|s| {
            s.signed.holds() && s.seq > self.closed_seq && !self.waters.iter().any(|w| w.at >= s.recorded_at)
        })
    }

    /// Both steps put one application on, and its sheet gives the mixture a life.
    fn same_mixture(&self, a: &StepCode, b: &StepCode) -> bool {
        let letter = |code| self.frame.protocol.step(code).and_then(|s| s.application);
        letter(a).is_some() && letter(a) == letter(b) && self.mixed_life_min(b).is_some()
    }

    /// How long the mixture of a step's application lives by its sheet, minutes.
    pub fn mixed_life_min(&self, step: &StepCode) -> Option<u16> {
        self.frame.product(self.frame.protocol.step(step)?.application?)?.mixed_life_min
    }

    /// An answer that nobody may override, if one was ever given in this run.
    pub fn failed_for_good(&self, point: HoldPoint) -> Option<&Signature> {
        self.signatures.iter().find(|s| {
            s.signed.hold_point == point
                && s.signed.answer().is_none_or(|a| a.meaning == Meaning::FailsForGood)
        })
    }

    /// The first touch of the try an instant lies in: after the last stop that was ended by then. A window counts from
    /// it, and what was seen before says nothing about it.
    pub fn try_began(&self, exposure: &Exposure, at: Instant) -> Instant {
        exposure.touched_after(self.closes.iter().map(|(_, ended)| *ended).filter(|ended| *ended <= at).max())
    }

    /// The latest first touch of what is on the hair now.
    fn touched_last(&self) -> Option<Instant> {
        let ended = self.closes.iter().map(|(_, ended)| *ended).max();
        self.exposures.iter().filter(|e| e.is_open()).map(|e| e.touched_after(ended)).max()
    }

    /// The last test curl said rinse: a firm S or over, anywhere, on what is on the hair now.
    pub fn curl_says_rinse(&self) -> Option<&TestCurl> {
        let from = self.touched_last()?;
        self.test_curls.iter().find(|c| c.at >= from && c.reading >= CurlReading::S)
    }

    /// A look said rinse, anywhere, at what is on the hair now.
    pub fn look_says_rinse(&self) -> Option<&Looked> {
        let from = self.touched_last()?;
        self.looks.iter().find(|c| c.at >= from && c.reading >= Progress::Reached)
    }

    /// When the window of the application in hand shuts, while its passes are not done.
    pub fn window_shuts_at(&self) -> Option<Instant> {
        self.frame.protocol.steps.iter().zip(&self.steps).find_map(|(step, s)| {
            let min = step.window_min?;
            let exposure = self.exposure(step.application?).filter(|e| e.is_open())?;
            let waits = s.finished_at.is_none();
            let ended = self.closes.iter().map(|(_, ended)| *ended).max();
            waits.then(|| exposure.touched_after(ended) + Duration::minutes(i64::from(min)))
        })
    }
}
