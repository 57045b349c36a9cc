//! The rules said again, straight over the events, oldest first, without the state that `decide`
//! reads. Sources: the design's "Service run" (hold points, stop and rinse, handover) and
//! trade-rules.md, hold points (scalp 90 minutes and this visit; red or broken: nobody overrides).

use super::service::MOST_MIN;
use rinsebell::domain::ids::PersonId;
use rinsebell::domain::protocol::StepCode;
use rinsebell::domain::run::{Event, EventKind, FactId, Granted, Happened, Instant};
use time::Duration;

/// What an opening step of this service waits for, with the answers that let it go on. The second
/// column: it must be given for this very step. The third: it outlives a stop.
const WAITS_FOR: [(&str, bool, bool, &[&str]); 8] = [
    ("patch-test", false, false, &["no-reaction-since"]),
    ("scalp", false, false, &["intact"]),
    ("plan", false, true, &["clear-or-tests-passed"]),
    ("consent", false, true, &["signed-on-words-shown"]),
    ("lot", false, false, &["in-date-within-law"]),
    ("strand-test", false, false, &["passed", "not-asked"]),
    ("gloves", true, false, &["nitrile-new-pair-intact"]),
    ("barrier", true, false, &["cream-and-fresh-dry-cotton"]),
];
const FOR_GOOD: [&str; 3] = ["red", "broken", "reaction-since"];

pub fn granted(event: &Event) -> Option<&Granted> {
    match &event.kind {
        EventKind::Granted(g) => Some(g),
        EventKind::Happened(_) => None,
    }
}

pub fn happened(event: &Event) -> Option<&Happened> {
    match &event.kind {
        EventKind::Happened(h) => Some(h),
        EventKind::Granted(_) => None,
    }
}

pub fn is_stop(event: &Event) -> bool {
    matches!(happened(event), Some(Happened::StopRecorded))
}

pub fn is_sting(event: &Event) -> bool {
    matches!(happened(event), Some(Happened::StingReported { .. }))
}

/// Where the last stop was ended; 0 when none was.
fn last_close(events: &[Event]) -> usize {
    events.iter().rposition(|e| matches!(granted(e), Some(Granted::StopClosed { .. }))).map_or(0, |i| i + 1)
}

/// Begins of opening steps: (place, step).
pub fn openings(events: &[Event]) -> Vec<(usize, &StepCode)> {
    let opens = |s: &StepCode| ["apply", "wind"].contains(&s.as_str());
    let begun = events.iter().enumerate().filter_map(|(i, e)| match granted(e) {
        Some(Granted::StepStarted { step }) if opens(step) => Some((i, step)),
        _ => None,
    });
    begun.collect()
}

/// Every opening step begun had its hold points at that instant.
pub fn hold_points_held(events: &[Event]) -> bool {
    openings(events).into_iter().all(|(i, step)| {
        WAITS_FOR.iter().all(|need| answered(&events[..i], step, events[i].recorded_at, need))
    })
}

fn answered(
    before: &[Event],
    step: &StepCode,
    now: Instant,
    (point, own_step, outlives, good): &(&str, bool, bool, &[&str]),
) -> bool {
    let closed = last_close(before);
    let mut held = false;
    for (i, event) in before.iter().enumerate() {
        if *point == "scalp" && is_sting(event) {
            held = false;
        }
        let Some(Granted::HoldPointSigned { step: of, signed }) = granted(event) else { continue };
        if signed.hold_point.code() != *point {
            continue;
        }
        if FOR_GOOD.contains(&signed.value.as_str()) {
            return false;
        }
        let fresh = *outlives || i >= closed;
        let lapsed = *point == "scalp" && now - event.recorded_at > Duration::minutes(90);
        if fresh && (!own_step || of == step) {
            held = good.contains(&signed.value.as_str()) && !lapsed;
        }
    }
    let bowl = if step.as_str() == "apply" { 'A' } else { 'B' };
    let poured = |e: &Event| matches!(granted(e), Some(Granted::LotDispensed { application, .. }) if *application == bowl);
    held && (*point != "lot" || before.iter().any(poured))
}

/// A stop, recorded or by a second complaint, that nobody has ended.
pub fn stopped(events: &[Event]) -> bool {
    let since = &events[last_close(events)..];
    since.iter().any(is_stop) || since.iter().filter(|e| is_sting(e)).count() >= 2
}

/// No opening step was begun while a stop stood, nor after the end.
pub fn nothing_opened_after_stop(events: &[Event]) -> bool {
    openings(events).into_iter().all(|(i, _)| !stopped(&events[..i]) && !ended(&events[..i]))
}

/// The service ended.
pub fn ended(events: &[Event]) -> bool {
    let ends = |e: &Event| matches!(granted(e), Some(Granted::RunFinished { .. } | Granted::RunLeft { .. }));
    events.iter().any(ends)
}

