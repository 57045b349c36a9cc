//! Photos of results, on the record of a visit: pictures are read one by one or for the client's own copy, and one query
//! takes one away.

use time::OffsetDateTime;

use super::hair_photos::Kept;
use super::incident_photos::IncidentPhoto;
use super::{Scoped, Stored};
use crate::domain::ids::{ClientId, PersonId, RunId};

/// Keeps a picture; the database gives the next number.
pub async fn insert(s: &mut Scoped, run: RunId, k: &Kept) -> Stored<i16> {
    Ok(sqlx::query_scalar(
        "insert into result_photo (salon_id, run_id, photo_no, jpeg, width_px, height_px, agreed_by, asked_by)
         values ($1,$2,1,$3,$4,$5,$6,$7) returning photo_no",
    )
    .bind(s.salon.0)
    .bind(run.0)
    .bind(&k.jpeg)
    .bind(k.width_px)
    .bind(k.height_px)
    .bind(k.agreed_by)
    .bind(k.asked_by.0)
    .fetch_one(&mut *s.tx)
    .await?)
}

/// The picture of a number; none when there is none, or it was taken back.
pub async fn find_jpeg(s: &mut Scoped, run: RunId, no: i16) -> Stored<Option<Vec<u8>>> {
    let found: Option<Option<Vec<u8>>> = sqlx::query_scalar(
        "select jpeg from result_photo where salon_id = $1 and run_id = $2 and photo_no = $3",
    )
    .bind(s.salon.0)
    .bind(run.0)
    .bind(no)
    .fetch_optional(&mut *s.tx)
    .await?;
    Ok(found.flatten())
}

/// Erases a picture because the consent was taken back; false when there was none left.
pub async fn erase(s: &mut Scoped, run: RunId, no: i16, by: PersonId) -> Stored<bool> {
    let done = sqlx::query(
        "update result_photo set jpeg = null, taken_back_at = rinsebell_now(), taken_back_noted_by = $4
         where salon_id = $1 and run_id = $2 and photo_no = $3 and jpeg is not null",
    )
    .bind(s.salon.0)
    .bind(run.0)
    .bind(no)
    .bind(by.0)
    .execute(&mut *s.tx)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// The photos of a visit without the pictures, by number; at most 6. Their rows are those of an incident's photos.
pub async fn list(s: &mut Scoped, run: RunId) -> Stored<Vec<IncidentPhoto>> {
    Ok(sqlx::query_as(
        "select p.photo_no, p.agreed_by, p.agreed_at, w.name as asked_by, p.width_px, p.height_px, p.taken_back_at
         from result_photo p join person w on w.salon_id = p.salon_id and w.person_id = p.asked_by
         where p.salon_id = $1 and p.run_id = $2 order by p.photo_no limit 6",
    )
    .bind(s.salon.0)
    .bind(run.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// A picture for the client's own copy.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Copied {
    pub agreed_at: OffsetDateTime,
    pub jpeg: Vec<u8>,
}

/// The pictures of a client, of the newest visits first, at most `most`.
pub async fn list_by_client(s: &mut Scoped, client: ClientId, most: i64) -> Stored<Vec<Copied>> {
    Ok(sqlx::query_as(
        "select p.agreed_at, p.jpeg from run r join result_photo p using (salon_id, run_id)
         where r.salon_id = $1 and r.client_id = $2 and p.jpeg is not null
         order by r.run_id desc, p.photo_no limit $3",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(most)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Whose visit it is and whether it has ended: client, ended, erased.
pub async fn find_visit(s: &mut Scoped, run: RunId) -> Stored<Option<(i64, bool, bool)>> {
    Ok(sqlx::query_as(
        "select r.client_id, r.ended_at is not null, c.erased_at is not null
         from run r join client c using (salon_id, client_id) where r.salon_id = $1 and r.run_id = $2",
    )
    .bind(s.salon.0)
    .bind(run.0)
    .fetch_optional(&mut *s.tx)
    .await?)
}
