//! What must hold of the small sums: rods, amounts, exposure.

use super::amounts::{ZoneOfHair, amount};
use super::exposure::{Touch, fold, minutes};
use super::rods::{TURNS_FOR_S, largest_rod_for_s_mm, rods_for_head, turns};
use proptest::prelude::*;
use std::f64::consts::PI;
use time::macros::datetime;
use time::{Duration, OffsetDateTime};

const TEN: OffsetDateTime = datetime!(2026-05-14 10:00 UTC);

fn near(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-12 * a.abs().max(b.abs())
}

/// Quadrants 0 to 3: (when it starts, how long it stays on, whether it was rinsed), seconds.
fn quadrants() -> impl Strategy<Value = Vec<(i64, i64, bool)>> {
    prop::collection::vec((0..3000_i64, 0..2000_i64, any::<bool>()), 1..5)
}

fn touches(quadrants: &[(i64, i64, bool)], from: OffsetDateTime) -> Vec<(OffsetDateTime, usize, Touch)> {
    let at = |seconds: i64| from + Duration::seconds(seconds);
    let mut all: Vec<_> = quadrants.iter().enumerate().map(|(q, x)| (at(x.0), q, Touch::Start)).collect();
    let rinsed = quadrants.iter().enumerate().filter(|(_, x)| x.2);
    all.extend(rinsed.map(|(q, x)| (at(x.0 + x.1), q, Touch::Rinse)));
    // A start before a rinse of the same second, as they are recorded.
    all.sort_by_key(|(at, q, touch)| (*at, *touch == Touch::Rinse, *q));
    all
}

proptest! {
    #[test]
    fn turns_times_pi_times_rod_is_the_section(section_mm in 1.0..900.0f64, rod_mm in 1.0..60.0f64) {
        prop_assert!(near(turns(section_mm, rod_mm) * PI * rod_mm, section_mm));
        prop_assert!(near(turns(section_mm, largest_rod_for_s_mm(section_mm)), TURNS_FOR_S));
        prop_assert!(turns(section_mm, rod_mm * 1.1) < turns(section_mm, rod_mm), "a thicker rod turns less");
    }

    #[test]
    fn more_scalp_or_a_smaller_rod_never_takes_fewer_rods(
        scalp_cm2 in 1.0..900.0f64, more in 0.0..300.0f64, length_mm in 20.0..120.0f64, rod_mm in 2.0..40.0f64,
        thinner in 0.1..1.0f64,
    ) {
        let rods = rods_for_head(scalp_cm2, length_mm, rod_mm).unwrap();
        prop_assert!(rods_for_head(scalp_cm2 + more, length_mm, rod_mm).unwrap() >= rods);
        prop_assert!(rods_for_head(scalp_cm2, length_mm, rod_mm * thinner).unwrap() >= rods);
        // They cover the scalp, and one fewer would not.
        let covered = |rods: u64| rods as f64 * length_mm * rod_mm / 100.0;
        prop_assert!(covered(rods) >= scalp_cm2 * (1.0 - 1e-12) && covered(rods - 1) < scalp_cm2);
    }

    /// Linear in hairs, scalp, length and ratio; square in thickness.
    #[test]
    fn amounts_are_linear(
        hairs in 80.0..350.0f64, scalp in 100.0..900.0f64, um in 40.0..110.0f64, mm in 1.0..400.0f64,
        ratio in 0.5..6.0f64, k in 0.1..10.0f64,
    ) {
        let zone = ZoneOfHair { hairs_per_cm2: hairs, scalp_cm2: scalp, diameter_um: um, zone_mm: mm };
        let one = amount(zone, ratio);
        for (other, factor) in [
            (amount(ZoneOfHair { hairs_per_cm2: hairs * k, ..zone }, ratio), k),
            (amount(ZoneOfHair { scalp_cm2: scalp * k, ..zone }, ratio), k),
            (amount(ZoneOfHair { zone_mm: mm * k, ..zone }, ratio), k),
            (amount(ZoneOfHair { diameter_um: um * k, ..zone }, ratio), k * k),
        ] {
            prop_assert!(near(other.hair_grams, one.hair_grams * factor));
            prop_assert!(near(other.product_grams, one.product_grams * factor));
            prop_assert!(near(other.high_grams, one.high_grams * factor));
        }
        let richer = amount(zone, ratio * k);
        prop_assert!(near(richer.product_grams, one.product_grams * k) && near(richer.hair_grams, one.hair_grams));
        prop_assert!(one.low_grams < one.product_grams && one.product_grams < one.high_grams);
    }

    /// Each clock runs from its start to its rinse, an open one to now; only lapses count, not the time of day.
    #[test]
    fn a_clock_runs_from_first_touch_to_rinse(quadrants in quadrants(), later in 0..100_000_i64) {
        let now = TEN + Duration::seconds(6000);
        let clocks = fold(&touches(&quadrants, TEN), now).unwrap();
        prop_assert_eq!(clocks.len(), quadrants.len());
        for clock in &clocks {
            let (start, lasted, rinsed) = quadrants[clock.quadrant];
            let seconds = if rinsed { lasted } else { 6000 - start };
            prop_assert!(near(clock.minutes(now), seconds as f64 / 60.0));
        }
        let all = minutes(&clocks, now).unwrap();
        prop_assert!(clocks.iter().all(|c| c.minutes(now) <= all.longest && c.minutes(now) >= all.shortest));
        prop_assert_eq!(all.spread, all.longest - all.shortest);
        let shift = Duration::seconds(later);
        let shifted = fold(&touches(&quadrants, TEN + shift), now + shift).unwrap();
        prop_assert_eq!(minutes(&shifted, now + shift), Some(all));
    }

    /// Time passing never shortens the longest; rinsing stops a clock and changes no other.
    #[test]
    fn waiting_never_shortens_and_a_rinse_stops_one_clock(quadrants in quadrants(), wait in 0..5000_i64) {
        let now = TEN + Duration::seconds(6000);
        let then = now + Duration::seconds(wait);
        let mut all = touches(&quadrants, TEN);
        let clocks = fold(&all, now).unwrap();
        prop_assert!(minutes(&clocks, then).unwrap().longest >= minutes(&clocks, now).unwrap().longest);
        if let Some(open) = clocks.iter().find(|c| c.to.is_none()) {
            all.push((now, open.quadrant, Touch::Rinse));
            for (before, after) in clocks.iter().zip(fold(&all, then).unwrap()) {
                let reached = if before.quadrant == open.quadrant { now } else { then };
                prop_assert_eq!(after.minutes(then), before.minutes(reached));
            }
        }
    }
}
