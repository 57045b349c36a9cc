//! Messages to a client: what may be said, to whom, when it is tried again.
//!
//! Nothing about health or chemistry is ever in a message. [`Facts`] cannot carry any, and the words a salon
//! writes itself pass [`words::kept_out`]; the database holds the same list.

pub mod report;
pub mod retry;
pub mod words;

/// How a message travels.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Channel {
    /// Internet mail (RFC 5322).
    Email,
    /// A short text, handed to a service of the salon's choice.
    Text,
}

impl Channel {
    /// Both, in the order of the screens.
    pub const ALL: [Channel; 2] = [Channel::Email, Channel::Text];

    /// The code stored in the database and sent by forms.
    pub const fn code(self) -> &'static str {
        match self {
            Channel::Email => "email",
            Channel::Text => "text",
        }
    }

    /// As said on the screens.
    pub fn words(self) -> &'static str {
        match self {
            Channel::Email => tr!("email"),
            Channel::Text => tr!("text message"),
        }
    }

    /// The channel of a stored code.
    pub fn from_code(code: &str) -> Option<Channel> {
        Channel::ALL.into_iter().find(|c| c.code() == code)
    }
}

/// What a message is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// The next visit is due; the link offers openings.
    Due,
    /// A booking was made or moved; the link moves or cancels it.
    Booked,
    /// A booking stands soon.
    Reminder,
    /// A booking was cancelled.
    Cancelled,
}

impl Kind {
    /// All, in the order of the screens.
    pub const ALL: [Kind; 4] = [Kind::Due, Kind::Booked, Kind::Reminder, Kind::Cancelled];

    /// The code stored in the database.
    pub const fn code(self) -> &'static str {
        match self {
            Kind::Due => "due",
            Kind::Booked => "booked",
            Kind::Reminder => "reminder",
            Kind::Cancelled => "cancelled",
        }
    }

    /// As said on the screens.
    pub fn words(self) -> &'static str {
        match self {
            Kind::Due => tr!("the next visit is due"),
            Kind::Booked => tr!("a booking was made"),
            Kind::Reminder => tr!("a booking stands soon"),
            Kind::Cancelled => tr!("a booking was cancelled"),
        }
    }

    /// The kind of a stored code.
    pub fn from_code(code: &str) -> Option<Kind> {
        Kind::ALL.into_iter().find(|k| k.code() == code)
    }

    /// Whether the salon's quiet hours hold it back. What answers an act is waited for, or stops somebody setting out:
    /// it leaves at any hour.
    #[must_use]
    pub const fn keeps_quiet(self) -> bool {
        match self {
            Kind::Due | Kind::Reminder => true,
            Kind::Booked | Kind::Cancelled => false,
        }
    }

    /// The kinds that may leave now.
    #[must_use]
    pub fn leaving(quiet: bool) -> Vec<Kind> {
        Kind::ALL.into_iter().filter(|kind| !quiet || !kind.keeps_quiet()).collect()
    }

    /// The places a template of this kind may hold.
    #[must_use]
    pub const fn places(self) -> &'static [Place] {
        match self {
            Kind::Due | Kind::Cancelled => &[Place::FirstName, Place::Salon, Place::Phone, Place::Link],
            Kind::Booked | Kind::Reminder => &[
                Place::FirstName,
                Place::Salon,
                Place::Phone,
                Place::Day,
                Place::Time,
                Place::With,
                Place::Link,
            ],
        }
    }
}

/// A place in a template, filled for each client.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Place {
    FirstName,
    Salon,
    Phone,
    Day,
    Time,
    With,
    Link,
}

impl Place {
    /// All of them.
    pub const ALL: [Place; 7] =
        [Place::FirstName, Place::Salon, Place::Phone, Place::Day, Place::Time, Place::With, Place::Link];

    /// The word between braces.
    pub const fn code(self) -> &'static str {
        match self {
            Place::FirstName => "first_name",
            Place::Salon => "salon",
            Place::Phone => "phone",
            Place::Day => "day",
            Place::Time => "time",
            Place::With => "with",
            Place::Link => "link",
        }
    }
}

/// A language templates are shipped in (ISO 639-1).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Language {
    English,
    Spanish,
}

impl Language {
    /// All, in the order of the screens.
    pub const ALL: [Language; 2] = [Language::English, Language::Spanish];

