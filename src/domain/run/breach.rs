//! What went against the rules, on record: derived from the events, so that no late fact hides it.

use super::exposure::TouchKind;
use super::state::{Ended, State};
use super::value::{CurlReading, HeadPlace, Instant, Progress, Rod};
use crate::domain::protocol::{Clock, HoldPoint, Protocol, Section, SectionWork, StepCode, Validity};
use crate::domain::words::capital;
use time::Duration;

/// Something that went against the rules.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Breach {
    /// A quadrant was on longer than the longest allowed.
    MostPassed {
        /// Which application.
        application: char,
        /// Which quadrant.
        section: Section,
        /// Since when.
        since: Instant,
    },
    /// A phase lasted longer than its longest.
    PhaseMostPassed {
        /// Which step.
        step: StepCode,
        /// Since when.
        since: Instant,
    },
    /// A closing phase ended before its shortest.
    PhaseTooShort {
        /// Which step.
        step: StepCode,
        /// When it ended.
        ended: Instant,
    },
    /// A quadrant was begun after the window had shut.
    WindowMissed {
        /// Which application.
        application: char,
        /// Which quadrant.
        section: Section,
        /// In which pass.
        pass: u8,
    },
    /// An opening step had begun, or was begun, after somebody had stopped the service.
    OpenedAfterStop {
        /// Which step.
        step: StepCode,
        /// When it was begun.
        at: Instant,
    },
    /// Product touched a quadrant after somebody had stopped the service.
    TouchedAfterStop {
        /// Which quadrant.
        section: Section,
        /// When.
        at: Instant,
    },
    /// Product touched a quadrant before its step was begun.
    TouchedBeforeStart {
        /// Which step.
        step: StepCode,
        /// Which quadrant.
        section: Section,
    },
    /// Product touched a quadrant after a complaint, the scalp not read again.
    TouchedAfterSting {
        /// Which quadrant.
        section: Section,
        /// When.
        at: Instant,
    },
    /// It stung, and that place was not rinsed within the minutes a hand needs, or not at all.
    StingNotRinsed {
        /// Where.
        place: HeadPlace,
        /// When it stung.
        at: Instant,
        /// When it was rinsed; none: not on record.
        rinsed: Option<Instant>,
    },
    /// It stung, and the service went to its end without the scalp read after the water.
    StingNotRead {
        /// Where.
        place: HeadPlace,
        /// When it stung.
        at: Instant,
    },
    /// After a stop the skin was said to be whole before the water had run twenty minutes.
    WaterShort {
        /// When it was said.
        at: Instant,
        /// Whole seconds the water had run.
        ran_s: i64,
    },
    /// A step or a contact ended well before it was meant to.
    EndedEarly {
        /// Which step.
        step: StepCode,
        /// Which of its clocks.
        clock: Clock,
        /// Whole seconds worked.
        worked_s: i64,
        /// Whole seconds meant, the shortest or half the target.
        of_s: i64,
    },
    /// A closing step was given without a scalp reading that held: "not read".
    ScalpNotRead {
        /// Which step.
        step: StepCode,
    },
    /// A closing step was begun without contact: "not confirmed".
    ClosingNotConfirmed {
        /// Which step.
        step: StepCode,
    },
    /// A test curl went past.
    CurlOver {
        /// Which rod.
        rod: Rod,
        /// When.
        at: Instant,
    },
    /// A look showed that it went past.
    WentOver {
        /// Where.
        section: Section,
        /// When.
        at: Instant,
    },
    /// The service ended with product on, or with the hair open.
    LeftOpen {
        /// When.
        at: Instant,
    },
}

