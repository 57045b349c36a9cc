//! Consents: the words as shown and who signed them.

use time::OffsetDateTime;

use super::{Scoped, Stored};
use crate::domain::ids::{ClientId, PersonId, StationId};

/// A consent as kept.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Consent {
    pub consent_id: i64,
    /// Word for word as shown.
    pub words: String,
    pub signed_name: String,
    /// client or guardian.
    pub signer: String,
    /// True when the signature was drawn.
    pub drawn: bool,
    pub witnessed_by: i64,
    pub signed_at: OffsetDateTime,
}

/// The latest consent.
pub async fn latest(s: &mut Scoped, client: ClientId) -> Stored<Option<Consent>> {
    Ok(sqlx::query_as(
        "select consent_id, words, signed_name, signer, drawing is not null as drawn, witnessed_by, signed_at
         from consent where salon_id = $1 and client_id = $2 order by signed_at desc, consent_id desc limit 1",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .fetch_optional(&mut *s.tx)
    .await?)
}

/// The drawn signature of one consent of this client, a PNG.
pub async fn find_drawing(s: &mut Scoped, client: ClientId, consent_id: i64) -> Stored<Option<Vec<u8>>> {
    let found: Option<Option<Vec<u8>>> = sqlx::query_scalar(
        "select drawing from consent where salon_id = $1 and client_id = $2 and consent_id = $3",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(consent_id)
    .fetch_optional(&mut *s.tx)
    .await?;
    Ok(found.flatten())
}

/// What is signed.
pub struct Signed<'a> {
    pub words: &'a str,
    pub name: &'a str,
    pub drawing: Option<&'a [u8]>,
    /// True when a guardian signs.
    pub by_guardian: bool,
    pub station: Option<StationId>,
    pub witness: PersonId,
}

/// Keeps a consent.
pub async fn insert(s: &mut Scoped, client: ClientId, c: &Signed<'_>) -> Stored<i64> {
    Ok(sqlx::query_scalar(
        "insert into consent (salon_id, client_id, words, signed_name, drawing, signer, station_id, witnessed_by)
         values ($1,$2,$3,$4,$5,$6,$7,$8) returning consent_id",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(c.words)
    .bind(c.name)
    .bind(c.drawing)
    .bind(if c.by_guardian { "guardian" } else { "client" })
    .bind(c.station.map(|x| x.0))
    .bind(c.witness.0)
    .fetch_one(&mut *s.tx)
    .await?)
}
