//! When somebody works, and how many places of a kind there are.

use time::OffsetDateTime;

use super::openings::Taken;
use super::{Scoped, Stored};
use crate::domain::ids::{ClientId, PersonId};

/// One span of work on one day of the week, minutes after 00:00 on the wall clock.
#[derive(Clone, Copy, Debug, PartialEq, Eq, sqlx::FromRow)]
pub struct Hours {
    /// 1 Monday to 7 Sunday (ISO 8601).
    pub weekday: i16,
    pub opens_min: i32,
    /// Up to 1440: 24:00.
    pub closes_min: i32,
}

/// Somebody's regular hours; at most 50 spans.
pub async fn list(s: &mut Scoped, person: PersonId) -> Stored<Vec<Hours>> {
    Ok(sqlx::query_as(
        "select weekday, extract(epoch from opens)::int / 60 as opens_min, extract(epoch from closes)::int / 60 as closes_min
         from hours where salon_id = $1 and person_id = $2 order by weekday, opens limit 50",
    )
    .bind(s.salon.0)
    .bind(person.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Replaces somebody's regular hours.
pub async fn replace(s: &mut Scoped, person: PersonId, hours: &[Hours]) -> Stored<()> {
    sqlx::query("delete from hours where salon_id = $1 and person_id = $2")
        .bind(s.salon.0)
        .bind(person.0)
        .execute(&mut *s.tx)
        .await?;
    for h in hours {
        let wall = |min: i32| format!("{:02}:{:02}", min / 60, min % 60);
        sqlx::query("insert into hours (salon_id, person_id, weekday, opens, closes) values ($1, $2, $3, $4::text::time, $5::text::time)")
            .bind(s.salon.0)
            .bind(person.0)
            .bind(h.weekday)
            .bind(wall(h.opens_min))
            .bind(wall(h.closes_min))
            .execute(&mut *s.tx)
            .await?;
    }
    Ok(())
}

/// How many places of one kind.
#[derive(Clone, Debug, PartialEq, Eq, sqlx::FromRow)]
pub struct PlaceCount {
    /// chair, basin, hood.
    pub kind: String,
    pub count: i16,
}

/// The places of the salon by kind.
pub async fn list_places(s: &mut Scoped) -> Stored<Vec<PlaceCount>> {
    Ok(sqlx::query_as("select kind, count from place_kind where salon_id = $1 order by kind limit 20")
        .bind(s.salon.0)
        .fetch_all(&mut *s.tx)
        .await?)
}

/// Says how many places of a kind there are from now on; bookings made before stand.
pub async fn set_places(s: &mut Scoped, kind: &str, count: i16) -> Stored<()> {
    sqlx::query(
        "insert into place_kind (salon_id, kind, count) values ($1, $2, $3) on conflict (salon_id, kind) do update set count = excluded.count",
    )
    .bind(s.salon.0)
    .bind(kind)
    .bind(count)
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}

/// Hands that bookings of other clients take in a stretch of time; at most 5000.
pub async fn list_taken_elsewhere(
    s: &mut Scoped,
    client: ClientId,
    from: OffsetDateTime,
    to: OffsetDateTime,
) -> Stored<Vec<Taken<i64>>> {
    Ok(sqlx::query_as(
        "select h.person_id as what, lower(h.span) as from_at, upper(h.span) as to_at from booking_hands h
         join booking b on b.salon_id = h.salon_id and b.booking_id = h.booking_id
         where h.salon_id = $1 and h.live and h.starts_at > $2::timestamptz - interval '16 hours' and h.starts_at < $3
           and h.span && tstzrange($2, $3) and b.client_id <> $4 and b.state in ('booked', 'kept')
         order by lower(h.span) limit 5000",
    )
    .bind(s.salon.0)
    .bind(from)
    .bind(to)
    .bind(client.0)
    .fetch_all(&mut *s.tx)
    .await?)
}
