//! A service walked on paper once, decided act by act by the rules of a run as they are, to be given to many heads with
//! its instants moved: the same acts, another day, other hands, other lots.

use serde_json::Value;
use time::Duration;
use time::macros::datetime;

use super::dice::Dice;
use super::text::canonical;
use crate::domain::chemistry::family::{Family, Group};
use crate::domain::ids::ProductId;
use crate::domain::protocol::{HoldPoint, PlannedZone, StepCode};
use crate::domain::run::rehearsal::{ACTS_MOST, Rehearsal};
use crate::domain::run::state::Ended;
use crate::domain::run::{
    Comfort, Command, Event, EventKind, Granted, Happened, HeadPlace, Instant, RunFrame,
};
use crate::domain::strand::Zone;
use crate::store::run_codec;

/// Any instant: what is kept of a walk counts from its start.
const START: Instant = datetime!(2026-01-05 09:00 UTC);

/// How a service goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Course {
    /// To its end.
    Calm,
    /// It stings once; that place is rinsed, the scalp read, and it goes on.
    Sting,
    /// Stopped and rinsed.
    Stop,
    /// The client goes once the product is off.
    Left,
}

/// What is written for one event; what differs from head to head is left open.
#[derive(Clone, Debug)]
pub struct Act {
    /// Microseconds from the start.
    pub recorded: i64,
    /// The same.
    pub happened: i64,
    /// The kind's code.
    pub kind: &'static str,
    /// It is a fact, with a name of its own.
    pub fact: bool,
    /// The step.
    pub step: Option<String>,
    /// The hold point.
    pub hold_point: Option<&'static str>,
    /// What the answer means.
    pub outcome: Option<&'static str>,
    /// The document.
    pub data: Data,
}

/// The document of an event.
#[derive(Clone, Debug)]
pub enum Data {
    /// The same for every head.
    Same(String),
    /// Names the stylist.
    Stylist,
    /// Names a lot of this product, for the application.
    Lot(char, ProductId),
    /// The strand test's answer: passed where one was asked for.
    StrandTest,
}

/// Something to follow up.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mishap {
    /// Microseconds from the start.
    pub at: i64,
    /// The incident's kind.
    pub kind: &'static str,
    /// Where on the head.
    pub place: Option<String>,
}

/// A service as it goes.
#[derive(Clone, Debug)]
pub struct Walk {
    /// Its events.
    pub acts: Vec<Act>,
    /// How it ended: finished, stopped, left.
    pub ended: &'static str,
    /// What touched the hair.
    pub met: Vec<(Family, Zone, Option<bool>)>,
    /// Cut off the ends, mm.
    pub trimmed_mm: f64,
    /// What is to be followed up.
    pub mishaps: Vec<Mishap>,
}

/// Walks a service, `steady` without a second lost while product is on; none when it cannot be walked so: nothing to sting, a way the rules do not let it end.
pub fn walk(frame: &RunFrame, (course, steady): (Course, bool), dice: &mut Dice) -> Option<Walk> {
    let mut walked = Rehearsal::held_to(frame.clone(), START);
    let slack = dice.whole(5, 50);
    let trims = dice.chance(0.4);
    let mishap_after = dice.whole(3, 7);
    let (mut on_since, mut done, mut trimmed) = (None, course == Course::Calm, !trims);
    let mut went_on = false;
    while !walked.is_over() && walked.acts < ACTS_MOST {
        let on = walked.state().product_on();
        // Hands take their time, and less of it while product is on.
        let most = match (on, steady) {
            (true, true) => 0,
            (true, false) => 4,
            (false, _) => slack,
        };
        walked.now += Duration::seconds(dice.whole(0, most));
        on_since = if on { on_since.or(Some(walked.now)) } else { None };
        went_on |= on;
        let long_on = on_since.is_some_and(|since| walked.now - since >= Duration::minutes(mishap_after));
        match course {
            Course::Sting if !done && long_on => {
                done = true;
                let place =
                    *dice.pick(&[HeadPlace::Nape, HeadPlace::Crown, HeadPlace::Hairline, HeadPlace::Ear]);
                walked.fact(Happened::StingReported { place }).ok()?;
            }
            Course::Stop if !done && long_on => {
                done = true;
                walked.fact(Happened::StopRecorded).ok()?;
            }
            Course::Left if !done && went_on && !on && !walked.state().hair_open() => {
                let reason = "Had to go, called away.".to_owned();
                done = walked.command(&Command::LeaveRun { rinsed: true, reason }).is_ok();
                if done {
                    break;
                }
            }
            _ => {}
        }
        if !on && dice.chance(0.02) && walked.acts > 3 {
            walked.fact(Happened::ComfortNoted { comfort: Comfort::No, place: None }).ok()?;
        }
        if !trimmed && went_on && at_trim(&walked) {
            trimmed = true;
            let mm = dice.whole(4, 24) as f64 / 2.0;
            walked.fact(Happened::Trimmed { mm }).ok()?;
        }
        walked.act();
    }
    if !done || !walked.stuck.is_empty() {
        return None;
    }
    kept(&walked, course)
}

