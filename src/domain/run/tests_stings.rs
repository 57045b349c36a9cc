//! A complaint is answered for before anything more goes on; a stop's water is counted. The database says the same
//! (`tests/it/wrong_taps.rs`).

use super::breach::Breach;
use super::command::Command;
use super::event::Happened;
use super::headline::NextAct;
use super::refusal::Refusal;
use super::sample::*;
use super::value::HeadPlace;
use crate::domain::protocol::{Clock, HoldPoint, Section};

const HAIRLINE: HeadPlace = HeadPlace::Hairline;

fn stung() -> Book {
    let mut book = Book::ready();
    book.must(0, TOBIAS, start("apply-1"));
    for (min, section) in (0..).zip(Section::QUADRANTS) {
        book.fact(min, min, touched("apply-1", section, 1));
    }
    book.fact(4, 4, Happened::StingReported { place: HAIRLINE });
    book
}

#[test]
fn a_place_that_is_no_section_is_rinsed_by_itself_then_looked_at() {
    let mut book = stung();
    let said = book.state().headline(at(4));
    assert!(said.danger && said.now.contains("hairline"), "{said:?}");
    assert_eq!(said.in_hand.as_deref(), Some("apply-1"), "the step's own name stays");
    assert_eq!(said.act, NextAct::RinsePlace { place: HAIRLINE });
    // "Intact" before any water does not answer for it.
    book.must(5, TOBIAS, sign("apply-1", HoldPoint::Scalp, "intact"));
    assert_eq!(book.state().headline(at(5)).act, NextAct::RinsePlace { place: HAIRLINE });
    let why = book.try_at(5, TOBIAS, start("apply-2")).expect_err("it stings");
    assert!(why.contains(&Refusal::StingNotRinsed { place: HAIRLINE }), "{why:?}");
    book.fact(6, 6, Happened::PlaceRinsed { place: HAIRLINE });
    assert!(book.state().product_on(), "no clock of a quadrant ends with it");
    let said = book.state().headline(at(6));
    assert!(said.danger && said.act == NextAct::ReadScalp, "{said:?}");
    let why = book.try_at(6, TOBIAS, start("apply-2")).expect_err("not read since");
    assert_eq!(why, [Refusal::HoldPointMissing { hold_point: HoldPoint::Scalp, lapsed: true }]);
    book.must(7, TOBIAS, sign("apply-1", HoldPoint::Scalp, "intact"));
    assert_eq!((book.state().open_sting(), book.state().alarm()), (None, None));
    assert!(!book.state().headline(at(7)).danger);
    book.must(7, TOBIAS, start("apply-2"));
    assert_eq!(book.state().breaches(at(8)), [], "in time");
}

#[test]
fn water_of_another_place_answers_for_nothing_and_the_whole_head_for_all() {
    let mut book = stung();
    book.fact(
        5,
        5,
        Happened::SectionRinsed { step: "apply-1".into(), section: Some(Section::BackLeft), clear: true },
    );
    book.fact(5, 5, Happened::PlaceRinsed { place: HeadPlace::Ear });
    assert_eq!(book.state().headline(at(5)).act, NextAct::RinsePlace { place: HAIRLINE });
    book.fact(6, 6, clear("rinse-a"));
    assert_eq!(book.state().headline(at(6)).act, NextAct::ReadScalp);
}

#[test]
fn a_complaint_that_nobody_rinsed_in_time_and_product_put_on_after_it_are_on_record() {
    let mut book = stung();
    let unrinsed = Breach::StingNotRinsed { place: HAIRLINE, at: at(4), rinsed: None };
    assert_eq!(book.state().breaches(at(6)), [], "a hand has two minutes");
    assert_eq!(book.state().breaches(at(7)), [unrinsed]);
    // A tap is never refused: it has happened, and is on record as what it was.
    book.must(7, TOBIAS, sign("apply-1", HoldPoint::Scalp, "intact"));
    book.fact(8, 8, touched("apply-1", Section::BackLeft, 1));
    book.fact(12, 12, Happened::PlaceRinsed { place: HAIRLINE });
    let found = book.state().breaches(at(12));
    assert!(
        found.contains(&Breach::TouchedAfterSting { section: Section::BackLeft, at: at(8) }),
        "{found:?}"
    );
    assert!(found.contains(&Breach::StingNotRinsed { place: HAIRLINE, at: at(4), rinsed: Some(at(12)) }));
    let words =
        found.iter().map(|b| b.words(&book.frame.protocol, &|i| format!("{}:{:02}", i.hour(), i.minute())));
    assert!(
        words.collect::<Vec<_>>().contains(&"It stung at 13:44, hairline: rinsed only at 13:52.".to_owned())
    );
}

