//! Every shipped service rehearsed to its end, and broken ones to where they cannot go on.

use super::*;
use crate::domain::run::state::Ended;
use crate::reference::Reference;
use time::macros::datetime;

const START: Instant = datetime!(2026-05-14 13:40 UTC);

fn whole(protocol: &Protocol) -> Rehearsal {
    Rehearsal::after(protocol, START, ACTS_MOST)
}

#[test]
fn every_shipped_service_is_rehearsed_to_its_end_with_nothing_to_put_on_record() {
    for protocol in &Reference::shipped().protocols {
        let walked = whole(protocol);
        let state = walked.state();
        assert!(walked.stuck.is_empty(), "{}: {:?}", protocol.code, walked.stuck);
        assert_eq!(state.ended.map(|e| e.0), Some(Ended::Finished), "{} {}", protocol.code, walked.acts);
        let breaches = state.breaches(walked.now);
        assert!(breaches.is_empty(), "{}: {breaches:?}", protocol.code);
        assert_eq!(walked.begun.len(), protocol.steps.len(), "{}: every step", protocol.code);
        assert!(walked.is_over() && !walked.clone().act(), "nothing comes after the end");
    }
}

#[test]
fn the_same_acts_give_the_same_screen_and_each_act_does_one_thing() {
    let protocol = Reference::shipped().protocol("curl-retouch").expect("shipped");
    let all = whole(protocol);
    let mut step_by_step = Rehearsal::new(protocol, START);
    let mut clock = START;
    while step_by_step.act() {
        assert!(step_by_step.now >= clock && !step_by_step.said.is_empty());
        clock = step_by_step.now;
        if step_by_step.acts == 40 {
            let again = Rehearsal::after(protocol, START, 40);
            assert_eq!((again.events, again.now), (step_by_step.events.clone(), step_by_step.now));
        }
    }
    assert_eq!(step_by_step.events, all.events);
    // 1-job.md: a curl retouch is an afternoon; the made-up clock goes its whole length.
    assert!((2..=6).contains(&(all.now - START).whole_hours()), "{}", all.now - START);
}

#[test]
fn what_cannot_be_done_as_written_is_said_where_it_is_met() {
    let mut protocol = Reference::shipped().protocol("curl-retouch").expect("shipped").clone();
    // The lotion is wound on hair that still carries the straightener.
    assert!(protocol.drop_step(&"rinse-straightener".into()));
    let walked = whole(&protocol);
    let lacks_rinse =
        |r: &crate::domain::run::Refusal| matches!(r, crate::domain::run::Refusal::RinseMissing { .. });
    assert!(walked.stuck.iter().any(lacks_rinse), "{:?}", walked.stuck);
    assert_eq!(walked.begun.last().map(|(s, _)| s.as_str()), Some("smooth"));
}
