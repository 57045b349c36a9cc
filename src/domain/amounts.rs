//! How much product a zone takes: an estimate, shown with its range. What was dispensed is what is
//! recorded.
//!
//! hair mass = hairs × length × π r² × 1.32 g/cm³; product = hair mass × product-to-hair ratio, the
//! ratio learned from what the salon has dispensed.

use std::f64::consts::PI;

/// Density of hair, g/cm³.
pub const HAIR_DENSITY: f64 = 1.32;
/// The range around an estimate until the salon's own ratio has a spread (common practice).
pub const LOW_SHARE: f64 = 0.7;
/// See [`LOW_SHARE`].
pub const HIGH_SHARE: f64 = 1.3;

/// The hair of a zone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ZoneOfHair {
    /// Hairs on a square centimetre of scalp.
    pub hairs_per_cm2: f64,
    /// Area of scalp the hair grows on, cm².
    pub scalp_cm2: f64,
    /// Mean thickness of a hair, micrometres.
    pub diameter_um: f64,
    /// Length of the zone along the hair, mm stretched.
    pub zone_mm: f64,
}

/// Grams of hair and of product.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Amount {
    /// Mass of the hair in the zone.
    pub hair_grams: f64,
    /// The estimate.
    pub product_grams: f64,
    /// Low end of the range.
    pub low_grams: f64,
    /// High end of the range.
    pub high_grams: f64,
}

/// Mass of the hair in the zone, grams.
#[must_use]
pub fn hair_grams(zone: ZoneOfHair) -> f64 {
    let radius_cm = zone.diameter_um / 2.0 * 1e-4;
    let length_cm = zone.zone_mm / 10.0;
    zone.hairs_per_cm2 * zone.scalp_cm2 * length_cm * PI * radius_cm * radius_cm * HAIR_DENSITY
}

/// Product for the zone at so many grams of product to a gram of hair.
#[must_use]
pub fn amount(zone: ZoneOfHair, product_to_hair: f64) -> Amount {
    let hair_grams = hair_grams(zone);
    let product_grams = hair_grams * product_to_hair;
    Amount {
        hair_grams,
        product_grams,
        low_grams: product_grams * LOW_SHARE,
        high_grams: product_grams * HIGH_SHARE,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ZONE: ZoneOfHair =
        ZoneOfHair { hairs_per_cm2: 190.0, scalp_cm2: 600.0, diameter_um: 70.0, zone_mm: 25.0 };

    #[test]
    fn a_retouch_zone_weighs_what_the_formula_says() {
        // By hand: 114,000 hairs × 2.5 cm × 3.8485e-5 cm² × 1.32 g/cm³ = 14.478 g.
        let amount = amount(ZONE, 3.0);
        assert!((amount.hair_grams - 14.478).abs() < 0.001, "{}", amount.hair_grams);
        assert!((amount.product_grams - 43.434).abs() < 0.003);
        assert!((amount.low_grams / amount.product_grams - 0.7).abs() < 1e-12);
        assert!((amount.high_grams / amount.product_grams - 1.3).abs() < 1e-12);
    }

    #[test]
    fn half_the_thickness_is_a_quarter_of_the_mass() {
        let fine = hair_grams(ZoneOfHair { diameter_um: 35.0, ..ZONE });
        assert!((fine * 4.0 - hair_grams(ZONE)).abs() < 1e-9);
    }
}