impl Breach {
    /// What the record says, steps and products by what the protocol calls them. `at` writes an instant in the salon's
    /// own time.
    pub fn words(&self, protocol: &Protocol, at: &dyn Fn(Instant) -> String) -> String {
        let step_of = |code: &StepCode| {
            let title = protocol.step(code).map_or(code.as_str(), |s| s.title.as_str());
            format!("“{title}”")
        };
        let product = |letter: char| {
            protocol
                .application(letter)
                .map_or_else(|| tr!("product {letter}", letter = letter), |a| a.title.clone())
        };
        match self {
            Breach::MostPassed { application, section, since } => {
                tr!(
                    "{}: {} past the longest allowed since {}.",
                    capital(section.words()),
                    product(*application),
                    at(*since)
                )
            }
            Breach::PhaseMostPassed { step, since } => {
                tr!("{}: past its longest since {}.", step_of(step), at(*since))
            }
            Breach::PhaseTooShort { step, ended } => {
                tr!("{}: ended at {}, before its shortest.", step_of(step), at(*ended))
            }
            Breach::WindowMissed { application, section, pass } => {
                tr!(
                    "{}: {}, pass {pass}, begun after the window had shut.",
                    capital(section.words()),
                    product(*application),
                    pass = pass
                )
            }
            Breach::OpenedAfterStop { step, at: when } => {
                tr!("{} begun at {}, after the stop.", step_of(step), at(*when))
            }
            Breach::TouchedAfterStop { section, at: when } => {
                tr!("Product on {} at {}, after the stop.", section.words(), at(*when))
            }
            Breach::TouchedBeforeStart { step, section } => {
                tr!("Product on {} before {} was begun.", section.words(), step_of(step))
            }
            Breach::TouchedAfterSting { section, at: when } => {
                tr!("Product on {} at {}, the scalp not read since it stung.", section.words(), at(*when))
            }
            Breach::StingNotRinsed { place, at: when, rinsed: None } => {
                tr!("It stung at {}, {}: not rinsed, as far as the record says.", at(*when), place.words())
            }
            Breach::StingNotRinsed { place, at: when, rinsed: Some(rinsed) } => {
                tr!("It stung at {}, {}: rinsed only at {}.", at(*when), place.words(), at(*rinsed))
            }
            Breach::StingNotRead { place, at: when } => {
                tr!("It stung at {}, {}: the scalp was not read after the water.", at(*when), place.words())
            }
            Breach::WaterShort { at: when, ran_s } => {
                tr!(
                    "Skin said to be whole at {}, the water had run {} of 20:00.",
                    at(*when),
                    minutes_words(*ran_s)
                )
            }
            Breach::EndedEarly { step, worked_s, of_s, .. } => {
                tr!(
                    "{}: ended after {} of {}.",
                    step_of(step),
                    minutes_words(*worked_s),
                    minutes_words(*of_s)
                )
            }
            Breach::ScalpNotRead { step } => tr!("{}: scalp not read.", step_of(step)),
            Breach::ClosingNotConfirmed { step } => {
                tr!("{}: begun without contact, not confirmed.", step_of(step))
            }
            Breach::CurlOver { rod, at: when } => {
                tr!("Test curl, {} rod: over at {}.", rod.code(), at(*when))
            }
            Breach::WentOver { section, at: when } => {
                tr!("{}: looked at, over at {}.", capital(section.words()), at(*when))
            }
            Breach::LeftOpen { at: when } => tr!("Ended at {} with the hair open.", at(*when)),
        }
    }
}

/// "3:34".
fn minutes_words(seconds: i64) -> String {
    format!("{}:{:02}", seconds / 60, seconds % 60)
}

/// A stop on record.
struct PastStop {
    /// When.
    at: Instant,
    /// Its place in the record.
    seq: i64,
    /// What ended it: (seq, when).
    close: Option<(i64, Instant)>,
}

