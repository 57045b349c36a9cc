//! Somebody who waits for a chair: which times would do.

use time::{Date, Weekday};

/// The times that would do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Would {
    /// Local days, both included.
    pub from_on: Date,
    pub until_on: Date,
    /// Days of the week; none named: any.
    pub weekdays: Vec<Weekday>,
    /// Minutes after 00:00 on the wall clock at which a service may begin, both included.
    pub from_min: u16,
    pub until_min: u16,
}

impl Would {
    /// Whether a service may begin on this local day at this minute of the wall clock.
    #[must_use]
    pub fn do_at(&self, day: Date, minute: u16) -> bool {
        (self.from_on..=self.until_on).contains(&day)
            && (self.weekdays.is_empty() || self.weekdays.contains(&day.weekday()))
            && (self.from_min..=self.until_min).contains(&minute)
    }
}

#[cfg(test)]
mod tests {
    use time::macros::date;

    use super::*;

    #[test]
    fn a_time_does_when_day_weekday_and_hour_do() {
        let would = Would {
            from_on: date!(2026 - 05 - 14),
            until_on: date!(2026 - 05 - 28),
            weekdays: vec![Weekday::Thursday, Weekday::Saturday],
            from_min: 9 * 60,
            until_min: 12 * 60,
        };
        assert!(would.do_at(date!(2026 - 05 - 14), 540) && would.do_at(date!(2026 - 05 - 28), 720));
        assert!(!would.do_at(date!(2026 - 05 - 13), 600), "a day too early");
        assert!(!would.do_at(date!(2026 - 05 - 29), 600), "a day too late");
        assert!(!would.do_at(date!(2026 - 05 - 15), 600), "a Friday");
        assert!(!would.do_at(date!(2026 - 05 - 16), 539) && !would.do_at(date!(2026 - 05 - 16), 721));
        assert!(Would { weekdays: Vec::new(), ..would }.do_at(date!(2026 - 05 - 15), 600));
    }
}
