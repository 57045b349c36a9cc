//! What is wrong, and what was reached, in a record.

use super::acts::{self, Tap};
use super::book::{Book, Node, Record};
use super::breaches;
use super::rules;
use super::service::{MARA, TOBIAS, UNA, context};
use rinsebell::domain::protocol::HoldPoint;
use rinsebell::domain::run::{Breach, Command, Context, Event, EventKind, Granted, NewEvent, State, decide};
use std::collections::BTreeSet;

/// An opening step began without a hold point.
pub const UNHELD: u32 = 1;
/// An opening step began after a stop.
pub const OPENED_AFTER_STOP: u32 = 1 << 1;
/// A late stop overtook an opening step and no breach says so.
pub const BREACH_MISSING: u32 = 1 << 2;
/// Rinsing, stopping or closing was shut out.
pub const SHUT_OUT: u32 = 1 << 3;
/// A fact stands twice.
pub const DOUBLED: u32 = 1 << 4;
/// The events fold to another state in another order.
pub const FOLDS_APART: u32 = 1 << 5;
/// Not one person in charge, or not by offer and accept.
pub const NOT_IN_CHARGE: u32 = 1 << 6;
/// A stop was ended without a reading.
pub const CLOSED_UNREAD: u32 = 1 << 7;
/// The longest allowed passed and no breach says so.
pub const OVERRUN_MISSING: u32 = 1 << 8;
/// Product may be on and the state says it is not.
pub const ON_UNKNOWN: u32 = 1 << 9;
/// An opening step began after a closing one.
pub const REOPENED: u32 = 1 << 10;

/// A breach is missing, or one is on record that is none.
pub const BREACHES_DIFFER: u32 = 1 << 11;

/// Seen: the service was finished.
pub const FINISHED: u32 = 1 << 16;
/// Seen: it was stopped.
pub const STOPPED: u32 = 1 << 17;
/// Seen: a late stop overtook an opening step.
pub const OVERTAKEN: u32 = 1 << 18;
/// Seen: the run was handed over.
pub const HANDED_OVER: u32 = 1 << 19;
/// Seen: an opening step began again after a stop was ended.
pub const RESUMED: u32 = 1 << 20;
/// Seen: the longest allowed passed.
pub const OVERRUN: u32 = 1 << 21;
/// Seen: a fact was taken back.
pub const TAKEN_BACK: u32 = 1 << 22;
/// Seen: closed as a fact, without contact.
pub const CLOSED_WITHOUT_CONTACT: u32 = 1 << 23;

/// What a record alone tells.
pub fn record(record: &Record, book: &Book) -> u32 {
    let events = &record.events;
    let found = book.fault.breaches(record);
    let late: Vec<Breach> = rules::overtaken(events)
        .into_iter()
        .map(|(step, at)| Breach::OpenedAfterStop { step: step.clone(), at })
        .collect();
    let over = rules::most_passed(events);
    let overrun = |b: &Breach| matches!(b, Breach::MostPassed { application: 'A', .. });
    let names: Vec<_> = events.iter().filter_map(|e| e.fact_id).collect();
    let different: BTreeSet<_> = names.iter().collect();
    let charge = rules::in_charge(events);
    let began = rules::openings(events);
    let again = began.iter().any(|(i, s)| began.iter().any(|(j, t)| i < j && s == t));
    let bits = [
        (UNHELD, !rules::hold_points_held(events)),
        (OPENED_AFTER_STOP, !rules::nothing_opened_after_stop(events)),
        (BREACH_MISSING, !late.iter().all(|b| found.contains(b))),
        (DOUBLED, different.len() != names.len()),
        (FOLDS_APART, !folds_the_same(record, book)),
        (NOT_IN_CHARGE, charge.is_none() || record.state.stylist != charge),
        (CLOSED_UNREAD, !rules::stops_ended_after_reading(events)),
        (OVERRUN_MISSING, over && !found.iter().any(overrun)),
        (ON_UNKNOWN, rules::may_be_on(events) && !book.fault.product_on(record)),
        (REOPENED, !rules::nothing_reopened(events)),
        (BREACHES_DIFFER, breaches::expected(events) != found.iter().cloned().collect()),
        (FINISHED, any(events, |g| matches!(g, Granted::RunFinished { stopped: false }))),
        (STOPPED, rules::stopped(events)),
        (OVERTAKEN, !late.is_empty()),
        (HANDED_OVER, any(events, |g| matches!(g, Granted::HandoverAccepted))),
        (RESUMED, again),
        (OVERRUN, over),
        (TAKEN_BACK, !record.state.withdrawn.is_empty()),
        (CLOSED_WITHOUT_CONTACT, record.state.steps.iter().any(|s| s.unconfirmed)),
    ];
    bits.into_iter().filter(|(_, set)| *set).fold(0, |all, (bit, _)| all | bit)
}

