//! Where runs would want more hands or places than there are, if each went its own way; each told once.

use super::{Line, Part, Serve, There};
use crate::domain::run::sweep::sweep;
use crate::domain::run::track::Wanted;
use crate::domain::run::value::Instant;
use std::collections::BTreeSet;

/// Turns that get in one another's way.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Clash {
    /// From.
    pub at: Instant,
    /// To.
    pub until: Instant,
    /// Of what there is too little; a place before hands.
    pub wanted: Vec<Wanted>,
    /// How many claims there are at once, of what is wanted most.
    pub claims: usize,
    /// Which lines, in order.
    pub lines: Vec<usize>,
    /// All of them rinse.
    pub rinses: bool,
    /// Lines that are at it already, with when they are done.
    pub in_hand: Vec<(usize, Instant)>,
    /// Its turns as places in `Foresight::serves`, in the order proposed.
    pub order: Vec<usize>,
}

/// A part on the axis, as it comes by itself.
struct Claim<'a> {
    line: usize,
    turn: usize,
    from: Instant,
    to: Instant,
    part: &'a Part,
}

fn claims(lines: &[Line]) -> Vec<Claim<'_>> {
    let mut claims = Vec::new();
    for (line, turns) in lines.iter().enumerate() {
        for (turn, t) in turns.turns.iter().enumerate() {
            let mut from = t.ready;
            for part in &t.parts {
                let to = from + part.length;
                claims.push(Claim { line, turn, from, to, part });
                from = to;
            }
        }
    }
    claims
}

/// One stretch in which one thing is wanted by too many.
struct Spot {
    from: Instant,
    to: Instant,
    wanted: Wanted,
    turns: BTreeSet<(usize, usize)>,
    claims: usize,
}

fn spots(lines: &[Line], there: &There) -> Vec<Spot> {
    let claims = claims(lines);
    let mut things: Vec<(Wanted, u32)> =
        there.places.iter().map(|(p, n)| (Wanted::Place(*p), (*n).max(1))).collect();
    things.push((Wanted::Hands, there.hands.max(1)));
    let mut spots = Vec::new();
    for span in sweep(&claims, |c| (c.from, c.to)) {
        for (wanted, count) in &things {
            let need = |c: &Claim<'_>| match wanted {
                Wanted::Place(p) => u32::from(c.part.places.contains(p)),
                Wanted::Hands => c.part.hands.min(*count),
            };
            let here: Vec<&Claim<'_>> = span.here.iter().copied().filter(|c| need(c) > 0).collect();
            let needed: u32 = here.iter().map(|c| need(c)).sum();
            if needed > *count && here.len() > 1 {
                let turns = here.iter().map(|c| (c.line, c.turn)).collect();
                let (from, to) = (span.from, span.to);
                spots.push(Spot { from, to, wanted: *wanted, turns, claims: here.len() });
            }
        }
    }
    spots
}

/// Spots that share a turn are one clash.
fn grouped(spots: Vec<Spot>) -> Vec<Vec<Spot>> {
    let mut groups: Vec<Vec<Spot>> = Vec::new();
    for spot in spots {
        let (mut joined, apart): (Vec<_>, Vec<_>) =
            groups.into_iter().partition(|g| g.iter().any(|s| !s.turns.is_disjoint(&spot.turns)));
        groups = apart;
        let mut group: Vec<Spot> = joined.drain(..).flatten().collect();
        group.push(spot);
        groups.push(group);
    }
    groups
}

/// The clashes ahead, by instant.
pub(super) fn clashes(lines: &[Line], there: &There, serves: &[Serve]) -> Vec<Clash> {
    let mut clashes: Vec<Clash> = grouped(spots(lines, there))
        .into_iter()
        .filter_map(|group| {
            let turns: BTreeSet<(usize, usize)> =
                group.iter().flat_map(|s| s.turns.iter().copied()).collect();
            let wanted: BTreeSet<Wanted> = group.iter().map(|s| s.wanted).collect();
            let turn = |(l, t): &(usize, usize)| &lines[*l].turns[*t];
            let runs: BTreeSet<usize> = turns.iter().map(|(l, _)| *l).collect();
            let in_hand = turns.iter().filter(|x| turn(x).in_hand).map(|x| {
                let end = turn(x).ready + super::search::length(turn(x));
                (x.0, end)
            });
            let order: Vec<usize> = serves
                .iter()
                .enumerate()
                .filter(|(_, s)| turns.contains(&(s.line, s.turn)))
                .map(|(i, _)| i)
                .collect();
            // What is in hand already at both heads is not foresight.
            if order.is_empty() {
                return None;
            }
            Some(Clash {
                at: group.iter().map(|s| s.from).min()?,
                until: group.iter().map(|s| s.to).max()?,
                claims: group.iter().map(|s| s.claims).max()?,
                rinses: turns.iter().all(|x| turn(x).rinse),
                lines: runs.into_iter().collect(),
                in_hand: in_hand.collect(),
                wanted: wanted.into_iter().collect(),
                order,
            })
        })
        .collect();
    clashes.sort_by_key(|c| (c.at, c.lines.clone()));
    clashes
}
