//! The same question answered the slow way, minute by minute over every order: for tests alone.
//! It shares no code with the search.

use super::{Line, There};
use time::{Duration, OffsetDateTime};

/// worst, total (minutes over), moved, waited (minutes).
pub(super) type Cost = (i64, i64, u32, i64);

/// Minutes of the grid.
const MINUTES: usize = 600;

/// Who is where, minute by minute: hands, then each kind of place.
struct Book {
    used: Vec<Vec<u32>>,
    there: Vec<u32>,
}

/// A turn in whole minutes from the first instant.
pub(super) struct Plain {
    pub(super) ready: i64,
    pub(super) lag: i64,
    pub(super) latest: Option<i64>,
    pub(super) in_hand: bool,
    /// For each of its minutes: what it takes.
    pub(super) takes: Vec<Vec<u32>>,
}

pub(super) fn plain(lines: &[Line], there: &There, from: OffsetDateTime) -> Vec<Vec<Plain>> {
    let min = |d: Duration| d.whole_minutes();
    let one = |t: &super::Turn| {
        let mut takes = Vec::new();
        for part in &t.parts {
            let mut need = vec![part.hands.min(there.hands)];
            need.extend(there.places.iter().map(|(p, _)| u32::from(part.places.contains(p))));
            takes.extend((0..min(part.length)).map(|_| need.clone()));
        }
        Plain {
            ready: min(t.ready - from),
            lag: min(t.lag),
            latest: t.limit.map(|l| min(l.latest_start - from)),
            in_hand: t.in_hand,
            takes,
        }
    };
    lines.iter().map(|l| l.turns.iter().map(one).collect()).collect()
}

impl Book {
    fn put(&mut self, turn: &Plain, start: i64) {
        for (i, need) in turn.takes.iter().enumerate() {
            for (have, n) in self.used[usize::try_from(start).expect("not before") + i].iter_mut().zip(need) {
                *have += n;
            }
        }
    }

    fn free(&self, turn: &Plain, start: i64) -> bool {
        turn.takes.iter().enumerate().all(|(i, need)| {
            let used = &self.used[usize::try_from(start).expect("not before") + i];
            need.iter().zip(used).zip(&self.there).all(|((n, u), t)| *n == 0 || u + n <= *t)
        })
    }
}

/// Every way to interleave what is left of each line.
fn orders(left: &[usize]) -> Vec<Vec<usize>> {
    if left.iter().all(|n| *n == 0) {
        return vec![Vec::new()];
    }
    let mut all = Vec::new();
    for line in (0..left.len()).filter(|l| left[*l] > 0) {
        let mut rest = left.to_vec();
        rest[line] -= 1;
        all.extend(orders(&rest).into_iter().map(|mut o| {
            o.insert(0, line);
            o
        }));
    }
    all
}

fn serve(order: &[usize], lines: &[Vec<Plain>], there: &[u32]) -> Cost {
    let mut book = Book { used: vec![vec![0; there.len()]; MINUTES], there: there.to_vec() };
    let mut starts: Vec<Vec<i64>> = vec![Vec::new(); lines.len()];
    for (l, line) in lines.iter().enumerate() {
        for turn in line.iter().filter(|t| t.in_hand) {
            book.put(turn, turn.ready);
            starts[l].push(turn.ready);
        }
    }
    for l in order {
        let nth = starts[*l].len();
        let turn = &lines[*l][nth];
        let mut at = turn.ready;
        if nth > 0 {
            let before = &lines[*l][nth - 1];
            at = at.max(starts[*l][nth - 1] + before.takes.len() as i64 + turn.lag);
        }
        while !book.free(turn, at) {
            at += 1;
        }
        book.put(turn, at);
        starts[*l].push(at);
    }
    cost(lines, &starts)
}

/// What starts cost, from the starts alone.
pub(super) fn cost(lines: &[Vec<Plain>], starts: &[Vec<i64>]) -> Cost {
    let mut all = Vec::new();
    for (l, line) in lines.iter().enumerate() {
        for (turn, start) in line.iter().zip(&starts[l]).filter(|(t, _)| !t.in_hand) {
            all.push((l, turn.ready, *start, turn.latest.map_or(0, |x| (start - x).max(0))));
        }
    }
    let mut moved = 0;
    for a in &all {
        for b in &all {
            moved += u32::from(a.0 != b.0 && (a.1, a.0) < (b.1, b.0) && b.2 < a.2);
        }
    }
    let worst = all.iter().map(|x| x.3).max().unwrap_or(0);
    (worst, all.iter().map(|x| x.3).sum(), moved, all.iter().map(|x| x.2 - x.1).sum())
}

/// The least cost of all orders.
pub(super) fn best(lines: &[Vec<Plain>], there: &There) -> Cost {
    let mut counts = vec![there.hands];
    counts.extend(there.places.iter().map(|p| p.1));
    let left: Vec<usize> = lines.iter().map(|l| l.iter().filter(|t| !t.in_hand).count()).collect();
    orders(&left).iter().map(|o| serve(o, lines, &counts)).min().expect("one order at least")
}
