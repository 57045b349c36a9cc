//! Whose family goes on, and who may be named: the database holds the same (`tests/it/attack/guards.rs`).

use super::command::{Actor, Command};
use super::event::Happened;
use super::refusal::Refusal;
use super::sample::*;
use crate::domain::chemistry::family::Family;
use crate::domain::ids::LotId;

fn bowl() -> Command {
    Command::DispenseLot { application: 'A', lot: LotId(401), grams: 30.0 }
}

/// "The two chemistries must never meet on one hair" (1-job.md).
#[test]
fn a_product_of_another_chemistry_is_neither_begun_nor_dispensed_nor_put_on() {
    let other = Refusal::OtherFamily { application: 'A', asked: "thio" };
    let mut planned = Book::new();
    planned.frame.products[0].family = Family::SodiumHydroxide;
    assert_eq!(planned.try_at(0, TOBIAS, Command::StartRun), Err(vec![other.clone()]));
    let mut book = Book::ready();
    book.frame.products[0].family = Family::SodiumHydroxide;
    assert_eq!(book.try_at(1, MARA, bowl()), Err(vec![other.clone()]));
    let refused = book.try_at(1, TOBIAS, start("apply-1")).expect_err("another chemistry");
    assert!(refused.contains(&other), "{refused:?}");
    let words = other.words(&|_| String::new());
    assert_eq!(words, "Product A is of another chemistry than this service gives there: thio.");
    // A family of which the floor asks the very same may stand for it.
    let mut sulfite = Book::ready();
    sulfite.frame.products[0].family = Family::Sulfite;
    sulfite.must(1, MARA, bowl());
    sulfite.must(1, TOBIAS, start("apply-1"));
}

#[test]
fn hands_that_stay_are_named_by_a_manager_and_may_go_on_with_it() {
    let mut book = Book::ready();
    let name = |person| Command::NameHands { hands: actor(person) };
    let no = |book: &mut Book, by, command| book.try_at(1, by, command).expect_err("refused");
    assert_eq!(no(&mut book, TOBIAS, name(ONDINE)), [Refusal::RoleMissing { who: "a manager" }]);
    assert_eq!(no(&mut book, MARA, name(ONDINE)), [Refusal::RoleMissing { who: "a manager" }]);
    let unfit = |person| [Refusal::HandsNotQualified { person, family: "thio" }];
    assert_eq!(no(&mut book, ONDINE, name(MARA)), unfit(MARA), "an assistant");
    let colour = Actor { qualified: vec![Family::OxidativeColour], ..actor(TOBIAS) };
    assert_eq!(no(&mut book, ONDINE, Command::NameHands { hands: colour }), unfit(TOBIAS));
    // Whoever is named answers for it: an offer falls, and who began it ends no stop any more.
    book.must(1, TOBIAS, Command::OfferHandover { to: ONDINE });
    book.must(1, ONDINE, name(ONDINE));
    assert_eq!((book.state().stylist, book.state().offered_to), (Some(ONDINE), None));
    book.fact(2, 2, Happened::StopRecorded);
    book.must(2, ONDINE, Command::ReadStop { whole: true, early: true });
    let close = Command::CloseStop { reason: "looked at".into() };
    assert_eq!(book.try_at(3, TOBIAS, close.clone()), Err(vec![Refusal::NotAnswerable]));
    book.must(3, ONDINE, close);
}
