//! How many hours the clients known today will want, week by week: growth says when, habit says how well they keep to it.
//!
//! A client's hair needs `E = max(target / rate, least days)` days. The days until the client sits here again are `E`
//! times a throw of the salon's [`Habit`]; the rate is not known but believed ([`Rate`]), so five equally likely rates are
//! followed, each weighed by how likely the client would still be away with it. Whoever has come begins anew: with short
//! waits somebody comes twice within the weeks foretold. New clients, and services that growth does not bring back, are not
//! among them.

use time::Date;

use super::band::{Band, Moments};
use super::habit::Habit;
use super::week::Week;
use crate::domain::growth::Rate;
use crate::domain::growth::normal::phi_inverse;

/// Minutes one visit takes.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Minutes {
    /// In a chair.
    pub chair: f64,
    /// Of hands, a second pair counted beside the first.
    pub hands: f64,
}

/// A client who comes again, as known today.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Head {
    /// What is believed of the growth, mm of stretched hair a day.
    pub rate: Rate,
    /// New growth the service wants, mm.
    pub target_mm: f64,
    /// Never sooner than this after the last service, days.
    pub least_days: f64,
    /// The day of the last service.
    pub last_on: Date,
    /// What the service takes.
    pub minutes: Minutes,
}

/// What one week will bring.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wanted {
    /// Which week.
    pub week: Week,
    /// Visits expected.
    pub visits: f64,
    /// Minutes in chairs.
    pub chair: Band,
    /// Minutes of hands.
    pub hands: Band,
}

/// The rates followed: middles of five equal parts of the belief.
const PARTS: [f64; 5] = [0.1, 0.3, 0.5, 0.7, 0.9];

impl Head {
    /// Days the hair needs at the believed mean; none where it may not grow.
    #[must_use]
    pub fn needs_days(&self) -> Option<f64> {
        needs(self.rate.mean, self.target_mm, self.least_days)
    }

    /// Days the hair needs by each of the rates followed; endless where one does not grow.
    fn needs_by_part(&self) -> [f64; 5] {
        PARTS.map(|p| {
            let rate = self.rate.mean + self.rate.sd * phi_inverse(p);
            needs(rate, self.target_mm, self.least_days).unwrap_or(f64::INFINITY)
        })
    }

    /// Visits expected in each of `weeks` weeks from the one after that of `today`; each at most 1.
    #[must_use]
    pub fn visits(&self, habit: &Habit, today: Date, weeks: usize) -> Vec<f64> {
        let needs = self.needs_by_part();
        let away = |days: f64| needs.iter().map(|n| habit.away(days.max(0.0) / n)).sum::<f64>();
        let still = away((today - self.last_on).whole_days() as f64);
        if still <= 0.0 {
            return vec![0.0; weeks];
        }
        // Slot 0 is the rest of this week: who comes in it may come again later.
        let next = Week::of(today).plus(1).monday();
        let until = (next - self.last_on).whole_days() as f64;
        let mut came: Vec<f64> = Vec::with_capacity(weeks + 1);
        let mut before = still;
        for slot in 0..=weeks {
            let after = away(until + 7.0 * slot as f64);
            came.push((before - after) / still);
            before = after;
        }
        // From the middle of one week to that of another: the chance to come again then.
        let edge: Vec<f64> =
            (0..=weeks).map(|lag| away((lag as f64 + 0.5) * 7.0) / PARTS.len() as f64).collect();
        let mut visits: Vec<f64> = Vec::with_capacity(weeks + 1);
        for slot in 0..=weeks {
            let again: f64 = (0..slot).map(|u| visits[u] * (edge[slot - u - 1] - edge[slot - u])).sum();
            visits.push((came[slot] + again).min(1.0));
        }
        visits.split_off(1)
    }
}

fn needs(rate: f64, target_mm: f64, least_days: f64) -> Option<f64> {
    (rate > 0.0).then(|| (target_mm / rate).max(least_days).max(1.0))
}

