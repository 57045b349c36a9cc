//! Who is there at once: the one sweep along the axis that every question of a clash asks.

use super::value::Instant;

/// A stretch between two edges, with everything that covers it.
pub(super) struct Span<'c, C> {
    pub(super) from: Instant,
    pub(super) to: Instant,
    /// In the order given.
    pub(super) here: Vec<&'c C>,
}

/// The stretches between all edges of claims, in order; `bounds` are a claim's from and to, half-open.
pub(super) fn sweep<'c, C>(claims: &'c [C], bounds: impl Fn(&C) -> (Instant, Instant)) -> Vec<Span<'c, C>> {
    let mut edges: Vec<Instant> = claims.iter().map(&bounds).flat_map(|(from, to)| [from, to]).collect();
    edges.sort_unstable();
    edges.dedup();
    let covers = |c: &&C, from: Instant, to: Instant| {
        let (begins, ends) = bounds(c);
        begins <= from && ends >= to
    };
    let span = |e: &[Instant]| {
        let (from, to) = (e[0], e[1]);
        Span { from, to, here: claims.iter().filter(|c| covers(c, from, to)).collect() }
    };
    edges.windows(2).map(span).collect()
}

#[cfg(test)]
mod tests {
    use super::super::sample::at;
    use super::sweep;

    #[test]
    fn claims_that_meet_end_to_end_are_never_there_at_once() {
        let claims = [(0, 10), (10, 20), (5, 15), (30, 40)];
        let seen: Vec<(i64, usize)> = sweep(&claims, |(from, to)| (at(*from), at(*to)))
            .iter()
            .map(|s| ((s.from - at(0)).whole_minutes(), s.here.len()))
            .collect();
        assert_eq!(seen, [(0, 1), (5, 2), (10, 2), (15, 1), (20, 0), (30, 1)]);
    }
}
