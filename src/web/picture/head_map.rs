//! The head from above: four quadrants in a ring of two laps, or nine blocks, the hairline as a band of its own.
//! Every section that is worked is a real button, in the order of work; the others are drawn faint.

use askama::Template;

use super::clock::Clock;
use super::head_arrow::{self, Arrow};
use crate::domain::protocol::{Section, SectionSet};

/// How a section stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum QuadState {
    /// Not yet.
    Waiting,
    /// Being done.
    InHand,
    /// The next one: outlined.
    Next,
    /// Done in this pass.
    Done,
    /// Rinsed: its clock stands.
    Rinsed,
}

/// A section as it is drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct Quad {
    /// Which.
    pub section: Section,
    /// Its number in the order.
    pub number: u8,
    /// Its clock; none before the product touched it.
    pub clock: Option<Clock>,
    /// How it stands.
    pub state: QuadState,
    /// "in hand", "first done", "next", "water on".
    pub words: String,
}

/// Which ring is being walked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lap {
    /// The inner.
    First,
    /// The outer.
    Second,
}

impl Quad {
    /// As said, with a capital: the words of its button.
    #[must_use]
    pub fn name(&self) -> String {
        name(self.section)
    }

    /// Its key: its number, 0 for the tenth, none beyond.
    #[must_use]
    pub fn key(&self) -> String {
        match self.number {
            number @ 1..=9 => number.to_string(),
            10 => "0".into(),
            _ => String::new(),
        }
    }
}

fn name(section: Section) -> String {
    let words = section.words();
    let mut chars = words.chars();
    chars.next().map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}

/// The head map, a form of its own.
#[derive(Debug, Clone, Template)]
#[template(path = "pictures/head_map.html")]
pub struct HeadMap {
    /// Where it is sent.
    pub action: String,
    /// Asked for, not sent: where nothing is recorded.
    pub asks: bool,
    /// The kind of fact sent ("section_started", "section_rinsed"): kept at the station without
    /// contact. Empty for a form that must reach the server.
    pub fact: String,
    /// Hidden fields, name and value.
    pub hidden: Vec<(String, String)>,
    /// Name of the button's field.
    pub field: String,
    /// What a tap does, for screen readers: "Head from above: start a quadrant".
    pub heading: String,
    /// Words under the head.
    pub note: String,
    /// Which ring.
    pub lap: Lap,
    /// The sections that are worked, in order.
    pub quads: Vec<Quad>,
    /// The protocol parts off the hairline: it is drawn, faint where this step does not work it.
    pub edge: bool,
}
// Its template escapes every word it is given.
impl askama::filters::HtmlSafe for HeadMap {}

impl HeadMap {
    /// True for nine blocks, false for four quadrants.
    #[must_use]
    pub fn blocks(&self) -> bool {
        self.quads.iter().any(|quad| quad.section.set() == SectionSet::Blocks)
    }

