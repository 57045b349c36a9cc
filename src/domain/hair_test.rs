//! Tests on hair: the strand test and the metallic-salt test (trade-rules.md, "Hold points").

use crate::domain::chemistry::family::coded;

coded! {
    /// What wet hair does when it is stretched and let go.
    WetStretch {
        /// It comes back.
        Returns = "returns", "returns";
        /// It stays long.
        DoesNotReturn = "does-not-return", "does not return";
        /// It breaks.
        Breaks = "breaks", "breaks";
    }
}

coded! {
    /// Where the tested strand was taken.
    TestPlace {
        /// The weakest.
        Worst = "worst-place", "the worst place";
        /// A sound one, to compare with.
        Sound = "sound-place", "a sound place";
    }
}

coded! {
    /// What hair shows in the metallic-salt test.
    SaltSign {
        /// Nothing.
        NoChange = "no-change", "no change";
        /// Lightens at once.
        LightensAtOnce = "lightens-at-once", "lightens at once";
        /// Heats, or smells.
        HeatsOrSmells = "heats-or-smells", "heats or smells";
        /// Breaks.
        Breaks = "breaks", "breaks";
    }
}

/// Least minutes of a metallic-salt test.
pub const SALT_LEAST_MIN: f64 = 30.0;

/// A strand test passed: the curl formed, wet stretch returns, nothing gummy.
pub fn strand_passed(curl_formed: bool, stretch: WetStretch, gummy: bool) -> bool {
    curl_formed && stretch == WetStretch::Returns && !gummy
}

/// A metallic-salt test read negative.
pub fn salt_passed(sign: SaltSign) -> bool {
    sign == SaltSign::NoChange
}

/// The target a service begins with, in whole minutes: what the strand test took, never above the sheet (trade-rules.md,
/// "Hold points", strand test). None where no sheet speaks: a test alone sets no time.
pub fn proposed_target_min(sheet_target_min: Option<u16>, strand_test_min: Option<f32>) -> Option<u16> {
    let sheet = sheet_target_min?;
    // Part minutes count down: earlier is the stricter side. One minute is the least a clock can hold.
    let tried = strand_test_min.map(|m| m.floor().clamp(1.0, 240.0) as u16);
    Some(tried.map_or(sheet, |m| m.min(sheet)))
}

#[cfg(test)]
mod tests {
    use super::*;

    // trade-rules.md, "Hold points", strand test: "minutes used (they become the proposed target, never above the sheet)".
    #[test]
    fn the_minutes_tried_become_the_target_and_never_pass_the_sheet() {
        assert_eq!(proposed_target_min(Some(30), Some(22.0)), Some(22));
        assert_eq!(proposed_target_min(Some(30), Some(22.9)), Some(22));
        assert_eq!(proposed_target_min(Some(30), Some(41.0)), Some(30));
        assert_eq!(proposed_target_min(Some(30), None), Some(30));
        assert_eq!(proposed_target_min(None, Some(22.0)), None);
        for (sheet, tried) in (1..=60u16).flat_map(|s| (1..=60u16).map(move |t| (s, t))) {
            let target = proposed_target_min(Some(sheet), Some(f32::from(tried))).expect("a sheet speaks");
            assert!(target <= sheet && target <= tried);
        }
    }

    // trade-rules.md, "Hold points", strand test: every one of the signs fails it alone.
    #[test]
    fn one_bad_sign_fails_a_strand_test() {
        let mut passed = 0;
        for formed in [true, false] {
            for stretch in WetStretch::ALL {
                for gummy in [true, false] {
                    passed += u32::from(strand_passed(formed, stretch, gummy));
                }
            }
        }
        assert_eq!(passed, 1);
        assert!(strand_passed(true, WetStretch::Returns, false));
        assert_eq!(SaltSign::ALL.into_iter().filter(|s| salt_passed(*s)).count(), 1);
    }
}
