//! Benches of the rules without JSON about them: the search for openings at the size it was designed for, the
//! protocol loader, the fold of a run and a decision on it.

use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use rinsebell::domain::booking::{
    Chain, Grid, Hands, PatchVisit, PlaceKind, PlaceStock, Qualification, Search, Segment, Span, Worker,
    openings,
};
use rinsebell::domain::ids::{PersonId, StationId};
use rinsebell::domain::protocol::{Protocol, SectionWork, Step};
use rinsebell::domain::run::{
    Command, Context, Event, EventKind, Fact, FactId, Granted, Happened, HoldContext, RunFrame, State, decide,
};
use rinsebell::reference::{Reference, protocols};
use std::hint::black_box;
use std::time::Duration;
use time::OffsetDateTime;
use time::macros::datetime;

const MINUTE_MS: i64 = 60_000;
const DAY_MS: i64 = 1_440 * MINUTE_MS;

fn span(start_min: i64, minutes: i64) -> Span {
    Span::new(start_min * MINUTE_MS, (start_min + minutes) * MINUTE_MS).expect("longer than nothing")
}

/// Everybody works 9 to 18 every day with three bookings; every third may use thio.
fn staff(days: i64, count: usize) -> Vec<Worker> {
    (0..count)
        .map(|who| Worker {
            may: if who % 3 == 0 { vec![Qualification("thio".into())] } else { Vec::new() },
            hours: (0..days).map(|day| span(day * 1_440 + 540, 540)).collect(),
            taken: (0..days * 3)
                .map(|i| span(i / 3 * 1_440 + 540 + i % 3 * 170 + who as i64 * 7 % 60, 60))
                .collect(),
        })
        .collect()
}

fn segments(count: usize) -> Chain {
    let may = || Some(Qualification("thio".into()));
    let place = |kind: &str| vec![PlaceKind(kind.into())];
    let one = |i: usize| match i % 3 {
        0 => Segment {
            length_ms: 20 * MINUTE_MS,
            hands: Some(Hands { may: may(), same_as: (i > 0).then_some(0) }),
            places: place("chair"),
        },
        1 => Segment { length_ms: 10 * MINUTE_MS, hands: None, places: place("chair") },
        _ => Segment {
            length_ms: 10 * MINUTE_MS,
            hands: Some(Hands { may: None, same_as: None }),
            places: place("basin"),
        },
    };
    Chain::new((0..count).map(one).collect()).expect("a chain")
}

fn search(c: &mut Criterion) {
    let sizes = [(3, 40, 6), (30, 4, 6), (30, 40, 6), (30, 400, 6), (300, 40, 6), (30, 40, 60)];
    let mut group = c.benchmark_group("openings/search");
    for (days, count, parts) in sizes {
        let (people, chain) = (staff(days, count), segments(parts));
        let taken = |_: &str| (0..days * 8).map(|i| span(i / 8 * 1_440 + 560 + i % 8 * 50, 70)).collect();
        let stock =
            |kind: &str, count| PlaceStock { kind: PlaceKind(kind.into()), count, taken: taken(kind) };
        let places = [stock("chair", 12), stock("basin", 3)];
        let visit = PatchVisit { length_ms: 15 * MINUTE_MS, least_before_ms: 2 * DAY_MS, may: None };
        let question = Search {
            grid: Grid { first_ms: 0, until_ms: days * DAY_MS, step_ms: 5 * MINUTE_MS },
            people: &people,
            places: &places,
            chain: &chain,
            patch_test: Some(&visit),
            not_before_ms: None,
            wanted_ms: days * DAY_MS / 2,
            most: 5,
        };
        assert!(parts > 6 || days < 4 || !openings(&question).openings.is_empty(), "nothing found");
        let name = format!("{days} days, {count} staff, {parts} segments");
        group.bench_function(name, |b| b.iter(|| openings(black_box(&question))));
    }
    group.finish();
}

