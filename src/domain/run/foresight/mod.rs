//! Collision foresight: all runs under way on one floor, and an order of serving that keeps every
//! longest allowed, with the hands and places there are.
//!
//! It proposes; people decide. Exact for up to [`LINES_MOST`] runs within [`NODES_MOST`] orders
//! looked at; beyond that the better of two plain orders is told, and that not every order was tried.
//!
//! Longest alloweds judged are of clocks that run, or begin whatever is served first. A clock that
//! begins only with a turn that can wait is no deadline yet: whoever begins it may wait with it.
//! Hands are one pool, whatever they are qualified for; they may change at a head between two turns.

mod clash;
mod search;
mod turns;
mod words;

pub use clash::Clash;
pub use words::Say;

use super::track::Wanted;
use super::value::Instant;
use crate::domain::protocol::{Clock, Place};
use time::Duration;

/// Runs that are searched exactly.
pub const LINES_MOST: usize = 8;
/// Partial orders looked at before the search gives what it has.
pub const NODES_MOST: u32 = 20_000;
/// How far ahead turns are looked at: the Floor's axis.
pub const AHEAD_MIN: i64 = 75;

/// A stretch of a turn.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Part {
    /// How long.
    pub length: Duration,
    /// Pairs of hands.
    pub hands: u32,
    /// Places held; the run's own chair is not one that others wait for.
    pub places: Vec<Place>,
}

/// The latest start that keeps a longest allowed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limit {
    /// Not later.
    pub latest_start: Instant,
    /// Of which clock.
    pub clock: Clock,
}

/// What a run wants in one go, without a wait inside: a step with hands, or a whole stay at a place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Turn {
    /// The title of its first step.
    pub title: String,
    /// The earliest, as predicted.
    pub ready: Instant,
    /// Minutes that nobody's hands take after the run's turn before this one.
    pub lag: Duration,
    /// In order.
    pub parts: Vec<Part>,
    /// The strictest longest allowed it answers.
    pub limit: Option<Limit>,
    /// In hand already: it is not moved.
    pub in_hand: bool,
    /// It begins with rinsing.
    pub rinse: bool,
}

/// One run's turns ahead, in their order.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Line {
    /// In order.
    pub turns: Vec<Turn>,
}

/// Hands and places there are. A kind not named is not judged; less than one is taken as one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct There {
    /// Pairs of hands.
    pub hands: u32,
    /// Places by kind.
    pub places: Vec<(Place, u32)>,
}

/// A turn in the order proposed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Serve {
    /// Whose, by its place in the list of lines.
    pub line: usize,
    /// Which of its turns.
    pub turn: usize,
    /// When it begins in this order.
    pub start: Instant,
    /// How far past the latest start that keeps its longest allowed.
    pub over: Duration,
}

/// How much an order hurts: less is better, the first difference decides.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Harm {
    /// The worst of all overruns.
    pub worst: Duration,
    /// All overruns together.
    pub total: Duration,
    /// Pairs of turns served in another order than they would come by themselves.
    pub moved: u32,
    /// All waiting together.
    pub waited: Duration,
}

/// One more pair of hands, or one more place, and what that leaves of the worst overrun.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Help {
    /// One more of what.
    pub more: Wanted,
    /// The worst overrun then.
    pub worst: Duration,
}

/// What is foreseen.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Foresight {
    /// Where hands or a place are wanted by more than there are; each once, by instant.
    pub clashes: Vec<Clash>,
    /// Every turn, by when it begins in the order proposed.
    pub serves: Vec<Serve>,
    /// What the order costs.
    pub harm: Harm,
    /// The longest allowed that is broken first in that order, as a place in `serves`.
    pub first_broken: Option<usize>,
    /// What would break less; empty while nothing is broken.
    pub helps: Vec<Help>,
    /// No order does better. Else: not every order was tried.
    pub exact: bool,
}

/// Looks ahead over all runs: where they collide, and the order that hurts least.
pub fn foresee(lines: &[Line], there: &There) -> Foresight {
    let found = search::solve(lines, there);
    let serves = search::serves(lines, &found.starts);
    let broken = |s: &(usize, &Serve)| s.1.over > Duration::ZERO;
    let first_broken = serves
        .iter()
        .enumerate()
        .filter(broken)
        .min_by_key(|(_, s)| (s.start - s.over, s.line))
        .map(|(i, _)| i);
    let clashes = clash::clashes(lines, there, &serves);
    let helps = if clashes.is_empty() || first_broken.is_none() {
        Vec::new()
    } else {
        helps(lines, there, &found.harm)
    };
    Foresight { clashes, serves, harm: found.harm, first_broken, helps, exact: found.exact }
}

/// What one more of each would leave of the worst overrun.
fn helps(lines: &[Line], there: &There, harm: &Harm) -> Vec<Help> {
    let mut helps = Vec::new();
    let mut ask = |more: Wanted, there: &There| {
        let then = search::solve(lines, there).harm;
        if (then.worst, then.total) < (harm.worst, harm.total) {
            helps.push(Help { more, worst: then.worst });
        }
    };
    ask(Wanted::Hands, &There { hands: there.hands.max(1) + 1, ..there.clone() });
    for (i, (place, count)) in there.places.iter().enumerate() {
        let mut more = there.clone();
        more.places[i].1 = count.max(&1) + 1;
        ask(Wanted::Place(*place), &more);
    }
    helps.sort_by_key(|h| h.worst);
    helps
}

#[cfg(test)]
mod oracle;
#[cfg(test)]
mod tests;
