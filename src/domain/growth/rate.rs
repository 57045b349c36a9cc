//! A client's rate of growth: what is believed before, what measurements make of it, what follows.

use super::normal::{phi, phi_inverse};

/// Beyond this |z| a reading is questioned on entry.
const IMPLAUSIBLE_Z: f64 = 4.0;

/// Rate of growth, normally distributed, mm of stretched hair a day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rate {
    /// Mean, mm a day.
    pub mean: f64,
    /// Standard deviation, mm a day.
    pub sd: f64,
}

/// New growth measured after an interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Observation {
    /// Days since the last service.
    pub days: f64,
    /// Stretched new growth, mm.
    pub mm: f64,
    /// Its standard deviation, mm.
    pub sd_mm: f64,
}

impl Observation {
    /// A natural (unstretched) reading: stretched is natural × curl index, with the doubt of both.
    pub fn natural(days: f64, (natural_mm, sd_mm): (f64, f64), (index, index_sd): (f64, f64)) -> Self {
        let (read, curl) = (index * sd_mm, natural_mm * index_sd);
        Observation { days, mm: natural_mm * index, sd_mm: (read * read + curl * curl).sqrt() }
    }
}

/// Mean with the 10 % and 90 % points.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    /// Mean, mm.
    pub mean: f64,
    /// 10 % point, mm, never below 0.
    pub low: f64,
    /// 90 % point, mm.
    pub high: f64,
}

impl Rate {
    /// The belief after one more observation (conjugate update).
    pub fn after(self, seen: &Observation) -> Rate {
        // Seen alone, the interval says rate = mm / days with this sd; precisions add.
        let (prior, told) = (1.0 / (self.sd * self.sd), (seen.days / seen.sd_mm) * (seen.days / seen.sd_mm));
        let precision = prior + told;
        let mean = (prior * self.mean + told * (seen.mm / seen.days)) / precision;
        Rate { mean, sd: (1.0 / precision).sqrt() }
    }

    /// The belief after all observations.
    pub fn after_all(self, seen: &[Observation]) -> Rate {
        seen.iter().fold(self, Rate::after)
    }

    /// Growth after `days`.
    pub fn growth(self, days: f64) -> Spread {
        let (mean, reach) = (self.mean * days, self.sd * days * phi_inverse(0.9));
        Spread { mean, low: (mean - reach).max(0.0), high: mean + reach }
    }

    /// The chance that `target_mm` is reached after `days`; 0 at 0 days.
    pub fn chance(self, target_mm: f64, days: f64) -> f64 {
        if days > 0.0 { phi((self.mean - target_mm / days) / self.sd) } else { 0.0 }
    }

    /// The day by which `target_mm` is reached with chance `p`; `None` is open-ended.
    pub fn due_days(self, target_mm: f64, p: f64) -> Option<f64> {
        let slow = self.mean - self.sd * phi_inverse(p);
        (slow > 0.0).then(|| target_mm / slow)
    }

    /// How far a reading lies from what was expected before it, in standard deviations.
    pub fn surprise(self, seen: &Observation) -> f64 {
        let spread = self.sd * seen.days;
        (seen.mm - self.mean * seen.days) / (spread * spread + seen.sd_mm * seen.sd_mm).sqrt()
    }

    /// Log of the density of a reading, as foretold before it: N(μΔ, σ²Δ² + s²).
    pub fn log_density(self, seen: &Observation) -> f64 {
        let (spread, z) = (self.sd * seen.days, self.surprise(seen));
        -0.5 * ((std::f64::consts::TAU * (spread * spread + seen.sd_mm * seen.sd_mm)).ln() + z * z)
    }

    /// Whether a new reading is to be asked about before it is kept.
    pub fn questions(self, seen: &Observation) -> bool {
        self.surprise(seen).abs() > IMPLAUSIBLE_Z
    }
}

/// Indices of the readings that were implausible when they came, each judged by those before it.
pub fn questioned(prior: Rate, seen: &[Observation]) -> Vec<usize> {
    let mut belief = prior;
    let mut found = Vec::new();
    for (index, observation) in seen.iter().enumerate() {
        if belief.questions(observation) {
            found.push(index);
        }
        belief = belief.after(observation);
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const PRIOR: Rate = Rate { mean: 0.3, sd: 0.08 };

    /// The worked example of 3-calc.md, by the closed formula of 2-domain.md.
    #[test]
    fn one_observation_by_hand() {
        let after = PRIOR.after(&Observation { days: 91.0, mm: 30.0, sd_mm: 2.0 });
        let precision: f64 = 1.0 / 0.0064 + 91.0 * 91.0 / 4.0;
        assert!((after.mean - (0.3 / 0.0064 + 91.0 * 30.0 / 4.0) / precision).abs() < 1e-12);
        assert!((after.sd - (1.0 / precision).sqrt()).abs() < 1e-12);
    }

    #[test]
    fn a_slow_doubtful_rate_may_never_be_due() {
        let doubtful = Rate { mean: 0.1, sd: 0.1 };
        assert_eq!(doubtful.due_days(25.0, 0.9), None);
        assert!(doubtful.due_days(25.0, 0.1).is_some());
    }

    #[test]
    fn a_typing_slip_is_questioned() {
        let seen = [91.0, 91.0, 91.0].map(|days| Observation { days, mm: 27.0, sd_mm: 2.0 });
        assert_eq!(questioned(PRIOR, &seen), Vec::<usize>::new());
        let slip = [seen[0], Observation { mm: 270.0, ..seen[1] }, seen[2]];
        assert_eq!(questioned(PRIOR, &slip)[0], 1);
    }

    proptest! {
        #[test]
        fn measuring_never_adds_doubt(days in 1.0..400.0f64, mm in 0.1..200.0f64, sd_mm in 0.1..10.0f64) {
            let seen = Observation { days, mm, sd_mm };
            prop_assert!(PRIOR.after(&seen).sd < PRIOR.sd);
        }

        #[test]
        fn early_is_before_middle_is_before_late(mean in 0.1..0.6f64, sd in 0.01..0.3f64) {
            let rate = Rate { mean, sd };
            let due = [0.1, 0.5, 0.9].map(|p| rate.due_days(25.0, p).unwrap_or(f64::INFINITY));
            prop_assert!(due[0] < due[1] && due[1] < due[2]);
        }

        #[test]
        fn the_due_day_has_its_chance(mean in 0.2..0.6f64, sd in 0.01..0.1f64, p in 0.05..0.95f64) {
            let rate = Rate { mean, sd };
            if let Some(days) = rate.due_days(25.0, p) {
                prop_assert!((rate.chance(25.0, days) - p).abs() < 1e-9);
            }
        }
    }
}
