//! Weeks of the salon's calendar, numbered as ISO 8601 numbers them: they begin on Monday, and the first of a year is
//! the one with its first Thursday.

use std::fmt;
use std::str::FromStr;

use time::{Date, Duration, Weekday};

/// A week, by its Monday. Days are local to the salon.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Week {
    monday: Date,
}

impl Week {
    /// The week a day lies in. A day whose Monday is beyond the calendar begins a week itself.
    #[must_use]
    pub fn of(day: Date) -> Week {
        let back = Duration::days(i64::from(day.weekday().number_days_from_monday()));
        Week { monday: day.checked_sub(back).unwrap_or(day) }
    }

    /// Its first day.
    #[must_use]
    pub fn monday(self) -> Date {
        self.monday
    }

    /// So many weeks later, earlier when negative; at the end of the calendar it stays.
    #[must_use]
    pub fn plus(self, weeks: i64) -> Week {
        let days = Duration::days(weeks.saturating_mul(7));
        Week { monday: self.monday.checked_add(days).unwrap_or(self.monday) }
    }

    /// Weeks from `earlier` to this one.
    #[must_use]
    pub fn since(self, earlier: Week) -> i64 {
        (self.monday - earlier.monday).whole_weeks()
    }

    /// So many weeks from this one on, in order.
    pub fn run(self, weeks: usize) -> impl Iterator<Item = Week> {
        (0..weeks).map(move |n| self.plus(n as i64))
    }
}

impl fmt::Display for Week {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (year, week, _) = self.monday.to_iso_week_date();
        write!(f, "{year:04}-W{week:02}")
    }
}

/// Not a week as ISO 8601 writes one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NoWeek;

impl FromStr for Week {
    type Err = NoWeek;

    /// Reads `2026-W20`.
    fn from_str(text: &str) -> Result<Week, NoWeek> {
        let (year, week) = text.split_once("-W").ok_or(NoWeek)?;
        let plain = |part: &str, long: usize| part.len() == long && part.bytes().all(|b| b.is_ascii_digit());
        if !plain(year, 4) || !plain(week, 2) {
            return Err(NoWeek);
        }
        let (year, week) = (year.parse().map_err(|_| NoWeek)?, week.parse().map_err(|_| NoWeek)?);
        let monday = Date::from_iso_week_date(year, week, Weekday::Monday).map_err(|_| NoWeek)?;
        Ok(Week { monday })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use time::macros::date;

    /// The examples of ISO 8601 as they are commonly printed: years that begin and end inside a week of another year.
    #[test]
    fn a_year_begins_with_the_week_of_its_first_thursday() {
        for (day, words) in [
            (date!(2005 - 01 - 01), "2004-W53"),
            (date!(2005 - 01 - 02), "2004-W53"),
            (date!(2005 - 12 - 31), "2005-W52"),
            (date!(2007 - 01 - 01), "2007-W01"),
            (date!(2008 - 12 - 29), "2009-W01"),
            (date!(2010 - 01 - 03), "2009-W53"),
            (date!(2026 - 05 - 14), "2026-W20"),
        ] {
            assert_eq!(Week::of(day).to_string(), words, "{day}");
        }
    }

    #[test]
    fn what_is_no_week_is_not_read() {
        for bad in [
            "",
            "2026",
            "2026-W00",
            "2026-W54",
            "2025-W53",
            "2026-20",
            "2026-W1",
            "26-W20",
            "2026-W+1",
            "2026-W２０",
        ] {
            assert_eq!(bad.parse::<Week>(), Err(NoWeek), "{bad}");
        }
    }

    proptest! {
        #[test]
        fn written_and_read_back_it_is_the_same(days in -300_000i64..300_000, on in -200i64..200) {
            let week = Week::of(date!(2000 - 01 - 01) + Duration::days(days));
            prop_assert_eq!(week.monday().weekday(), Weekday::Monday);
            if week.monday().year() >= 1000 {
                prop_assert_eq!(week.to_string().parse::<Week>(), Ok(week));
            }
            prop_assert_eq!(week.plus(on).since(week), on);
            prop_assert_eq!(Week::of(week.monday() + Duration::days(6)), week);
        }
    }
}
