//! Facts go on record: whoever tapped, however late. What they break is seen by the fold.

use super::command::{Context, Fact};
use super::decide::{PLACE_UNKNOWN, reason_fits};
use super::event::{EventKind, Happened, NewEvent};
use super::refusal::{Refusal, Refusals};
use super::state::State;
use super::value::{Comfort, FactId, HeadPlace};
use crate::domain::protocol::{Section, SectionWork, Step, StepCode};

/// Most rods on one head that are believed.
pub const RODS_MOST: u16 = 200;
/// Most millimetres cut that are believed.
pub const TRIM_MOST_MM: f64 = 1500.0;

/// Decides `Record`. A fact already on record gets no events: it stands.
pub(super) fn record(state: &State, fact: &Fact, context: &Context) -> Result<Vec<NewEvent>, Refusals> {
    if state.facts.contains(&fact.fact_id) {
        return Ok(Vec::new());
    }
    let Some(started_at) = state.started_at else { return Err(vec![Refusal::RunNotStarted]) };
    fits(state, &fact.happened)?;
    let happened_at = fact.happened_at.clamp(started_at, context.now.max(started_at));
    let claimed_at = (happened_at != fact.happened_at).then_some(fact.happened_at);
    let put = |fact_id: FactId, happened: Happened| NewEvent {
        happened_at,
        claimed_at,
        by: context.actor.as_ref().map(|a| a.person),
        station: context.station,
        fact_id: Some(fact_id),
        kind: EventKind::Happened(happened),
    };
    let mut events = vec![put(fact.fact_id, fact.happened.clone())];
    // "It stings" said to a bell is a complaint like any other.
    let complaint = match &fact.happened {
        Happened::BellAnswered { comfort: Comfort::Stings, place, .. }
        | Happened::ComfortNoted { comfort: Comfort::Stings, place } => {
            let place = place.unwrap_or(PLACE_UNKNOWN);
            events.push(put(fact.fact_id.following(), Happened::StingReported { place }));
            true
        }
        Happened::StingReported { .. } => true,
        _ => false,
    };
    let before = state.stings.iter().filter(|s| s.seq > state.closed_seq).count();
    if complaint && before >= 1 && state.stop.is_none() {
        events.push(put(fact.fact_id.following_stop(), Happened::StopRecorded));
    }
    Ok(events)
}

/// It fits the protocol. Lateness is no reason, nor is anything that it breaks.
fn fits(state: &State, happened: &Happened) -> Result<(), Refusals> {
    let step = |code: &StepCode| state.frame.protocol.step(code);
    let known = |code: &StepCode| step(code).is_some();
    let fits = match happened {
        Happened::SectionStarted { step: code, section, pass } => {
            state.frame.sections().contains(section) && step(code).is_some_and(|s| has_pass(s, *pass))
        }
        Happened::SectionRinsed { step: code, section, .. } => {
            known(code) && section.is_none_or(|s| state.frame.sections().contains(&s))
        }
        Happened::BellAnswered { step: code, clock, .. } => {
            step(code).is_some_and(|s| s.times(*clock).is_some())
        }
        Happened::ClosingStarted { step: code, .. } => step(code).is_some_and(Step::is_closing),
        // One of the head's own sections is rinsed as a section, which ends its clock.
        Happened::PlaceRinsed { place } => section_of(*place, state.frame.sections()).is_none(),
        Happened::FactWithdrawn { fact_id, reason } => return withdrawal(state, *fact_id, reason),
        Happened::RodsNoted { count, .. } => {
            return figure((1..=RODS_MOST).contains(count), "rods: 1 to 200");
        }
        Happened::Trimmed { mm } => {
            return figure(*mm > 0.0 && *mm <= TRIM_MOST_MM, tr!("trim: more than 0, at most 1500 mm"));
        }
        Happened::ProgressRead { look, section, .. } => {
            let watched = state.frame.protocol.steps.iter().filter_map(|s| s.look).any(|l| l.what == *look);
            watched && state.frame.sections().contains(section)
        }
        Happened::TestCurlRead { .. }
        | Happened::StingReported { .. }
        | Happened::StopRecorded
        | Happened::ComfortNoted { .. } => true,
    };
    if fits { Ok(()) } else { Err(vec![Refusal::FactNotOfRun]) }
}

fn has_pass(step: &Step, pass: u8) -> bool {
    match step.sections {
        Some(SectionWork::Apply { pass: own }) => own == pass,
        Some(SectionWork::Smooth | SectionWork::Rinse) => pass == 1,
        None => false,
    }
}

fn figure(believed: bool, words: &'static str) -> Result<(), Refusals> {
    if believed { Ok(()) } else { Err(vec![Refusal::FigureImplausible { words }]) }
}

/// What is to be taken back may still be on its way; what is never taken back is known by its kind.
fn withdrawal(state: &State, fact_id: FactId, reason: &str) -> Result<(), Refusals> {
    if !reason_fits(reason) {
        return Err(vec![Refusal::ReasonMissing]);
    }
    if state.firm_facts.contains(&fact_id) {
        return Err(vec![Refusal::NotWithdrawable]);
    }
    Ok(())
}

/// The section a place lies in, where the head is parted so; a place that lies in none counts everywhere.
pub(super) fn section_of(place: HeadPlace, sections: &[Section]) -> Option<Section> {
    let section = match place {
        HeadPlace::Quadrant(section) => section,
        HeadPlace::Hairline => Section::Hairline,
        _ => return None,
    };
    sections.contains(&section).then_some(section)
}
