//! A run as its events tell it: the types (`fold` makes them, `asks` reads them).

use super::event::Signed;
use super::exposure::{Exposure, Touch};
use super::frame::RunFrame;
use super::value::{Comfort, CurlReading, FactId, HeadPlace, Instant, Progress, Rod};
use crate::domain::ids::{LotId, PersonId, StationId};
use crate::domain::protocol::{Clock, HoldPoint, LookFor, Section, StepCode};
use std::collections::{BTreeMap, BTreeSet};

/// How far a step has come.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct StepState {
    /// First begun at.
    pub started_at: Option<Instant>,
    /// When the database wrote that, for permissions and late stops.
    pub recorded_at: Option<Instant>,
    /// The record's number of its last begin.
    pub seq: i64,
    /// By whom it was begun last.
    pub by: Option<PersonId>,
    /// Where it was begun last: that station stays with that person.
    pub station: Option<StationId>,
    /// Done at; a step begun again is not done.
    pub finished_at: Option<Instant>,
    /// Begun as a fact without contact: "not confirmed".
    pub unconfirmed: bool,
}

/// A hold point's answer on record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Signature {
    /// The step it was given for.
    pub step: StepCode,
    /// What was seen.
    pub signed: Signed,
    /// By whom.
    pub by: Option<PersonId>,
    /// When the database wrote it.
    pub recorded_at: Instant,
    /// Its place in the record.
    pub seq: i64,
}

/// A test curl on record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TestCurl {
    /// Which rod.
    pub rod: Rod,
    /// What it showed.
    pub reading: CurlReading,
    /// When.
    pub at: Instant,
}

/// A look on record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Looked {
    /// What was looked for.
    pub look: LookFor,
    /// Where.
    pub section: Section,
    /// What it showed.
    pub reading: Progress,
    /// When.
    pub at: Instant,
}

/// A complaint.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sting {
    /// Where.
    pub place: HeadPlace,
    /// When.
    pub at: Instant,
    /// Its place in the record: a scalp reading must come after it.
    pub seq: i64,
}

/// Where water was put on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rinsed {
    /// A place that no section holds.
    Place(HeadPlace),
    /// A section.
    Section(Section),
    /// The whole head.
    Head {
        /// It runs clear.
        clear: bool,
    },
}

/// Water on record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Water {
    /// Where.
    pub what: Rinsed,
    /// When.
    pub at: Instant,
}

/// A permission on record that might be taken back.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Given {
    /// Its place in the record.
    pub seq: i64,
    /// When.
    pub at: Instant,
    /// What it let go on.
    pub what: GivenKind,
}

/// What a permission let go on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum GivenKind {
    /// A step begun.
    Begun(StepCode),
    /// A step done.
    Done(StepCode),
    /// An answer that holds, for a step.
    Answered(StepCode, HoldPoint),
    /// A bowl of an application.
    Bowl(char),
}

/// A look at the skin after a stop.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SkinRead {
    /// Skin whole, eyes clear, no swelling.
    pub whole: bool,
    /// When.
    pub at: Instant,
    /// When the stop was that it reads.
    pub stopped_at: Instant,
}

/// Why a run is stopped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StopCause {
    /// Somebody stopped it.
    Recorded,
    /// A second complaint.
    SecondSting,
}

/// A stop.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stop {
    /// When.
    pub at: Instant,
    /// Its place in the record.
    pub seq: i64,
    /// Why.
    pub cause: StopCause,
    /// "Skin whole, eyes clear, no swelling?", last answered.
    pub read: Option<bool>,
    /// When that was answered.
    pub read_at: Option<Instant>,
}

/// How a run ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ended {
    /// Done.
    Finished,
    /// Stopped and not taken up again.
    Stopped,
    /// The client went.
    Left {
        /// The product was rinsed off first.
        rinsed: bool,
    },
}

