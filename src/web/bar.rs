//! The bar at the foot of the Run screen: the main act, "It stings", "Stop and rinse".

use askama::Template;

/// How an act reaches the server.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Reach {
    /// A fact of this kind ("section_started"): kept at the station without contact.
    Fact(String),
    /// A permission: waits for the server.
    Permission,
    /// A link to a screen of its own.
    Link,
}

/// The one filled act.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MainAct {
    /// "Start back left, second pass".
    pub words: String,
    /// Where it is sent, or where the link leads.
    pub action: String,
    /// How.
    pub reach: Reach,
    /// Hidden fields, name and value.
    pub hidden: Vec<(String, String)>,
}

/// A complaint of burning: the place is tapped.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stings {
    /// Where the fact `sting_reported` is sent.
    pub action: String,
    /// Hidden fields, name and value.
    pub hidden: Vec<(String, String)>,
    /// Places on the head: code and words.
    pub places: Vec<(String, String)>,
    /// Said beside the places: "Rinse that place now, then read the scalp."
    pub words: String,
}

/// Stop and rinse: never refused, from any station, locked or not.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stop {
    /// Where the fact `stop_recorded` is sent.
    pub action: String,
    /// Hidden fields, name and value.
    pub hidden: Vec<(String, String)>,
    /// First-aid lines, shown at the tap, before any answer.
    pub aid: Vec<String>,
}

/// A question before the main act ends work sooner than it is meant to end.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Early {
    /// "It has worked 0:15 of 10:00."
    pub words: String,
    /// The main act's own words: "Start: Rinse".
    pub act: String,
}

/// The bar. Each part may be missing: no bell, no act; no chemical step, no "It stings".
#[derive(Debug, Clone, PartialEq, Eq, Template)]
#[template(path = "parts/bar.html")]
pub struct Bar {
    /// The main act, key space.
    pub main: Option<MainAct>,
    /// Asked before the main act, once.
    pub early: Option<Early>,
    /// On every chemical screen.
    pub stings: Option<Stings>,
    /// On every chemical screen, and wherever something has touched; key R.
    pub stop: Option<Stop>,
    /// In whose name a tap is taken: "Taken as Tobias Fenn".
    pub said: String,
}
// Its template escapes every word it is given.
impl askama::filters::HtmlSafe for Bar {}
