//! Reaching a client who is due: what came of each try, and what is to be done about it today.
//!
//! The days between tries are common practice, no source.

use time::{Date, Duration};

use super::chemistry::family::coded;

/// What came of one try to reach a client.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// It rang, nobody took it.
    NoAnswer,
    /// A message waits for an answer.
    MessageLeft,
    /// Spoken with; nothing settled yet.
    Spoke,
    /// Does not want this service again.
    Declined,
    /// Lives elsewhere now: not asked again. Whoever comes back books, or is noted anew.
    MovedAway,
    /// Wants to be asked again from a day on.
    Later,
    /// A booking was made.
    Booked,
    /// Wants no contact from the salon.
    NoContactWanted,
}

impl Outcome {
    /// All, in the order of the form.
    pub const ALL: [Outcome; 8] = [
        Outcome::NoAnswer,
        Outcome::MessageLeft,
        Outcome::Spoke,
        Outcome::Later,
        Outcome::Declined,
        Outcome::MovedAway,
        Outcome::NoContactWanted,
        Outcome::Booked,
    ];

    /// The code stored in the database and sent by forms.
    pub const fn code(self) -> &'static str {
        match self {
            Outcome::NoAnswer => "no-answer",
            Outcome::MessageLeft => "message-left",
            Outcome::Spoke => "spoke",
            Outcome::Declined => "declined",
            Outcome::MovedAway => "moved-away",
            Outcome::Later => "later",
            Outcome::Booked => "booked",
            Outcome::NoContactWanted => "no-contact-wanted",
        }
    }

    /// As said on the screens.
    pub fn words(self) -> &'static str {
        match self {
            Outcome::NoAnswer => tr!("no answer"),
            Outcome::MessageLeft => tr!("message left"),
            Outcome::Spoke => tr!("spoke"),
            Outcome::Declined => tr!("declined"),
            Outcome::MovedAway => tr!("moved away"),
            Outcome::Later => tr!("later"),
            Outcome::Booked => tr!("booked"),
            Outcome::NoContactWanted => tr!("no contact wanted"),
        }
    }

    /// Reads a code.
    pub fn from_code(code: &str) -> Option<Outcome> {
        Outcome::ALL.into_iter().find(|o| o.code() == code)
    }
}

coded! {
    /// What is done next about a client, with its day.
    NextStep {
        /// Call once more.
        CallAgain = "call-again", "call again";
        /// Write a message.
        Write = "write", "write to them";
        /// Find an opening and book it.
        Book = "book", "find an opening";
        /// Place or read a test.
        Test = "test", "place or read a test";
        /// Go through the consult.
        Consult = "consult", "go through the consult";
    }
}

/// Days before the window opens from which a client is asked: a chair and a patch test take their time.
pub const ASK_DAYS_BEFORE: i64 = 14;
/// Days a message is left to be answered before the next try.
pub const MESSAGE_DAYS: i64 = 4;
/// Days after which a consult is read with the client anew.
pub const CONSULT_DAYS: i64 = 183;

/// The last try since the last service.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LastWord {
    /// What came of it.
    pub outcome: Outcome,
    /// The local day.
    pub on: Date,
    /// The day asked for, with `Later`; else the day of the next step.
    pub next_on: Option<Date>,
}

/// Something that stands before the service.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Block {
    /// Something found about this head stands against the service: somebody looks first.
    Look,
    /// The hair waits until this day.
    Wait(Date),
    /// A skin test has to be placed 48 hours before.
    Test,
    /// A skin test is placed and not read.
    TestUnread,
    /// The consult is too old, or there is none.
    Consult,
}

impl Block {
    /// Everything that stands before the service, worst first. `consult_days` is the consult's age; none, there is none.
    #[must_use]
    pub fn all(
        refused: bool,
        wait_until: Option<Date>,
        test: Option<Block>,
        consult_days: Option<i64>,
    ) -> Vec<Block> {
        let mut all = Vec::new();
        all.extend(refused.then_some(Block::Look));
        all.extend(wait_until.map(Block::Wait));
        all.extend(test);
        all.extend(consult_days.is_none_or(|days| days >= CONSULT_DAYS).then_some(Block::Consult));
        all
    }
}

/// Everything that decides where a client stands on Regrowth.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Standing {
    /// The salon's local day.
    pub today: Date,
    /// The window's early edge.
    pub early_on: Date,
    /// A service is booked ahead.
    pub booked: bool,
    /// Wants no contact.
    pub no_contact: bool,
    /// Something found about this head stands against the service.
    pub refused: bool,
    /// A wait between chemistries lasts until this day.
    pub wait_until: Option<Date>,
    /// The last try since the last service.
    pub last: Option<LastWord>,
}

/// Where a client stands, in the order of the screen.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Group {
    /// To be reached today.
    Reach,
    /// Has been reached for; the answer is awaited.
    Waiting,
    /// Has a booking.
    Booked,
    /// Not to be asked now.
    HeldBack,
    /// Not yet: the window is far off.
    NotYet,
}

impl Group {
    /// All, in the order of the screen.
    pub const ALL: [Group; 5] = [Group::Reach, Group::Waiting, Group::Booked, Group::HeldBack, Group::NotYet];

    /// The heading.
    pub fn words(self) -> &'static str {
        match self {
            Group::Reach => tr!("Reach today"),
            Group::Waiting => tr!("Waiting for an answer"),
            Group::Booked => tr!("Booked"),
            Group::HeldBack => tr!("Held back"),
            Group::NotYet => tr!("Not yet"),
        }
    }
}

