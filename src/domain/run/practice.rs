//! A practice run: a whole service at a head of yarn, every act chosen by the hand that learns it.
//!
//! It is a [`Rehearsal`] that is told what to do: `decide` and `fold` are the real ones, what only a visit has stands
//! in. Nothing is kept anywhere; the acts are one line of text that the page's own address carries.

use std::fmt::Write as _;

use super::command::{Command, Fact};
use super::event::{Happened, Signed};
use super::rehearsal::Rehearsal;
use super::value::{Comfort, CurlReading, FactId, HeadPlace, Instant, Progress, Rod};
use crate::domain::ids::LotId;
use crate::domain::protocol::{Clock, HoldPoint, LookFor, Protocol, Section, StepCode};
use time::Duration;

/// Most acts of a practice: a service of 60 steps with every section tapped twice and looked at has fewer.
pub const ACTS_MOST: usize = 600;
/// Most characters of its acts as text, so that an address stays one that browsers and servers take.
pub const TEXT_MOST: usize = 16_000;
/// Longest a practice lasts by its own clock, seconds: a day.
pub const SECONDS_MOST: u32 = 86_400;
/// What stands where a real record would have somebody's reason.
const REASON: &str = "practised";

/// One act of a practice.
#[derive(Clone, Debug, PartialEq)]
pub struct Practised {
    /// Whole seconds since the practice began, by its own clock.
    pub at_s: u32,
    /// What was done.
    pub command: Command,
}

/// The name of the fact that is the act with this number, from 0.
fn fact_id(act: usize) -> FactId {
    FactId(act as u128 + 1)
}

/// A command as the act with this number: a fact gets the practice's own name for it, and happens now.
#[must_use]
pub fn numbered(command: Command, act: usize, now: Instant) -> Command {
    match command {
        Command::Record(Fact { happened, .. }) => {
            Command::Record(Fact { fact_id: fact_id(act), happened_at: now, happened })
        }
        other => other,
    }
}

/// A practice after its acts. The service has begun; an act that the rules refuse, and all after it, are left out.
/// The second value is how many were taken.
#[must_use]
pub fn after(protocol: &Protocol, start: Instant, acts: &[Practised]) -> (Rehearsal, usize) {
    let mut walked = Rehearsal::new(protocol, start);
    if walked.command(&Command::StartRun).is_err() {
        return (walked, 0);
    }
    let mut taken = 0;
    for act in acts.iter().take(ACTS_MOST) {
        let at = start + Duration::seconds(i64::from(act.at_s));
        if at < walked.now || act.at_s > SECONDS_MOST {
            break;
        }
        let before = walked.now;
        walked.now = at;
        if walked.command(&numbered(act.command.clone(), taken, at)).is_err() {
            walked.now = before;
            break;
        }
        taken += 1;
    }
    (walked, taken)
}

/// The acts as text: seconds, a letter, what it is about; none where one of them is no act of a practice.
#[must_use]
pub fn write(acts: &[Practised], protocol: &Protocol) -> Option<String> {
    let mut text = String::new();
    for act in acts {
        let between = if text.is_empty() { "" } else { "~" };
        write!(text, "{between}{}{}", act.at_s, command_text(&act.command, protocol)?).ok()?;
    }
    (text.len() <= TEXT_MOST && acts.len() <= ACTS_MOST).then_some(text)
}

/// Reads acts; none where the text is not what [`write`] gives for this protocol.
#[must_use]
pub fn read(text: &str, protocol: &Protocol) -> Option<Vec<Practised>> {
    if text.len() > TEXT_MOST {
        return None;
    }
    let acts = text.split('~').filter(|t| !t.is_empty()).take(ACTS_MOST + 1);
    let acts: Option<Vec<Practised>> = acts.map(|t| act_of(t, protocol)).collect();
    acts.filter(|all| all.len() <= ACTS_MOST)
}

fn place_text(place: Option<HeadPlace>) -> &'static str {
    place.map_or("", HeadPlace::code)
}

