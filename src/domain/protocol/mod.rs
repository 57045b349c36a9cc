//! A protocol: a chemical service written down as steps, with its floor of safety (`check`).
//!
//! A revision is frozen into a run when the run starts; editing a protocol makes a new revision.

pub mod check;
mod check_floor;
mod check_step;
pub mod difference;
pub mod edit;
pub mod floor;
pub mod hold_point;
pub mod lawful;
pub mod section;
pub mod step;
mod texts;
pub mod work;

pub use floor::Floor;
pub use hold_point::{Answer, HoldPoint, Meaning, Validity};
pub use section::{Section, SectionSet};
pub use step::{Caution, Chemical, Clock, Hands, Mark, Place, SectionWork, Source, Step, StepCode, Times};
pub use work::{Head, Heat, Kind, Look, LookFor, Mix, MixPart, TestKind};

use crate::domain::chemistry::Strength;
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
    /// How far these figures can be trusted.
    pub mark: Mark,
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
    /// The strongest that may be planned and started; none: what the hair takes.
    pub strength_most: Option<Strength>,
    /// The floor's own ceiling from first touch to rinse, with how far it can be trusted: it holds in every run,
    /// whatever the sheet says.
    pub exposure_ceiling: Option<(u16, Mark)>,
    /// It opens the hair: skin-tested, dispensed, rinsed and closed.
    pub chemical: Chemical,
    /// The steps that put it on, first touch first.
    pub steps: Vec<StepCode>,
}

impl PlannedApplication {
    /// A product of this family may be what it asks for.
    pub const fn takes(&self, family: Family) -> bool {
        family.stands_for(self.family)
    }
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
    /// A service, or a test visit that puts nothing opening on the head.
    pub kind: Kind,
    /// The head it is written for.
    pub head: Head,
    /// When it is due again by growth; none where growth does not decide.
    pub retouch: Option<Retouch>,
    /// What is put on, in order.
    pub applications: Vec<PlannedApplication>,
    /// Sections in the order they are worked; a step may have its own.
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

    /// The sections a step works, in its order.
    pub fn sections_of<'p>(&'p self, step: &'p Step) -> &'p [Section] {
        step.order.as_deref().unwrap_or(&self.sections)
    }

    /// The sections an application touches, in the protocol's order: what its exposure clocks run for.
    /// All of them where its steps tap none.
    pub fn sections_touched(&self, letter: char) -> Vec<Section> {
        let applies = |s: &&Step| {
            s.application == Some(letter) && matches!(s.sections, Some(SectionWork::Apply { .. }))
        };
        let touched: Vec<Section> =
            self.steps.iter().filter(applies).flat_map(|s| self.sections_of(s)).copied().collect();
        self.sections.iter().copied().filter(|s| touched.is_empty() || touched.contains(s)).collect()
    }

    /// What is watched while an application works, if anything.
    pub fn look(&self, letter: char) -> Option<Look> {
        self.steps.iter().filter(|s| s.application == Some(letter)).find_map(|s| s.look)
    }

    /// The step is part of closing: it puts the closing product on, or lets it work.
    pub fn closes(&self, step: &Step) -> bool {
        let of_closing = |letter| self.application(letter).is_some_and(|a| a.chemical == Chemical::Closing);
        step.is_closing() || (step.application.is_some_and(of_closing) && step.rinses.is_empty())
    }

    /// Something closes what was opened: a neutraliser, a normalising shampoo. Colour and lightener are rinsed off.
    pub fn closes_hair(&self) -> bool {
        self.steps.iter().any(|s| self.closes(s))
    }

    /// The step with which nothing works on the hair any more: the last that closes it; where nothing closes, the last
    /// that rinses what was put on.
    pub fn last_at_work(&self) -> Option<usize> {
        let opening = |l: &char| self.application(*l).is_some_and(|a| a.chemical == Chemical::Opening);
        let closes = self.steps.iter().rposition(|s| self.closes(s));
        closes.or_else(|| self.steps.iter().rposition(|s| s.rinses.iter().any(opening)))
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
