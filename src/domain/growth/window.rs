//! When to ask a client back: the due window of a retouch, in dates and in words.

use super::rate::Rate;
use crate::domain::chemistry::family::coded;
use time::{Date, Duration};

coded! {
    /// How likely it is that new growth is long enough, said before any number (4-look.md).
    ChanceWords {
        /// Below one in ten.
        TooSoon = "too-soon", "too soon";
        /// One in ten or more.
        Maybe = "maybe", "maybe";
        /// Half or more.
        Likely = "likely", "likely";
        /// Nine in ten or more.
        AlmostSurely = "almost-surely", "almost surely";
    }
}

impl ChanceWords {
    /// The words for a chance between 0 and 1; the steps are those of the due window.
    pub fn of(chance: f64) -> Self {
        match chance {
            c if c >= 0.9 => ChanceWords::AlmostSurely,
            c if c >= 0.5 => ChanceWords::Likely,
            c if c >= 0.1 => ChanceWords::Maybe,
            _ => ChanceWords::TooSoon,
        }
    }
}

/// What a protocol says about the next visit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Retouch {
    /// New growth it wants, mm stretched.
    pub target_mm: f64,
    /// Never sooner, weeks.
    pub least_weeks: u16,
    /// The demarcation gets weak after this, weeks.
    pub latest_weeks: u16,
}

/// The window for the next visit. The first three come from doubt and are no deadline; `latest` is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RetouchWindow {
    /// One chance in ten that the target is reached.
    pub early: Option<Date>,
    /// Even chances.
    pub middle: Option<Date>,
    /// Nine chances in ten.
    pub late: Option<Date>,
    /// Least weeks since the last service.
    pub not_before: Date,
    /// Most weeks since the last service.
    pub latest: Date,
}

impl Retouch {
    /// The window after a service on `last`. A fraction of a day counts as the day; a due day before the least weeks
    /// is moved to them; one beyond the calendar is open-ended.
    pub fn window(&self, rate: Rate, last: Date) -> RetouchWindow {
        let after_weeks =
            |weeks: u16| last.checked_add(Duration::weeks(i64::from(weeks))).unwrap_or(Date::MAX);
        let not_before = after_weeks(self.least_weeks);
        let due = |p: f64| {
            let days = rate.due_days(self.target_mm, p)?.ceil();
            // Within i32 the cast is exact; anything longer has no date anyway.
            let days = (days < f64::from(i32::MAX)).then_some(days as i64)?;
            Some(last.checked_add(Duration::days(days))?.max(not_before))
        };
        RetouchWindow {
            early: due(0.1),
            middle: due(0.5),
            late: due(0.9),
            not_before,
            latest: after_weeks(self.latest_weeks),
        }
    }

    /// The chance, `days` after the last service, that the target is reached; 0 before the least weeks.
    pub fn chance(&self, rate: Rate, days: f64) -> f64 {
        if days < f64::from(self.least_weeks) * 7.0 { 0.0 } else { rate.chance(self.target_mm, days) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::date;

    const CURL: Retouch = Retouch { target_mm: 25.0, least_weeks: 10, latest_weeks: 20 };

    #[test]
    fn the_window_is_in_whole_days_and_not_before_the_least_weeks() {
        let last = date!(2026 - 02 - 26);
        let window = CURL.window(Rate { mean: 0.30, sd: 0.02 }, last);
        // 25 / 0.30 = 83.3 days.
        assert_eq!(window.middle, Some(date!(2026 - 05 - 21)));
        assert!(window.early < window.middle && window.middle < window.late);
        let fast = CURL.window(Rate { mean: 0.60, sd: 0.02 }, last);
        assert_eq!(fast.late, Some(fast.not_before));
        assert_eq!(fast.not_before, date!(2026 - 05 - 07));
        assert_eq!(fast.latest, date!(2026 - 07 - 16));
    }

    #[test]
    fn a_rate_that_may_be_nothing_leaves_the_window_open() {
        let window = CURL.window(Rate { mean: 0.1, sd: 0.1 }, date!(2026 - 02 - 26));
        assert_eq!(window.late, None);
        let still = CURL.window(Rate { mean: 1e-9, sd: 1e-12 }, date!(2026 - 02 - 26));
        assert_eq!(still.early, None);
    }

    #[test]
    fn words_follow_the_window() {
        let words = [0.0, 0.1, 0.49, 0.5, 0.9, 1.0].map(ChanceWords::of);
        use ChanceWords::*;
        assert_eq!(words, [TooSoon, Maybe, Maybe, Likely, AlmostSurely, AlmostSurely]);
        assert_eq!(CURL.chance(Rate { mean: 9.0, sd: 0.1 }, 69.9), 0.0);
    }
}