fn loader(c: &mut Criterion) {
    let mut group = c.benchmark_group("protocol/load");
    for (name, text) in Reference::protocol_texts() {
        group.throughput(Throughput::Bytes(text.len() as u64));
        group.bench_function(name, |b| b.iter(|| protocols::parse(name, black_box(text))));
    }
    group.finish();
}

fn at(second: i64) -> OffsetDateTime {
    datetime!(2026-05-14 13:40 UTC) + time::Duration::seconds(second)
}

/// The shipped curl retouch, no product chosen: enough to fold and to decide facts.
fn frame() -> RunFrame {
    let protocol: Protocol =
        Reference::shipped().protocol("curl-retouch").expect("a shipped protocol").clone();
    RunFrame { protocol, sheet: Vec::new(), products: Vec::new() }
}

/// `n` events: started, then first touches, rinses and bells over the first applied step, a fact each.
fn events(frame: &RunFrame, n: usize) -> Vec<Event> {
    let applies = |s: &&Step| matches!(s.sections, Some(SectionWork::Apply { .. }));
    let step = frame.protocol.steps.iter().find(applies).expect("a step that applies").code.clone();
    let event = |i: usize| {
        let section = frame.protocol.sections[i % frame.protocol.sections.len()];
        let (fact_id, kind) = match i {
            0 => (None, EventKind::Granted(Granted::RunStarted { stylist: PersonId(1) })),
            1 => (None, EventKind::Granted(Granted::StepStarted { step: step.clone() })),
            i if i % 2 == 0 => (
                Some(FactId(i as u128)),
                EventKind::Happened(Happened::SectionStarted { step: step.clone(), section, pass: 1 }),
            ),
            i => (
                Some(FactId(i as u128)),
                EventKind::Happened(Happened::SectionRinsed {
                    step: step.clone(),
                    section: Some(section),
                    clear: true,
                }),
            ),
        };
        let happened_at = at(i as i64);
        Event {
            seq: i as i64 + 1,
            recorded_at: happened_at,
            happened_at,
            by: Some(PersonId(1)),
            station: StationId(1),
            fact_id,
            kind,
        }
    };
    (0..n).map(event).collect()
}

fn run(c: &mut Criterion) {
    let frame = frame();
    let mut group = c.benchmark_group("run/fold");
    for size in [10, 100, 1_000, 10_000] {
        let events = events(&frame, size);
        group.throughput(Throughput::Elements(size as u64));
        group.bench_with_input(BenchmarkId::from_parameter(size), &events, |b, events| {
            b.iter(|| State::fold(&frame, black_box(events)));
        });
    }
    group.finish();
    let mut group = c.benchmark_group("run/decide");
    for size in [10, 100, 1_000, 10_000] {
        let events = events(&frame, size);
        let state = State::fold(&frame, &events);
        let fact = Fact { fact_id: FactId(1 << 100), happened_at: at(5), happened: Happened::StopRecorded };
        let holds = HoldContext {
            visit_from: at(-3_600),
            patch_test_days: 183,
            patch_tests: Vec::new(),
            reactions: Vec::new(),
            strand_test_needed: false,
            strand_tests: Vec::new(),
            consent: None,
            plan: None,
            lots: Vec::new(),
        };
        let context =
            Context { now: at(20_000), actor: None, station: StationId(1), holds, hands_until: None };
        let command = Command::Record(fact);
        group.bench_with_input(BenchmarkId::from_parameter(size), &state, |b, state| {
            b.iter(|| decide(black_box(state), &command, &context));
        });
    }
    group.finish();
}

fn quick() -> Criterion {
    Criterion::default()
        .sample_size(10)
        .warm_up_time(Duration::from_millis(300))
        .measurement_time(Duration::from_secs(1))
        .without_plots()
}

criterion_group! { name = benches; config = quick(); targets = search, loader, run }
criterion_main!(benches);
