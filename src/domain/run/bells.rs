//! Bells: one minute before target, at target, at most, then every minute until somebody takes it.
//!
//! The bell at the longest allowed cannot be silenced: only rinsing or stopping answers it.

use super::state::State;
use super::stings::Owed;
use super::value::{CurlReading, HeadPlace, Instant, Progress};
use crate::domain::protocol::{Clock, Look, LookFor, Step, StepCode};
use time::Duration;

/// Minutes between a test curl that is no S yet and the next, where the protocol names none
/// (trade-rules.md: every 2–3, common practice).
const LOOK_AGAIN_MIN: u16 = 2;

/// What a bell calls for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum BellKind {
    /// One minute to target.
    Soon,
    /// The shortest time has passed, or a look again is due: read a test curl.
    TestCurl,
    /// A look is due: comb-back press, lift, colour.
    Look,
    /// At target, and every minute until taken.
    Target,
    /// At the longest allowed, and every minute until rinsed.
    Most,
    /// The service is stopped and not rinsed: every minute.
    RinseNow,
}

/// A bell at an instant.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Bell {
    /// When it rings.
    pub at: Instant,
    /// What it calls for.
    pub kind: BellKind,
    /// Of which step.
    pub step: StepCode,
    /// Of which of its clocks.
    pub clock: Clock,
}

/// What the ear is told before any word: each has a pattern and a pitch of its own (`static/js/bell.js`).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Urgency {
    /// One minute left.
    Soon,
    /// Somebody is wanted now.
    Due,
    /// The longest allowed is reached.
    Most,
    /// The service is stopped, or it stings.
    Stop,
}

impl Urgency {
    /// Its code, part of a bell's key on the screens.
    pub const fn code(self) -> &'static str {
        match self {
            Urgency::Soon => "soon",
            Urgency::Due => "due",
            Urgency::Most => "most",
            Urgency::Stop => "stop",
        }
    }
}

/// What rings once beside the clocks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Alarm {
    /// The service was stopped before anything had touched.
    Stopped {
        /// The stop's place in the record.
        seq: i64,
    },
    /// A complaint that is not answered for: its place rinsed, then the scalp there read.
    Stings {
        /// Where.
        place: HeadPlace,
        /// Its place in the record.
        seq: i64,
        /// That place is rinsed; the scalp there is not read yet.
        rinsed: bool,
    },
}

impl Bell {
    /// How urgent it is.
    pub const fn urgency(&self) -> Urgency {
        match self.kind {
            BellKind::Soon => Urgency::Soon,
            BellKind::TestCurl | BellKind::Look | BellKind::Target => Urgency::Due,
            BellKind::Most => Urgency::Most,
            BellKind::RinseNow => Urgency::Stop,
        }
    }

    /// It stays until somebody rinses or stops; taking it does not silence it.
    pub const fn only_rinsing_answers(&self) -> bool {
        matches!(self.kind, BellKind::Most | BellKind::RinseNow)
    }
}

/// A clock that runs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Running {
    /// Whose.
    pub step: StepCode,
    /// Which.
    pub clock: Clock,
    /// From when it counts: the step's start, or the quadrant that is ahead.
    pub from: Instant,
    /// When it is meant to end.
    pub target_at: Option<Instant>,
    /// Not before.
    pub least_at: Option<Instant>,
    /// Not after.
    pub most_at: Option<Instant>,
    /// Test curls are read on it.
    pub test_curl: bool,
    /// What is watched on it.
    pub look: Option<Look>,
    /// Rinsing has begun: the exposure counts on until clear, the bell is answered.
    pub rinsing: bool,
    /// Past the longest allowed nothing but rinsing or stopping answers its bell.
    pub on_hair: bool,
}

