//! The edge where local days meet instants: the only place that knows time zones.
//!
//! Zone data is bundled with the binary, so every station and every process agrees. `domain` sees
//! only its results: `time::OffsetDateTime` (UTC) for instants, `time::Date` for local days.
//!
//! Daylight saving, decided once:
//! - a local time that does not exist (clocks went forward over it) moves forward by the gap:
//!   02:30 becomes 03:30;
//! - a local time that happens twice means the earlier of the two;
//! - a local midnight is the first instant of its day: 01:00 where clocks jump at midnight;
//! - a local day that was skipped altogether (a change of date line) is empty, and nobody works.
//!
//! Local days before the year 1 or after 9998 are taken as the nearest day within; whoever reads
//! dates from outside refuses them first ([`in_reach`]).

use std::fmt;

use jiff::tz::{TimeZone, TimeZoneDatabase};
use time::{Date, Duration, Month, OffsetDateTime, Time, UtcOffset, Weekday};

use crate::domain::booking::{Span, ms_of};

/// A time zone by its name in the IANA time zone database.
#[derive(Clone, Debug)]
pub struct Zone {
    name: String,
    rules: TimeZone,
}

/// Regular hours on one day of the week. A break is two of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct WeekdayHours {
    weekday: Weekday,
    open_min: u16,
    close_min: u16,
}

/// Minutes of a local day as the clock on the wall counts them.
pub const DAY_MIN: u16 = 24 * 60;

impl WeekdayHours {
    /// From and to, in minutes after 00:00 on the wall clock; `close_min` may be 24:00 (1440) and is
    /// exclusive. `None` unless open < close ≤ 24:00: hours do not run past midnight, a late shift
    /// is two days' hours that touch.
    #[must_use]
    pub fn new(weekday: Weekday, open_min: u16, close_min: u16) -> Option<Self> {
        (open_min < close_min && close_min <= DAY_MIN).then_some(Self { weekday, open_min, close_min })
    }
}

/// Whether a local day can be worked with: years 1 to 9998.
#[must_use]
pub fn in_reach(day: Date) -> bool {
    (1..=9998).contains(&day.year())
}

fn nearest_in_reach(day: Date) -> Date {
    match day.year() {
        ..1 => Date::from_calendar_date(1, Month::January, 1).expect("a day of the calendar"),
        9999.. => Date::from_calendar_date(9998, Month::December, 31).expect("a day of the calendar"),
        _ => day,
    }
}

impl Zone {
    /// Looks a zone up by name ("Europe/Paris"), letter case aside; `None` if there is none.
    #[must_use]
    pub fn find(name: &str) -> Option<Self> {
        let rules = TimeZoneDatabase::bundled().get(name).ok()?;
        let name = rules.iana_name().unwrap_or(name).to_owned();
        Some(Self { name, rules })
    }

    /// Its name in the database.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The instant at which the wall clock of `day` shows `minute_of_day` (00:00 is 0; 1440 and more
    /// run on into the next days). See above for daylight saving.
    #[must_use]
    pub fn instant(&self, day: Date, minute_of_day: u16) -> OffsetDateTime {
        let day = nearest_in_reach(day) + Duration::days(i64::from(minute_of_day / DAY_MIN));
        let minute = minute_of_day % DAY_MIN;
        let civil = jiff::civil::Date::new(day.year() as i16, u8::from(day.month()) as i8, day.day() as i8)
            .expect("both calendars hold the years 1 to 9999")
            .at((minute / 60) as i8, (minute % 60) as i8, 0, 0);
        let stamp = self.rules.to_ambiguous_timestamp(civil).compatible();
        let stamp = stamp.expect("an offset of hours does not lead out of the years -9999 to 9999");
        utc(stamp.as_second())
    }

    /// The first instant of a local day.
    #[must_use]
    pub fn midnight(&self, day: Date) -> OffsetDateTime {
        self.instant(day, 0)
    }

