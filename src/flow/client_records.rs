//! Whole records: two merged into one, one erased, copies noted in the book.

use serde_json::json;

use crate::app::App;
use crate::domain::ids::{ClientId, PersonId};
use crate::flow::dues;
use crate::store::client_records::{self, Merge};
use crate::store::{Scoped, StoreError, Stored, record_acts};

/// Why a merge or an erasure was not done.
#[derive(Debug)]
pub enum NotKept {
    /// Somebody changed a record since the page was made.
    Stale,
    /// The reason, as a sentence.
    Against(&'static str),
    /// The store failed.
    Store(StoreError),
}

impl From<StoreError> for NotKept {
    fn from(e: StoreError) -> Self {
        match &e {
            StoreError::Refused { code, rule } if code == "RB016" => match rule.as_str() {
                "client:changed" | "client:gone" | "client:unknown" => NotKept::Stale,
                rule => NotKept::Against(words(rule)),
            },
            _ => NotKept::Store(e),
        }
    }
}

/// Why two records that both tell of the hair are not merged.
pub const TWO_STORIES: &str = mark!(
    "Both records tell the hair's story, in the order it was told, and two such stories are not laid over one another. Ask again in a consult of the record you go on with, with all the client tells; the other stays as it is."
);

fn words(rule: &str) -> &'static str {
    match rule {
        "client:under-way" => tr!("A service is under way for this client. End it first."),
        "client:has-visits" => {
            tr!(
                "The record that would go has visits, and what was judged by a record stays where it was judged. Keep that record, and let the other go."
            )
        }
        "client:two-stories" => crate::words::of(TWO_STORIES),
        "client:same" => tr!("A record is not merged with itself."),
        "person:role" => tr!("Only a manager who is here does this."),
        _ => tr!("This is not done."),
    }
}

/// Brings one record into another, and works the next visit out anew.
///
/// # Errors
/// A reason in words, a change meanwhile, or the store's.
pub async fn merge_clients(
    s: &mut Scoped,
    app: &App,
    by: PersonId,
    merge: &Merge<'_>,
) -> Result<(), NotKept> {
    client_records::merge(s, by, merge).await?;
    dues::refresh_due(s, app, merge.kept).await?;
    tell(s, &[merge.kept, merge.gone]);
    Ok(())
}

/// Takes a person out of a record.
///
/// # Errors
/// A reason in words, a change meanwhile, or the store's.
pub async fn erase_client(
    s: &mut Scoped,
    by: PersonId,
    client: ClientId,
    version: i32,
    why: &str,
) -> Result<(), NotKept> {
    client_records::erase(s, by, client, version, why).await?;
    tell(s, &[client]);
    Ok(())
}

fn tell(s: &mut Scoped, clients: &[ClientId]) {
    for topic in ["clients", "bookings", "day", "regrowth", "floor", "messages"] {
        s.changed(topic);
    }
    for client in clients {
        s.changed(format!("client:{client}"));
    }
}

/// Notes that all clients were copied out.
pub async fn note_export(s: &mut Scoped, by: PersonId, clients: usize) -> Stored<()> {
    record_acts::insert(s, by, "export", None, json!({"clients": clients})).await?;
    Ok(())
}

/// Notes that one client's whole record was copied out.
pub async fn note_copy(s: &mut Scoped, by: PersonId, client: ClientId) -> Stored<()> {
    record_acts::insert(s, by, "copy", Some(client), json!({})).await?;
    Ok(())
}
