//! Whether quadrants were rinsed when they should have been, and how far first and last lay apart.

use time::Duration;

/// One application of one service: each section's minutes on the hair against what the step allowed.
#[derive(Clone, Debug, PartialEq)]
pub struct Timed {
    /// The target, minutes.
    pub target_min: f64,
    /// The longest allowed, minutes.
    pub most_min: f64,
    /// All contact of each section.
    pub sections: Vec<Duration>,
}

/// Quadrants counted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Times {
    /// Rinsed by the target.
    pub by_target: u64,
    /// Rinsed after it, within the longest allowed.
    pub by_most: u64,
    /// On for longer than allowed.
    pub past_most: u64,
}

fn minutes(d: Duration) -> f64 {
    d.as_seconds_f64() / 60.0
}

impl Timed {
    /// How its sections stand.
    #[must_use]
    pub fn times(&self) -> Times {
        let mut times = Times::default();
        for section in &self.sections {
            let on = minutes(*section);
            if on > self.most_min {
                times.past_most += 1;
            } else if on > self.target_min {
                times.by_most += 1;
            } else {
                times.by_target += 1;
            }
        }
        times
    }

    /// From the shortest to the longest section, minutes; none with fewer than two.
    #[must_use]
    pub fn apart_min(&self) -> Option<f64> {
        if self.sections.len() < 2 {
            return None;
        }
        let (first, last) = (self.sections.iter().min()?, self.sections.iter().max()?);
        Some(minutes(*last - *first))
    }

    /// The longest section, minutes.
    #[must_use]
    pub fn longest_min(&self) -> Option<f64> {
        self.sections.iter().max().map(|d| minutes(*d))
    }
}

impl Times {
    /// Adds others.
    pub fn add(&mut self, other: Times) {
        self.by_target += other.by_target;
        self.by_most += other.by_most;
        self.past_most += other.past_most;
    }

    /// All of them.
    #[must_use]
    pub fn all(&self) -> u64 {
        self.by_target + self.by_most + self.past_most
    }

    /// Those within the longest allowed.
    #[must_use]
    pub fn kept(&self) -> u64 {
        self.by_target + self.by_most
    }
}

/// A quarter of the values lie below `low`, half below `median`, three quarters below `high`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quartiles {
    /// First quartile.
    pub low: f64,
    /// Median.
    pub median: f64,
    /// Third quartile.
    pub high: f64,
}

impl Quartiles {
    /// Of some values, by straight lines between them (definition 7 of R. J. Hyndman, Y. Fan: Sample quantiles in
    /// statistical packages, Am Stat 1996;50:361-365). None of nothing.
    #[must_use]
    pub fn of(values: &[f64]) -> Option<Quartiles> {
        let mut sorted = values.to_vec();
        sorted.sort_by(f64::total_cmp);
        let last = sorted.len().checked_sub(1)?;
        let at = |p: f64| {
            let place = p * last as f64;
            // Not below nought and not beyond the last: both casts are exact.
            let (below, part) = (place.floor() as usize, place.fract());
            let next = sorted[(below + 1).min(last)];
            sorted[below] + part * (next - sorted[below])
        };
        Some(Quartiles { low: at(0.25), median: at(0.5), high: at(0.75) })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn timed(minutes: &[f64]) -> Timed {
        let sections = minutes.iter().map(|m| Duration::seconds_f64(m * 60.0)).collect();
        Timed { target_min: 20.0, most_min: 30.0, sections }
    }

    #[test]
    fn the_target_and_the_longest_allowed_belong_to_what_is_kept() {
        let four = timed(&[12.0, 20.0, 30.0, 30.5]);
        assert_eq!(four.times(), Times { by_target: 2, by_most: 1, past_most: 1 });
        assert_eq!(four.times().kept(), 3);
        assert_eq!(four.apart_min(), Some(18.5));
        assert_eq!(four.longest_min(), Some(30.5));
        assert_eq!(timed(&[12.0]).apart_min(), None);
        assert_eq!(timed(&[]).times().all(), 0);
    }

    /// numpy 2.4, `numpy.quantile([7, 1, 3, 12, 4, 9], [.25, .5, .75])`.
    #[test]
    fn quartiles_are_those_of_numpy() {
        let q = Quartiles::of(&[7.0, 1.0, 3.0, 12.0, 4.0, 9.0]).unwrap();
        assert_eq!((q.low, q.median, q.high), (3.25, 5.5, 8.5));
        assert_eq!(Quartiles::of(&[4.0]).unwrap().high, 4.0);
        assert_eq!(Quartiles::of(&[]), None);
    }

    proptest! {
        #[test]
        fn every_section_is_counted_once(minutes in prop::collection::vec(0.0..60.0f64, 0..20)) {
            prop_assert_eq!(timed(&minutes).times().all(), minutes.len() as u64);
        }

        #[test]
        fn quartiles_are_in_order_and_within(values in prop::collection::vec(-100.0..100.0f64, 1..40)) {
            let q = Quartiles::of(&values).unwrap();
            let (least, most) = values.iter().fold((f64::MAX, f64::MIN), |(a, b), v| (a.min(*v), b.max(*v)));
            prop_assert!(least <= q.low && q.low <= q.median && q.median <= q.high && q.high <= most);
        }
    }
}
