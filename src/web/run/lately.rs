//! What a hand at the Run screen wants back or must know of just now: the last tap to take back, who answered the bell,
//! what was kept without contact, and what goes on while there is none.

use super::view::{Maker, Tap};
use crate::domain::ids::StationId;
use crate::domain::protocol::{Clock, HoldPoint, Meaning, Section, Step};
use crate::domain::run::{Event, EventKind, Happened};
use crate::web::bell_words::Ringing;
use crate::web::once;
use crate::web::proof::Names;

/// Most lines of what was kept.
const KEPT_MOST: usize = 8;

pub(super) struct Lately {
    /// The last tap that may be taken back.
    pub(super) undo: Option<Tap>,
    /// Who answered a bell, and where.
    pub(super) taken: Option<String>,
    /// A bell no clock rings for: key and words.
    pub(super) alarm: Option<(String, String)>,
    /// Two stations told different things of one place.
    pub(super) apart: Vec<String>,
    /// Facts kept at a station until the server was back.
    pub(super) kept: Vec<String>,
    /// What goes on while there is no contact.
    pub(super) lost: Option<WithoutContact>,
}

/// Rinsing and closing, offered by the page itself once contact is lost.
pub(super) struct WithoutContact {
    /// The step that rinses what is on.
    pub(super) rinse: Option<Rinse>,
    /// The step that closes the hair.
    pub(super) closing: Option<Closing>,
}

pub(super) struct Rinse {
    pub(super) step: String,
    pub(super) facts: (String, String),
}

pub(super) struct Closing {
    pub(super) step: String,
    pub(super) title: String,
    /// How long it works once it is on, as far as the protocol or the sheet says.
    pub(super) works: String,
    /// What is asked before it, and the answers that hold: code and words.
    pub(super) asks: Vec<(&'static str, Vec<(String, &'static str)>)>,
    pub(super) fact: String,
}

impl Maker<'_> {
    pub(super) fn ringing(&self) -> Ringing<'_> {
        Ringing {
            loaded: self.loaded,
            state: &self.state,
            people: &self.around.names,
            stations: &self.around.station_names,
        }
    }

    pub(super) fn lately(&self, taps: &[Tap]) -> Lately {
        let ringing = self.ringing();
        let clock = |at| self.clock(at);
        let station = |id: StationId| ringing.station_words(id);
        let announced = if self.state.stop.is_some() { ringing.announced(self.now) } else { ringing.alarm() };
        Lately {
            undo: self.undo(taps),
            taken: ringing.taken(self.now, &clock),
            alarm: announced,
            apart: self
                .state
                .told_apart(&self.loaded.events)
                .iter()
                .map(|pair| pair.words(&clock, &station))
                .collect(),
            kept: self.kept_words(&ringing),
            lost: self.without_contact(),
        }
    }

    fn kept_words(&self, ringing: &Ringing<'_>) -> Vec<String> {
        let kept = |e: &&Event| e.was_kept() && matches!(e.kind, EventKind::Happened(_));
        let names = Names {
            frame: &self.loaded.frame,
            people: self.around.names.iter().cloned().collect(),
            stations: self.around.station_names.iter().cloned().collect(),
            lots: std::collections::BTreeMap::new(),
        };
        let line = |e: &Event| {
            tr!(
                "{}, {}: kept at {}, told at {}.",
                names.event(&e.kind),
                self.clock(e.happened_at),
                ringing.station_words(e.station),
                self.clock(e.recorded_at)
            )
        };
        self.loaded.events.iter().rev().filter(kept).take(KEPT_MOST).map(line).collect()
    }

    /// Nothing before anything has touched, after an end, or while skin, eyes and swelling wait for an answer.
    fn without_contact(&self) -> Option<WithoutContact> {
        let state = &self.state;
        if state.ended.is_some() || !(state.product_on() || state.hair_open()) {
            return None;
        }
        let protocol = &self.loaded.frame.protocol;
        let on = |letter: &char| state.exposure(*letter).is_some_and(|e| e.is_open());
        let rinse = protocol.steps.iter().find(|s| s.rinses.iter().any(on));
        let may_close =
            state.stop.is_none_or(|stop| stop.read == Some(true)) && !state.sheet_forbids_closing();
        let from = state.furthest().unwrap_or(0);
        let closing = protocol
            .steps
            .iter()
            .enumerate()
            .skip(from)
            .find(|(i, s)| s.is_closing() && state.steps[*i].started_at.is_none())
            .map(|(_, s)| s)
            .filter(|_| may_close);
        let rinse = rinse.map(|s| Rinse { step: s.code.to_string(), facts: (once::key(), once::key()) });
        let closing = closing.map(|s| self.closing(s));
        (rinse.is_some() || closing.is_some()).then_some(WithoutContact { rinse, closing })
    }

    fn closing(&self, step: &Step) -> Closing {
        let asks = step
            .hold_points
            .iter()
            .filter(|p| matches!(p, HoldPoint::Gloves | HoldPoint::EyeProtection))
            .map(|p| {
                let holds = p.answers().iter().filter(|a| a.meaning == Meaning::Holds);
                (
                    p.title(),
                    holds.map(|a| (format!("{}:{}", p.code(), a.code), crate::words::of(a.words))).collect(),
                )
            })
            .collect();
        let protocol = &self.loaded.frame.protocol;
        let mut works =
            protocol.steps.iter().filter(|s| s.application == step.application && protocol.closes(s));
        let works = works.find_map(|s| self.loaded.frame.figures(&s.code, Clock::Phase)).map_or_else(
            String::new,
            |f| match (f.least_min, f.most_min) {
                (Some(least), Some(most)) => {
                    tr!("It works {least} minutes at least, {most} at most.", least = least, most = most)
                }
                (Some(least), None) => tr!("It works {least} minutes at least.", least = least),
                (None, Some(most)) => tr!("It works {most} minutes at most.", most = most),
                (None, None) => String::new(),
            },
        );
        Closing { step: step.code.to_string(), title: step.title.clone(), works, asks, fact: once::key() }
    }

    /// A tap that may be taken back, in words; nothing for other facts.
    pub(super) fn tap_words(happened: &Happened) -> Option<String> {
        Some(match happened {
            Happened::SectionStarted { section, pass, .. } => {
                tr!("{} touched, pass {pass}", section.words(), pass = pass)
            }
            Happened::SectionRinsed { section, clear: true, .. } => {
                tr!("{} rinsed clear", section.map_or("whole head", Section::words))
            }
            Happened::SectionRinsed { section, clear: false, .. } => {
                tr!("{} water on", section.map_or("whole head", Section::words))
            }
            Happened::TestCurlRead { rod, reading } => {
                tr!("test curl, {}: {}", super::panels::rod_words(*rod), super::view::curl_words(*reading))
            }
            Happened::ProgressRead { look, section, reading } => {
                format!("{}, {}: {}", look.words(), section.words(), reading.words())
            }
            Happened::PlaceRinsed { place } => tr!("{} rinsed", place.words()),
            Happened::RodsNoted { count, .. } => tr!("{count} rods noted", count = count),
            Happened::Trimmed { mm } => tr!("{mm} mm cut", mm = mm),
            _ => return None,
        })
    }
}