    /// A whole local day, 23 to 25 hours as a rule; `None` for one that was skipped.
    #[must_use]
    pub fn day_span(&self, day: Date) -> Option<Span> {
        Span::new(ms_of(self.midnight(day)), ms_of(self.instant(day, DAY_MIN)))
    }

    /// The offset from UTC at an instant, to the second.
    #[must_use]
    pub fn offset_at(&self, at: OffsetDateTime) -> UtcOffset {
        let stamp = jiff::Timestamp::from_second(at.unix_timestamp()).unwrap_or(if at.year() < 0 {
            jiff::Timestamp::MIN
        } else {
            jiff::Timestamp::MAX
        });
        let seconds = self.rules.to_offset(stamp).seconds();
        UtcOffset::from_whole_seconds(seconds).expect("both sides allow offsets up to 25:59:59")
    }

    /// The same instant, carrying the zone's offset.
    #[must_use]
    pub fn local(&self, at: OffsetDateTime) -> OffsetDateTime {
        at.checked_to_offset(self.offset_at(at)).unwrap_or(at)
    }

    /// The local day an instant falls on.
    #[must_use]
    pub fn day_of(&self, at: OffsetDateTime) -> Date {
        self.local(at).date()
    }

    /// Regular hours as spans of instants on `days` local days from `first`, day by day. Hours that
    /// fall wholly into a gap come out empty and are left out.
    #[must_use]
    pub fn hours(&self, first: Date, days: u32, week: &[WeekdayHours]) -> Vec<Span> {
        let mut spans = Vec::new();
        let mut day = Some(nearest_in_reach(first));
        for _ in 0..days {
            let Some(today) = day else { break };
            day = today.next_day();
            let mine = week.iter().filter(|hours| hours.weekday == today.weekday());
            for hours in mine {
                let open_ms = ms_of(self.instant(today, hours.open_min));
                let close_ms = ms_of(self.instant(today, hours.close_min));
                // Cut to the day: the hours of a skipped day must not land on the next one.
                let Some(whole) = self.day_span(today) else { break };
                spans.extend(Span::new(open_ms.max(whole.start_ms()), close_ms.min(whole.end_ms())));
            }
        }
        spans
    }

    /// The wall clock at an instant: `14:05`.
    #[must_use]
    pub fn clock(&self, at: OffsetDateTime) -> String {
        clock(self.local(at).time())
    }

    /// The local day of an instant in words: `Thu 14 May`.
    #[must_use]
    pub fn day_words(&self, at: OffsetDateTime) -> String {
        day_words(self.day_of(at))
    }

    /// RFC 3339 with the zone's offset at that instant. The format knows offsets in minutes: one
    /// with seconds (before standard time) is cut to minutes, the instant stays the same.
    #[must_use]
    pub fn rfc3339(&self, at: OffsetDateTime) -> String {
        let minutes = self.offset_at(at).whole_seconds() / 60;
        let offset = UtcOffset::from_whole_seconds(minutes * 60).unwrap_or(UtcOffset::UTC);
        let local = at.checked_to_offset(offset).unwrap_or(at);
        let format = &time::format_description::well_known::Rfc3339;
        local.format(format).unwrap_or_else(|_| local.to_string())
    }
}

impl fmt::Display for Zone {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.name)
    }
}

/// The instant so many seconds after 1970, UTC.
fn utc(seconds: i64) -> OffsetDateTime {
    OffsetDateTime::from_unix_timestamp(seconds).expect("made from a day within the years 1 to 9999")
}

/// The instant of a count of milliseconds since 1970; `None` beyond the year 9999.
#[must_use]
pub fn instant_of_ms(ms: i64) -> Option<OffsetDateTime> {
    OffsetDateTime::from_unix_timestamp_nanos(i128::from(ms) * 1_000_000).ok()
}

/// A wall-clock time: `14:05`.
#[must_use]
pub fn clock(time: Time) -> String {
    format!("{:02}:{:02}", time.hour(), time.minute())
}

