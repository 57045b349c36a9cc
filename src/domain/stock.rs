//! What stands on the shelf: how a product is used, what it is, what its sheet says.

use crate::domain::chemistry::family::{Family, coded};
use crate::domain::chemistry::limits::Purpose;

coded! {
    /// What a product is used as.
    UseAs {
        /// Straightens.
        Straightener = "straightener", "straightener";
        /// Goes on rods.
        Lotion = "lotion", "curl or waving lotion";
        /// Ends a thio service.
        Neutraliser = "neutraliser", "neutraliser";
        /// Ends a hydroxide service: a normalising shampoo.
        Normaliser = "normaliser", "normalising shampoo";
        /// Colours.
        Colour = "colour", "colour";
        /// Lightens.
        Lightener = "lightener", "lightener";
        /// Anything else.
        Other = "other", "activator, developer or other";
    }
}

coded! {
    /// What it looks like.
    Form {
        /// Cream.
        Cream = "cream", "cream";
        /// Gel.
        Gel = "gel", "gel";
        /// Lotion.
        Lotion = "lotion", "lotion";
        /// Liquid.
        Liquid = "liquid", "liquid";
        /// Powder.
        Powder = "powder", "powder";
        /// Foam.
        Foam = "foam", "foam";
    }
}

coded! {
    /// Whether the scalp is covered with base first.
    Base {
        /// The sheet asks for base.
        Base = "base", "base on scalp and hairline";
        /// The sheet says no base.
        NoBase = "no-base", "no base, by the sheet";
        /// The sheet does not say.
        NotSaid = "not-said", "the sheet does not say";
    }
}

coded! {
    /// Which skin test the sheet gives.
    SkinTestKind {
        /// A patch test on skin.
        Patch = "patch", "patch test on skin";
        /// None by the sheet: a strand test and the scalp decide.
        NoneBySheet = "none-by-sheet", "no skin test by the sheet";
    }
}

coded! {
    /// One of the two clocks of a chemical step.
    Clock {
        /// From the start of the step.
        Phase = "phase", "this step (phase)";
        /// From the first touch to the rinse.
        Exposure = "exposure", "on the hair (exposure)";
    }
}

coded! {
    /// From when the sheet counts its minutes.
    CountsFrom {
        /// The first touch.
        FirstTouch = "first-touch", "the first touch";
        /// The last rod wound.
        LastRod = "last-rod", "the last rod";
        /// The cover going on.
        Cover = "cover", "the cover going on";
    }
}

/// The low mark a new product begins with, in grams: about one head's worth (common practice, no source). Each product
/// has its own from then on.
pub const LOW_GRAMS: f32 = 150.0;

/// Days ahead within which a lot's last day is told on the Shelf (common practice, no source).
pub const SOON_DAYS: i64 = 30;

/// The use the law's limits are read for; none where no limit is filed for such a use.
pub fn purpose(family: Family, use_as: UseAs) -> Option<Purpose> {
    match (use_as, family) {
        (UseAs::Neutraliser, _) | (_, Family::PeroxideNeutraliser | Family::BromateNeutraliser) => {
            Some(Purpose::Neutralising)
        }
        (UseAs::Straightener | UseAs::Lotion, _) => Some(Purpose::WavingStraightening),
        (UseAs::Colour | UseAs::Lightener, _) => Some(Purpose::OxidativeColour),
        (UseAs::Normaliser | UseAs::Other, _) => None,
    }
}

/// Why family and use do not go together, in words; none when they do.
pub fn use_fault(family: Family, use_as: UseAs) -> Option<&'static str> {
    use Family as F;
    let relaxer = matches!(
        family,
        F::SodiumHydroxide | F::PotassiumHydroxide | F::LithiumHydroxide | F::GuanidineHydroxide
    );
    let ends = matches!(family, F::PeroxideNeutraliser | F::BromateNeutraliser);
    match use_as {
        UseAs::Neutraliser if !ends => Some(tr!("A neutraliser is of a peroxide or bromate.")),
        UseAs::Straightener | UseAs::Lotion if ends => {
            Some(tr!("A peroxide or bromate neutraliser is no straightener or lotion."))
        }
        UseAs::Lotion if relaxer => Some(tr!("A hydroxide is never wound on rods.")),
        UseAs::Lightener if family != F::Lightener => Some(tr!("A lightener is of the family lightener.")),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hydroxide_is_no_lotion_and_a_neutraliser_no_straightener() {
        assert!(use_fault(Family::SodiumHydroxide, UseAs::Lotion).is_some());
        assert!(use_fault(Family::PeroxideNeutraliser, UseAs::Straightener).is_some());
        assert!(use_fault(Family::Thio, UseAs::Neutraliser).is_some());
        assert_eq!(use_fault(Family::Thio, UseAs::Straightener), None);
        assert_eq!(use_fault(Family::PeroxideNeutraliser, UseAs::Neutraliser), None);
    }

    #[test]
    fn the_limits_are_read_for_what_a_product_is_used_as() {
        assert_eq!(purpose(Family::Thio, UseAs::Lotion), Some(Purpose::WavingStraightening));
        assert_eq!(purpose(Family::PeroxideNeutraliser, UseAs::Neutraliser), Some(Purpose::Neutralising));
        assert_eq!(purpose(Family::Unknown, UseAs::Other), None);
    }
}
