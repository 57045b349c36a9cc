//! Kept appointments with the hands and places they hold.

use time::OffsetDateTime;

use super::{Scoped, Stored};
use crate::domain::ids::{BookingId, ClientId, PersonId};

/// What is written of a new booking.
pub struct NewBooking<'a> {
    pub client: ClientId,
    /// "service" or "patch-test".
    pub purpose: &'a str,
    pub protocol: Option<&'a str>,
    pub from: OffsetDateTime,
    pub to: OffsetDateTime,
    /// The service a patch-test visit is for.
    pub patch_for: Option<BookingId>,
    pub made_by: PersonId,
    /// Who is needed when.
    pub hands: &'a [(PersonId, OffsetDateTime, OffsetDateTime)],
    /// Which kind of place is needed when.
    pub places: &'a [(String, OffsetDateTime, OffsetDateTime)],
}

/// Bookings of a salon are written one after the other: two that meet would otherwise each wait for the other's
/// hands and one would die of it. The database refuses a double booking with or without this lock.
pub async fn lock_calendar(s: &mut Scoped) -> Stored<()> {
    sqlx::query("select pg_advisory_xact_lock(hashtextextended('calendar ' || $1::bigint, 0))")
        .bind(s.salon.0)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// Writes a booking, then its hands, then its places (kinds in order, so that locks are taken in one order).
/// Refused by the database with 23P01 when hands are taken, with RB007 when places are.
pub async fn insert(s: &mut Scoped, new: &NewBooking<'_>) -> Stored<BookingId> {
    let id: i64 = sqlx::query_scalar(
        "insert into booking (salon_id, client_id, purpose, protocol, span, patch_for, made_by, made_at)
         values ($1,$2,$3,$4, tstzrange($5,$6,'[)'), $7,$8, rinsebell_now()) returning booking_id",
    )
    .bind(s.salon.0)
    .bind(new.client.0)
    .bind(new.purpose)
    .bind(new.protocol)
    .bind(new.from)
    .bind(new.to)
    .bind(new.patch_for.map(|b| b.0))
    .bind(new.made_by.0)
    .fetch_one(&mut *s.tx)
    .await?;
    for (part, (person, from, to)) in new.hands.iter().enumerate() {
        sqlx::query(
            "insert into booking_hands (salon_id, booking_id, part_no, person_id, span) values ($1,$2,$3,$4, tstzrange($5,$6,'[)'))",
        )
        .bind(s.salon.0)
        .bind(id)
        .bind(part as i16)
        .bind(person.0)
        .bind(from)
        .bind(to)
        .execute(&mut *s.tx)
        .await?;
    }
    let mut places: Vec<_> = new.places.iter().enumerate().collect();
    places.sort_by(|(_, a), (_, b)| a.0.cmp(&b.0).then(a.1.cmp(&b.1)));
    for (part, (kind, from, to)) in places {
        sqlx::query(
            "insert into booking_place (salon_id, booking_id, part_no, kind, span) values ($1,$2,$3,$4, tstzrange($5,$6,'[)'))",
        )
        .bind(s.salon.0)
        .bind(id)
        .bind(part as i16)
        .bind(kind)
        .bind(from)
        .bind(to)
        .execute(&mut *s.tx)
        .await?;
    }
    Ok(BookingId(id))
}

/// A booking as kept.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Booking {
    pub booking_id: i64,
    pub client_id: i64,
    pub client_name: String,
    pub purpose: String,
    pub protocol: Option<String>,
    pub from_at: OffsetDateTime,
    pub to_at: OffsetDateTime,
    /// booked, cancelled, kept, missed.
    pub state: String,
    pub patch_for: Option<i64>,
    pub made_by_name: String,
    pub made_at: OffsetDateTime,
    pub reason: Option<String>,
    pub version: i32,
}

