//! Calendar feeds: whose, made and taken back by whom, and what each tells.

use time::OffsetDateTime;

use super::{Scoped, Stored};
use crate::domain::ids::{CalendarFeedId, PersonId, StationId};

/// A feed as kept; its secret is kept as a hash alone.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct CalendarFeed {
    pub calendar_feed_id: i64,
    /// A person's, or a station's.
    pub person_id: Option<i64>,
    pub station_id: Option<i64>,
    /// What the person or the station is called.
    pub of_name: String,
    /// Kind of the station; empty for a person.
    pub station_kind: String,
    pub made_by_name: String,
    pub made_at: OffsetDateTime,
}

/// Feeds that are open: somebody's own, or everybody's and the stations' (`person` none); newest first, at most 200.
pub async fn list_open(s: &mut Scoped, person: Option<PersonId>) -> Stored<Vec<CalendarFeed>> {
    Ok(sqlx::query_as(
        "select f.calendar_feed_id, f.person_id, f.station_id, coalesce(p.name, x.name) as of_name, coalesce(x.kind, '') as station_kind,
            m.name as made_by_name, f.made_at
         from calendar_feed f
         left join person p on p.salon_id = f.salon_id and p.person_id = f.person_id
         left join station x on x.salon_id = f.salon_id and x.station_id = f.station_id
         join person m on m.salon_id = f.salon_id and m.person_id = f.made_by
         where f.salon_id = $1 and f.revoked_at is null and ($2::bigint is null or f.person_id = $2)
         order by f.made_at desc, f.calendar_feed_id desc limit 200",
    )
    .bind(s.salon.0)
    .bind(person.map(|p| p.0))
    .fetch_all(&mut *s.tx)
    .await?)
}

/// The open feed of a secret; none once it is taken back, the person has left or the station is revoked.
pub async fn find_by_token(s: &mut Scoped, hash: &[u8]) -> Stored<Option<CalendarFeed>> {
    Ok(sqlx::query_as(
        "select f.calendar_feed_id, f.person_id, f.station_id, coalesce(p.name, x.name) as of_name, coalesce(x.kind, '') as station_kind,
            m.name as made_by_name, f.made_at
         from calendar_feed f
         left join person p on p.salon_id = f.salon_id and p.person_id = f.person_id
         left join station x on x.salon_id = f.salon_id and x.station_id = f.station_id
         join person m on m.salon_id = f.salon_id and m.person_id = f.made_by
         where f.salon_id = $1 and f.token_hash = $2 and f.revoked_at is null and p.left_at is null and x.revoked_at is null",
    )
    .bind(s.salon.0)
    .bind(hash)
    .fetch_optional(&mut *s.tx)
    .await?)
}

/// Whose a feed is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Of {
    Person(PersonId),
    Station(StationId),
}

/// A new feed with its secret's hash.
pub async fn insert(s: &mut Scoped, of: Of, hash: &[u8], by: PersonId) -> Stored<CalendarFeedId> {
    let (person, station) = match of {
        Of::Person(id) => (Some(id.0), None),
        Of::Station(id) => (None, Some(id.0)),
    };
    let id: i64 = sqlx::query_scalar(
        "insert into calendar_feed (salon_id, person_id, station_id, token_hash, made_by, made_at)
         values ($1, $2, $3, $4, $5, rinsebell_now()) returning calendar_feed_id",
    )
    .bind(s.salon.0)
    .bind(person)
    .bind(station)
    .bind(hash)
    .bind(by.0)
    .fetch_one(&mut *s.tx)
    .await?;
    Ok(CalendarFeedId(id))
}

/// Takes a feed back for good: anybody's, or (`own`) only one of this person's; false when there is none such.
pub async fn revoke(s: &mut Scoped, id: CalendarFeedId, by: PersonId, own: bool) -> Stored<bool> {
    let done = sqlx::query(
        "update calendar_feed set revoked_at = rinsebell_now(), revoked_by = $3
         where salon_id = $1 and calendar_feed_id = $2 and revoked_at is null and (not $4 or person_id = $3)",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .bind(by.0)
    .bind(own)
    .execute(&mut *s.tx)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// A stretch that a booking takes.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Stretch {
    pub booking_id: i64,
    pub client_name: String,
    pub from_at: OffsetDateTime,
    pub to_at: OffsetDateTime,
    pub made_at: OffsetDateTime,
}

/// Stretches of somebody's hands, booking by booking; at most 4000.
pub async fn list_hands(
    s: &mut Scoped,
    person: PersonId,
    from: OffsetDateTime,
    to: OffsetDateTime,
) -> Stored<Vec<Stretch>> {
    Ok(sqlx::query_as(
        "select h.booking_id, c.name as client_name, lower(h.span) as from_at, upper(h.span) as to_at, b.made_at
         from booking_hands h join booking b on b.salon_id = h.salon_id and b.booking_id = h.booking_id
         join client c on c.salon_id = b.salon_id and c.client_id = b.client_id
         where h.salon_id = $1 and h.person_id = $2 and h.live and h.starts_at > $3::timestamptz - interval '16 hours' and h.starts_at < $4
           and h.span && tstzrange($3, $4) and b.state in ('booked', 'kept')
         order by h.booking_id, lower(h.span) limit 4000",
    )
    .bind(s.salon.0)
    .bind(person.0)
    .bind(from)
    .bind(to)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Stretches at a kind of place, booking by booking; at most 4000.
pub async fn list_places(
    s: &mut Scoped,
    kind: &str,
    from: OffsetDateTime,
    to: OffsetDateTime,
) -> Stored<Vec<Stretch>> {
    Ok(sqlx::query_as(
        "select o.booking_id, c.name as client_name, lower(o.span) as from_at, upper(o.span) as to_at, b.made_at
         from booking_place o join booking b on b.salon_id = o.salon_id and b.booking_id = o.booking_id
         join client c on c.salon_id = b.salon_id and c.client_id = b.client_id
         where o.salon_id = $1 and o.kind = $2 and o.live and o.starts_at > $3::timestamptz - interval '16 hours' and o.starts_at < $4
           and o.span && tstzrange($3, $4) and b.state in ('booked', 'kept')
         order by o.booking_id, lower(o.span) limit 4000",
    )
    .bind(s.salon.0)
    .bind(kind)
    .bind(from)
    .bind(to)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Every booking of the salon; at most 4000.
pub async fn list_bookings(s: &mut Scoped, from: OffsetDateTime, to: OffsetDateTime) -> Stored<Vec<Stretch>> {
    Ok(sqlx::query_as(
        "select b.booking_id, c.name as client_name, lower(b.span) as from_at, upper(b.span) as to_at, b.made_at
         from booking b join client c on c.salon_id = b.salon_id and c.client_id = b.client_id
         where b.salon_id = $1 and b.starts_at > $2::timestamptz - interval '16 hours' and b.starts_at < $3
           and b.span && tstzrange($2, $3) and b.state in ('booked', 'kept')
         order by b.booking_id limit 4000",
    )
    .bind(s.salon.0)
    .bind(from)
    .bind(to)
    .fetch_all(&mut *s.tx)
    .await?)
}
