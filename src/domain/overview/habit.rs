//! How a salon's clients keep to what growth says: how long they stay away, as a multiple of the days their hair needs,
//! and how many never come again.
//!
//! Clients who have not come yet are not left out: the share still away is estimated over those who were away as long
//! (E. L. Kaplan, P. Meier: Nonparametric estimation from incomplete observations, J Am Stat Assoc 1958;53:457-481). Where
//! it levels off, those who stay away for good remain.

/// A stay away from the salon, over the days the client's own rate of growth asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wait {
    /// 1 is the day new growth was long enough, by the estimate.
    pub ratio: f64,
    /// The client came then; else was still away when it was looked.
    pub came: bool,
}

/// Fewer returns than this teach nothing that is used (a bound of ours, no source).
pub const LEAST_RETURNS: usize = 30;

/// The share of clients still away, by multiples of the days their hair needs.
#[derive(Clone, Debug, PartialEq)]
pub struct Habit {
    /// Ratio and the share away from then on; both ways sorted.
    steps: Vec<(f64, f64)>,
    /// Returns it was learned from; none for the usual one.
    returns: usize,
}

impl Habit {
    /// What a salon starts from before it knows its own clients: most come between the day growth is enough and half as
    /// long again, one in six does not come any more (common practice, no source).
    #[must_use]
    pub fn usual() -> Habit {
        let step = |n: u32| (0.95 + 0.05 * f64::from(n), 1.0 - f64::from(n) / 12.0 * (5.0 / 6.0));
        Habit { steps: (1..=12).map(step).collect(), returns: 0 }
    }

    /// What the salon's own clients do; `None` while fewer than [`LEAST_RETURNS`] came again. A ratio that is no number
    /// or below nought is passed over.
    #[must_use]
    pub fn learn(waits: &[Wait]) -> Option<Habit> {
        let mut waits: Vec<Wait> =
            waits.iter().copied().filter(|w| w.ratio.is_finite() && w.ratio >= 0.0).collect();
        let returns = waits.iter().filter(|w| w.came).count();
        if returns < LEAST_RETURNS {
            return None;
        }
        // Of equal ratios those who came first: who was still away then was away when they came.
        waits.sort_by(|a, b| a.ratio.total_cmp(&b.ratio).then(b.came.cmp(&a.came)));
        let (mut at_risk, mut away) = (waits.len(), 1.0);
        let mut steps: Vec<(f64, f64)> = Vec::new();
        for same in waits.chunk_by(|a, b| a.ratio.total_cmp(&b.ratio).is_eq()) {
            let came = same.iter().filter(|w| w.came).count();
            if came > 0 {
                away *= 1.0 - came as f64 / at_risk as f64;
                steps.push((same[0].ratio, away));
            }
            at_risk -= same.len();
        }
        Some(Habit { steps, returns })
    }

    /// The share still away after this multiple of the days growth needs; 1 at nought.
    #[must_use]
    pub fn away(&self, ratio: f64) -> f64 {
        match self.steps.partition_point(|(at, _)| *at <= ratio) {
            0 => 1.0,
            n => self.steps[n - 1].1,
        }
    }

    /// The share of clients who come again at all, as far as was seen.
    #[must_use]
    pub fn comes(&self) -> f64 {
        1.0 - self.steps.last().map_or(1.0, |(_, away)| *away)
    }

    /// The multiple by which half of those who come again have come.
    #[must_use]
    pub fn middle(&self) -> Option<f64> {
        let half = 1.0 - self.comes() / 2.0;
        self.steps.iter().find(|(_, away)| *away <= half).map(|(at, _)| *at)
    }

    /// Returns it was learned from; 0 for the usual one.
    #[must_use]
    pub fn returns(&self) -> usize {
        self.returns
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn wait(ratio: f64, came: bool) -> Wait {
        Wait { ratio, came }
    }

    /// The worked example of Kaplan and Meier's own paper, section 2 (from memory): deaths at 0.8, 3.1, 5.4 and 9.2, losses
    /// at 1.0, 2.7, 7.0 and 12.1; the estimates fall to 7/8, 7/8·4/5, 7/8·4/5·3/4 and 7/8·4/5·3/4·1/2. Ten of each, so that
    /// there are enough returns; the shares stay the same.
    #[test]
    fn the_papers_own_example() {
        let one = [
            (0.8, true),
            (1.0, false),
            (2.7, false),
            (3.1, true),
            (5.4, true),
            (7.0, false),
            (9.2, true),
            (12.1, false),
        ];
        let waits: Vec<Wait> = one.iter().flat_map(|(r, c)| std::iter::repeat_n(wait(*r, *c), 10)).collect();
        let habit = Habit::learn(&waits).unwrap();
        for (at, away) in
            [(0.7, 1.0), (0.8, 0.875), (3.0, 0.875), (3.1, 0.7), (5.4, 0.525), (9.2, 0.2625), (99.0, 0.2625)]
        {
            assert!((habit.away(at) - away).abs() < 1e-12, "{at}: {}", habit.away(at));
        }
        assert!((habit.comes() - 0.7375).abs() < 1e-12);
        assert_eq!(habit.returns(), 40);
        assert_eq!(habit.middle(), Some(5.4));
    }

    #[test]
    fn few_returns_teach_nothing() {
        let waits = vec![wait(1.0, true); LEAST_RETURNS - 1];
        assert_eq!(Habit::learn(&waits), None);
        assert!((Habit::usual().comes() - 5.0 / 6.0).abs() < 1e-12);
        assert_eq!(Habit::usual().away(0.9), 1.0);
    }

    proptest! {
        #[test]
        fn the_share_away_only_falls(seen in prop::collection::vec((0.0..4.0f64, any::<bool>()), 40..200)) {
            let waits: Vec<Wait> = seen.iter().map(|(r, c)| wait(*r, *c)).collect();
            if let Some(habit) = Habit::learn(&waits) {
                let shares: Vec<f64> = (0..80).map(|n| habit.away(f64::from(n) * 0.05)).collect();
                prop_assert!(shares.windows(2).all(|w| w[1] <= w[0]));
                prop_assert!(shares.iter().all(|s| (-1e-12..=1.0).contains(s)));
            }
        }

        /// Without anybody who is still away it is the plain share of those who came later.
        #[test]
        fn when_all_have_come_it_is_a_plain_share(seen in prop::collection::vec(0.0..4.0f64, 40..120), at in 0.0..4.0f64) {
            let waits: Vec<Wait> = seen.iter().map(|r| wait(*r, true)).collect();
            let later = seen.iter().filter(|r| **r > at).count() as f64 / seen.len() as f64;
            prop_assert!((Habit::learn(&waits).unwrap().away(at) - later).abs() < 1e-9);
        }
    }
}
