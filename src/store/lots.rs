//! Lots: what came in, what is left of it, where it went.

use time::{Date, OffsetDateTime};

use super::{Scoped, Stored};
use crate::domain::ids::{LotId, ProductId};

/// A lot with what is left of it.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Lot {
    pub lot_id: i64,
    pub product_id: i64,
    pub code: String,
    pub received_on: Date,
    pub best_before: Option<Date>,
    pub opened_on: Option<Date>,
    pub opened_life_days: Option<i16>,
    pub received_grams: f32,
    pub withdrawn_at: Option<OffsetDateTime>,
    /// Grams dispensed so far.
    pub dispensed_grams: f32,
}

impl Lot {
    /// Grams left by the book, never below 0.
    pub fn left_grams(&self) -> f32 {
        (self.received_grams - self.dispensed_grams).max(0.0)
    }

    /// The last day it may be used, where one is known.
    pub fn last_day(&self) -> Option<Date> {
        let opened = self
            .opened_on
            .zip(self.opened_life_days)
            .and_then(|(on, days)| on.checked_add(time::Duration::days(i64::from(days))));
        match (self.best_before, opened) {
            (Some(a), Some(b)) => Some(a.min(b)),
            (a, b) => a.or(b),
        }
    }

    /// True when it may be used on this day: not withdrawn, in date, within its opened life.
    pub fn usable_on(&self, day: Date) -> bool {
        self.withdrawn_at.is_none() && self.last_day().is_none_or(|last| last >= day)
    }
}

/// Lots of the salon, newest first, at most 1000; of one product when asked.
pub async fn list(s: &mut Scoped, product: Option<ProductId>) -> Stored<Vec<Lot>> {
    Ok(sqlx::query_as(
        "select l.lot_id, l.product_id, l.code, l.received_on, l.best_before, l.opened_on, l.opened_life_days, l.received_grams, l.withdrawn_at,
            coalesce((select sum(d.grams) from dispensed d where d.salon_id = l.salon_id and d.lot_id = l.lot_id), 0)::real as dispensed_grams
         from lot l where l.salon_id = $1 and ($2::bigint is null or l.product_id = $2) order by l.received_on desc, l.lot_id desc limit 1000",
    )
    .bind(s.salon.0)
    .bind(product.map(|p| p.0))
    .fetch_all(&mut *s.tx)
    .await?)
}

/// One lot.
pub async fn find(s: &mut Scoped, id: LotId) -> Stored<Option<Lot>> {
    Ok(sqlx::query_as(
        "select l.lot_id, l.product_id, l.code, l.received_on, l.best_before, l.opened_on, l.opened_life_days, l.received_grams, l.withdrawn_at,
            coalesce((select sum(d.grams) from dispensed d where d.salon_id = l.salon_id and d.lot_id = l.lot_id), 0)::real as dispensed_grams
         from lot l where l.salon_id = $1 and l.lot_id = $2",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .fetch_optional(&mut *s.tx)
    .await?)
}

/// A lot as received.
#[derive(Clone, Debug, PartialEq)]
pub struct Received {
    pub code: String,
    pub received_on: Date,
    pub best_before: Option<Date>,
    pub opened_on: Option<Date>,
    pub opened_life_days: Option<i16>,
    pub received_grams: f32,
}

/// A new lot.
pub async fn insert(s: &mut Scoped, product: ProductId, r: &Received) -> Stored<LotId> {
    let id: i64 = sqlx::query_scalar(
        "insert into lot (salon_id, product_id, code, received_on, best_before, opened_on, opened_life_days, received_grams)
         values ($1,$2,$3,$4,$5,$6,$7,$8) returning lot_id",
    )
    .bind(s.salon.0)
    .bind(product.0)
    .bind(&r.code)
    .bind(r.received_on)
    .bind(r.best_before)
    .bind(r.opened_on)
    .bind(r.opened_life_days)
    .bind(r.received_grams)
    .fetch_one(&mut *s.tx)
    .await?;
    Ok(LotId(id))
}

/// Opened on a day (the first time counts).
pub async fn open(s: &mut Scoped, id: LotId, on: Date) -> Stored<()> {
    sqlx::query("update lot set opened_on = coalesce(opened_on, $3) where salon_id = $1 and lot_id = $2")
        .bind(s.salon.0)
        .bind(id.0)
        .bind(on)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// Taken out of use, for good.
pub async fn withdraw(s: &mut Scoped, id: LotId) -> Stored<()> {
    sqlx::query(
        "update lot set withdrawn_at = coalesce(withdrawn_at, rinsebell_now()) where salon_id = $1 and lot_id = $2",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}

/// Somebody a lot was used on.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Went {
    pub run_id: i64,
    pub client_id: i64,
    pub client_name: String,
    pub phone: String,
    pub started_at: OffsetDateTime,
    pub grams: f32,
}

/// Where a lot went, newest first, at most 500.
pub async fn list_went(s: &mut Scoped, id: LotId) -> Stored<Vec<Went>> {
    Ok(sqlx::query_as(
        "select r.run_id, r.client_id, c.name as client_name, c.phone, r.started_at, sum(d.grams)::real as grams
         from dispensed d join run r using (salon_id, run_id) join client c on c.salon_id = r.salon_id and c.client_id = r.client_id
         where d.salon_id = $1 and d.lot_id = $2 group by r.run_id, r.client_id, c.name, c.phone, r.started_at
         order by r.started_at desc, r.run_id desc limit 500",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Patch tests made with a lot: client, name, phone, placed; newest first, at most 500.
pub async fn list_tested(s: &mut Scoped, id: LotId) -> Stored<Vec<(i64, String, String, OffsetDateTime)>> {
    Ok(sqlx::query_as(
        "select c.client_id, c.name, c.phone, t.placed_at from skin_test t join client c using (salon_id, client_id)
         where t.salon_id = $1 and t.lot_id = $2 order by t.placed_at desc limit 500",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .fetch_all(&mut *s.tx)
    .await?)
}
