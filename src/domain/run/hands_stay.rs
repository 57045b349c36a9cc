//! Until when qualified hands are here: hours, breaks, absences, and heads that are booked.

use super::value::Instant;
use crate::domain::protocol::{Hands, Step};
use crate::domain::run::state::State;

/// Half-open: from, to.
pub type Stretch = (Instant, Instant);

/// Somebody qualified for the service.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Presence {
    /// Hours less breaks and absences.
    pub here: Vec<Stretch>,
    /// At another client's head, by the bookings.
    pub taken: Vec<Stretch>,
}

/// Until when qualified hands are known to be here.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum HandsKnown {
    /// Nobody's hours for today are entered, or not those of who acts: nothing is refused for it.
    NotKnown,
    /// A manager named hands that stay.
    Named,
    /// Somebody qualified is here as far as was looked.
    Stay,
    /// Not longer than this.
    Until(Instant),
}

impl HandsKnown {
    /// What `Context::hands_until` is told.
    pub const fn until(self) -> Option<Instant> {
        match self {
            HandsKnown::Until(at) => Some(at),
            HandsKnown::NotKnown | HandsKnown::Named | HandsKnown::Stay => None,
        }
    }

    /// What the Run screen says before an opening step; nothing while hands stay.
    pub fn words(self, at: &dyn Fn(Instant) -> String) -> Option<String> {
        match self {
            HandsKnown::Stay => None,
            HandsKnown::Named => Some("A manager named hands that stay.".into()),
            HandsKnown::NotKnown => {
                Some("Until when qualified hands are here is not known: today’s hours are not entered. See that somebody stays until the hair is closed.".into())
            }
            HandsKnown::Until(until) => {
                Some(format!("By the hours entered, qualified hands are here until {}.", at(until)))
            }
        }
    }
}

/// The first instant in [`now`, `horizon`) with nobody qualified here and free. While the service
/// itself wants a stylist (`wanted`), somebody booked at another head does not count; while the
/// product works, one pair of hands may serve two.
pub fn hands_known(people: &[Presence], wanted: &[Stretch], now: Instant, horizon: Instant) -> HandsKnown {
    let all = people.iter().flat_map(|p| p.here.iter().chain(&p.taken)).chain(wanted);
    let mut edges: Vec<Instant> = all.flat_map(|(from, to)| [*from, *to]).chain([now]).collect();
    edges.retain(|at| *at >= now && *at < horizon);
    edges.sort_unstable();
    edges.dedup();
    let within = |stretches: &[Stretch], at: Instant| stretches.iter().any(|(f, t)| *f <= at && at < *t);
    let alone = edges.into_iter().find(|at| {
        let asked = within(wanted, *at);
        !people.iter().any(|p| within(&p.here, *at) && !(asked && within(&p.taken, *at)))
    });
    alone.map_or(HandsKnown::Stay, HandsKnown::Until)
}

impl State<'_> {
    /// When the service wants a stylist's hands from now on, until the hair is closed, as predicted.
    pub fn stylist_wanted(&self, now: Instant) -> Vec<Stretch> {
        let steps = &self.frame.protocol.steps;
        let last = steps.iter().rposition(Step::is_closing).map(|i| &steps[i].code);
        let blocks = self.track(now).blocks;
        let until = blocks.iter().rev().find(|b| Some(&b.step) == last).map_or(now, |b| b.end);
        let wants = |b: &&super::track::Block| b.hands == Hands::Stylist && !b.done && b.start < until;
        blocks.iter().filter(wants).map(|b| (b.start.max(now), b.end)).filter(|(f, t)| f < t).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::run::sample::{Book, at};

    fn somebody(here: &[(i64, i64)], taken: &[(i64, i64)]) -> Presence {
        let spans = |s: &[(i64, i64)]| s.iter().map(|(f, t)| (at(*f), at(*t))).collect();
        Presence { here: spans(here), taken: spans(taken) }
    }

    #[test]
    fn hands_stay_until_the_last_who_is_qualified_goes() {
        let two = [somebody(&[(-60, 90)], &[]), somebody(&[(80, 240)], &[])];
        assert_eq!(hands_known(&two, &[], at(0), at(600)), HandsKnown::Until(at(240)));
        assert_eq!(hands_known(&two, &[], at(0), at(200)), HandsKnown::Stay);
        let gap = [somebody(&[(-60, 60), (90, 400)], &[])];
        assert_eq!(hands_known(&gap, &[], at(0), at(600)), HandsKnown::Until(at(60)), "a break");
        assert_eq!(hands_known(&gap, &[], at(70), at(600)), HandsKnown::Until(at(70)));
        assert_eq!(hands_known(&[], &[], at(0), at(600)), HandsKnown::Until(at(0)));
    }

    #[test]
    fn the_next_client_counts_only_while_a_stylist_is_wanted_here() {
        let one = [somebody(&[(-60, 400)], &[(30, 50)])];
        assert_eq!(
            hands_known(&one, &[(0, 20)].map(|(f, t)| (at(f), at(t))), at(0), at(300)),
            HandsKnown::Stay
        );
        let wanted = [(0, 20), (40, 60)].map(|(f, t)| (at(f), at(t)));
        assert_eq!(hands_known(&one, &wanted, at(0), at(300)), HandsKnown::Until(at(40)));
        let other = [one[0].clone(), somebody(&[(0, 300)], &[])];
        assert_eq!(hands_known(&other, &wanted, at(0), at(300)), HandsKnown::Stay);
    }

    #[test]
    fn a_stylist_is_wanted_for_passes_and_winding_not_for_the_rinse() {
        let book = Book::ready();
        let wanted = book.state().stylist_wanted(at(0));
        assert!(!wanted.is_empty());
        let minutes: i64 = wanted.iter().map(|(f, t)| (*t - *f).whole_minutes()).sum();
        // apply-1 8, apply-2 7, wind 35.
        assert_eq!(minutes, 50);
    }
}
