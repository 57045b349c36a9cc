//! Words about health, kept apart from the chain that proves them.

use super::{Scoped, Stored};
use crate::domain::ids::ClientId;

/// Keeps words under a salt; gives the row's id.
pub async fn insert(s: &mut Scoped, client: ClientId, salt: &[u8; 16], body: &str) -> Stored<i64> {
    Ok(sqlx::query_scalar(
        "insert into answer (salon_id, client_id, salt, body) values ($1,$2,$3,$4) returning answer_id",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(&salt[..])
    .bind(body)
    .fetch_one(&mut *s.tx)
    .await?)
}

/// The words of one answer of this client; gone after an erasure.
pub async fn find(s: &mut Scoped, client: ClientId, id: i64) -> Stored<Option<String>> {
    Ok(sqlx::query_scalar(
        "select body from answer where salon_id = $1 and client_id = $2 and answer_id = $3",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(id)
    .fetch_optional(&mut *s.tx)
    .await?)
}
