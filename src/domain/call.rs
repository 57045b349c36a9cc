//! Calling a client: when the salon may, and who has the call.
//!
//! Quiet hours are the salon's own; they begin as 21:00 to 08:00 (47 CFR 64.1200(c)(1), from memory: no calls to homes
//! before 8 in the morning or after 9 in the evening where the called person is).

use time::Weekday;

use super::chemistry::family::coded;
use super::ids::PersonId;

/// How long a call is one person's, minutes: long enough to talk, short enough that a forgotten one frees itself.
pub const CALL_MIN: i64 = 15;

/// When nobody is called.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Quiet {
    /// Minutes after 00:00 on the salon's wall clock from which it is quiet.
    pub from_min: u16,
    /// Minutes after 00:00 from which it is no longer; equal to `from_min`: never quiet by the clock.
    pub until_min: u16,
    /// Days on which nobody is called at all.
    pub weekdays: Vec<Weekday>,
}

impl Quiet {
    /// Whether it is quiet on this day of the week at this minute of the wall clock. The span may run over midnight.
    #[must_use]
    pub fn holds(&self, day: Weekday, minute: u16) -> bool {
        let by_clock = match self.from_min.cmp(&self.until_min) {
            std::cmp::Ordering::Equal => false,
            std::cmp::Ordering::Less => (self.from_min..self.until_min).contains(&minute),
            std::cmp::Ordering::Greater => minute >= self.from_min || minute < self.until_min,
        };
        by_clock || self.weekdays.contains(&day)
    }
}

coded! {
    /// Who sought whom.
    Way {
        /// The salon reached for the client.
        WeCalled = "we-called", "we called";
        /// The client rang, wrote or stood at the desk.
        TheyCalled = "they-called", "they called, wrote or came in";
    }
}

coded! {
    /// Why a client is not called now; the codes are the database's own, after "call:".
    NoCall {
        /// Wants no contact.
        NoContact = "no-contact", "This client wants no contact.";
        /// Quiet hours.
        Quiet = "quiet", "These are the salon's quiet hours: nobody is called now.";
        /// Somebody else has the call.
        Held = "held", "Somebody else is calling this client.";
    }
}

/// What stands against calling now, all of it; empty when the client may be called. `holder` has the call now.
#[must_use]
pub fn against(no_contact: bool, quiet: bool, holder: Option<PersonId>, by: PersonId) -> Vec<NoCall> {
    let mut why = Vec::new();
    why.extend(no_contact.then_some(NoCall::NoContact));
    why.extend(quiet.then_some(NoCall::Quiet));
    why.extend(holder.is_some_and(|who| who != by).then_some(NoCall::Held));
    why
}

/// What stands against noting that this client was called. A call begun before the quiet hours is noted in them.
#[must_use]
pub fn against_noting(no_contact: bool, quiet: bool, holder: Option<PersonId>, by: PersonId) -> Vec<NoCall> {
    against(no_contact, quiet && holder != Some(by), holder, by)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn quiet(from: u16, until: u16) -> Quiet {
        Quiet { from_min: from * 60, until_min: until * 60, weekdays: vec![Weekday::Sunday] }
    }

    #[test]
    fn quiet_hours_run_over_midnight_and_their_end_is_not_quiet() {
        let night = quiet(21, 8);
        for (minute, is) in [(0, true), (479, true), (480, false), (1259, false), (1260, true), (1439, true)]
        {
            assert_eq!(night.holds(Weekday::Monday, minute), is, "{minute}");
        }
        let noon = quiet(12, 14);
        assert!(noon.holds(Weekday::Monday, 720) && !noon.holds(Weekday::Monday, 840));
        assert!(!quiet(9, 9).holds(Weekday::Monday, 540), "no quiet hours");
        assert!(quiet(9, 9).holds(Weekday::Sunday, 600), "a quiet day");
    }

    #[test]
    fn every_reason_is_said_and_a_call_begun_in_time_may_be_noted_later() {
        let (me, you) = (PersonId(1), PersonId(2));
        assert_eq!(against(true, true, Some(you), me), NoCall::ALL);
        assert!(against(false, false, Some(me), me).is_empty());
        assert_eq!(against(false, true, Some(me), me), [NoCall::Quiet]);
        assert!(against_noting(false, true, Some(me), me).is_empty());
        assert_eq!(against_noting(false, true, None, me), [NoCall::Quiet]);
        assert_eq!(against_noting(false, false, Some(you), me), [NoCall::Held]);
    }
}
