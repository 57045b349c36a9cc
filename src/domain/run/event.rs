//! What has happened in a run. Past tense; nothing is ever changed or taken out.
//!
//! A *granted* event exists only because the server said yes. A *happened* event is a fact: it
//! stood whether or not the server was reached, and is never refused for being late.

use super::value::{Comfort, CurlReading, FactId, HeadPlace, Instant, Progress, Rod};
use crate::domain::ids::{LotId, PersonId, StationId};
use crate::domain::protocol::{Answer, Clock, HoldPoint, LookFor, Meaning, Section, StepCode};
use time::Duration;

/// How much later than it happened a fact may be told and still count as told at once.
const KEPT_AFTER: Duration = Duration::seconds(5);

/// A coded answer to a hold point, as kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Signed {
    /// Which hold point.
    pub hold_point: HoldPoint,
    /// The answer's code (`HoldPoint::answers`).
    pub value: String,
    /// Where, when the answer asks for it.
    pub place: Option<HeadPlace>,
}

/// What the server granted.
#[derive(Clone, Debug, PartialEq)]
pub enum Granted {
    /// The service began, its protocol frozen; whoever is named is answerable.
    RunStarted {
        /// The run's stylist.
        stylist: PersonId,
    },
    /// A hold point was answered, in the signer's name, for a step.
    HoldPointSigned {
        /// The step it was answered for.
        step: StepCode,
        /// What was seen.
        signed: Signed,
    },
    /// A step began (phase clock: from `happened_at`).
    StepStarted {
        /// Which.
        step: StepCode,
    },
    /// A step was done.
    StepFinished {
        /// Which.
        step: StepCode,
    },
    /// Product was taken from a lot, by spatula into a bowl.
    LotDispensed {
        /// For which application.
        application: char,
        /// From which lot.
        lot: LotId,
        /// Grams in the bowl.
        grams: f64,
    },
    /// The run was offered to somebody else.
    HandoverOffered {
        /// To whom.
        to: PersonId,
    },
    /// It was accepted, by `Event::by`.
    HandoverAccepted,
    /// After a stop: "Skin whole, eyes clear, no swelling?"
    StopRead {
        /// Yes or no.
        whole: bool,
    },
    /// The run's stylist or a manager ended the stop.
    StopClosed {
        /// Why it may go on.
        reason: String,
    },
    /// The service ended.
    RunFinished {
        /// It ended because somebody stopped it (`ended_how` stopped), not done.
        stopped: bool,
    },
    /// The client went.
    RunLeft {
        /// The product was rinsed off first.
        rinsed: bool,
        /// What happened.
        reason: String,
    },
    /// Whoever moves with the client armed the next station, for this run only.
    StationArmed {
        /// Which.
        station: StationId,
    },
    /// Hands left and nobody accepted: a manager named somebody.
    HandsNamed {
        /// Who.
        person: PersonId,
    },
    /// A permission given by a wrong tap was taken back: it opens nothing from then on.
    PermissionWithdrawn {
        /// Its place in the record.
        seq: i64,
        /// Why.
        reason: String,
    },
}

