//! The head from above: four real buttons in a ring of two laps.

use askama::Template;

use super::clock::Clock;

/// A quadrant, by the client's sides.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// Back right.
    BackRight,
    /// Back left.
    BackLeft,
    /// Front left.
    FrontLeft,
    /// Front right.
    FrontRight,
}

impl Side {
    /// The code sent.
    #[must_use]
    pub fn code(self) -> &'static str {
        match self {
            Self::BackRight => "back-right",
            Self::BackLeft => "back-left",
            Self::FrontLeft => "front-left",
            Self::FrontRight => "front-right",
        }
    }

    /// As said.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::BackRight => "Back right",
            Self::BackLeft => "Back left",
            Self::FrontLeft => "Front left",
            Self::FrontRight => "Front right",
        }
    }

    fn class(self) -> &'static str {
        match self {
            Self::BackRight => "br",
            Self::BackLeft => "bl",
            Self::FrontLeft => "fl",
            Self::FrontRight => "fr",
        }
    }
}

/// How a quadrant stands.
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

/// A quadrant as it is drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct Quad {
    /// Which.
    pub side: Side,
    /// Its number in the order, also its key.
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

/// The head map, a form of its own. Quadrants in the protocol's order, which goes round clockwise.
#[derive(Debug, Clone, Template)]
#[template(path = "pictures/head_map.html")]
pub struct HeadMap {
    /// Where it is sent.
    pub action: String,
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
    /// The four, in order.
    pub quads: Vec<Quad>,
}
// Its template escapes every word it is given.
impl askama::filters::HtmlSafe for HeadMap {}

/// Centre of the drawing and radii of its rings, in its own units (200 by 214).
const CENTRE: (f64, f64) = (100.0, 107.0);
const INNER: (f64, f64) = (82.0, 86.5);
const OUTER: (f64, f64) = (90.0, 95.0);

impl HeadMap {
    /// The quadrant the arrow leaves: the one in hand, else the one before the next.
    fn leaving(&self) -> Option<Side> {
        let at = self.quads.iter().position(|quad| quad.state == QuadState::InHand);
        let at = at.or_else(|| self.quads.iter().position(|quad| quad.state == QuadState::Next));
        at.map(|at| self.quads[at].side)
    }

    /// Path of the arrow's arc, empty when nothing is in hand or next.
    #[must_use]
    pub fn arc(&self) -> String {
        let Some(side) = self.leaving() else { return String::new() };
        let ((x, y), (rx, ry)) = (CENTRE, self.radii());
        let (from, to) = match side {
            Side::BackRight => ((x + rx, y), (x + 4.0, y + ry)),
            Side::BackLeft => ((x, y + ry), (x - rx, y + 4.0)),
            Side::FrontLeft => ((x - rx, y), (x - 4.0, y - ry)),
            Side::FrontRight => ((x, y - ry), (x + rx, y - 4.0)),
        };
        format!("M{} {}A{rx} {ry} 0 0 1 {} {}", from.0, from.1, to.0, to.1)
    }

    /// Path of the arrow's point.
    #[must_use]
    pub fn point(&self) -> String {
        let Some(side) = self.leaving() else { return String::new() };
        let ((x, y), (rx, ry)) = (CENTRE, self.radii());
        match side {
            Side::BackRight => format!("M{} {}l11 -7v14z", x - 4.0, y + ry),
            Side::BackLeft => format!("M{} {}l-7 11h14z", x - rx, y - 4.0),
            Side::FrontLeft => format!("M{} {}l-11 -7v14z", x + 4.0, y - ry),
            Side::FrontRight => format!("M{} {}l-7 -11h14z", x + rx, y + 4.0),
        }
    }

    fn radii(&self) -> (f64, f64) {
        match self.lap {
            Lap::First => INNER,
            Lap::Second => OUTER,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    pub(crate) fn map(states: [QuadState; 4]) -> HeadMap {
        let sides = [Side::BackRight, Side::BackLeft, Side::FrontLeft, Side::FrontRight];
        HeadMap {
            action: "/runs/1/facts".into(),
            fact: "section_started".into(),
            hidden: vec![("pass".into(), "2".into())],
            field: "section".into(),
            heading: "Head from above: start a quadrant".into(),
            note: "From above, face up.".into(),
            lap: Lap::Second,
            quads: (1..)
                .zip(sides)
                .zip(states)
                .map(|((number, side), state)| Quad {
                    side,
                    number,
                    clock: None,
                    state,
                    words: "not yet".into(),
                })
                .collect(),
        }
    }

    #[test]
    fn the_arrow_leaves_the_quadrant_in_hand_clockwise() {
        use QuadState::{Done, InHand, Next, Waiting};
        assert_eq!(
            map([InHand, Next, Waiting, Waiting]).arc(),
            "M190 107A90 95 0 0 1 104 202",
            "as on the drawing"
        );
        assert_eq!(map([InHand, Next, Waiting, Waiting]).point(), "M96 202l11 -7v14z", "as on the drawing");
        assert_eq!(map([Done, Done, InHand, Next]).arc(), "M10 107A90 95 0 0 1 96 12");
        assert_eq!(map([Next, Waiting, Waiting, Waiting]).leaving(), Some(Side::BackRight));
        assert_eq!(map([Done; 4]).arc(), "");
    }

    #[test]
    fn every_quadrant_is_a_button_in_the_order_of_work() {
        let page = map([QuadState::InHand, QuadState::Next, QuadState::Waiting, QuadState::Waiting])
            .render()
            .unwrap();
        let at: Vec<usize> = ["back-right", "back-left", "front-left", "front-right"]
            .iter()
            .map(|code| page.find(&format!("value=\"{code}\"")).unwrap())
            .collect();
        assert!(at.is_sorted());
        assert!(page.contains("data-fact=\"section_started\"") && page.contains("name=\"pass\" value=\"2\""));
    }
}
