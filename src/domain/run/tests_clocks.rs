//! Clocks, bells, words and tracks by example.

use super::bells::BellKind;
use super::breach::Breach;
use super::event::Happened;
use super::headline::{NextAct, Window};
use super::refusal::Refusal;
use super::sample::*;
use super::track::{Wanted, collisions};
use super::value::{Comfort, CurlReading, Rod};
use crate::domain::protocol::{Clock, Look, Place, Section, Source, Times};
use time::Duration;

#[test]
fn overruns_are_on_record_also_after_a_late_rinse() {
    let mut book = Book::applied();
    let over = |book: &Book, min| {
        book.state().breaches(at(min)).iter().filter(|b| matches!(b, Breach::MostPassed { .. })).count()
    };
    assert_eq!((over(&book, 42), over(&book, 43), over(&book, 50)), (0, 1, 4));
    book.fact(50, 44, clear("rinse-a"));
    assert_eq!(over(&book, 99), 2, "back right since 42, back left since 43");
    book.fact(99, 41, clear("rinse-a"));
    assert_eq!(over(&book, 99), 0, "the fold goes by when it happened");
}

#[test]
fn taking_a_rinse_back_reopens_the_clock() {
    let mut book = Book::applied();
    let rinse = book.fact(30, 30, clear("rinse-a"));
    assert!(!book.state().product_on());
    book.fact(31, 31, Happened::FactWithdrawn { fact_id: rinse, reason: "wrong client".into() });
    assert!(book.state().product_on());
    assert_eq!(book.state().exposure('A').map(|e| e.longest(at(40))), Some(Duration::minutes(40)));
}

#[test]
fn bells_ring_before_at_and_after_and_only_rinsing_ends_the_last() {
    let mut book = Book::applied();
    let kinds = |book: &Book, from, to| {
        book.state()
            .bells_between(at(from), at(to))
            .into_iter()
            .filter(|b| b.clock == Clock::Exposure)
            .map(|b| (b.at, b.kind))
            .collect::<Vec<_>>()
    };
    let first: Vec<_> =
        vec![(at(36), BellKind::Soon), (at(37), BellKind::Target), (at(38), BellKind::Target)];
    assert_eq!(kinds(&book, 30, 38), first);
    assert_eq!(book.state().next_bell(at(10)).map(|b| (b.at, b.kind)), Some((at(36), BellKind::Soon)));
    let taken = |book: &mut Book, min| {
        let (step, clock) = ("apply-1".into(), Clock::Exposure);
        book.fact(min, min, Happened::BellAnswered { step, clock, comfort: Comfort::No, place: None })
    };
    taken(&mut book, 38);
    assert_eq!(kinds(&book, 38, 43), [(at(42), BellKind::Most), (at(43), BellKind::Most)]);
    taken(&mut book, 43);
    assert!(kinds(&book, 43, 44) == [(at(44), BellKind::Most)], "taking it does not silence it");
    assert!(book.state().ringing(at(44)).iter().any(|b| b.kind == BellKind::Most));
    assert_eq!(book.state().headline(at(44)).now, "Rinse now");
    book.must(45, MARA, start("cover"));
    book.must(45, MARA, start("rinse-a"));
    assert_eq!(book.state().ringing(at(46)), []);
}

#[test]
fn test_curls_rule_the_lotion() {
    let mut book = Book::winding();
    let state = book.state();
    let clock = state.running().into_iter().find(|c| c.clock == Clock::Exposure).expect("lotion is on");
    // Also while winding: the first rod is belled at the least time (10, handbook).
    assert_eq!(state.test_curl_due(&clock), Some(at(50)));
    assert_eq!(state.headline(at(50)).act, NextAct::ReadCurl);
    book.fact(51, 51, Happened::TestCurlRead { rod: Rod::First, reading: CurlReading::C });
    // Re-check every 2–3 minutes (common practice, no source).
    assert_eq!(book.state().test_curl_due(&clock), Some(at(53)));
    let mut over = book.clone();
    let s = book.fact(53, 53, Happened::TestCurlRead { rod: Rod::Weakest, reading: CurlReading::S });
    assert!(book.state().headline(at(53)).now.contains("rinse the whole head"));
    book.fact(54, 54, Happened::FactWithdrawn { fact_id: s, reason: "tapped the wrong one".into() });
    assert!(book.state().curl_says_rinse().is_none());
    over.fact(53, 53, Happened::TestCurlRead { rod: Rod::Last, reading: CurlReading::Over });
    let state = over.state();
    assert_eq!(state.headline(at(53)).now, "Over: rinse now");
    assert!(state.breaches(at(53)).contains(&Breach::CurlOver { rod: Rod::Last, at: at(53) }));
    // Not S at the most: rinse anyway. First touch at 40, 65 at most.
    assert_eq!(book.state().headline(at(105)).now, "Rinse now");
}

