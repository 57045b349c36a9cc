//! After a stop was ended: what the model search (`tests/model`) found, each as one small case.

use super::Command;
use super::event::Happened;
use super::refusal::Refusal;
use super::sample::*;
use super::value::Instant;
use crate::domain::protocol::HoldPoint;

/// Straightener on at 0, stopped at 3, rinsed clear at 4, read whole at 5.
fn stopped_and_read() -> Book {
    let mut book = Book::ready();
    book.must(0, TOBIAS, start("apply-1"));
    book.fact(3, 3, Happened::StopRecorded);
    book.fact(4, 4, clear("rinse-a"));
    book.must(5, TOBIAS, Command::ReadStop { whole: true, early: true });
    book
}

fn close_stop() -> Command {
    Command::CloseStop { reason: "looked at, nothing found".into() }
}

/// Ended at 6 and every hold point of the first pass answered again.
fn resumed() -> Book {
    let mut book = stopped_and_read();
    book.must(6, TOBIAS, close_stop());
    for (point, value) in [
        (HoldPoint::Scalp, "intact"),
        (HoldPoint::PatchTest, "no-reaction-since"),
        (HoldPoint::Base, "scalp-and-hairline-covered"),
        (HoldPoint::HairDry, "dry"),
        (HoldPoint::Gloves, "nitrile-new-pair-intact"),
    ] {
        book.must(7, TOBIAS, sign("apply-1", point, value));
    }
    let lot = crate::domain::ids::LotId(401);
    book.must(7, TOBIAS, Command::DispenseLot { application: 'A', lot, grams: 30.0 });
    book
}

#[test]
fn a_stop_that_comes_after_the_reading_is_read_again_before_it_is_ended() {
    let mut book = stopped_and_read();
    // Kept at another station since minute 2, or pressed again at 6: either way not yet read.
    book.fact(6, 2, Happened::StopRecorded);
    assert_eq!(book.try_at(6, TOBIAS, close_stop()), Err(vec![Refusal::StopReadingMissing]));
    book.must(7, TOBIAS, Command::ReadStop { whole: true, early: true });
    book.must(7, TOBIAS, close_stop());
}

#[test]
fn a_step_begun_again_has_product_on_though_nobody_taps() {
    let mut book = resumed();
    assert!(!book.state().product_on());
    book.must(10, TOBIAS, start("apply-1"));
    assert!(book.state().product_on());
    assert_eq!(since(&book), Some(at(10)));
    // The first tap says when it touched; a rinse ends it.
    book.fact(13, 12, touched("apply-1", crate::domain::protocol::Section::BackRight, 1));
    assert_eq!(since(&book), Some(at(12)));
    book.fact(20, 20, clear("rinse-a"));
    assert!(!book.state().product_on());
}

fn since(book: &Book) -> Option<Instant> {
    let state = book.state();
    let section = &state.exposure('A')?.sections[0];
    section.spells.last().filter(|s| s.end.is_none()).map(|s| s.start)
}

#[test]
fn hair_that_is_being_closed_is_not_opened_again() {
    let mut book = stopped_and_read();
    book.fact(6, 5, Happened::ClosingStarted { step: "neutralise".into(), answers: Vec::new() });
    book.must(7, TOBIAS, close_stop());
    let refused = book.try_at(8, TOBIAS, start("apply-1")).expect_err("closed hair");
    let first = "neutralise".to_owned();
    assert!(refused.contains(&Refusal::StepOutOfTurn { step: "apply-1".into(), first }), "{refused:?}");
}

/// A window holds the passes of one try together; a try after a stop, on hair that ran clear, has its own. What was on
/// before still counts against the longest allowed: 4 minutes then, so 42 are reached at 12 + 42 - 4.
#[test]
fn a_try_begun_again_has_its_own_window_and_all_contact_adds_up() {
    let mut book = resumed();
    book.must(30, TOBIAS, start("apply-1"));
    let right = crate::domain::protocol::Section::BackRight;
    book.fact(31, 31, touched("apply-1", right, 1));
    assert_eq!(book.state().window_shuts_at(), Some(at(31 + 15)), "not 0 + 15");
    assert_eq!(book.state().exposure('A').and_then(|e| e.reaches_at(42)), Some(at(31 + 42 - 4)));
    let second =
        [(HoldPoint::Base, "scalp-and-hairline-covered"), (HoldPoint::Gloves, "nitrile-new-pair-intact")];
    for (point, value) in second {
        book.must(32, TOBIAS, sign("apply-2", point, value));
    }
    let refused = book.try_at(46, TOBIAS, start("apply-2")).expect_err("the window has shut");
    assert_eq!(refused, [Refusal::WindowShut { at: at(46) }]);
    book.must(45, TOBIAS, start("apply-2"));
    book.fact(45, 45, touched("apply-2", right, 2));
    let missed = |book: &Book| {
        let breaches = book.state().breaches(at(60));
        breaches.iter().any(|b| matches!(b, super::Breach::WindowMissed { .. }))
    };
    assert!(!missed(&book));
    book.fact(47, 47, touched("apply-2", crate::domain::protocol::Section::BackLeft, 2));
    assert!(missed(&book), "46 has gone by");
}

/// What was seen before the stop says nothing of what went on after it.
#[test]
fn a_look_before_the_stop_does_not_end_the_next_try() {
    let mut book = stopped_and_read();
    let curl =
        Happened::TestCurlRead { rod: super::value::Rod::First, reading: super::value::CurlReading::S };
    book.fact(5, 3, curl.clone());
    book.must(6, TOBIAS, close_stop());
    let mut again = resumed();
    again.fact(8, 3, curl);
    again.must(10, TOBIAS, start("apply-1"));
    assert_eq!(again.state().curl_says_rinse(), None);
    assert_eq!(book.state().curl_says_rinse(), None, "nothing is on");
}

/// A tap that comes late with an instant before the stop was ended, after the water: that product was never rinsed.
#[test]
fn what_was_never_rinsed_keeps_the_first_window() {
    let mut book = resumed();
    book.fact(8, 5, touched("apply-1", crate::domain::protocol::Section::BackLeft, 1));
    let state = book.state();
    let exposure = state.exposure('A').expect("it touched");
    assert!(exposure.is_open());
    assert_eq!(state.try_began(exposure, at(30)), at(5));
}
