//! Grams that went on no head, or were found by counting. Kept, never changed.

use time::OffsetDateTime;

use super::{Scoped, Stored};
use crate::domain::ids::{LotId, PersonId, RunId};

/// A line of a lot's stock record.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct StockNote {
    pub noted_at: OffsetDateTime,
    pub noted_by: String,
    /// thrown-away, spilled, counted, more-than-the-book.
    pub kind: String,
    /// What the book gained; negative where it lost.
    pub change_grams: f32,
    pub counted_grams: Option<f32>,
    pub reason: String,
    pub run_id: Option<i64>,
}

/// The stock record of a lot, newest first, at most 200.
pub async fn list_by_lot(s: &mut Scoped, id: LotId) -> Stored<Vec<StockNote>> {
    Ok(sqlx::query_as(
        "select n.noted_at, p.name as noted_by, n.kind, n.change_grams, n.counted_grams, n.reason, n.run_id
         from stock_note n join person p on p.salon_id = n.salon_id and p.person_id = n.noted_by
         where n.salon_id = $1 and n.lot_id = $2 order by n.noted_at desc, n.stock_note_id desc limit 200",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// What a service's bowls took beyond the book: lot and grams; at most 50.
pub async fn list_by_run(s: &mut Scoped, run: RunId) -> Stored<Vec<(i64, f32)>> {
    Ok(sqlx::query_as("select lot_id, change_grams from stock_note where salon_id = $1 and run_id = $2 order by stock_note_id limit 50")
        .bind(s.salon.0)
        .bind(run.0)
        .fetch_all(&mut *s.tx)
        .await?)
}

/// Keeps a line. For a count `grams` is what is there now, the change is the database's to reckon; else grams are lost.
pub async fn insert(
    s: &mut Scoped,
    id: LotId,
    kind: &str,
    grams: f32,
    reason: &str,
    by: PersonId,
) -> Stored<()> {
    let counted = (kind == "counted").then_some(grams);
    sqlx::query(
        "insert into stock_note (salon_id, lot_id, noted_by, kind, change_grams, counted_grams, reason) values ($1,$2,$3,$4,$5,$6,$7)",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .bind(by.0)
    .bind(kind)
    .bind(if counted.is_some() { 0.0 } else { -grams })
    .bind(counted)
    .bind(reason)
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}
