//! When nobody works: the salon's closed days, and leave of its people.

use time::{Date, OffsetDateTime};

use super::{Scoped, Stored};
use crate::domain::ids::PersonId;

/// A day on which the salon is closed, all of it or before and after some hours.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct ClosedDay {
    pub on_day: Date,
    pub why: String,
    /// Minutes after midnight; none: closed all day.
    pub open_from_min: Option<i16>,
    pub open_to_min: Option<i16>,
}

impl ClosedDay {
    /// Minutes of the day in which it is open all the same.
    #[must_use]
    pub fn open(&self) -> Option<(u16, u16)> {
        let minute = |m: i16| u16::try_from(m).ok();
        self.open_from_min.and_then(minute).zip(self.open_to_min.and_then(minute))
    }
}

/// Closed days from one day to another, both included; at most 500.
pub async fn list_closed_days(s: &mut Scoped, from: Date, to: Date) -> Stored<Vec<ClosedDay>> {
    Ok(sqlx::query_as(
        "select on_day, why, open_from_min, open_to_min from closed_day where salon_id = $1 and on_day between $2 and $3 order by on_day limit 500",
    )
    .bind(s.salon.0)
    .bind(from)
    .bind(to)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// The salon is closed on a day, but for the minutes in which it is open. False when that day stands there already.
pub async fn close_day(
    s: &mut Scoped,
    on: Date,
    open: Option<(u16, u16)>,
    why: &str,
    by: PersonId,
) -> Stored<bool> {
    let minute = |m: u16| i16::try_from(m).unwrap_or(i16::MAX);
    let done = sqlx::query(
        "insert into closed_day (salon_id, on_day, why, noted_by, noted_at, open_from_min, open_to_min)
         values ($1, $2, $3, $4, rinsebell_now(), $5, $6) on conflict (salon_id, on_day) do nothing",
    )
    .bind(s.salon.0)
    .bind(on)
    .bind(why)
    .bind(by.0)
    .bind(open.map(|(from, _)| minute(from)))
    .bind(open.map(|(_, to)| minute(to)))
    .execute(&mut *s.tx)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// It is open again on that day.
pub async fn open_day(s: &mut Scoped, on: Date) -> Stored<()> {
    sqlx::query("delete from closed_day where salon_id = $1 and on_day = $2")
        .bind(s.salon.0)
        .bind(on)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// Somebody's leave.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Leave {
    pub absence_id: i64,
    pub person_name: String,
    pub from_at: OffsetDateTime,
    pub to_at: OffsetDateTime,
}

/// Leave that has not ended, by beginning; at most 200.
pub async fn list_leave(s: &mut Scoped, now: OffsetDateTime) -> Stored<Vec<Leave>> {
    Ok(sqlx::query_as(
        "select a.absence_id, p.name as person_name, lower(a.span) as from_at, upper(a.span) as to_at
         from absence a join person p on p.salon_id = a.salon_id and p.person_id = a.person_id
         where a.salon_id = $1 and a.span && tstzrange($2, null) and p.left_at is null order by lower(a.span), a.absence_id limit 200",
    )
    .bind(s.salon.0)
    .bind(now)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// A booking that takes the hands of somebody who is away.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct InLeave {
    pub absence_id: i64,
    pub booking_id: i64,
    pub client_name: String,
    pub protocol: Option<String>,
    pub purpose: String,
    pub from_at: OffsetDateTime,
}

/// What still stands in leave that has not ended, by beginning; at most 500.
pub async fn list_in_leave(s: &mut Scoped, now: OffsetDateTime) -> Stored<Vec<InLeave>> {
    Ok(sqlx::query_as(
        "select distinct lower(b.span) as from_at, a.absence_id, b.booking_id, c.name as client_name, b.protocol, b.purpose
         from absence a
         join booking_hands h on h.salon_id = a.salon_id and h.person_id = a.person_id and h.live
           and h.starts_at > lower(a.span) - interval '16 hours' and h.starts_at < upper(a.span) and h.span && a.span
         join booking b on b.salon_id = h.salon_id and b.booking_id = h.booking_id and b.state = 'booked'
         join client c on c.salon_id = b.salon_id and c.client_id = b.client_id
         where a.salon_id = $1 and a.span && tstzrange($2, null) order by lower(b.span), b.booking_id limit 500",
    )
    .bind(s.salon.0)
    .bind(now)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Somebody is away from one instant to another.
pub async fn insert_leave(
    s: &mut Scoped,
    person: PersonId,
    from: OffsetDateTime,
    to: OffsetDateTime,
) -> Stored<()> {
    sqlx::query("insert into absence (salon_id, person_id, span) values ($1, $2, tstzrange($3, $4, '[)'))")
        .bind(s.salon.0)
        .bind(person.0)
        .bind(from)
        .bind(to)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// Leave is taken back; false when there is none such.
pub async fn delete_leave(s: &mut Scoped, id: i64) -> Stored<bool> {
    let done = sqlx::query("delete from absence where salon_id = $1 and absence_id = $2")
        .bind(s.salon.0)
        .bind(id)
        .execute(&mut *s.tx)
        .await?;
    Ok(done.rows_affected() == 1)
}
