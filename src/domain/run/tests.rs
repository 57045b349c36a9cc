//! The run by example: each rule of 2-domain.md and trade-rules.md by its own case.

use super::breach::Breach;
use super::event::Happened;
use super::headline::NextAct;
use super::holds::{Lacks, PlanVerdict, Reaction, SkinOutcome};
use super::refusal::{Refusal, Refusals};
use super::sample::*;
use super::value::{Comfort, CurlReading, FactId, HeadPlace, Rod};
use super::{Command, Context};
use crate::domain::chemistry::family::Family;
use crate::domain::ids::LotId;
use crate::domain::protocol::{Clock, HoldPoint, Section, check};
use time::Duration;

fn refused(book: &mut Book, context: &Context, command: &Command) -> Refusals {
    let before = book.events.len();
    let refusals = book.ask(context, command).expect_err("it is refused");
    assert_eq!(book.events.len(), before, "a refusal writes nothing");
    assert!(refusals.iter().all(|r| !r.way_out().is_empty() && !r.words(&|i| i.to_string()).is_empty()));
    refusals
}

fn lacks(book: &mut Book, context: &Context, step: &str) -> Refusals {
    refused(book, context, &start(step))
}

fn missing(point: HoldPoint, lapsed: bool) -> Refusal {
    Refusal::HoldPointMissing { hold_point: point, lapsed }
}

#[test]
fn the_sample_is_above_the_floor() {
    assert_eq!(check::check(&protocol(), &floor()), []);
}

#[test]
fn an_opening_step_names_everything_that_is_missing_at_once() {
    let mut book = Book::new();
    book.must(0, TOBIAS, Command::StartRun);
    book.must(0, TOBIAS, start("section"));
    let refusals = lacks(&mut book, &context(1, Some(TOBIAS)), "apply-1");
    for point in
        [HoldPoint::PatchTest, HoldPoint::Scalp, HoldPoint::Gloves, HoldPoint::Base, HoldPoint::HairDry]
    {
        assert!(refusals.contains(&missing(point, false)), "{point:?}: {refusals:?}");
    }
    assert!(refusals.contains(&Refusal::LotNotDispensed { application: 'A' }));
    // Consent and plan held at the start and were signed with it.
    assert!(!refusals.contains(&missing(HoldPoint::Plan, false)));
    book = Book::ready();
    book.must(1, TOBIAS, start("apply-1"));
}

#[test]
fn a_scalp_reading_holds_ninety_minutes_to_the_instant() {
    // trade-rules.md, hold points: "90 min and this visit" (handbook).
    let mut book = Book::ready();
    let mut late = context(90, Some(TOBIAS));
    late.now += Duration::SECOND;
    assert_eq!(lacks(&mut book, &late, "apply-1"), [missing(HoldPoint::Scalp, true)]);
    book.must(90, TOBIAS, start("apply-1"));
}

#[test]
fn a_red_scalp_is_for_good_whoever_asks_and_whatever_is_read_later() {
    let mut book = Book::ready();
    book.must(1, MARA, sign("apply-1", HoldPoint::Scalp, "red"));
    book.must(2, TOBIAS, sign("apply-1", HoldPoint::Scalp, "intact"));
    for person in [TOBIAS, ONDINE] {
        let refusals = lacks(&mut book, &context(3, Some(person)), "apply-1");
        let red = Refusal::HoldPointFailed { hold_point: HoldPoint::Scalp, seen: "red", for_good: true };
        assert_eq!(refusals, [red]);
    }
}

