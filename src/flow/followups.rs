//! Noting what came of a try to reach a client.

use time::Date;

use crate::domain::followup::Outcome;
use crate::domain::ids::{ClientId, PersonId};
use crate::store::{Scoped, Stored, followups};

/// What is noted.
pub struct Noted<'a> {
    pub client: ClientId,
    pub by: PersonId,
    pub outcome: Outcome,
    /// With [`Outcome::Later`]: the day to ask again from.
    pub next_on: Option<Date>,
    /// At most 500 characters.
    pub note: &'a str,
    /// The client who wanted no contact wants it again.
    pub contact_again: bool,
}

/// Notes a try, and keeps the client's wish about being contacted.
///
/// # Errors
/// Those of the store.
pub async fn note_followup(s: &mut Scoped, noted: &Noted<'_>) -> Stored<()> {
    followups::insert(s, noted.client, noted.by, noted.outcome, noted.next_on, noted.note, None).await?;
    if noted.outcome == Outcome::NoContactWanted {
        followups::set_no_contact(s, noted.client, true).await?;
    } else if noted.contact_again {
        followups::set_no_contact(s, noted.client, false).await?;
    }
    s.changed("regrowth");
    s.changed(format!("client:{}", noted.client));
    Ok(())
}
