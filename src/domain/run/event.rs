//! What has happened in a run. Past tense; nothing is ever changed or taken out.
//!
//! A *granted* event exists only because the server said yes. A *happened* event is a fact: it
//! stood whether or not the server was reached, and is never refused for being late.

use crate::domain::ids::{LotId, PersonId, StationId};
use crate::domain::protocol::{Clock, HoldPoint, Section, StepCode};
use time::OffsetDateTime;

/// An instant, UTC.
pub type Instant = time::OffsetDateTime;

/// The name a station gives a fact before it is sent, so that sending it twice records it once.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct FactId(String);

/// Longest fact id, in characters.
pub const FACT_ID_MOST_CHARS: usize = 64;

impl FactId {
    /// Letters, digits and hyphens, 1 to 64 of them; none otherwise.
    pub fn new(text: &str) -> Option<FactId> {
        let fits = !text.is_empty() && text.len() <= FACT_ID_MOST_CHARS;
        let plain = text.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-');
        (fits && plain).then(|| FactId(text.to_owned()))
    }

    /// As text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

/// A place on the head, the client's sides.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum HeadPlace {
    /// A quadrant.
    Quadrant(Section),
    /// The hairline in front.
    Hairline,
    /// The crown.
    Crown,
    /// The nape.
    Nape,
    /// An ear, or behind it.
    Ear,
    /// A temple.
    Temple,
    /// An eye.
    Eye,
    /// The face or neck.
    FaceOrNeck,
}

impl HeadPlace {
    /// Every place, quadrants first.
    pub const ALL: [HeadPlace; 11] = [
        HeadPlace::Quadrant(Section::BackRight),
        HeadPlace::Quadrant(Section::BackLeft),
        HeadPlace::Quadrant(Section::FrontLeft),
        HeadPlace::Quadrant(Section::FrontRight),
        HeadPlace::Hairline,
        HeadPlace::Crown,
        HeadPlace::Nape,
        HeadPlace::Ear,
        HeadPlace::Temple,
        HeadPlace::Eye,
        HeadPlace::FaceOrNeck,
    ];

    /// The code used in the database and forms.
    pub const fn code(self) -> &'static str {
        match self {
            HeadPlace::Quadrant(s) => s.code(),
            HeadPlace::Hairline => "hairline",
            HeadPlace::Crown => "crown",
            HeadPlace::Nape => "nape",
            HeadPlace::Ear => "ear",
            HeadPlace::Temple => "temple",
            HeadPlace::Eye => "eye",
            HeadPlace::FaceOrNeck => "face-or-neck",
        }
    }

    /// Reads a code.
    pub fn from_code(code: &str) -> Option<HeadPlace> {
        HeadPlace::ALL.into_iter().find(|p| p.code() == code)
    }

    /// What the screen says.
    pub const fn words(self) -> &'static str {
        match self {
            HeadPlace::Quadrant(s) => s.words(),
            HeadPlace::Hairline => "hairline",
            HeadPlace::Crown => "crown",
            HeadPlace::Nape => "nape",
            HeadPlace::Ear => "ear",
            HeadPlace::Temple => "temple",
            HeadPlace::Eye => "eye",
            HeadPlace::FaceOrNeck => "face or neck",
        }
    }
}

/// What the client says when asked "Any heat, any sting?".
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Comfort {
    /// No.
    No,
    /// Warm.
    Warm,
    /// It stings: counts as a complaint.
    Stings,
}

impl Comfort {
    /// The code used in the database and forms.
    pub const fn code(self) -> &'static str {
        match self {
            Comfort::No => "no",
            Comfort::Warm => "warm",
            Comfort::Stings => "stings",
        }
    }

    /// Reads a code.
    pub fn from_code(code: &str) -> Option<Comfort> {
        [Comfort::No, Comfort::Warm, Comfort::Stings].into_iter().find(|c| c.code() == code)
    }
}

/// Which rod is unwound for a test curl.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Rod {
    /// The rod wound first.
    First,
    /// The rod wound last.
    Last,
    /// The weakest place: porous, fine, hairline.
    Weakest,
}

impl Rod {
    /// The three that are read.
    pub const ALL: [Rod; 3] = [Rod::First, Rod::Last, Rod::Weakest];