#[test]
fn a_patch_test_waits_48_hours_and_covers_every_product() {
    // trade-rules.md, hold points: "placed ≥ 48 h and read before", lotion as well as straightener.
    let mut book = Book::ready();
    let why = |book: &mut Book, c: &Context| lacks(book, c, "apply-1");
    let lacking = |application, lacks| Refusal::RecordLacking {
        hold_point: HoldPoint::PatchTest,
        application: Some(application),
        lacks,
    };
    let mut c = context(1, Some(TOBIAS));
    c.holds.patch_tests[1].readings[0].read_at =
        c.holds.patch_tests[1].placed_at + Duration::hours(48) - Duration::SECOND;
    assert_eq!(why(&mut book, &c), [lacking('B', Lacks::NotRead)]);
    c.holds.patch_tests[1].readings[0].read_at += Duration::SECOND;
    c.holds.patch_tests[0].readings[0].in_chair = false;
    assert_eq!(why(&mut book, &c), [lacking('A', Lacks::NotRead)], "told by phone is looked at in the chair");
    c.holds = holds();
    c.holds.patch_tests[0].formula_changed = true;
    assert_eq!(why(&mut book, &c), [lacking('A', Lacks::Void)]);
    c.holds = holds();
    c.holds.patch_tests[0].placed_at -= Duration::days(183);
    assert_eq!(why(&mut book, &c), [lacking('A', Lacks::Lapsed)]);
    c.holds = holds();
    c.holds.patch_tests.remove(1);
    assert_eq!(why(&mut book, &c), [lacking('B', Lacks::Missing)]);
    for outcome in [
        SkinOutcome::Itching,
        SkinOutcome::Redness,
        SkinOutcome::Swelling,
        SkinOutcome::Blister,
        SkinOutcome::RashElsewhere,
    ] {
        c.holds = holds();
        c.holds.patch_tests[0].readings[0].outcome = outcome;
        assert!(why(&mut book, &c).contains(&lacking('A', Lacks::ForGood)), "{outcome:?}");
    }
    c.holds = holds();
    c.holds.reactions.push(Reaction { family: Family::Thio });
    assert!(why(&mut book, &c).contains(&lacking('B', Lacks::ForGood)));
}

#[test]
fn plan_consent_and_lot_are_judged_at_that_instant() {
    let mut book = Book::ready();
    let mut c = context(1, Some(TOBIAS));
    for verdict in [PlanVerdict::Refuse, PlanVerdict::Wait, PlanVerdict::TestFirst { passed: false }] {
        c.holds.plan.as_mut().expect("a plan").verdict = verdict;
        let why =
            Refusal::RecordLacking { hold_point: HoldPoint::Plan, application: None, lacks: Lacks::Failed };
        assert_eq!(lacks(&mut book, &c, "apply-1"), [why]);
    }
    c.holds = holds();
    c.holds.consent.as_mut().expect("a consent").guardian_needed = true;
    assert_eq!(lacks(&mut book, &c, "apply-1").len(), 1);
    c.holds = holds();
    c.holds.lots[0].expires_at = Some(c.now);
    assert_eq!(
        lacks(&mut book, &c, "apply-1"),
        [Refusal::LotUnfit { lot: LotId(401), lacks: Lacks::Lapsed }]
    );
}

#[test]
fn gloves_hold_one_step() {
    let mut book = Book::ready();
    book.events.retain(|e| {
        !(e.kind.hold_point() == Some(HoldPoint::Gloves) && e.kind.step() == Some(&"apply-2".into()))
    });
    book.must(0, TOBIAS, start("apply-1"));
    assert_eq!(lacks(&mut book, &context(5, Some(TOBIAS)), "apply-2"), [missing(HoldPoint::Gloves, true)]);
    book.must(5, TOBIAS, sign("apply-2", HoldPoint::Gloves, "torn"));
    let torn = Refusal::HoldPointFailed {
        hold_point: HoldPoint::Gloves,
        seen: "torn or wet inside",
        for_good: false,
    };
    assert_eq!(lacks(&mut book, &context(5, Some(TOBIAS)), "apply-2"), [torn]);
    book.must(6, TOBIAS, sign("apply-2", HoldPoint::Gloves, "nitrile-new-pair-intact"));
    book.must(6, TOBIAS, start("apply-2"));
}

#[test]
fn without_the_sheets_figure_there_is_no_start() {
    let mut book = Book::new();
    book.frame.sheet.clear();
    let why = refused(&mut book, &context(0, Some(TOBIAS)), &Command::StartRun);
    assert_eq!(why, [Refusal::SheetTimeMissing { step: "apply-1".into(), clock: Clock::Exposure }]);
}

#[test]
fn assistants_rinse_and_close_but_never_open() {
    let mut book = Book::ready();
    let why = lacks(&mut book, &context(1, Some(MARA)), "apply-1");
    assert!(why.contains(&Refusal::RoleMissing { who: "a stylist" }));
    assert!(why.contains(&Refusal::QualificationMissing { family: "thio" }));
    let mut book = Book::winding();
    book.must(60, MARA, start("rinse-b"));
    book.must(63, MARA, start("neutralise"));
}

#[test]
fn hands_must_stay_until_the_hair_is_closed() {
    let mut book = Book::ready();
    let mut c = context(1, Some(TOBIAS));
    c.hands_until = Some(at(60));
    assert!(matches!(lacks(&mut book, &c, "apply-1")[..], [Refusal::HandsLeaving { .. }]));
    c.hands_until = Some(at(300));
    book.ask(&c, &start("apply-1")).expect("hands stay");
}

