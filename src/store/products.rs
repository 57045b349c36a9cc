//! Products with the times of their own sheets.

use time::OffsetDateTime;

use super::{Scoped, Stored};
use crate::domain::ids::{PersonId, ProductId};

/// A product.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Product {
    pub product_id: i64,
    pub name: String,
    pub family: String,
    /// straightener, lotion, neutraliser, normaliser, colour, lightener, other.
    pub use_as: String,
    pub form: String,
    pub strength: String,
    /// `[{"ingredient": code, "percent": number}]`.
    pub contents: serde_json::Value,
    pub ph: Option<f32>,
    pub base: String,
    pub skin_test: String,
    pub sheet_forbids_closing_after_stop: bool,
    /// Counts the formulas; a new one voids patch tests.
    pub formula: i16,
    pub retired_at: Option<OffsetDateTime>,
    pub version: i32,
    /// 14 digits, where one is printed.
    pub gtin: Option<String>,
    /// Grams below which it is low.
    pub low_grams: f32,
    /// Minutes a mixture of it may be used, by its sheet.
    pub mixed_life_min: Option<i16>,
}

/// What a product says when written.
#[derive(Clone, Debug, PartialEq)]
pub struct Record {
    pub name: String,
    pub family: &'static str,
    pub use_as: &'static str,
    pub form: &'static str,
    pub strength: &'static str,
    pub contents: serde_json::Value,
    pub ph: Option<f32>,
    pub base: &'static str,
    pub skin_test: &'static str,
    pub sheet_forbids_closing_after_stop: bool,
    pub gtin: Option<String>,
    pub low_grams: f32,
    pub mixed_life_min: Option<i16>,
    /// What it is mixed with, one of these for a head.
    pub parts: Vec<ProductId>,
}

/// The sheet's minutes of one clock.
#[derive(Clone, Debug, PartialEq, sqlx::FromRow)]
pub struct Times {
    /// phase or exposure.
    pub clock: String,
    pub target_min: f32,
    pub least_min: Option<f32>,
    pub most_min: f32,
    /// first-touch, last-rod or cover.
    pub counts_from: String,
    /// any, fine, medium or coarse: for which hair.
    pub hair: String,
}

