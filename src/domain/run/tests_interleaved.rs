//! Properties over interleavings: several stations, lost contact, facts late, doubled, out of order.

use super::breach::Breach;
use super::event::{Event, EventKind, Granted, Happened};
use super::exposure::SectionExposure;
use super::refusal::Refusal;
use super::sample::*;
use super::state::State;
use super::value::{Comfort, CurlReading, FactId, HeadPlace, Rod};
use super::{Command, Context, Fact, RunFrame};
use crate::domain::ids::{LotId, StationId};
use crate::domain::protocol::{Clock, HoldPoint, Meaning, Section, SectionWork};
use proptest::prelude::*;
use proptest::strategy::ValueTree as _;
use time::Duration;

/// One move of one station.
#[derive(Clone, Debug)]
enum Move {
    /// Time goes on, seconds.
    Wait(i64),
    /// The next step is asked for by the stylist, as on an ordinary day.
    Go,
    /// A permission is asked by somebody.
    Ask(usize, Command),
    /// A fact is tapped; kept at the station so many moves before it is sent, twice if doubled.
    Tap { what: Happened, kept: usize, doubled: bool },
    /// What the client brought changes: a lapsed lot, a positive test, a stale plan.
    Spoil(u8),
}

fn steps() -> impl Strategy<Value = String> {
    let codes: Vec<String> = protocol().steps.iter().map(|s| s.code.as_str().to_owned()).collect();
    prop::sample::select(codes)
}

fn section() -> impl Strategy<Value = Section> {
    prop::sample::select(Section::QUADRANTS.to_vec())
}

fn signature() -> impl Strategy<Value = Command> {
    let protocol = protocol();
    let all: Vec<Command> = protocol
        .steps
        .iter()
        .flat_map(|s| s.hold_points.iter().map(move |p| (s, *p)))
        .flat_map(|(s, p)| {
            // Good answers far more often, or nothing ever starts.
            let weight = |m: Meaning| if m == Meaning::Holds { 12 } else { 1 };
            p.answers()
                .iter()
                .flat_map(move |a| std::iter::repeat_n(sign(s.code.as_str(), p, a.code), weight(a.meaning)))
        })
        .collect();
    prop::sample::select(all)
}

fn permission() -> impl Strategy<Value = Command> {
    prop_oneof![
        8 => steps().prop_map(|s| start(&s)),
        3 => steps().prop_map(|s| Command::FinishStep { step: s.as_str().into() }),
        8 => signature(),
        2 => prop::sample::select(vec![('A', 401), ('B', 402)])
            .prop_map(|(application, lot)| Command::DispenseLot { application, lot: LotId(lot), grams: 50.0 }),
        1 => Just(Command::OfferHandover { to: ONDINE }),
        1 => Just(Command::AcceptHandover),
        1 => any::<bool>().prop_map(|whole| Command::ReadStop { whole, early: whole }),
        1 => Just(Command::CloseStop { reason: "looked at, nothing found".into() }),
    ]
}

fn happened() -> impl Strategy<Value = Happened> {
    let passes = prop::sample::select(vec![("apply-1", 1), ("apply-2", 2), ("wind", 1)]);
    let rinses = prop::sample::select(vec!["rinse-a", "rinse-b"]);
    let rods = prop::sample::select(Rod::ALL.to_vec());
    let readings = prop::sample::select(CurlReading::ALL.to_vec());
    let comforts = prop::sample::select(vec![Comfort::No, Comfort::Warm, Comfort::No, Comfort::Stings]);
    prop_oneof![
        8 => (passes, section()).prop_map(|((step, pass), s)| touched(step, s, pass)),
        4 => (rinses, prop::option::of(section()), any::<bool>())
            .prop_map(|(step, section, clear)| Happened::SectionRinsed { step: step.into(), section, clear }),
        2 => (rods, readings).prop_map(|(rod, reading)| Happened::TestCurlRead { rod, reading }),
        2 => comforts.prop_map(|comfort| {
            Happened::BellAnswered { step: "apply-1".into(), clock: Clock::Exposure, comfort, place: None }
        }),
        1 => Just(Happened::StopRecorded),
        1 => Just(Happened::StingReported { place: HeadPlace::Nape }),
        1 => Just(Happened::ClosingStarted { step: "neutralise".into(), answers: Vec::new() }),
        1 => (1u128..40).prop_map(|n| Happened::FactWithdrawn { fact_id: FactId(1000 + n), reason: "mistaken".into() }),
    ]
}

