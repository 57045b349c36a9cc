//! What went against the rules in a record, said again over its events: exactly these, none missing, none more. The
//! services searched have one closing step and no phases, windows or looks; one quadrant is tapped, the whole head is
//! rinsed, so every quadrant is on as long as every other.

use super::rules::{self, granted, happened, is_sting, is_stop};
use super::service::{MOST_MIN, long_after};
use rinsebell::domain::protocol::{Clock, HoldPoint, Section, StepCode};
use rinsebell::domain::run::{Breach, Event, EventKind, Granted, Happened, HeadPlace, Instant};
use std::collections::BTreeSet;
use time::Duration;

/// Every breach of a record.
pub fn expected(events: &[Event]) -> BTreeSet<Breach> {
    let mut found = BTreeSet::new();
    let ended = events
        .iter()
        .find(|e| matches!(granted(e), Some(Granted::RunFinished { .. } | Granted::RunLeft { .. })))
        .map(|e| e.recorded_at);
    let closing = closings(events, &mut found);
    for (letter, step) in [('A', "apply"), ('B', "wind")] {
        let spans = spans(events, step);
        if let Some(since) = passed(&spans, ended.map_or(long_after(), |at| at.min(long_after()))) {
            found.extend(Section::QUADRANTS.map(|section| Breach::MostPassed {
                application: letter,
                section,
                since,
            }));
        }
        let left = |(_, to): &(Instant, Option<Instant>)| {
            to.is_none_or(|rinsed| closing.is_none_or(|begun| begun < rinsed))
        };
        if let Some(at) = ended.filter(|_| spans.last().is_some_and(left)) {
            found.insert(Breach::LeftOpen { at });
        }
    }
    touches(events, &mut found);
    complaints(events, ended, &mut found);
    too_soon(events, &mut found);
    for stop in stops(events) {
        for (i, step) in rules::openings(events) {
            let at = events[i].recorded_at;
            let overtaken = i < stop.place && at > stop.at;
            if overtaken || (i > stop.place && stop.ended.is_none_or(|(close, _)| i < close)) {
                found.insert(Breach::OpenedAfterStop { step: step.clone(), at });
            }
        }
    }
    found
}

/// What counts, by instant.
fn by_instant(events: &[Event]) -> Vec<&Event> {
    let back = rules::taken_back(events);
    let mut kept: Vec<&Event> = events.iter().collect();
    kept.retain(|e| {
        let taps =
            matches!(happened(e), Some(Happened::SectionStarted { .. } | Happened::SectionRinsed { .. }));
        !(taps && e.fact_id.is_some_and(|f| back.contains(&f)))
    });
    kept.sort_by_key(|e| (e.happened_at, e.seq));
    kept
}

fn begins(event: &Event, code: &str) -> bool {
    match &event.kind {
        EventKind::Granted(Granted::StepStarted { step })
        | EventKind::Happened(Happened::ClosingStarted { step, .. }) => step.as_str() == code,
        _ => false,
    }
}

/// How the closing step was begun; when first.
fn closings(events: &[Event], found: &mut BTreeSet<Breach>) -> Option<Instant> {
    let kept = by_instant(events);
    let begun: Vec<&&Event> = kept.iter().filter(|e| begins(e, "neutralise")).collect();
    let first = begun.first()?.happened_at;
    let step = || StepCode::from("neutralise");
    if begun.iter().all(|e| granted(e).is_none()) {
        found.insert(Breach::ClosingNotConfirmed { step: step() });
    }
    let read = |e: &Event| {
        matches!(granted(e), Some(Granted::HoldPointSigned { signed, .. }) if signed.hold_point == HoldPoint::Scalp)
            && e.recorded_at <= first
            && first <= e.recorded_at + Duration::minutes(90)
    };
    if !events.iter().any(read) {
        found.insert(Breach::ScalpNotRead { step: step() });
    }
    Some(first)
}

