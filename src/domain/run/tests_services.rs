//! What the other services bring to a run: looks, mixtures, ceilings, strengths, sections beyond the quadrants.

use super::bells::BellKind;
use super::breach::Breach;
use super::event::Happened;
use super::headline::NextAct;
use super::refusal::Refusal;
use super::sample::{Book, MARA, START, TOBIAS, at, sign, start, touched};
use super::value::{HeadPlace, Progress};
use crate::domain::chemistry::Strength;
use crate::domain::protocol::{Clock, HoldPoint, Look, LookFor, Mark, Section, Source};

fn watched() -> Book {
    let mut book = Book::applied();
    book.frame.protocol.steps[1].look =
        Some(Look { what: LookFor::CombBack, every_min: 3, from_min: Some(5), mark: Mark::CommonPractice });
    book
}

fn looked(section: Section, reading: Progress) -> Happened {
    Happened::ProgressRead { look: LookFor::CombBack, section, reading }
}

#[test]
fn a_look_is_belled_until_it_is_reached_and_reached_anywhere_means_rinse() {
    // trade-rules.md, hydroxide: comb-back check; lightener: watched every few minutes (handbook, common practice).
    let mut book = watched();
    let due = |book: &Book| {
        let state = book.state();
        let clock = state.running().into_iter().find(|c| c.clock == Clock::Exposure).expect("product is on");
        state.look_due(&clock)
    };
    assert_eq!(due(&book), Some(at(5)));
    assert_eq!(book.state().headline(at(10)).act, NextAct::ReadLook(LookFor::CombBack));
    assert!(book.state().ringing(at(10)).iter().any(|b| b.kind == BellKind::Look));
    book.fact(10, 10, looked(Section::BackRight, Progress::NotYet));
    assert_eq!(due(&book), Some(at(13)));
    assert!(book.state().ringing(at(11)).iter().all(|b| b.kind != BellKind::Look));
    let mut over = book.clone();
    let reached = book.fact(13, 13, looked(Section::FrontLeft, Progress::Reached));
    let headline = book.state().headline(at(13));
    assert!(headline.danger && headline.now.contains("front left"), "{headline:?}");
    assert_eq!(due(&book), None);
    book.fact(14, 14, Happened::FactWithdrawn { fact_id: reached, reason: "tapped the wrong one".into() });
    assert!(book.state().look_says_rinse().is_none());
    over.fact(13, 13, looked(Section::FrontLeft, Progress::Over));
    assert_eq!(over.state().headline(at(13)).now, "Over: rinse now");
    let went = Breach::WentOver { section: Section::FrontLeft, at: at(13) };
    assert!(over.state().breaches(at(13)).contains(&went));
}

#[test]
fn nothing_more_goes_on_once_a_look_says_rinse() {
    let mut book = Book::ready();
    book.frame.protocol.steps[1].look = watched().frame.protocol.steps[1].look;
    book.must(0, TOBIAS, start("apply-1"));
    book.fact(0, 0, touched("apply-1", Section::BackRight, 1));
    book.fact(4, 4, looked(Section::BackRight, Progress::Reached));
    let refused = book.try_at(5, TOBIAS, start("apply-2")).expect_err("rinse");
    assert!(refused.contains(&Refusal::RinseDue), "{refused:?}");
}

#[test]
fn a_mixture_holds_for_its_step_and_by_its_sheet_for_as_long_as_that() {
    // trade-rules.md, guanidine: mixed for this head, used within the sheet's time, rest thrown away (handbook).
    let mixed = |life| {
        let mut book = Book::ready();
        for step in [1, 2] {
            book.frame.protocol.steps[step].hold_points.push(HoldPoint::Mixed);
        }
        book.frame.products[0].mixed_life_min = life;
        book
    };
    let missing = |lapsed| Refusal::HoldPointMissing { hold_point: HoldPoint::Mixed, lapsed };
    let mut book = mixed(None);
    assert!(book.try_at(0, TOBIAS, start("apply-1")).expect_err("not mixed").contains(&missing(false)));
    book.must(0, MARA, sign("apply-1", HoldPoint::Mixed, "now-for-this-head"));
    book.must(1, TOBIAS, start("apply-1"));
    assert!(book.try_at(3, TOBIAS, start("apply-2")).expect_err("another step").contains(&missing(true)));
    for (min, holds) in [(10, true), (11, false)] {
        let mut book = mixed(Some(10));
        book.must(0, MARA, sign("apply-1", HoldPoint::Mixed, "now-for-this-head"));
        book.must(0, TOBIAS, start("apply-1"));
        let refused = book.try_at(min, TOBIAS, start("apply-2")).err().unwrap_or_default();
        let dead = Refusal::MixtureDead { application: 'A', until: at(10) };
        assert_eq!(!refused.contains(&dead), holds, "{min}: {refused:?}");
    }
    let mut old = mixed(None);
    old.must(0, MARA, sign("apply-1", HoldPoint::Mixed, "older-than-sheet"));
    assert!(old.try_at(0, TOBIAS, start("apply-1")).is_err());
}

