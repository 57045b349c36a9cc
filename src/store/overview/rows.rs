//! The rows behind the figures: clients, bookings, services and incidents of one week or sort.

use time::{Date, OffsetDateTime};

use super::super::{Scoped, Stored};

/// Most rows of one page.
pub const MOST: i64 = 300;

/// A client who is due.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct DueClient {
    pub client_id: i64,
    pub name: String,
    pub protocol: String,
    pub middle_on: Date,
    pub latest_on: Date,
    pub no_contact: bool,
    pub outcome: Option<String>,
    pub booking_id: Option<i64>,
    pub booked_at: Option<OffsetDateTime>,
}

/// Who has not come yet and is due between two days, by deadline; at most [`MOST`] and one.
pub async fn list_due(s: &mut Scoped, zone: &str, from: Date, to: Date) -> Stored<Vec<DueClient>> {
    Ok(sqlx::query_as(
        "select d.client_id, c.name, d.protocol, d.middle_on, d.latest_on, c.no_contact, f.outcome, b.booking_id, b.booked_at
         from due d
         join lateral (select x.name, x.no_contact from client x where x.salon_id = $1 and x.client_id = d.client_id limit 1) c on true
         left join lateral (select f.outcome from followup f where f.salon_id = d.salon_id and f.client_id = d.client_id
            and f.at >= (d.last_on::timestamp at time zone $2) order by f.at desc limit 1) f on true
         left join lateral (select b.booking_id, lower(b.span) as booked_at from booking b where b.salon_id = d.salon_id
            and b.client_id = d.client_id and b.purpose = 'service' and b.state = 'booked' and upper(b.span) > rinsebell_now()
            order by lower(b.span) limit 1) b on true
         where d.salon_id = $1 and d.middle_on >= $3 and d.middle_on < $4
         order by d.latest_on, d.client_id limit $5",
    )
    .bind(s.salon.0)
    .bind(zone)
    .bind(from)
    .bind(to)
    .bind(MOST + 1)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Names of clients.
pub async fn list_names(s: &mut Scoped, clients: &[i64]) -> Stored<Vec<(i64, String)>> {
    Ok(sqlx::query_as(
        "select client_id, name from client where salon_id = $1 and client_id = any($2) order by client_id limit 400",
    )
    .bind(s.salon.0)
    .bind(clients)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// A booking for a service.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct BookedService {
    pub booking_id: i64,
    pub client_id: i64,
    pub name: String,
    pub protocol: Option<String>,
    pub starts_at: OffsetDateTime,
    pub state: String,
    pub reason: Option<String>,
}

/// Services in the book in a stretch of time, those that nobody came to first; at most [`MOST`] and one.
pub async fn list_bookings(
    s: &mut Scoped,
    from: OffsetDateTime,
    to: OffsetDateTime,
) -> Stored<Vec<BookedService>> {
    Ok(sqlx::query_as(
        "select b.booking_id, b.client_id, c.name, b.protocol, b.starts_at, b.state, b.reason
         from booking b join lateral (select x.name from client x where x.salon_id = $1 and x.client_id = b.client_id limit 1) c on true
         where b.salon_id = $1 and b.starts_at >= $2 and b.starts_at < $3 and b.purpose = 'service'
         order by array_position(array['missed', 'cancelled', 'booked', 'kept'], b.state), b.starts_at, b.booking_id limit $4",
    )
    .bind(s.salon.0)
    .bind(from)
    .bind(to)
    .bind(MOST + 1)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// An incident of a week.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct OpenedIncident {
    pub incident_id: i64,
    pub client_name: String,
    pub opened_at: OffsetDateTime,
    pub kind: String,
    pub run_id: Option<i64>,
}

/// Incidents opened in a stretch of time; at most [`MOST`] and one.
pub async fn list_incidents(
    s: &mut Scoped,
    from: OffsetDateTime,
    to: OffsetDateTime,
) -> Stored<Vec<OpenedIncident>> {
    Ok(sqlx::query_as(
        "select i.incident_id, c.name as client_name, i.opened_at, i.kind, i.run_id
         from incident i join lateral (select x.name from client x where x.salon_id = $1 and x.client_id = i.client_id limit 1) c on true
         where i.salon_id = $1 and i.opened_at >= $2 and i.opened_at < $3 order by i.opened_at, i.incident_id limit $4",
    )
    .bind(s.salon.0)
    .bind(from)
    .bind(to)
    .bind(MOST + 1)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Something that was held up or let go on.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Held {
    pub at: OffsetDateTime,
    /// The client, or the product and lot.
    pub name: String,
    pub by_name: Option<String>,
    /// Of a service.
    pub run_id: Option<i64>,
    pub client_id: Option<i64>,
    pub lot_id: Option<i64>,
}

/// Events of one sort: a hold point that said no, or a kind of event (`hands_named`, `stop_closed`), newest first.
pub async fn list_held_events(
    s: &mut Scoped,
    what: &str,
    from: OffsetDateTime,
    to: OffsetDateTime,
) -> Stored<Vec<Held>> {
    Ok(sqlx::query_as(
        "select e.recorded_at as at, c.name, p.name as by_name, e.run_id, r.client_id, null::bigint as lot_id
         from run_event e join run r on r.salon_id = e.salon_id and r.run_id = e.run_id
         join lateral (select x.name from client x where x.salon_id = $1 and x.client_id = r.client_id limit 1) c on true
         left join person p on p.salon_id = e.salon_id and p.person_id = e.by
         where e.salon_id = $1 and e.recorded_at >= $3 and e.recorded_at < $4
           and (e.outcome = 'fails' or e.kind in ('hands_named', 'stop_closed'))
           and coalesce(e.hold_point, replace(e.kind, '_', '-')) = $2
         order by e.recorded_at desc, e.run_id limit $5",
    )
    .bind(s.salon.0)
    .bind(what)
    .bind(from)
    .bind(to)
    .bind(MOST + 1)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Plans that were refused, consults gone on with for a reason, lots let out of quarantine: newest first.
pub async fn list_held_papers(
    s: &mut Scoped,
    what: &str,
    from: OffsetDateTime,
    to: OffsetDateTime,
) -> Stored<Vec<Held>> {
    Ok(sqlx::query_as(
        "select x.at, x.name, q.name as by_name, null::bigint as run_id, x.client_id, x.lot_id from (
           select p.made_at as at, c.name, p.made_by as by, p.client_id, null::bigint as lot_id
             from plan p join lateral (select x.name from client x where x.salon_id = $1 and x.client_id = p.client_id limit 1) c on true
             where p.salon_id = $1 and p.verdict = 'refuse' and p.made_at >= $3 and p.made_at < $4 and $2 = 'plan-refused'
           union all select k.taken_at, c.name, k.taken_by, k.client_id, null
             from consult k join lateral (select x.name from client x where x.salon_id = $1 and x.client_id = k.client_id limit 1) c on true
             where k.salon_id = $1 and k.stylist_reason_id is not null and k.taken_at >= $3 and k.taken_at < $4 and $2 = 'consult-reason'
           union all select j.judged_at, o.name || ', lot ' || l.code, j.judged_by, null, j.lot_id
             from lot_judgement j join lot l on l.salon_id = j.salon_id and l.lot_id = j.lot_id
             join product o on o.salon_id = l.salon_id and o.product_id = l.product_id
             where j.salon_id = $1 and j.out_of_quarantine and j.judged_at >= $3 and j.judged_at < $4 and $2 = 'lot-released') x
         left join person q on q.salon_id = $1 and q.person_id = x.by
         order by x.at desc limit $5",
    )
    .bind(s.salon.0)
    .bind(what)
    .bind(from)
    .bind(to)
    .bind(MOST + 1)
    .fetch_all(&mut *s.tx)
    .await?)
}
