//! What is in hand now, then what is next: the words of the Run and Floor screens.

use super::exposure::TouchKind;
use super::facts::section_of;
use super::state::{Ended, State};
use super::stings::Owed;
use super::value::{CurlReading, HeadPlace, Instant, Progress};
use crate::domain::protocol::{LookFor, Section, SectionWork, Step, StepCode};
use crate::words;
use time::Duration;

/// The one act a screen offers largest.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum NextAct {
    /// Begin the service.
    StartRun,
    /// Begin a step.
    StartStep(StepCode),
    /// Finish the step in hand.
    FinishStep(StepCode),
    /// Tap a quadrant: product touched it, or it is worked.
    StartSection {
        /// In which step.
        step: StepCode,
        /// Which.
        section: Section,
        /// In which pass.
        pass: u8,
    },
    /// Water on a quadrant.
    RinseSection {
        /// In which step.
        step: StepCode,
        /// Which.
        section: Section,
    },
    /// Water on the whole head, after a stop: from here its minutes count.
    WaterOn {
        /// In which step.
        step: StepCode,
    },
    /// The place that stung is rinsed.
    RinsePlace {
        /// Which.
        place: HeadPlace,
    },
    /// The water runs clear over the whole head.
    RinseClear {
        /// In which step.
        step: StepCode,
    },
    /// Read a test curl.
    ReadCurl,
    /// Look at the sections: comb-back press, lift, colour.
    ReadLook(LookFor),
    /// Read the scalp again.
    ReadScalp,
    /// Answer "Skin whole, eyes clear, no swelling?"
    ReadStop,
    /// End the stop, or the service.
    CloseStop,
    /// End the service.
    FinishRun,
    /// Nothing: it has ended.
    Nothing,
}

/// What the screen says in its largest words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Headline {
    /// What is in hand.
    pub now: String,
    /// What is next.
    pub next: Option<String>,
    /// The step in hand, where what is to be done now is not it.
    pub in_hand: Option<String>,
    /// Danger: rinse, stop.
    pub danger: bool,
    /// The act.
    pub act: NextAct,
}

impl Headline {
    /// What is next, as a line of its own: "Then: …", unless the sentence leads in by itself.
    pub fn next_line(&self) -> Option<String> {
        let leads = [
            tr!("Then look at the scalp there"),
            tr!("Then look: skin whole, eyes clear, no swelling?"),
            tr!("Then: water on, medical help; a stylist signs and ends the service"),
            tr!("Call second hands"),
        ];
        let next = self.next.as_ref()?;
        let alone = leads.iter().any(|lead| next == words::of(lead));
        Some(if alone { next.clone() } else { tr!("Then: {next}", next = next) })
    }

    fn calm(now: impl Into<String>, next: Option<String>, act: NextAct) -> Headline {
        Headline { now: now.into(), next, in_hand: None, danger: false, act }
    }

    fn danger(now: impl Into<String>, next: Option<&str>, act: NextAct) -> Headline {
        Headline { now: now.into(), next: next.map(str::to_owned), in_hand: None, danger: true, act }
    }
}

/// Whether both passes will be done by the time the window shuts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Window {
    /// At this pace they will.
    Kept {
        /// When it shuts.
        shuts_at: Instant,
    },
    /// They will not: call second hands.
    WillBeMissed {
        /// When it shuts.
        shuts_at: Instant,
    },
    /// It is past: start no new quadrant, smooth from the first.
    Past {
        /// When it shut.
        shut_at: Instant,
    },
}

impl Window {
    /// What to say; nothing while it is kept.
    pub fn words(self) -> Option<&'static str> {
        match self {
            Window::Kept { .. } => None,
            Window::WillBeMissed { .. } => Some(tr!("Call second hands")),
            Window::Past { .. } => Some(tr!("Start no new quadrant, smooth from the first")),
        }
    }
}