/// What happened, reached or not.
#[derive(Clone, Debug, PartialEq)]
pub enum Happened {
    /// Product touched a quadrant.
    SectionStarted {
        /// In which step.
        step: StepCode,
        /// Where.
        section: Section,
        /// In which pass, from 1.
        pass: u8,
    },
    /// Water on a quadrant, or it runs clear. No section: the whole head.
    SectionRinsed {
        /// In which step.
        step: StepCode,
        /// Where; the whole head when absent.
        section: Option<Section>,
        /// It runs clear (else: water on).
        clear: bool,
    },
    /// Somebody took a bell and asked aloud.
    BellAnswered {
        /// Of which step.
        step: StepCode,
        /// Which of its clocks.
        clock: Clock,
        /// "Any heat, any sting?"
        comfort: Comfort,
        /// Where it stings.
        place: Option<HeadPlace>,
    },
    /// A rod was unwound and read.
    TestCurlRead {
        /// Which.
        rod: Rod,
        /// What it shows.
        reading: CurlReading,
    },
    /// A section was looked at while product works on it.
    ProgressRead {
        /// What was looked for.
        look: LookFor,
        /// Where.
        section: Section,
        /// What it shows.
        reading: Progress,
    },
    /// Winding is done.
    RodsNoted {
        /// How many.
        count: u16,
        /// Where the first one sits.
        first_at: HeadPlace,
        /// Where the last one sits.
        last_at: HeadPlace,
    },
    /// A place that no section holds was rinsed: the hairline, an ear. Clocks of sections go on.
    PlaceRinsed {
        /// Where.
        place: HeadPlace,
    },
    /// "It stings."
    StingReported {
        /// Where.
        place: HeadPlace,
    },
    /// Stop and rinse.
    StopRecorded,
    /// A closing step begun without contact, with its answers: "not confirmed".
    ClosingStarted {
        /// Which.
        step: StepCode,
        /// What was answered at the station.
        answers: Vec<Signed>,
    },
    /// A mistaken tap (`Happened::may_be_withdrawn`) was taken back.
    FactWithdrawn {
        /// Which fact.
        fact_id: FactId,
        /// Why.
        reason: String,
    },
    /// Hair was cut off the ends.
    Trimmed {
        /// Millimetres of stretched hair.
        mm: f64,
    },
    /// The client said how it feels, unasked or between bells.
    ComfortNoted {
        /// How.
        comfort: Comfort,
        /// Where.
        place: Option<HeadPlace>,
    },
}

/// A kind of event.
#[derive(Clone, Debug, PartialEq)]
pub enum EventKind {
    /// A permission.
    Granted(Granted),
    /// A fact.
    Happened(Happened),
}

impl EventKind {
    /// The code of the database column `kind`.
    pub const fn code(&self) -> &'static str {
        match self {
            EventKind::Granted(granted) => granted.code(),
            EventKind::Happened(happened) => happened.code(),
        }
    }

    /// The step it speaks of (database column `step`).
    pub fn step(&self) -> Option<&StepCode> {
        match self {
            EventKind::Granted(
                Granted::HoldPointSigned { step, .. }
                | Granted::StepStarted { step }
                | Granted::StepFinished { step },
            ) => Some(step),
            EventKind::Happened(
                Happened::SectionStarted { step, .. }
                | Happened::SectionRinsed { step, .. }
                | Happened::BellAnswered { step, .. }
                | Happened::ClosingStarted { step, .. },
            ) => Some(step),
            _ => None,
        }
    }

    /// The hold point it answers (database column `hold_point`).
    pub fn hold_point(&self) -> Option<HoldPoint> {
        match self {
            EventKind::Granted(Granted::HoldPointSigned { signed, .. }) => Some(signed.hold_point),
            _ => None,
        }
    }

    /// The coded outcome of a sign-off (database column `outcome`): holds or fails. The value
    /// itself is in `Signed`.
    pub fn outcome(&self) -> Option<&'static str> {
        match self {
            EventKind::Granted(Granted::HoldPointSigned { signed, .. }) => {
                Some(if signed.holds() { "holds" } else { "fails" })
            }
            _ => None,
        }
    }
}

impl Signed {
    /// The answer, if its code is one of the hold point's.
    pub fn answer(&self) -> Option<&'static Answer> {
        self.hold_point.answer(&self.value)
    }

    /// It lets the step go on; an unknown code does not.
    pub fn holds(&self) -> bool {
        self.answer().is_some_and(|a| a.meaning == Meaning::Holds)
    }
}

