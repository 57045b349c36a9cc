//! The waiting list, and the times that cancellations freed.

use time::{Date, OffsetDateTime, Weekday};

use super::{Scoped, Stored};
use crate::domain::ids::{ClientId, PersonId, WaitingId};
use crate::domain::waiting::Would;

/// Somebody who waits.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Waiting {
    pub waiting_id: i64,
    pub client_id: i64,
    pub client_name: String,
    pub no_contact: bool,
    pub protocol: String,
    pub from_on: Date,
    pub until_on: Date,
    /// ISO days of the week; empty: any.
    pub weekdays: Vec<i16>,
    pub from_min: i16,
    pub until_min: i16,
    pub note: String,
    pub made_at: OffsetDateTime,
    /// When the demarcation gets weak, where this service is the one due.
    pub latest_on: Option<Date>,
}

impl Waiting {
    /// The times that would do.
    #[must_use]
    pub fn would(&self) -> Would {
        let days = self.weekdays.iter().filter_map(|n| u8::try_from(*n - 1).ok());
        Would {
            from_on: self.from_on,
            until_on: self.until_on,
            weekdays: days.map(|n| Weekday::Monday.nth_next(n)).collect(),
            from_min: u16::try_from(self.from_min).unwrap_or(0),
            until_min: u16::try_from(self.until_min).unwrap_or(1439),
        }
    }
}

/// Who waits still on a day or after it, whom waiting costs most first (the latest week, then who asked first); at
/// most 200.
pub async fn list_open(s: &mut Scoped, today: Date) -> Stored<Vec<Waiting>> {
    Ok(sqlx::query_as(
        "select w.waiting_id, w.client_id, c.name as client_name, c.no_contact, w.protocol, w.from_on, w.until_on, w.weekdays, w.from_min,
            w.until_min, w.note, w.made_at, d.latest_on
         from waiting w join client c on c.salon_id = w.salon_id and c.client_id = w.client_id
         left join due d on d.salon_id = w.salon_id and d.client_id = w.client_id and d.protocol = w.protocol
         where w.salon_id = $1 and w.ended_at is null and w.until_on >= $2
         order by d.latest_on nulls last, w.made_at, w.waiting_id limit 200",
    )
    .bind(s.salon.0)
    .bind(today)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// What is written of somebody who waits.
#[derive(Clone, Debug)]
pub struct NewWaiting<'a> {
    pub client: ClientId,
    pub protocol: &'a str,
    pub would: &'a Would,
    /// At most 300 characters.
    pub note: &'a str,
    pub by: PersonId,
}

/// Somebody waits from now on. Who waited for this service before waits by the new wish alone.
pub async fn insert(s: &mut Scoped, new: &NewWaiting<'_>) -> Stored<WaitingId> {
    end_of_client(s, new.client, new.protocol, "taken-off", new.by).await?;
    let weekdays: Vec<i16> =
        new.would.weekdays.iter().map(|day| i16::from(day.number_from_monday())).collect();
    let id: i64 = sqlx::query_scalar(
        "insert into waiting (salon_id, client_id, protocol, from_on, until_on, weekdays, from_min, until_min, note, made_by, made_at)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, rinsebell_now()) returning waiting_id",
    )
    .bind(s.salon.0)
    .bind(new.client.0)
    .bind(new.protocol)
    .bind(new.would.from_on)
    .bind(new.would.until_on)
    .bind(weekdays)
    .bind(i16::try_from(new.would.from_min).unwrap_or(0))
    .bind(i16::try_from(new.would.until_min).unwrap_or(1439))
    .bind(new.note)
    .bind(new.by.0)
    .fetch_one(&mut *s.tx)
    .await?;
    Ok(WaitingId(id))
}

/// A client waits no longer for a service: "booked" or "taken-off".
pub async fn end_of_client(
    s: &mut Scoped,
    client: ClientId,
    protocol: &str,
    how: &str,
    by: PersonId,
) -> Stored<()> {
    sqlx::query(
        "update waiting set ended_at = rinsebell_now(), ended_how = $4, ended_by = $5
         where salon_id = $1 and client_id = $2 and protocol = $3 and ended_at is null",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(protocol)
    .bind(how)
    .bind(by.0)
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}

/// One wish is taken off the list; false when it is not on it.
pub async fn take_off(s: &mut Scoped, id: WaitingId, by: PersonId) -> Stored<bool> {
    let done = sqlx::query(
        "update waiting set ended_at = rinsebell_now(), ended_how = 'taken-off', ended_by = $3
         where salon_id = $1 and waiting_id = $2 and ended_at is null",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .bind(by.0)
    .execute(&mut *s.tx)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// A service that was cancelled or missed and would still be to come: a time that is free.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Freed {
    pub booking_id: i64,
    pub from_at: OffsetDateTime,
    pub to_at: OffsetDateTime,
    pub protocol: Option<String>,
}

/// Services cancelled from `now` on within the given end, by beginning; at most 20.
pub async fn list_freed(s: &mut Scoped, now: OffsetDateTime, until: OffsetDateTime) -> Stored<Vec<Freed>> {
    Ok(sqlx::query_as(
        "select booking_id, lower(span) as from_at, upper(span) as to_at, protocol from booking
         where salon_id = $1 and starts_at >= $2 and starts_at < $3 and state = 'cancelled' and purpose = 'service'
         order by starts_at, booking_id limit 20",
    )
    .bind(s.salon.0)
    .bind(now)
    .bind(until)
    .fetch_all(&mut *s.tx)
    .await?)
}