impl State<'_> {
    /// What is in hand, what is next, and the act.
    pub fn headline(&self, now: Instant) -> Headline {
        if let Some((how, _)) = self.ended {
            let words = match how {
                Ended::Finished => tr!("Finished"),
                Ended::Stopped => tr!("Stopped and ended"),
                Ended::Left { rinsed: true } => tr!("Client left, rinsed"),
                Ended::Left { rinsed: false } => tr!("Client left, not rinsed"),
            };
            return Headline::calm(words, None, NextAct::Nothing);
        }
        if self.started_at.is_none() {
            return Headline::calm(tr!("Ready to start"), self.next_title(), NextAct::StartRun);
        }
        let said = self
            .stopped_headline(now)
            .or_else(|| self.rinse_headline(now))
            .or_else(|| self.sting_headline())
            .unwrap_or_else(|| self.step_headline(now));
        let title = self.step_in_hand().map(|s| s.title.clone());
        let in_hand = title.filter(|t| self.stop.is_none() && !said.now.contains(t.as_str()));
        Headline { in_hand, ..said }
    }

    fn next_title(&self) -> Option<String> {
        self.next_step().map(|s| s.title.clone())
    }

    fn rinse_step(&self) -> Option<&Step> {
        let open = self.exposures.iter().find(|e| e.is_open())?;
        self.frame.protocol.steps.iter().find(|s| s.rinses.contains(&open.letter))
    }

    fn rinse_act(&self) -> NextAct {
        let Some(step) = self.rinse_step() else { return NextAct::ReadStop };
        if self.stop.is_some_and(|s| self.water_since(s.at).is_none()) {
            return NextAct::WaterOn { step: step.code.clone() };
        }
        if self.step_in_hand().is_some_and(|s| s.code == step.code) || self.stop.is_some() {
            NextAct::RinseClear { step: step.code.clone() }
        } else {
            NextAct::StartStep(step.code.clone())
        }
    }

    fn stopped_headline(&self, now: Instant) -> Option<Headline> {
        let stop = self.stop?;
        let look = tr!("Then look: skin whole, eyes clear, no swelling?");
        if self.product_on() {
            let words = if self.water_until().is_some() {
                tr!("Stopped: rinse until the water runs clear")
            } else {
                tr!("Stop and rinse: water on now")
            };
            return Some(Headline::danger(words, Some(look), self.rinse_act()));
        }
        if self.chemistry_met() && self.water_until().is_none() && stop.read.is_none() {
            // Nothing that opened hair is on; what closes it, or runs down with it, may still be on skin or in an eye.
            let rinses = self.frame.protocol.steps.iter().rfind(|s| !s.rinses.is_empty());
            let act = rinses.map_or(NextAct::ReadStop, |s| NextAct::WaterOn { step: s.code.clone() });
            return Some(Headline::danger(tr!("Stop and rinse: water on now"), Some(look), act));
        }
        let closing = self.closing_due();
        Some(match (stop.read, closing) {
            (None, _) if self.water_runs_short(now) && self.water_until().is_some() => {
                Headline::danger(tr!("Stopped: keep the water running"), Some(look), NextAct::ReadStop)
            }
            (None, _) => {
                Headline::danger(tr!("Skin whole, eyes clear, no swelling?"), None, NextAct::ReadStop)
            }
            (Some(false), _) => {
                let next = if self.sheet_forbids_closing() {
                    tr!("The product sheet forbids closing the hair: a stylist signs and ends the service")
                } else {
                    tr!("Later, off the scalp, a stylist signs and closes the hair")
                };
                Headline::danger(tr!("Water and medical help first"), Some(next), NextAct::ReadStop)
            }
            (Some(true), Some(_)) if self.sheet_forbids_closing() => Headline::danger(
                tr!("Stopped and rinsed: the product sheet forbids closing the hair"),
                Some(tr!("Then: water on, medical help; a stylist signs and ends the service")),
                NextAct::CloseStop,
            ),
            (Some(true), Some(step)) => {
                let act = self.close_act(step);
                Headline::calm(tr!("Stopped and rinsed: {}", self.closing_title(step)), None, act)
            }
            (Some(true), None) => Headline::calm(tr!("Stopped, rinsed and closed"), None, NextAct::CloseStop),
        })
    }

    /// What a closing step is called on this head: where no rod was wound there is none to saturate.
    pub fn closing_title(&self, step: &Step) -> String {
        let steps = || self.frame.protocol.steps.iter().zip(&self.steps);
        let wound = self.rods.is_some() || steps().any(|(s, x)| s.rods && x.started_at.is_some());
        let bare = self.stop.is_some() && !wound && steps().any(|(s, _)| s.rods);
        match (bare, step.is_closing()) {
            (true, true) => tr!("neutralise the hair as it lies, no rods are in").to_owned(),
            (true, false) if self.frame.protocol.closes(step) => tr!("let the neutraliser work").to_owned(),
            _ => step.title.clone(),
        }
    }

    /// The closing step in hand or due, while the hair is open.
    fn closing_due(&self) -> Option<&Step> {
        if !self.hair_open() {
            return None;
        }
        let undone = |(step, s): &(&Step, &super::state::StepState)| {
            self.frame.protocol.closes(step) && s.finished_at.is_none()
        };
        self.frame.protocol.steps.iter().zip(&self.steps).find(undone).map(|(step, _)| step)
    }

    fn close_act(&self, step: &Step) -> NextAct {
        if self.step_in_hand().is_some_and(|s| s.code == step.code) {
            NextAct::FinishStep(step.code.clone())
        } else {
            NextAct::StartStep(step.code.clone())
        }
    }

    fn rinse_headline(&self, now: Instant) -> Option<Headline> {
        let rinsing = self.step_in_hand().is_some_and(|s| s.sections == Some(SectionWork::Rinse));
        if let Some(curl) = self.curl_says_rinse().filter(|_| !rinsing) {
            let words = if curl.reading == CurlReading::Over {
                tr!("Over: rinse now")
            } else {
                tr!("Firm S: rinse the whole head")
            };
            return Some(Headline::danger(words, None, self.rinse_act()));
        }
        if let Some(look) = self.look_says_rinse().filter(|_| !rinsing) {
            let words = if look.reading == Progress::Over {
                tr!("Over: rinse now").to_owned()
            } else {
                tr!("Reached, {}: rinse", look.section.words())
            };
            return Some(Headline::danger(words, None, self.rinse_act()));
        }
        let over = self
            .running()
            .into_iter()
            .any(|c| c.on_hair && !c.rinsing && c.most_at.is_some_and(|m| now >= m));
        let opening_over = over && self.product_on();
        opening_over.then(|| {
            Headline::danger(tr!("Rinse now"), Some(tr!("Longest allowed reached")), self.rinse_act())
        })
    }

    /// A complaint that is not answered for: its place rinsed, then the scalp there read.
    fn sting_headline(&self) -> Option<Headline> {
        let (sting, owed) = self.open_sting()?;
        match owed {
            Owed::Water => {
                let words = tr!("It stings: rinse {} now", sting.place.words());
                let act = self.sting_rinse(sting.place);
                Some(Headline::danger(words, Some(tr!("Then look at the scalp there")), act))
            }
            Owed::Look { .. } => {
                let words =
                    tr!("It stung, {}: read the scalp before anything more goes on", sting.place.words());
                Some(Headline {
                    danger: true,
                    ..Headline::calm(words, self.next_title(), NextAct::ReadScalp)
                })
            }
        }
    }

    /// One of the head's own sections is rinsed as one, and its clock ends; any other place by itself.
    fn sting_rinse(&self, place: HeadPlace) -> NextAct {
        let section = section_of(place, self.frame.sections());
        let step = self.step_in_hand().or_else(|| self.rinse_step()).map(|s| s.code.clone());
        match section.zip(step) {
            Some((section, step)) => NextAct::RinseSection { step, section },
            None => NextAct::RinsePlace { place },
        }
    }

    fn step_headline(&self, now: Instant) -> Headline {
        let Some(step) = self.step_in_hand() else {
            return match self.next_possible(now) {
                Some(next) => {
                    Headline::calm(tr!("Next: {}", next.title), None, NextAct::StartStep(next.code.clone()))
                }
                None => Headline::calm(tr!("All steps done"), None, NextAct::FinishRun),
            };
        };
        if let Some(words) = self.window(now).and_then(Window::words) {
            let act = self.step_act(step, now);
            return Headline::calm(step.title.clone(), Some(words.to_owned()), act);
        }
        let curl_due = self.running().iter().filter_map(|c| self.test_curl_due(c)).any(|at| at <= now);
        if curl_due {
            return Headline::calm(
                tr!("Test curl: first rod, last rod, weakest place"),
                None,
                NextAct::ReadCurl,
            );
        }
        let look = self.running().into_iter().find(|c| self.look_due(c).is_some_and(|at| at <= now));
        if let Some(look) = look.and_then(|c| c.look).filter(|_| self.untapped(step).is_empty()) {
            let words = tr!("Look: {}", look.what.words());
            return Headline::calm(words, self.next_title(), NextAct::ReadLook(look.what));
        }
        let next = self.untapped(step).first().map(|s| s.words().to_owned()).or_else(|| self.next_title());
        let words = match self.last_tapped(step) {
            Some(section) => format!("{}: {}", step.title, section.words()),
            None => step.title.clone(),
        };
        Headline::calm(words, next, self.step_act(step, now))
    }

    fn step_act(&self, step: &Step, now: Instant) -> NextAct {
        let code = step.code.clone();
        // No new quadrant once the window is past.
        let untapped = self.untapped(step).first().copied().filter(|_| !self.window_is_shut(step, now));
        let Some(section) = untapped else {
            return match self
                .next_possible(now)
                .filter(|n| self.frame.protocol.index_of(&n.code) > self.in_hand)
            {
                Some(next) => NextAct::StartStep(next.code.clone()),
                None => NextAct::FinishStep(code),
            };
        };
        match step.sections {
            Some(SectionWork::Apply { pass }) => NextAct::StartSection { step: code, section, pass },
            Some(SectionWork::Smooth) => NextAct::StartSection { step: code, section, pass: 1 },
            Some(SectionWork::Rinse) => NextAct::RinseSection { step: code, section },
            None => NextAct::FinishStep(code),
        }
    }

    /// Quadrants still to be worked in a step, in order.
    pub fn untapped(&self, step: &Step) -> Vec<Section> {
        let sections = self.frame.protocol.sections_of(step).iter().copied();
        match step.sections {
            None => Vec::new(),
            Some(SectionWork::Rinse) => {
                let wet = |s: &Section| {
                    self.exposures
                        .iter()
                        .filter(|e| step.rinses.contains(&e.letter))
                        .flat_map(|e| &e.sections)
                        .any(|e| e.section == *s && e.is_open())
                };
                sections.filter(wet).collect()
            }
            Some(SectionWork::Apply { .. } | SectionWork::Smooth) => {
                sections.filter(|s| !self.tapped(step).any(|t| t == *s)).collect()
            }
        }
    }

    fn tapped<'a>(&'a self, step: &'a Step) -> impl DoubleEndedIterator<Item = Section> + 'a {
        self.taps.iter().filter(|t| t.step == step.code).filter_map(|t| match t.touch.what {
            TouchKind::Start { section, .. } => Some(section),
            TouchKind::Rinse { .. } | TouchKind::Begun => None,
        })
    }

    /// The section tapped last in a step: the one in hand.
    pub fn last_tapped(&self, step: &Step) -> Option<Section> {
        self.tapped(step).next_back()
    }

    /// The window of the passes in hand, at the pace so far.
    pub fn window(&self, now: Instant) -> Option<Window> {
        let shuts_at = self.window_shuts_at()?;
        let protocol = &self.frame.protocol;
        let passes: Vec<_> = protocol.steps.iter().filter(|s| s.window_min.is_some()).collect();
        let total: usize = passes.iter().map(|s| protocol.sections_of(s).len()).sum();
        let mut taps: Vec<Instant> = self
            .taps
            .iter()
            .filter(|t| passes.iter().any(|p| p.code == t.step))
            .map(|t| t.touch.at)
            .collect();
        taps.sort_unstable();
        if now >= shuts_at {
            return Some(Window::Past { shut_at: shuts_at });
        }
        let typical: i64 = passes.iter().map(|s| i64::from(s.minutes_typical) * 60).sum();
        let count = i64::try_from(total.max(1)).unwrap_or(i64::MAX);
        let (first, last) = taps.first().zip(taps.last()).unwrap_or((&now, &now));
        let gaps = i64::try_from(taps.len()).unwrap_or(i64::MAX) - 1;
        // A pace needs two gaps; before that the usual one is taken.
        let pace_s = if gaps >= 2 { (*last - *first).whole_seconds() / gaps } else { typical / count };
        // The quadrant in hand and those to go.
        let left = i64::try_from(total.saturating_sub(taps.len())).unwrap_or(0) + i64::from(!taps.is_empty());
        let done_by = (*last + Duration::seconds(pace_s * left)).max(now);
        Some(if done_by > shuts_at { Window::WillBeMissed { shuts_at } } else { Window::Kept { shuts_at } })
    }
}
