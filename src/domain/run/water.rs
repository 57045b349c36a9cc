//! The water after a stop: since when it runs, and until when it has to.

use super::decide::FIRST_AID_WATER_MIN;
use super::state::{SkinRead, State};
use super::value::Instant;
use time::Duration;

impl State<'_> {
    /// Something that harms skin may be on it: any product that touched, or that closes hair.
    pub fn chemistry_met(&self) -> bool {
        let closing = self.frame.protocol.steps.iter().zip(&self.steps);
        !self.exposures.is_empty()
            || closing.into_iter().any(|(s, x)| s.is_closing() && x.started_at.is_some())
    }

    /// The first water on record from an instant on.
    pub fn water_since(&self, at: Instant) -> Option<Instant> {
        self.waters.iter().map(|w| w.at).filter(|w| *w >= at).min()
    }

    /// After a stop: until when the water runs, twenty minutes from when it was put on; none while it is not on, or
    /// where nothing has touched.
    pub fn water_until(&self) -> Option<Instant> {
        let stop = self.stop.filter(|_| self.chemistry_met())?;
        Some(self.water_since(stop.at)? + Duration::minutes(FIRST_AID_WATER_MIN))
    }

    /// The water still has to run at an instant, or is not on yet.
    pub fn water_runs_short(&self, now: Instant) -> bool {
        self.stop.is_some() && self.chemistry_met() && self.water_until().is_none_or(|until| now < until)
    }

    /// How long the water had run when the skin was said to be whole, where that was short of twenty minutes.
    pub(super) fn read_early(&self, read: &SkinRead) -> Option<Duration> {
        if !read.whole || !self.chemistry_met() {
            return None;
        }
        let ran = self.water_since(read.stopped_at).map_or(Duration::ZERO, |from| read.at - from);
        (ran < Duration::minutes(FIRST_AID_WATER_MIN)).then_some(ran.max(Duration::ZERO))
    }
}