/// What the weeks after that of `today` will bring, in order.
#[must_use]
pub fn wanted(heads: &[Head], habit: &Habit, today: Date, weeks: usize) -> Vec<Wanted> {
    let mut sums = vec![(0.0, Moments::default(), Moments::default()); weeks];
    for head in heads {
        for (sum, p) in sums.iter_mut().zip(head.visits(habit, today, weeks)) {
            sum.0 += p;
            sum.1.add(p, head.minutes.chair);
            sum.2.add(p, head.minutes.hands);
        }
    }
    let first = Week::of(today).plus(1);
    first
        .run(weeks)
        .zip(sums)
        .map(|(week, (visits, chair, hands))| Wanted {
            week,
            visits,
            chair: chair.band(),
            hands: hands.band(),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::overview::habit::Wait;
    use proptest::prelude::*;
    use time::Duration;
    use time::macros::date;

    /// A Sunday, so that the weeks foretold begin tomorrow.
    const TODAY: Date = date!(2026 - 05 - 17);

    fn head(days_ago: i64) -> Head {
        Head {
            rate: Rate { mean: 0.25, sd: 1e-6 },
            target_mm: 25.0,
            least_days: 70.0,
            last_on: TODAY - Duration::days(days_ago),
            minutes: Minutes { chair: 180.0, hands: 90.0 },
        }
    }

    /// Half come when growth is enough, a quarter half as long later, a quarter never: 100 waits.
    fn habit() -> Habit {
        let mut waits = vec![Wait { ratio: 1.0, came: true }; 50];
        waits.extend([Wait { ratio: 1.5, came: true }; 25]);
        waits.extend([Wait { ratio: 4.0, came: false }; 25]);
        Habit::learn(&waits).unwrap()
    }

    /// By hand: 25 mm at 0.25 mm a day are 100 days. After 90 of them half come on day 100, in the second week (days 92 to
    /// 98 are the first); of those still away the rest on day 150. After 120 days a half of the half still away comes.
    #[test]
    fn growth_says_the_week_and_habit_the_share() {
        let visits = head(90).visits(&habit(), TODAY, 12);
        let at = |n: usize| visits[n];
        assert!((at(1) - 0.5).abs() < 1e-9 && (at(8) - 0.25).abs() < 1e-9, "{visits:?}");
        assert!((visits.iter().sum::<f64>() - 0.75).abs() < 1e-9);
        let late = head(120).visits(&habit(), TODAY, 12);
        assert!((late.iter().sum::<f64>() - 0.5).abs() < 1e-9, "{late:?}");
        assert!(head(900).visits(&habit(), TODAY, 12).iter().all(|p| *p == 0.0), "gone for good");
    }

    #[test]
    fn a_short_wait_brings_somebody_twice() {
        let colour = Head { target_mm: 7.0, least_days: 28.0, ..head(28) };
        let always = Habit::learn(&[Wait { ratio: 1.01, came: true }; 40]).unwrap();
        let visits = colour.visits(&always, TODAY, 12);
        assert!((visits.iter().sum::<f64>() - 3.0).abs() < 1e-9, "weeks 1, 5 and 9: {visits:?}");
    }

    #[test]
    fn hair_that_may_not_grow_is_waited_for_and_not_counted() {
        let still = Head { rate: Rate { mean: -0.1, sd: 0.01 }, ..head(50) };
        assert_eq!(still.needs_days(), None);
        assert!(still.visits(&habit(), TODAY, 12).iter().all(|p| *p == 0.0));
    }

    #[test]
    fn minutes_are_those_of_the_visits() {
        let heads: Vec<Head> = (60..160).map(head).collect();
        for week in wanted(&heads, &habit(), TODAY, 12) {
            assert!((week.chair.mean - week.visits * 180.0).abs() < 1e-6);
            assert!((week.hands.mean - week.visits * 90.0).abs() < 1e-6);
        }
    }

    proptest! {
        /// Nobody is counted twice or lost: with waits longer than the weeks foretold, what comes in them and after them is
        /// what comes at all.
        #[test]
        fn the_weeks_and_what_comes_later_are_all(ago in 0i64..200, weeks in 1usize..20, mean in 0.12..0.17f64, sd in 0.001..0.01f64) {
            let head = Head { rate: Rate { mean, sd }, least_days: 141.0, ..head(ago) };
            let (some, all) = (head.visits(&habit(), TODAY, weeks), head.visits(&habit(), TODAY, 20));
            prop_assert!(some.iter().all(|p| (0.0..=1.0).contains(p)));
            let sum = |v: &[f64]| v.iter().sum::<f64>();
            prop_assert!((sum(&some) + sum(&all[weeks..]) - sum(&all)).abs() < 1e-9);
            prop_assert!(sum(&all) <= 1.0 + 1e-9);
        }
    }
}
