//! The floor of safety as a table: what no protocol goes without, row by row, each with its reason and mark.
//!
//! The rows are data (`shared/tables/floor.toml`); the database keeps the same rows and a test compares the two.

use super::hold_point::HoldPoint;
use super::section::Section;
use super::step::{Chemical, Mark};
use super::work::{Head, LookFor};
use super::{PlannedApplication, Protocol};
use crate::domain::chemistry::Strength;
use crate::domain::chemistry::family::{Family, Group, coded};

coded! {
    /// What a row speaks of.
    Subject {
        /// Every opening application, and every step that puts it on.
        Opening = "opening", "an opening product";
        /// Thio, sulfite or cysteine that straightens.
        ThioStraightening = "thio-straightening", "a thio straightener";
        /// Thio, sulfite or cysteine on rods after a straightener of the same service.
        CurlLotion = "curl-lotion", "curl lotion";
        /// Thio, sulfite or cysteine on rods, without a straightener.
        AlkalineWave = "alkaline-wave", "alkaline wave";
        /// Thio ester.
        AcidWave = "acid-wave", "acid wave";
        /// Any hydroxide.
        Hydroxide = "hydroxide", "hydroxide";
        /// Guanidine hydroxide.
        Guanidine = "guanidine", "two-part guanidine";
        /// Permanent colour.
        Colour = "colour", "oxidative colour";
        /// Colour without a developer.
        DirectDye = "direct-dye", "direct dye";
        /// Bleach.
        Lightener = "lightener", "lightener";
        /// Every closing step.
        Closing = "closing", "a closing product";
        /// A neutraliser after curl re-forming.
        NeutraliserReforming = "neutraliser-reforming", "neutraliser after curl re-forming";
        /// A neutraliser after a wave.
        NeutraliserWave = "neutraliser-wave", "neutraliser after a wave";
    }
}

coded! {
    /// What ends an opening product's work.
    Closer {
        /// Peroxide or bromate.
        Neutraliser = "neutraliser", "neutraliser";
        /// Shampoo that brings the hair's pH back and shows by its colour when it has.
        NormalisingShampoo = "normalising-shampoo", "normalising shampoo";
    }
}

/// What a row asks.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Ask {
    /// Every step that puts it on waits for this.
    HoldPoint(HoldPoint),
    /// The first step that puts it on waits for this.
    FirstHoldPoint(HoldPoint),
    /// Every step in which hands work while it is on waits for this.
    AtWorkHoldPoint(HoldPoint),
    /// First touch to rinse is timed by the product sheet alone: no figure, no start.
    ExposureFromSheet,
    /// First touch to rinse is never longer, minutes, whatever the sheet says.
    ExposureMost(u16),
    /// A phase of it is never longer, minutes.
    PhaseMost(u16),
    /// It works at least so long in a phase of its own, minutes.
    PhaseLeast(u16),
    /// Its passes are done within so many minutes of first touch.
    WindowMost(u16),
    /// A later step rinses every section that it touched.
    Rinsed,
    /// After that rinse it is closed by this, and by nothing else.
    ClosedBy(Closer),
    /// The last rinse before its neutraliser lasts at least so long, minutes.
    RinseLeast(u16),
    /// No heat from its first touch to its rinse.
    NoHeat,
    /// This section, worked on its own, comes last.
    LastSection(Section),
    /// Every back section comes before any front one.
    BackFirst,
    /// On such a head it goes on the new growth only.
    NewGrowth(Head),
    /// It is not put on all the hair of such a head.
    NotRootToEnd(Head),
    /// On such a head it is this strong at most, and the application says so.
    StrengthMost(Head, Strength),
    /// It is mixed for this head by an earlier step, and every step that puts it on waits for the mixture.
    Mixed,
    /// Whatever is watched of it is this, so often at least and from so early on: minutes from look to look, and from
    /// first touch to the first.
    Watched(LookFor, u16, u16),
    /// It never stands in one protocol with this group.
    NeverWith(Group),
    /// A stylist's hands put it on.
    StylistHands,
    /// Whoever starts it is qualified for its chemistry.
    Qualified,
    /// It is not left out.
    NotOptional,
    /// Some sentence of the stop words holds all of these.
    StopWords(Vec<String>),
}