    /// The whole drawing; the hairline's band lies over the forehead.
    #[must_use]
    pub fn view_box(&self) -> &'static str {
        if self.edge { "0 -46 200 260" } else { "0 0 200 214" }
    }

    /// Sections of this parting that are not worked here: class and words.
    #[must_use]
    pub fn faint(&self) -> Vec<(&'static str, String)> {
        let set = if self.blocks() { SectionSet::Blocks } else { SectionSet::Quadrants };
        let drawn = |s: &Section| s.set() == set || (self.edge && s.set() == SectionSet::Edge);
        let worked = |s: &Section| self.quads.iter().any(|quad| quad.section == *s);
        let faint = Section::ALL.into_iter().filter(drawn).filter(|s| !worked(s));
        faint.map(|s| (s.code(), name(s))).collect()
    }

    /// How the hairline's band is drawn around the head: the class of its state.
    #[must_use]
    pub fn band(&self) -> &'static str {
        match self.quads.iter().find(|quad| quad.section == Section::Hairline).map(|quad| quad.state) {
            None => "soft",
            Some(QuadState::Next) => "now",
            Some(QuadState::InHand | QuadState::Done) => "beam",
            Some(QuadState::Waiting | QuadState::Rinsed) => "dash",
        }
    }

    /// The arrow: from the section in hand to the next; before the first tap from the first to the second.
    #[must_use]
    pub fn arrow(&self) -> Option<Arrow> {
        let at = |state| self.quads.iter().position(|quad| quad.state == state);
        let next = at(QuadState::Next)?;
        let (from, to) = match at(QuadState::InHand) {
            Some(hand) => (hand, next),
            None => (next, next + 1),
        };
        head_arrow::between(self.quads.get(from)?.section, self.quads.get(to)?.section, self.lap)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use QuadState::{Done, InHand, Next, Waiting};

    pub(crate) fn map(sections: &[Section], states: &[QuadState]) -> HeadMap {
        let quads = (1..).zip(sections).zip(states).map(|((number, section), state)| Quad {
            section: *section,
            number,
            clock: None,
            state: *state,
            words: "not yet".into(),
        });
        HeadMap {
            action: "/runs/1/facts".into(),
            asks: false,
            fact: "section_started".into(),
            hidden: vec![("pass".into(), "2".into())],
            field: "section".into(),
            heading: "Head from above: start a quadrant".into(),
            note: "From above, face up.".into(),
            lap: Lap::Second,
            quads: quads.collect(),
            edge: sections.contains(&Section::Hairline),
        }
    }

    #[test]
    fn the_arrow_leaves_what_is_in_hand_for_what_is_next() {
        let four = |states: [QuadState; 4]| map(&Section::QUADRANTS, &states);
        let line = |states| four(states).arrow().map(|a| a.line);
        let first = "M190 107A90 95 0 0 1 104 202";
        assert_eq!(line([InHand, Next, Waiting, Waiting]).as_deref(), Some(first), "as on the drawing");
        assert_eq!(line([Next, Waiting, Waiting, Waiting]).as_deref(), Some(first), "the way it will go");
        assert_eq!(line([Done, Done, InHand, Next]).as_deref(), Some("M10 107A90 95 0 0 1 96 12"));
        assert_eq!(line([Done, Done, Done, Next]), None, "the last has no other after it");
        assert_eq!(line([Done; 4]), None);
    }

    #[test]
    fn every_section_worked_is_a_button_in_the_order_of_work() {
        let page = map(&Section::QUADRANTS, &[InHand, Next, Waiting, Waiting]).render().unwrap();
        let at: Vec<usize> = ["back-right", "back-left", "front-left", "front-right"]
            .iter()
            .map(|code| page.find(&format!("value=\"{code}\"")).unwrap())
            .collect();
        assert!(at.is_sorted());
        assert!(page.contains("data-fact=\"section_started\"") && page.contains("name=\"pass\" value=\"2\""));
        assert!(!page.contains("off"), "all four are worked");
    }

    #[test]
    fn blocks_that_are_not_worked_are_drawn_faint_and_cannot_be_tapped() {
        let partial = [
            Section::CentreCrown,
            Section::LeftCrown,
            Section::RightCrown,
            Section::LeftTop,
            Section::RightTop,
            Section::CentreTop,
        ];
        let map = map(&partial, &[Next, Waiting, Waiting, Waiting, Waiting, Waiting]);
        let page = map.render().unwrap();
        assert_eq!(page.matches("<button").count(), 6);
        for nape in ["centre-nape", "left-nape", "right-nape"] {
            assert!(
                page.contains(&format!("quad off {nape}")) && !page.contains(&format!("value=\"{nape}\""))
            );
        }
        assert!(page.contains("class=\"head blocks\""));
    }

    #[test]
    fn ten_sections_have_ten_keys_and_the_hairline_its_band() {
        let ten: Vec<Section> =
            Section::ALL.into_iter().filter(|s| s.set() != SectionSet::Quadrants).collect();
        let page = map(&ten, &[Waiting; 10]).render().unwrap();
        for key in 0..10 {
            assert_eq!(page.matches(&format!("data-key=\"{key}\"")).count(), 1, "{key}");
        }
        assert!(page.contains("viewBox=\"0 -46 200 260\"") && page.contains("head blocks edged"));
        // A step that leaves the hairline to a later one shows it, faint.
        let mut four = map(&Section::QUADRANTS, &[Next, Waiting, Waiting, Waiting]);
        four.edge = true;
        let page = four.render().unwrap();
        assert!(page.contains("quad off hairline") && page.matches("<button").count() == 4);
    }
}
