//! Protocol revisions a salon has published. Revisions are never changed; a run keeps its own.

use super::{Scoped, Stored};

/// A revision as stored.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Revision {
    pub protocol: String,
    pub revision: i32,
    pub title: String,
    pub chemistry: String,
    /// The TOML text, as published.
    pub body: String,
    pub fingerprint: Vec<u8>,
}

/// A revision about to be saved, with the document that the database holds the floor against.
pub struct NewRevision<'a> {
    pub revision: &'a Revision,
    pub document: serde_json::Value,
}

/// The newest revision of every protocol by title; at most 100.
pub async fn list_newest(s: &mut Scoped) -> Stored<Vec<Revision>> {
    Ok(sqlx::query_as(
        "select * from (select distinct on (protocol) protocol, revision, title, chemistry, body, fingerprint
           from protocol_revision where salon_id = $1 order by protocol, revision desc) newest order by title limit 100",
    )
    .bind(s.salon.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// One revision.
pub async fn find(s: &mut Scoped, protocol: &str, revision: i32) -> Stored<Option<Revision>> {
    Ok(sqlx::query_as(
        "select protocol, revision, title, chemistry, body, fingerprint from protocol_revision
         where salon_id = $1 and protocol = $2 and revision = $3",
    )
    .bind(s.salon.0)
    .bind(protocol)
    .bind(revision)
    .fetch_optional(&mut *s.tx)
    .await?)
}

/// Publishes a revision; one that is there already stays as it is. Refused with RB008 and every fault when its
/// document breaks the floor of safety.
pub async fn insert(s: &mut Scoped, new: NewRevision<'_>) -> Stored<bool> {
    let r = new.revision;
    Ok(sqlx::query(
        "insert into protocol_revision (salon_id, protocol, revision, title, chemistry, body, fingerprint, document)
         values ($1,$2,$3,$4,$5,$6,$7,$8) on conflict do nothing",
    )
    .bind(s.salon.0)
    .bind(&r.protocol)
    .bind(r.revision)
    .bind(&r.title)
    .bind(&r.chemistry)
    .bind(&r.body)
    .bind(&r.fingerprint)
    .bind(sqlx::types::Json(new.document))
    .execute(&mut *s.tx)
    .await?
    .rows_affected()
        == 1)
}
