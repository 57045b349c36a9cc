//! Chemistry families, the groups their exposures count as, and the uses a planned product is judged as.

macro_rules! coded {
    ($(#[$doc:meta])* $name:ident { $($(#[$vdoc:meta])* $variant:ident = $code:literal, $words:literal;)+ }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum $name { $($(#[$vdoc])* $variant),+ }

        impl $name {
            /// Every value, in the order of declaration.
            pub const ALL: [$name; [$($code),+].len()] = [$($name::$variant),+];

            /// The code used in files, in the database and in JSON.
            pub const fn code(self) -> &'static str {
                match self { $($name::$variant => $code),+ }
            }

            /// The words a screen says, in the language spoken.
            pub fn words(self) -> &'static str {
                $crate::words::lit(match self { $($name::$variant => $words),+ })
            }

            /// The value of a code.
            pub fn from_code(code: &str) -> Option<$name> {
                Self::ALL.into_iter().find(|value| value.code() == code)
            }
        }
    };
}
pub(crate) use coded;

coded! {
    /// What a product does to hair, by its chemistry.
    Family {
        /// Salts of thioglycolic acid.
        Thio = "thio", "thio";
        /// Esters of thioglycolic acid: acid waves.
        ThioEster = "thio-ester", "thio ester";
        /// Sulfites and bisulfites.
        Sulfite = "sulfite", "sulfite";
        /// Cysteine and cysteamine.
        Cysteine = "cysteine", "cysteine";
        /// Lye relaxer.
        SodiumHydroxide = "sodium-hydroxide", "sodium hydroxide relaxer";
        /// Relaxer with potassium.
        PotassiumHydroxide = "potassium-hydroxide", "potassium hydroxide relaxer";
        /// Relaxer with lithium.
        LithiumHydroxide = "lithium-hydroxide", "lithium hydroxide relaxer";
        /// Relaxer mixed from calcium hydroxide and a guanidine salt.
        GuanidineHydroxide = "guanidine-hydroxide", "guanidine hydroxide relaxer";
        /// Permanent colour with a developer.
        OxidativeColour = "oxidative-colour", "oxidative colour";
        /// Colour without a developer.
        DirectDye = "direct-dye", "direct dye";
        /// Bleach.
        Lightener = "lightener", "lightener";
        /// Colour with salts of lead, silver, copper, bismuth.
        MetallicSalt = "metallic-salt", "metallic-salt colour";
        /// Henna and other plants without metal.
        PlantColour = "plant-colour", "plant colour (henna)";
        /// Smoothing by formaldehyde, glyoxylic acid and their kin.
        AldehydeSmoothing = "aldehyde-smoothing", "aldehyde smoothing";
        /// Neutraliser with hydrogen peroxide.
        PeroxideNeutraliser = "peroxide-neutraliser", "peroxide neutraliser";
        /// Neutraliser with a bromate.
        BromateNeutraliser = "bromate-neutraliser", "bromate neutraliser";
        /// Lengths nobody can account for.
        Unknown = "unknown", "history not known";
    }
}

coded! {
    /// What an earlier exposure counts as: the columns of the rule table.
    Group {
        /// Thio, thio ester, sulfite, cysteine.
        Thio = "thio", "thio";
        /// All four hydroxides.
        Hydroxide = "hydroxide", "hydroxide relaxer";
        /// Permanent colour.
        OxidativeColour = "oxidative-colour", "oxidative colour";
        /// Colour without a developer.
        DirectDye = "direct-dye", "direct dye";
        /// Bleach.
        Lightener = "lightener", "lightener";
        /// Metal in the hair.
        MetallicSalt = "metallic-salt", "metallic-salt colour";
        /// Plain henna.
        PlantColour = "plant-colour", "plant colour (henna)";
        /// Aldehyde smoothing.
        AldehydeSmoothing = "aldehyde-smoothing", "aldehyde smoothing";
        /// Either neutraliser: brings no rule.
        Neutraliser = "neutraliser", "neutraliser";
        /// History not known.
        Unknown = "unknown", "history not known";
    }
}

coded! {
    /// What a planned product is judged as: the rows of the rule table.
    NewUse {
        /// Thio, sulfite or cysteine that straightens.
        ThioStraightening = "thio-straightening", "thio straightener";
        /// Thio, sulfite or cysteine on rods.
        ThioWaving = "thio-waving", "curl lotion";
        /// Thio ester.
        ThioEster = "thio-ester", "acid wave";
        /// Any hydroxide.
        Hydroxide = "hydroxide", "relaxer";
        /// Permanent colour.
        OxidativeColour = "oxidative-colour", "oxidative colour";
        /// Colour without a developer.
        DirectDye = "direct-dye", "direct dye";
        /// Bleach.
        Lightener = "lightener", "lightener";
        /// Either neutraliser.
        Neutraliser = "neutraliser", "neutraliser";
    }
}

