//! Tests on hair: strand tests and metallic-salt tests.

use time::OffsetDateTime;

use super::{Scoped, Stored};
use crate::domain::ids::{ClientId, HairTestId, PersonId, ProductId};

/// A test on hair with the names its screen says.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct HairTest {
    pub hair_test_id: i64,
    /// strand or metallic-salt.
    pub kind: String,
    pub product_id: Option<i64>,
    pub product_name: Option<String>,
    pub formula: Option<i16>,
    pub formula_now: Option<i16>,
    /// worst-place or sound-place.
    pub place: String,
    pub minutes: f32,
    pub curl_formed: Option<bool>,
    pub wet_stretch: Option<String>,
    pub gummy: Option<bool>,
    pub salt_sign: Option<String>,
    pub passed: bool,
    pub done_at: OffsetDateTime,
    pub done_by: String,
}

/// The latest tests of a client, newest first, at most 50.
pub async fn list_by_client(s: &mut Scoped, client: ClientId) -> Stored<Vec<HairTest>> {
    Ok(sqlx::query_as(
        "select t.hair_test_id, t.kind, t.product_id, p.name as product_name, t.formula, p.formula as formula_now, t.place, t.minutes, t.curl_formed,
            t.wet_stretch, t.gummy, t.salt_sign, t.passed, t.done_at, d.name as done_by
         from hair_test t left join product p using (salon_id, product_id) join person d on d.salon_id = t.salon_id and d.person_id = t.done_by
         where t.salon_id = $1 and t.client_id = $2 order by t.done_at desc, t.hair_test_id desc limit 50",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// The latest metallic-salt test: passed or not, and when; none when never done.
pub async fn latest_metal(s: &mut Scoped, client: ClientId) -> Stored<Option<(bool, OffsetDateTime)>> {
    Ok(sqlx::query_as(
        "select passed, done_at from hair_test where salon_id = $1 and client_id = $2 and kind = 'metallic-salt'
         order by done_at desc, hair_test_id desc limit 1",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .fetch_optional(&mut *s.tx)
    .await?)
}

/// What a strand test showed.
#[derive(Clone, Copy, Debug)]
pub struct StrandSeen {
    pub curl_formed: bool,
    pub wet_stretch: &'static str,
    pub gummy: bool,
    pub passed: bool,
}

/// Keeps a strand test with the product's formula of now.
pub async fn insert_strand(
    s: &mut Scoped,
    client: ClientId,
    product: ProductId,
    (place, minutes): (&str, f32),
    seen: StrandSeen,
    by: PersonId,
) -> Stored<HairTestId> {
    let id: i64 = sqlx::query_scalar(
        "insert into hair_test (salon_id, client_id, kind, product_id, formula, place, minutes, curl_formed, wet_stretch, gummy, passed, done_by)
         select $1, $2, 'strand', product_id, formula, $4, $5, $6, $7, $8, $9, $10 from product where salon_id = $1 and product_id = $3
         returning hair_test_id",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(product.0)
    .bind(place)
    .bind(minutes)
    .bind(seen.curl_formed)
    .bind(seen.wet_stretch)
    .bind(seen.gummy)
    .bind(seen.passed)
    .bind(by.0)
    .fetch_one(&mut *s.tx)
    .await?;
    Ok(HairTestId(id))
}

/// Keeps a metallic-salt test.
pub async fn insert_metal(
    s: &mut Scoped,
    client: ClientId,
    (place, minutes): (&str, f32),
    (sign, passed): (&str, bool),
    by: PersonId,
) -> Stored<HairTestId> {
    let id: i64 = sqlx::query_scalar(
        "insert into hair_test (salon_id, client_id, kind, place, minutes, salt_sign, passed, done_by)
         values ($1, $2, 'metallic-salt', $3, $4, $5, $6, $7) returning hair_test_id",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(place)
    .bind(minutes)
    .bind(sign)
    .bind(passed)
    .bind(by.0)
    .fetch_one(&mut *s.tx)
    .await?;
    Ok(HairTestId(id))
}
