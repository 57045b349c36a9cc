//! What the manager looks over, counted by week and person; every list bounded, every week found by an index.
//!
//! Weeks are told by their Monday, local to the salon. The rows behind a figure are in `rows`, services and their taps in
//! `taps`.

pub mod rows;
pub mod taps;

use time::{Date, OffsetDateTime};

use super::{Scoped, Stored};

/// Most clients whose next visit is foretold.
pub const MOST_HEADS: i64 = 20_000;
/// Most clients whose past visits teach how clients keep to what growth says.
pub const MOST_TEACHERS: i64 = 1500;

/// Clients due in one week who stand alike.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct DueCount {
    pub monday: Date,
    pub booked: bool,
    pub no_contact: bool,
    /// The last word since the last service.
    pub outcome: Option<String>,
    pub clients: i64,
}

/// Who has not come yet, by the week in which new growth is as likely as not long enough; from and to are Mondays.
pub async fn count_due(
    s: &mut Scoped,
    zone: &str,
    (from, to): (Date, Date),
    now: OffsetDateTime,
) -> Stored<Vec<DueCount>> {
    Ok(sqlx::query_as(
        "select d.middle_on - (extract(isodow from d.middle_on)::int - 1) as monday, c.no_contact, f.outcome,
            b.client_id is not null as booked, count(*) as clients
         from due d
         join lateral (select x.no_contact from client x where x.salon_id = $1 and x.client_id = d.client_id limit 1) c on true
         left join lateral (select f.outcome from followup f where f.salon_id = d.salon_id and f.client_id = d.client_id
            and f.at >= (d.last_on::timestamp at time zone $2) order by f.at desc limit 1) f on true
         -- No booking is longer than sixteen hours.
         left join (select distinct b.client_id from booking b where b.salon_id = $1 and b.starts_at > $5::timestamptz - interval '16 hours'
            and b.purpose = 'service' and b.state = 'booked' and upper(b.span) > $5) b on b.client_id = d.client_id
         where d.salon_id = $1 and d.middle_on >= $3 and d.middle_on < $4
         group by 1, 2, 3, 4 order by 1 limit 2000",
    )
    .bind(s.salon.0)
    .bind(zone)
    .bind(from)
    .bind(to)
    .bind(now)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// A client who comes again, as estimated.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct DueHead {
    pub client_id: i64,
    pub protocol: String,
    pub rate_mm: f32,
    pub rate_sd: f32,
    pub target_mm: f32,
    pub last_on: Date,
    pub least_on: Date,
}

/// Everybody who comes again; at most [`MOST_HEADS`].
pub async fn list_heads(s: &mut Scoped) -> Stored<Vec<DueHead>> {
    Ok(sqlx::query_as(
        "select client_id, protocol, rate_mm, rate_sd, target_mm, last_on, least_on
         from due where salon_id = $1 order by client_id limit $2",
    )
    .bind(s.salon.0)
    .bind(MOST_HEADS)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// A client's visits, with what the hair needs between two of them.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Past {
    pub client_id: i64,
    pub rate_mm: f32,
    pub target_mm: f32,
    pub least_days: i32,
    /// Local days of services that come again, in order.
    pub days: Vec<Date>,
}

/// Visits since a day of some clients, drawn alike from old and new ones, at most [`MOST_TEACHERS`] and 24 visits each;
/// `services` are the codes of what comes again.
pub async fn list_pasts(
    s: &mut Scoped,
    zone: &str,
    services: &[&str],
    since: OffsetDateTime,
) -> Stored<Vec<Past>> {
    Ok(sqlx::query_as(
        "select d.client_id, d.rate_mm, d.target_mm, d.least_on - d.last_on as least_days, r.days
         from (select client_id, rate_mm, target_mm, least_on, last_on from due where salon_id = $1
             order by hashint8(client_id), client_id limit $5) d
         cross join lateral (select array_agg(x.day order by x.day) as days from (
             select (r.started_at at time zone $2)::date as day from run r where r.salon_id = $1 and r.client_id = d.client_id
               and r.started_at >= $4 and r.ended_how = 'finished' and r.protocol = any($3) order by r.started_at desc limit 24) x) r
         where r.days is not null order by d.client_id",
    )
    .bind(s.salon.0)
    .bind(zone)
    .bind(services)
    .bind(since)
    .bind(MOST_TEACHERS)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Minutes of something in one week.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct WeekMinutes {
    pub monday: Date,
    pub minutes: f64,
}

/// Minutes of chairs in the book, by week.
pub async fn sum_booked(
    s: &mut Scoped,
    zone: &str,
    from: OffsetDateTime,
    to: OffsetDateTime,
) -> Stored<Vec<WeekMinutes>> {
    Ok(sqlx::query_as(
        "select date_trunc('week', o.starts_at at time zone $2)::date as monday,
            (sum(extract(epoch from upper(o.span) - o.starts_at)) / 60)::float8 as minutes
         from booking_place o where o.salon_id = $1 and o.kind = 'chair' and o.live and o.starts_at >= $3 and o.starts_at < $4
         group by 1 order by 1 limit 60",
    )
    .bind(s.salon.0)
    .bind(zone)
    .bind(from)
    .bind(to)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// A count of one sort in one week.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct WeekCount {
    pub monday: Date,
    /// A state, a kind.
    pub what: String,
    pub count: i64,
}

/// Services in the book by week and state: booked, kept, missed, cancelled.
pub async fn count_bookings(
    s: &mut Scoped,
    zone: &str,
    from: OffsetDateTime,
    to: OffsetDateTime,
) -> Stored<Vec<WeekCount>> {
    Ok(sqlx::query_as(
        "select date_trunc('week', b.starts_at at time zone $2)::date as monday, b.state as what, count(*) as count
         from booking b where b.salon_id = $1 and b.starts_at >= $3 and b.starts_at < $4 and b.purpose = 'service'
         group by 1, 2 order by 1, 2 limit 400",
    )
    .bind(s.salon.0)
    .bind(zone)
    .bind(from)
    .bind(to)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Incidents by week and kind.
pub async fn count_incidents(
    s: &mut Scoped,
    zone: &str,
    from: OffsetDateTime,
    to: OffsetDateTime,
) -> Stored<Vec<WeekCount>> {
    Ok(sqlx::query_as(
        "select date_trunc('week', i.opened_at at time zone $2)::date as monday, i.kind as what, count(*) as count
         from incident i where i.salon_id = $1 and i.opened_at >= $3 and i.opened_at < $4
         group by 1, 2 order by 1, 2 limit 400",
    )
    .bind(s.salon.0)
    .bind(zone)
    .bind(from)
    .bind(to)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// How often something was held up, or let go on.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct HeldCount {
    /// A hold point's code; or `plan-refused`, `hands-named`, `stop-closed`, `consult-reason`, `lot-released`.
    pub what: String,
    pub count: i64,
}

/// Hold points that said no and plans refused; then what somebody answered for: hands a manager named, stops ended, a
/// consult gone on with for a reason, lots let out of quarantine.
pub async fn count_held(s: &mut Scoped, from: OffsetDateTime, to: OffsetDateTime) -> Stored<Vec<HeldCount>> {
    Ok(sqlx::query_as(
        "select coalesce(e.hold_point, replace(e.kind, '_', '-')) as what, count(*) as count from run_event e
           where e.salon_id = $1 and e.recorded_at >= $2 and e.recorded_at < $3
             and (e.outcome = 'fails' or e.kind in ('hands_named', 'stop_closed')) group by 1
         union all select 'plan-refused', count(*) from plan p
           where p.salon_id = $1 and p.verdict = 'refuse' and p.made_at >= $2 and p.made_at < $3 having count(*) > 0
         union all select 'consult-reason', count(*) from consult k
           where k.salon_id = $1 and k.stylist_reason_id is not null and k.taken_at >= $2 and k.taken_at < $3 having count(*) > 0
         union all select 'lot-released', count(*) from lot_judgement j
           where j.salon_id = $1 and j.out_of_quarantine and j.judged_at >= $2 and j.judged_at < $3 having count(*) > 0
         order by 1 limit 60",
    )
    .bind(s.salon.0)
    .bind(from)
    .bind(to)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Grams of a product that went into bowls.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Used {
    pub product_id: i64,
    pub grams: f64,
}

/// What services begun in a stretch of time took from the shelf, by product.
pub async fn sum_used(s: &mut Scoped, from: OffsetDateTime, to: OffsetDateTime) -> Stored<Vec<Used>> {
    Ok(sqlx::query_as(
        "select l.product_id, sum(d.grams)::float8 as grams
         from run r
         cross join lateral (select x.lot_id, x.grams from dispensed x where x.salon_id = $1 and x.run_id = r.run_id limit 200) d
         join lot l on l.salon_id = $1 and l.lot_id = d.lot_id
         where r.salon_id = $1 and r.started_at >= $2 and r.started_at < $3
         group by 1 order by 1 limit 1000",
    )
    .bind(s.salon.0)
    .bind(from)
    .bind(to)
    .fetch_all(&mut *s.tx)
    .await?)
}
