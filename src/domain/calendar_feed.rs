//! Somebody's bookings as a calendar file (RFC 5545), for a calendar outside the salon.
//!
//! What leaves the house says when hands or places are taken and a client's initials; never a service, a chemistry, a
//! test or a name. Instants are in UTC (§3.3.5, form 2), so that no calendar needs the salon's zone to be right when the
//! clocks change.

use std::fmt::Write as _;

use time::OffsetDateTime;

use super::name;

/// Longest line, octets, its line break aside (§3.1).
const LINE_MOST: usize = 75;

/// One stretch of somebody's hands, or of a place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Taken {
    /// The same whenever the file is made again, and nobody else's.
    pub uid: String,
    pub from: OffsetDateTime,
    pub to: OffsetDateTime,
    /// When it was written down last.
    pub stamp: OffsetDateTime,
    /// The client's name, of which the initials are told.
    pub client: String,
}

/// A whole calendar.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Feed {
    /// What it is called in the calendar: a first name or a station, and the salon.
    pub name: String,
    pub taken: Vec<Taken>,
    /// Its own identity; told when nothing is taken, since a calendar holds one component at least (§3.6).
    pub uid: String,
    /// When it was made.
    pub made_at: OffsetDateTime,
    /// What it tells of: from here to there.
    pub from: OffsetDateTime,
    pub to: OffsetDateTime,
}

/// Text as a property's value (§3.3.11).
fn escaped(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        match c {
            '\\' | ';' | ',' => {
                out.push('\\');
                out.push(c);
            }
            '\n' => out.push_str("\\n"),
            c if c.is_control() => {}
            c => out.push(c),
        }
    }
    out
}

/// Adds a line, folded so that no part is longer than 75 octets and no character is cut (§3.1).
fn line(out: &mut String, name: &str, value: &str) {
    let whole = format!("{name}:{value}");
    let mut used = 0;
    for c in whole.chars() {
        if used + c.len_utf8() > LINE_MOST {
            out.push_str("\r\n ");
            used = 1;
        }
        out.push(c);
        used += c.len_utf8();
    }
    out.push_str("\r\n");
}

/// An instant in UTC: `20260514T080000Z`.
fn instant(at: OffsetDateTime) -> String {
    let at = at.to_offset(time::UtcOffset::UTC);
    let mut text = String::new();
    let (date, time) = (at.date(), at.time());
    write!(
        text,
        "{:04}{:02}{:02}T{:02}{:02}{:02}Z",
        date.year(),
        u8::from(date.month()),
        date.day(),
        time.hour(),
        time.minute(),
        time.second()
    )
    .expect("text takes every number");
    text
}

impl Feed {
    /// The calendar file.
    #[must_use]
    pub fn text(&self) -> String {
        let mut out = String::new();
        line(&mut out, "BEGIN", "VCALENDAR");
        line(&mut out, "VERSION", "2.0");
        line(&mut out, "PRODID", "-//rinsebell//calendar feed//EN");
        line(&mut out, "CALSCALE", "GREGORIAN");
        // RFC 7986 §5.1 and §5.7: the calendar's name, and how often it is worth asking.
        line(&mut out, "NAME", &escaped(&self.name));
        line(&mut out, "REFRESH-INTERVAL;VALUE=DURATION", "PT30M");
        if self.taken.is_empty() {
            line(&mut out, "BEGIN", "VFREEBUSY");
            line(&mut out, "UID", &self.uid);
            line(&mut out, "DTSTAMP", &instant(self.made_at));
            line(&mut out, "DTSTART", &instant(self.from));
            line(&mut out, "DTEND", &instant(self.to));
            line(&mut out, "END", "VFREEBUSY");
        }
        for taken in &self.taken {
            line(&mut out, "BEGIN", "VEVENT");
            line(&mut out, "UID", &taken.uid);
            line(&mut out, "DTSTAMP", &instant(taken.stamp));
            line(&mut out, "DTSTART", &instant(taken.from));
            line(&mut out, "DTEND", &instant(taken.to));
            let who = name::initials(&taken.client);
            let summary =
                if who.is_empty() { tr!("Busy").to_string() } else { tr!("Busy, {who}", who = who) };
            line(&mut out, "SUMMARY", &escaped(&summary));
            line(&mut out, "CLASS", "PRIVATE");
            line(&mut out, "TRANSP", "OPAQUE");
            line(&mut out, "END", "VEVENT");
        }
        line(&mut out, "END", "VCALENDAR");
        out
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use time::macros::datetime;

    use super::*;

    fn feed(name: &str, client: &str) -> Feed {
        Feed {
            name: name.into(),
            taken: vec![Taken {
                uid: "0b1c".into(),
                from: datetime!(2026-10-25 02:30 +02:00),
                to: datetime!(2026-10-25 02:30 +01:00),
                stamp: datetime!(2026-05-14 08:00 UTC),
                client: client.into(),
            }],
            uid: "feed".into(),
            made_at: datetime!(2026-05-14 08:00 UTC),
            from: datetime!(2026-05-01 00:00 UTC),
            to: datetime!(2026-06-01 00:00 UTC),
        }
    }

    #[test]
    fn the_hour_that_comes_twice_is_an_hour_long() {
        let text = feed("Tobias", "Nerys Amblin").text();
        assert!(text.contains("DTSTART:20261025T003000Z\r\nDTEND:20261025T013000Z\r\n"), "{text}");
        assert!(text.contains("SUMMARY:Busy\\, N. A.\r\n") && !text.contains("Nerys"));
    }

    #[test]
    fn a_calendar_without_bookings_still_holds_a_component() {
        let empty = Feed { taken: Vec::new(), ..feed("Tobias", "") };
        assert!(empty.text().contains("BEGIN:VFREEBUSY\r\nUID:feed\r\n"));
        assert!(!feed("Tobias", "x").text().contains("VFREEBUSY"));
    }

    proptest! {
        #[test]
        fn lines_are_short_and_unfold_to_what_was_said(name in "\\PC{0,200}") {
            let text = feed(&name, "Nerys Amblin").text();
            for l in text.split("\r\n") {
                prop_assert!(l.len() <= LINE_MOST, "{}", l.len());
            }
            let unfolded = text.replace("\r\n ", "");
            let told = format!("NAME:{}", escaped(&name));
            prop_assert!(unfolded.split("\r\n").any(|l| l == told), "{unfolded}");
        }
    }
}