#[test]
fn lotion_waits_until_the_straightener_is_rinsed() {
    let mut book = Book::applied();
    book.must(12, TOBIAS, start("cover"));
    book.must(20, TOBIAS, start("smooth"));
    book.must(30, MARA, start("rinse-a"));
    assert_eq!(
        lacks(&mut book, &context(33, Some(TOBIAS)), "wind"),
        [Refusal::RinseMissing { application: 'A' }]
    );
    book.fact(35, 34, clear("rinse-a"));
    book.must(36, TOBIAS, start("wind"));
}

#[test]
fn finishing_a_rinse_says_that_the_water_runs_clear() {
    let book = Book::winding();
    let state = book.state();
    let a = state.exposure('A').expect("it has touched");
    assert_eq!((a.is_open(), a.rinsed_at()), (false, Some(at(35))));
    assert_eq!(a.longest(at(99)), Duration::minutes(35));
    assert_eq!(a.shortest(at(99)), Duration::minutes(32));
}

#[test]
fn after_a_stop_nothing_new_goes_on_and_rinsing_and_closing_stay_open() {
    let mut book = Book::winding();
    book.fact(45, 45, Happened::StopRecorded);
    let why = lacks(&mut book, &context(46, Some(ONDINE)), "wind");
    assert!(why.contains(&Refusal::RunStopped));
    assert!(book.state().headline(at(46)).danger);
    book.must(46, MARA, start("rinse-b"));
    book.must(50, MARA, Command::FinishStep { step: "rinse-b".into() });
    assert_eq!(lacks(&mut book, &context(51, Some(MARA)), "neutralise"), [Refusal::StopReadingMissing]);
    assert_eq!(book.state().headline(at(51)).act, NextAct::ReadStop);
    book.must(51, MARA, Command::ReadStop { whole: true, early: true });
    book.must(52, MARA, start("neutralise"));
    book.must(57, MARA, start("hold"));
    book.must(67, MARA, start("rinse-c"));
    book.must(70, MARA, Command::FinishStep { step: "rinse-c".into() });
    book.must(71, TOBIAS, Command::FinishRun);
    assert_eq!(book.state().ended.map(|(how, _)| how), Some(super::state::Ended::Stopped));
}

#[test]
fn skin_not_whole_gets_water_first_and_a_stylist_later() {
    let mut book = Book::winding();
    book.fact(45, 45, Happened::StopRecorded);
    book.fact(50, 50, clear("rinse-b"));
    book.must(51, MARA, Command::ReadStop { whole: false, early: false });
    assert_eq!(lacks(&mut book, &context(52, Some(TOBIAS)), "neutralise"), [Refusal::SkinNotWhole]);
    // trade-rules.md, first aid: cool running water, 20 minutes at least (published).
    assert_eq!(lacks(&mut book, &context(70, Some(MARA)), "neutralise"), [Refusal::SkinNotWhole]);
    book.must(70, TOBIAS, start("neutralise"));
}

#[test]
fn a_stop_is_ended_by_the_runs_stylist_or_a_manager_and_asks_fresh_hold_points() {
    let mut book = Book::ready();
    book.must(1, TOBIAS, start("apply-1"));
    let stop = book.fact(2, 2, Happened::StopRecorded);
    let close = Command::CloseStop { reason: "a towel in the eyes, rinsed, nothing seen".into() };
    let why = refused(&mut book, &context(3, Some(TOBIAS)), &close);
    assert!(
        why.contains(&Refusal::StopReadingMissing)
            && why.contains(&Refusal::RinseMissing { application: 'A' })
    );
    let take_back = |fact_id| Happened::FactWithdrawn { fact_id, reason: "mistake".into() };
    let fact = super::Fact { fact_id: FactId(77), happened_at: at(3), happened: take_back(stop) };
    assert_eq!(refused(&mut book, &context(3, None), &Command::Record(fact)), [Refusal::NotWithdrawable]);
    book.fact(8, 8, clear("rinse-a"));
    book.must(9, MARA, Command::ReadStop { whole: true, early: true });
    assert_eq!(refused(&mut book, &context(9, Some(MARA)), &close), [Refusal::NotAnswerable]);
    book.must(10, ONDINE, close);
    let why = lacks(&mut book, &context(11, Some(TOBIAS)), "apply-1");
    for point in [HoldPoint::Scalp, HoldPoint::Gloves, HoldPoint::Base, HoldPoint::PatchTest, HoldPoint::Lot]
    {
        assert!(why.contains(&missing(point, true)), "{point:?}: {why:?}");
    }
}

