//! Where a sum of chances lands eight times in ten.
//!
//! Each client takes `minutes` with chance `p`, or none, apart from the others: the sum of such throws is Poisson-binomial
//! (weighted by the minutes). Its first three cumulants are exact sums: Σpm, Σp(1−p)m², Σp(1−p)(1−2p)m³. The ends of
//! the band are the normal ones bent by the third (E. A. Cornish, R. A. Fisher: Moments and cumulants in the specification
//! of distributions, Revue de l'Institut International de Statistique 1938;5:307-320).

use crate::domain::growth::normal::phi_inverse;

/// The first three cumulants of a sum.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Moments {
    /// Mean.
    pub mean: f64,
    /// Variance.
    pub variance: f64,
    /// Third cumulant.
    pub third: f64,
}

/// A sum with the ends of its 80 % band.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Band {
    /// Below this one time in ten; never below nought.
    pub low: f64,
    /// Mean.
    pub mean: f64,
    /// Above this one time in ten.
    pub high: f64,
}

impl Moments {
    /// Adds one throw: `amount` with chance `p`, else nothing. A `p` outside 0 to 1 counts as the nearest within.
    pub fn add(&mut self, p: f64, amount: f64) {
        let p = p.clamp(0.0, 1.0);
        let spread = p * (1.0 - p);
        self.mean += p * amount;
        self.variance += spread * amount * amount;
        self.third += spread * (1.0 - 2.0 * p) * amount * amount * amount;
    }

    /// The 80 % band of the sum, its mean always inside.
    #[must_use]
    pub fn band(&self) -> Band {
        let Moments { mean, variance, third } = *self;
        if variance <= 0.0 {
            return Band { low: mean, mean, high: mean };
        }
        let sd = variance.sqrt();
        let skew = third / (variance * sd);
        let end = |p: f64| {
            let z = phi_inverse(p);
            mean + sd * (z + (z * z - 1.0) * skew / 6.0)
        };
        Band { low: end(0.1).clamp(0.0, mean), mean, high: end(0.9).max(mean) }
    }
}

impl Band {
    /// Whether what came lies inside, its ends included.
    #[must_use]
    pub fn holds(&self, seen: f64) -> bool {
        (self.low..=self.high).contains(&seen)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn band(throws: &[(f64, f64)]) -> Band {
        let mut moments = Moments::default();
        throws.iter().for_each(|(p, m)| moments.add(*p, *m));
        moments.band()
    }

    /// The exact distribution of the sum over whole units: convolved throw by throw.
    fn exact(throws: &[(f64, usize)]) -> Vec<f64> {
        let mut chances = vec![1.0];
        for (p, units) in throws {
            let mut next = vec![0.0; chances.len() + units];
            for (at, chance) in chances.iter().enumerate() {
                next[at] += chance * (1.0 - p);
                next[at + units] += chance * p;
            }
            chances = next;
        }
        chances
    }

    #[test]
    fn a_certain_sum_has_no_band() {
        assert_eq!(
            band(&[(1.0, 90.0), (1.0, 30.0), (0.0, 500.0)]),
            Band { low: 120.0, mean: 120.0, high: 120.0 }
        );
        assert_eq!(band(&[]), Band::default());
    }

    /// numpy 2.4 (convolution of the same throws in whole units, `cumsum`, `searchsorted`): for 200 throws with p = 0.02 + 0.2·
    /// frac(0.618034·i) and 6, 11 or 16 units by turns the exact 10 % and 90 % points are those below; the band's ends lie
    /// within one unit of a lump.
    #[test]
    fn the_ends_are_those_of_the_exact_sum() {
        let throws: Vec<(f64, f64)> = (0..200)
            .map(|i| (0.02 + 0.2 * (0.618_034 * f64::from(i)).fract(), f64::from(6 + 5 * (i % 3))))
            .collect();
        let band = band(&throws);
        let (low, high) = NUMPY;
        assert!((band.low - low).abs() <= 5.0 && (band.high - high).abs() <= 5.0, "{band:?}");
    }

    /// See above: (10 %, 90 %).
    const NUMPY: (f64, f64) = (195.0, 330.0);

    proptest! {
        #[test]
        fn the_mean_lies_inside(throws in prop::collection::vec((0.0..=1.0f64, 0.0..400.0f64), 0..60)) {
            let band = band(&throws);
            prop_assert!(0.0 <= band.low && band.low <= band.mean && band.mean <= band.high, "{band:?}");
        }

        /// The band holds four fifths of the exact distribution: within what lumps of minutes allow, from a handful of
        /// expected clients on.
        #[test]
        fn it_holds_eight_of_ten(
            chances in prop::collection::vec(0.02..0.6f64, 60..160),
            units in prop::collection::vec(4usize..14, 160),
        ) {
            let throws: Vec<(f64, usize)> = chances.iter().copied().zip(units).collect();
            let wide: Vec<(f64, f64)> = throws.iter().map(|(p, m)| (*p, *m as f64)).collect();
            let band = band(&wide);
            let inside: f64 = exact(&throws).iter().enumerate().filter(|(at, _)| band.holds(*at as f64)).map(|(_, c)| c).sum();
            prop_assert!((0.76..0.85).contains(&inside), "{inside}");
        }
    }
}