impl State<'_> {
    /// Every clock that runs, exposure clocks first.
    pub fn running(&self) -> Vec<Running> {
        if self.ended.is_some() {
            return Vec::new();
        }
        let exposures = self.exposures.iter().filter(|e| e.is_open()).filter_map(|e| {
            let step = self.frame.protocol.exposure_step(e.letter)?;
            let figures = self.exposure_figures(e.letter)?;
            let reach = |m: Option<u16>| m.and_then(|m| e.reaches_at(m));
            let rinse_in_hand = self.step_in_hand().is_some_and(|s| s.rinses.contains(&e.letter));
            let ahead = |s: &super::exposure::SectionExposure| s.reaches_at(0);
            Some(Running {
                step: step.code.clone(),
                clock: Clock::Exposure,
                from: e.sections.iter().filter_map(ahead).min().unwrap_or(e.first_touch),
                target_at: reach(figures.target_min),
                least_at: reach(figures.least_min),
                most_at: reach(figures.most_min),
                test_curl: self.reads_curls(e.letter),
                look: self.frame.protocol.look(e.letter),
                rinsing: e.water_on.is_some() || rinse_in_hand,
                on_hair: true,
            })
        });
        exposures.chain(self.phase_running()).collect()
    }

    fn phase_running(&self) -> Option<Running> {
        let step = self.step_in_hand()?;
        let figures = self.frame.figures(&step.code, Clock::Phase)?;
        let from = self.step_state(&step.code)?.started_at?;
        let after = |m: Option<u16>| m.map(|m| from + Duration::minutes(i64::from(m)));
        let on_hair = step.application.is_some();
        let rinsing = step.application.and_then(|l| self.exposure(l)).is_some_and(|e| e.water_on.is_some());
        Some(Running {
            step: step.code.clone(),
            clock: Clock::Phase,
            from,
            target_at: after(figures.target_min),
            least_at: after(figures.least_min),
            most_at: after(figures.most_min),
            test_curl: step.reads_curls(),
            look: step.look.filter(|_| step.reads_curls()),
            rinsing,
            on_hair,
        })
    }

    fn reads_curls(&self, letter: char) -> bool {
        let of = |s: &&Step| s.application == Some(letter) && s.reads_curls();
        self.frame.protocol.steps.iter().find(of).is_some()
    }

    /// A head over its longest allowed while nobody rinses it: the bell of when it passed.
    pub fn passed(&self, now: Instant) -> Option<Bell> {
        let over = |c: &Running| c.on_hair && !c.rinsing && c.most_at.is_some_and(|m| m <= now);
        let clocks = self.running().into_iter().filter(|c| self.stop.is_none() && over(c));
        let mut bells = clocks.filter_map(|c| {
            Some(Bell { at: c.most_at?, kind: BellKind::Most, step: c.step, clock: c.clock })
        });
        // From first touch before a step's own: the one whose overrun every screen shows.
        bells.next()
    }

    /// The bells that ring after `from`, up to and with `to`, in order, as things stand.
    pub fn bells_between(&self, from: Instant, to: Instant) -> Vec<Bell> {
        let mut bells = Vec::new();
        for clock in self.running() {
            self.clock_bells(&clock, from, to, &mut bells);
        }
        bells.sort();
        bells.dedup();
        bells
    }

    /// The next bell after an instant, as things stand; within a day.
    pub fn next_bell(&self, now: Instant) -> Option<Bell> {
        // Most spans hold a bell within the hour; a day covers every clock a protocol may have.
        [60, 24 * 60]
            .into_iter()
            .find_map(|m| self.bells_between(now, now + Duration::minutes(m)).into_iter().next())
    }

    /// The bell that rings now: the gravest untaken one that has rung on each clock.
    pub fn ringing(&self, now: Instant) -> Vec<Bell> {
        let mut ringing: Vec<Bell> = Vec::new();
        for clock in self.running() {
            let mut bells = Vec::new();
            self.clock_bells(&clock, clock.from - Duration::SECOND, now, &mut bells);
            bells.retain(|b| b.only_rinsing_answers() || self.taken_after(&clock, b.at).is_none());
            ringing.extend(bells.into_iter().max_by_key(|b| (b.kind, b.at)));
        }
        ringing
    }

    /// A stop that no clock rings for, or the last complaint while nobody has read the scalp since.
    pub fn alarm(&self) -> Option<Alarm> {
        if self.ended.is_some() {
            return None;
        }
        if let Some(stop) = self.stop {
            return self.exposures.is_empty().then_some(Alarm::Stopped { seq: stop.seq });
        }
        let (sting, owed) = self.open_sting()?;
        let rinsed = matches!(owed, Owed::Look { .. });
        Some(Alarm::Stings { place: sting.place, seq: sting.seq, rinsed })
    }

    fn taken_after(&self, clock: &Running, at: Instant) -> Option<Instant> {
        let of = |b: &&super::state::BellTaken| b.step == clock.step && b.clock == clock.clock && b.at >= at;
        let curl = self.test_curls.iter().filter(|c| clock.test_curl && c.at >= at).map(|c| c.at);
        let look = self.looks.iter().filter(|l| clock.look.is_some_and(|c| c.what == l.look) && l.at >= at);
        let looked = look.map(|l| l.at);
        self.bells_taken.iter().filter(of).map(|b| b.at).chain(curl).chain(looked).min()
    }

    fn clock_bells(&self, clock: &Running, from: Instant, to: Instant, bells: &mut Vec<Bell>) {
        if clock.rinsing {
            return;
        }
        let mut ring = |at: Instant, kind: BellKind| {
            if at > from && at <= to {
                bells.push(Bell { at, kind, step: clock.step.clone(), clock: clock.clock });
            }
        };
        if let Some(stop) = self.stop.filter(|_| clock.clock == Clock::Exposure) {
            each_minute(stop.at, None, from, to, |at| ring(at, BellKind::RinseNow));
            return;
        }
        let answered_only_by_rinsing = clock.on_hair;
        if let Some(target) = clock.target_at {
            ring(target - Duration::MINUTE, BellKind::Soon);
            let until = [clock.most_at, self.taken_after(clock, target)].into_iter().flatten().min();
            each_minute(target, until, from, to, |at| ring(at, BellKind::Target));
        }
        if let Some(most) = clock.most_at {
            let until = if answered_only_by_rinsing { None } else { self.taken_after(clock, most) };
            each_minute(most, until, from, to, |at| ring(at, BellKind::Most));
        }
        if let Some(at) = self.test_curl_due(clock) {
            ring(at, BellKind::TestCurl);
        }
        if let Some(at) = self.look_due(clock) {
            ring(at, BellKind::Look);
        }
    }

    /// When a look is due: from its first minute on, then so often after each that is not yet.
    pub fn look_due(&self, clock: &Running) -> Option<Instant> {
        let look = clock.look.filter(|l| l.what != LookFor::TestCurl)?;
        let after = |at: Instant, min: u16| at + Duration::minutes(i64::from(min));
        let of = |l: &&super::state::Looked| l.look == look.what && l.at >= clock.from;
        match self.looks.iter().filter(of).max_by_key(|l| l.at) {
            None => Some(after(clock.from, look.first_min())),
            Some(l) if l.reading >= Progress::Reached => None,
            Some(l) => Some(after(l.at, look.every_min)),
        }
    }

    /// When a test curl is due: from the least time on, then two minutes after each that is no S. A sheet that gives no
    /// shortest time leaves the look's own first minute: no sheet silences the test curl.
    pub fn test_curl_due(&self, clock: &Running) -> Option<Instant> {
        if !clock.test_curl {
            return None;
        }
        let first = clock.look.map_or(LOOK_AGAIN_MIN, |l| l.first_min());
        let least = clock.least_at.unwrap_or(clock.from + Duration::minutes(i64::from(first)));
        let last = self.test_curls.iter().filter(|c| c.at >= clock.from).max_by_key(|c| c.at);
        match last {
            None => Some(least),
            Some(c) if c.reading >= CurlReading::S => None,
            Some(c) => {
                let every = clock.look.map_or(LOOK_AGAIN_MIN, |l| l.every_min);
                Some((c.at + Duration::minutes(i64::from(every))).max(least))
            }
        }
    }
}

/// Rings at `start` and every minute after it, until an instant (not at it), within (from, to].
fn each_minute(
    start: Instant,
    until: Option<Instant>,
    from: Instant,
    to: Instant,
    mut ring: impl FnMut(Instant),
) {
    let skipped = (from - start).whole_minutes().max(0);
    let mut at = start + Duration::minutes(skipped);
    while at <= to && until.is_none_or(|u| at < u || at == start) {
        ring(at);
        at += Duration::MINUTE;
    }
}
