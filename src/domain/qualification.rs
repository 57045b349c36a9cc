//! What somebody is qualified for: a group of families a licence or training speaks of
//! (common practice, no source; local licensing comes first).

use super::chemistry::family::Family;

/// A group of families one qualification covers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Chemistry {
    /// Thio salts and esters, sulfite, cysteine.
    Thio,
    /// Sodium, potassium, lithium, guanidine hydroxide.
    Hydroxide,
    /// Oxidative colour, direct dye, plant and metallic colour.
    Colour,
    /// Lightener.
    Lightener,
    /// Neutralisers and what is not given here: no qualification is asked.
    Other,
}

impl Chemistry {
    /// All groups, in the order of the Team screen.
    pub const ALL: [Chemistry; 5] =
        [Chemistry::Thio, Chemistry::Hydroxide, Chemistry::Colour, Chemistry::Lightener, Chemistry::Other];

    /// The group of a family.
    pub const fn of(family: Family) -> Chemistry {
        match family {
            Family::Thio | Family::ThioEster | Family::Sulfite | Family::Cysteine => Chemistry::Thio,
            Family::SodiumHydroxide
            | Family::PotassiumHydroxide
            | Family::LithiumHydroxide
            | Family::GuanidineHydroxide => Chemistry::Hydroxide,
            Family::OxidativeColour | Family::DirectDye | Family::MetallicSalt | Family::PlantColour => {
                Chemistry::Colour
            }
            Family::Lightener => Chemistry::Lightener,
            Family::AldehydeSmoothing
            | Family::PeroxideNeutraliser
            | Family::BromateNeutraliser
            | Family::Unknown => Chemistry::Other,
        }
    }

    /// The code stored in the database.
    pub const fn code(self) -> &'static str {
        match self {
            Chemistry::Thio => "thio",
            Chemistry::Hydroxide => "hydroxide",
            Chemistry::Colour => "colour",
            Chemistry::Lightener => "lightener",
            Chemistry::Other => "other",
        }
    }

    /// The families somebody with these stored codes is qualified for; neutralisers ask for none.
    pub fn families(codes: &[String]) -> Vec<Family> {
        Family::ALL
            .into_iter()
            .filter(|f| {
                let neutraliser = matches!(f, Family::PeroxideNeutraliser | Family::BromateNeutraliser);
                neutraliser || codes.iter().any(|c| c == Chemistry::of(*f).code())
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_thio_qualification_opens_no_hydroxide() {
        let families = Chemistry::families(&["thio".to_string()]);
        assert!(families.contains(&Family::Thio) && families.contains(&Family::PeroxideNeutraliser));
        assert!(!families.contains(&Family::SodiumHydroxide) && !families.contains(&Family::Lightener));
    }
}
