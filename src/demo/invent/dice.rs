//! Dice that fall the same way for the same seed: a ChaCha stream for each client and each matter, so that what one
//! client is thrown does not hang on how many others there are.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng as _, SeedableRng as _};
use rand_distr::{Distribution, LogNormal, Normal};

/// One stream of dice.
#[derive(Clone, Debug)]
pub struct Dice(ChaCha8Rng);

impl Dice {
    /// The stream of a number under a seed.
    pub fn new(seed: u64, stream: u64) -> Dice {
        let mut throws = ChaCha8Rng::seed_from_u64(seed);
        throws.set_stream(stream);
        Dice(throws)
    }

    /// Even on 0 to below 1.
    pub fn even(&mut self) -> f64 {
        // 53 bits, as many as a double holds.
        (self.0.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// True so often.
    pub fn chance(&mut self, p: f64) -> bool {
        self.even() < p
    }

    /// A whole number from `low` to `high`, both included.
    pub fn whole(&mut self, low: i64, high: i64) -> i64 {
        let spread = (high - low + 1).max(1) as f64;
        low + (self.even() * spread) as i64
    }

    /// One of these.
    pub fn pick<'t, T>(&mut self, of: &'t [T]) -> &'t T {
        let last = i64::try_from(of.len()).unwrap_or(1) - 1;
        &of[usize::try_from(self.whole(0, last)).unwrap_or(0)]
    }

    /// One of these, by weight.
    pub fn weighed<T: Copy>(&mut self, of: &[(f64, T)]) -> T {
        let mut left = self.even() * of.iter().map(|(w, _)| w).sum::<f64>();
        for (weight, one) in of {
            left -= weight;
            if left < 0.0 {
                return *one;
            }
        }
        of[of.len() - 1].1
    }

    /// Normally distributed.
    pub fn normal(&mut self, mean: f64, sd: f64) -> f64 {
        Normal::new(mean, sd).map_or(mean, |n| n.sample(&mut self.0))
    }

    /// A factor about 1 whose logarithm has this spread.
    pub fn factor(&mut self, sd: f64) -> f64 {
        LogNormal::new(0.0, sd).map_or(1.0, |n| n.sample(&mut self.0))
    }

    /// Bits for a name of something.
    pub fn bits(&mut self) -> u128 {
        u128::from(self.0.next_u64()) << 64 | u128::from(self.0.next_u64())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 8439 gives no test of a stream as numbered here; what is asked is that it is the same everywhere and that
    /// streams do not meet.
    #[test]
    fn a_stream_is_the_same_again_and_another_stream_is_another() {
        let throws = |seed, stream| {
            let mut dice = Dice::new(seed, stream);
            (0..50).map(|_| dice.whole(0, 1_000_000)).collect::<Vec<_>>()
        };
        assert_eq!(throws(7, 3), throws(7, 3));
        assert_ne!(throws(7, 3), throws(7, 4));
        assert_ne!(throws(7, 3), throws(8, 3));
    }

    #[test]
    fn throws_fall_where_they_are_said_to() {
        let mut dice = Dice::new(1, 0);
        let mut mean = 0.0;
        for _ in 0..4000 {
            assert!((3..=9).contains(&dice.whole(3, 9)));
            assert!((0.0..1.0).contains(&dice.even()));
            mean += dice.normal(10.0, 2.0) / 4000.0;
        }
        // Four standard errors of the mean: 4 × 2 / √4000.
        assert!((mean - 10.0).abs() < 0.13, "{mean}");
        assert_eq!(dice.weighed(&[(0.0, 1), (1.0, 2)]), 2);
    }
}