#[test]
fn a_second_complaint_stops_and_the_first_asks_the_scalp_again() {
    let mut book = Book::applied();
    book.fact(11, 11, Happened::StingReported { place: HeadPlace::Quadrant(Section::BackLeft) });
    assert_eq!(book.state().stop, None);
    let state = book.state();
    let headline = state.headline(at(11));
    assert!(headline.danger && headline.now.contains("back left"), "{headline:?}");
    assert!(matches!(headline.act, NextAct::RinseSection { section: Section::BackLeft, .. }));
    let rinse =
        Happened::SectionRinsed { step: "apply-2".into(), section: Some(Section::BackLeft), clear: true };
    book.fact(12, 12, rinse);
    assert_eq!(book.state().headline(at(12)).act, NextAct::ReadScalp);
    assert_eq!(
        lacks(&mut book, &context(12, Some(TOBIAS)), "wind").len(),
        3,
        "out of turn, product on, scalp to be read"
    );
    let warm = |comfort| Happened::BellAnswered {
        step: "apply-1".into(),
        clock: Clock::Exposure,
        comfort,
        place: Some(HeadPlace::Crown),
    };
    book.fact(14, 14, warm(Comfort::Warm));
    assert_eq!(book.state().stop, None);
    book.fact(15, 15, warm(Comfort::Stings));
    let state = book.state();
    assert!(state.stop.is_some() && state.stops.len() == 1, "one stop on record, with its own event");
}

#[test]
fn broken_skin_under_product_is_stop_and_rinse() {
    let mut book = Book::applied();
    book.must(11, TOBIAS, sign("apply-2", HoldPoint::Scalp, "broken"));
    assert!(book.state().stop.is_some());
    let mut book = Book::ready();
    book.must(1, TOBIAS, sign("apply-1", HoldPoint::Scalp, "broken"));
    assert_eq!(book.state().stop, None, "with nothing on there is nothing to rinse");
}

#[test]
fn a_late_stop_puts_what_had_started_on_record() {
    let mut book = Book::ready();
    book.must(5, TOBIAS, start("apply-1"));
    book.fact(7, 6, touched("apply-1", Section::BackRight, 1));
    book.fact(8, 3, Happened::StopRecorded);
    let breaches = book.state().breaches(at(8));
    assert!(
        breaches.contains(&Breach::OpenedAfterStop { step: "apply-1".into(), at: at(5) }),
        "{breaches:?}"
    );
    assert!(breaches.contains(&Breach::TouchedAfterStop { section: Section::BackRight, at: at(6) }));
}

#[test]
fn closing_is_never_shut_out_by_a_lapsed_scalp_reading() {
    let mut book = Book::winding();
    book.must(95, MARA, start("rinse-b"));
    book.must(100, MARA, start("neutralise"));
    let breaches = book.state().breaches(at(100));
    assert!(breaches.contains(&Breach::ScalpNotRead { step: "neutralise".into() }));
    let mut book = Book::winding();
    book.events.retain(|e| e.kind.step() != Some(&"neutralise".into()));
    book.must(60, MARA, start("rinse-b"));
    let why = lacks(&mut book, &context(63, Some(MARA)), "neutralise");
    assert_eq!(why, [missing(HoldPoint::Gloves, true), missing(HoldPoint::EyeProtection, false)]);
    // Without contact it is kept as a fact, not confirmed.
    book.fact(64, 63, Happened::ClosingStarted { step: "neutralise".into(), answers: Vec::new() });
    let state = book.state();
    assert_eq!(state.step_in_hand().map(|s| s.code.as_str()), Some("neutralise"));
    assert!(state.breaches(at(64)).contains(&Breach::ClosingNotConfirmed { step: "neutralise".into() }));
}

