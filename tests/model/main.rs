//! Model checking of a run: every interleaving, within bounds, of two stations, a page that dies and comes
//! back, facts kept and sent late, answers lost on the way, and a handover. A whole service has more than
//! can be searched, so it is searched by chapters (`acts::Chapter`), each to the end of its bounds.
//!
//! **As it is**: the server's `decide` and `fold`, over a whole record; what the database does with what
//! they allow (one seq after the other, a fact's name once). Stations ask only for what their own view (a
//! prefix of the record, as far as they have read) lets them ask for; the server judges by all of it.
//!
//! **Abstracted**: time is three ticks, before and after what matters (90 minutes of a scalp reading, the
//! longest allowed, 20 minutes of water); one quadrant is tapped; the records outside the run hold throughout
//! (`tests/it/attack` and `src/domain/run/tests_interleaved.rs` break those); contact is the order in which
//! kept facts are sent. The program refuses a permission that is stale (`flow::runs`); here nothing is
//! refused for that alone, so more is tried than can happen. Pages do not offer the same sign-off twice;
//! the record's length and the facts of a station are bounded.
//!
//! **The rules** are said again over the events (`rules`), not asked of the code that is checked. For each
//! there is a server broken on purpose (`fault`), and the search must find it.
//!
//! A state is a number of a record at a tick and 16 bytes of stations. What a record alone decides is worked
//! out once (`book`); that is why a million states are searched in a debug build.

mod acts;
mod book;
mod breaches;
mod fault;
mod judge;
mod properties;
mod rules;
mod salon;
mod service;

use acts::Chapter;
use fault::Fault;
use properties as p;
use rinsebell::domain::protocol::check::check;
use salon::{Bounds, Salon};
use service::Shape;
use stateright::{Checker, Expectation, HasDiscoveries, Model};
use std::collections::BTreeSet;
use std::time::Instant;

/// What is searched: service, chapter, bounds.
type Search = (Shape, Chapter, Bounds);

const fn bounds(events_more: u8, taps_most: [u8; 2]) -> Bounds {
    Bounds { events_more, taps_most, tab_drops: false, answers_lost: false, ticks_most: 2 }
}

/// As `bounds`, and answers are lost on the way.
const fn with_losses(events_more: u8, taps_most: [u8; 2]) -> Bounds {
    Bounds { answers_lost: true, ..bounds(events_more, taps_most) }
}

const SEARCHES: [Search; 7] = [
    // All that a station can meet with, at once: this one alone is more than a million states.
    (Shape::One, Chapter::Begun, Bounds { tab_drops: true, ..with_losses(3, [1, 1]) }),
    (Shape::One, Chapter::On, with_losses(2, [0, 1])),
    (Shape::One, Chapter::On, Bounds { ticks_most: 1, ..bounds(1, [0, 2]) }),
    (Shape::One, Chapter::Stopped, with_losses(2, [0, 1])),
    (Shape::One, Chapter::Resumed, with_losses(2, [0, 1])),
    (Shape::One, Chapter::Rinsed, bounds(3, [0, 0])),
    (Shape::Two, Chapter::Rinsed, bounds(2, [0, 1])),
];
/// Distinct states of the largest search, at the least.
const STATES_LEAST: usize = 1_000_000;

/// Searches all there is within the bounds: how many distinct states, and what was reached.
fn search((shape, chapter, bounds): Search) -> (usize, Vec<&'static str>) {
    let salon = Salon::open(shape, chapter, Fault::None, bounds);
    let book = salon.book();
    let began = Instant::now();
    let checker = salon.checker().threads(2).finish_when(HasDiscoveries::AnyFailures).spawn_dfs().join();
    let (records, nodes) = book.met();
    println!(
        "{shape:?} {chapter:?} {bounds:?}: {} distinct states ({} met), {records} records, {nodes} at a tick, depth {}, {:.1} s",
        checker.unique_state_count(),
        checker.state_count(),
        checker.max_depth(),
        began.elapsed().as_secs_f64(),
    );
    for rule in p::all().iter().filter(|r| r.expectation == Expectation::Always) {
        checker.assert_no_discovery(rule.name);
    }
    (checker.unique_state_count(), checker.discoveries().into_keys().collect())
}

