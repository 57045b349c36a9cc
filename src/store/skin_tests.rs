//! Patch tests: placed, taken off, told, read.

use time::OffsetDateTime;

use super::{Scoped, Stored};
use crate::domain::ids::{ClientId, LotId, PersonId, ProductId, SkinTestId};

/// A patch test with the names its screen says.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct SkinTest {
    pub skin_test_id: i64,
    pub client_id: i64,
    pub product_id: i64,
    pub product_name: String,
    pub family: String,
    pub lot_code: String,
    /// The formula tested.
    pub formula: i16,
    /// The product's formula now: another one voids the test.
    pub formula_now: i16,
    pub place: String,
    pub placed_at: OffsetDateTime,
    pub placed_by: String,
    pub taken_off_at: Option<OffsetDateTime>,
    pub told_outcome: Option<String>,
    pub told_at: Option<OffsetDateTime>,
    pub read_at: Option<OffsetDateTime>,
    pub read_by: Option<String>,
    pub outcome: Option<String>,
}

/// The latest patch tests of a client, newest first, at most 50.
pub async fn list_by_client(s: &mut Scoped, client: ClientId) -> Stored<Vec<SkinTest>> {
    Ok(sqlx::query_as(
        "select t.skin_test_id, t.client_id, t.product_id, p.name as product_name, p.family, l.code as lot_code, t.formula, p.formula as formula_now,
            t.place, t.placed_at, a.name as placed_by, t.taken_off_at, t.told_outcome, t.told_at, t.read_at, b.name as read_by, t.outcome
         from skin_test t join product p using (salon_id, product_id) join lot l on l.salon_id = t.salon_id and l.lot_id = t.lot_id
           join person a on a.salon_id = t.salon_id and a.person_id = t.placed_by
           left join person b on b.salon_id = t.salon_id and b.person_id = t.read_by
         where t.salon_id = $1 and t.client_id = $2 order by t.placed_at desc, t.skin_test_id desc limit 50",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// One test of this client, locked for a change.
pub async fn lock(
    s: &mut Scoped,
    client: ClientId,
    id: SkinTestId,
) -> Stored<Option<(OffsetDateTime, bool, bool)>> {
    Ok(sqlx::query_as(
        "select placed_at, taken_off_at is not null, read_at is not null from skin_test
         where salon_id = $1 and client_id = $2 and skin_test_id = $3 for update",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(id.0)
    .fetch_optional(&mut *s.tx)
    .await?)
}

/// Places a test with the product's formula of now.
pub async fn insert(
    s: &mut Scoped,
    client: ClientId,
    (product, lot): (ProductId, LotId),
    place: &str,
    by: PersonId,
) -> Stored<SkinTestId> {
    let id: i64 = sqlx::query_scalar(
        "insert into skin_test (salon_id, client_id, product_id, lot_id, formula, place, placed_by)
         select $1, $2, product_id, $4, formula, $5, $6 from product where salon_id = $1 and product_id = $3 returning skin_test_id",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(product.0)
    .bind(lot.0)
    .bind(place)
    .bind(by.0)
    .fetch_one(&mut *s.tx)
    .await?;
    Ok(SkinTestId(id))
}

/// Taken off now.
pub async fn take_off(s: &mut Scoped, id: SkinTestId, by: PersonId) -> Stored<()> {
    sqlx::query("update skin_test set taken_off_at = rinsebell_now(), taken_off_by = $3 where salon_id = $1 and skin_test_id = $2")
        .bind(s.salon.0)
        .bind(id.0)
        .bind(by.0)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// What the client told by phone or photo.
pub async fn note_told(s: &mut Scoped, id: SkinTestId, outcome: &str) -> Stored<()> {
    sqlx::query("update skin_test set told_outcome = $3, told_at = rinsebell_now() where salon_id = $1 and skin_test_id = $2")
        .bind(s.salon.0)
        .bind(id.0)
        .bind(outcome)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// What was seen in the chair. Never changed afterwards.
pub async fn read(s: &mut Scoped, id: SkinTestId, outcome: &str, by: PersonId) -> Stored<()> {
    sqlx::query(
        "update skin_test set outcome = $3, read_at = rinsebell_now(), read_by = $4 where salon_id = $1 and skin_test_id = $2",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .bind(outcome)
    .bind(by.0)
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}
