//! Tests on hair: strand tests and metallic-salt tests.

use time::OffsetDateTime;

use super::{Scoped, Stored};
use crate::domain::ids::{ClientId, HairTestId, LotId, PersonId, ProductId};

/// A test on hair with the names its screen says.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct HairTest {
    pub hair_test_id: i64,
    /// strand or metallic-salt.
    pub kind: String,
    pub product_id: Option<i64>,
    pub product_name: Option<String>,
    pub lot_code: Option<String>,
    pub strength: Option<String>,
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
        "select t.hair_test_id, t.kind, t.product_id, p.name as product_name, l.code as lot_code, t.strength, t.formula, p.formula as formula_now, t.place, t.minutes, t.curl_formed,
            t.wet_stretch, t.gummy, t.salt_sign, t.passed, t.done_at, d.name as done_by
         from hair_test t left join product p using (salon_id, product_id) left join lot l on l.salon_id = t.salon_id and l.lot_id = t.lot_id
           join person d on d.salon_id = t.salon_id and d.person_id = t.done_by
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

/// Minutes of the strand test a service with this product begins from: the newest of the worst place that passed with
/// this formula, within 14 days, nothing failed or put on since (what the guard of a start asks as well).
pub async fn find_minutes(s: &mut Scoped, client: ClientId, product: ProductId) -> Stored<Option<f32>> {
    Ok(sqlx::query_scalar(
        "select h.minutes from hair_test h join product p using (salon_id, product_id) join salon z on z.salon_id = h.salon_id
         where h.salon_id = $1 and h.client_id = $2 and h.kind = 'strand' and h.product_id = $3 and h.formula = p.formula
           and h.place = 'worst-place' and h.passed and h.done_at >= rinsebell_now() - interval '14 days'
           and not exists (select 1 from hair_test w where w.salon_id = h.salon_id and w.client_id = h.client_id and w.kind = 'strand'
             and w.product_id = h.product_id and not w.passed and w.done_at >= h.done_at)
           and not exists (select 1 from strand_event e where e.salon_id = h.salon_id and e.client_id = h.client_id and e.did = 'apply'
             and e.recorded_at > h.done_at and (e.known = 'recorded' or e.on_day >= (h.done_at at time zone z.zone)::date))
         order by h.done_at desc, h.hair_test_id desc limit 1",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(product.0)
    .fetch_optional(&mut *s.tx)
    .await?)
}

/// Keeps a strand test with the product's formula and strength of now.
pub async fn insert_strand(
    s: &mut Scoped,
    client: ClientId,
    (product, lot): (ProductId, Option<LotId>),
    (place, minutes): (&str, f32),
    seen: StrandSeen,
    by: PersonId,
) -> Stored<HairTestId> {
    let id: i64 = sqlx::query_scalar(
        "insert into hair_test (salon_id, client_id, kind, product_id, formula, place, minutes, curl_formed, wet_stretch, gummy, passed, done_by, lot_id)
         select $1, $2, 'strand', product_id, formula, $4, $5, $6, $7, $8, $9, $10, $11 from product where salon_id = $1 and product_id = $3
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
    .bind(lot.map(|l| l.0))
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
