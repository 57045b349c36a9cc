//! What a salon has to offer: minutes of hands at work, and minutes in which a chair can be used at all.

use crate::domain::booking::{Span, free_of_person, joined};

/// One week's hours.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Open {
    /// Minutes of everybody who treats hair, absences taken off.
    pub hands_min: f64,
    /// Minutes in which at least one of them is there.
    pub open_min: f64,
}

/// Somebody's hours and absences, as spans of instants.
#[derive(Clone, Debug, Default)]
pub struct Works {
    /// Regular hours.
    pub hours: Vec<Span>,
    /// Away.
    pub away: Vec<Span>,
}

/// The open minutes of each of these stretches of time (weeks), in their order.
#[must_use]
pub fn open_in(team: &[Works], weeks: &[Span]) -> Vec<Open> {
    let free: Vec<Vec<Span>> = team.iter().map(|w| free_of_person(&w.hours, &w.away)).collect();
    let any = joined(&free.iter().flatten().copied().collect::<Vec<_>>());
    let of = |week: &Span| Open {
        hands_min: free.iter().map(|spans| minutes_in(spans, *week)).sum(),
        open_min: minutes_in(&any, *week),
    };
    weeks.iter().map(of).collect()
}

/// Minutes of spans that lie within a stretch.
fn minutes_in(spans: &[Span], within: Span) -> f64 {
    let part = |s: &Span| (s.end_ms().min(within.end_ms()) - s.start_ms().max(within.start_ms())).max(0);
    spans.iter().map(part).sum::<i64>() as f64 / 60_000.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn span(from_min: i64, to_min: i64) -> Span {
        Span::new(from_min * 60_000, to_min * 60_000).unwrap()
    }

    #[test]
    fn two_at_once_are_two_pairs_of_hands_and_one_open_door() {
        let team = [
            Works { hours: vec![span(0, 480)], away: vec![span(60, 120)] },
            Works { hours: vec![span(60, 600)], away: vec![] },
        ];
        let open = open_in(&team, &[span(0, 300), span(300, 1000)]);
        assert_eq!(open[0], Open { hands_min: 240.0 + 240.0, open_min: 300.0 });
        assert_eq!(open[1], Open { hands_min: 180.0 + 300.0, open_min: 300.0 });
    }

    proptest! {
        #[test]
        fn the_door_is_open_no_longer_than_all_hands_together(
            hours in prop::collection::vec((0i64..500, 1i64..300), 0..6),
            away in prop::collection::vec((0i64..500, 1i64..100), 0..4),
        ) {
            let spans = |list: &[(i64, i64)]| list.iter().map(|(at, long)| span(*at, at + long)).collect::<Vec<_>>();
            let team: Vec<Works> = hours.iter().map(|h| Works { hours: spans(&[*h]), away: spans(&away) }).collect();
            let open = open_in(&team, &[span(0, 1000)])[0];
            prop_assert!(open.open_min <= open.hands_min + 1e-9);
            let longest = team.iter().map(|w| open_in(std::slice::from_ref(w), &[span(0, 1000)])[0].hands_min).fold(0.0, f64::max);
            prop_assert!(longest <= open.open_min + 1e-9);
        }
    }
}
