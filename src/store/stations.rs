//! Shared browsers, paired once by a manager.

use sqlx::PgPool;

use super::{Scoped, Stored};
use crate::domain::ids::{SalonId, StationId};

/// A station as listed.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Station {
    pub station_id: i64,
    pub name: String,
    pub kind: String,
    pub paired: bool,
    pub revoked: bool,
}

/// All stations by name; at most 100.
pub async fn list(s: &mut Scoped) -> Stored<Vec<Station>> {
    Ok(sqlx::query_as(
        "select station_id, name, kind, token_hash is not null as paired, revoked_at is not null as revoked
         from station where salon_id = $1 order by revoked_at is not null, name limit 100",
    )
    .bind(s.salon.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// The station a token belongs to, unless revoked.
pub async fn find_by_token(s: &mut Scoped, token_hash: &[u8]) -> Stored<Option<Station>> {
    Ok(sqlx::query_as(
        "select station_id, name, kind, true as paired, false as revoked
         from station where salon_id = $1 and token_hash = $2 and revoked_at is null",
    )
    .bind(s.salon.0)
    .bind(token_hash)
    .fetch_optional(&mut *s.tx)
    .await?)
}

/// A new station waiting for its browser.
pub async fn insert(s: &mut Scoped, name: &str, kind: &str) -> Stored<StationId> {
    let id: i64 = sqlx::query_scalar(
        "insert into station (salon_id, name, kind) values ($1,$2,$3) returning station_id",
    )
    .bind(s.salon.0)
    .bind(name)
    .bind(kind)
    .fetch_one(&mut *s.tx)
    .await?;
    Ok(StationId(id))
}

/// Opens pairing for ten minutes by the hash of a one-time code.
pub async fn open_pairing(s: &mut Scoped, id: StationId, code_hash: &[u8]) -> Stored<()> {
    sqlx::query(
        "update station set pairing_hash = $3, pairing_until = rinsebell_now() + interval '10 minutes', revoked_at = null
         where salon_id = $1 and station_id = $2",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .bind(code_hash)
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}

/// Which station a pairing code opens (asked before a salon is known).
pub async fn find_pairing(pool: &PgPool, code_hash: &[u8]) -> Stored<Option<(SalonId, StationId)>> {
    let row: Option<(i64, i64)> = sqlx::query_as("select salon_id, station_id from rinsebell_pairing($1)")
        .bind(code_hash)
        .fetch_optional(pool)
        .await?;
    Ok(row.map(|(a, b)| (SalonId(a), StationId(b))))
}

/// Pairs the browser that holds the token; the code is used up, an older browser's token is gone.
pub async fn pair(s: &mut Scoped, id: StationId, token_hash: &[u8]) -> Stored<()> {
    sqlx::query(
        "update station set token_hash = $3, paired_at = rinsebell_now(), revoked_at = null, pairing_hash = null, pairing_until = null
         where salon_id = $1 and station_id = $2",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .bind(token_hash)
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}

/// Revokes a station: its browser is a stranger from now on.
pub async fn revoke(s: &mut Scoped, id: StationId) -> Stored<()> {
    sqlx::query("update station set revoked_at = rinsebell_now(), token_hash = null, pairing_hash = null where salon_id = $1 and station_id = $2")
        .bind(s.salon.0)
        .bind(id.0)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// One station, revoked or not.
pub async fn find(s: &mut Scoped, id: StationId) -> Stored<Option<Station>> {
    Ok(sqlx::query_as(
        "select station_id, name, kind, token_hash is not null as paired, revoked_at is not null as revoked
         from station where salon_id = $1 and station_id = $2",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .fetch_optional(&mut *s.tx)
    .await?)
}

/// Another name or stand.
pub async fn change(s: &mut Scoped, id: StationId, name: &str, kind: &str) -> Stored<()> {
    sqlx::query("update station set name = $3, kind = $4 where salon_id = $1 and station_id = $2")
        .bind(s.salon.0)
        .bind(id.0)
        .bind(name)
        .bind(kind)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}
