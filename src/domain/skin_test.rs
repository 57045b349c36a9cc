//! Patch tests: where they sit, when they are read, what was seen.
//!
//! From trade-rules.md, "Hold points": placed 48 hours or more before it is read as no reaction; anything but
//! "no reaction" is positive, and nobody overrides that.

use crate::domain::chemistry::family::{Family, coded};
use time::{Duration, OffsetDateTime};

coded! {
    /// What was seen where a patch test sat.
    Outcome {
        /// Nothing.
        NoReaction = "no-reaction", "no reaction";
        /// Itching.
        Itching = "itching", "itching";
        /// Redness.
        Redness = "redness", "redness";
        /// Swelling.
        Swelling = "swelling", "swelling";
        /// A blister.
        Blister = "blister", "a blister";
        /// A rash somewhere else.
        RashElsewhere = "rash-elsewhere", "a rash elsewhere";
    }
}

impl Outcome {
    /// Anything but "no reaction".
    pub fn is_positive(self) -> bool {
        self != Outcome::NoReaction
    }
}

coded! {
    /// Where a patch test sits; the client's sides.
    SkinPlace {
        /// Behind the left ear.
        BehindLeftEar = "behind-left-ear", "behind the left ear";
        /// Behind the right ear.
        BehindRightEar = "behind-right-ear", "behind the right ear";
        /// Inside the left elbow.
        LeftInnerElbow = "left-inner-elbow", "inside the left elbow";
        /// Inside the right elbow.
        RightInnerElbow = "right-inner-elbow", "inside the right elbow";
    }
}

/// How long after placing "no reaction" can be read.
pub const READ_AFTER: Duration = Duration::hours(48);

/// The first instant at which "no reaction" can be read.
pub fn readable_from(placed_at: OffsetDateTime) -> OffsetDateTime {
    placed_at.checked_add(READ_AFTER).unwrap_or(placed_at)
}

/// True for what is never left on skin, whatever a sheet says.
pub fn is_never_left_on_skin(family: Family) -> bool {
    matches!(
        family,
        Family::SodiumHydroxide
            | Family::PotassiumHydroxide
            | Family::LithiumHydroxide
            | Family::GuanidineHydroxide
            | Family::Lightener
    )
}

/// Why an outcome cannot be read now: too early for "no reaction". A reaction is read whenever it shows.
pub fn reading_refused(outcome: Outcome, placed_at: OffsetDateTime, now: OffsetDateTime) -> bool {
    outcome == Outcome::NoReaction && now < readable_from(placed_at)
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::datetime;

    // trade-rules.md, "Hold points", patch test.
    #[test]
    fn no_reaction_waits_for_48_hours_and_a_reaction_for_nothing() {
        let placed = datetime!(2026-03-28 10:00 UTC);
        for (now, refused) in
            [(datetime!(2026-03-30 09:59:59 UTC), true), (datetime!(2026-03-30 10:00 UTC), false)]
        {
            assert_eq!(reading_refused(Outcome::NoReaction, placed, now), refused);
            assert!(!reading_refused(Outcome::Blister, placed, now));
        }
        assert_eq!(Outcome::ALL.into_iter().filter(|o| o.is_positive()).count(), 5);
    }

    #[test]
    fn hydroxide_guanidine_and_lightener_are_never_left_on_skin() {
        let never = Family::ALL.into_iter().filter(|f| is_never_left_on_skin(*f)).count();
        assert_eq!(never, 5);
        assert!(!is_never_left_on_skin(Family::Thio));
    }
}
