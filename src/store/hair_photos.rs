//! Photos of strand tests: one query reads a picture, one takes it away.

use time::OffsetDateTime;

use super::{Scoped, Stored};
use crate::domain::ids::{ClientId, HairTestId, PersonId};

/// A picture as it is kept: JPEG, redrawn by the program.
#[derive(Clone, Debug)]
pub struct Kept {
    pub jpeg: Vec<u8>,
    pub width_px: i16,
    pub height_px: i16,
    /// client or guardian.
    pub agreed_by: &'static str,
    pub asked_by: PersonId,
}

/// Keeps the picture of a test. A test has one.
pub async fn insert(s: &mut Scoped, test: HairTestId, k: &Kept) -> Stored<()> {
    sqlx::query(
        "insert into hair_photo (salon_id, hair_test_id, jpeg, width_px, height_px, agreed_by, asked_by) values ($1,$2,$3,$4,$5,$6,$7)",
    )
    .bind(s.salon.0)
    .bind(test.0)
    .bind(&k.jpeg)
    .bind(k.width_px)
    .bind(k.height_px)
    .bind(k.agreed_by)
    .bind(k.asked_by.0)
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}

/// The picture of a test of this client; none when there is none, or it was taken back.
pub async fn find_jpeg(s: &mut Scoped, client: ClientId, test: HairTestId) -> Stored<Option<Vec<u8>>> {
    let found: Option<Option<Vec<u8>>> = sqlx::query_scalar(
        "select p.jpeg from hair_photo p join hair_test t using (salon_id, hair_test_id)
         where p.salon_id = $1 and p.hair_test_id = $2 and t.client_id = $3",
    )
    .bind(s.salon.0)
    .bind(test.0)
    .bind(client.0)
    .fetch_optional(&mut *s.tx)
    .await?;
    Ok(found.flatten())
}

/// Erases a picture because the consent was taken back; false when there was none left.
pub async fn erase(s: &mut Scoped, client: ClientId, test: HairTestId, by: PersonId) -> Stored<bool> {
    let done = sqlx::query(
        "update hair_photo p set jpeg = null, taken_back_at = rinsebell_now(), taken_back_noted_by = $4
         where p.salon_id = $1 and p.hair_test_id = $2 and p.jpeg is not null and exists
           (select 1 from hair_test t where t.salon_id = p.salon_id and t.hair_test_id = p.hair_test_id and t.client_id = $3)",
    )
    .bind(s.salon.0)
    .bind(test.0)
    .bind(client.0)
    .bind(by.0)
    .execute(&mut *s.tx)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Who agreed to a picture, and whether it was taken back.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Photo {
    pub hair_test_id: i64,
    pub agreed_by: String,
    pub agreed_at: OffsetDateTime,
    pub asked_by: String,
    pub width_px: i16,
    pub height_px: i16,
    pub taken_back_at: Option<OffsetDateTime>,
}

/// The photos of a client's tests, without the pictures; at most 50, newest first.
pub async fn list_by_client(s: &mut Scoped, client: ClientId) -> Stored<Vec<Photo>> {
    Ok(sqlx::query_as(
        "select p.hair_test_id, p.agreed_by, p.agreed_at, w.name as asked_by, p.width_px, p.height_px, p.taken_back_at
         from hair_test t join hair_photo p using (salon_id, hair_test_id) join person w on w.salon_id = p.salon_id and w.person_id = p.asked_by
         where t.salon_id = $1 and t.client_id = $2 order by t.done_at desc limit 50",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .fetch_all(&mut *s.tx)
    .await?)
}
