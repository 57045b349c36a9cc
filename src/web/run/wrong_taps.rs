//! What a hand may want back: taps and permissions that can be taken back, and the question before work ends too soon.

use super::view::{Maker, Tap};
use crate::domain::protocol::{Clock, HoldPoint};
use crate::domain::run::headline::{Headline, NextAct};
use crate::domain::run::state::{Given, GivenKind};
use crate::domain::run::{Event, EventKind, Granted, Happened};

/// Most wrong taps offered.
const TAPS_MOST: usize = 6;

impl Maker<'_> {
    /// The last taps and permissions that may be taken back, the last first.
    pub(super) fn taps(&self) -> Vec<Tap> {
        if self.state.ended.is_some() {
            return Vec::new();
        }
        let signed_in = self.seat.person().is_some();
        let given: Vec<&Given> = if signed_in { self.state.takeable(self.now) } else { Vec::new() };
        let tap = |e: &Event| match &e.kind {
            EventKind::Happened(happened) => {
                let id = e.fact_id.filter(|_| happened.may_be_withdrawn() && !self.state.is_taken_back(e))?;
                let words = Self::tap_words(happened)?;
                Some(Tap { fact: id.to_string(), seq: 0, words, at: self.clock(e.happened_at) })
            }
            EventKind::Granted(_) => {
                let given = given.iter().find(|g| g.seq == e.seq)?;
                let words = self.given_words(given)?;
                Some(Tap { fact: String::new(), seq: e.seq, words, at: self.clock(e.recorded_at) })
            }
        };
        self.loaded.events.iter().rev().filter_map(tap).take(TAPS_MOST).collect()
    }

    /// The last of them by itself, in easy reach; not while the last thing done was a taking back, so that a second tap
    /// in the same place takes back nothing more.
    pub(super) fn undo(&self, taps: &[Tap]) -> Option<Tap> {
        let back = |kind: &EventKind| {
            matches!(
                kind,
                EventKind::Happened(Happened::FactWithdrawn { .. })
                    | EventKind::Granted(Granted::PermissionWithdrawn { .. })
            )
        };
        let last = self.loaded.events.last()?;
        taps.first().filter(|_| !back(&last.kind)).cloned()
    }

    fn given_words(&self, given: &Given) -> Option<String> {
        let title = |code| self.loaded.frame.protocol.step(code).map(|s| s.title.clone()).unwrap_or_default();
        Some(match &given.what {
            GivenKind::Begun(code) => tr!("“{}” begun", title(code)),
            GivenKind::Done(code) => tr!("“{}” done", title(code)),
            // Signed with its bowl, and taken back with it.
            GivenKind::Answered(_, HoldPoint::Lot) => return None,
            GivenKind::Answered(_, point) => tr!("{}, as answered", point.title()),
            GivenKind::Bowl(letter) => {
                let application = self.loaded.frame.protocol.application(*letter);
                tr!("{} dispensed", application.map_or_else(|| letter.to_string(), |a| a.title.clone()))
            }
        })
    }

    /// What is said before work ends sooner than it is meant to; nothing where it does not.
    pub(super) fn early(&self, act: &NextAct) -> Option<String> {
        let early = self.state.ends_early(act, self.now)?;
        let read = |d: time::Duration| crate::web::picture::clock::reading(d.whole_milliseconds() as i64);
        let protocol = &self.loaded.frame.protocol;
        let step = protocol.step(&early.step)?;
        let application = step.application.and_then(|l| protocol.application(l));
        let title = match early.clock {
            Clock::Phase => step.title.clone(),
            Clock::Exposure => application.map_or_else(|| step.title.clone(), |a| a.title.clone()),
        };
        Some(tr!("{}: it has worked {} of {}.", title, read(early.worked), read(early.of)))
    }

    /// The act of a step further on asks as well.
    pub(super) fn next_early(&self, headline: &Headline) -> bool {
        let Some(next) = self.state.next_step() else { return false };
        !matches!(headline.act, NextAct::StartStep(_))
            && self.early(&NextAct::StartStep(next.code.clone())).is_some()
    }
}
