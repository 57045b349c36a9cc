//! Work that would end sooner than it is meant to: asked about once, and on record.

use super::headline::NextAct;
use super::state::State;
use super::value::Instant;
use crate::domain::protocol::{Clock, Step, StepCode};
use time::Duration;

/// So close to its target nobody is asked: the bell before it has rung.
const NEAR: Duration = Duration::MINUTE;

/// What would end sooner than meant.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Early {
    /// Whose clock.
    pub step: StepCode,
    /// Which.
    pub clock: Clock,
    /// How long it has worked.
    pub worked: Duration,
    /// How long it is meant to: its shortest, else its target.
    pub of: Duration,
}

impl State<'_> {
    /// The clock that an act would end sooner than it is meant to; none after a stop, a complaint, or once a look or a
    /// test curl says rinse.
    pub fn ends_early(&self, act: &NextAct, now: Instant) -> Option<Early> {
        let over = self.stop.is_some() || self.open_sting().is_some();
        let reached = self.curl_says_rinse().is_some() || self.look_says_rinse().is_some();
        if over || reached {
            return None;
        }
        let begins = match act {
            NextAct::StartStep(code) => self.frame.protocol.step(code),
            NextAct::FinishStep(_) => None,
            _ => return None,
        };
        self.phase_early(now).or_else(|| self.exposure_early(begins?, now))
    }

    fn phase_early(&self, now: Instant) -> Option<Early> {
        let step = self.step_in_hand()?;
        let from = self.step_state(&step.code)?.started_at?;
        let least = self.frame.figures(&step.code, Clock::Phase)?.least_min;
        let (of, near) = match least {
            Some(least) => (Duration::minutes(i64::from(least)), Duration::ZERO),
            None => (self.length(step, from), NEAR),
        };
        let worked = now - from;
        (worked + near < of).then(|| Early { step: step.code.clone(), clock: Clock::Phase, worked, of })
    }

    /// A rinse that ends contact before its shortest, or well before its target.
    fn exposure_early(&self, begins: &Step, now: Instant) -> Option<Early> {
        let letter = begins.rinses.iter().find(|l| self.exposure(**l).is_some_and(|e| e.is_open()))?;
        let figures = self.exposure_figures(*letter)?;
        let of = Duration::minutes(i64::from(figures.least_min.or(figures.target_min)?));
        let near = if figures.least_min.is_some() { Duration::ZERO } else { NEAR };
        let worked = self.exposure(*letter)?.longest(now);
        let step = self.frame.protocol.exposure_step(*letter)?.code.clone();
        (worked + near < of).then_some(Early { step, clock: Clock::Exposure, worked, of })
    }
}
