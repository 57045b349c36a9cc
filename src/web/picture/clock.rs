//! A clock the page's script keeps going between two answers of the server.

use std::fmt;

/// Which way a clock counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sense {
    /// Time gone since an instant ("on 9:50").
    Up,
    /// Time left until an instant ("5:10 left"); past it, counts up behind a "+".
    Down,
    /// Stands still.
    Still,
}

/// A clock: what it shows now, and from which instant it goes on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Clock {
    /// Milliseconds since 1970 (UTC) it counts from or to.
    pub at_ms: i64,
    /// Which way.
    pub sense: Sense,
    /// What it shows until the script takes over: "5:10".
    pub text: String,
}

impl Clock {
    /// Time gone since `from_ms`, seen at `now_ms`.
    #[must_use]
    pub fn up(from_ms: i64, now_ms: i64) -> Self {
        Self { at_ms: from_ms, sense: Sense::Up, text: reading(now_ms - from_ms) }
    }

    /// Time left until `to_ms`, seen at `now_ms`.
    #[must_use]
    pub fn down(to_ms: i64, now_ms: i64) -> Self {
        let left = to_ms - now_ms;
        // A clock that counts down shows the last second until it is over, so it rounds up.
        let text = if left > -1000 { reading((left + 999).max(0)) } else { format!("+{}", reading(-left)) };
        Self { at_ms: to_ms, sense: Sense::Down, text }
    }

    /// Words that do not move.
    #[must_use]
    pub fn still(text: impl Into<String>) -> Self {
        Self { at_ms: 0, sense: Sense::Still, text: text.into() }
    }

    /// The attributes the script looks for, with their leading space.
    #[must_use]
    pub fn attributes(&self) -> ClockAttributes {
        ClockAttributes { at_ms: self.at_ms, sense: self.sense }
    }
}

/// Displays the attributes of a [`Clock`].
#[derive(Debug, Clone, Copy)]
pub struct ClockAttributes {
    at_ms: i64,
    sense: Sense,
}

impl fmt::Display for ClockAttributes {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.sense {
            Sense::Up => write!(out, " data-clock=\"up\" data-from=\"{}\"", self.at_ms),
            Sense::Down => write!(out, " data-clock=\"down\" data-to=\"{}\"", self.at_ms),
            Sense::Still => Ok(()),
        }
    }
}
// Fixed words and a number: nothing that could end an attribute.
impl askama::filters::HtmlSafe for ClockAttributes {}

/// Minutes and seconds of a span in milliseconds: "5:10"; from an hour on "1:02:03".
#[must_use]
pub fn reading(span_ms: i64) -> String {
    let seconds = span_ms.max(0) / 1000;
    let (hours, minutes, seconds) = (seconds / 3600, seconds / 60 % 60, seconds % 60);
    if hours > 0 { format!("{hours}:{minutes:02}:{seconds:02}") } else { format!("{minutes}:{seconds:02}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clock_reads_minutes_and_seconds() {
        for (ms, words) in [
            (0, "0:00"),
            (999, "0:00"),
            (61_000, "1:01"),
            (590_000, "9:50"),
            (3_723_000, "1:02:03"),
            (-5, "0:00"),
        ] {
            assert_eq!(reading(ms), words);
        }
    }

    #[test]
    fn what_is_left_is_shown_to_its_last_second_and_then_counts_up() {
        assert_eq!(Clock::down(310_000, 0).text, "5:10");
        assert_eq!(Clock::down(1, 0).text, "0:01");
        assert_eq!(Clock::down(0, 0).text, "0:00");
        assert_eq!(Clock::down(0, 999).text, "0:00");
        assert_eq!(Clock::down(0, 1000).text, "+0:01");
        assert_eq!(Clock::down(0, 61_000).text, "+1:01");
        assert_eq!(Clock::up(0, 590_999).text, "9:50");
        assert_eq!(Clock::up(7, 0).attributes().to_string(), " data-clock=\"up\" data-from=\"7\"");
        assert_eq!(Clock::still("done").attributes().to_string(), "");
    }
}
