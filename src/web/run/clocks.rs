//! Clocks, bells and the working window of the Run screen.

use time::OffsetDateTime;

use super::view::{Dial, Maker, ms};
use crate::domain::protocol::{SectionWork, Step};
use crate::domain::run::FIRST_AID_WATER_MIN;
use crate::domain::run::headline::Window;
use crate::domain::sheet::SheetHair;
use crate::web::bell_words::Ring;
use crate::web::picture::mark::Drawing;
use crate::web::picture::{Clock, window};

impl Maker<'_> {
    /// When the window shuts, and what that asks for unless the headline says so already.
    pub(super) fn pace(&self, said: Option<&str>) -> String {
        let asks = |w: Window| {
            w.words().filter(|words| said != Some(*words)).map_or_else(String::new, |x| format!("{x}. "))
        };
        match self.state.window(self.now).filter(|_| self.state.stop.is_none()) {
            Some(Window::Kept { shuts_at }) => tr!("Both passes are done by {}.", self.clock(shuts_at)),
            Some(w @ Window::WillBeMissed { shuts_at }) => {
                tr!("{}The window shuts at {}.", asks(w), self.clock(shuts_at))
            }
            Some(w @ Window::Past { shut_at }) => {
                tr!("{}The window shut at {}.", asks(w), self.clock(shut_at))
            }
            None => String::new(),
        }
    }

    pub(super) fn dials(&self) -> Vec<Dial> {
        let now = ms(self.now);
        let mut dials = Vec::new();
        if let Some(stop) = self.state.stop {
            // Once the skin was read and the hair is being closed, what closes it has the clock.
            let closing = !self.state.product_on() && !self.state.running().is_empty();
            dials.extend(
                self.water_dial(stop.at).filter(|_| !closing || self.state.water_runs_short(self.now)),
            );
            if !closing {
                return dials;
            }
        }
        if let Some(shuts) = self.state.window_shuts_at().filter(|shuts| *shuts > self.now) {
            dials.push(Dial {
                clock: Clock::down(ms(shuts), now),
                most: None,
                words: tr!("left for both passes, window shuts {}", self.clock(shuts)),
                small: false,
                class: "",
            });
        }
        // What closes the hair is the clock that counts then, whatever is still on record before it.
        let mut clocks = self.state.running();
        let closing = self.state.step_in_hand().is_some_and(|s| self.loaded.frame.protocol.closes(s));
        clocks.sort_by_key(|c| closing && c.clock == crate::domain::protocol::Clock::Exposure);
        for running in clocks {
            let title =
                self.loaded.frame.protocol.step(&running.step).map(|s| s.title.clone()).unwrap_or_default();
            let exposure = running.clock == crate::domain::protocol::Clock::Exposure;
            let source = if exposure { tr!("from first touch") } else { tr!("from the step's start") };
            let what = if exposure {
                tr!("to the rinse").to_string()
            } else {
                tr!("of “{title}”", title = title)
            };
            let most = running.most_at.map(|m| match exposure {
                true => tr!("; longest allowed on the hair at {}", self.clock(m)),
                false => tr!("; longest for this step at {}", self.clock(m)),
            });
            let most = most.unwrap_or_default();
            let rinse_due = exposure
                && (self.state.curl_says_rinse().is_some() || self.state.look_says_rinse().is_some());
            let (clock, words, class) = match running.target_at.filter(|_| !rinse_due) {
                // Over by as much as the Floor says.
                _ if running.on_hair && running.most_at.is_some_and(|m| m <= self.now) => {
                    let most = running.most_at.unwrap_or(self.now);
                    let words =
                        tr!("over the longest allowed since {}, {source}", self.clock(most), source = source);
                    (Clock::down(ms(most), now), words, " over")
                }
                Some(target) if target <= self.now => (
                    Clock::down(ms(target), now),
                    tr!(
                        "past the target of {}, {source}{most}",
                        self.clock(target),
                        source = source,
                        most = most
                    ),
                    " ringing",
                ),
                Some(target) => (
                    Clock::down(ms(target), now),
                    tr!(
                        "{what}, at {}, {source}{most}",
                        self.clock(target),
                        what = what,
                        source = source,
                        most = most
                    ),
                    "",
                ),
                None => (
                    Clock::up(ms(running.from), now),
                    tr!("on, {source}{most}", source = source, most = most),
                    "",
                ),
            };
            dials.push(Dial {
                clock,
                most: running.most_at.filter(|m| *m > self.now).map(|m| Clock::down(ms(m), now)),
                words,
                small: !dials.is_empty() || !running.on_hair && !self.state.product_on(),
                class,
            });
        }
        dials
    }

    /// The water's twenty minutes, or how long ago the stop was while it is not on.
    fn water_dial(&self, stopped: OffsetDateTime) -> Option<Dial> {
        if !self.state.chemistry_met() || self.state.ended.is_some() {
            return None;
        }
        let now = ms(self.now);
        let (clock, words, class) = match self.state.water_until() {
            None => (Clock::up(ms(stopped), now), tr!("since the stop: water on now").to_string(), " over"),
            Some(until) if until > self.now => (
                Clock::down(ms(until), now),
                tr!("of water still to run, until {}, 20 minutes from when it was put on", self.clock(until)),
                "",
            ),
            Some(until) => (
                Clock::still("20:00"),
                tr!(
                    "of water and more, since {}",
                    self.clock(until - time::Duration::minutes(FIRST_AID_WATER_MIN))
                ),
                "",
            ),
        };
        Some(Dial { clock, most: None, words, small: false, class })
    }

    pub(super) fn rings(&self) -> Vec<Ring> {
        // After a stop the first-aid words stand in the bells' place.
        if self.state.stop.is_some() { Vec::new() } else { self.ringing().all(self.now) }
    }

    pub(super) fn state_class(&self) -> &'static str {
        let rings = self.state.ringing(self.now);
        if rings.iter().any(|b| b.only_rinsing_answers()) {
            " over"
        } else if rings.is_empty() {
            ""
        } else {
            " ringing"
        }
    }

    pub(super) fn window_picture(&self) -> Option<Drawing> {
        let shuts = self.state.window_shuts_at().filter(|_| self.state.stop.is_none())?;
        let steps: Vec<&Step> =
            self.loaded.frame.protocol.steps.iter().filter(|s| s.window_min.is_some()).collect();
        let length = steps.iter().filter_map(|s| s.window_min).max().unwrap_or(15);
        let opened = shuts - time::Duration::minutes(i64::from(length));
        let minutes = |at: OffsetDateTime| (at - opened).as_seconds_f64() / 60.0;
        let order = self.loaded.frame.sections();
        let passes = steps
            .iter()
            .filter_map(|step| {
                let Some(SectionWork::Apply { pass }) = step.sections else { return None };
                let taps: Vec<window::Tap> = self
                    .state
                    .exposures
                    .iter()
                    .filter(|e| Some(e.letter) == step.application)
                    .flat_map(|e| &e.sections)
                    .filter_map(|x| {
                        let at = x.passes.iter().find(|(p, _)| *p == pass)?.1;
                        let number = order.iter().position(|o| *o == x.section).map_or(0, |i| i + 1);
                        Some(window::Tap { at_min: minutes(at), number: u8::try_from(number).unwrap_or(0) })
                    })
                    .collect();
                let words = if pass == 1 { tr!("first pass") } else { tr!("second pass") };
                (!taps.is_empty()).then(|| window::Pass { words: words.into(), taps })
            })
            .collect();
        let window = window::Window {
            opened_ms: ms(opened),
            now_ms: ms(self.now),
            length_min: f64::from(length),
            opened_words: self.clock(opened),
            passes,
            label: tr!(
                "Window of {length} minutes from {}, shuts at {}.",
                self.clock(opened),
                self.clock(shuts),
                length = length
            ),
        };
        Some(window.draw())
    }

    pub(super) fn readings(&self) -> Vec<(&'static str, String, String)> {
        let Some(e) =
            self.state.exposures.iter().find(|e| e.is_open()).or_else(|| self.state.exposures.last())
        else {
            return self.mixture_reading().into_iter().collect();
        };
        let read = |d: time::Duration| crate::web::picture::clock::reading(d.whole_milliseconds() as i64);
        let (longest, shortest) = (e.longest(self.now), e.shortest(self.now));
        let title =
            self.loaded.frame.protocol.application(e.letter).map(|a| a.title.clone()).unwrap_or_default();
        let mut all = vec![
            (tr!("Longest on"), read(longest), title),
            (tr!("Shortest on"), read(shortest), String::new()),
            (tr!("First to last"), read(longest - shortest), String::new()),
        ];
        let figures = self.state.exposure_figures(e.letter);
        if let Some((most, source)) = figures.and_then(|f| Some((f.most_min?, f.most_source))) {
            let from = match source {
                crate::domain::protocol::Source::Sheet => tr!("product sheet"),
                crate::domain::protocol::Source::Default { mark } => mark.words(),
            };
            all.push((tr!("Longest allowed, first touch to rinse"), format!("{most}:00"), from.to_string()));
        }
        if let Some(hair) = self.sheet_hair(e.letter) {
            all.push((
                tr!("The sheet's minutes taken"),
                hair,
                tr!("the weakest place felt decides").to_string(),
            ));
        }
        all.extend(self.mixture_reading());
        all
    }

    /// For which hair the sheet's minutes from first touch are, where the sheet tells hair apart.
    pub(super) fn sheet_hair(&self, letter: char) -> Option<String> {
        let step = self.loaded.frame.protocol.exposure_step(letter)?;
        let hair = self.loaded.frame.sheet_hair(&step.code, crate::domain::protocol::Clock::Exposure)?;
        (hair != SheetHair::Any).then(|| tr!("for {}", hair.words()))
    }
}