/// The services searched keep the floor in all that a start, a rinse and a closing step wait for; minutes, looks
/// and stop words, which time in three ticks cannot tell apart, are left out of them.
#[test]
fn the_services_searched_are_lawful() {
    let left_out = ["exposure", "phase", "look", "stop_words"];
    for shape in [Shape::One, Shape::Two] {
        let protocol = service::frame(shape).protocol;
        let mut faults = check(&protocol, rinsebell::reference::floor::shipped());
        faults.retain(|fault| !left_out.contains(&fault.field));
        assert_eq!(faults, []);
    }
}

#[test]
fn two_stations_keep_every_rule() {
    let (mut states, mut reached) = (Vec::new(), BTreeSet::new());
    for one in SEARCHES {
        let (distinct, seen) = search(one);
        states.push(distinct);
        reached.extend(seen);
    }
    println!("model: {} distinct states in {} searches", states.iter().sum::<usize>(), states.len());
    assert!(states.iter().any(|s| *s >= STATES_LEAST), "{states:?}");
    // Nothing is proved of what is never reached.
    for seen in p::all().iter().filter(|r| r.expectation == Expectation::Sometimes) {
        assert!(reached.contains(seen.name), "never {}", seen.name);
    }
}

#[test]
fn every_broken_server_is_found() {
    // The least in which each is met: chapter, events more, taps, ticks.
    let broken = [
        (Fault::ScalpSkipped, p::HELD, Chapter::Resumed, 3, [0, 0], 0),
        (Fault::StopForgotten, p::STOP_STANDS, Chapter::Resumed, 3, [0, 1], 0),
        (Fault::BreachLeftOut, p::LATE_STOP, Chapter::Resumed, 3, [0, 1], 1),
        (Fault::RinseShutOut, p::NEVER_SHUT, Chapter::On, 1, [0, 1], 0),
        (Fault::FactDoubled, p::ONCE, Chapter::On, 1, [0, 1], 0),
        (Fault::FactDoubled, p::SAME_ANSWER, Chapter::On, 1, [0, 1], 0),
        (Fault::FactDropped, p::NOT_LOST, Chapter::On, 1, [0, 1], 1),
        (Fault::FoldedByArrival, p::SAME_FOLD, Chapter::Begun, 1, [0, 0], 0),
        (Fault::OfferIsEnough, p::IN_CHARGE, Chapter::Begun, 1, [0, 0], 0),
        (Fault::StopClosedUnread, p::READ_FIRST, Chapter::Stopped, 3, [0, 1], 0),
        (Fault::BreachLeftOut, p::EXACTLY, Chapter::Resumed, 3, [0, 1], 1),
        (Fault::BreachInvented, p::EXACTLY, Chapter::On, 1, [0, 0], 0),
        (Fault::OverrunLeftOut, p::OVERRUN, Chapter::On, 1, [0, 0], 0),
        (Fault::BeginForgotten, p::KNOWN_ON, Chapter::Resumed, 2, [0, 0], 0),
        (Fault::ClosingForgotten, p::STAYS_CLOSED, Chapter::Resumed, 3, [0, 1], 0),
    ];
    for rule in p::all().into_iter().filter(|r| r.expectation == Expectation::Always) {
        assert!(
            broken.iter().any(|(_, name, ..)| *name == rule.name),
            "{}: cannot be seen to fail",
            rule.name
        );
    }
    for (fault, name, chapter, events_more, taps_most, ticks_most) in broken {
        let bounds = Bounds { events_more, taps_most, tab_drops: false, answers_lost: true, ticks_most };
        let salon = Salon::open(Shape::One, chapter, fault, bounds);
        let first = HasDiscoveries::AnyOf(BTreeSet::from([name]));
        let checker = salon.checker().threads(2).finish_when(first).spawn_bfs().join();
        println!("{fault:?}: {} distinct states", checker.unique_state_count());
        assert!(checker.discovery(name).is_some(), "{fault:?} is not found: {name}");
    }
}