fn command_text(command: &Command, protocol: &Protocol) -> Option<String> {
    let step = |code: &StepCode| protocol.index_of(code);
    Some(match command {
        Command::SignHoldPoint { step: code, signed } => {
            // Only an answer that is one: nothing anybody typed goes into an address.
            let answer = signed.answer()?;
            let point = signed.hold_point.code();
            format!("h:{}:{point}:{}:{}", step(code)?, answer.code, place_text(signed.place))
        }
        Command::StartStep { step: code } => format!("s:{}", step(code)?),
        Command::FinishStep { step: code } => format!("d:{}", step(code)?),
        Command::DispenseLot { application, lot, grams } => format!("l:{application}:{}:{grams}", lot.0),
        Command::ReadStop { whole, early } => format!("w:{}:{}", u8::from(*whole), u8::from(*early)),
        Command::TakeBack { seq, .. } => format!("b:{seq}"),
        Command::CloseStop { .. } => "c".to_owned(),
        Command::FinishRun => "e".to_owned(),
        Command::LeaveRun { rinsed, .. } => format!("g:{}", u8::from(*rinsed)),
        Command::Record(fact) => fact_text(&fact.happened, protocol)?,
        Command::StartRun
        | Command::OfferHandover { .. }
        | Command::AcceptHandover
        | Command::ArmStation { .. }
        | Command::NameHands { .. } => return None,
    })
}

fn fact_text(happened: &Happened, protocol: &Protocol) -> Option<String> {
    let step = |code: &StepCode| protocol.index_of(code);
    Some(match happened {
        Happened::SectionStarted { step: code, section, pass } => {
            format!("t:{}:{}:{pass}", step(code)?, section.code())
        }
        Happened::SectionRinsed { step: code, section, clear } => {
            format!("r:{}:{}:{}", step(code)?, section.map_or("", Section::code), u8::from(*clear))
        }
        Happened::BellAnswered { step: code, clock, comfort, place } => {
            format!("a:{}:{}:{}:{}", step(code)?, clock.code(), comfort.code(), place_text(*place))
        }
        Happened::TestCurlRead { rod, reading } => format!("u:{}:{}", rod.code(), reading.code()),
        Happened::ProgressRead { look, section, reading } => {
            format!("p:{}:{}:{}", look.code(), section.code(), reading.code())
        }
        Happened::RodsNoted { count, first_at, last_at } => {
            format!("n:{count}:{}:{}", first_at.code(), last_at.code())
        }
        Happened::StingReported { place } => format!("x:{}", place.code()),
        Happened::PlaceRinsed { place } => format!("y:{}", place.code()),
        Happened::StopRecorded => "q".to_owned(),
        Happened::FactWithdrawn { fact_id, .. } => {
            let act = usize::try_from(fact_id.0).ok().filter(|act| *act <= ACTS_MOST)?;
            format!("k:{act}")
        }
        Happened::Trimmed { mm } => format!("m:{mm}"),
        Happened::ComfortNoted { comfort, place } => format!("f:{}:{}", comfort.code(), place_text(*place)),
        // Begun where there was no contact: a practice has nothing to lose contact with.
        Happened::ClosingStarted { .. } => return None,
    })
}

/// One act from its text.
fn act_of(text: &str, protocol: &Protocol) -> Option<Practised> {
    let digits = text.bytes().take_while(u8::is_ascii_digit).count();
    let at_s = text[..digits].parse().ok()?;
    let parts: Vec<&str> = text[digits..].split(':').collect();
    let (letter, rest) = parts.split_first()?;
    let command = command_of(letter, rest, protocol)
        .or_else(|| Some(Command::Record(unnamed(fact_of(letter, rest, protocol)?))))?;
    Some(Practised { at_s, command })
}

/// Its name and instant are given where it is taken.
fn unnamed(happened: Happened) -> Fact {
    Fact { fact_id: FactId(0), happened_at: Instant::UNIX_EPOCH, happened }
}

