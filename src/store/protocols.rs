//! Protocol revisions of a salon: the shipped ones and its own. Revisions are never changed; a run keeps its own.

use sqlx::PgConnection;
use time::OffsetDateTime;

use super::{Scoped, Stored};
use crate::domain::ids::PersonId;

/// The salon's own revisions count from the one after this (`0020_protocol_editor.sql`).
pub const SHIPPED_MOST: i32 = 1000;

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

/// A revision's place in the book of changes: everything but its text.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Issue {
    pub protocol: String,
    pub revision: i32,
    pub title: String,
    pub published_at: OffsetDateTime,
    /// Who published it; nobody for a shipped one.
    pub by_name: Option<String>,
    pub why: Option<String>,
    /// The shipped revision a salon's own was compared with last.
    pub based_on: Option<i32>,
    pub retired: bool,
}

impl Issue {
    /// A salon's own.
    pub fn is_own(&self) -> bool {
        self.revision > SHIPPED_MOST
    }
}

/// A salon's own revision about to be published.
pub struct OwnRevision<'a> {
    pub new: NewRevision<'a>,
    pub based_on: i32,
    pub by: PersonId,
    pub why: &'a str,
    pub retired: bool,
}

/// The newest revision of every protocol that is offered, by title; at most 100.
pub async fn list_newest(s: &mut Scoped) -> Stored<Vec<Revision>> {
    Ok(sqlx::query_as(
        "select protocol, revision, title, chemistry, body, fingerprint
         from (select distinct on (protocol) protocol, revision, title, chemistry, body, fingerprint, retired
           from protocol_revision where salon_id = $1 order by protocol, revision desc) newest
         where not retired order by title limit 100",
    )
    .bind(s.salon.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// What a service is called in the salon's newest revision of it.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Heading {
    pub protocol: String,
    pub title: String,
    /// Offered for no new plan.
    pub retired: bool,
}

/// The newest revision of every protocol by name, offered or not; at most 200.
pub async fn list_headings(s: &mut Scoped) -> Stored<Vec<Heading>> {
    Ok(sqlx::query_as(
        "select distinct on (protocol) protocol, title, retired from protocol_revision where salon_id = $1
         order by protocol, revision desc limit 200",
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

/// The salon's own newest revision of a protocol; none while it goes by the shipped one.
pub async fn find_own(s: &mut Scoped, protocol: &str) -> Stored<Option<Revision>> {
    Ok(sqlx::query_as(
        "select protocol, revision, title, chemistry, body, fingerprint from protocol_revision
         where salon_id = $1 and protocol = $2 and revision > $3 order by revision desc limit 1",
    )
    .bind(s.salon.0)
    .bind(protocol)
    .bind(SHIPPED_MOST)
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

/// Notes what this build ships, as the database's owner: what the app marks as shipped must be this.
pub async fn note_shipped(owner: &mut PgConnection, new: NewRevision<'_>) -> Result<(), sqlx::Error> {
    let r = new.revision;
    sqlx::query(
        "insert into shipped_protocol (protocol, revision, title, chemistry, fingerprint, document) values ($1,$2,$3,$4,$5,$6)
         on conflict (protocol, revision) do update set title = excluded.title, chemistry = excluded.chemistry,
           fingerprint = excluded.fingerprint, document = excluded.document
         where (shipped_protocol.title, shipped_protocol.chemistry, shipped_protocol.fingerprint, shipped_protocol.document)
           is distinct from (excluded.title, excluded.chemistry, excluded.fingerprint, excluded.document)",
    )
    .bind(&r.protocol)
    .bind(r.revision)
    .bind(&r.title)
    .bind(&r.chemistry)
    .bind(&r.fingerprint)
    .bind(sqlx::types::Json(new.document))
    .execute(owner)
    .await?;
    Ok(())
}

/// The newest shipped and the newest own revision of every protocol, by code; at most 400.
pub async fn list_heads(s: &mut Scoped) -> Stored<Vec<Issue>> {
    Ok(sqlx::query_as(
        "select v.protocol, v.revision, v.title, v.published_at, p.name as by_name, v.why, v.based_on, v.retired
         from (select distinct on (protocol, origin) * from protocol_revision where salon_id = $1 order by protocol, origin, revision desc) v
         left join person p on p.salon_id = v.salon_id and p.person_id = v.published_by
         order by v.protocol, v.revision limit 400",
    )
    .bind(s.salon.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// The revisions of one protocol, newest first; at most 200.
pub async fn list_issues(s: &mut Scoped, protocol: &str) -> Stored<Vec<Issue>> {
    Ok(sqlx::query_as(
        "select v.protocol, v.revision, v.title, v.published_at, p.name as by_name, v.why, v.based_on, v.retired
         from protocol_revision v left join person p on p.salon_id = v.salon_id and p.person_id = v.published_by
         where v.salon_id = $1 and v.protocol = $2 order by v.revision desc limit 200",
    )
    .bind(s.salon.0)
    .bind(protocol)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Publishes a salon's own revision; false when its number was taken in the same moment. Refused with RB008 when
/// it breaks the floor of safety, or who publishes it is no manager.
pub async fn insert_own(s: &mut Scoped, own: OwnRevision<'_>) -> Stored<bool> {
    let r = own.new.revision;
    Ok(sqlx::query(
        "insert into protocol_revision (salon_id, protocol, revision, title, chemistry, body, fingerprint, document,
           origin, based_on, published_by, why, retired)
         values ($1,$2,$3,$4,$5,$6,$7,$8,'salon',$9,$10,$11,$12) on conflict do nothing",
    )
    .bind(s.salon.0)
    .bind(&r.protocol)
    .bind(r.revision)
    .bind(&r.title)
    .bind(&r.chemistry)
    .bind(&r.body)
    .bind(&r.fingerprint)
    .bind(sqlx::types::Json(own.new.document))
    .bind(own.based_on)
    .bind(own.by.0)
    .bind(own.why)
    .bind(own.retired)
    .execute(&mut *s.tx)
    .await?
    .rows_affected()
        == 1)
}
