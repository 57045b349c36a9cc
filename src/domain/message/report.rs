//! What is reported of a message that was sent.

/// What a mail reports.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Report {
    /// The message reached nobody.
    NotDelivered {
        /// Message-ID of ours, without brackets.
        reference: String,
        /// Its address is one nobody has, now and tomorrow (RFC 3463 §3.2 and §3.3).
        no_such_address: bool,
        /// Status and the server's words.
        said: String,
    },
    /// The reader called it unwanted.
    Complaint {
        /// Message-ID of ours, without brackets.
        reference: String,
    },
}
