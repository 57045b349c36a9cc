//! Visits as the sign-off book lists them, and what a visit's sheet shows beside its record.

use time::OffsetDateTime;

use super::{Scoped, Stored};
use crate::domain::ids::RunId;

/// Visits of a page of the book.
pub const PAGE: i64 = 50;

/// A visit in the book.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Visit {
    pub run_id: i64,
    pub client_name: String,
    pub title: String,
    pub chair: String,
    pub by_name: String,
    pub started_at: OffsetDateTime,
    pub ended_how: Option<String>,
    pub events: i64,
    /// Stops, stings and the like that were put on record.
    pub incidents: i64,
}

/// Which visits: of clients whose name begins so, begun from an instant on and before another.
pub struct Which<'a> {
    pub name: &'a str,
    pub from: Option<OffsetDateTime>,
    pub until: Option<OffsetDateTime>,
    /// The last visit of the page before: start and number.
    pub before: Option<(OffsetDateTime, i64)>,
}

/// Visits newest first; one more than [`PAGE`], to tell whether there are more.
pub async fn list(s: &mut Scoped, which: Which<'_>) -> Stored<Vec<Visit>> {
    Ok(sqlx::query_as(
        "select r.run_id, c.name as client_name, v.title, r.chair, p.name as by_name, r.started_at, r.ended_how,
            (select count(*) from run_event e where e.salon_id = r.salon_id and e.run_id = r.run_id) as events,
            (select count(*) from incident i where i.salon_id = r.salon_id and i.run_id = r.run_id) as incidents
         from run r join client c on c.salon_id = r.salon_id and c.client_id = r.client_id
           join protocol_revision v on v.salon_id = r.salon_id and v.protocol = r.protocol and v.revision = r.revision
           join person p on p.salon_id = r.salon_id and p.person_id = r.started_by
         where r.salon_id = $1 and (r.started_at, r.run_id) < (coalesce($2, 'infinity'::timestamptz), $3)
           and r.started_at >= coalesce($4, '-infinity'::timestamptz) and r.started_at < coalesce($5, 'infinity'::timestamptz)
           and ($6 = '' or rinsebell_named(c.name, $6))
         order by r.started_at desc, r.run_id desc limit $7",
    )
    .bind(s.salon.0)
    .bind(which.before.map(|(at, _)| at))
    .bind(which.before.map_or(i64::MAX, |(_, id)| id))
    .bind(which.from)
    .bind(which.until)
    .bind(which.name)
    .bind(PAGE + 1)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Something that was put on record as an incident.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Incident {
    pub opened_at: OffsetDateTime,
    pub kind: String,
    pub place: Option<String>,
    pub opened_by: Option<i64>,
}

/// The incidents of a visit; at most 200.
pub async fn list_incidents(s: &mut Scoped, run: RunId) -> Stored<Vec<Incident>> {
    Ok(sqlx::query_as(
        "select opened_at, kind, place, opened_by from incident where salon_id = $1 and run_id = $2 order by opened_at limit 200",
    )
    .bind(s.salon.0)
    .bind(run.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// The code and product of each lot a visit dispensed from; at most 200.
pub async fn list_lots(s: &mut Scoped, run: RunId) -> Stored<Vec<(i64, String, String)>> {
    Ok(sqlx::query_as(
        "select l.lot_id, l.code, p.name from lot l join product p using (salon_id, product_id)
         where l.salon_id = $1 and l.lot_id in (select d.lot_id from dispensed d where d.salon_id = $1 and d.run_id = $2)
         order by l.lot_id limit 200",
    )
    .bind(s.salon.0)
    .bind(run.0)
    .fetch_all(&mut *s.tx)
    .await?)
}