fn step_of(index: &str, protocol: &Protocol) -> Option<StepCode> {
    let index: usize = index.parse().ok()?;
    protocol.steps.get(index).map(|s| s.code.clone())
}

/// "" is no place, and none of ours is no text of ours.
fn place_of(code: &str) -> Option<Option<HeadPlace>> {
    if code.is_empty() { Some(None) } else { HeadPlace::from_code(code).map(Some) }
}

fn command_of(letter: &str, rest: &[&str], protocol: &Protocol) -> Option<Command> {
    Some(match (letter, rest) {
        ("h", [step, point, value, place]) => {
            let hold_point = HoldPoint::from_code(point)?;
            let signed = Signed { hold_point, value: (*value).to_owned(), place: place_of(place)? };
            signed.answer()?;
            Command::SignHoldPoint { step: step_of(step, protocol)?, signed }
        }
        ("s", [step]) => Command::StartStep { step: step_of(step, protocol)? },
        ("d", [step]) => Command::FinishStep { step: step_of(step, protocol)? },
        ("l", [application, lot, grams]) => Command::DispenseLot {
            application: application.chars().next()?,
            lot: LotId(lot.parse().ok()?),
            grams: grams.parse().ok()?,
        },
        ("w", [whole, early]) => Command::ReadStop { whole: *whole == "1", early: *early == "1" },
        ("b", [seq]) => Command::TakeBack { seq: seq.parse().ok()?, reason: REASON.to_owned() },
        ("c", []) => Command::CloseStop { reason: REASON.to_owned() },
        ("e", []) => Command::FinishRun,
        ("g", [rinsed]) => Command::LeaveRun { rinsed: *rinsed == "1", reason: REASON.to_owned() },
        _ => return None,
    })
}

fn fact_of(letter: &str, rest: &[&str], protocol: &Protocol) -> Option<Happened> {
    Some(match (letter, rest) {
        ("t", [step, section, pass]) => Happened::SectionStarted {
            step: step_of(step, protocol)?,
            section: Section::from_code(section)?,
            pass: pass.parse().ok()?,
        },
        ("r", [step, section, clear]) => Happened::SectionRinsed {
            step: step_of(step, protocol)?,
            section: if section.is_empty() { None } else { Some(Section::from_code(section)?) },
            clear: *clear == "1",
        },
        ("a", [step, clock, comfort, place]) => Happened::BellAnswered {
            step: step_of(step, protocol)?,
            clock: Clock::from_code(clock)?,
            comfort: Comfort::from_code(comfort)?,
            place: place_of(place)?,
        },
        ("u", [rod, reading]) => {
            Happened::TestCurlRead { rod: Rod::from_code(rod)?, reading: CurlReading::from_code(reading)? }
        }
        ("p", [look, section, reading]) => Happened::ProgressRead {
            look: LookFor::from_code(look)?,
            section: Section::from_code(section)?,
            reading: Progress::from_code(reading)?,
        },
        ("n", [count, first, last]) => Happened::RodsNoted {
            count: count.parse().ok()?,
            first_at: HeadPlace::from_code(first)?,
            last_at: HeadPlace::from_code(last)?,
        },
        ("x", [place]) => Happened::StingReported { place: HeadPlace::from_code(place)? },
        ("y", [place]) => Happened::PlaceRinsed { place: HeadPlace::from_code(place)? },
        ("q", []) => Happened::StopRecorded,
        ("k", [act]) => Happened::FactWithdrawn {
            fact_id: FactId(act.parse().ok().filter(|act| *act <= ACTS_MOST as u128)?),
            reason: REASON.to_owned(),
        },
        ("m", [mm]) => Happened::Trimmed { mm: mm.parse().ok()? },
        ("f", [comfort, place]) => {
            Happened::ComfortNoted { comfort: Comfort::from_code(comfort)?, place: place_of(place)? }
        }
        _ => return None,
    })
}

#[cfg(test)]
#[path = "practice_tests.rs"]
mod tests;
