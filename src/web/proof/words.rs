//! Each event of a record as a sentence.

use std::collections::BTreeMap;

use crate::domain::ids::PersonId;
use crate::domain::protocol::{Clock, Section, StepCode};
use crate::domain::run::{
    Comfort, CurlReading, EventKind, Granted, Happened, HeadPlace, Rod, RunFrame, Signed,
};
use crate::words;

/// Names for the numbers of a record.
pub(in crate::web) struct Names<'a> {
    pub frame: &'a RunFrame,
    pub people: BTreeMap<i64, String>,
    pub stations: BTreeMap<i64, String>,
    /// Lots: code and product.
    pub lots: BTreeMap<i64, (String, String)>,
}

fn comfort(c: Comfort) -> &'static str {
    match c {
        Comfort::No => tr!("no heat, no sting"),
        Comfort::Warm => "warm",
        Comfort::Stings => "stings",
    }
}

/// What a test curl shows.
pub(super) fn curl(reading: CurlReading) -> &'static str {
    match reading {
        CurlReading::None => "straight",
        CurlReading::C => "C",
        CurlReading::S => tr!("firm S"),
        CurlReading::Over => "over",
    }
}

/// Which rod.
pub(super) fn rod(rod: Rod) -> &'static str {
    match rod {
        Rod::First => tr!("first rod"),
        Rod::Last => tr!("last rod"),
        Rod::Weakest => tr!("weakest place"),
    }
}

fn at(place: Option<HeadPlace>) -> String {
    place.map_or_else(String::new, |p| format!(", {}", p.words()))
}

/// A signed answer: the value's own words.
pub(super) fn signed(s: &Signed) -> String {
    let words = s.answer().map_or(s.value.as_str(), |a| words::of(a.words));
    format!("{}: {words}{}", s.hold_point.title(), at(s.place))
}

impl Names<'_> {
    pub(super) fn person(&self, id: PersonId) -> String {
        self.people.get(&id.0).cloned().unwrap_or_else(|| tr!("person {id}", id = id))
    }

    pub(super) fn step(&self, code: &StepCode) -> String {
        self.frame.protocol.step(code).map_or_else(|| code.to_string(), |s| s.title.clone())
    }

    pub(super) fn lot(&self, id: i64) -> String {
        self.lots.get(&id).map_or_else(
            || tr!("lot {id}", id = id),
            |(code, name)| tr!("{name}, lot {code}", name = name, code = code),
        )
    }

    /// What an event says.
    pub(in crate::web) fn event(&self, kind: &EventKind) -> String {
        match kind {
            EventKind::Granted(g) => self.granted(g),
            EventKind::Happened(h) => self.happened(h),
        }
    }

    fn granted(&self, granted: &Granted) -> String {
        match granted {
            Granted::RunStarted { stylist } => {
                tr!("Service started; {} answers for it", self.person(*stylist))
            }
            Granted::HoldPointSigned { step, signed: s } => format!("{} ({})", signed(s), self.step(step)),
            Granted::StepStarted { step } => tr!("Started: {}", self.step(step)),
            Granted::StepFinished { step } => tr!("Finished: {}", self.step(step)),
            Granted::LotDispensed { application, lot, grams } => {
                tr!(
                    "{grams} g for {application} from {}",
                    self.lot(lot.0),
                    grams = grams,
                    application = application
                )
            }
            Granted::HandoverOffered { to } => tr!("Handover offered to {}", self.person(*to)),
            Granted::HandoverAccepted => tr!("Handover accepted").to_owned(),
            Granted::StopRead { whole } => {
                let answer = if *whole { tr!("yes") } else { tr!("no") };
                tr!("Skin whole, eyes clear, no swelling? {answer}", answer = answer)
            }
            Granted::StopClosed { reason } => tr!("Stop ended: {reason}", reason = reason),
            Granted::RunFinished { stopped: true } => tr!("Service ended after a stop").to_owned(),
            Granted::RunFinished { stopped: false } => tr!("Service finished").to_owned(),
            Granted::RunLeft { rinsed, reason } => {
                let rinsed = if *rinsed { "rinsed" } else { tr!("not rinsed") };
                tr!("Client left, {rinsed}: {reason}", rinsed = rinsed, reason = reason)
            }
            Granted::StationArmed { station } => {
                let name = self.stations.get(&station.0).cloned().unwrap_or_else(|| station.to_string());
                tr!("On to {name}", name = name)
            }
            Granted::HandsNamed { person } => tr!("Hands named: {}", self.person(*person)),
            Granted::PermissionWithdrawn { seq, reason } => {
                tr!("Line {seq} taken back: {reason}", seq = seq, reason = reason)
            }
        }
    }

    fn happened(&self, happened: &Happened) -> String {
        match happened {
            Happened::SectionStarted { step, section, pass } => {
                tr!("Product on {}, pass {pass} ({})", section.words(), self.step(step), pass = pass)
            }
            Happened::SectionRinsed { section, clear, .. } => {
                let what = if *clear { tr!("runs clear") } else { tr!("water on") };
                format!("{}: {what}", section.map_or(tr!("Whole head"), Section::words))
            }
            Happened::BellAnswered { step, clock, comfort: c, place } => {
                let clock = if *clock == Clock::Phase { "phase" } else { "exposure" };
                tr!(
                    "Bell answered ({clock}, {}): {}{}",
                    self.step(step),
                    comfort(*c),
                    at(*place),
                    clock = clock
                )
            }
            Happened::TestCurlRead { rod: r, reading } => {
                tr!("Test curl, {}: {}", rod(*r), curl(*reading))
            }
            Happened::ProgressRead { look, section, reading } => {
                format!("{}, {}: {}", look.words(), section.words(), reading.words())
            }
            Happened::RodsNoted { count, first_at, last_at } => {
                tr!("{count} rods, first {}, last {}", first_at.words(), last_at.words(), count = count)
            }
            Happened::PlaceRinsed { place } => tr!("Rinsed: {}", place.words()),
            Happened::StingReported { place } => tr!("It stings: {}", place.words()),
            Happened::StopRecorded => tr!("Stop and rinse").to_owned(),
            Happened::ClosingStarted { step, answers } => {
                let answers: Vec<String> = answers.iter().map(signed).collect();
                tr!("Begun without contact, not confirmed: {} ({})", self.step(step), answers.join("; "))
            }
            Happened::FactWithdrawn { reason, .. } => tr!("Taken back: {reason}", reason = reason),
            Happened::Trimmed { mm } => tr!("{mm} mm cut off the ends", mm = mm),
            Happened::ComfortNoted { comfort: c, place } => {
                tr!("Client says: {}{}", comfort(*c), at(*place))
            }
        }
    }
}
