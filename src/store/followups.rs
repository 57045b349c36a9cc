//! Tries to reach a client.

use time::{Date, OffsetDateTime};

use super::{Scoped, Stored};
use crate::domain::call::Way;
use crate::domain::followup::{NextStep, Outcome};
use crate::domain::ids::{BookingId, ClientId, FollowupId, PersonId};

/// One try as kept.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Followup {
    pub at: OffsetDateTime,
    pub by_name: String,
    pub outcome: String,
    /// we-called, they-called.
    pub way: String,
    pub next_step: Option<String>,
    pub next_on: Option<Date>,
    pub note: String,
}

/// What is written of a try.
#[derive(Clone, Copy, Debug)]
pub struct NewFollowup<'a> {
    pub client: ClientId,
    pub by: PersonId,
    pub outcome: Outcome,
    /// The database refuses [`Way::WeCalled`] in quiet hours, where no contact is wanted, where another has the call.
    pub way: Way,
    pub next_step: Option<NextStep>,
    pub next_on: Option<Date>,
    /// At most 500 characters.
    pub note: &'a str,
    pub booking: Option<BookingId>,
}

/// The last 50 tries, newest first.
pub async fn list(s: &mut Scoped, client: ClientId) -> Stored<Vec<Followup>> {
    Ok(sqlx::query_as(
        "select f.at, p.name as by_name, f.outcome, f.way, f.next_step, f.next_on, f.note
         from followup f join person p on p.salon_id = f.salon_id and p.person_id = f.by
         where f.salon_id = $1 and f.client_id = $2 order by f.at desc limit 50",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Notes a try.
pub async fn insert(s: &mut Scoped, new: &NewFollowup<'_>) -> Stored<FollowupId> {
    let id: i64 = sqlx::query_scalar(
        "insert into followup (salon_id, client_id, at, by, outcome, way, next_step, next_on, note, booking_id)
         values ($1,$2, rinsebell_now(), $3,$4,$5,$6,$7,$8,$9) returning followup_id",
    )
    .bind(s.salon.0)
    .bind(new.client.0)
    .bind(new.by.0)
    .bind(new.outcome.code())
    .bind(new.way.code())
    .bind(new.next_step.map(NextStep::code))
    .bind(new.next_on)
    .bind(new.note)
    .bind(new.booking.map(|b| b.0))
    .fetch_one(&mut *s.tx)
    .await?;
    Ok(FollowupId(id))
}

/// What was noted since an instant: how many tries, and how many bookings among them.
pub async fn count_since(s: &mut Scoped, from: OffsetDateTime) -> Stored<(i64, i64)> {
    Ok(sqlx::query_as(
        "select count(*), count(*) filter (where outcome = 'booked') from followup where salon_id = $1 and at >= $2",
    )
    .bind(s.salon.0)
    .bind(from)
    .fetch_one(&mut *s.tx)
    .await?)
}

/// Keeps the client's wish about being contacted.
pub async fn set_no_contact(s: &mut Scoped, client: ClientId, no_contact: bool) -> Stored<()> {
    sqlx::query("update client set no_contact = $3, version = version + 1 where salon_id = $1 and client_id = $2 and no_contact <> $3")
        .bind(s.salon.0)
        .bind(client.0)
        .bind(no_contact)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}
