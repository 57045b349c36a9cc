//! Until when qualified hands are here: hours, breaks, absences, and heads that are booked.

use super::value::Instant;
use crate::domain::protocol::Hands;
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

    /// What the Run screen says before an opening step; nothing while hands stay. `closes`: the service closes the hair.
    pub fn words(self, closes: bool, at: &dyn Fn(Instant) -> String) -> Option<String> {
        match self {
            HandsKnown::Stay => None,
            HandsKnown::Named => Some(tr!("A manager named hands that stay.").into()),
            HandsKnown::NotKnown => {
                let end = end_words(closes);
                Some(tr!(
                    "Until when qualified hands are here is not known: today’s hours are not entered. See that somebody stays until {end}.",
                    end = end
                ))
            }
            HandsKnown::Until(until) => {
                Some(tr!("By the hours entered, qualified hands are here until {}.", at(until)))
            }
        }
    }
}

/// Until when hands stay, in words.
pub fn end_words(closes: bool) -> &'static str {
    if closes { tr!("the hair is closed") } else { tr!("the product is rinsed off") }
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
    /// When the service wants a stylist's hands from now on, until the hair is closed or the product rinsed off, as
    /// predicted.
    pub fn stylist_wanted(&self, now: Instant) -> Vec<Stretch> {
        let steps = &self.frame.protocol.steps;
        let last = self.frame.protocol.last_at_work().map(|i| &steps[i].code);
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

    /// A colour is closed by nothing: it is at work until it is rinsed off. 8 on, 20 to work, 6 to rinse.
    fn colour() -> Book {
        use crate::domain::protocol::{HoldPoint, SectionWork};
        let mut book = Book::new();
        let protocol = &mut book.frame.protocol;
        protocol.applications.retain(|a| a.letter == 'A');
        protocol
            .steps
            .retain(|s| ["section", "apply-1", "cover", "rinse-a", "finish"].contains(&s.code.as_str()));
        for step in &mut protocol.steps {
            step.minutes_typical = match step.code.as_str() {
                "apply-1" => 8,
                "cover" => 20,
                "rinse-a" => 6,
                _ => step.minutes_typical,
            };
            if step.sections == Some(SectionWork::Rinse) {
                step.hands = Hands::Stylist;
            }
            step.hold_points.retain(|p| *p == HoldPoint::Gloves);
        }
        book.frame.products.retain(|p| p.application == 'A');
        book
    }

    #[test]
    fn without_a_closing_step_hands_stay_until_the_last_product_is_rinsed_off() {
        use crate::domain::protocol::HoldPoint;
        use crate::domain::run::sample::{TOBIAS, context, sign, start};
        use crate::domain::run::{Command, Context, Refusal};
        let mut book = colour();
        book.must(0, TOBIAS, Command::StartRun);
        book.must(0, TOBIAS, start("section"));
        book.must(0, TOBIAS, sign("apply-1", HoldPoint::Gloves, "nitrile-new-pair-intact"));
        let until = |min| Context { hands_until: Some(at(min)), ..context(0, Some(TOBIAS)) };
        let refused = book.ask(&until(33), &start("apply-1")).expect_err("not rinsed by then");
        assert_eq!(refused, [Refusal::HandsLeaving { until: at(33), needed: at(34), closes: false }]);
        let clock = |i: Instant| format!("{}:{:02}", i.hour(), i.minute());
        assert_eq!(
            refused[0].words(&clock),
            "Qualified hands are here until 14:13, the product is not rinsed off before 14:14. Do not start."
        );
        // Who is booked elsewhere while it is rinsed is not here for it.
        let wanted = book.state().stylist_wanted(at(0));
        let minutes: Vec<i64> = wanted.iter().map(|(from, to)| (*to - *from).whole_minutes()).collect();
        assert_eq!(minutes, [8, 6], "putting on and rinsing off");
        book.ask(&until(34), &start("apply-1")).expect("rinsed by then");
        let not_known = HandsKnown::NotKnown.words(false, &clock).expect("said");
        assert!(
            not_known.ends_with("See that somebody stays until the product is rinsed off."),
            "{not_known}"
        );
    }
}
