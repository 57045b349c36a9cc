//! Which permissions may be taken back as a wrong tap, and until when: while nothing rests on them.
//!
//! A fact is taken back by its own name (`facts::record`). A permission that is taken back closes what it opened: a step
//! is not begun, an answer is asked again, a bowl is not in use. Both lines stay on record.

use super::command::Context;
use super::decide::{granted, reason_fits};
use super::event::{Granted, NewEvent};
use super::refusal::{Refusal, Refusals};
use super::state::{Given, GivenKind, State};
use super::value::Instant;
use crate::domain::protocol::{HoldPoint, StepCode};
use time::Duration;

/// Minutes for which an opening step that nobody tapped a touch in may be said not to have begun. Later product may be
/// on that nobody tapped, and its clock stands (no source; short against every longest allowed of the shipped protocols).
pub const OPENING_TAKEN_BACK_WITHIN_MIN: i64 = 3;

impl State<'_> {
    /// This permission may be taken back now: it stands, and nothing rests on it.
    pub fn may_take_back(&self, given: &Given, now: Instant) -> bool {
        if self.ended.is_some() || self.stop.is_some() {
            return false;
        }
        let done_since = self.done_seqs.iter().any(|seq| *seq > given.seq);
        let steps_since =
            |g: &&Given| g.seq > given.seq && matches!(g.what, GivenKind::Begun(_) | GivenKind::Done(_));
        let moved_on = self.given.iter().any(|g| steps_since(&g)) || done_since;
        match &given.what {
            GivenKind::Begun(code) => !moved_on && self.may_unbegin(code, given, now),
            GivenKind::Done(_) => !moved_on,
            GivenKind::Answered(code, point) => !self.rests_on_answer(code, *point, given),
            GivenKind::Bowl(letter) => {
                let begun = |code: &StepCode| {
                    self.frame.protocol.step(code).is_some_and(|s| s.application == Some(*letter))
                };
                !self.given.iter().any(|g| matches!(&g.what, GivenKind::Begun(code) if begun(code)))
            }
        }
    }

    fn may_unbegin(&self, code: &StepCode, given: &Given, now: Instant) -> bool {
        let opening = self.frame.protocol.step(code).is_some_and(|s| s.is_opening());
        !opening || now - given.at <= Duration::minutes(OPENING_TAKEN_BACK_WITHIN_MIN)
    }

    /// Its step, or a later chemical one, was begun on it; or a complaint was settled by it.
    fn rests_on_answer(&self, code: &StepCode, point: HoldPoint, given: &Given) -> bool {
        let asks = |step: &StepCode| {
            step == code || self.frame.protocol.step(step).is_some_and(|s| s.hold_points.contains(&point))
        };
        self.given
            .iter()
            .any(|g| g.seq > given.seq && matches!(&g.what, GivenKind::Begun(step) if asks(step)))
    }

    /// Permissions that may be taken back now, the last first.
    pub fn takeable(&self, now: Instant) -> Vec<&Given> {
        self.given.iter().rev().filter(|g| self.may_take_back(g, now)).collect()
    }
}

/// Decides `TakeBack`. A bowl takes the answer that was signed with it along.
pub(super) fn take_back(
    state: &State,
    seq: i64,
    reason: &str,
    context: &Context,
) -> Result<Vec<NewEvent>, Refusals> {
    if !reason_fits(reason) {
        return Err(vec![Refusal::ReasonMissing]);
    }
    let Some(given) = state.given.iter().find(|g| g.seq == seq) else {
        return Err(vec![Refusal::NotWithdrawable]);
    };
    if !state.may_take_back(given, context.now) {
        return Err(vec![Refusal::TooLateToTakeBack]);
    }
    let with_it = |g: &&Given| {
        matches!(given.what, GivenKind::Bowl(_))
            && g.seq == seq + 1
            && matches!(g.what, GivenKind::Answered(_, HoldPoint::Lot))
    };
    let also = state.given.iter().find(with_it).map(|g| g.seq);
    let event = |seq| granted(context, Granted::PermissionWithdrawn { seq, reason: reason.to_owned() });
    Ok(std::iter::once(seq).chain(also).map(event).collect())
}
