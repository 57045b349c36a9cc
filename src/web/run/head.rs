//! The head map of the Run screen: which section is next, which is in hand.

use super::view::{Maker, ms, pass_of};
use crate::domain::protocol::{Section, SectionSet, SectionWork, Step};
use crate::domain::run::Window;
use crate::web::once;
use crate::web::picture::Clock;
use crate::web::picture::head_map::{HeadMap, Lap, Quad, QuadState};

impl Maker<'_> {
    pub(super) fn head_step(&self) -> Option<&Step> {
        let in_hand = self.state.step_in_hand().filter(|s| s.sections.is_some());
        let rinse = || {
            let open = self.state.exposures.iter().find(|e| e.is_open())?;
            self.loaded.frame.protocol.steps.iter().find(|s| s.rinses.contains(&open.letter))
        };
        if self.state.stop.is_some() && self.state.product_on() { rinse() } else { in_hand }
    }

    pub(super) fn head(&self) -> Option<HeadMap> {
        if self.state.ended.is_some() {
            return None;
        }
        let step = self.head_step()?;
        let work = step.sections?;
        let protocol = &self.loaded.frame.protocol;
        let order = protocol.sections_of(step);
        let part = if order.iter().any(|s| s.set() == SectionSet::Blocks) { "block" } else { "quadrant" };
        let untapped = self.state.untapped(step);
        // Nothing leads on while the window is past, it stings, or the rinse is due.
        let still = self.state.headline(self.now).danger
            || matches!(self.state.window(self.now), Some(Window::Past { .. }));
        let next = untapped.first().copied().filter(|_| work == SectionWork::Rinse || !still);
        let quads = order
            .iter()
            .enumerate()
            .map(|(i, section)| self.quad(step, *section, i + 1, next, &untapped))
            .collect();
        let rings =
            if part == "block" { "" } else { tr!(" Inner ring: first pass. Outer ring: second pass.") };
        let tenth = if order.len() > 9 { tr!(", 0 for the tenth") } else { "" };
        let (fact, mut hidden, heading, note) = match work {
            SectionWork::Rinse => (
                "section_rinsed",
                vec![("clear".to_string(), "yes".to_string())],
                tr!("Head from above: tap a {part} when its water runs clear", part = part),
                tr!(
                    "From above, face up; sides are the client's. A {part} nobody taps counts until the whole head runs clear.",
                    part = part
                ),
            ),
            SectionWork::Apply { .. } | SectionWork::Smooth => (
                "section_started",
                vec![("pass".to_string(), pass_of(work).to_string())],
                tr!("Head from above: tap a {part} as you touch it", part = part),
                tr!(
                    "From above, face up; sides are the client's.{rings} Tap a {part} or press its number{tenth}.",
                    rings = rings,
                    part = part,
                    tenth = tenth
                ),
            ),
        };
        hidden.push(("kind".into(), fact.into()));
        hidden.push(("step".into(), step.code.to_string()));
        hidden.push(("fact_id".into(), once::key()));
        let lap = if pass_of(work) >= 2 { Lap::Second } else { Lap::First };
        Some(HeadMap {
            action: self.to("facts"),
            asks: false,
            // Each tap is its own fact: without script the hidden name is used once, the page then comes anew.
            fact: fact.into(),
            hidden,
            field: "section".into(),
            heading,
            note,
            lap,
            quads,
            edge: protocol.sections.contains(&Section::Hairline),
        })
    }

    pub(super) fn quad(
        &self,
        step: &Step,
        section: Section,
        number: usize,
        next: Option<Section>,
        untapped: &[Section],
    ) -> Quad {
        let (clock, state, words) = self.section_state(step, section, next, untapped);
        Quad { section, number: u8::try_from(number).unwrap_or(0), clock, state, words: words.into() }
    }

    fn section_state(
        &self,
        step: &Step,
        section: Section,
        next: Option<Section>,
        untapped: &[Section],
    ) -> (Option<Clock>, QuadState, &'static str) {
        let of = |e: &&crate::domain::run::exposure::Exposure| {
            Some(e.letter) == step.application
                || step.rinses.contains(&e.letter)
                || step.application.is_none() && e.is_open()
        };
        let exposure = self
            .state
            .exposures
            .iter()
            .rev()
            .find(of)
            .and_then(|e| e.sections.iter().find(|x| x.section == section));
        // What nobody touched yet counts from first touch, which the readings say; a clock on it would look as if
        // product were on.
        let bare = matches!(step.sections, Some(SectionWork::Apply { .. })) && untapped.contains(&section);
        let clock = exposure.filter(|x| !(bare && x.assumed)).map(|x| {
            if x.is_open() {
                let from = self.now - x.total(self.now);
                Clock::up(ms(from), ms(self.now))
            } else {
                Clock::still(crate::web::picture::clock::reading(
                    x.total(self.now).whole_milliseconds() as i64
                ))
            }
        });
        let rinse = step.sections == Some(SectionWork::Rinse);
        let done = !untapped.contains(&section);
        // As the headline says it; until the step is done its last section is in hand.
        let last_done = self.state.last_tapped(step);
        let (state, words) = match (rinse, done) {
            (true, true) => (QuadState::Rinsed, tr!("clear water")),
            (_, false) if next == Some(section) => (QuadState::Next, tr!("next")),
            (false, true) if last_done == Some(section) => (QuadState::InHand, tr!("in hand")),
            (false, true) => (QuadState::Done, tr!("done")),
            _ => (QuadState::Waiting, tr!("waiting")),
        };
        (clock, state, words)
    }
}
