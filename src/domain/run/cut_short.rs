//! What was cut short, for the record: complaints without water or a look, water after a stop, work that ended too soon.

use super::breach::Breach;
use super::state::State;
use super::value::{CurlReading, Instant, Progress};
use crate::domain::protocol::{Clock, StepCode};
use time::Duration;

/// Minutes in which a hand has water on a place that stings (common practice, no source).
pub const STING_RINSED_WITHIN_MIN: i64 = 2;

impl State<'_> {
    /// Complaints whose place had no water in time, or no look after; stops answered before the water had run.
    pub(super) fn complaints(&self, now: Instant, found: &mut Vec<Breach>) {
        let until = self.ended.map_or(now, |(_, at)| at.min(now));
        for sting in &self.stings {
            let (place, at) = (sting.place, sting.at);
            let rinsed = self.sting_rinsed_at(sting);
            let in_time = at + Duration::minutes(STING_RINSED_WITHIN_MIN);
            if rinsed.unwrap_or(until) > in_time || (rinsed.is_none() && self.ended.is_some()) {
                found.push(Breach::StingNotRinsed { place, at, rinsed });
            }
            let stopped_since = self.skin_reads.iter().any(|r| r.at >= at);
            if self.ended.is_some() && self.sting_read(sting).is_none() && !stopped_since {
                found.push(Breach::StingNotRead { place, at });
            }
        }
        for read in &self.skin_reads {
            if let Some(ran) = self.read_early(read) {
                found.push(Breach::WaterShort { at: read.at, ran_s: ran.whole_seconds() });
            }
        }
    }

    /// A phase that ended before its shortest, or before half its target where it names none; contact likewise. What
    /// closes hair has a breach of its own, and nothing counts that a stop, a complaint, a look or a test curl ended.
    pub(super) fn ended_early(&self, found: &mut Vec<Breach>) {
        let cut_short = |at: Instant| {
            self.stops.iter().any(|(stop, _)| *stop <= at)
                || self.stings.iter().any(|s| s.at <= at)
                || self.test_curls.iter().any(|c| c.at <= at && c.reading >= CurlReading::S)
                || self.looks.iter().any(|l| l.at <= at && l.reading >= Progress::Reached)
        };
        let meant = |least: Option<u16>, target: Option<u16>| match (least, target) {
            (Some(least), _) => Some(Duration::minutes(i64::from(least))),
            (None, target) => Some(Duration::minutes(i64::from(target?)) / 2),
        };
        let mut note = |step: &StepCode, clock: Clock, ended: Instant, worked: Duration, of: Duration| {
            if worked < of && !cut_short(ended) {
                let (worked_s, of_s) = (worked.whole_seconds(), of.whole_seconds());
                found.push(Breach::EndedEarly { step: step.clone(), clock, worked_s, of_s });
            }
        };
        for (step, s) in self.frame.protocol.steps.iter().zip(&self.steps) {
            let phase = self.frame.figures(&step.code, Clock::Phase);
            let of = phase.and_then(|f| meant(f.least_min, f.target_min));
            if let (Some(of), Some(from), Some(ended)) = (of, s.started_at, s.finished_at)
                && !(self.frame.protocol.closes(step) && phase.is_some_and(|f| f.least_min.is_some()))
            {
                note(&step.code, Clock::Phase, ended, ended - from, of);
            }
        }
        for exposure in &self.exposures {
            let figures = self.exposure_figures(exposure.letter);
            let of = figures.and_then(|f| meant(f.least_min, f.target_min));
            let step = self.frame.protocol.exposure_step(exposure.letter);
            if let (Some(of), Some(ended), Some(step)) = (of, exposure.rinsed_at(), step) {
                note(&step.code, Clock::Exposure, ended, exposure.longest(ended), of);
            }
        }
    }
}
