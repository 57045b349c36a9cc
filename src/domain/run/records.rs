//! Hold points at an instant: what was signed in the run, and what the records outside it say.

use super::command::Context;
use super::refusal::{Refusal, Refusals};
use super::state::State;
use crate::domain::protocol::{Chemical, HoldPoint, Meaning, Step, Validity};
use crate::words;
use time::Duration;

/// Why a hold point does not let a step go on now; empty when it holds.
pub fn hold_point_refusals(state: &State, step: &Step, point: HoldPoint, context: &Context) -> Refusals {
    if let Some(failed) = state.failed_for_good(point) {
        let seen = failed.signed.answer().map_or(tr!("not known"), |a| words::of(a.words));
        return vec![Refusal::HoldPointFailed { hold_point: point, seen, for_good: true }];
    }
    let mut refusals = record_lacks(state, point, Some(step), context);
    let missing = |lapsed| Refusal::HoldPointMissing { hold_point: point, lapsed };
    let Some(signature) = state.signature(point, &step.code) else {
        let before = state.signatures.iter().any(|s| s.signed.hold_point == point);
        refusals.push(missing(before));
        return refusals;
    };
    if let Some(answer) = signature.signed.answer().filter(|a| a.meaning != Meaning::Holds) {
        refusals.push(Refusal::HoldPointFailed { hold_point: point, seen: answer.words, for_good: false });
    }
    if let Validity::VisitWithin { within_min } = point.validity() {
        let until = signature.recorded_at + Duration::minutes(i64::from(within_min));
        // It speaks of the scalp after the water, where it stung.
        let settled = |s: &super::state::Sting| state.sting_read(s).is_some_and(|r| r.seq <= signature.seq);
        let open = state.stings.iter().filter(|s| s.seq > state.closed_seq);
        let stung_since = open.into_iter().any(|s| s.seq > signature.seq || !settled(s));
        if context.now > until || stung_since {
            refusals.push(missing(true));
        }
    }
    if point.validity() == Validity::Mixture
        && let Some(mixture) = state.mixture_of(step, &|lot| context.holds.product_of(lot))
    {
        if mixture.renewed_after(signature.seq) {
            refusals.push(missing(true));
        }
        refusals.extend(mixture.dead_at(context.now, signature.recorded_at));
    }
    refusals
}

/// What the records outside the run say against a hold point now.
pub(super) fn record_lacks(
    state: &State,
    point: HoldPoint,
    step: Option<&Step>,
    context: &Context,
) -> Refusals {
    let (holds, now) = (&context.holds, context.now);
    let visit = |r: Result<(), _>| {
        r.err().map(|lacks| Refusal::RecordLacking { hold_point: point, application: None, lacks })
    };
    match point {
        HoldPoint::Consent => visit(holds.consent_holds_at(now)).into_iter().collect(),
        HoldPoint::Plan => visit(holds.plan_holds_at(now)).into_iter().collect(),
        // Every product of the service, the lotion as well as the straightener.
        HoldPoint::PatchTest | HoldPoint::StrandTest => {
            let opening =
                state.frame.protocol.applications.iter().filter(|a| a.chemical == Chemical::Opening);
            let mut refusals = Vec::new();
            for letter in opening.map(|a| a.letter) {
                let Some(product) = state.frame.product(letter) else {
                    refusals.push(Refusal::ProductMissing { application: letter });
                    continue;
                };
                let judged = if point == HoldPoint::PatchTest {
                    holds.patch_test_holds_at(product, now)
                } else {
                    holds.strand_test_holds_at(product, now)
                };
                if let Err(lacks) = judged {
                    let application = Some(letter);
                    refusals.push(Refusal::RecordLacking { hold_point: point, application, lacks });
                }
            }
            refusals
        }
        HoldPoint::Lot => {
            step.and_then(|s| s.application).map_or_else(Vec::new, |letter| lot_lacks(state, letter, context))
        }
        // What is said to be mixed now stands in the bowl, and has not stood there for longer than it lives.
        HoldPoint::Mixed => step
            .and_then(|s| state.mixture_of(s, &|lot| context.holds.product_of(lot)))
            .map_or_else(Vec::new, |mixture| {
                mixture.lacks().into_iter().chain(mixture.dead_at(now, now)).collect()
            }),
        _ => Vec::new(),
    }
}

/// The last lot of each part in the bowl speaks.
fn lot_lacks(state: &State, letter: char, context: &Context) -> Refusals {
    let Some(product) = state.frame.product(letter) else {
        return vec![Refusal::ProductMissing { application: letter }];
    };
    let bowl = state.bowl(product, &|lot| context.holds.product_of(lot));
    let judge = |lot, of| {
        let judged = context.holds.lot_holds_at(of, lot, context.now);
        judged.err().map(|lacks| Refusal::LotUnfit { lot, lacks })
    };
    let mut refusals = Vec::new();
    match bowl.own {
        None => refusals.push(Refusal::LotNotDispensed { application: letter }),
        Some(d) => refusals.extend(judge(d.lot, product.product)),
    }
    match bowl.part {
        None if !product.parts.is_empty() => refusals.push(Refusal::PartNotDispensed { application: letter }),
        None => {}
        Some(d) => {
            let of = context.holds.product_of(d.lot).unwrap_or(product.product);
            refusals.extend(judge(d.lot, of));
        }
    }
    refusals
}

/// The value that says what the records say: strand test passed, or not asked for by the plan.
pub(super) fn record_value(point: HoldPoint, context: &Context) -> &'static str {
    let not_asked = point == HoldPoint::StrandTest && !context.holds.strand_test_needed;
    let answers = point.answers();
    let chosen = if not_asked { answers.last() } else { answers.first() };
    chosen.map_or("", |a| a.code)
}