/// Every product by name, those put away last; at most 500.
pub async fn list(s: &mut Scoped) -> Stored<Vec<Product>> {
    Ok(sqlx::query_as(
        "select product_id, name, family, use_as, form, strength, contents, ph, base, skin_test, sheet_forbids_closing_after_stop, formula, retired_at, version, gtin, low_grams, mixed_life_min
         from product where salon_id = $1 order by retired_at is not null, name limit 500",
    )
    .bind(s.salon.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// One product.
pub async fn find(s: &mut Scoped, id: ProductId) -> Stored<Option<Product>> {
    Ok(sqlx::query_as(
        "select product_id, name, family, use_as, form, strength, contents, ph, base, skin_test, sheet_forbids_closing_after_stop, formula, retired_at, version, gtin, low_grams, mixed_life_min
         from product where salon_id = $1 and product_id = $2",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .fetch_optional(&mut *s.tx)
    .await?)
}

/// The product of a GTIN.
pub async fn find_by_gtin(s: &mut Scoped, gtin: &str) -> Stored<Option<ProductId>> {
    let id: Option<i64> =
        sqlx::query_scalar("select product_id from product where salon_id = $1 and gtin = $2")
            .bind(s.salon.0)
            .bind(gtin)
            .fetch_optional(&mut *s.tx)
            .await?;
    Ok(id.map(ProductId))
}

/// The sheet's times: a row a clock and kind of hair, the general one first.
pub async fn times(s: &mut Scoped, id: ProductId) -> Stored<Vec<Times>> {
    Ok(sqlx::query_as(
        "select clock, target_min, least_min, most_min, counts_from, hair from product_time where salon_id = $1 and product_id = $2
         order by clock, array_position(array['any', 'fine', 'medium', 'coarse'], hair) limit 8",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// A new product.
pub async fn insert(s: &mut Scoped, r: &Record) -> Stored<ProductId> {
    let id: i64 = sqlx::query_scalar(
        "insert into product (salon_id, name, family, use_as, form, strength, contents, ph, base, skin_test, sheet_forbids_closing_after_stop, gtin, low_grams, mixed_life_min)
         values ($1,$2,$3,$4,$5,$6,$7,$8,$9,$10,$11,$12,$13,$14) returning product_id",
    )
    .bind(s.salon.0)
    .bind(&r.name)
    .bind(r.family)
    .bind(r.use_as)
    .bind(r.form)
    .bind(r.strength)
    .bind(&r.contents)
    .bind(r.ph)
    .bind(r.base)
    .bind(r.skin_test)
    .bind(r.sheet_forbids_closing_after_stop)
    .bind(&r.gtin)
    .bind(r.low_grams)
    .bind(r.mixed_life_min)
    .fetch_one(&mut *s.tx)
    .await?;
    set_parts(s, ProductId(id), &r.parts).await?;
    Ok(ProductId(id))
}

/// Changes a product that still has this version; `new_formula` counts the formula on and so voids its
/// patch tests. Family and use never change: that is another product. False when somebody was first.
pub async fn update(
    s: &mut Scoped,
    id: ProductId,
    version: i32,
    r: &Record,
    new_formula: bool,
) -> Stored<bool> {
    let done = sqlx::query(
        "update product set name = $4, form = $5, strength = $6, contents = $7, ph = $8, base = $9, skin_test = $10,
            sheet_forbids_closing_after_stop = $11, gtin = $13, low_grams = $14, mixed_life_min = $15, formula = formula + case when $12 then 1 else 0 end, version = version + 1
         where salon_id = $1 and product_id = $2 and version = $3",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .bind(version)
    .bind(&r.name)
    .bind(r.form)
    .bind(r.strength)
    .bind(&r.contents)
    .bind(r.ph)
    .bind(r.base)
    .bind(r.skin_test)
    .bind(r.sheet_forbids_closing_after_stop)
    .bind(new_formula)
    .bind(&r.gtin)
    .bind(r.low_grams)
    .bind(r.mixed_life_min)
    .execute(&mut *s.tx)
    .await?;
    let first = done.rows_affected() == 1;
    if first {
        set_parts(s, id, &r.parts).await?;
    }
    Ok(first)
}

/// What a product is mixed with, by name: id and name; at most 60.
pub async fn list_parts(s: &mut Scoped, id: ProductId) -> Stored<Vec<(i64, String)>> {
    Ok(sqlx::query_as(
        "select p.product_id, p.name from product_part x join product p on p.salon_id = x.salon_id and p.product_id = x.part_product_id
         where x.salon_id = $1 and x.product_id = $2 and x.taken_out_at is null order by p.name limit 60",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Sets what a product is mixed with; what is no longer named is taken out and stays on record.
pub async fn set_parts(s: &mut Scoped, id: ProductId, parts: &[ProductId]) -> Stored<()> {
    let parts: Vec<i64> = parts.iter().map(|p| p.0).collect();
    sqlx::query(
        "update product_part set taken_out_at = rinsebell_now() where salon_id = $1 and product_id = $2 and taken_out_at is null
           and not part_product_id = any ($3)",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .bind(&parts)
    .execute(&mut *s.tx)
    .await?;
    sqlx::query(
        "insert into product_part (salon_id, product_id, part_product_id) select $1, $2, x from unnest($3::bigint[]) x
         on conflict (salon_id, product_id, part_product_id) do update set taken_out_at = null",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .bind(&parts)
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}

/// Puts a product away, or takes it up again.
pub async fn set_retired(s: &mut Scoped, id: ProductId, retired: bool) -> Stored<()> {
    sqlx::query(
        "update product set retired_at = case when $3 then coalesce(retired_at, rinsebell_now()) end, version = version + 1
         where salon_id = $1 and product_id = $2",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .bind(retired)
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}

/// Enters the sheet's minutes of one clock and kind of hair, in place of what stood there. Refused with RB010 when
/// weaker hair would be given longer than stronger.
pub async fn set_times(s: &mut Scoped, id: ProductId, t: &Times, by: PersonId) -> Stored<()> {
    sqlx::query(
        "insert into product_time (salon_id, product_id, clock, target_min, least_min, most_min, counts_from, entered_by, entered_at, hair)
         values ($1,$2,$3,$4,$5,$6,$7,$8, rinsebell_now(), $9)
         on conflict (salon_id, product_id, clock, hair) do update set target_min = excluded.target_min, least_min = excluded.least_min,
           most_min = excluded.most_min, counts_from = excluded.counts_from, entered_by = excluded.entered_by, entered_at = excluded.entered_at",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .bind(&t.clock)
    .bind(t.target_min)
    .bind(t.least_min)
    .bind(t.most_min)
    .bind(&t.counts_from)
    .bind(by.0)
    .bind(&t.hair)
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}