/// From when to when a product was on: one stretch from a begin, or the taps that go with it, to the clear water.
fn spans(events: &[Event], step: &str) -> Vec<(Instant, Option<Instant>)> {
    let tap = |e: &Event| matches!(happened(e), Some(Happened::SectionStarted { step: s, .. }) if s.as_str() == step);
    let water = |e: &Event| matches!(happened(e), Some(Happened::SectionRinsed { .. }));
    let kept: Vec<&Event> =
        by_instant(events).into_iter().filter(|e| tap(e) || water(e) || begins(e, step)).collect();
    // Each try: what was put on, up to the water after it.
    let mut tries: Vec<(Vec<&Event>, Option<Instant>)> = Vec::new();
    for event in kept {
        let open = tries.last_mut().filter(|(_, to)| to.is_none());
        match (water(event), open) {
            (true, Some((_, to))) => *to = Some(event.happened_at),
            (true, None) => {}
            (false, Some((on, _))) => on.push(event),
            (false, None) => tries.push((vec![event], None)),
        }
    }
    let from = |(nth, (on, to)): (usize, (Vec<&Event>, Option<Instant>))| {
        let first_tap = on.iter().find(|e| tap(e)).map(|e| e.happened_at);
        // In the first try a tap says when it touched, whenever; later only where it follows the begin at once.
        let said = if nth == 0 { first_tap } else { on.get(1).filter(|e| tap(e)).map(|e| e.happened_at) };
        let from = if tap(on[0]) { on[0].happened_at } else { said.unwrap_or(on[0].happened_at) };
        (from, to)
    };
    tries.into_iter().enumerate().map(from).collect()
}

/// When all stretches together passed the longest.
fn passed(spans: &[(Instant, Option<Instant>)], until: Instant) -> Option<Instant> {
    let most = Duration::minutes(i64::from(MOST_MIN));
    let mut sum = Duration::ZERO;
    for (from, to) in spans {
        let length = (to.unwrap_or(until).min(until) - *from).max(Duration::ZERO);
        if sum + length > most {
            return Some(*from + (most - sum));
        }
        sum += length;
    }
    None
}

/// A stop, recorded or by a second complaint that stands.
struct Stop {
    at: Instant,
    place: usize,
    ended: Option<(usize, Instant)>,
}

fn stops(events: &[Event]) -> Vec<Stop> {
    let close = |e: &Event| matches!(granted(e), Some(Granted::StopClosed { .. }));
    let mut stops = Vec::new();
    let mut complaints = 0;
    for (place, event) in events.iter().enumerate() {
        let ended =
            events.iter().enumerate().skip(place).find(|(_, e)| close(e)).map(|(i, e)| (i, e.recorded_at));
        complaints = if close(event) { 0 } else { complaints + u32::from(is_sting(event)) };
        if is_stop(event) || (is_sting(event) && complaints >= 2 && ended.is_none()) {
            stops.push(Stop { at: event.happened_at, place, ended });
        }
    }
    stops
}

/// The first water on the whole head from an instant on.
fn water_after(events: &[Event], at: Instant) -> Option<Instant> {
    let water = |e: &&Event| matches!(happened(e), Some(Happened::SectionRinsed { .. }));
    by_instant(events).into_iter().filter(water).map(|e| e.happened_at).find(|w| *w >= at)
}