/// trade-rules.md, first aid: cool running water, 20 minutes at least (published).
#[test]
fn the_water_after_a_stop_counts_from_when_it_was_put_on() {
    let mut book = Book::applied();
    book.fact(14, 14, Happened::StopRecorded);
    assert_eq!(book.state().water_until(), None);
    assert_eq!(book.state().headline(at(14)).act, NextAct::WaterOn { step: "rinse-a".into() });
    book.fact(16, 16, Happened::SectionRinsed { step: "rinse-a".into(), section: None, clear: false });
    assert_eq!(book.state().headline(at(16)).act, NextAct::RinseClear { step: "rinse-a".into() });
    book.fact(17, 17, clear("rinse-a"));
    assert_eq!(book.state().water_until(), Some(at(36)));
    let said = book.state().headline(at(18));
    assert!(said.danger && said.now.contains("keep the water running"), "{said:?}");
    let whole = |early| Command::ReadStop { whole: true, early };
    assert_eq!(
        book.try_at(18, MARA, whole(false)),
        Err(vec![Refusal::WaterTooShort { until: Some(at(36)) }])
    );
    let mut late = book.clone();
    late.must(36, MARA, whole(false));
    assert_eq!(late.state().breaches(at(37)), []);
    book.must(18, MARA, whole(true));
    assert_eq!(book.state().breaches(at(19)), [Breach::WaterShort { at: at(18), ran_s: 120 }]);
}

#[test]
fn a_stopped_head_is_foreseen_to_be_rinsed_and_closed_and_nothing_else() {
    let mut book = Book::applied();
    book.fact(14, 14, Happened::StopRecorded);
    let ahead = |book: &Book, min| {
        let blocks = book.state().track(at(min)).blocks;
        blocks.into_iter().filter(|b| !b.begun).map(|b| b.title).collect::<Vec<_>>()
    };
    assert_eq!(ahead(&book, 15), ["rinse-a"]);
    book.fact(16, 16, clear("rinse-a"));
    assert_eq!(ahead(&book, 17), Vec::<String>::new());
    book.must(17, MARA, Command::ReadStop { whole: true, early: true });
    // No rod was wound: there is none to saturate.
    assert_eq!(
        ahead(&book, 18),
        ["neutralise the hair as it lies, no rods are in", "let the neutraliser work"]
    );
    let said = book.state().headline(at(18));
    assert_eq!(said.now, "Stopped and rinsed: neutralise the hair as it lies, no rods are in");
}

#[test]
fn an_answer_that_stops_does_so_also_once_product_is_on() {
    for (point, value) in [(HoldPoint::Scalp, "red"), (HoldPoint::PatchTest, "reaction-since")] {
        let mut book = Book::applied();
        book.must(11, TOBIAS, sign("apply-2", point, value));
        assert!(book.state().stop.is_some(), "{value}");
    }
}

#[test]
fn work_that_would_end_too_soon_is_asked_about_and_on_record() {
    let mut book = Book::winding();
    for (min, section) in (40..).zip(Section::QUADRANTS) {
        book.fact(min, min, touched("wind", section, 1));
    }
    book.must(44, TOBIAS, start("process"));
    let rinse = NextAct::StartStep("rinse-b".into());
    let early = book.state().ends_early(&rinse, at(45)).expect("far before its shortest");
    assert_eq!(
        (early.step.as_str(), early.clock, early.worked.whole_minutes()),
        ("process", Clock::Phase, 1)
    );
    assert_eq!(early.of.whole_minutes(), 10);
    assert_eq!(book.state().ends_early(&rinse, at(54)), None);
    // Whoever rinses all the same is never refused.
    book.must(45, MARA, start("rinse-b"));
    book.fact(46, 46, clear("rinse-b"));
    let found = book.state().breaches(at(47));
    let short = Breach::EndedEarly { step: "process".into(), clock: Clock::Phase, worked_s: 60, of_s: 600 };
    assert!(found.contains(&short), "{found:?}");
}

#[test]
fn past_the_window_no_quadrant_is_led_to_and_smoothing_is_open() {
    let mut book = Book::ready();
    book.must(0, TOBIAS, start("apply-1"));
    book.fact(0, 0, touched("apply-1", Section::BackRight, 1));
    let said = book.state().headline(at(16));
    assert_eq!(said.next.as_deref(), Some("Start no new quadrant, smooth from the first"));
    assert_eq!(said.act, NextAct::StartStep("cover".into()));
    book.must(16, TOBIAS, start("cover"));
    book.must(17, TOBIAS, start("smooth"));
    assert!(book.try_at(17, TOBIAS, start("wind")).is_err(), "nothing opening jumps a turn");
}

#[test]
fn a_head_over_its_longest_waits_for_no_place_in_the_order() {
    let mut book = Book::applied();
    book.must(12, TOBIAS, start("cover"));
    let late = book.state().passed(at(60)).expect("42 minutes at most, from first touch");
    assert_eq!(
        (late.at, late.clock),
        (at(42), Clock::Exposure),
        "from first touch, before the cover's own 15"
    );
    let line = book.state().line(at(60));
    assert!(line.turns[0].rinse && line.turns[0].in_hand && line.turns[0].ready == at(60), "{line:?}");
    book.must(60, MARA, start("rinse-a"));
    assert_eq!(book.state().passed(at(61)), None, "being rinsed");
}
