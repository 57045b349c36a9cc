//! How far a client who is due has been reached.

use crate::domain::chemistry::family::coded;
use crate::domain::followup::Outcome;

coded! {
    /// Best first: each client counts in the first that fits.
    Reach {
        /// The next service stands in the book.
        Booked = "booked", "in the book";
        /// Somebody answered, since the last service.
        Answered = "answered", "answered";
        /// Tried, no answer so far.
        Tried = "tried", "tried, no answer";
        /// Nobody tried yet.
        Untried = "untried", "not reached yet";
        /// Wants no contact.
        NoContact = "no-contact", "wants no contact";
    }
}

impl Reach {
    /// Where a client stands: booked ahead, wants no contact, the last word since the last service.
    #[must_use]
    pub fn of(booked: bool, no_contact: bool, last: Option<Outcome>) -> Reach {
        match last {
            _ if booked => Reach::Booked,
            _ if no_contact => Reach::NoContact,
            None => Reach::Untried,
            Some(Outcome::NoAnswer | Outcome::MessageLeft) => Reach::Tried,
            Some(_) => Reach::Answered,
        }
    }

    /// Somebody spoke with the client, or the client came by.
    #[must_use]
    pub fn is_reached(self) -> bool {
        matches!(self, Reach::Booked | Reach::Answered)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_client_stands_in_one_place() {
        for booked in [true, false] {
            for no_contact in [true, false] {
                for last in Outcome::ALL.into_iter().map(Some).chain([None]) {
                    let reach = Reach::of(booked, no_contact, last);
                    assert_eq!(reach == Reach::Booked, booked);
                    assert_eq!(reach == Reach::NoContact, !booked && no_contact);
                    assert!(reach != Reach::Untried || last.is_none());
                    assert!(reach != Reach::Tried || !reach.is_reached());
                }
            }
        }
        assert_eq!(Reach::of(false, false, Some(Outcome::MessageLeft)), Reach::Tried);
        assert_eq!(Reach::of(false, false, Some(Outcome::Declined)), Reach::Answered);
    }
}