    /// The ISO 639-1 code.
    pub const fn code(self) -> &'static str {
        match self {
            Language::English => "en",
            Language::Spanish => "es",
        }
    }

    /// Its name in itself.
    pub fn words(self) -> &'static str {
        match self {
            Language::English => tr!("English"),
            Language::Spanish => tr!("español"),
        }
    }

    /// The language of a code.
    pub fn from_code(code: &str) -> Option<Language> {
        Language::ALL.into_iter().find(|l| l.code() == code)
    }
}

/// Everything a message may know. Nothing of health, nothing of chemistry, no service by name.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Facts {
    pub first_name: String,
    pub salon: String,
    pub phone: String,
    /// The booking's day in the words of the language.
    pub day: String,
    /// The booking's time.
    pub time: String,
    /// First name of whoever is booked.
    pub with: String,
}

impl Facts {
    fn of(&self, place: Place) -> &str {
        match place {
            Place::FirstName => &self.first_name,
            Place::Salon => &self.salon,
            Place::Phone => &self.phone,
            Place::Day => &self.day,
            Place::Time => &self.time,
            Place::With => &self.with,
            // Filled when the message leaves: the stored words hold no secret.
            Place::Link => LINK,
        }
    }
}

/// What stands for the link in stored words.
pub const LINK: &str = "{link}";

/// Why a client is not written to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NotWritten {
    /// The client wants no contact.
    NoContact,
    /// No consent for this channel is on record, or it was taken back.
    NoConsent,
    /// No address of this channel is kept.
    NoAddress,
    /// The address bounced, complained or stopped.
    AddressStopped,
}

impl NotWritten {
    /// All reasons.
    pub const ALL: [NotWritten; 4] =
        [NotWritten::NoContact, NotWritten::NoConsent, NotWritten::NoAddress, NotWritten::AddressStopped];

    /// The code the database refuses with, after `message:`.
    pub const fn code(self) -> &'static str {
        match self {
            NotWritten::NoContact => "no-contact",
            NotWritten::NoConsent => "no-consent",
            NotWritten::NoAddress => "no-address",
            NotWritten::AddressStopped => "stopped",
        }
    }

    /// As a sentence for the screen.
    pub fn words(self) -> &'static str {
        match self {
            NotWritten::NoContact => tr!("The client wants no contact."),
            NotWritten::NoConsent => tr!("The client has not agreed to be written to this way."),
            NotWritten::NoAddress => tr!("There is no address for this way."),
            NotWritten::AddressStopped => {
                tr!("This address is stopped: a message came back, or its owner asked for no more.")
            }
        }
    }
}

/// What is known of a client's wish about one channel.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Wish {
    pub no_contact: bool,
    /// The newest word about this channel was yes.
    pub agreed: bool,
    pub has_address: bool,
    pub stopped: bool,
}

/// Whether this client may be written to this way. The database asks the same when a message is written and when it leaves.
pub const fn may_write(wish: Wish) -> Result<(), NotWritten> {
    if wish.no_contact {
        Err(NotWritten::NoContact)
    } else if !wish.agreed {
        Err(NotWritten::NoConsent)
    } else if !wish.has_address {
        Err(NotWritten::NoAddress)
    } else if wish.stopped {
        Err(NotWritten::AddressStopped)
    } else {
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_client_is_written_to_in_one_case_of_sixteen() {
        let mut fine = 0;
        for bits in 0..16u8 {
            let wish = Wish {
                no_contact: bits & 1 != 0,
                agreed: bits & 2 != 0,
                has_address: bits & 4 != 0,
                stopped: bits & 8 != 0,
            };
            let may = may_write(wish).is_ok();
            assert_eq!(may, !wish.no_contact && wish.agreed && wish.has_address && !wish.stopped);
            fine += usize::from(may);
        }
        assert_eq!(fine, 1);
    }

    #[test]
    fn codes_are_read_back() {
        for kind in Kind::ALL {
            assert_eq!(Kind::from_code(kind.code()), Some(kind));
        }
        for channel in Channel::ALL {
            assert_eq!(Channel::from_code(channel.code()), Some(channel));
        }
        for language in Language::ALL {
            assert_eq!(Language::from_code(language.code()), Some(language));
        }
    }
}