/// Complaints without water in time or without a look, and skin said whole before twenty minutes of water.
fn complaints(events: &[Event], ended: Option<Instant>, found: &mut BTreeSet<Breach>) {
    let until = ended.map_or(long_after(), |at| at.min(long_after()));
    let place = HeadPlace::Nape;
    let read_of = |e: &Event| match granted(e) {
        Some(Granted::StopRead { whole }) => Some(*whole),
        _ => None,
    };
    for sting in events.iter().filter(|e| is_sting(e)) {
        let (at, rinsed) = (sting.happened_at, water_after(events, sting.happened_at));
        if rinsed.unwrap_or(until) - at > Duration::minutes(2) || (rinsed.is_none() && ended.is_some()) {
            found.insert(Breach::StingNotRinsed { place, at, rinsed });
        }
        let looked = events.iter().any(|e| {
            matches!(granted(e), Some(Granted::HoldPointSigned { signed, .. }) if signed.hold_point == HoldPoint::Scalp)
                && e.seq > sting.seq
                && rinsed.is_some_and(|rinsed| e.recorded_at >= rinsed)
        });
        let skin = events.iter().any(|e| read_of(e).is_some() && e.recorded_at >= at);
        if ended.is_some() && !looked && !skin {
            found.insert(Breach::StingNotRead { place, at });
        }
    }
    let begun = ["apply", "wind", "neutralise"];
    let met = by_instant(events).iter().any(|e| {
        begun.iter().any(|code| begins(e, code))
            || matches!(happened(e), Some(Happened::SectionStarted { .. }))
    });
    for (place, read) in events.iter().enumerate().filter(|(_, e)| met && read_of(e) == Some(true)) {
        let known = &events[..place];
        let last_close = known.iter().rposition(|e| matches!(granted(e), Some(Granted::StopClosed { .. })));
        let stood = stops(known).into_iter().filter(|s| last_close.is_none_or(|close| s.place > close));
        let Some(stopped) = stood.map(|s| s.at).min() else { continue };
        let ran = water_after(events, stopped).map_or(Duration::ZERO, |from| read.recorded_at - from);
        if ran < Duration::minutes(20) {
            let ran_s = ran.max(Duration::ZERO).whole_seconds();
            found.insert(Breach::WaterShort { at: read.recorded_at, ran_s });
        }
    }
}

/// Contact that ended before half its target of 20 minutes, and not for a stop or a complaint.
fn too_soon(events: &[Event], found: &mut BTreeSet<Breach>) {
    let half = Duration::minutes(10);
    for step in ["apply", "wind"] {
        let spans = spans(events, step);
        let Some(ended) = spans.last().and_then(|(_, to)| *to) else { continue };
        let worked: Duration = spans.iter().map(|(from, to)| to.unwrap_or(ended) - *from).sum();
        let stung = events.iter().any(|e| is_sting(e) && e.happened_at <= ended);
        if worked < half && !stung && !events.iter().any(|e| is_stop(e) && e.happened_at <= ended) {
            let (clock, step) = (Clock::Exposure, StepCode::from(step));
            let (worked_s, of_s) = (worked.whole_seconds(), half.whole_seconds());
            found.insert(Breach::EndedEarly { step, clock, worked_s, of_s });
        }
    }
}

/// What is wrong with a tap of the first product.
fn touches(events: &[Event], found: &mut BTreeSet<Breach>) {
    let kept = by_instant(events);
    let begun = kept.iter().find(|e| begins(e, "apply")).map(|e| e.happened_at);
    for event in &kept {
        let Some(Happened::SectionStarted { step, section, .. }) = happened(event) else { continue };
        let (section, at) = (*section, event.happened_at);
        if begun.is_none_or(|b| at < b) {
            found.insert(Breach::TouchedBeforeStart { step: step.clone(), section });
        }
        if stops(events).iter().any(|s| at > s.at && s.ended.is_none_or(|(_, ended)| at < ended)) {
            found.insert(Breach::TouchedAfterStop { section, at });
        }
        let stung = events.iter().filter(|e| is_sting(e) && e.happened_at < at);
        let read = |sting: &Event| {
            let Some(rinsed) = water_after(events, sting.happened_at) else { return false };
            events.iter().any(|e| {
                matches!(granted(e), Some(Granted::HoldPointSigned { signed, .. })
                    if signed.hold_point == HoldPoint::Scalp && signed.value == "intact")
                    && (rinsed..=at).contains(&e.recorded_at)
                    && e.seq > sting.seq
            })
        };
        if stung.max_by_key(|e| (e.happened_at, e.seq)).is_some_and(|sting| !read(sting)) {
            found.insert(Breach::TouchedAfterSting { section, at });
        }
    }
}