/// One booking.
pub async fn find(s: &mut Scoped, id: BookingId) -> Stored<Option<Booking>> {
    Ok(sqlx::query_as(
        "select b.booking_id, b.client_id, c.name as client_name, b.purpose, b.protocol, lower(b.span) as from_at, upper(b.span) as to_at,
            b.state, b.patch_for, p.name as made_by_name, b.made_at, b.reason, b.version
         from booking b join client c on c.salon_id = b.salon_id and c.client_id = b.client_id
         join person p on p.salon_id = b.salon_id and p.person_id = b.made_by
         where b.salon_id = $1 and b.booking_id = $2",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .fetch_optional(&mut *s.tx)
    .await?)
}

/// The patch-test visits booked for a service, newest first; at most 10.
pub async fn list_patch_visits(s: &mut Scoped, service: &Booking) -> Stored<Vec<Booking>> {
    Ok(sqlx::query_as(
        "select b.booking_id, b.client_id, c.name as client_name, b.purpose, b.protocol, lower(b.span) as from_at, upper(b.span) as to_at,
            b.state, b.patch_for, p.name as made_by_name, b.made_at, b.reason, b.version
         from booking b join client c on c.salon_id = b.salon_id and c.client_id = b.client_id
         join person p on p.salon_id = b.salon_id and p.person_id = b.made_by
         where b.salon_id = $1 and b.client_id = $2 and b.patch_for = $3 order by lower(b.span) desc limit 10",
    )
    .bind(s.salon.0)
    .bind(service.client_id)
    .bind(service.booking_id)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// A client's bookings that meet a stretch of time and are not cancelled or missed; at most 20.
pub async fn list_of_client(
    s: &mut Scoped,
    client: ClientId,
    from: OffsetDateTime,
    to: OffsetDateTime,
) -> Stored<Vec<Booking>> {
    Ok(sqlx::query_as(
        "select b.booking_id, b.client_id, c.name as client_name, b.purpose, b.protocol, lower(b.span) as from_at, upper(b.span) as to_at,
            b.state, b.patch_for, p.name as made_by_name, b.made_at, b.reason, b.version
         from booking b join client c on c.salon_id = b.salon_id and c.client_id = b.client_id
         join person p on p.salon_id = b.salon_id and p.person_id = b.made_by
         where b.salon_id = $1 and b.client_id = $2 and b.state in ('booked', 'kept') and b.span && tstzrange($3, $4)
         order by lower(b.span) limit 20",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(from)
    .bind(to)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Every booking that meets a stretch of time, cancelled ones left out, by beginning; at most 500.
pub async fn list_between(s: &mut Scoped, from: OffsetDateTime, to: OffsetDateTime) -> Stored<Vec<Booking>> {
    Ok(sqlx::query_as(
        "select b.booking_id, b.client_id, c.name as client_name, b.purpose, b.protocol, lower(b.span) as from_at, upper(b.span) as to_at,
            b.state, b.patch_for, p.name as made_by_name, b.made_at, b.reason, b.version
         from booking b join client c on c.salon_id = b.salon_id and c.client_id = b.client_id
         join person p on p.salon_id = b.salon_id and p.person_id = b.made_by
         where b.salon_id = $1 and b.starts_at > $2::timestamptz - interval '16 hours' and b.starts_at < $3 and b.span && tstzrange($2, $3)
           and b.state <> 'cancelled'
         order by lower(b.span), b.booking_id limit 500",
    )
    .bind(s.salon.0)
    .bind(from)
    .bind(to)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Hands held by a booking, or places.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Held {
    pub booking_id: i64,
    /// The person's name, or the kind of place.
    pub what: String,
    /// The person's id; 0 for a place.
    pub person_id: i64,
    pub from_at: OffsetDateTime,
    pub to_at: OffsetDateTime,
}

/// The hands of these bookings, live or not, by beginning, the first pair before the second; at most 5000.
pub async fn list_hands(s: &mut Scoped, bookings: &[i64]) -> Stored<Vec<Held>> {
    Ok(sqlx::query_as(
        "select h.booking_id, p.name as what, h.person_id, lower(h.span) as from_at, upper(h.span) as to_at
         from booking_hands h join person p on p.salon_id = h.salon_id and p.person_id = h.person_id
         where h.salon_id = $1 and h.booking_id = any ($2) order by lower(h.span), h.booking_id, h.part_no limit 5000",
    )
    .bind(s.salon.0)
    .bind(bookings)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// The places of these bookings, live or not, by beginning; at most 5000.
pub async fn list_places(s: &mut Scoped, bookings: &[i64]) -> Stored<Vec<Held>> {
    Ok(sqlx::query_as(
        "select booking_id, kind as what, 0::bigint as person_id, lower(span) as from_at, upper(span) as to_at
         from booking_place where salon_id = $1 and booking_id = any ($2) order by kind, lower(span) limit 5000",
    )
    .bind(s.salon.0)
    .bind(bookings)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Changes the state of a booking that still has this version and is still booked; false when somebody was first.
pub async fn set_state(
    s: &mut Scoped,
    id: BookingId,
    version: i32,
    state: &str,
    reason: Option<&str>,
) -> Stored<bool> {
    let changed = sqlx::query(
        "update booking set state = $4, reason = $5, version = version + 1
         where salon_id = $1 and booking_id = $2 and version = $3 and state = 'booked'",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .bind(version)
    .bind(state)
    .bind(reason)
    .execute(&mut *s.tx)
    .await?;
    Ok(changed.rows_affected() == 1)
}

/// Gives hands and places of a booking free.
pub async fn free(s: &mut Scoped, id: BookingId) -> Stored<()> {
    sqlx::query("update booking_hands set live = false where salon_id = $1 and booking_id = $2 and live")
        .bind(s.salon.0)
        .bind(id.0)
        .execute(&mut *s.tx)
        .await?;
    sqlx::query("update booking_place set live = false where salon_id = $1 and booking_id = $2 and live")
        .bind(s.salon.0)
        .bind(id.0)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// A patch test that waits to be read.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Unread {
    pub client_id: i64,
    pub client_name: String,
    pub placed_at: OffsetDateTime,
}

/// Patch tests placed between two instants and not yet read, one line a client, by when they were placed; at most 100.
pub async fn list_unread_skin_tests(
    s: &mut Scoped,
    from: OffsetDateTime,
    to: OffsetDateTime,
) -> Stored<Vec<Unread>> {
    Ok(sqlx::query_as(
        "select t.client_id, c.name as client_name, max(t.placed_at) as placed_at
         from skin_test t join client c on c.salon_id = t.salon_id and c.client_id = t.client_id
         where t.salon_id = $1 and t.read_at is null and t.placed_at >= $2 and t.placed_at < $3
         group by t.client_id, c.name order by max(t.placed_at) limit 100",
    )
    .bind(s.salon.0)
    .bind(from)
    .bind(to)
    .fetch_all(&mut *s.tx)
    .await?)
}