fn moves() -> impl Strategy<Value = Vec<Move>> {
    let one = prop_oneof![
        4 => (1i64..240).prop_map(Move::Wait),
        6 => Just(Move::Go),
        12 => (0usize..3, permission()).prop_map(|(who, c)| Move::Ask(who, c)),
        8 => (happened(), 0usize..12, any::<bool>())
            .prop_map(|(what, kept, doubled)| Move::Tap { what, kept, doubled }),
        1 => prop_oneof![6 => Just(Move::Go), 1 => (0u8..5).prop_map(Move::Spoil)],
    ];
    prop::collection::vec(one, 1..90)
}

/// A salon played out: what was written, what each opening start could rest on, what was tapped.
struct Played {
    book: Book,
    openings: Vec<(Event, Context)>,
    tapped: Vec<FactId>,
    shut_out: Vec<String>,
}

fn spoil(context: &mut Context, how: u8) {
    let holds = &mut context.holds;
    match how {
        0 => holds.lots[0].withdrawn = true,
        1 => holds.patch_tests[0].readings[0].outcome = super::holds::SkinOutcome::Redness,
        2 => holds.consent = None,
        3 => holds.patch_tests[1].formula_changed = true,
        _ => holds.plan.as_mut().expect("a plan").stale = true,
    }
}

/// From how far a day is played: started, ready for the first pass, both passes on, winding.
fn play(from: u8, moves: Vec<Move>) -> Played {
    let (book, min) = match from {
        0 => (Book::new(), 0),
        1 => (Book::ready(), 0),
        2 => (Book::applied(), 10),
        _ => (Book::winding(), 40),
    };
    let mut p = Played { book, openings: Vec::new(), tapped: Vec::new(), shut_out: Vec::new() };
    let mut context = context(min, Some(TOBIAS));
    if from == 0 {
        p.book.ask(&context, &Command::StartRun).expect("it starts");
    }
    let mut kept: Vec<(usize, Fact)> = Vec::new();
    for (i, m) in moves.into_iter().enumerate() {
        match m {
            Move::Wait(seconds) => context.now += Duration::seconds(seconds),
            Move::Spoil(how) => spoil(&mut context, how),
            Move::Go => {
                context.actor = Some(actor(TOBIAS));
                let next = p.book.state().next_step().map(|s| s.code.clone());
                if let Some(step) = next {
                    ask(&mut p, &context, &Command::StartStep { step });
                }
            }
            Move::Ask(who, command) => {
                let person = [TOBIAS, MARA, ONDINE][who];
                context.actor = Some(actor(person));
                context.station = StationId(500 + i64::try_from(who).expect("small"));
                ask(&mut p, &context, &command);
            }
            Move::Tap { what, kept: moves, doubled } => {
                let fact_id = FactId(1000 + u128::try_from(i).expect("small"));
                p.tapped.push(fact_id);
                let fact = Fact { fact_id, happened_at: context.now, happened: what };
                if doubled {
                    kept.push((i + moves + 3, fact.clone()));
                }
                kept.push((i + moves, fact));
            }
        }
        let (due, later): (Vec<_>, Vec<_>) = kept.into_iter().partition(|(when, _)| *when <= i);
        kept = later;
        send(&mut p, &context, due);
    }
    send(&mut p, &context, kept);
    p
}

fn send(p: &mut Played, context: &Context, facts: Vec<(usize, Fact)>) {
    let locked = Context { actor: None, ..context.clone() };
    for (_, fact) in facts {
        let refused = p.book.ask(&locked, &Command::Record(fact.clone())).err();
        if let Some(why) = refused {
            // Only a stop may not be taken back.
            assert_eq!(why, [Refusal::NotWithdrawable]);
            p.tapped.retain(|t| *t != fact.fact_id);
        }
    }
}

fn ask(p: &mut Played, context: &Context, command: &Command) {
    let before = p.book.events.len();
    let could_touch = !p.book.state().exposures.is_empty();
    let result = p.book.ask(context, command);
    let Command::StartStep { step } = command else { return };
    let found = p.book.frame.protocol.step(step).expect("of the protocol").clone();
    if found.is_opening() && result.is_ok() {
        p.openings.push((p.book.events[before].clone(), context.clone()));
    }
    let Err(refusals) = result else { return };
    if found.sections == Some(SectionWork::Rinse) && could_touch {
        p.shut_out.push(format!("rinse: {refusals:?}"));
    }
    let allowed = |r: &Refusal| match r {
        Refusal::HoldPointMissing { hold_point, .. } | Refusal::HoldPointFailed { hold_point, .. } => {
            matches!(hold_point, HoldPoint::Gloves | HoldPoint::EyeProtection)
        }
        Refusal::StopReadingMissing | Refusal::SkinNotWhole => true,
        _ => false,
    };
    if found.is_closing() && could_touch && !refusals.iter().all(allowed) {
        p.shut_out.push(format!("closing: {refusals:?}"));
    }
}

