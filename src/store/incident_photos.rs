//! Photos of incidents: one query reads a picture, one takes it away.

use time::OffsetDateTime;

use super::hair_photos::Kept;
use super::{Scoped, Stored};
use crate::domain::ids::{IncidentId, PersonId};

/// Keeps a picture; the database gives the next number.
pub async fn insert(s: &mut Scoped, incident: IncidentId, k: &Kept) -> Stored<i16> {
    Ok(sqlx::query_scalar(
        "insert into incident_photo (salon_id, incident_id, photo_no, jpeg, width_px, height_px, agreed_by, asked_by)
         values ($1,$2,1,$3,$4,$5,$6,$7) returning photo_no",
    )
    .bind(s.salon.0)
    .bind(incident.0)
    .bind(&k.jpeg)
    .bind(k.width_px)
    .bind(k.height_px)
    .bind(k.agreed_by)
    .bind(k.asked_by.0)
    .fetch_one(&mut *s.tx)
    .await?)
}

/// The picture of a number; none when there is none, or it was taken back.
pub async fn find_jpeg(s: &mut Scoped, incident: IncidentId, no: i16) -> Stored<Option<Vec<u8>>> {
    let found: Option<Option<Vec<u8>>> = sqlx::query_scalar(
        "select jpeg from incident_photo where salon_id = $1 and incident_id = $2 and photo_no = $3",
    )
    .bind(s.salon.0)
    .bind(incident.0)
    .bind(no)
    .fetch_optional(&mut *s.tx)
    .await?;
    Ok(found.flatten())
}

/// Erases a picture because the consent was taken back; false when there was none left.
pub async fn erase(s: &mut Scoped, incident: IncidentId, no: i16, by: PersonId) -> Stored<bool> {
    let done = sqlx::query(
        "update incident_photo set jpeg = null, taken_back_at = rinsebell_now(), taken_back_noted_by = $4
         where salon_id = $1 and incident_id = $2 and photo_no = $3 and jpeg is not null",
    )
    .bind(s.salon.0)
    .bind(incident.0)
    .bind(no)
    .bind(by.0)
    .execute(&mut *s.tx)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Who agreed to a picture, and whether it was taken back.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct IncidentPhoto {
    pub photo_no: i16,
    pub agreed_by: String,
    pub agreed_at: OffsetDateTime,
    pub asked_by: String,
    pub width_px: i16,
    pub height_px: i16,
    pub taken_back_at: Option<OffsetDateTime>,
}

/// The photos of an incident without the pictures, by number; at most 6.
pub async fn list(s: &mut Scoped, incident: IncidentId) -> Stored<Vec<IncidentPhoto>> {
    Ok(sqlx::query_as(
        "select p.photo_no, p.agreed_by, p.agreed_at, w.name as asked_by, p.width_px, p.height_px, p.taken_back_at
         from incident_photo p join person w on w.salon_id = p.salon_id and w.person_id = p.asked_by
         where p.salon_id = $1 and p.incident_id = $2 order by p.photo_no limit 6",
    )
    .bind(s.salon.0)
    .bind(incident.0)
    .fetch_all(&mut *s.tx)
    .await?)
}
