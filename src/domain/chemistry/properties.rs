//! What must hold of the law's limits, whatever is in the bottle.

use super::limits::{Check, Hands, LimitTable, Place, Purpose};
use crate::reference::Reference;
use proptest::collection::vec;
use proptest::prelude::*;
use proptest::sample::{Index, select};

fn table() -> &'static LimitTable {
    &Reference::shipped().limits
}

type Case = (Place, Hands, Purpose);

fn case() -> impl Strategy<Value = Case> {
    (select(Place::ALL.to_vec()), select(Hands::ALL.to_vec()), select(Purpose::ALL.to_vec()))
}

fn content() -> impl Strategy<Value = (Index, f64)> {
    (any::<Index>(), prop_oneof![0.0..0.1f64, 0.1..15.0f64])
}

fn ph() -> impl Strategy<Value = Option<f64>> {
    proptest::option::of(1.0..14.0f64)
}

fn check(case: Case, contents: &[(Index, f64)], ph: Option<f64>) -> Vec<Check<'static>> {
    let all = &table().ingredients;
    let contents: Vec<_> = contents.iter().map(|(i, percent)| (&all[i.index(all.len())], *percent)).collect();
    table().check(case, &contents, ph)
}

/// The check of the same entry of the law: acid and ester of one acid are two.
fn of<'c>(checks: &'c [Check<'static>], other: &Check<'_>) -> Option<&'c Check<'static>> {
    checks.iter().find(|c| c.limit.substance == other.limit.substance)
}

proptest! {
    #[test]
    fn one_more_ingredient_never_brings_a_failing_bottle_within(
        case in case(), contents in vec(content(), 1..6), more in content(), ph in ph(),
    ) {
        let before = check(case, &contents, ph);
        let longer: Vec<_> = contents.iter().copied().chain([more]).collect();
        let after = check(case, &longer, ph);
        for old in &before {
            let new = of(&after, old);
            prop_assert!(new.is_some_and(|new| new.percent >= old.percent));
            if old.within == Some(false) {
                prop_assert_eq!(new.and_then(|new| new.within), Some(false));
            }
            // Nor does it take a warning off the label.
            prop_assert!(new.is_some_and(|new| old.must_say().all(|words| new.must_say().any(|w| w == words))));
        }
    }

    #[test]
    fn the_order_on_the_label_says_nothing(
        case in case(), contents in vec(content(), 1..6), ph in ph(), turn in any::<Index>(),
    ) {
        let mut turned = contents.clone();
        turned.rotate_left(turn.index(contents.len()));
        turned.reverse();
        let (one, other) = (check(case, &contents, ph), check(case, &turned, ph));
        prop_assert_eq!(one.len(), other.len());
        for a in &one {
            let b = of(&other, a).unwrap();
            prop_assert!((a.percent - b.percent).abs() < 1e-9);
            // On the very edge the order of a sum's roundings decides.
            if a.limit.percent.is_none_or(|most| (a.percent - most).abs() > 1e-9) {
                prop_assert_eq!(a.within, b.within);
            }
        }
    }

    #[test]
    fn water_never_brings_a_bottle_beyond(case in case(), contents in vec(content(), 1..6), share in 0.0..1.0f64) {
        let thinned: Vec<_> = contents.iter().map(|(i, percent)| (*i, percent * share)).collect();
        for (strong, weak) in check(case, &contents, None).iter().zip(check(case, &thinned, None)) {
            prop_assert!((weak.percent - strong.percent * share).abs() < 1e-9);
            prop_assert!(strong.within != Some(true) || weak.within == Some(true));
        }
    }
}
