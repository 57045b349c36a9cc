//! Hold points of the Run screen: what is asked, what was answered, and how a wrong answer is put right.

use super::view::{Maker, Point, Value};
use crate::domain::access::{Act, may};
use crate::domain::protocol::hold_point::SAME_PAIR;
use crate::domain::protocol::{HoldPoint, Meaning, Step};
use crate::domain::run::{HeadPlace, Owed};
use crate::words;

/// The scalp where it stung, asked by itself and first.
pub(super) struct ScalpAsk {
    pub(super) step: String,
    pub(super) place: &'static str,
    pub(super) point: Point,
}

/// Signed with what records say, or with its bowl.
const fn of_records(point: HoldPoint) -> bool {
    matches!(point, HoldPoint::Plan | HoldPoint::Consent | HoldPoint::StrandTest | HoldPoint::Lot)
}

/// What an answer that does not hold asks for now.
fn then(meaning: Meaning) -> &'static str {
    match meaning {
        Meaning::Holds => "",
        Meaning::Fails => tr!("The step waits. Put it right, then answer again."),
        Meaning::FailsForGood => {
            tr!("Nothing more goes on today, whoever asks. Say: today we can trim, treat and set.")
        }
    }
}

impl Maker<'_> {
    /// Hold points of a step that waits, what is not answered first.
    pub(super) fn points(&self, step: &Step) -> Vec<Point> {
        let judges = self.seat.person().is_some_and(|p| may(p.role, Act::SignJudgement));
        let mut asked = self.state.asked_before(step);
        // What is asked ahead of its step is not asked of somebody who may not answer it.
        asked.retain(|(of, p)| judges || of.code == step.code || *p != HoldPoint::PatchTest);
        let mut points: Vec<Point> = asked.into_iter().map(|(step, p)| self.point(p, step)).collect();
        points.sort_by_key(|p| !p.held.is_empty() && !p.fails);
        points
    }

    /// Answers of the step in hand: they can still turn out wrong, and stop what they would have stopped.
    pub(super) fn answered_before(&self, waits: Option<&Step>) -> Vec<(String, Point)> {
        let Some(step) = self.state.step_in_hand().filter(|_| self.state.stop.is_none()) else {
            return Vec::new();
        };
        if waits.is_some_and(|w| w.code == step.code) {
            return Vec::new();
        }
        let asked = step.hold_points.iter().filter(|p| !of_records(**p));
        let points = asked.map(|p| self.point(*p, step)).filter(|p| !p.held.is_empty());
        points.map(|p| (step.code.to_string(), p)).collect()
    }

    /// After a complaint whose place is rinsed.
    pub(super) fn scalp_ask(&self) -> Option<ScalpAsk> {
        let (sting, owed) = self.state.open_sting()?;
        let last = self.loaded.frame.protocol.steps.last();
        let step = self.state.step_in_hand().or_else(|| self.state.next_step()).or(last)?;
        let waits =
            matches!(owed, Owed::Look { .. }) && self.state.stop.is_none() && self.state.ended.is_none();
        waits.then(|| ScalpAsk {
            step: step.code.to_string(),
            place: sting.place.words(),
            point: self.point(HoldPoint::Scalp, step),
        })
    }

    pub(super) fn point(&self, point: HoldPoint, step: &Step) -> Point {
        let signature = self.state.signature(point, &step.code).filter(|x| {
            point != HoldPoint::Scalp
                || (self.now - x.recorded_at <= time::Duration::minutes(90)
                    && self.state.open_sting().is_none()
                    && !self.state.stings.iter().any(|y| y.seq > x.seq))
        });
        let answer = signature.and_then(|x| x.signed.answer());
        let held = signature.map_or_else(String::new, |x| {
            let who = x.by.map_or_else(|| tr!("this station").into(), |p| self.around.name(p.0));
            let what = answer.map_or(tr!("not known"), |a| words::of(a.words));
            let place = x.signed.place.map(|p| format!(", {}", p.words())).unwrap_or_default();
            format!("{what}{place}; {who}, {}", self.clock(x.recorded_at))
        });
        // A lot that waits for the bowl is signed with it: there is nothing to tap but what speaks against it.
        let with_bowl = point == HoldPoint::Lot && self.bowl(step).is_some_and(|b| b.more.is_none());
        let same_pair = self.seat.person().is_some_and(|p| self.state.wears_the_same_pair(p.id));
        Point {
            title: point.title(),
            question: point.question(),
            code: point.code(),
            step: step.code.to_string(),
            fails: answer.is_some_and(|a| a.meaning != Meaning::Holds),
            for_good: answer.is_some_and(|a| a.meaning == Meaning::FailsForGood),
            then: answer.map_or("", |a| then(a.meaning)),
            held,
            values: point
                .answers()
                .iter()
                .filter(|a| !with_bowl || a.meaning != Meaning::Holds)
                .filter(|a| a.code != SAME_PAIR || same_pair)
                // What records say is no answer to put right.
                .filter(|_| answer.is_none() || !of_records(point))
                .map(|a| Value {
                    code: format!("{}:{}", point.code(), a.code),
                    words: words::of(a.words),
                    asks_where: a.asks_where,
                    holds: a.meaning == Meaning::Holds,
                })
                .collect(),
        }
    }

    /// Places on this head.
    pub(super) fn places(&self) -> Vec<(&'static str, &'static str)> {
        HeadPlace::ALL.iter().map(|p| (p.code(), p.words())).collect()
    }
}
