//! When a person or a kind of place is free: sorted, disjoint spans made from hours and takings.

use super::segment::Span;

/// The hours as stretches: sorted, overlapping and touching ones made one.
pub fn joined(hours: &[Span]) -> Vec<Span> {
    let mut sorted = hours.to_vec();
    sorted.sort_unstable();
    let mut stretches: Vec<Span> = Vec::with_capacity(sorted.len());
    for span in sorted {
        match stretches.last_mut() {
            Some(last) if span.start_ms() <= last.end_ms() => {
                if let Some(longer) = Span::new(last.start_ms(), last.end_ms().max(span.end_ms())) {
                    *last = longer;
                }
            }
            _ => stretches.push(span),
        }
    }
    stretches
}

/// What is left of the hours (joined first) when everything taken is cut out.
///
/// A segment fits a person exactly when one of these spans covers it: takings are whole walls, so
/// two spans left on both sides of one never join.
pub fn free_of_person(hours: &[Span], taken: &[Span]) -> Vec<Span> {
    let walls = joined(taken);
    let mut free = Vec::new();
    let mut first_wall = 0;
    for stretch in joined(hours) {
        let mut from_ms = stretch.start_ms();
        while walls.get(first_wall).is_some_and(|wall| wall.end_ms() <= from_ms) {
            first_wall += 1;
        }
        for wall in &walls[first_wall..] {
            if wall.start_ms() >= stretch.end_ms() {
                break;
            }
            free.extend(Span::new(from_ms, wall.start_ms()));
            from_ms = from_ms.max(wall.end_ms());
        }
        free.extend(Span::new(from_ms, stretch.end_ms()));
    }
    free
}

/// The spans within `whole` during which at least `needed` of `count` places are left at every
/// instant. Neighbouring spans are one, since depth is compared and not the takings themselves.
pub(super) fn free_of_places(count: usize, needed: usize, taken: &[Span], whole: Span) -> Vec<Span> {
    if needed > count {
        return Vec::new();
    }
    // An end sorts before a start at the same instant: places are handed on without a gap.
    let mut edges: Vec<(i64, bool)> = Vec::with_capacity(taken.len() * 2);
    for span in taken.iter().filter(|span| span.overlaps(whole)) {
        edges.push((span.start_ms(), true));
        edges.push((span.end_ms(), false));
    }
    edges.sort_unstable();
    let mut free = Vec::new();
    let mut depth = 0_usize;
    let mut from_ms = Some(whole.start_ms());
    for (at_ms, begins) in edges {
        depth = if begins { depth + 1 } else { depth - 1 };
        let enough = depth + needed <= count;
        match from_ms {
            Some(start_ms) if !enough => {
                free.extend(Span::new(start_ms, at_ms.min(whole.end_ms())));
                from_ms = None;
            }
            None if enough => from_ms = Some(at_ms.max(whole.start_ms())),
            _ => {}
        }
    }
    if let Some(start_ms) = from_ms {
        free.extend(Span::new(start_ms, whole.end_ms()));
    }
    joined(&free)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn span(start_ms: i64, end_ms: i64) -> Span {
        Span::new(start_ms, end_ms).unwrap()
    }

    #[test]
    fn touching_hours_are_one_stretch() {
        let free = free_of_person(&[span(10, 20), span(0, 10), span(21, 30)], &[]);
        assert_eq!(free, [span(0, 20), span(21, 30)]);
    }

    #[test]
    fn takings_are_cut_out_of_every_stretch_they_reach() {
        let free = free_of_person(&[span(0, 20), span(30, 50)], &[span(15, 35), span(5, 7), span(6, 8)]);
        assert_eq!(free, [span(0, 5), span(8, 15), span(35, 50)]);
    }

    #[test]
    fn places_are_counted_by_depth_and_handed_on_without_a_gap() {
        let taken = [span(0, 10), span(10, 20), span(5, 15)];
        assert_eq!(free_of_places(2, 1, &taken, span(0, 30)), [span(0, 5), span(15, 30)]);
        assert_eq!(free_of_places(3, 1, &taken, span(0, 30)), [span(0, 30)]);
        assert_eq!(free_of_places(1, 2, &[], span(0, 30)), []);
    }

    fn spans() -> impl Strategy<Value = Vec<Span>> {
        prop::collection::vec((0_i64..60, 1_i64..20).prop_map(|(at, len)| span(at, at + len)), 0..8)
    }

    proptest! {
        /// Against the definition, millisecond by millisecond.
        #[test]
        fn free_time_is_what_the_definition_says(
            hours in spans(), taken in spans(), count in 0_usize..4, needed in 1_usize..3
        ) {
            let person = free_of_person(&hours, &taken);
            let whole = span(10, 70);
            let places = free_of_places(count, needed, &taken, whole);
            for at in 0..90 {
                let moment = span(at, at + 1);
                let works = hours.iter().any(|s| s.covers(moment));
                let depth = taken.iter().filter(|s| s.covers(moment)).count();
                prop_assert_eq!(person.iter().any(|s| s.covers(moment)), works && depth == 0);
                prop_assert_eq!(
                    places.iter().any(|s| s.covers(moment)),
                    whole.covers(moment) && depth + needed <= count
                );
            }
            for list in [person, places] {
                prop_assert!(list.windows(2).all(|pair| pair[0].end_ms() < pair[1].start_ms()));
            }
        }
    }
}