#[test]
fn the_floors_ceiling_caps_a_sheet_and_a_strong_product_is_not_begun() {
    // trade-rules.md, times: hydroxide 15 from first touch, whatever the sheet says (C, consumer pages).
    let mut book = Book::ready();
    book.frame.protocol.applications[0].exposure_ceiling = Some((15, Mark::Consumer));
    let figures = book.frame.figures(&"apply-1".into(), Clock::Exposure).expect("a clock");
    assert_eq!((figures.target_min, figures.most_min), (Some(15), Some(15)));
    assert_eq!(figures.most_source, Source::Default { mark: Mark::Consumer });
    // trade-rules.md, hair and scalp: coloured hair, mild strength at most (handbook).
    book.frame.protocol.applications[0].strength_most = Some(Strength::Mild);
    let strong = Refusal::TooStrong { application: 'A', most: Strength::Mild };
    assert!(book.try_at(0, TOBIAS, start("apply-1")).expect_err("regular").contains(&strong));
    for strength in ["mild", ""] {
        book.frame.products[0].strength = strength.into();
        let refused = book.clone().try_at(0, TOBIAS, start("apply-1")).err().unwrap_or_default();
        assert_eq!(refused.contains(&strong), strength.is_empty(), "what is not known counts as strong");
    }
}

#[test]
fn the_hairline_is_a_section_of_its_own_with_its_own_clock_and_order() {
    let mut book = Book::ready();
    book.frame.protocol.sections.push(Section::Hairline);
    book.frame.protocol.steps[1].order = Some(vec![Section::FrontLeft, Section::Hairline]);
    book.must(0, TOBIAS, start("apply-1"));
    let next = |book: &Book| book.state().headline(at(4)).act;
    let touch = |section| NextAct::StartSection { step: "apply-1".into(), section, pass: 1 };
    assert_eq!(next(&book), touch(Section::FrontLeft));
    book.fact(1, 1, touched("apply-1", Section::FrontLeft, 1));
    assert_eq!(next(&book), touch(Section::Hairline));
    book.fact(3, 3, touched("apply-1", Section::Hairline, 1));
    let state = book.state();
    let exposure = state.exposure('A').expect("it touched");
    let edge = exposure.sections.iter().find(|s| s.section == Section::Hairline).expect("its own clock");
    assert_eq!(edge.spells[0].start, START + time::Duration::minutes(3));
    book.fact(5, 5, Happened::StingReported { place: HeadPlace::Hairline });
    let act = book.state().headline(at(5)).act;
    assert!(matches!(act, NextAct::RinseSection { section: Section::Hairline, .. }), "{act:?}");
}

#[test]
fn places_offered_are_the_heads_own_sections_and_what_lies_outside_them() {
    let blocks = [Section::CentreCrown, Section::CentreNape, Section::Hairline];
    let words: Vec<_> = HeadPlace::offered(&blocks).into_iter().map(HeadPlace::words).collect();
    assert_eq!(words, ["crown", "nape", "hairline", "ear", "temple", "eye", "face or neck"]);
    assert_eq!(HeadPlace::offered(&Section::QUADRANTS), HeadPlace::ALL);
    for place in HeadPlace::offered(&blocks) {
        assert_eq!(HeadPlace::from_code(place.code()), Some(place));
    }
}