#[test]
fn neutraliser_works_ten_minutes_at_least_and_a_shorter_one_is_on_record() {
    // trade-rules.md, times: neutraliser, curl re-forming, least 10 (common practice, no source).
    let mut book = Book::winding();
    book.must(60, MARA, start("rinse-b"));
    book.must(65, MARA, start("neutralise"));
    book.must(70, MARA, start("hold"));
    let finish = Command::FinishStep { step: "hold".into() };
    let why = refused(&mut book, &context(79, Some(MARA)), &finish);
    assert_eq!(why, [Refusal::LeastTimeNotReached { clock: Clock::Phase, until: at(80) }]);
    let mut early = book.clone();
    early.must(79, MARA, start("rinse-c"));
    assert!(
        early
            .state()
            .breaches(at(79))
            .contains(&Breach::PhaseTooShort { step: "hold".into(), ended: at(79) })
    );
    book.must(80, MARA, finish);
    book.must(80, MARA, start("rinse-c"));
    assert!(!book.state().breaches(at(80)).iter().any(|b| matches!(b, Breach::PhaseTooShort { .. })));
}

#[test]
fn the_hair_is_not_left_open() {
    let mut book = Book::winding();
    book.must(60, MARA, start("rinse-b"));
    book.must(64, MARA, Command::FinishStep { step: "rinse-b".into() });
    assert_eq!(refused(&mut book, &context(65, Some(TOBIAS)), &Command::FinishRun), [Refusal::HairLeftOpen]);
    book.must(66, TOBIAS, Command::LeaveRun { rinsed: true, reason: "had to fetch a child".into() });
    assert!(book.state().breaches(at(66)).contains(&Breach::LeftOpen { at: at(66) }));
}

#[test]
fn a_sent_again_fact_acts_once_and_a_claim_is_clamped() {
    let mut book = Book::ready();
    book.must(1, TOBIAS, start("apply-1"));
    let fact = super::Fact {
        fact_id: FactId(9),
        happened_at: at(-30),
        happened: touched("apply-1", Section::BackRight, 1),
    };
    let command = Command::Record(fact);
    let new = super::decide(&book.state(), &command, &context(4, None)).expect("recorded");
    assert_eq!((new[0].happened_at, new[0].claimed_at), (at(0), Some(at(-30))));
    book.ask(&context(4, None), &command).expect("recorded");
    let events = book.events.len();
    book.ask(&context(5, None), &command).expect("known");
    assert_eq!(book.events.len(), events);
}

#[test]
fn a_handover_passes_by_an_explicit_accept() {
    let mut book = Book::ready();
    let offer = Command::OfferHandover { to: ONDINE };
    assert_eq!(refused(&mut book, &context(1, Some(MARA)), &offer), [Refusal::NotAnswerable]);
    let accept = Command::AcceptHandover;
    assert_eq!(refused(&mut book, &context(1, Some(ONDINE)), &accept), [Refusal::HandoverNotOffered]);
    book.must(1, TOBIAS, offer);
    assert_eq!(book.state().stylist, Some(TOBIAS));
    book.must(2, ONDINE, accept);
    assert_eq!((book.state().stylist, book.state().offered_to), (Some(ONDINE), None));
}

#[test]
fn a_whole_service_ends_clean() {
    let mut book = Book::winding();
    book.must(60, TOBIAS, start("process"));
    book.fact(70, 70, Happened::TestCurlRead { rod: Rod::First, reading: CurlReading::S });
    book.must(71, MARA, start("rinse-b"));
    book.must(76, MARA, Command::FinishStep { step: "rinse-b".into() });
    book.must(77, MARA, start("neutralise"));
    book.must(82, MARA, start("hold"));
    book.must(92, MARA, start("rinse-c"));
    book.must(96, MARA, Command::FinishStep { step: "rinse-c".into() });
    book.must(97, TOBIAS, start("finish"));
    book.must(100, TOBIAS, Command::FinishRun);
    assert_eq!(book.state().breaches(at(200)), []);
    assert_eq!(refused(&mut book, &context(101, Some(TOBIAS)), &start("finish")), [Refusal::RunEnded]);
    book.fact(140, 99, Happened::Trimmed { mm: 6.0 });
    assert!((book.state().trimmed_mm - 6.0).abs() < f64::EPSILON, "a late fact is recorded after the end");
}

#[test]
fn a_late_fact_takes_its_place_by_when_it_happened() {
    let mut book = Book::winding();
    book.must(60, MARA, start("rinse-b"));
    book.must(70, MARA, start("rinse-c"));
    book.fact(75, 63, Happened::ClosingStarted { step: "neutralise".into(), answers: Vec::new() });
    let state = book.state();
    assert_eq!(
        state.step_in_hand().map(|s| s.code.as_str()),
        Some("rinse-c"),
        "what came later stays in hand"
    );
    let closing = state.step_state(&"neutralise".into()).expect("a step");
    assert_eq!((closing.started_at, closing.finished_at), (Some(at(63)), Some(at(70))));
}