/// A day in words: `Thu 14 May`.
#[must_use]
pub fn day_words(day: Date) -> String {
    format!("{} {} {}", weekday_words(day.weekday()), day.day(), month_words(day.month()))
}

/// A day of the week in three letters: `Thu`.
#[must_use]
pub fn weekday_words(day: Weekday) -> &'static str {
    [tr!("Mon"), tr!("Tue"), tr!("Wed"), tr!("Thu"), tr!("Fri"), tr!("Sat"), tr!("Sun")]
        [usize::from(day.number_days_from_monday())]
}

/// A month in three letters: `May`.
#[must_use]
pub fn month_words(month: Month) -> &'static str {
    match month {
        Month::January => tr!("Jan"),
        Month::February => tr!("Feb"),
        Month::March => tr!("Mar"),
        Month::April => tr!("Apr"),
        Month::May => tr!("May"),
        Month::June => tr!("Jun"),
        Month::July => tr!("Jul"),
        Month::August => tr!("Aug"),
        Month::September => tr!("Sep"),
        Month::October => tr!("Oct"),
        Month::November => tr!("Nov"),
        Month::December => tr!("Dec"),
    }
}

/// A day for machines and for fields of type date: `2026-05-14` (ISO 8601).
#[must_use]
pub fn iso_day(day: Date) -> String {
    format!("{:04}-{:02}-{:02}", day.year(), u8::from(day.month()), day.day())
}

#[cfg(test)]
mod tests {
    use time::macros::{date, datetime, offset};

    use super::*;

    fn zone(name: &str) -> Zone {
        Zone::find(name).unwrap()
    }

    fn at(zone: &Zone, day: Date, hour: u16, minute: u16) -> String {
        zone.rfc3339(zone.instant(day, hour * 60 + minute))
    }

    // Changes of the clock as published by the IANA time zone database; tests/outside/test_openings.py
    // checks the same and more against two Python libraries.
    #[test]
    fn a_time_in_the_gap_moves_forward() {
        let paris = zone("Europe/Paris");
        assert_eq!(at(&paris, date!(2026 - 03 - 29), 1, 59), "2026-03-29T01:59:00+01:00");
        assert_eq!(at(&paris, date!(2026 - 03 - 29), 2, 30), "2026-03-29T03:30:00+02:00");
        assert_eq!(
            at(&zone("Australia/Lord_Howe"), date!(2025 - 10 - 05), 2, 15),
            "2025-10-05T02:45:00+11:00"
        );
    }

    #[test]
    fn a_time_that_comes_twice_is_the_earlier() {
        let paris = zone("Europe/Paris");
        assert_eq!(at(&paris, date!(2026 - 10 - 25), 2, 30), "2026-10-25T02:30:00+02:00");
        assert_eq!(at(&paris, date!(2026 - 10 - 25), 3, 0), "2026-10-25T03:00:00+01:00");
    }

    #[test]
    fn local_days_have_23_24_or_25_hours() {
        let hours = |zone: &Zone, day| {
            let span = zone.day_span(day).unwrap();
            (span.end_ms() - span.start_ms()) as f64 / 3_600_000.0
        };
        let paris = zone("Europe/Paris");
        assert_eq!(hours(&paris, date!(2026 - 03 - 29)), 23.0);
        assert_eq!(hours(&paris, date!(2026 - 10 - 25)), 25.0);
        assert_eq!(hours(&paris, date!(2026 - 06 - 01)), 24.0);
        assert_eq!(hours(&zone("Australia/Lord_Howe"), date!(2025 - 10 - 05)), 23.5);
    }

