//! The head map of the Run screen: which quadrant is next, which is in hand.

use super::view::{Maker, ms, pass_of};
use crate::domain::protocol::{Section, SectionWork, Step};
use crate::web::once;
use crate::web::picture::Clock;
use crate::web::picture::head_map::{HeadMap, Lap, Quad, QuadState, Side};

/// Sections as a list of buttons.
pub(super) struct SectionList {
    pub(super) action: String,
    pub(super) fact: &'static str,
    pub(super) step: String,
    /// Empty for a rinse.
    pub(super) pass: String,
    pub(super) fact_id: String,
    pub(super) rows: Vec<SectionRow>,
}

/// One section of the list.
pub(super) struct SectionRow {
    pub(super) code: &'static str,
    pub(super) words: &'static str,
    pub(super) number: usize,
    pub(super) clock: Option<Clock>,
    pub(super) state: &'static str,
}

impl Maker<'_> {
    pub(super) fn head_step(&self) -> Option<&Step> {
        let in_hand = self.state.step_in_hand().filter(|s| s.sections.is_some());
        let rinse = || {
            let open = self.state.exposures.iter().find(|e| e.is_open())?;
            self.loaded.frame.protocol.steps.iter().find(|s| s.rinses.contains(&open.letter))
        };
        if self.state.stop.is_some() && self.state.product_on() { rinse() } else { in_hand }
    }

    /// Sections that the picture does not draw, as a list of buttons.
    pub(super) fn section_list(&self) -> Option<SectionList> {
        let step = self.head_step().filter(|_| self.state.ended.is_none())?;
        let order = self.loaded.frame.protocol.sections_of(step);
        let work = step.sections.filter(|_| order.iter().any(|s| side_of(*s).is_none()))?;
        let untapped = self.state.untapped(step);
        let mut rows = Vec::new();
        for (i, section) in order.iter().enumerate() {
            let (clock, _, words) = self.section_state(step, *section, untapped.first().copied(), &untapped);
            rows.push(SectionRow {
                code: section.code(),
                words: section.words(),
                number: i + 1,
                clock,
                state: words,
            });
        }
        let (fact, pass) = match work {
            SectionWork::Rinse => ("section_rinsed", String::new()),
            SectionWork::Apply { .. } | SectionWork::Smooth => ("section_started", pass_of(work).to_string()),
        };
        Some(SectionList {
            action: format!("/runs/{}/facts", self.loaded.run.run_id),
            fact,
            step: step.code.to_string(),
            pass,
            fact_id: once::key(),
            rows,
        })
    }

    pub(super) fn head(&self) -> Option<HeadMap> {
        if self.state.ended.is_some() {
            return None;
        }
        let step = self.head_step()?;
        let work = step.sections?;
        let order = self.loaded.frame.protocol.sections_of(step);
        if order.iter().any(|s| side_of(*s).is_none()) {
            return None;
        }
        let untapped = self.state.untapped(step);
        let next = untapped.first().copied();
        let quads = order
            .iter()
            .enumerate()
            .filter_map(|(i, section)| self.quad(step, *section, i + 1, next, &untapped))
            .collect();
        let (fact, mut hidden, heading, note) = match work {
            SectionWork::Rinse => (
                "section_rinsed",
                vec![("clear".to_string(), "yes".to_string())],
                "Head from above: tap a quadrant when its water runs clear",
                "From above, face up; sides are the client's. A quadrant nobody taps counts until the whole head runs clear.",
            ),
            SectionWork::Apply { .. } | SectionWork::Smooth => (
                "section_started",
                vec![("pass".to_string(), pass_of(work).to_string())],
                "Head from above: tap a quadrant as you touch it",
                "From above, face up; sides are the client's. Inner ring: first pass. Outer ring: second pass. Tap a quadrant or press its number.",
            ),
        };
        hidden.push(("kind".into(), fact.into()));
        hidden.push(("step".into(), step.code.to_string()));
        hidden.push(("fact_id".into(), once::key()));
        let lap = if pass_of(work) >= 2 { Lap::Second } else { Lap::First };
        Some(HeadMap {
            action: format!("/runs/{}/facts", self.loaded.run.run_id),
            // Each tap is its own fact: without script the hidden name is used once, the page then comes anew.
            fact: fact.into(),
            hidden,
            field: "section".into(),
            heading: heading.into(),
            note: note.into(),
            lap,
            quads,
        })
    }

    pub(super) fn quad(
        &self,
        step: &Step,
        section: Section,
        number: usize,
        next: Option<Section>,
        untapped: &[Section],
    ) -> Option<Quad> {
        let side = side_of(section)?;
        let (clock, state, words) = self.section_state(step, section, next, untapped);
        Some(Quad { side, number: u8::try_from(number).unwrap_or(0), clock, state, words: words.into() })
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
        let clock = exposure.map(|x| {
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
        let order = self.loaded.frame.protocol.sections_of(step);
        let last_done = order.iter().take_while(|s| Some(**s) != next).last().copied();
        let (state, words) = match (rinse, done) {
            (true, true) => (QuadState::Rinsed, "clear"),
            (_, false) if next == Some(section) => (QuadState::Next, "next"),
            (false, true) if last_done == Some(section) && next.is_some() => (QuadState::InHand, "in hand"),
            (false, true) => (QuadState::Done, "done"),
            _ => (QuadState::Waiting, "waiting"),
        };
        (clock, state, words)
    }
}

/// Where the picture draws a section; it draws the four quadrants.
const fn side_of(section: Section) -> Option<Side> {
    match section {
        Section::BackRight => Some(Side::BackRight),
        Section::BackLeft => Some(Side::BackLeft),
        Section::FrontLeft => Some(Side::FrontLeft),
        Section::FrontRight => Some(Side::FrontRight),
        _ => None,
    }
}