/// A lot in the bowl.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Dispensed {
    /// For which application.
    pub application: char,
    /// From which lot.
    pub lot: LotId,
    /// Grams.
    pub grams: f64,
    /// When.
    pub at: Instant,
    /// Its place in the record.
    pub seq: i64,
}

/// A bell taken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BellTaken {
    /// Of which step.
    pub step: StepCode,
    /// Which clock.
    pub clock: Clock,
    /// When.
    pub at: Instant,
    /// What the client said.
    pub comfort: Comfort,
}

/// Rods on the head.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rods {
    /// How many.
    pub count: u16,
    /// Where the first one sits.
    pub first_at: HeadPlace,
    /// Where the last one sits.
    pub last_at: HeadPlace,
    /// When that was noted.
    pub at: Instant,
}

/// A quadrant start on record, for breaches and the head map.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SectionTap {
    /// In which step.
    pub step: StepCode,
    /// Which touch.
    pub touch: Touch,
}

/// A run as its events tell it.
#[derive(Clone, Debug, PartialEq)]
pub struct State<'f> {
    /// What it is held to.
    pub frame: &'f RunFrame,
    /// The last seq folded; 0 before the run starts.
    pub seq: i64,
    /// When the run started.
    pub started_at: Option<Instant>,
    /// Who answers for it.
    pub stylist: Option<PersonId>,
    /// Everybody who answered for it.
    pub stylists: Vec<PersonId>,
    /// To whom it is offered.
    pub offered_to: Option<PersonId>,
    /// Steps, in the protocol's order.
    pub steps: Vec<StepState>,
    /// The step in hand.
    pub in_hand: Option<usize>,
    /// Answers, in the record's order.
    pub signatures: Vec<Signature>,
    /// Contact of each application that has touched.
    pub exposures: Vec<Exposure>,
    /// Quadrant starts, by instant.
    pub taps: Vec<SectionTap>,
    /// Test curls, by instant.
    pub test_curls: Vec<TestCurl>,
    /// Looks at sections, by instant.
    pub looks: Vec<Looked>,
    /// Rods, last noted.
    pub rods: Option<Rods>,
    /// Complaints, in the record's order.
    pub stings: Vec<Sting>,
    /// Every water on record, by instant.
    pub waters: Vec<Water>,
    /// Looks at the skin after stops, in the record's order.
    pub skin_reads: Vec<SkinRead>,
    /// Permissions that stand and may be wrong taps, in the record's order.
    pub given: Vec<Given>,
    /// Places in the record of taps that say something was done to the head, those taken back left out.
    pub done_seqs: Vec<i64>,
    /// The stop in force.
    pub stop: Option<Stop>,
    /// Every stop on record, by happened instant: (when, seq).
    pub stops: Vec<(Instant, i64)>,
    /// The record's number of the last `stop_closed`; older answers no longer hold.
    pub closed_seq: i64,
    /// Every `stop_closed`, in the record's order: (seq, recorded at).
    pub closes: Vec<(i64, Instant)>,
    /// Bells taken, by instant.
    pub bells_taken: Vec<BellTaken>,
    /// Lots dispensed, in the record's order.
    pub dispensed: Vec<Dispensed>,
    /// Hair cut off the ends, mm stretched, all cuts together.
    pub trimmed_mm: f64,
    /// Stations armed for this run, with the instant.
    pub armed: Vec<(StationId, Instant)>,
    /// How and when it ended.
    pub ended: Option<(Ended, Instant)>,
    /// Every fact on record, withdrawn ones too.
    pub facts: BTreeSet<FactId>,
    /// Facts that are never taken back.
    pub firm_facts: BTreeSet<FactId>,
    /// Facts taken back, with the record's reason.
    pub withdrawn: BTreeMap<FactId, String>,
    /// Permissions taken back, by their place in the record, with the reason.
    pub given_back: BTreeMap<i64, String>,
    /// Begins of opening steps: (step, recorded at, seq).
    pub openings: Vec<(StepCode, Instant, i64)>,
}