    #[test]
    fn midnight_is_the_first_instant_of_the_day() {
        // Cairo jumps from 00:00 to 01:00 on the last Friday of April.
        let cairo = zone("Africa/Cairo");
        assert_eq!(cairo.rfc3339(cairo.midnight(date!(2025 - 04 - 25))), "2025-04-25T01:00:00+03:00");
        // Havana falls back from 01:00 to 00:00: midnight comes twice.
        let havana = zone("America/Havana");
        assert_eq!(havana.rfc3339(havana.midnight(date!(2025 - 11 - 02))), "2025-11-02T00:00:00-04:00");
    }

    #[test]
    fn nobody_works_on_a_day_that_was_skipped() {
        // Apia crossed the date line: there was no 30 December 2011, a Friday.
        let apia = zone("Pacific/Apia");
        let friday = WeekdayHours::new(Weekday::Friday, 9 * 60, 17 * 60).unwrap();
        assert_eq!(apia.day_span(date!(2011 - 12 - 30)), None);
        assert_eq!(apia.hours(date!(2011 - 12 - 28), 5, &[friday]), []);
    }

    #[test]
    fn regular_hours_follow_the_wall_clock_through_the_change() {
        let paris = zone("Europe/Paris");
        let sunday = WeekdayHours::new(Weekday::Sunday, 9 * 60, DAY_MIN).unwrap();
        let spans = paris.hours(date!(2026 - 03 - 22), 8, &[sunday]);
        let opens: Vec<_> =
            spans.iter().map(|s| paris.rfc3339(instant_of_ms(s.start_ms()).unwrap())).collect();
        assert_eq!(opens, ["2026-03-22T09:00:00+01:00", "2026-03-29T09:00:00+02:00"]);
        assert_eq!(spans[1].end_ms() - spans[1].start_ms(), 15 * 3_600_000);
    }

    #[test]
    fn hours_must_open_before_they_close_within_a_day() {
        assert!(WeekdayHours::new(Weekday::Monday, 600, 600).is_none());
        assert!(WeekdayHours::new(Weekday::Monday, 600, DAY_MIN + 1).is_none());
        assert!(WeekdayHours::new(Weekday::Monday, 0, DAY_MIN).is_some());
    }

    #[test]
    fn words_for_screens() {
        let paris = zone("Europe/Paris");
        let at = datetime!(2026-05-14 12:05 UTC);
        assert_eq!(paris.clock(at), "14:05");
        assert_eq!(paris.day_words(at), "Thu 14 May");
        assert_eq!(iso_day(paris.day_of(at)), "2026-05-14");
        assert_eq!(paris.day_of(datetime!(2026-05-14 22:30 UTC)), date!(2026 - 05 - 15));
        assert_eq!(paris.offset_at(at), offset!(+2));
    }

    #[test]
    fn unknown_zones_are_not_found_and_case_does_not_matter() {
        assert!(Zone::find("Mars/Olympus").is_none());
        assert!(Zone::find("").is_none());
        assert!(Zone::find("../etc/passwd").is_none());
        assert_eq!(zone("europe/paris").name(), "Europe/Paris");
        assert_eq!(zone("UTC").name(), "UTC");
    }

    #[test]
    fn the_edges_of_the_calendar_do_not_break_it() {
        let kiritimati = zone("Pacific/Kiritimati");
        for day in [Date::MIN, Date::MAX, date!(9998 - 12 - 31), date!(0001 - 01 - 01)] {
            let _ = kiritimati.hours(day, 3, &[]);
            let midnight = kiritimati.midnight(day);
            assert!(!kiritimati.rfc3339(midnight).is_empty());
        }
        let _ = kiritimati.local(OffsetDateTime::new_utc(Date::MAX, Time::MIDNIGHT));
    }

    #[test]
    fn an_old_offset_with_seconds_keeps_the_instant() {
        let amsterdam = zone("Europe/Amsterdam");
        let at = datetime!(1900-01-01 00:00 UTC);
        let text = amsterdam.rfc3339(at);
        let again = OffsetDateTime::parse(&text, &time::format_description::well_known::Rfc3339).unwrap();
        assert_eq!(again, at);
    }
}
