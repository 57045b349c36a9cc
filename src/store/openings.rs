//! What the search for openings asks the records: hours, absences, what is taken, runs under way,
//! and what the client's skin tests and plan say.

use time::{Date, OffsetDateTime};

use super::{Scoped, Stored};
use crate::domain::ids::{BookingId, ClientId};

/// Regular hours of one person on one day of the week, minutes after 00:00 on the wall clock.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct HoursRow {
    pub person_id: i64,
    /// ISO, Monday is 1.
    pub weekday: i16,
    pub opens_min: i32,
    pub closes_min: i32,
}

/// The hours of the whole team; at most 3000 rows.
pub async fn list_hours(s: &mut Scoped) -> Stored<Vec<HoursRow>> {
    Ok(sqlx::query_as(
        "select person_id, weekday, (extract(epoch from opens) / 60)::int as opens_min, (extract(epoch from closes) / 60)::int as closes_min
         from hours where salon_id = $1 order by person_id, weekday, opens limit 3000",
    )
    .bind(s.salon.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Somebody, or some place, is not free.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Taken<T: Send + Unpin>
where
    T: sqlx::Type<sqlx::Postgres> + for<'r> sqlx::Decode<'r, sqlx::Postgres>,
{
    /// The person's id or the kind of place.
    pub what: T,
    pub from_at: OffsetDateTime,
    pub to_at: OffsetDateTime,
}

/// Absences that meet a stretch of time; at most 5000.
pub async fn list_absences(
    s: &mut Scoped,
    from: OffsetDateTime,
    to: OffsetDateTime,
) -> Stored<Vec<Taken<i64>>> {
    Ok(sqlx::query_as(
        "select person_id as what, lower(span) as from_at, upper(span) as to_at from absence
         where salon_id = $1 and span && tstzrange($2, $3) order by lower(span) limit 5000",
    )
    .bind(s.salon.0)
    .bind(from)
    .bind(to)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Hands booked in a stretch of time, but for the booking that is being moved (0: none) and its patch-test visit.
pub async fn list_taken_hands(
    s: &mut Scoped,
    from: OffsetDateTime,
    to: OffsetDateTime,
    moving: Option<BookingId>,
) -> Stored<Vec<Taken<i64>>> {
    Ok(sqlx::query_as(
        "select h.person_id as what, lower(h.span) as from_at, upper(h.span) as to_at from booking_hands h
         join booking b on b.salon_id = h.salon_id and b.booking_id = h.booking_id
         where h.salon_id = $1 and h.live and h.starts_at > $2::timestamptz - interval '16 hours' and h.starts_at < $3
           and h.span && tstzrange($2, $3)
           and h.booking_id <> $4 and not (b.patch_for is not distinct from $4 and b.state = 'booked')
         order by lower(h.span) limit 30000",
    )
    .bind(s.salon.0)
    .bind(from)
    .bind(to)
    .bind(moving.map_or(0, |b| b.0))
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Places booked in a stretch of time, with the same exception.
pub async fn list_taken_places(
    s: &mut Scoped,
    from: OffsetDateTime,
    to: OffsetDateTime,
    moving: Option<BookingId>,
) -> Stored<Vec<Taken<String>>> {
    Ok(sqlx::query_as(
        "select kind as what, lower(span) as from_at, upper(span) as to_at from booking_place
         where salon_id = $1 and kind = any (array['chair', 'basin', 'hood']) and live and starts_at > $2::timestamptz - interval '16 hours'
           and starts_at < $3 and span && tstzrange($2, $3) and booking_id <> $4 order by lower(span) limit 30000",
    )
    .bind(s.salon.0)
    .bind(from)
    .bind(to)
    .bind(moving.map_or(0, |b| b.0))
    .fetch_all(&mut *s.tx)
    .await?)
}

/// How many of each kind of place there are.
pub async fn list_place_counts(s: &mut Scoped) -> Stored<Vec<(String, i16)>> {
    Ok(sqlx::query_as("select kind, count from place_kind where salon_id = $1 order by kind limit 20")
        .bind(s.salon.0)
        .fetch_all(&mut *s.tx)
        .await?)
}

/// A run under way, as the calendar sees it.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct OpenRun {
    pub protocol: String,
    pub revision: i32,
    pub started_by: i64,
    pub started_at: OffsetDateTime,
    /// The client has a booking for about now: its hands and places are taken by that.
    pub booked: bool,
}

/// Runs under way; at most 200.
pub async fn list_open_runs(s: &mut Scoped) -> Stored<Vec<OpenRun>> {
    Ok(sqlx::query_as(
        "select r.protocol, r.revision, r.started_by, r.started_at,
            exists (select 1 from booking b where b.salon_id = r.salon_id and b.client_id = r.client_id and b.purpose = 'service'
              and b.state in ('booked', 'kept') and b.span && tstzrange(r.started_at - interval '1 hour', r.started_at + interval '1 hour')) as booked
         from run r where r.salon_id = $1 and r.ended_at is null order by r.started_at limit 200",
    )
    .bind(s.salon.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// A product of a client's newest plan that opens the hair, and what the skin said to it.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct SkinTestState {
    pub client_id: i64,
    /// It is tested on skin; else its sheet says never.
    pub on_skin: bool,
    /// Placed last with a reading of no reaction, for this formula.
    pub held_from: Option<OffsetDateTime>,
    /// Placed and not yet read, for this formula.
    pub unread_from: Option<OffsetDateTime>,
    /// A reaction, ever, read or told.
    pub reacted: bool,
}

/// For each client with the service asked about: the products of the newest plan for it (of any service, when there
/// is none for it), at most 12 a client.
pub async fn list_skin_tests(
    s: &mut Scoped,
    clients: &[i64],
    protocols: &[String],
) -> Stored<Vec<SkinTestState>> {
    Ok(sqlx::query_as(
        "select a.client_id, p.skin_test = 'patch' as on_skin,
            (select max(t.placed_at) from skin_test t where t.salon_id = p.salon_id and t.client_id = a.client_id and t.product_id = p.product_id
               and t.formula = p.formula and t.outcome = 'no-reaction') as held_from,
            (select max(t.placed_at) from skin_test t where t.salon_id = p.salon_id and t.client_id = a.client_id and t.product_id = p.product_id
               and t.formula = p.formula and t.read_at is null) as unread_from,
            exists (select 1 from skin_test t where t.salon_id = p.salon_id and t.client_id = a.client_id and t.product_id = p.product_id
               and (t.outcome <> 'no-reaction' or t.told_outcome <> 'no-reaction')) as reacted
         from unnest($2::bigint[], $3::text[]) a (client_id, protocol)
         join lateral (select l.plan_id from plan l where l.salon_id = $1 and l.client_id = a.client_id and jsonb_array_length(l.applications) > 0
             order by (l.protocol = a.protocol) desc, l.made_at desc limit 1) l on true
         join plan_product pp on pp.salon_id = $1 and pp.plan_id = l.plan_id
         join product p on p.salon_id = pp.salon_id and p.product_id = pp.product_id
         where p.use_as not in ('neutraliser', 'normaliser')
         order by a.client_id, p.product_id limit 2400",
    )
    .bind(s.salon.0)
    .bind(clients)
    .bind(protocols)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// What the newest plan made since the last service found (a test visit is none), if there is one: verdict and the day a wait ends.
pub async fn find_open_plan(s: &mut Scoped, client: ClientId) -> Stored<Option<(String, Option<Date>)>> {
    Ok(sqlx::query_as(
        "select p.verdict, (select max((x ->> 'until')::date) from jsonb_array_elements(p.findings) x where x ->> 'verdict' = 'wait')
         from plan p where p.salon_id = $1 and p.client_id = $2 and jsonb_array_length(p.applications) > 0
           and p.made_at > coalesce((select max(r.started_at) from run r join plan g using (salon_id, plan_id)
             where r.salon_id = $1 and r.client_id = $2 and jsonb_array_length(g.applications) > 0), '-infinity')
         order by p.made_at desc limit 1",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .fetch_optional(&mut *s.tx)
    .await?)
}
