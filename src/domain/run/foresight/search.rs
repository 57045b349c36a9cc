//! Branch and bound over the orders in which turns may be served, each as soon as it can be.
//!
//! Every overrun grows with a later start, so some order served that way is as good as any plan
//! with idle waiting in it.

use super::{Harm, LINES_MOST, Line, NODES_MOST, Serve, There, Turn};
use std::collections::BTreeSet;
use time::{Duration, OffsetDateTime};

/// The start of each turn of each line.
pub(super) type Starts = Vec<Vec<OffsetDateTime>>;

/// What was found.
pub(super) struct Found {
    pub(super) starts: Starts,
    pub(super) harm: Harm,
    pub(super) exact: bool,
}

/// A stretch of time in which hands and places are taken.
struct Taken {
    from: OffsetDateTime,
    to: OffsetDateTime,
    hands: u32,
    /// Counts by `There::places`.
    places: Vec<u32>,
}

/// A floor being filled.
struct Floor<'a> {
    lines: &'a [Line],
    there: &'a There,
    taken: Vec<Taken>,
    starts: Starts,
    harm: Harm,
}

/// A turn's hands, as far as there are so many: winding takes all hands there are, and longer.
fn hands_of(wanted: u32, there: &There) -> u32 {
    wanted.min(there.hands.max(1))
}

fn over(turn: &Turn, start: OffsetDateTime) -> Duration {
    turn.limit.map_or(Duration::ZERO, |l| (start - l.latest_start).max(Duration::ZERO))
}

pub(super) fn length(turn: &Turn) -> Duration {
    turn.parts.iter().map(|p| p.length).sum()
}

impl Floor<'_> {
    fn new<'a>(lines: &'a [Line], there: &'a There) -> Floor<'a> {
        let starts = vec![Vec::new(); lines.len()];
        let mut floor = Floor { lines, there, taken: Vec::new(), starts, harm: Harm::default() };
        // What is in hand stays where it is, whatever else is wanted.
        for (i, line) in lines.iter().enumerate() {
            for turn in line.turns.iter().take_while(|t| t.in_hand) {
                floor.put(i, turn.ready);
            }
        }
        floor
    }

    fn next(&self, line: usize) -> Option<&Turn> {
        self.lines[line].turns.get(self.starts[line].len())
    }

    /// Not before it is ready, nor before the run's last turn and what nobody's hands take after it.
    fn earliest(&self, line: usize) -> Option<OffsetDateTime> {
        let turn = self.next(line)?;
        let last = self.starts[line].last().map(|start| {
            let before = &self.lines[line].turns[self.starts[line].len() - 1];
            *start + length(before) + turn.lag
        });
        Some(last.map_or(turn.ready, |at| at.max(turn.ready)))
    }

    fn fits(&self, turn: &Turn, start: OffsetDateTime) -> bool {
        let mut from = start;
        turn.parts.iter().all(|part| {
            let to = from + part.length;
            let meets: Vec<&Taken> = self.taken.iter().filter(|t| t.from < to && from < t.to).collect();
            // Use only rises where something begins.
            let edges = meets.iter().map(|t| t.from.max(from)).chain([from]);
            let free = edges.into_iter().all(|at| {
                let here = || meets.iter().filter(|t| t.from <= at && at < t.to);
                let hands: u32 = here().map(|t| t.hands).sum();
                let need = hands_of(part.hands, self.there);
                (need == 0 || hands + need <= self.there.hands.max(1))
                    && self.there.places.iter().enumerate().all(|(i, (place, count))| {
                        !part.places.contains(place)
                            || here().map(|t| t.places[i]).sum::<u32>() < (*count).max(1)
                    })
            });
            from = to;
            free
        })
    }

    /// The first start at or after `earliest` at which hands and places are free.
    fn first_fit(&self, turn: &Turn, earliest: OffsetDateTime) -> OffsetDateTime {
        let mut tries = vec![earliest];
        let mut offset = Duration::ZERO;
        for part in &turn.parts {
            tries.extend(self.taken.iter().map(|t| t.to - offset).filter(|at| *at > earliest));
            offset += part.length;
        }
        tries.sort_unstable();
        let found = tries.into_iter().find(|at| self.fits(turn, *at));
        found.expect("after the last taken stretch everything is free")
    }

    /// Serves a line's next turn at an instant; what that adds to the harm.
    fn put(&mut self, line: usize, start: OffsetDateTime) {
        let nth = self.starts[line].len();
        let turn = &self.lines[line].turns[nth];
        let mut from = start;
        for part in &turn.parts {
            let to = from + part.length;
            let places = self.there.places.iter().map(|(p, _)| u32::from(part.places.contains(p))).collect();
            self.taken.push(Taken { from, to, hands: hands_of(part.hands, self.there), places });
            from = to;
        }
        if !turn.in_hand {
            let by = over(turn, start);
            self.harm.worst = self.harm.worst.max(by);
            self.harm.total += by;
            self.harm.waited += start - turn.ready;
            self.harm.moved += self.reversed(line, turn, start);
        }
        self.starts[line].push(start);
    }

    /// Turns of other lines, served already, that come the other way round by themselves.
    fn reversed(&self, line: usize, turn: &Turn, start: OffsetDateTime) -> u32 {
        let mut count = 0;
        for (i, other) in self.lines.iter().enumerate().filter(|(i, _)| *i != line) {
            for (that, at) in other.turns.iter().zip(&self.starts[i]).filter(|(t, _)| !t.in_hand) {
                let that_first = (that.ready, i) < (turn.ready, line);
                count += u32::from((that_first && start < *at) || (!that_first && *at < start));
            }
        }
        count
    }

    fn take_back(&mut self, line: usize, harm: Harm) {
        self.starts[line].pop();
        let turn = &self.lines[line].turns[self.starts[line].len()];
        self.taken.truncate(self.taken.len() - turn.parts.len());
        self.harm = harm;
    }

    /// No order of what is left costs less than this: each as if it were alone.
    fn bound(&self) -> Harm {
        let mut bound = self.harm;
        for line in 0..self.lines.len() {
            let Some(mut at) = self.earliest(line) else { continue };
            let mut ended = None;
            for turn in &self.lines[line].turns[self.starts[line].len()..] {
                at = ended.map_or(at, |end: OffsetDateTime| (end + turn.lag).max(turn.ready));
                let by = over(turn, at);
                bound.worst = bound.worst.max(by);
                bound.total += by;
                bound.waited += at - turn.ready;
                ended = Some(at + length(turn));
            }
        }
        bound
    }

    /// Serves what `pick` says until nothing is left.
    fn list(mut self, pick: impl Fn(&Self, usize) -> (OffsetDateTime, OffsetDateTime)) -> (Starts, Harm) {
        loop {
            let lines = (0..self.lines.len()).filter(|l| self.next(*l).is_some());
            let Some(line) = lines.min_by_key(|l| (pick(&self, *l), *l)) else { break };
            self.serve(line);
        }
        (self.starts, self.harm)
    }

    fn serve(&mut self, line: usize) {
        if let (Some(turn), Some(earliest)) = (self.next(line), self.earliest(line)) {
            let start = self.first_fit(turn, earliest);
            self.put(line, start);
        }
    }
}