/// The step in hand is the one that trims.
fn at_trim(walked: &Rehearsal) -> bool {
    walked.state().step_in_hand().is_some_and(|s| s.code.as_str().contains("trim"))
}

fn kept(walked: &Rehearsal, course: Course) -> Option<Walk> {
    let state = walked.state();
    let ended = match state.ended? {
        (Ended::Finished, _) => "finished",
        (Ended::Stopped, _) => "stopped",
        (Ended::Left { .. }, _) => "left",
    };
    // What no careful hand would have let happen is not made the way of many heads.
    if course == Course::Calm && !state.breaches(walked.now).is_empty() {
        return None;
    }
    let begun = |code: &StepCode| state.step_state(code).is_some_and(|s| s.started_at.is_some());
    let met = walked
        .frame
        .protocol
        .applications
        .iter()
        .filter(|a| state.exposure(a.letter).is_some() || a.steps.iter().any(begun));
    let met = met.map(|a| {
        let family = walked.frame.product(a.letter).map_or(a.family, |p| p.family);
        let zone = match a.zone {
            PlannedZone::NewGrowth => Zone::NewGrowth,
            PlannedZone::RootToEnd => Zone::RootToEnd,
        };
        // As the program writes it when a run ends: thio says which way it was re-formed.
        (family, zone, (family.group() == Group::Thio).then_some(a.straightens))
    });
    Some(Walk {
        acts: walked.events.iter().map(act).collect(),
        ended,
        met: met.collect(),
        trimmed_mm: state.trimmed_mm,
        mishaps: walked.events.iter().filter_map(mishap).collect(),
    })
}

fn micros(at: Instant) -> i64 {
    i64::try_from((at - START).whole_microseconds()).unwrap_or(0)
}

fn act(e: &Event) -> Act {
    let document = run_codec::data_of(&e.kind);
    let data = match &e.kind {
        EventKind::Granted(Granted::RunStarted { .. }) => Data::Stylist,
        EventKind::Granted(Granted::LotDispensed { application, lot, .. }) => {
            Data::Lot(*application, ProductId(lot.0))
        }
        EventKind::Granted(Granted::HoldPointSigned { signed, .. })
            if signed.hold_point == HoldPoint::StrandTest =>
        {
            Data::StrandTest
        }
        _ => Data::Same(canonical(&document)),
    };
    Act {
        recorded: micros(e.recorded_at),
        happened: micros(e.happened_at),
        kind: e.kind.code(),
        fact: e.fact_id.is_some(),
        step: e.kind.step().map(|s| s.as_str().to_owned()),
        hold_point: e.kind.hold_point().map(|p| p.code()),
        outcome: e.kind.outcome(),
        data,
    }
}

fn mishap(e: &Event) -> Option<Mishap> {
    let (kind, place) = match &e.kind {
        EventKind::Happened(Happened::StopRecorded) => ("stop-and-rinse", None),
        EventKind::Happened(Happened::StingReported { place }) => ("sting", Some(place.code().to_owned())),
        _ => return None,
    };
    Some(Mishap { at: micros(e.recorded_at), kind, place })
}

/// The document of an answer that a strand test passed, or that none was asked for.
pub fn strand_answer(asked: bool) -> String {
    let value = if asked { "passed" } else { "not-asked" };
    canonical(&serde_json::json!({"place": Value::Null, "value": value}))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reference::Reference;

    fn paper(code: &str) -> RunFrame {
        let protocol = Reference::shipped().protocol(code).expect("a shipped protocol");
        Rehearsal::new(protocol, START).frame
    }

    #[test]
    fn every_shipped_service_is_walked_calmly_and_no_two_walks_are_alike() {
        for protocol in &Reference::shipped().protocols {
            let frame = paper(&protocol.code);
            let walks: Vec<Walk> =
                (0..3).filter_map(|n| walk(&frame, (Course::Calm, false), &mut Dice::new(5, n))).collect();
            assert!(walks.len() >= 2, "{}", protocol.code);
            let lengths: Vec<i64> = walks.iter().map(|w| w.acts.last().map_or(0, |a| a.recorded)).collect();
            assert_ne!(lengths[0], lengths[1], "{}", protocol.code);
            for w in &walks {
                assert_eq!((w.ended, w.mishaps.len()), ("finished", 0), "{}", protocol.code);
                assert_eq!(w.met.len(), protocol.applications.len(), "{}", protocol.code);
                assert!(w.acts.windows(2).all(|p| p[0].recorded <= p[1].recorded));
            }
        }
    }

    #[test]
    fn a_sting_a_stop_and_a_leaving_end_as_the_rules_let_them() {
        let frame = paper("curl-retouch");
        let ends = |course| walk(&frame, (course, false), &mut Dice::new(9, 1)).expect("walked");
        let (sting, stop) = (ends(Course::Sting), ends(Course::Stop));
        assert_eq!((sting.ended, sting.mishaps[0].kind), ("finished", "sting"));
        assert_eq!((stop.ended, stop.mishaps[0].kind), ("stopped", "stop-and-rinse"));
        let left =
            walk(&paper("colour-regrowth"), (Course::Left, false), &mut Dice::new(9, 1)).expect("walked");
        assert_eq!(left.ended, "left");
        assert!(left.acts.len() < sting.acts.len());
    }
}
