//! Forms sent twice act once.

use super::{Scoped, Stored};

/// Claims a key for this act. `None`: the key is new, act. `Some(location)`: acted before, answer the same.
/// A second request with the same key waits here until the first has committed or gone.
pub async fn claim(s: &mut Scoped, key: &str, path: &str) -> Stored<Option<String>> {
    let fresh = sqlx::query(
        "insert into idempotency (salon_id, key, path) values ($1, $2::text::uuid, $3) on conflict do nothing",
    )
    .bind(s.salon.0)
    .bind(key)
    .bind(path)
    .execute(&mut *s.tx)
    .await?
    .rows_affected()
        == 1;
    if fresh {
        return Ok(None);
    }
    let location: Option<Option<String>> =
        sqlx::query_scalar("select location from idempotency where salon_id = $1 and key = $2::text::uuid")
            .bind(s.salon.0)
            .bind(key)
            .fetch_optional(&mut *s.tx)
            .await?;
    Ok(Some(location.flatten().unwrap_or_else(|| "/".to_string())))
}

/// Keeps where the act's answer lies, in the act's own transaction.
pub async fn settle(s: &mut Scoped, key: &str, location: &str) -> Stored<()> {
    sqlx::query("update idempotency set location = $3 where salon_id = $1 and key = $2::text::uuid")
        .bind(s.salon.0)
        .bind(key)
        .bind(location)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// Forgets keys older than two days; a form is not resent after that.
pub async fn sweep(s: &mut Scoped) -> Stored<u64> {
    Ok(sqlx::query(
        "delete from idempotency where salon_id = $1 and made_at < rinsebell_now() - interval '2 days'",
    )
    .bind(s.salon.0)
    .execute(&mut *s.tx)
    .await?
    .rows_affected())
}
