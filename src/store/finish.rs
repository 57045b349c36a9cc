//! What a finished run leaves behind: exposures and trims in the strand, the aftercare sheet.

use time::{Date, OffsetDateTime};

use super::{Scoped, Stored};
use crate::domain::ids::{ClientId, PersonId, RunId};

/// Writes a trim into the strand.
pub async fn append_trim(
    s: &mut Scoped,
    client: ClientId,
    run: RunId,
    by: PersonId,
    on: Date,
    mm: f64,
) -> Stored<()> {
    sqlx::query(
        "insert into strand_event (salon_id, client_id, seq, on_day, did, mm, run_id, recorded_by)
         select $1, $2, coalesce(max(seq), 0) + 1, $3, 'trim', $4, $5, $6
         from strand_event where salon_id = $1 and client_id = $2",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(on)
    .bind(mm)
    .bind(run.0)
    .bind(by.0)
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}

/// Keeps the aftercare words given, once.
pub async fn insert_aftercare(s: &mut Scoped, run: RunId, words: &str) -> Stored<()> {
    sqlx::query("insert into aftercare (salon_id, run_id, words) values ($1,$2,$3) on conflict do nothing")
        .bind(s.salon.0)
        .bind(run.0)
        .bind(words)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// The aftercare words of a run, with the instant they were given.
pub async fn find_aftercare(s: &mut Scoped, run: RunId) -> Stored<Option<(String, OffsetDateTime)>> {
    Ok(sqlx::query_as("select words, given_at from aftercare where salon_id = $1 and run_id = $2")
        .bind(s.salon.0)
        .bind(run.0)
        .fetch_optional(&mut *s.tx)
        .await?)
}