    /// The code used in the database and forms.
    pub const fn code(self) -> &'static str {
        match self {
            Rod::First => "first",
            Rod::Last => "last",
            Rod::Weakest => "weakest",
        }
    }

    /// Reads a code.
    pub fn from_code(code: &str) -> Option<Rod> {
        Rod::ALL.into_iter().find(|r| r.code() == code)
    }
}

/// What a test curl shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum CurlReading {
    /// It hangs straight.
    None,
    /// A C.
    C,
    /// A firm S: rinse the whole head.
    S,
    /// Gone past: rinse now.
    Over,
}

impl CurlReading {
    /// Every reading.
    pub const ALL: [CurlReading; 4] = [CurlReading::None, CurlReading::C, CurlReading::S, CurlReading::Over];

    /// The code used in the database and forms.
    pub const fn code(self) -> &'static str {
        match self {
            CurlReading::None => "none",
            CurlReading::C => "c",
            CurlReading::S => "s",
            CurlReading::Over => "over",
        }
    }

    /// Reads a code.
    pub fn from_code(code: &str) -> Option<CurlReading> {
        CurlReading::ALL.into_iter().find(|r| r.code() == code)
    }
}

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
    RunFinished,
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
    /// Winding is done.
    RodsNoted {
        /// How many.
        count: u16,
        /// Where the first one sits.
        first_at: HeadPlace,
        /// Where the last one sits.
        last_at: HeadPlace,
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
    /// A mistaken quadrant start, rinse or test curl was taken back.
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

    /// The coded outcome (database column `outcome`): of a sign-off its value, of a stop reading
    /// yes or no.
    pub fn outcome(&self) -> Option<&str> {
        match self {
            EventKind::Granted(Granted::HoldPointSigned { signed, .. }) => Some(&signed.value),
            EventKind::Granted(Granted::StopRead { whole }) => Some(if *whole { "yes" } else { "no" }),
            _ => None,
        }
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
            Granted::RunFinished => "run_finished",
            Granted::RunLeft { .. } => "run_left",
            Granted::StationArmed { .. } => "station_armed",
            Granted::HandsNamed { .. } => "hands_named",
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
            Happened::RodsNoted { .. } => "rods_noted",
            Happened::StingReported { .. } => "sting_reported",
            Happened::StopRecorded => "stop_recorded",
            Happened::ClosingStarted { .. } => "closing_started",
            Happened::FactWithdrawn { .. } => "fact_withdrawn",
            Happened::Trimmed { .. } => "trimmed",
            Happened::ComfortNoted { .. } => "comfort_noted",
        }
    }

    /// Only a mistaken quadrant start, rinse or test curl may be taken back; a stop never.
    pub const fn may_be_withdrawn(&self) -> bool {
        matches!(
            self,
            Happened::SectionStarted { .. } | Happened::SectionRinsed { .. } | Happened::TestCurlRead { .. }
        )
    }
}

/// An event on record.
#[derive(Clone, Debug, PartialEq)]
pub struct Event {
    /// 1, 2, 3 … within the run, without a gap.
    pub seq: i64,
    /// When the database wrote it.
    pub recorded_at: OffsetDateTime,
    /// When it happened, between the run's start and `recorded_at`.
    pub happened_at: OffsetDateTime,
    /// Who; a fact may be "this station".
    pub by: Option<PersonId>,
    /// Where it was tapped.
    pub station: StationId,
    /// The station's name for a fact.
    pub fact_id: Option<FactId>,
    /// What.
    pub kind: EventKind,
}

/// An event that `decide` allows, before the database gives it seq and `recorded_at`.
#[derive(Clone, Debug, PartialEq)]
pub struct NewEvent {
    /// When it happened; for a permission the instant of the decision.
    pub happened_at: OffsetDateTime,
    /// The station's own claim, when it had to be clamped; kept in the event's data.
    pub claimed_at: Option<OffsetDateTime>,
    /// Who.
    pub by: Option<PersonId>,
    /// Where.
    pub station: StationId,
    /// The station's name for a fact.
    pub fact_id: Option<FactId>,
    /// What.
    pub kind: EventKind,
}
