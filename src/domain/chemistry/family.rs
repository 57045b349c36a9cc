//! Chemistry families: what a product does to hair, whoever makes it.

/// A chemistry family (2-domain.md, "Chemistry rules and limits"; codes of 3-calc.md).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Family {
    /// Thioglycolate salts.
    Thio,
    /// Thioglycolate esters (acid wave).
    ThioEster,
    /// Sulfite.
    Sulfite,
    /// Cysteine, cysteamine.
    Cysteine,
    /// Sodium hydroxide.
    SodiumHydroxide,
    /// Potassium hydroxide.
    PotassiumHydroxide,
    /// Lithium hydroxide.
    LithiumHydroxide,
    /// Guanidine hydroxide.
    GuanidineHydroxide,
    /// Oxidative colour.
    OxidativeColour,
    /// Direct dye.
    DirectDye,
    /// Lightener.
    Lightener,
    /// Metallic-salt colour.
    MetallicSalt,
    /// Plant colour (henna).
    PlantColour,
    /// Aldehyde smoothing.
    AldehydeSmoothing,
    /// Peroxide neutraliser.
    PeroxideNeutraliser,
    /// Bromate neutraliser.
    BromateNeutraliser,
    /// History not known.
    Unknown,
}

impl Family {
    /// Every family.
    pub const ALL: [Family; 17] = [
        Family::Thio,
        Family::ThioEster,
        Family::Sulfite,
        Family::Cysteine,
        Family::SodiumHydroxide,
        Family::PotassiumHydroxide,
        Family::LithiumHydroxide,
        Family::GuanidineHydroxide,
        Family::OxidativeColour,
        Family::DirectDye,
        Family::Lightener,
        Family::MetallicSalt,
        Family::PlantColour,
        Family::AldehydeSmoothing,
        Family::PeroxideNeutraliser,
        Family::BromateNeutraliser,
        Family::Unknown,
    ];

    /// The code used in files, the database and `rinsebell calc`.
    pub const fn code(self) -> &'static str {
        match self {
            Family::Thio => "thio",
            Family::ThioEster => "thio-ester",
            Family::Sulfite => "sulfite",
            Family::Cysteine => "cysteine",
            Family::SodiumHydroxide => "sodium-hydroxide",
            Family::PotassiumHydroxide => "potassium-hydroxide",
            Family::LithiumHydroxide => "lithium-hydroxide",
            Family::GuanidineHydroxide => "guanidine-hydroxide",
            Family::OxidativeColour => "oxidative-colour",
            Family::DirectDye => "direct-dye",
            Family::Lightener => "lightener",
            Family::MetallicSalt => "metallic-salt",
            Family::PlantColour => "plant-colour",
            Family::AldehydeSmoothing => "aldehyde-smoothing",
            Family::PeroxideNeutraliser => "peroxide-neutraliser",
            Family::BromateNeutraliser => "bromate-neutraliser",
            Family::Unknown => "unknown",
        }
    }

    /// Reads a code.
    pub fn from_code(code: &str) -> Option<Family> {
        Family::ALL.into_iter().find(|f| f.code() == code)
    }
}