impl State<'_> {
    /// Every breach as seen at an instant, in order.
    pub fn breaches(&self, now: Instant) -> Vec<Breach> {
        let mut found = Vec::new();
        self.overruns(now, &mut found);
        self.phases(now, &mut found);
        self.touches(&mut found);
        self.late_stops(&mut found);
        self.closings(&mut found);
        self.complaints(now, &mut found);
        self.ended_early(&mut found);
        found.extend(
            self.test_curls
                .iter()
                .filter(|c| c.reading == CurlReading::Over)
                .map(|c| Breach::CurlOver { rod: c.rod, at: c.at }),
        );
        let over = self.looks.iter().filter(|l| l.reading == Progress::Over);
        found.extend(over.map(|l| Breach::WentOver { section: l.section, at: l.at }));
        if let Some((how, at)) = self.ended {
            let rinsed = !matches!(how, Ended::Left { rinsed: false });
            if self.hair_open() && !(rinsed && self.exposures.is_empty()) {
                found.push(Breach::LeftOpen { at });
            }
        }
        found.sort();
        found.dedup();
        found
    }

    fn overruns(&self, now: Instant, found: &mut Vec<Breach>) {
        let until = self.ended.map_or(now, |(_, at)| at.min(now));
        for exposure in &self.exposures {
            let Some(most) = self.exposure_figures(exposure.letter).and_then(|f| f.most_min) else {
                continue;
            };
            for section in &exposure.sections {
                if let Some(since) = section.passed_at(most, until) {
                    let (application, section) = (exposure.letter, section.section);
                    found.push(Breach::MostPassed { application, section, since });
                }
            }
        }
    }

    fn phases(&self, now: Instant, found: &mut Vec<Breach>) {
        for (step, s) in self.frame.protocol.steps.iter().zip(&self.steps) {
            let figures = self.frame.figures(&step.code, Clock::Phase);
            let Some((figures, started)) = figures.zip(s.started_at) else { continue };
            let after = |min: u16| started + Duration::minutes(i64::from(min));
            if let Some(since) = figures.most_min.map(after).filter(|m| s.finished_at.unwrap_or(now) > *m) {
                found.push(Breach::PhaseMostPassed { step: step.code.clone(), since });
            }
            let least = figures.least_min.filter(|_| self.frame.protocol.closes(step)).map(after);
            if let Some(ended) = s.finished_at.filter(|f| least.is_some_and(|l| *f < l)) {
                found.push(Breach::PhaseTooShort { step: step.code.clone(), ended });
            }
        }
    }

    fn touches(&self, found: &mut Vec<Breach>) {
        let stops = self.every_stop();
        for tap in &self.taps {
            let Some(step) = self.frame.protocol.step(&tap.step).filter(|s| s.is_opening()) else { continue };
            let (TouchKind::Start { section, pass }, Some(SectionWork::Apply { .. })) =
                (tap.touch.what, step.sections)
            else {
                continue;
            };
            let at = tap.touch.at;
            let started = self.step_state(&step.code).and_then(|s| s.started_at);
            if started.is_none_or(|s| at < s) {
                found.push(Breach::TouchedBeforeStart { step: step.code.clone(), section });
            }
            // A stop that was ended lets product on again.
            let stopped = |s: &PastStop| at > s.at && s.close.is_none_or(|(_, ended)| at < ended);
            if stops.iter().any(stopped) {
                found.push(Breach::TouchedAfterStop { section, at });
            }
            if self.stung_and_not_read(at) {
                found.push(Breach::TouchedAfterSting { section, at });
            }
            let window = step.window_min.zip(step.application).and_then(|(min, letter)| {
                let shut = self.try_began(self.exposure(letter)?, at) + Duration::minutes(i64::from(min));
                (at > shut).then_some(letter)
            });
            if let Some(application) = window {
                found.push(Breach::WindowMissed { application, section, pass });
            }
        }
    }

    /// Every stop on record.
    fn every_stop(&self) -> Vec<PastStop> {
        let implied = self.stop.map(|s| (s.at, s.seq));
        self.stops
            .iter()
            .copied()
            .chain(implied)
            .map(|(at, seq)| PastStop {
                at,
                seq,
                close: self.closes.iter().copied().find(|(close, _)| *close > seq),
            })
            .collect()
    }

    fn stung_and_not_read(&self, at: Instant) -> bool {
        let last = self.stings.iter().filter(|s| s.at < at).max_by_key(|s| (s.at, s.seq));
        last.is_some_and(|sting| {
            let rinsed = self.sting_rinsed_at(sting);
            !self.signatures.iter().any(|s| {
                s.signed.hold_point == HoldPoint::Scalp
                    && s.signed.holds()
                    && s.recorded_at <= at
                    && rinsed.is_some_and(|rinsed| s.recorded_at >= rinsed)
                    && s.seq > sting.seq
            })
        })
    }

    /// Opening steps that had begun before a stop was known here, or began before it was ended.
    fn late_stops(&self, found: &mut Vec<Breach>) {
        for PastStop { at: stop_at, seq: stop_seq, close } in self.every_stop() {
            for (step, at, seq) in &self.openings {
                let before_known = *seq < stop_seq && *at > stop_at;
                let before_ended = *seq > stop_seq && close.is_none_or(|(close_seq, _)| *seq < close_seq);
                if before_known || before_ended {
                    found.push(Breach::OpenedAfterStop { step: step.clone(), at: *at });
                }
            }
        }
    }

    fn closings(&self, found: &mut Vec<Breach>) {
        for (step, s) in self.frame.protocol.steps.iter().zip(&self.steps) {
            let Some(started) = s.started_at.filter(|_| step.is_closing()) else { continue };
            if s.unconfirmed {
                found.push(Breach::ClosingNotConfirmed { step: step.code.clone() });
            }
            let read = self.signatures.iter().any(|sig| {
                let Validity::VisitWithin { within_min } = sig.signed.hold_point.validity() else {
                    return false;
                };
                let until = sig.recorded_at + Duration::minutes(i64::from(within_min));
                sig.signed.hold_point == HoldPoint::Scalp && sig.recorded_at <= started && started <= until
            });
            if step.hold_points.contains(&HoldPoint::Scalp) && !read {
                found.push(Breach::ScalpNotRead { step: step.code.clone() });
            }
        }
    }
}
