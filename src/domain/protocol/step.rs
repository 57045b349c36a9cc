//! One step of a protocol: its words, what it does to the hair, what it waits for, how long,
//! with whose hands and where.

use super::hold_point::HoldPoint;
use super::section::Section;
use super::work::{Heat, Look, LookFor, Mix, TestKind};
use crate::domain::chemistry::family::Family;

/// A step's code, unique in its protocol ("apply-1").
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct StepCode(pub String);

impl StepCode {
    /// The code as text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl From<&str> for StepCode {
    fn from(code: &str) -> Self {
        StepCode(code.to_owned())
    }
}

impl std::fmt::Display for StepCode {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}

/// What a step does to the hair.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Chemical {
    /// Nothing new goes on.
    None,
    /// Straightener, lotion, colour, lightener: opens the hair or dyes it.
    Opening,
    /// Neutraliser, normalising shampoo: ends what an opening step began.
    Closing,
}

impl Chemical {
    /// The code used in files and the database.
    pub const fn code(self) -> &'static str {
        match self {
            Chemical::None => "none",
            Chemical::Opening => "opening",
            Chemical::Closing => "closing",
        }
    }
}

/// What is done section by section in a step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SectionWork {
    /// Product goes on; the first pass is 1.
    Apply {
        /// Which pass, from 1.
        pass: u8,
    },
    /// Combed or smoothed, nothing new goes on.
    Smooth,
    /// Rinsed in order.
    Rinse,
}

/// How far a figure of the trade can be trusted (trade-rules.md, marks).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mark {
    /// Law.
    Law,
    /// Published.
    Published,
    /// A consumer page: never shown as a fact (published.md, marks).
    Consumer,
    /// Handbook teaching.
    Handbook,
    /// Common practice, no source.
    CommonPractice,
    /// From memory.
    Memory,
    /// A salon's own figure or words, in its own copy of a protocol; no shipped file bears it.
    Salon,
}

impl Mark {
    /// Every mark, the firmest first.
    pub const ALL: [Mark; 7] = [
        Mark::Law,
        Mark::Published,
        Mark::Handbook,
        Mark::CommonPractice,
        Mark::Consumer,
        Mark::Memory,
        Mark::Salon,
    ];

    /// The mark used in files: L, P, C, H, CP, M; S in a salon's own copy.
    pub const fn code(self) -> &'static str {
        match self {
            Mark::Law => "L",
            Mark::Published => "P",
            Mark::Consumer => "C",
            Mark::Handbook => "H",
            Mark::CommonPractice => "CP",
            Mark::Memory => "M",
            Mark::Salon => "S",
        }
    }

    /// Reads a mark.
    pub fn from_code(code: &str) -> Option<Mark> {
        Mark::ALL.into_iter().find(|m| m.code() == code)
    }

    /// What the screen says beside the figure.
    pub fn words(self) -> &'static str {
        match self {
            Mark::Law => tr!("law"),
            Mark::Published => tr!("published"),
            Mark::Consumer => tr!("from consumer pages, no fact"),
            Mark::Handbook => tr!("handbook teaching"),
            Mark::CommonPractice => tr!("common practice, no source"),
            Mark::Memory => tr!("from memory"),
            Mark::Salon => tr!("this salon's own"),
        }
    }
}

/// Where a clock's figures come from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Source {
    /// The product's own sheet, entered for this product: no figure, no start.
    Sheet,
    /// The protocol's starting value; the sheet, where it speaks, may only tighten it.
    Default {
        /// How far it can be trusted.
        mark: Mark,
    },
}

/// A clock of a step. Whole minutes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Times {
    /// When it is meant to end.
    pub target_min: Option<u16>,
    /// Never sooner.
    pub least_min: Option<u16>,
    /// Never longer.
    pub most_min: Option<u16>,
    /// Where the figures come from.
    pub source: Source,
}

/// Which of a step's two clocks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Clock {
    /// From the step's start (cover on, last rod wet).
    Phase,
    /// From first touch to rinse, the longest section.
    Exposure,
}

impl Clock {
    /// The code used in the database and forms.
    pub const fn code(self) -> &'static str {
        match self {
            Clock::Phase => "phase",
            Clock::Exposure => "exposure",
        }
    }

    /// Reads a code.
    pub fn from_code(code: &str) -> Option<Clock> {
        [Clock::Phase, Clock::Exposure].into_iter().find(|c| c.code() == code)
    }
}

/// Whose hands a step needs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hands {
    /// Nobody's: the hair processes.
    Nobody,
    /// A stylist's.
    Stylist,
    /// An assistant's; a stylist may.
    Assistant,
    /// Anybody's of the team who treats hair.
    Any,
}