impl Family {
    /// What an exposure of this family counts as (trade-rules.md, What may meet what).
    pub const fn group(self) -> Group {
        match self {
            Family::Thio | Family::ThioEster | Family::Sulfite | Family::Cysteine => Group::Thio,
            Family::SodiumHydroxide
            | Family::PotassiumHydroxide
            | Family::LithiumHydroxide
            | Family::GuanidineHydroxide => Group::Hydroxide,
            Family::OxidativeColour => Group::OxidativeColour,
            Family::DirectDye => Group::DirectDye,
            Family::Lightener => Group::Lightener,
            Family::MetallicSalt => Group::MetallicSalt,
            Family::PlantColour => Group::PlantColour,
            Family::AldehydeSmoothing => Group::AldehydeSmoothing,
            Family::PeroxideNeutraliser | Family::BromateNeutraliser => Group::Neutraliser,
            Family::Unknown => Group::Unknown,
        }
    }

    /// A product of this family may be given where a protocol asks for `asked`: the same family, or one of which the
    /// floor of safety asks the very same (`shared/tables/floor.toml`). Thio, sulfite and cysteine; the three lyes;
    /// either neutraliser. Guanidine is mixed, an ester is warmed, an oxidative colour has a developer: each stands alone.
    pub const fn stands_for(self, asked: Family) -> bool {
        self.alike() as u8 == asked.alike() as u8
    }

    /// One for all of which the floor asks the same.
    const fn alike(self) -> Family {
        match self {
            Family::Sulfite | Family::Cysteine => Family::Thio,
            Family::PotassiumHydroxide | Family::LithiumHydroxide => Family::SodiumHydroxide,
            Family::BromateNeutraliser => Family::PeroxideNeutraliser,
            other => other,
        }
    }

    /// The row a planned product of this family is judged by; `None` has no row (`unknown-pair`).
    /// Thio, sulfite and cysteine wave unless they straighten.
    pub const fn planned_as(self, straightens: bool) -> Option<NewUse> {
        match self {
            Family::Thio | Family::Sulfite | Family::Cysteine if straightens => {
                Some(NewUse::ThioStraightening)
            }
            Family::Thio | Family::Sulfite | Family::Cysteine => Some(NewUse::ThioWaving),
            Family::ThioEster => Some(NewUse::ThioEster),
            Family::SodiumHydroxide
            | Family::PotassiumHydroxide
            | Family::LithiumHydroxide
            | Family::GuanidineHydroxide => Some(NewUse::Hydroxide),
            Family::OxidativeColour => Some(NewUse::OxidativeColour),
            Family::DirectDye => Some(NewUse::DirectDye),
            Family::Lightener => Some(NewUse::Lightener),
            Family::PeroxideNeutraliser | Family::BromateNeutraliser => Some(NewUse::Neutraliser),
            Family::MetallicSalt | Family::PlantColour | Family::AldehydeSmoothing | Family::Unknown => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_code_reads_back() {
        assert_eq!(Family::ALL.len(), 17);
        for family in Family::ALL {
            assert_eq!(Family::from_code(family.code()), Some(family));
        }
        assert_eq!(Family::from_code("tea"), None);
    }

    /// "The two chemistries must never meet on one hair" (1-job.md): no family of one group stands for one of another.
    #[test]
    fn what_stands_for_another_is_of_its_group() {
        for given in Family::ALL {
            assert!(given.stands_for(given), "{given:?}");
            for asked in Family::ALL.into_iter().filter(|a| given.stands_for(*a)) {
                assert!(asked.stands_for(given));
                assert_eq!(given.group(), asked.group());
                assert_eq!(given.planned_as(true), asked.planned_as(true), "{given:?} for {asked:?}");
            }
        }
        assert!(!Family::SodiumHydroxide.stands_for(Family::Thio));
        assert!(!Family::GuanidineHydroxide.stands_for(Family::SodiumHydroxide));
        assert!(!Family::ThioEster.stands_for(Family::Thio));
        assert!(!Family::DirectDye.stands_for(Family::OxidativeColour));
        assert!(Family::Cysteine.stands_for(Family::Thio));
    }

    /// trade-rules.md: "New plant colour, metallic-salt colour, aldehyde smoothing are not given here".
    #[test]
    fn four_families_have_no_row() {
        let without = Family::ALL.iter().filter(|f| f.planned_as(false).is_none()).count();
        assert_eq!(without, 4);
    }
}
