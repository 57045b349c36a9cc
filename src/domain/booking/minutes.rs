//! How long each step is planned for: the usual minutes, fitted to the client's own hair; the fewest, where somebody
//! comes late and something has to be shorter.
//!
//! What acts on the hair is never planned by either: a step with a window or a clock of its own takes what its protocol
//! says. The factors are common practice, no source; they plan the calendar and time nothing in the chair.

use crate::domain::chemistry::family::coded;
use crate::domain::length;
use crate::domain::protocol::{Hands, SectionWork, Step};

coded! {
    /// How much hair stands on the scalp, as it was felt.
    Density {
        /// Thin.
        Thin = "thin", "thin";
        /// Medium.
        Medium = "medium", "medium";
        /// Thick.
        Thick = "thick", "thick";
    }
}

/// What is known of a client's hair; what is not counts as usual.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct OwnHair {
    /// Stretched, from scalp to ends, mm.
    pub length_mm: Option<f64>,
    pub density: Option<Density>,
}

/// Length that the usual minutes are meant for, mm stretched.
const USUAL_MM: f64 = 150.0;

impl OwnHair {
    fn by_density(&self) -> f64 {
        match self.density {
            Some(Density::Thin) => 0.9,
            Some(Density::Thick) => 1.25,
            Some(Density::Medium) | None => 1.0,
        }
    }

    /// A tenth more for each 100 mm beyond the usual, half as much again at most.
    fn by_length(&self) -> f64 {
        let beyond = self.length_mm.unwrap_or(USUAL_MM) - USUAL_MM;
        1.0 + (beyond / 1000.0).clamp(0.0, 0.5)
    }

    /// In words, where it changes the minutes: "thick, 320 mm long".
    #[must_use]
    pub fn words(&self) -> Option<String> {
        let density = self.density.filter(|d| *d != Density::Medium).map(|d| d.words().to_string());
        let length =
            self.length_mm.filter(|mm| *mm > USUAL_MM).map(|mm| tr!("{mm} long", mm = length::said(mm)));
        let words: Vec<String> = density.into_iter().chain(length).collect();
        (!words.is_empty()).then(|| words.join(", "))
    }
}

/// Something acts on the hair, or is timed, watched or waited for: nobody hurries it.
fn is_timed(step: &Step) -> bool {
    step.is_chemical()
        || step.window_min.is_some()
        || step.phase.is_some()
        || step.exposure.is_some()
        || step.look.is_some()
}

/// Minutes planned for a step on this hair: work with the hands, section by section or rod by rod, takes longer on more
/// hair, up to the next five minutes; never fewer than its fewest.
#[must_use]
pub fn planned(step: &Step, hair: &OwnHair) -> u16 {
    let usual = step.minutes_typical;
    // Rods are wound by hand however long the lotion has been on: the clock of the lotion is watched, not planned by.
    let by_hand = step.hands != Hands::Nobody
        && (step.rods
            || (!is_timed(step) && matches!(step.sections, Some(SectionWork::Smooth | SectionWork::Rinse))));
    if !by_hand || usual == 0 {
        return usual;
    }
    let length = if step.rods { hair.by_length() } else { 1.0 };
    let minutes = f64::from(usual) * hair.by_density() * length;
    if (minutes - f64::from(usual)).abs() < 0.5 {
        return usual;
    }
    // At most 2.25 times a u16 of minutes in a day: fits.
    let rounded = ((minutes / 5.0).ceil() * 5.0) as u16;
    // Rounding never turns less hair into more minutes than the usual.
    let fitted = if minutes < f64::from(usual) { rounded.min(usual) } else { rounded };
    fitted.max(step.minutes_least.min(usual))
}

/// Whether a step may be shortened for somebody who comes late: nothing acts in it, nothing is signed or mixed, nothing
/// is rinsed off.
#[must_use]
pub fn may_be_shortened(step: &Step) -> bool {
    !is_timed(step)
        && step.mix.is_none()
        && step.records.is_none()
        && !step.rods
        && step.sections.is_none()
        && step.rinses.is_empty()
        && step.hold_points.is_empty()
        // Where the protocol warns, nobody hurries: base is laid on in its own time.
        && step.cautions.is_empty()
}

/// Minutes planned for a step when the service is made shorter: what may be left out is, what may be shortened takes
/// its fewest.
#[must_use]
pub fn shortened(step: &Step, hair: &OwnHair) -> u16 {
    let minutes = planned(step, hair);
    match (may_be_shortened(step), step.optional) {
        (false, _) => minutes,
        (true, true) => 0,
        (true, false) => minutes.min(step.minutes_least),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reference::Reference;

    fn steps() -> Vec<Step> {
        Reference::embedded().protocols.iter().flat_map(|p| p.steps.clone()).collect()
    }

    fn hairs() -> Vec<OwnHair> {
        let lengths = [None, Some(0.0), Some(150.0), Some(320.0), Some(2000.0)];
        let densities = [None, Some(Density::Thin), Some(Density::Medium), Some(Density::Thick)];
        lengths
            .into_iter()
            .flat_map(|length_mm| densities.map(|density| OwnHair { length_mm, density }))
            .collect()
    }

    #[test]
    fn what_acts_on_the_hair_is_planned_as_its_protocol_says() {
        for step in &steps() {
            for hair in hairs() {
                if is_timed(step) && !step.rods {
                    assert_eq!(planned(step, &hair), step.minutes_typical, "{}", step.code);
                }
                assert!(
                    planned(step, &hair) >= step.minutes_least.min(step.minutes_typical),
                    "{}",
                    step.code
                );
                if step.is_chemical() || is_timed(step) || !step.hold_points.is_empty() {
                    assert_eq!(shortened(step, &hair), planned(step, &hair), "{}", step.code);
                }
                assert!(shortened(step, &hair) <= planned(step, &hair));
            }
        }
    }

    #[test]
    fn more_hair_is_never_planned_shorter() {
        let ordered = |a: &OwnHair, b: &OwnHair| {
            a.length_mm.unwrap_or(USUAL_MM) <= b.length_mm.unwrap_or(USUAL_MM)
                && a.density.unwrap_or(Density::Medium) <= b.density.unwrap_or(Density::Medium)
        };
        for step in &steps() {
            for a in hairs() {
                for b in hairs().iter().filter(|b| ordered(&a, b)) {
                    assert!(planned(step, &a) <= planned(step, b), "{}: {a:?} {b:?}", step.code);
                }
            }
        }
    }

    #[test]
    fn hair_is_worded_where_it_changes_the_minutes() {
        let hair = OwnHair { length_mm: Some(320.0), density: Some(Density::Thick) };
        assert_eq!(hair.words().as_deref(), Some("thick, 320 mm long"));
        assert_eq!(OwnHair::default().words(), None);
    }
}