impl Standing {
    /// The first day this client is to be asked, whatever was said last.
    #[must_use]
    pub fn ask_from(&self) -> Date {
        let from = self.early_on.saturating_sub(Duration::days(ASK_DAYS_BEFORE));
        self.wait_until.map_or(from, |until| from.max(until.saturating_sub(Duration::days(ASK_DAYS_BEFORE))))
    }

    /// Where the client stands. A booking comes first: it is kept whatever was said before it.
    #[must_use]
    pub fn group(&self) -> Group {
        if self.booked {
            return Group::Booked;
        }
        if self.no_contact || self.refused {
            return Group::HeldBack;
        }
        let since = |on: Date| (self.today - on).whole_days();
        match self.last {
            Some(LastWord {
                outcome: Outcome::Declined | Outcome::MovedAway | Outcome::NoContactWanted,
                ..
            }) => Group::HeldBack,
            Some(LastWord { outcome: Outcome::Later, next_on: Some(next), .. }) if next > self.today => {
                Group::HeldBack
            }
            // A next step with its day is kept to, on that day and not before.
            Some(LastWord { next_on: Some(next), .. }) if next > self.today => Group::Waiting,
            Some(LastWord { outcome: Outcome::MessageLeft, on, next_on: None })
                if since(on) < MESSAGE_DAYS =>
            {
                Group::Waiting
            }
            Some(LastWord { outcome: Outcome::NoAnswer, on, next_on: None }) if since(on) < 1 => {
                Group::Waiting
            }
            _ if self.wait_until.is_some_and(|_| self.ask_from() > self.today) => Group::HeldBack,
            Some(LastWord { next_on: Some(_), .. }) => Group::Reach,
            _ if self.ask_from() > self.today => Group::NotYet,
            _ => Group::Reach,
        }
    }
}

#[cfg(test)]
mod tests {
    use time::macros::date;

    use super::*;

    const TODAY: Date = date!(2026 - 05 - 14);

    fn due() -> Standing {
        Standing {
            today: TODAY,
            early_on: date!(2026 - 05 - 05),
            booked: false,
            no_contact: false,
            refused: false,
            wait_until: None,
            last: None,
        }
    }

    fn after(outcome: Outcome, on: Date, next_on: Option<Date>) -> Group {
        Standing { last: Some(LastWord { outcome, on, next_on }), ..due() }.group()
    }

    #[test]
    fn who_was_never_reached_is_reached_from_two_weeks_before_the_window() {
        assert_eq!(due().group(), Group::Reach);
        assert_eq!(Standing { early_on: date!(2026 - 05 - 28), ..due() }.group(), Group::Reach);
        assert_eq!(Standing { early_on: date!(2026 - 05 - 29), ..due() }.group(), Group::NotYet);
    }

    #[test]
    fn a_message_is_waited_for_and_a_call_is_made_again_tomorrow() {
        assert_eq!(after(Outcome::MessageLeft, date!(2026 - 05 - 11), None), Group::Waiting);
        assert_eq!(after(Outcome::MessageLeft, date!(2026 - 05 - 10), None), Group::Reach);
        assert_eq!(after(Outcome::NoAnswer, TODAY, None), Group::Waiting);
        assert_eq!(after(Outcome::NoAnswer, date!(2026 - 05 - 13), None), Group::Reach);
        assert_eq!(after(Outcome::Spoke, TODAY, None), Group::Reach);
    }

    #[test]
    fn what_a_client_said_is_kept_to() {
        assert_eq!(after(Outcome::Declined, date!(2026 - 01 - 01), None), Group::HeldBack);
        assert_eq!(after(Outcome::MovedAway, date!(2026 - 01 - 01), None), Group::HeldBack);
        assert_eq!(
            after(Outcome::Later, date!(2026 - 05 - 01), Some(date!(2026 - 05 - 15))),
            Group::HeldBack
        );
        assert_eq!(after(Outcome::Later, date!(2026 - 05 - 01), Some(TODAY)), Group::Reach);
        assert_eq!(Standing { no_contact: true, ..due() }.group(), Group::HeldBack);
        // A booking made in spite of it stays a booking.
        assert_eq!(Standing { no_contact: true, booked: true, ..due() }.group(), Group::Booked);
    }

    #[test]
    fn a_next_step_is_taken_on_its_day() {
        assert_eq!(after(Outcome::Spoke, date!(2026 - 05 - 13), Some(date!(2026 - 05 - 15))), Group::Waiting);
        assert_eq!(after(Outcome::MessageLeft, date!(2026 - 05 - 13), Some(TODAY)), Group::Reach);
        let held = Standing { wait_until: Some(date!(2026 - 07 - 01)), ..due() };
        let spoken = LastWord { outcome: Outcome::Spoke, on: TODAY, next_on: Some(TODAY) };
        assert_eq!(Standing { last: Some(spoken), ..held }.group(), Group::HeldBack, "a wait is waited for");
    }

    #[test]
    fn what_stands_before_the_service_is_said_worst_first() {
        let until = date!(2026 - 06 - 01);
        assert_eq!(
            Block::all(true, Some(until), Some(Block::Test), None),
            [Block::Look, Block::Wait(until), Block::Test, Block::Consult]
        );
        assert_eq!(Block::all(false, None, None, Some(CONSULT_DAYS - 1)), []);
        assert_eq!(Block::all(false, None, None, Some(CONSULT_DAYS)), [Block::Consult]);
    }

    #[test]
    fn a_wait_between_chemistries_holds_back_until_two_weeks_before_its_end() {
        let waiting = |until| Standing { wait_until: Some(until), ..due() }.group();
        assert_eq!(waiting(date!(2026 - 06 - 10)), Group::HeldBack);
        assert_eq!(waiting(date!(2026 - 05 - 20)), Group::Reach);
    }
}
