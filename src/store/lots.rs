//! Lots: what came in, what the law said of it, what is left. Where it went: `recall`.

use time::{Date, OffsetDateTime};

use super::{Scoped, Stored};
use crate::domain::ids::{LotId, PersonId, ProductId};

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
    pub withdrawn_reason: Option<String>,
    /// Stands apart, never dispensed.
    pub quarantined: bool,
    pub quarantine_reason: Option<String>,
    /// within, outside or not-judged.
    pub law_verdict: String,
    /// Grams left by the book: received, less dispensed, and what was noted.
    pub book_grams: f32,
}

impl Lot {
    /// Grams left by the book, never below 0.
    pub fn left_grams(&self) -> f32 {
        self.book_grams.max(0.0)
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

    /// True when it may be used on this day: not withdrawn, not in quarantine, in date, within its opened life.
    pub fn usable_on(&self, day: Date) -> bool {
        self.withdrawn_at.is_none() && !self.quarantined && self.last_day().is_none_or(|last| last >= day)
    }
}

/// Most lots a list reads.
pub const LIST_MOST: usize = 1000;

/// Lots of the salon, of one product when asked: those that may be used on that day first, opened before closed, then
/// those apart, out of date and out of use, newest first; at most [`LIST_MOST`], so that a long past hides no lot in use.
pub async fn list(s: &mut Scoped, product: Option<ProductId>, day: Date) -> Stored<Vec<Lot>> {
    list_some(s, product, day, LIST_MOST).await
}

/// The same, at most so many.
pub async fn list_some(
    s: &mut Scoped,
    product: Option<ProductId>,
    day: Date,
    most: usize,
) -> Stored<Vec<Lot>> {
    Ok(sqlx::query_as(
        "select l.lot_id, l.product_id, l.code, l.received_on, l.best_before, l.opened_on, l.opened_life_days, l.received_grams, l.withdrawn_at,
            l.withdrawn_reason, l.quarantined, l.quarantine_reason, l.law_verdict, rinsebell_lot_left(l.salon_id, l.lot_id) as book_grams
         from lot l where l.salon_id = $1 and ($2::bigint is null or l.product_id = $2)
         order by l.withdrawn_at is not null, l.quarantined,
           coalesce(l.best_before < $3, false) or coalesce(l.opened_on + l.opened_life_days < $3, false),
           l.opened_on is null, l.received_on desc, l.lot_id desc limit $4",
    )
    .bind(s.salon.0)
    .bind(product.map(|p| p.0))
    .bind(day)
    .bind(most as i64)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// One lot.
pub async fn find(s: &mut Scoped, id: LotId) -> Stored<Option<Lot>> {
    Ok(sqlx::query_as(
        "select l.lot_id, l.product_id, l.code, l.received_on, l.best_before, l.opened_on, l.opened_life_days, l.received_grams, l.withdrawn_at,
            l.withdrawn_reason, l.quarantined, l.quarantine_reason, l.law_verdict, rinsebell_lot_left(l.salon_id, l.lot_id) as book_grams
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

/// What was judged of a lot when it came in, and by whom.
#[derive(Clone, Debug, PartialEq)]
pub struct Judged {
    /// The lot's own contents, where they differ from the product's.
    pub contents: Option<serde_json::Value>,
    /// pH as measured, where it was.
    pub ph: Option<f32>,
    /// Where the salon stands: eu, uk, us.
    pub place: &'static str,
    /// within, outside or not-judged.
    pub verdict: &'static str,
    /// The checks in words, as shown.
    pub law: serde_json::Value,
    /// The words ticked as read on the label.
    pub label_seen: serde_json::Value,
    /// Why it stands apart; none: for use.
    pub quarantine_reason: Option<String>,
    pub by: PersonId,
}

/// A new lot.
pub async fn insert(s: &mut Scoped, product: ProductId, r: &Received, j: &Judged) -> Stored<LotId> {
    let id: i64 = sqlx::query_scalar(
        "insert into lot (salon_id, product_id, code, received_on, best_before, opened_on, opened_life_days, received_grams,
            contents, ph, place, law_verdict, law, label_seen, quarantined, quarantine_reason, judged_by)
         values ($1,$2,$3,$4,$5,$6,$7,$8,$9,$10,$11,$12,$13,$14,$15::text is not null,$15,$16) returning lot_id",
    )
    .bind(s.salon.0)
    .bind(product.0)
    .bind(&r.code)
    .bind(r.received_on)
    .bind(r.best_before)
    .bind(r.opened_on)
    .bind(r.opened_life_days)
    .bind(r.received_grams)
    .bind(&j.contents)
    .bind(j.ph)
    .bind(j.place)
    .bind(j.verdict)
    .bind(&j.law)
    .bind(&j.label_seen)
    .bind(&j.quarantine_reason)
    .bind(j.by.0)
    .fetch_one(&mut *s.tx)
    .await?;
    Ok(LotId(id))
}

/// Judges a lot anew, for use or apart: the judgement is kept, the lot follows it.
pub async fn judge(s: &mut Scoped, id: LotId, j: &Judged, why: &str) -> Stored<()> {
    sqlx::query(
        "insert into lot_judgement (salon_id, lot_id, contents, ph, place, law_verdict, law, label_seen, quarantine_reason, judged_by, why)
         values ($1,$2,$3,$4,$5,$6,$7,$8,$9,$10,$11)",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .bind(&j.contents)
    .bind(j.ph)
    .bind(j.place)
    .bind(j.verdict)
    .bind(&j.law)
    .bind(&j.label_seen)
    .bind(&j.quarantine_reason)
    .bind(j.by.0)
    .bind(why)
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}

/// A judgement on record.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct JudgedAnew {
    pub judged_at: OffsetDateTime,
    pub judged_by: String,
    pub why: String,
    /// within, outside or not-judged.
    pub law_verdict: String,
    pub quarantine_reason: Option<String>,
    pub out_of_quarantine: bool,
}

/// How a lot was judged anew, newest first, at most 100.
pub async fn list_judgements(s: &mut Scoped, id: LotId) -> Stored<Vec<JudgedAnew>> {
    Ok(sqlx::query_as(
        "select j.judged_at, p.name as judged_by, j.why, j.law_verdict, j.quarantine_reason, j.out_of_quarantine
         from lot_judgement j join person p on p.salon_id = j.salon_id and p.person_id = j.judged_by
         where j.salon_id = $1 and j.lot_id = $2 order by j.lot_judgement_id desc limit 100",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// What was judged when a lot came in.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Judgement {
    pub contents: Option<serde_json::Value>,
    pub ph: Option<f32>,
    pub place: Option<String>,
    pub law: serde_json::Value,
    pub label_seen: serde_json::Value,
    pub judged_at: Option<OffsetDateTime>,
    pub judged_by: Option<String>,
    pub withdrawn_by: Option<String>,
}

/// The judgement of one lot.
pub async fn find_judgement(s: &mut Scoped, id: LotId) -> Stored<Option<Judgement>> {
    Ok(sqlx::query_as(
        "select l.contents, l.ph, l.place, l.law, l.label_seen, l.judged_at, j.name as judged_by, w.name as withdrawn_by
         from lot l left join person j on j.salon_id = l.salon_id and j.person_id = l.judged_by
           left join person w on w.salon_id = l.salon_id and w.person_id = l.withdrawn_by
         where l.salon_id = $1 and l.lot_id = $2",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .fetch_optional(&mut *s.tx)
    .await?)
}

/// Lots whose code is this one, whatever its case, newest first, at most 20; of one product when asked.
pub async fn list_by_code(s: &mut Scoped, code: &str, product: Option<ProductId>) -> Stored<Vec<(i64, i64)>> {
    Ok(sqlx::query_as(
        "select lot_id, product_id from lot where salon_id = $1 and lower(code) = lower($2) and ($3::bigint is null or product_id = $3)
         order by received_on desc, lot_id desc limit 20",
    )
    .bind(s.salon.0)
    .bind(code)
    .bind(product.map(|p| p.0))
    .fetch_all(&mut *s.tx)
    .await?)
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
pub async fn withdraw(s: &mut Scoped, id: LotId, reason: &str, by: PersonId) -> Stored<()> {
    sqlx::query(
        "update lot set withdrawn_at = rinsebell_now(), withdrawn_reason = $3, withdrawn_by = $4
         where salon_id = $1 and lot_id = $2 and withdrawn_at is null",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .bind(reason)
    .bind(by.0)
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}