#[test]
fn a_sheet_without_a_shortest_time_silences_no_test_curl() {
    // published.md §5: fine, porous or treated hair is looked at from 5 minutes (consumer pages).
    let mut book = Book::winding();
    let wind = book.frame.protocol.steps.iter_mut().find(|s| s.application == Some('B') && s.is_opening());
    let wind = wind.expect("lotion goes on");
    wind.exposure = wind.exposure.map(|t| Times { least_min: None, ..t });
    wind.look = wind.look.map(|l| Look { from_min: Some(5), ..l });
    let state = book.state();
    let clock = state.running().into_iter().find(|c| c.clock == Clock::Exposure).expect("lotion is on");
    assert_eq!((clock.least_at, state.test_curl_due(&clock)), (None, Some(at(45))));
    assert!(state.ringing(at(45)).iter().any(|b| b.kind == BellKind::TestCurl));
}

#[test]
fn both_passes_in_fifteen_minutes_under_four_minutes_a_quadrant() {
    // trade-rules.md, check values (common practice, no source).
    let mut slow = Book::ready();
    slow.must(0, TOBIAS, start("apply-1"));
    assert!(matches!(slow.state().window(at(0)), Some(Window::Kept { shuts_at }) if shuts_at == at(15)));
    for (min, section) in [(0, Section::BackRight), (4, Section::BackLeft), (8, Section::FrontLeft)] {
        slow.fact(min, min, touched("apply-1", section, 1));
    }
    let state = slow.state();
    assert_eq!(state.window(at(8)).and_then(Window::words), Some("Call second hands"));
    slow.must(14, TOBIAS, start("apply-2"));
    assert_eq!(
        slow.state().window(at(15)).and_then(Window::words),
        Some("Start no new quadrant, smooth from the first")
    );
    slow.fact(16, 16, touched("apply-2", Section::BackRight, 2));
    let missed = Breach::WindowMissed { application: 'A', section: Section::BackRight, pass: 2 };
    assert!(slow.state().breaches(at(16)).contains(&missed));
    let quick = Book::applied();
    assert!(matches!(quick.state().window(at(9)), Some(Window::Kept { .. })), "under 4 minutes a quadrant");
    let mut late = Book::ready();
    late.must(0, TOBIAS, start("apply-1"));
    assert_eq!(late.try_at(15, TOBIAS, start("apply-2")), Err(vec![Refusal::WindowShut { at: at(15) }]));
}

#[test]
fn the_headline_says_what_is_in_hand_then_what_is_next() {
    let mut book = Book::ready();
    book.must(0, TOBIAS, start("apply-1"));
    let h = book.state().headline(at(0));
    assert_eq!((h.now.as_str(), h.next.as_deref()), ("apply-1", Some("back right")));
    book.fact(1, 1, touched("apply-1", Section::BackRight, 1));
    let h = book.state().headline(at(1));
    assert_eq!((h.now.as_str(), h.next.as_deref()), ("apply-1: back right", Some("back left")));
}

#[test]
fn two_rinses_and_one_basin_are_seen_ahead() {
    let mut one = Book::applied();
    one.must(10, TOBIAS, start("cover"));
    let track = one.state().track(at(12));
    let rinse = track.blocks.iter().find(|b| b.step.as_str() == "rinse-a").expect("predicted");
    // Covered from 10 to 20, smoothed to 30, rinsing by the target at 37; at the latest at 42.
    assert_eq!((rinse.start, rinse.latest_start), (at(30), Some(at(42))));
    let tracks = [track.clone(), track];
    let found = collisions(&tracks, &[(Place::Basin, 1)], 9, at(12));
    // Both put off to 42, the longest allowed: 13:40 and 42 minutes.
    assert_eq!(found[0].at, at(42));
    let words = found[0].words(&|i| format!("{:02}:{:02}", i.hour(), i.minute()));
    assert_eq!(words, "14:22 two rinses, one basin");
    // A client in a chair needs no other: two at work in one chair's salon are two who have one each.
    let basin_alone = collisions(&tracks, &[(Place::Basin, 1), (Place::Chair, 1)], 9, at(12));
    assert_eq!(basin_alone, found);
    assert_eq!(collisions(&tracks, &[(Place::Basin, 2)], 9, at(12)), []);
    // Winding holds two pairs of hands.
    let hands = collisions(&tracks, &[], 3, at(12));
    assert!(hands.iter().any(|c| c.wanted == Wanted::Hands && c.needed == 4 && c.there == 3), "{hands:?}");
}

#[test]
fn the_sheet_only_tightens_and_a_default_is_never_called_sheet() {
    let mut f = frame();
    let figures = |f: &super::RunFrame| f.figures(&"cover".into(), Clock::Phase).expect("a clock");
    assert_eq!(figures(&f).most_min, Some(15));
    assert_ne!(figures(&f).most_source, Source::Sheet);
    let mut times = f.sheet[0].clone();
    times.step = "cover".into();
    times.clock = Clock::Phase;
    times.target_min = None;
    times.most_min = Some(30);
    f.sheet.push(times);
    assert_eq!(figures(&f).most_min, Some(15), "never loosened");
    f.sheet[1].most_min = Some(8);
    assert_eq!((figures(&f).target_min, figures(&f).most_min), (Some(8), Some(8)));
    assert_eq!(figures(&f).most_source, Source::Sheet);
}
