//! A permission that a wrong tap got is taken back while nothing rests on it. The database says the same
//! (`tests/it/wrong_taps.rs`).

use super::command::Command;
use super::event::Happened;
use super::refusal::Refusal;
use super::sample::*;
use super::state::GivenKind;
use super::value::HeadPlace;
use crate::domain::ids::LotId;
use crate::domain::protocol::{HoldPoint, Section};

fn back(seq: i64) -> Command {
    Command::TakeBack { seq, reason: "tapped by mistake".into() }
}

fn last(book: &Book) -> i64 {
    book.events.last().expect("something is on record").seq
}

#[test]
fn a_step_begun_by_mistake_was_not_begun_and_the_one_before_goes_on() {
    let mut book = Book::winding();
    for (min, section) in (40..).zip(Section::QUADRANTS) {
        book.fact(min, min, touched("wind", section, 1));
    }
    book.must(44, TOBIAS, start("process"));
    book.must(45, MARA, start("rinse-b"));
    let wrong = last(&book);
    book.must(45, MARA, back(wrong));
    assert_eq!(book.state().step_in_hand().map(|s| s.code.as_str()), Some("process"));
    assert!(!book.state().running().iter().any(|c| c.rinsing), "the bells ring again");
    assert_eq!(book.try_at(45, MARA, back(wrong)), Err(vec![Refusal::NotWithdrawable]), "once");
    book.must(60, MARA, start("rinse-b"));
    book.fact(61, 61, clear("rinse-b"));
    let rinse = last(&book) - 1;
    assert_eq!(book.try_at(61, MARA, back(rinse)), Err(vec![Refusal::TooLateToTakeBack]), "water has run");
}

#[test]
fn an_opening_step_may_be_unbegun_for_three_minutes_while_nobody_touched() {
    let mut book = Book::ready();
    book.must(1, TOBIAS, start("apply-1"));
    let begun = last(&book);
    let mut touched_one = book.clone();
    touched_one.fact(2, 2, touched("apply-1", Section::BackRight, 1));
    assert_eq!(touched_one.try_at(2, TOBIAS, back(begun)), Err(vec![Refusal::TooLateToTakeBack]));
    let mut late = book.clone();
    assert_eq!(late.try_at(5, TOBIAS, back(begun)), Err(vec![Refusal::TooLateToTakeBack]));
    let mut stopped = book.clone();
    stopped.fact(2, 2, Happened::StopRecorded);
    assert_eq!(stopped.try_at(2, TOBIAS, back(begun)), Err(vec![Refusal::TooLateToTakeBack]));
    book.must(4, TOBIAS, back(begun));
    assert!(book.state().exposures.is_empty() && book.state().openings.is_empty());
    book.must(5, TOBIAS, start("apply-1"));
    assert!(book.state().product_on());
}

#[test]
fn a_good_answer_is_asked_again_and_one_that_stops_stands() {
    let mut book = Book::ready();
    let answer = |book: &Book, point| {
        let of = |g: &&super::state::Given| matches!(&g.what, GivenKind::Answered(_, p) if *p == point);
        book.state().given.iter().rev().find(of).map(|g| g.seq)
    };
    let scalp = answer(&book, HoldPoint::Scalp).expect("read");
    book.must(1, TOBIAS, back(scalp));
    let why = book.try_at(1, TOBIAS, start("apply-1")).expect_err("not read");
    assert_eq!(why, [Refusal::HoldPointMissing { hold_point: HoldPoint::Scalp, lapsed: false }]);
    book.must(2, TOBIAS, sign("apply-1", HoldPoint::Scalp, "red"));
    let red = last(&book);
    assert_eq!(book.try_at(2, TOBIAS, back(red)), Err(vec![Refusal::NotWithdrawable]));
    assert_eq!(answer(&book, HoldPoint::Plan), None, "what records say is no tap");
}

#[test]
fn a_bowl_goes_with_its_answer_until_its_product_is_on() {
    let mut book = Book::ready();
    book.must(0, MARA, Command::DispenseLot { application: 'A', lot: LotId(401), grams: 600.0 });
    let of_a = |book: &Book| book.state().dispensed.iter().filter(|d| d.application == 'A').count();
    assert_eq!(of_a(&book), 2);
    let wrong = book.state().dispensed.iter().find(|d| d.grams > 500.0).map(|d| d.seq).expect("600 g");
    book.must(0, MARA, back(wrong));
    assert_eq!(of_a(&book), 1);
    let first = book.state().dispensed.iter().find(|d| d.application == 'A').map(|d| d.seq).expect("62 g");
    let mut empty = book.clone();
    empty.must(0, MARA, back(first));
    let why = empty.try_at(1, TOBIAS, start("apply-1")).expect_err("nothing in the bowl");
    assert!(why.contains(&Refusal::LotNotDispensed { application: 'A' }), "{why:?}");
    book.must(1, TOBIAS, start("apply-1"));
    assert_eq!(book.try_at(1, MARA, back(first)), Err(vec![Refusal::TooLateToTakeBack]));
}

#[test]
fn rods_noted_wrongly_are_noted_again() {
    let mut book = Book::winding();
    let rods = |count| Happened::RodsNoted { count, first_at: HeadPlace::Nape, last_at: HeadPlace::Crown };
    let wrong = book.fact(50, 50, rods(60));
    book.fact(51, 51, Happened::FactWithdrawn { fact_id: wrong, reason: "miscounted".into() });
    assert_eq!(book.state().rods, None);
    book.fact(52, 52, rods(72));
    assert_eq!(book.state().rods.map(|r| r.count), Some(72));
}

#[test]
fn the_same_pair_of_gloves_is_the_same_hands_and_no_water_since() {
    let mut book = Book::ready();
    let same = |step| sign(step, HoldPoint::Gloves, "same-pair-intact");
    book.must(1, TOBIAS, same("apply-1"));
    assert_eq!(book.try_at(1, MARA, same("apply-1")), Err(vec![Refusal::GlovesNotTheSame]));
    book.must(2, TOBIAS, start("apply-1"));
    book.fact(3, 3, clear("rinse-a"));
    assert_eq!(book.try_at(4, TOBIAS, same("wind")), Err(vec![Refusal::GlovesNotTheSame]));
    book.must(5, TOBIAS, sign("wind", HoldPoint::Gloves, "nitrile-new-pair-intact"));
    book.must(5, TOBIAS, sign("wind", HoldPoint::Gloves, "torn"));
    assert_eq!(book.try_at(6, TOBIAS, same("wind")), Err(vec![Refusal::GlovesNotTheSame]));
}
