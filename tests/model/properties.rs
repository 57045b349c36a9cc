//! What is held in every state, and what must be reached in some.

use super::judge;
use super::salon::{Salon, Whole};
use stateright::Property;

pub const HELD: &str = "no opening step begins without its hold points";
pub const STOP_STANDS: &str = "after a stop no opening step begins";
pub const LATE_STOP: &str = "a late stop puts what it overtook on record";
pub const NEVER_SHUT: &str = "rinsing, stopping and closing are never shut out";
pub const ONCE: &str = "no fact stands twice";
pub const NOT_LOST: &str = "no fact is lost";
pub const SAME_ANSWER: &str = "a fact sent again gets its first answer";
pub const SAME_FOLD: &str = "every station folds the same";
pub const IN_CHARGE: &str = "one person is in charge, handed over by accept";
pub const READ_FIRST: &str = "a stop is ended after the skin was read whole";
pub const OVERRUN: &str = "a most-time overrun is on record";
pub const EXACTLY: &str = "what is on record as a breach is one, and all of them";
pub const KNOWN_ON: &str = "product that may be on is known to be on";
pub const STAYS_CLOSED: &str = "no opening step begins on closed hair";

/// Every property.
pub fn all() -> Vec<Property<Salon>> {
    vec![
        Property::always(HELD, |_, w: &Whole| !w.found(judge::UNHELD)),
        Property::always(STOP_STANDS, |_, w: &Whole| !w.found(judge::OPENED_AFTER_STOP)),
        Property::always(LATE_STOP, |_, w: &Whole| !w.found(judge::BREACH_MISSING)),
        Property::always(NEVER_SHUT, |_, w: &Whole| !w.found(judge::SHUT_OUT)),
        Property::always(ONCE, |_, w: &Whole| !w.found(judge::DOUBLED)),
        Property::always(NOT_LOST, |salon: &Salon, w: &Whole| salon.nothing_lost(w)),
        Property::always(SAME_ANSWER, |_, w: &Whole| !w.answered_otherwise()),
        Property::always(SAME_FOLD, |_, w: &Whole| !w.found(judge::FOLDS_APART)),
        Property::always(IN_CHARGE, |_, w: &Whole| !w.found(judge::NOT_IN_CHARGE)),
        Property::always(READ_FIRST, |_, w: &Whole| !w.found(judge::CLOSED_UNREAD)),
        Property::always(OVERRUN, |_, w: &Whole| !w.found(judge::OVERRUN_MISSING)),
        Property::always(EXACTLY, |_, w: &Whole| !w.found(judge::BREACHES_DIFFER)),
        Property::always(KNOWN_ON, |_, w: &Whole| !w.found(judge::ON_UNKNOWN)),
        Property::always(STAYS_CLOSED, |_, w: &Whole| !w.found(judge::REOPENED)),
        Property::sometimes("finished", |_, w: &Whole| w.found(judge::FINISHED)),
        Property::sometimes("stopped", |_, w: &Whole| w.found(judge::STOPPED)),
        Property::sometimes("overtaken by a late stop", |_, w: &Whole| w.found(judge::OVERTAKEN)),
        Property::sometimes("handed over", |_, w: &Whole| w.found(judge::HANDED_OVER)),
        Property::sometimes("begun again after a stop", |_, w: &Whole| w.found(judge::RESUMED)),
        Property::sometimes("too long on", |_, w: &Whole| w.found(judge::OVERRUN)),
        Property::sometimes("taken back", |_, w: &Whole| w.found(judge::TAKEN_BACK)),
        Property::sometimes("closed without contact", |_, w: &Whole| w.found(judge::CLOSED_WITHOUT_CONTACT)),
        Property::sometimes("an answer lost on the way", |_, w: &Whole| w.answer_is_lost()),
        Property::sometimes("a page back with its kept facts", |_, w: &Whole| w.page_is_back()),
    ]
}