/// Opening steps that a late stop overtook: (step, begun at).
pub fn overtaken(events: &[Event]) -> Vec<(&StepCode, Instant)> {
    let mut found = Vec::new();
    for (i, step) in openings(events) {
        let begun = events[i].recorded_at;
        if events[i + 1..].iter().any(|e| is_stop(e) && e.happened_at < begun) {
            found.push((step, begun));
        }
    }
    found
}

/// A stop is ended by who answers for the run, after the skin was read whole since the last stop.
pub fn stops_ended_after_reading(events: &[Event]) -> bool {
    let mut whole = false;
    let mut standing = 0;
    for (i, event) in events.iter().enumerate() {
        if is_stop(event) || is_sting(event) {
            standing += if is_stop(event) { 2 } else { 1 };
            whole &= !is_stop(event);
        }
        match granted(event) {
            Some(Granted::StopRead { whole: w }) => whole = *w,
            Some(Granted::StopClosed { .. }) => {
                if !whole || standing < 2 || in_charge(&events[..i]) != event.by {
                    return false;
                }
                (whole, standing) = (false, 0);
            }
            _ => {}
        }
    }
    true
}

/// Who answers for the run; none when a handover went otherwise than by offer and accept.
pub fn in_charge(events: &[Event]) -> Option<PersonId> {
    let mut charge = None;
    let mut offered = None;
    for event in events {
        match granted(event) {
            Some(Granted::RunStarted { stylist }) if charge.is_none() => charge = Some(*stylist),
            Some(Granted::RunStarted { .. }) => return None,
            Some(Granted::HandoverOffered { .. }) if event.by != charge => return None,
            Some(Granted::HandoverOffered { to }) => offered = Some(*to),
            Some(Granted::HandoverAccepted) => {
                if offered.is_none() || event.by != offered {
                    return None;
                }
                charge = offered.take();
            }
            _ => {}
        }
    }
    charge
}

/// The facts taken back.
pub fn taken_back(events: &[Event]) -> Vec<FactId> {
    let firm = |id: FactId| events.iter().any(|e| e.fact_id == Some(id) && is_stop(e));
    let asked = events.iter().filter_map(|e| match happened(e) {
        Some(Happened::FactWithdrawn { fact_id, .. }) => Some(*fact_id),
        _ => None,
    });
    asked.filter(|id| !firm(*id)).collect()
}

/// When the first product first touched, as the record tells it; none before it could have.
pub fn first_touch(events: &[Event]) -> Option<(Instant, i64)> {
    let back = taken_back(events);
    let tap = events
        .iter()
        .filter(|e| matches!(happened(e), Some(Happened::SectionStarted { .. })))
        .filter(|e| e.fact_id.is_none_or(|f| !back.contains(&f)))
        .map(|e| (e.happened_at, e.seq))
        .min();
    let begun = openings(events)
        .into_iter()
        .filter(|(_, s)| s.as_str() == "apply")
        .map(|(i, _)| (events[i].recorded_at, events[i].seq))
        .min();
    tap.or(begun)
}

/// The first product touched and no water ran clear within its longest.
pub fn most_passed(events: &[Event]) -> bool {
    let Some((from, seq)) = first_touch(events) else { return false };
    let back = taken_back(events);
    let until = from + Duration::minutes(i64::from(MOST_MIN));
    let clear = |e: &Event| {
        matches!(happened(e), Some(Happened::SectionRinsed { clear: true, .. }))
            && e.fact_id.is_none_or(|f| !back.contains(&f))
            && (e.happened_at, e.seq) > (from, seq)
            && e.happened_at <= until
    };
    // An ended service's clocks stand still at its end.
    let ended = events
        .iter()
        .find(|e| matches!(granted(e), Some(Granted::RunFinished { .. } | Granted::RunLeft { .. })));
    ended.is_none_or(|e| e.recorded_at > until) && !events.iter().any(clear)
}

/// An opening step began and no water has run clear since: product may be on.
pub fn may_be_on(events: &[Event]) -> bool {
    let back = taken_back(events);
    let Some((i, _)) = openings(events).pop() else { return false };
    let begun = (events[i].recorded_at, events[i].seq);
    let clear = |e: &Event| {
        matches!(happened(e), Some(Happened::SectionRinsed { clear: true, .. }))
            && e.fact_id.is_none_or(|f| !back.contains(&f))
            && (e.happened_at, e.seq) > begun
    };
    !events.iter().any(clear)
}

/// No opening step began once the hair was being closed, as far as the record knew.
pub fn nothing_reopened(events: &[Event]) -> bool {
    let closing = |e: &Event| match &e.kind {
        EventKind::Granted(Granted::StepStarted { step })
        | EventKind::Happened(Happened::ClosingStarted { step, .. }) => step.as_str() == "neutralise",
        _ => false,
    };
    openings(events).into_iter().all(|(i, _)| !events[..i].iter().any(closing))
}