/// The rules of hold points said again in another way: straight over the events, oldest first.
fn rests_on_its_hold_points(book: &Book, start: &Event, context: &Context) -> Result<(), String> {
    let step = book.frame.protocol.step(start.kind.step().expect("a step")).expect("of the protocol");
    let before: Vec<&Event> = book.events.iter().filter(|e| e.seq < start.seq).collect();
    let last = |kind: &str| before.iter().filter(|e| e.kind.code() == kind).map(|e| e.seq).max().unwrap_or(0);
    let (stopped, closed) = (last("stop_recorded"), last("stop_closed"));
    if stopped > closed {
        return Err("begun while stopped".into());
    }
    for point in &step.hold_points {
        let mut answer = None;
        for e in &before {
            let EventKind::Granted(Granted::HoldPointSigned { step: of, signed }) = &e.kind else { continue };
            if signed.hold_point != *point {
                continue;
            }
            let one_step = matches!(point, HoldPoint::Gloves | HoldPoint::HairDry);
            if signed.value == "red" || signed.value == "broken" || signed.value == "reaction-since" {
                return Err(format!("{point:?} failed for good"));
            }
            let fresh = e.seq > closed || matches!(point, HoldPoint::Consent | HoldPoint::Plan);
            if fresh && (!one_step || *of == step.code) {
                answer = Some((e.recorded_at, e.seq, signed.holds()));
            }
        }
        let Some((at, seq, true)) = answer else { return Err(format!("{point:?} not answered")) };
        if *point == HoldPoint::Scalp {
            let stung = last("sting_reported");
            if start.recorded_at - at > Duration::minutes(90) || stung > seq {
                return Err("scalp lapsed".into());
            }
        }
    }
    let h = &context.holds;
    let tests_hold = h.patch_tests.len() == 2
        && h.patch_tests.iter().all(|t| !t.formula_changed && !t.readings[0].outcome.is_positive());
    let plan_holds = h.plan.as_ref().is_some_and(|p| !p.stale);
    let lot = usize::from(step.application == Some('B'));
    if !tests_hold || h.consent.is_none() || !plan_holds || h.lots[lot].withdrawn {
        return Err("a record did not hold".into());
    }
    Ok(())
}

fn shuffled(events: &[Event], seed: u64) -> Vec<Event> {
    let mut events = events.to_vec();
    let mut x = seed | 1;
    for i in (1..events.len()).rev() {
        x = x.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        events.swap(i, usize::try_from(x >> 33).unwrap_or(0) % (i + 1));
    }
    events
}

