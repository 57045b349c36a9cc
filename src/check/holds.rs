//! Were the hold points held when a chemical step started? Judged again by the domain, from the events that
//! stood before it and the records as they were at that instant, as far as they still tell.

use crate::domain::ids::StationId;
use crate::domain::protocol::{Chemical, HoldPoint};
use crate::domain::run::{Context, Event, EventKind, Granted, State, hold_point_refusals};
use crate::flow::run_context;
use crate::flow::runs::Loaded;
use crate::store::{Scoped, Stored};

/// What spoke against each start of an opening or closing step, with its number in the record.
pub(super) async fn check(s: &mut Scoped, loaded: &mut Loaded) -> Stored<Vec<(i64, String)>> {
    let events = std::mem::take(&mut loaded.events);
    let mut found = Vec::new();
    for (n, event) in events.iter().enumerate() {
        let EventKind::Granted(Granted::StepStarted { step }) = &event.kind else { continue };
        let Some(step) = loaded.frame.protocol.step(step).cloned() else {
            found.push((event.seq, format!("step {step} is none of its protocol.")));
            continue;
        };
        let points: &[HoldPoint] = match step.chemical {
            Chemical::Opening => &step.hold_points,
            Chemical::Closing => &[HoldPoint::Gloves, HoldPoint::EyeProtection],
            Chemical::None => continue,
        };
        loaded.now = event.recorded_at;
        let holds = run_context::holds_then(s, loaded).await?;
        let context =
            Context { now: event.recorded_at, actor: None, station: StationId(0), holds, hands_until: None };
        let state = State::fold(&loaded.frame, &events[..n]);
        for point in points {
            let refusals = hold_point_refusals(&state, &step, *point, &context);
            let words = refusals.iter().map(|r| r.words(&super::utc).trim_end_matches('.').to_owned());
            found.extend(words.map(|why| {
                (
                    event.seq,
                    format!("step {} started although {} did not hold: {why}.", step.code, point.code()),
                )
            }));
        }
        if step.is_opening() && stopped_before(&state, &events[..n]) {
            found.push((event.seq, format!("step {} started after a stop was on record.", step.code)));
        }
    }
    loaded.events = events;
    Ok(found)
}

/// A stop was in force, or the run was over, when the next event was written.
fn stopped_before(state: &State<'_>, before: &[Event]) -> bool {
    let ended = |e: &Event| {
        matches!(&e.kind, EventKind::Granted(Granted::RunFinished { .. } | Granted::RunLeft { .. }))
    };
    state.stop.is_some() || before.iter().any(ended)
}