fn any(events: &[Event], granted: fn(&Granted) -> bool) -> bool {
    events.iter().any(|e| matches!(&e.kind, EventKind::Granted(g) if granted(g)))
}

/// A station may get the newer batch first, wherever the record is cut, or everything backwards.
fn folds_the_same(record: &Record, book: &Book) -> bool {
    let same = |mut events: Vec<Event>| {
        book.fault.read(&mut events);
        State::fold(book.frame, &events) == record.state
    };
    let length = record.events.len();
    let swapped = |cut: usize| [&record.events[cut..], &record.events[..cut]].concat();
    let backwards = record.events.iter().rev().cloned().collect();
    same(backwards)
        && [length / 3, length / 2, length.saturating_sub(1)].into_iter().all(|cut| same(swapped(cut)))
}

/// What a record tells at an instant.
pub fn instant(node: &Node) -> u32 {
    let record = node.record;
    if rules::ended(&record.events) || rules::first_touch(&record.events).is_none() {
        return 0;
    }
    if rinse_is_open(node) && facts_are_open(node) && closing_is_open(node) { 0 } else { SHUT_OUT }
}

fn rinse_is_open(node: &Node) -> bool {
    // Anybody who treats hair.
    [TOBIAS, UNA, MARA].into_iter().all(|person| {
        let context = context(node.tick, Some(person), 1);
        node.book.fault.decide(node.record, &acts::start("rinse-a"), &context).is_ok()
    })
}

/// Recorded, from a locked station, with a name not used before.
fn facts_are_open(node: &Node) -> bool {
    [Tap::Clear, Tap::Stop, Tap::Closing].into_iter().all(|tap| {
        let fact = acts::fact(7, 7, tap, node.tick);
        let context = context(node.tick, None, 1);
        let new = node.book.fault.decide(node.record, &Command::Record(fact), &context);
        new.is_ok_and(|new| new.len() == 1)
    })
}

/// With a reading of a stop, and gloves and eyes answered in one tap each, hair is closed at once.
fn closing_is_open(node: &Node) -> bool {
    let record = node.record;
    let context = context(node.tick, Some(UNA), 1);
    let mut acts = vec![
        acts::sign("neutralise", HoldPoint::Gloves, "nitrile-new-pair-intact"),
        acts::sign("neutralise", HoldPoint::EyeProtection, "cotton-bib-towel"),
    ];
    if record.state.stop.is_some() {
        acts.push(Command::ReadStop { whole: true, early: true });
    }
    let mut events = record.events.clone();
    for act in acts {
        let Ok(new) = node.book.fault.decide(record, &act, &context) else { return false };
        events.extend(written(&new, events.len(), &context));
    }
    let state = State::fold(node.book.frame, &events);
    decide(&state, &acts::start("neutralise"), &context).is_ok()
}

fn written(new: &[NewEvent], before: usize, context: &Context) -> Vec<Event> {
    let event = |(i, e): (usize, &NewEvent)| Event {
        seq: i64::try_from(before + i).expect("few events") + 1,
        recorded_at: context.now,
        happened_at: e.happened_at,
        by: e.by,
        station: e.station,
        fact_id: e.fact_id,
        kind: e.kind.clone(),
    };
    new.iter().enumerate().map(event).collect()
}