/// Straight from the definition: the first touch's quadrant is on until a rinse that reaches it.
fn most_overrun(frame: &RunFrame, state: &State, letter: char) -> bool {
    let most = frame.figures(&frame.protocol.exposure_step(letter).expect("a clock").code, Clock::Exposure);
    let most = Duration::minutes(i64::from(most.and_then(|f| f.most_min).expect("a most")));
    let now = at(600);
    state.exposure(letter).is_some_and(|e| e.longest(now) > most)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 128, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_opening_step_starts_without_its_hold_points(from in 0u8..4, moves in moves()) {
        let p = play(from, moves);
        for (start, context) in &p.openings {
            let rests = rests_on_its_hold_points(&p.book, start, context);
            prop_assert!(rests.is_ok(), "{:?}: {:?}", start.kind, rests);
        }
    }

    #[test]
    fn rinsing_and_closing_are_never_shut_out(from in 0u8..4, moves in moves()) {
        let p = play(from, moves);
        prop_assert!(p.shut_out.is_empty(), "{:?}", p.shut_out);
    }

    #[test]
    fn every_station_folds_the_same_state_in_whatever_order_events_came(from in 0u8..4, moves in moves(), seed in any::<u64>()) {
        let p = play(from, moves);
        let mixed = shuffled(&p.book.events, seed);
        prop_assert_eq!(State::fold(&p.book.frame, &mixed), p.book.state());
    }

    #[test]
    fn no_fact_disappears_or_doubles(from in 0u8..4, moves in moves()) {
        let p = play(from, moves);
        for fact_id in &p.tapped {
            let times = p.book.events.iter().filter(|e| e.fact_id == Some(*fact_id)).count();
            prop_assert_eq!(times, 1);
        }
    }

    #[test]
    fn a_late_stop_puts_every_opening_it_overtook_on_record(from in 0u8..4, moves in moves(), late in 0i64..3600) {
        let mut p = play(from, moves);
        // One more station comes back into contact, with a stop from somewhere in the past.
        let happened_at = START + Duration::seconds(late);
        let fact = Fact { fact_id: FactId(7), happened_at, happened: Happened::StopRecorded };
        let now = p.book.events.last().map_or(START, |e| e.recorded_at);
        let context = Context { now, ..context(0, None) };
        p.book.ask(&context, &Command::Record(fact)).expect("a stop is recorded");
        let breaches = p.book.state().breaches(at(600));
        for stop in p.book.events.iter().filter(|e| e.kind.code() == "stop_recorded") {
            for (start, _) in &p.openings {
                if start.seq < stop.seq && start.recorded_at > stop.happened_at {
                    let step = start.kind.step().expect("a step").clone();
                    let breach = Breach::OpenedAfterStop { step, at: start.recorded_at };
                    prop_assert!(breaches.contains(&breach), "{:?}", breaches);
                }
            }
        }
    }

    #[test]
    fn a_most_time_overrun_is_always_on_record(from in 0u8..4, moves in moves()) {
        let p = play(from, moves);
        let state = p.book.state();
        let breaches = state.breaches(at(600));
        for letter in ['A', 'B'] {
            let on_record = breaches.iter().any(|b| matches!(b, Breach::MostPassed { application, .. } if *application == letter));
            prop_assert_eq!(on_record, most_overrun(&p.book.frame, &state, letter));
        }
    }

    #[test]
    fn more_late_facts_never_shorten_what_was_on_without_a_rinse(from in 0u8..4, moves in moves(), late in 0i64..300, s in section()) {
        let p = play(from, moves);
        let mut events = p.book.events.clone();
        let seq = i64::try_from(events.len()).expect("few") + 1;
        let tap = Event {
            seq,
            recorded_at: at(600),
            happened_at: START + Duration::seconds(late),
            by: None,
            station: StationId(501),
            fact_id: Some(FactId(5)),
            kind: EventKind::Happened(touched("apply-1", s, 1)),
        };
        let longest = |state: &State| state.exposure('A').map_or(Duration::ZERO, |e| e.longest(at(600)));
        let before_tap = State::fold(&p.book.frame, &events);
        // Only a quadrant whose start is a tap of its own: it may move earlier, never later. One first tapped after all ran
        // clear counts from the first touch of any until its own is known.
        let tapped = before_tap.exposure('A').is_some_and(|e| {
            let own = |x: &&SectionExposure| x.passes.iter().any(|(_, t)| x.spells.first().is_some_and(|f| f.start == *t));
            e.sections.iter().filter(own).any(|x| x.section == s && !x.assumed)
        });
        let before = longest(&before_tap);
        events.push(tap);
        if tapped {
            prop_assert!(longest(&State::fold(&p.book.frame, &events)) >= before);
        }
    }
}

#[test]
fn the_games_reach_openings_stops_and_closings() {
    // The properties above say nothing if nothing ever starts.
    let mut runner = proptest::test_runner::TestRunner::deterministic();
    let (mut opened, mut wound, mut stopped, mut refused_late) = (0, 0, 0, 0);
    for from in (0u8..4).cycle().take(400) {
        let moves = moves().new_tree(&mut runner).expect("moves").current();
        let p = play(from, moves);
        opened += usize::from(!p.openings.is_empty());
        wound += usize::from(p.openings.iter().any(|(e, _)| e.kind.step() == Some(&"wind".into())));
        stopped += usize::from(p.book.events.iter().any(|e| e.kind.code() == "stop_recorded"));
        let late = p.book.state().breaches(at(600));
        refused_late += usize::from(late.iter().any(|b| matches!(b, Breach::OpenedAfterStop { .. })));
    }
    println!("opened {opened}, wound {wound}, stopped {stopped}, overtaken by a stop {refused_late}");
    assert!(opened > 60 && wound > 0 && stopped > 100 && refused_late > 0);
}
