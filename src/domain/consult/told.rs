//! The answers of a consult.

use super::own::Own;
use crate::domain::chemistry::family::{Family, coded};
use time::Date;

coded! {
    /// The scalp as seen at the consult.
    Scalp {
        /// Whole and calm.
        Intact = "intact", "intact";
        /// Red, irritated.
        Red = "red", "red";
        /// Cut, sore, scratched open.
        Broken = "broken", "broken";
        /// Thinning or shiny at the edges.
        ThinningEdges = "thinning-edges", "thinning at the edges";
    }
}

coded! {
    /// Colour put on at home.
    HomeColour {
        /// Never.
        Never = "never", "never";
        /// With a developer.
        OxidativeColour = "oxidative-colour", "colour mixed with a developer";
        /// Without one.
        DirectDye = "direct-dye", "dye that washes out (direct)";
        /// Bleach.
        Lightener = "lightener", "lightener";
        /// Colour that darkens over days.
        MetallicSalt = "metallic-salt", "colour that darkens over days (metal)";
        /// Henna, other plants.
        PlantColour = "plant-colour", "henna or another plant";
        /// Something, nobody knows what.
        NotKnown = "not-known", "yes, nobody knows what";
    }
}

impl HomeColour {
    /// The family it leaves in the hair.
    pub const fn family(self) -> Option<Family> {
        match self {
            HomeColour::Never => None,
            HomeColour::OxidativeColour => Some(Family::OxidativeColour),
            HomeColour::DirectDye => Some(Family::DirectDye),
            HomeColour::Lightener => Some(Family::Lightener),
            HomeColour::MetallicSalt => Some(Family::MetallicSalt),
            HomeColour::PlantColour => Some(Family::PlantColour),
            HomeColour::NotKnown => Some(Family::Unknown),
        }
    }
}

/// The answers of a consult.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Told {
    /// Families of products the client once reacted to.
    pub reactions: Vec<Family>,
    /// Ever had a temporary black tattoo ("black henna").
    pub black_henna: bool,
    /// Reacted to it.
    pub black_henna_reaction: bool,
    /// The scalp as seen.
    pub scalp: Scalp,
    /// Scratched or brushed hard in the last three days.
    pub scratched_within_3_days: bool,
    /// The day braids, weave or glue came out.
    pub braids_out_on: Option<Date>,
    /// Pregnancy told.
    pub pregnant: bool,
    /// Medication told.
    pub medication: bool,
    /// Treatment of the scalp told.
    pub scalp_treatment: bool,
    /// Colour put on at home, the last of it.
    pub home_colour: HomeColour,
    /// Silver named in the history.
    pub silver_in_history: bool,
    /// What the kind of service asked besides.
    pub own: Own,
}

impl Told {
    /// True when a physician is to be asked and a stylist writes why it goes on.
    pub const fn needs_reason(&self) -> bool {
        self.pregnant || self.medication || self.scalp_treatment
    }
}
