//! When a message that could not be handed over is tried again.
//!
//! RFC 5321 §4.5.4.1: the interval is at least 30 minutes; two tries in the first hour, then every two or three
//! hours; the give-up time is at least four to five days.

use time::{Duration, OffsetDateTime};

/// Least time between two tries.
pub const LEAST: Duration = Duration::minutes(30);
/// After the first hour.
pub const LATER: Duration = Duration::hours(2);
/// From the first try to giving up.
pub const GIVE_UP: Duration = Duration::days(5);

/// The next try after the `tries`th failed at `now`; none: give up.
#[must_use]
pub fn next_try(first: OffsetDateTime, tries: u16, now: OffsetDateTime) -> Option<OffsetDateTime> {
    if now - first >= GIVE_UP {
        return None;
    }
    // The last try lies at the end of the five days, however the steps fall.
    let wait = if tries <= 2 { LEAST } else { LATER };
    let end = first + GIVE_UP;
    let next = now + wait;
    Some(if next > end && end - now >= LEAST { end } else { next })
}

/// How a handing over ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Ended {
    /// The next server has it.
    Accepted,
    /// Not now; in the server's words.
    NotNow(String),
    /// Never, and the address is at fault: nothing more is sent there.
    NoSuchAddress(String),
    /// Never, for another reason.
    Refused(String),
}

/// What a permanent reply says about the address: replies 550, 551 and 553 speak of the mailbox (RFC 5321 §4.2.2),
/// unless an enhanced code (RFC 3463) says that it was policy (X.7) or the message (X.6).
#[must_use]
pub fn permanent(code: u16, words: &str) -> Ended {
    let enhanced = words.split(|c: char| c.is_whitespace()).find_map(|word| {
        let mut parts = word.split('.');
        let (class, subject, detail) = (parts.next()?, parts.next()?, parts.next()?);
        let digits = |p: &str| !p.is_empty() && p.len() <= 3 && p.bytes().all(|b| b.is_ascii_digit());
        (class == "5" && digits(subject) && digits(detail) && parts.next().is_none())
            .then(|| subject.parse::<u16>().ok())
            .flatten()
    });
    let address = match enhanced {
        // RFC 3463 §3.2, §3.3: X.1 addressing status, X.2 mailbox status.
        Some(subject) => matches!(subject, 1 | 2),
        None => matches!(code, 550 | 551 | 553),
    };
    let said = format!("{code} {words}").chars().take(300).collect();
    if address { Ended::NoSuchAddress(said) } else { Ended::Refused(said) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::datetime;

    /// RFC 5321 §4.5.4.1, each of its numbers.
    #[test]
    fn tries_keep_the_times_of_rfc_5321() {
        let first = datetime!(2026-05-04 09:00 UTC);
        let mut at = first;
        let mut tries = 1;
        let mut times = vec![first];
        while let Some(next) = next_try(first, tries, at) {
            assert!(next - at >= Duration::minutes(30), "at least 30 minutes: {at} {next}");
            assert!(next - at <= Duration::hours(3), "every two or three hours: {at} {next}");
            at = next;
            tries += 1;
            times.push(at);
            assert!(tries < 200, "it ends");
        }
        assert!(
            times.iter().filter(|t| **t - first < Duration::hours(1)).count() >= 2,
            "two in the first hour"
        );
        assert!(at - first >= Duration::days(4), "not before four to five days");
        assert!(at - first <= Duration::days(5) + Duration::hours(3));
    }

    #[test]
    fn an_address_is_at_fault_only_where_the_reply_says_so() {
        // RFC 5321 §4.2.3 and RFC 3463 §3: examples by their meaning.
        for (code, words) in [
            (550, "5.1.1 no such user"),
            (550, "mailbox unavailable"),
            (553, "name not allowed"),
            (550, "5.2.1 mailbox disabled"),
        ] {
            assert!(matches!(permanent(code, words), Ended::NoSuchAddress(_)), "{code} {words}");
        }
        for (code, words) in [
            (550, "5.7.1 refused by policy"),
            (554, "transaction failed"),
            (552, "too much"),
            (550, "5.6.0 bad message"),
        ] {
            assert!(matches!(permanent(code, words), Ended::Refused(_)), "{code} {words}");
        }
    }
}