struct Search<'a> {
    floor: Floor<'a>,
    best: (Starts, Harm),
    seen: BTreeSet<Starts>,
    nodes: u32,
}

impl Search<'_> {
    fn go(&mut self) {
        if self.floor.bound() >= self.best.1 || self.nodes >= NODES_MOST {
            return;
        }
        self.nodes += 1;
        let mut lines: Vec<usize> =
            (0..self.floor.lines.len()).filter(|l| self.floor.next(*l).is_some()).collect();
        if lines.is_empty() {
            self.best = (self.floor.starts.clone(), self.floor.harm);
            return;
        }
        lines.sort_by_key(|l| (self.floor.next(*l).map(|t| t.ready), *l));
        for line in lines {
            let before = self.floor.harm;
            self.floor.serve(line);
            // Another way to the same half-filled floor.
            if self.seen.insert(self.floor.starts.clone()) {
                self.go();
            }
            self.floor.take_back(line, before);
        }
    }
}

/// The order that hurts least.
pub(super) fn solve(lines: &[Line], there: &There) -> Found {
    let natural = |f: &Floor<'_>, l: usize| {
        let ready = f.next(l).map_or(OffsetDateTime::UNIX_EPOCH, |t| t.ready);
        (ready, ready)
    };
    let urgent = |f: &Floor<'_>, l: usize| {
        let turns = &f.lines[l].turns[f.starts[l].len()..];
        let ready = turns.first().map_or(OffsetDateTime::UNIX_EPOCH, |t| t.ready);
        let limit = turns.iter().filter_map(|t| t.limit).map(|x| x.latest_start).min();
        (limit.unwrap_or(ready + Duration::DAY), ready)
    };
    let first = Floor::new(lines, there).list(natural);
    let second = Floor::new(lines, there).list(urgent);
    let best = if second.1 < first.1 { second } else { first };
    let floor = Floor::new(lines, there);
    let none_better = floor.bound() >= best.1;
    let moves = lines.iter().filter(|l| l.turns.iter().any(|t| !t.in_hand)).count();
    if none_better || moves > LINES_MOST {
        return Found { starts: best.0, harm: best.1, exact: none_better };
    }
    let mut search = Search { floor, best, seen: BTreeSet::new(), nodes: 0 };
    search.go();
    let exact = search.nodes < NODES_MOST;
    let (starts, harm) = search.best;
    Found { starts, harm, exact }
}

/// Every turn that is not in hand, by when it begins.
pub(super) fn serves(lines: &[Line], starts: &Starts) -> Vec<Serve> {
    let mut serves: Vec<Serve> = Vec::new();
    for (line, turns) in lines.iter().enumerate() {
        for (nth, turn) in turns.turns.iter().enumerate().filter(|(_, t)| !t.in_hand) {
            let start = starts[line][nth];
            serves.push(Serve { line, turn: nth, start, over: over(turn, start) });
        }
    }
    serves.sort_by_key(|s| (s.start, s.line, s.turn));
    serves
}