impl Hands {
    /// The code used in files.
    pub const fn code(self) -> &'static str {
        match self {
            Hands::Nobody => "nobody",
            Hands::Stylist => "stylist",
            Hands::Assistant => "assistant",
            Hands::Any => "any",
        }
    }

    /// Whose hands, in words.
    pub fn words(self) -> &'static str {
        match self {
            Hands::Nobody => tr!("nobody"),
            Hands::Stylist => tr!("stylist"),
            Hands::Assistant => tr!("assistant or stylist"),
            Hands::Any => tr!("anybody who treats hair"),
        }
    }

    /// Every value.
    pub const ALL: [Hands; 4] = [Hands::Nobody, Hands::Stylist, Hands::Assistant, Hands::Any];

    /// Reads a code.
    pub fn from_code(code: &str) -> Option<Hands> {
        Hands::ALL.into_iter().find(|h| h.code() == code)
    }
}

/// A kind of place that is counted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Place {
    /// A styling chair.
    Chair,
    /// A basin.
    Basin,
    /// A hood or dryer.
    Hood,
}

impl Place {
    /// The code used in files and the database.
    pub const fn code(self) -> &'static str {
        match self {
            Place::Chair => "chair",
            Place::Basin => "basin",
            Place::Hood => "hood",
        }
    }

    /// Every value.
    pub const ALL: [Place; 3] = [Place::Chair, Place::Basin, Place::Hood];

    /// Reads a code.
    pub fn from_code(code: &str) -> Option<Place> {
        Place::ALL.into_iter().find(|p| p.code() == code)
    }
}

/// A caution beside the step, with its mark.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Caution {
    /// The sentence.
    pub words: String,
    /// How far it can be trusted.
    pub mark: Mark,
}

/// One step.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Step {
    /// Unique in the protocol.
    pub code: StepCode,
    /// A few words: the headline.
    pub title: String,
    /// What is done, as said in the chair.
    pub words: String,
    /// Read beside the step.
    pub cautions: Vec<Caution>,
    /// What it does to the hair.
    pub chemical: Chemical,
    /// The family that goes on, on an opening step or a neutraliser.
    pub family: Option<Family>,
    /// A closing step that is a normalising shampoo: it is no family and writes nothing on the strand.
    pub normalises: bool,
    /// The letter of the planned application this step belongs to (A, B …).
    pub application: Option<char>,
    /// Done section by section.
    pub sections: Option<SectionWork>,
    /// This step's own sections and order; the protocol's when absent.
    pub order: Option<Vec<Section>>,
    /// The letters of the applications that this step rinses off.
    pub rinses: Vec<char>,
    /// What is mixed in this step.
    pub mix: Option<Mix>,
    /// Warmth.
    pub heat: Heat,
    /// What is watched in this step.
    pub look: Option<Look>,
    /// The test that this step puts on record, outside the run.
    pub records: Option<TestKind>,
    /// Rods are counted in this step.
    pub rods: bool,
    /// May be left out.
    pub optional: bool,
    /// What it waits for.
    pub hold_points: Vec<HoldPoint>,
    /// From the step's start.
    pub phase: Option<Times>,
    /// From first touch to rinse; stands on the first step of an application.
    pub exposure: Option<Times>,
    /// Minutes from first touch within which this step and its fellow passes are done.
    pub window_min: Option<u16>,
    /// How far the window can be trusted.
    pub window_mark: Option<Mark>,
    /// Hands-on or hands-off minutes as usually needed.
    pub minutes_typical: u16,
    /// The fewest it takes.
    pub minutes_least: u16,
    /// Whose hands.
    pub hands: Hands,
    /// How many pairs of hands (0 with nobody).
    pub hands_count: u8,
    /// Where it is done.
    pub places: Vec<Place>,
    /// Whoever starts it must be qualified for this family.
    pub qualification: Option<Family>,
}

impl Step {
    /// Something is put on the hair that opens it.
    pub fn is_opening(&self) -> bool {
        self.chemical == Chemical::Opening
    }

    /// Ends what an opening step began.
    pub fn is_closing(&self) -> bool {
        self.chemical == Chemical::Closing
    }

    /// Opening or closing.
    pub fn is_chemical(&self) -> bool {
        self.chemical != Chemical::None
    }

    /// Test curls are read in this step.
    pub fn reads_curls(&self) -> bool {
        self.look.is_some_and(|l| l.what == LookFor::TestCurl)
    }

    /// The clock as the protocol has it, before the product sheet.
    pub fn times(&self, clock: Clock) -> Option<&Times> {
        match clock {
            Clock::Phase => self.phase.as_ref(),
            Clock::Exposure => self.exposure.as_ref(),
        }
    }
}