impl Granted {
    /// The code of the database column `kind`.
    pub const fn code(&self) -> &'static str {
        match self {
            Granted::RunStarted { .. } => "run_started",
            Granted::HoldPointSigned { .. } => "hold_point_signed",
            Granted::StepStarted { .. } => "step_started",
            Granted::StepFinished { .. } => "step_finished",
            Granted::LotDispensed { .. } => "lot_dispensed",
            Granted::HandoverOffered { .. } => "handover_offered",
            Granted::HandoverAccepted => "handover_accepted",
            Granted::StopRead { .. } => "stop_read",
            Granted::StopClosed { .. } => "stop_closed",
            Granted::RunFinished { .. } => "run_finished",
            Granted::RunLeft { .. } => "run_left",
            Granted::StationArmed { .. } => "station_armed",
            Granted::HandsNamed { .. } => "hands_named",
            Granted::PermissionWithdrawn { .. } => "permission_withdrawn",
        }
    }

    /// A step begun or done, an answer that holds and a bowl may be a wrong tap; an answer that stops, and all that
    /// passes a service on or ends it, stands. `State::may_take_back` says until when.
    pub fn may_be_withdrawn(&self) -> bool {
        match self {
            Granted::StepStarted { .. } | Granted::StepFinished { .. } | Granted::LotDispensed { .. } => true,
            Granted::HoldPointSigned { signed, .. } => {
                // What records say is signed with the service's start, by nobody's tap.
                let of_records = [HoldPoint::Plan, HoldPoint::Consent, HoldPoint::StrandTest];
                signed.holds() && !of_records.contains(&signed.hold_point)
            }
            _ => false,
        }
    }
}

impl Happened {
    /// The code of the database column `kind`.
    pub const fn code(&self) -> &'static str {
        match self {
            Happened::SectionStarted { .. } => "section_started",
            Happened::SectionRinsed { .. } => "section_rinsed",
            Happened::BellAnswered { .. } => "bell_answered",
            Happened::TestCurlRead { .. } => "test_curl_read",
            Happened::ProgressRead { .. } => "progress_read",
            Happened::RodsNoted { .. } => "rods_noted",
            Happened::PlaceRinsed { .. } => "place_rinsed",
            Happened::StingReported { .. } => "sting_reported",
            Happened::StopRecorded => "stop_recorded",
            Happened::ClosingStarted { .. } => "closing_started",
            Happened::FactWithdrawn { .. } => "fact_withdrawn",
            Happened::Trimmed { .. } => "trimmed",
            Happened::ComfortNoted { .. } => "comfort_noted",
        }
    }

    /// Only a mistaken section start, rinse, test curl, look, note of rods or trim may be taken back; a stop never.
    pub const fn may_be_withdrawn(&self) -> bool {
        matches!(
            self,
            Happened::SectionStarted { .. }
                | Happened::SectionRinsed { .. }
                | Happened::TestCurlRead { .. }
                | Happened::ProgressRead { .. }
                | Happened::PlaceRinsed { .. }
                | Happened::RodsNoted { .. }
                | Happened::Trimmed { .. }
        )
    }
}

/// An event on record.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// 1, 2, 3 … within the run, without a gap.
    pub seq: i64,
    /// When the database wrote it.
    pub recorded_at: Instant,
    /// When it happened, between the run's start and `recorded_at`.
    pub happened_at: Instant,
    /// Who; a fact may be "this station".
    pub by: Option<PersonId>,
    /// Where it was tapped.
    pub station: StationId,
    /// The station's name for a fact.
    pub fact_id: Option<FactId>,
    /// What.
    pub kind: EventKind,
}

impl Event {
    /// A fact that was told so long after it happened was kept at its station: there was no contact. A slow answer
    /// takes less.
    pub fn was_kept(&self) -> bool {
        self.fact_id.is_some() && self.recorded_at - self.happened_at > KEPT_AFTER
    }
}

/// An event that `decide` allows, before the database gives it seq and `recorded_at`.
#[derive(Clone, Debug, PartialEq)]
pub struct NewEvent {
    /// When it happened; for a permission the instant of the decision.
    pub happened_at: Instant,
    /// The station's own claim, when it had to be clamped; kept in the event's data.
    pub claimed_at: Option<Instant>,
    /// Who.
    pub by: Option<PersonId>,
    /// Where.
    pub station: StationId,
    /// The station's name for a fact.
    pub fact_id: Option<FactId>,
    /// What.
    pub kind: EventKind,
}
