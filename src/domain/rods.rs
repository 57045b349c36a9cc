//! Rods: how often a section goes round, and how many a head takes. Lengths in millimetres.
//!
//! turns = section length ÷ (π × rod diameter). At least 2½ turns give a full S (handbook teaching),
//! at least 1½ a C (from memory). Base width = rod diameter, so one rod covers rod length × rod
//! diameter of scalp.

use std::f64::consts::PI;

/// Turns from which a curl is a full S (handbook teaching: "at least 2½ times").
pub const TURNS_FOR_S: f64 = 2.5;
/// Turns from which a curl is a C (from memory).
pub const TURNS_FOR_C: f64 = 1.5;
/// End papers for each rod, double flat.
pub const END_PAPERS_PER_ROD: u64 = 2;
/// Rods come in half millimetres.
const ROD_STEP_MM: f64 = 0.5;
/// More than this is no count of rods but a slip of the pen; whole numbers stay exact below it.
const MOST_RODS: f64 = 9_007_199_254_740_992.0 / 4.0;

/// The form asked of a section.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CurlForm {
    /// A half wave.
    C,
    /// A full wave.
    S,
}

impl CurlForm {
    fn least_turns(self) -> f64 {
        match self {
            Self::C => TURNS_FOR_C,
            Self::S => TURNS_FOR_S,
        }
    }
}

/// How often hair of this length goes round a rod. Both more than 0.
#[must_use]
pub fn turns(section_mm: f64, rod_mm: f64) -> f64 {
    section_mm / (PI * rod_mm)
}

/// What a number of turns forms; `None` is less than a C.
#[must_use]
pub fn form_of(turns: f64) -> Option<CurlForm> {
    if turns >= TURNS_FOR_S {
        Some(CurlForm::S)
    } else if turns >= TURNS_FOR_C {
        Some(CurlForm::C)
    } else {
        None
    }
}

/// The largest rod on which a section makes a full S, unrounded.
#[must_use]
pub fn largest_rod_for_s_mm(section_mm: f64) -> f64 {
    section_mm / (TURNS_FOR_S * PI)
}

/// The largest rod in whole half millimetres on which the section makes the form; `None` when even
/// half a millimetre is too thick.
#[must_use]
pub fn rod_for(section_mm: f64, wanted: CurlForm) -> Option<f64> {
    let mut steps = (section_mm / (wanted.least_turns() * PI) / ROD_STEP_MM).floor() + 1.0;
    // Rounding may put the quotient a hair off: `turns` itself has the last word.
    while steps >= 1.0 && turns(section_mm, steps * ROD_STEP_MM) < wanted.least_turns() {
        // The next smaller count; beyond whole numbers that is the next smaller float.
        steps = (steps - 1.0).min(steps.next_down());
    }
    (steps >= 1.0).then_some(steps * ROD_STEP_MM)
}

/// How many rods the scalp takes, part rods counted whole; `None` when the figures make no count.
#[must_use]
pub fn rods_for_head(scalp_cm2: f64, rod_length_mm: f64, rod_mm: f64) -> Option<u64> {
    let rods = (scalp_cm2 * 100.0 / (rod_length_mm * rod_mm)).ceil();
    (rods.is_finite() && (0.0..=MOST_RODS).contains(&rods)).then_some(rods as u64)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    // published.md §5: "hair should wrap at least 2½ times for the desired curl".
    #[test]
    fn at_least_two_and_a_half_turns_is_an_s() {
        assert_eq!(form_of(2.5), Some(CurlForm::S));
        assert_eq!(form_of(2.499), Some(CurlForm::C));
        assert_eq!(form_of(1.5), Some(CurlForm::C));
        assert_eq!(form_of(1.499), None);
    }

    #[test]
    fn a_section_of_120_mm_takes_a_15_mm_rod() {
        // 120 ÷ (2.5 π) = 15.28.
        assert_eq!(rod_for(120.0, CurlForm::S), Some(15.0));
        assert_eq!(rod_for(120.0, CurlForm::C), Some(25.0));
        assert_eq!(rods_for_head(600.0, 80.0, 15.0), Some(50));
    }

    #[test]
    fn very_short_hair_takes_no_rod() {
        assert_eq!(rod_for(3.0, CurlForm::S), None);
    }

    #[test]
    fn absurd_figures_make_no_count() {
        assert_eq!(rods_for_head(1e300, 1e-300, 1.0), None);
        assert!(rod_for(1e300, CurlForm::S).is_some_and(f64::is_finite));
    }

    proptest! {
        #[test]
        fn the_rod_found_is_the_largest_that_gives_the_form(section_mm in 0.1_f64..600.0, s in any::<bool>()) {
            let wanted = if s { CurlForm::S } else { CurlForm::C };
            let rod_mm = rod_for(section_mm, wanted);
            let thicker = rod_mm.unwrap_or(0.0) + 0.5;
            prop_assert!(turns(section_mm, thicker) < wanted.least_turns());
            if let Some(rod_mm) = rod_mm {
                prop_assert!(turns(section_mm, rod_mm) >= wanted.least_turns());
                prop_assert_eq!((rod_mm * 2.0).fract(), 0.0);
            }
        }
    }
}
