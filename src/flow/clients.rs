//! Entering and changing clients.

use crate::domain::ids::ClientId;
use crate::store::clients::{self, Record};
use crate::store::{Scoped, Stored};

/// Enters a new client.
pub async fn enter_client(s: &mut Scoped, record: &Record) -> Stored<ClientId> {
    let id = clients::insert(s, record).await?;
    s.changed("clients");
    Ok(id)
}

/// How changing a record ended.
#[derive(Debug, PartialEq, Eq)]
pub enum Changed {
    /// Done.
    Done,
    /// Somebody changed it since the form was opened.
    Stale,
}

/// Changes a record that still has the version the form was opened with.
pub async fn change_client(s: &mut Scoped, id: ClientId, version: i32, record: &Record) -> Stored<Changed> {
    if !clients::update(s, id, version, record).await? {
        return Ok(Changed::Stale);
    }
    s.changed("clients");
    s.changed(format!("client:{id}"));
    Ok(Changed::Done)
}
