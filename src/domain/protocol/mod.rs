//! A protocol: a chemical service written down as steps, with its floor of safety (`check`).
//!
//! A revision is frozen into a run when the run starts; editing a protocol makes a new revision.

pub mod check;
pub mod hold_point;
pub mod step;

pub use hold_point::{Answer, HoldPoint, Meaning, Validity};
pub use step::{
    Caution, Chemical, Clock, Hands, Mark, Place, Section, SectionWork, Source, Step, StepCode, Times,
};

use crate::domain::chemistry::family::Family;

/// When a retouch is due: millimetres of stretched new growth, whole weeks since the last service.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Retouch {
    /// New growth long enough to treat without overlap, mm stretched.
    pub target_mm: f64,
    /// Never sooner.
    pub least_weeks: u16,
    /// The usual interval.
    pub middle_weeks: u16,
    /// The deadline: later, the line of demarcation breaks.
    pub latest_weeks: u16,
}

/// Where a planned application goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PlannedZone {
    /// From the scalp to the nearest demarcation.
    NewGrowth,
    /// All the hair.
    RootToEnd,
}

impl PlannedZone {
    /// The code used in files and by `rinsebell calc strand`.
    pub const fn code(self) -> &'static str {
        match self {
            PlannedZone::NewGrowth => "new-growth",
            PlannedZone::RootToEnd => "root-to-end",
        }
    }
}

/// One product on one zone; two passes of one product are one application.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlannedApplication {
    /// A, B … in order.
    pub letter: char,
    /// What the screen calls the product ("thio straightener", "curl lotion").
    pub title: String,
    /// Its chemistry.
    pub family: Family,
    /// Where it goes.
    pub zone: PlannedZone,
    /// It straightens (a thio application waves unless it does).
    pub straightens: bool,
    /// It opens the hair: skin-tested, dispensed, rinsed and closed.
    pub chemical: Chemical,
    /// The steps that put it on, first touch first.
    pub steps: Vec<StepCode>,
}

/// A chemical service, step by step.
#[derive(Clone, Debug, PartialEq)]
pub struct Protocol {
    /// Unique among protocols ("curl-retouch").
    pub code: String,
    /// As said to a client.
    pub title: String,
    /// Counts up with every change.
    pub revision: u32,
    /// The family of the service, for due estimates and qualifications.
    pub family: Family,
    /// When it is due again.
    pub retouch: Retouch,
    /// What is put on, in order.
    pub applications: Vec<PlannedApplication>,
    /// Quadrants in the order they are worked.
    pub sections: Vec<Section>,
    /// Steps in the order they are done.
    pub steps: Vec<Step>,
    /// What is said and shown when anybody stops the service.
    pub stop_words: Vec<String>,
}

impl Protocol {
    /// The place of a step in the order.
    pub fn index_of(&self, code: &StepCode) -> Option<usize> {
        self.steps.iter().position(|s| s.code == *code)
    }

    /// A step by code.
    pub fn step(&self, code: &StepCode) -> Option<&Step> {
        self.steps.iter().find(|s| s.code == *code)
    }

    /// An application by letter.
    pub fn application(&self, letter: char) -> Option<&PlannedApplication> {
        self.applications.iter().find(|a| a.letter == letter)
    }

    /// The step is part of closing: it puts the closing product on, or lets it work.
    pub fn closes(&self, step: &Step) -> bool {
        let of_closing = |letter| self.application(letter).is_some_and(|a| a.chemical == Chemical::Closing);
        step.is_closing() || (step.application.is_some_and(of_closing) && step.rinses.is_empty())
    }

    /// The step that carries an application's exposure clock.
    pub fn exposure_step(&self, letter: char) -> Option<&Step> {
        self.steps.iter().find(|s| s.application == Some(letter) && s.exposure.is_some())
    }

    /// Every clock whose figures must come from the product sheet.
    pub fn sheet_clocks(&self) -> impl Iterator<Item = (&Step, Clock)> {
        self.steps.iter().flat_map(|s| {
            [Clock::Phase, Clock::Exposure]
                .into_iter()
                .filter(|c| s.times(*c).is_some_and(|t| t.source == Source::Sheet))
                .map(move |c| (s, c))
        })
    }
}