/// A row of the floor.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Row {
    /// Unique: named in every fault that it makes.
    pub id: String,
    /// What it speaks of.
    pub subjects: Vec<Subject>,
    /// What it asks.
    pub asks: Ask,
    /// Why, in a sentence.
    pub why: String,
    /// How far it can be trusted.
    pub mark: Mark,
}

/// The longest that is read at arm's length, and other bounds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bounds {
    /// Longest title, characters.
    pub title_chars: u16,
    /// Longest instruction or stop sentence, characters.
    pub words_chars: u16,
    /// Longest caution, characters.
    pub caution_chars: u16,
    /// Most steps.
    pub steps: u16,
    /// Longest a step or a clock may be, minutes.
    pub minutes: u16,
}

/// The floor of safety.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Floor {
    /// Bounds of every text and figure.
    pub bounds: Bounds,
    /// Every row, in the table's order.
    pub rows: Vec<Row>,
}

impl Subject {
    /// The row speaks of this application of this protocol.
    pub fn is(self, protocol: &Protocol, a: &PlannedApplication) -> bool {
        if a.chemical != Chemical::Opening {
            return match self {
                Subject::Closing => true,
                Subject::NeutraliserReforming => reforms(protocol) && neutralises(a.family),
                Subject::NeutraliserWave => !reforms(protocol) && neutralises(a.family),
                _ => false,
            };
        }
        let thio = matches!(a.family, Family::Thio | Family::Sulfite | Family::Cysteine);
        match self {
            Subject::Opening => true,
            Subject::ThioStraightening => thio && a.straightens,
            Subject::CurlLotion => thio && !a.straightens && reforms(protocol),
            Subject::AlkalineWave => thio && !a.straightens && !reforms(protocol),
            Subject::AcidWave => a.family == Family::ThioEster,
            Subject::Hydroxide => a.family.group() == Group::Hydroxide,
            Subject::Guanidine => a.family == Family::GuanidineHydroxide,
            Subject::Colour => a.family == Family::OxidativeColour,
            Subject::DirectDye => a.family == Family::DirectDye,
            Subject::Lightener => a.family == Family::Lightener,
            Subject::Closing | Subject::NeutraliserReforming | Subject::NeutraliserWave => false,
        }
    }
}

/// A peroxide or bromate neutraliser.
pub(super) fn neutralises(family: Family) -> bool {
    family.group() == Group::Neutraliser
}

/// The service straightens with thio and waves again: curl re-forming.
pub(super) fn reforms(protocol: &Protocol) -> bool {
    protocol
        .applications
        .iter()
        .any(|a| a.straightens && a.chemical == Chemical::Opening && a.family.group() == Group::Thio)
}

impl Floor {
    /// Writes its ceilings into a protocol's applications.
    pub fn cap(&self, protocol: &mut Protocol) {
        let ceilings: Vec<_> =
            protocol.applications.iter().map(|a| self.exposure_ceiling(protocol, a)).collect();
        for (a, ceiling) in protocol.applications.iter_mut().zip(ceilings) {
            a.exposure_ceiling = ceiling;
        }
    }

    /// The longest an application may work from first touch to rinse, whatever its sheet says, minutes.
    pub fn exposure_ceiling(&self, protocol: &Protocol, a: &PlannedApplication) -> Option<(u16, Mark)> {
        let mosts = self.rows.iter().filter_map(|row| match row.asks {
            Ask::ExposureMost(most) if row.subjects.iter().any(|s| s.is(protocol, a)) => {
                Some((most, row.mark))
            }
            _ => None,
        });
        mosts.min_by_key(|(most, _)| *most)
    }
}

/// Any hydroxide.
pub(super) fn is_hydroxide(family: Family) -> bool {
    family.group() == Group::Hydroxide
}
