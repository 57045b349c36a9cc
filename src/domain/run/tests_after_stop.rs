//! After a stop: closing is offered unless the product's sheet forbids it (2-domain.md, Stop and rinse).

use super::sample::{Book, MARA, TOBIAS, at, clear, sign, start};
use super::{Command, Happened, NextAct, Refusal};
use crate::domain::protocol::HoldPoint;

fn stopped(forbids: bool) -> Book {
    let mut book = Book::applied();
    book.frame.products[0].forbids_closing_after_stop = forbids;
    book.fact(14, 14, Happened::StopRecorded);
    book.fact(16, 16, clear("rinse-a"));
    book.must(17, MARA, Command::ReadStop { whole: true, early: true });
    book.must(17, MARA, sign("neutralise", HoldPoint::Gloves, "nitrile-new-pair-intact"));
    book
}

#[test]
fn closing_is_offered_after_a_stop() {
    let mut book = stopped(false);
    assert_eq!(book.state().headline(at(18)).act, NextAct::StartStep("neutralise".into()));
    assert_eq!(book.try_at(18, TOBIAS, Command::FinishRun), Err(vec![Refusal::HairLeftOpen]));
    book.must(18, MARA, start("neutralise"));
}

#[test]
fn a_sheet_that_forbids_it_leaves_water_help_and_a_stylist_who_signs() {
    let mut book = stopped(true);
    let said = book.state().headline(at(18));
    assert!(said.danger && said.now.contains("forbids closing"), "{said:?}");
    assert!(
        said.next.as_deref().is_some_and(|n| n.contains("medical help") && n.contains("a stylist signs"))
    );
    assert_eq!(said.act, NextAct::CloseStop);
    for who in [MARA, TOBIAS] {
        assert_eq!(book.try_at(18, who, start("neutralise")), Err(vec![Refusal::SheetForbidsClosing]));
    }
    assert!(book.state().track(at(18)).blocks.iter().all(|b| b.begun || b.title != "neutralise"));
    // Rinsing is never shut out, and a closing kept without contact is on record.
    book.must(19, MARA, start("rinse-a"));
    assert!(matches!(book.try_at(20, MARA, Command::FinishRun), Err(why) if why.len() == 1));
    book.must(20, TOBIAS, Command::FinishRun);
}

#[test]
fn it_is_asked_first_how_the_skin_is_and_a_stop_that_was_ended_forbids_nothing() {
    let mut book = Book::applied();
    book.frame.products[0].forbids_closing_after_stop = true;
    assert!(!book.state().sheet_forbids_closing(), "nothing was stopped");
    book.fact(14, 14, Happened::StopRecorded);
    book.fact(16, 16, clear("rinse-a"));
    assert_eq!(book.state().headline(at(17)).act, NextAct::ReadStop);
    assert_eq!(book.try_at(17, TOBIAS, Command::FinishRun), Err(vec![Refusal::HairLeftOpen]));
    book.must(18, MARA, Command::ReadStop { whole: true, early: true });
    book.must(19, TOBIAS, Command::CloseStop { reason: "a drop on the cape".into() });
    assert!(!book.state().sheet_forbids_closing());
}

#[test]
fn the_sheet_of_a_product_that_never_touched_forbids_nothing() {
    let mut book = stopped(false);
    book.frame.products[1].forbids_closing_after_stop = true;
    assert!(!book.state().sheet_forbids_closing());
}
