//! What follows from a report about a message that was sent.

use super::messages::stop_by_complaint;
use crate::domain::ids::ClientId;
use crate::domain::message::Channel;
use crate::domain::message::report::Report;
use crate::store::{Scoped, Stored, contact, messages};

/// What was done about a report.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Done {
    /// The address is written to no more.
    Stopped,
    /// A reason that passes: the address stays.
    Kept,
    /// No message of this salon.
    NotOurs,
}

/// Acts on a report in one salon. The same report twice does the same as once.
///
/// # Errors
/// Those of the store.
pub async fn act_on(s: &mut Scoped, report: &Report) -> Stored<Done> {
    let (Report::NotDelivered { reference, .. } | Report::Complaint { reference }) = report;
    let Some(found) = messages::find_by_reference(s, reference).await? else { return Ok(Done::NotOurs) };
    let client = ClientId(found.client_id);
    match report {
        Report::NotDelivered { no_such_address: false, .. } => return Ok(Done::Kept),
        Report::NotDelivered { said, .. } => {
            contact::stop_address(s, &found.channel, &found.address, "bounced", said).await?;
        }
        Report::Complaint { .. } => {
            let channel = Channel::from_code(&found.channel).unwrap_or(Channel::Email);
            stop_by_complaint(s, client, channel, &found.address).await?;
        }
    }
    s.changed("messages");
    s.changed(format!("client:{client}"));
    Ok(Done::Stopped)
}
