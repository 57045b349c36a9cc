//! Two products mixed for one head: both lots, one age, an end (trade-rules.md: mixed for this head, used within the
//! sheet's time, the rest thrown away).

use super::Command;
use super::holds::Lacks;
use super::refusal::Refusal;
use super::sample::{Book, MARA, TOBIAS, at, context, sign, start};
use crate::domain::ids::{LotId, ProductId};
use crate::domain::protocol::HoldPoint;

const NOW: &str = "now-for-this-head";

/// Product A is mixed with 303 and lives ten minutes; its cream (401) is in the bowl since minute 0.
fn of_two() -> Book {
    let mut book = Book::ready();
    for step in [1, 2] {
        book.frame.protocol.steps[step].hold_points.push(HoldPoint::Mixed);
    }
    book.frame.products[0].mixed_life_min = Some(10);
    book.frame.products[0].parts = vec![ProductId(303)];
    book
}

fn dispense(lot: i64) -> Command {
    Command::DispenseLot { application: 'A', lot: LotId(lot), grams: 20.0 }
}

fn mixed(step: &str) -> Command {
    sign(step, HoldPoint::Mixed, NOW)
}

#[test]
fn both_parts_are_dispensed_before_it_is_mixed_or_begun() {
    let mut book = of_two();
    let lacking = Refusal::PartNotDispensed { application: 'A' };
    assert!(book.try_at(1, MARA, mixed("apply-1")).expect_err("no activator").contains(&lacking));
    assert!(book.try_at(1, TOBIAS, start("apply-1")).expect_err("no activator").contains(&lacking));
    // Neither the curl lotion nor a lot nobody knows is a part of it.
    for lot in [402, 499] {
        let unfit = Refusal::LotUnfit { lot: LotId(lot), lacks: Lacks::Missing };
        assert_eq!(book.try_at(1, MARA, dispense(lot)), Err(vec![unfit]));
    }
    book.must(1, MARA, dispense(403));
    book.must(1, MARA, mixed("apply-1"));
    book.must(1, TOBIAS, start("apply-1"));
    // A part that was put apart meanwhile spoils the bowl.
    let mut c = context(3, Some(TOBIAS));
    c.holds.lots[2].quarantined = true;
    let unfit = Refusal::LotUnfit { lot: LotId(403), lacks: Lacks::Failed };
    assert!(book.ask(&c, &start("apply-2")).expect_err("apart").contains(&unfit));
}

#[test]
fn the_lots_are_answered_for_when_the_last_part_is_in() {
    let signed = |book: &Book| book.state().signature(HoldPoint::Lot, &"apply-1".into()).is_some();
    let mut book = of_two();
    book.events.clear();
    book.must(0, TOBIAS, Command::StartRun);
    book.must(0, MARA, dispense(403));
    assert!(!signed(&book));
    book.must(1, MARA, dispense(401));
    assert!(signed(&book));
}

#[test]
fn a_mixture_is_as_old_as_its_older_part_and_dies_at_the_sheets_minutes() {
    let mut book = of_two();
    book.must(4, MARA, dispense(403));
    book.must(6, MARA, mixed("apply-1"));
    let of = |lot: LotId| context(0, None).holds.product_of(lot);
    assert_eq!(book.state().mixture_until(&"apply-1".into(), &of), Some(at(10)), "cream since minute 0");
    let dead = Refusal::MixtureDead { application: 'A', until: at(10) };
    book.clone().must(10, TOBIAS, start("apply-1"));
    assert!(book.try_at(11, TOBIAS, start("apply-1")).expect_err("eleven minutes").contains(&dead));
    // Saying "mixed now" again makes it no younger, nor does more of one part.
    assert_eq!(book.try_at(11, MARA, mixed("apply-1")), Err(vec![dead]));
    book.must(11, MARA, dispense(401));
    let still = Refusal::MixtureDead { application: 'A', until: at(14) };
    assert_eq!(book.clone().try_at(15, MARA, mixed("apply-1")), Err(vec![still]));
    // Both anew: the old answer speaks of the old mixture.
    book.must(15, MARA, dispense(403));
    let anew = Refusal::HoldPointMissing { hold_point: HoldPoint::Mixed, lapsed: true };
    assert!(book.try_at(16, TOBIAS, start("apply-1")).expect_err("not answered").contains(&anew));
    book.must(16, MARA, mixed("apply-1"));
    book.must(21, TOBIAS, start("apply-1"));
}

#[test]
fn one_mixture_serves_every_step_of_its_application_while_it_lives() {
    let mut book = of_two();
    book.must(0, MARA, dispense(403));
    book.must(0, MARA, mixed("apply-1"));
    book.must(0, TOBIAS, start("apply-1"));
    book.clone().must(10, TOBIAS, start("apply-2"));
    let dead = Refusal::MixtureDead { application: 'A', until: at(10) };
    assert!(book.try_at(11, TOBIAS, start("apply-2")).expect_err("too old").contains(&dead));
    assert!(dead.words(&|i| i.to_string()).contains("Mix anew") && !dead.way_out().is_empty());
}
