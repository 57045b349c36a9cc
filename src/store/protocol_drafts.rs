//! What a manager is changing: one draft a protocol. Each save counts its version up; an older one is told.

use time::OffsetDateTime;

use super::{Scoped, Stored};
use crate::domain::ids::PersonId;

/// A draft as kept.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Draft {
    pub protocol: String,
    /// The shipped revision it was compared with last.
    pub based_on: i32,
    /// The TOML text; it reads, and may break the floor.
    pub body: String,
    pub version: i32,
    pub saved_at: OffsetDateTime,
    pub by_name: String,
}

/// The draft of a protocol.
pub async fn find(s: &mut Scoped, protocol: &str) -> Stored<Option<Draft>> {
    Ok(sqlx::query_as(
        "select d.protocol, d.based_on, d.body, d.version, d.saved_at, p.name as by_name
         from protocol_draft d join person p on p.salon_id = d.salon_id and p.person_id = d.saved_by
         where d.salon_id = $1 and d.protocol = $2",
    )
    .bind(s.salon.0)
    .bind(protocol)
    .fetch_optional(&mut *s.tx)
    .await?)
}

/// Protocols that have a draft, by code; at most 200.
pub async fn list_codes(s: &mut Scoped) -> Stored<Vec<String>> {
    Ok(sqlx::query_scalar(
        "select protocol from protocol_draft where salon_id = $1 order by protocol limit 200",
    )
    .bind(s.salon.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Begins a draft; false when there is one.
pub async fn insert(s: &mut Scoped, protocol: &str, based_on: i32, body: &str, by: PersonId) -> Stored<bool> {
    Ok(sqlx::query(
        "insert into protocol_draft (salon_id, protocol, based_on, body, saved_by) values ($1,$2,$3,$4,$5) on conflict do nothing",
    )
    .bind(s.salon.0)
    .bind(protocol)
    .bind(based_on)
    .bind(body)
    .bind(by.0)
    .execute(&mut *s.tx)
    .await?
    .rows_affected()
        == 1)
}

/// Saves over the version that was seen; false when it is another by now.
pub async fn save(s: &mut Scoped, protocol: &str, version: i32, body: &str, by: PersonId) -> Stored<bool> {
    Ok(sqlx::query(
        "update protocol_draft set body = $4, version = version + 1, saved_at = rinsebell_now(), saved_by = $5
         where salon_id = $1 and protocol = $2 and version = $3",
    )
    .bind(s.salon.0)
    .bind(protocol)
    .bind(version)
    .bind(body)
    .bind(by.0)
    .execute(&mut *s.tx)
    .await?
    .rows_affected()
        == 1)
}

/// Takes the version that was seen away; false when it is another by now.
pub async fn remove(s: &mut Scoped, protocol: &str, version: i32) -> Stored<bool> {
    Ok(sqlx::query("delete from protocol_draft where salon_id = $1 and protocol = $2 and version = $3")
        .bind(s.salon.0)
        .bind(protocol)
        .bind(version)
        .execute(&mut *s.tx)
        .await?
        .rows_affected()
        == 1)
}
