//! Every shipped service practised from its text, and texts nobody's practice wrote.

use super::*;
use crate::domain::run::state::Ended;
use crate::domain::run::{CurlReading, Rod};
use crate::reference::Reference;
use time::macros::datetime;

const START: Instant = datetime!(2026-05-14 13:40 UTC);

/// The acts of a whole rehearsal, as somebody would have tapped them.
fn acts_of(protocol: &Protocol) -> (Rehearsal, Vec<Practised>) {
    let walked = Rehearsal::after(protocol, START, super::super::rehearsal::ACTS_MOST);
    let acts = walked.commands.iter().filter(|(_, c)| *c != Command::StartRun);
    let at_s = |at: &Instant| u32::try_from((*at - START).whole_seconds()).expect("after its start");
    let acts = acts.map(|(at, command)| Practised { at_s: at_s(at), command: command.clone() });
    let acts = acts.collect();
    (walked, acts)
}

#[test]
fn every_shipped_service_is_practised_to_its_end_from_one_line_of_text() {
    for protocol in &Reference::shipped().protocols {
        let (rehearsed, acts) = acts_of(protocol);
        let text = write(&acts, protocol).unwrap_or_else(|| panic!("{}: {}", protocol.code, acts.len()));
        let told = |c: &char| c.is_ascii_alphanumeric() || "~:-.".contains(*c);
        assert!(text.chars().all(|c| told(&c)), "an address takes it as it is: {text}");
        let again = read(&text, protocol).expect("read");
        assert_eq!(write(&again, protocol).as_deref(), Some(text.as_str()), "{}", protocol.code);
        let (practised, taken) = after(protocol, START, &again);
        assert_eq!(taken, acts.len(), "{}: all of it", protocol.code);
        let state = practised.state();
        assert_eq!(state.ended.map(|e| e.0), Some(Ended::Finished), "{}", protocol.code);
        let kinds = |r: &Rehearsal| -> Vec<(Instant, &'static str)> {
            r.events.iter().map(|e| (e.happened_at, e.kind.code())).collect()
        };
        assert_eq!(kinds(&practised), kinds(&rehearsed), "{}", protocol.code);
    }
}

#[test]
fn what_a_whole_service_has_not_is_written_and_read_as_well() {
    let protocol = Reference::shipped().protocol("curl-retouch").expect("shipped");
    let facts = [
        Happened::StopRecorded,
        Happened::PlaceRinsed { place: HeadPlace::Nape },
        Happened::StingReported { place: HeadPlace::Nape },
        Happened::FactWithdrawn { fact_id: fact_id(4), reason: REASON.to_owned() },
        Happened::Trimmed { mm: 6.5 },
        Happened::ComfortNoted { comfort: Comfort::Warm, place: Some(HeadPlace::Ear) },
        Happened::TestCurlRead { rod: Rod::Weakest, reading: CurlReading::Over },
        Happened::SectionRinsed { step: protocol.steps[3].code.clone(), section: None, clear: false },
    ];
    let facts = facts.into_iter().map(|h| Command::Record(unnamed(h)));
    let others = [
        Command::ReadStop { whole: true, early: false },
        Command::ReadStop { whole: true, early: true },
        Command::TakeBack { seq: 7, reason: REASON.to_owned() },
        Command::CloseStop { reason: REASON.to_owned() },
        Command::LeaveRun { rinsed: false, reason: REASON.to_owned() },
    ];
    let all: Vec<Practised> =
        facts.chain(others).zip(0..).map(|(command, at_s)| Practised { at_s, command }).collect();
    let text = write(&all, protocol).expect("written");
    assert_eq!(read(&text, protocol), Some(all), "{text}");
}

#[test]
fn an_address_somebody_made_up_does_nothing_the_rules_refuse() {
    let protocol = Reference::shipped().protocol("curl-retouch").expect("shipped");
    for text in
        ["x", "5", "5z", "5s:999", "5h:0:gloves:anything:", "99999999999s:0", "5n:x:nape:crown", "-1s:0"]
    {
        assert_eq!(read(text, protocol), None, "{text}");
    }
    assert_eq!(read(&"0q~".repeat(ACTS_MOST + 1), protocol), None, "more acts than a practice has");
    assert_eq!(read(&"0".repeat(TEXT_MOST + 1), protocol), None);
    assert_eq!(read("", protocol), Some(Vec::new()));
    // The eighth step before any other, and a clock that goes back.
    let refused = |text: &str| after(protocol, START, &read(text, protocol).expect("read")).1;
    assert_eq!(refused("5s:7"), 0);
    assert_eq!(refused("60s:0~59d:0"), 1);
    assert_eq!(refused("86401s:0"), 0, "longer than a day");
}
