//! Who is calling whom, and who of the team sees to whom.

use time::OffsetDateTime;

use super::{Scoped, Stored};
use crate::domain::ids::{ClientId, PersonId, StationId};

/// A call somebody has now.
#[derive(Clone, Debug, PartialEq, Eq, sqlx::FromRow)]
pub struct Call {
    pub client_id: i64,
    pub by: i64,
    pub by_name: String,
    pub from_at: OffsetDateTime,
    /// Free again from then.
    pub until_at: OffsetDateTime,
}

/// The call of a client at an instant, if somebody has it.
pub async fn find(s: &mut Scoped, client: ClientId, at: OffsetDateTime) -> Stored<Option<Call>> {
    Ok(sqlx::query_as(
        "select k.client_id, k.by, p.name as by_name, lower(k.span) as from_at, upper(k.span) as until_at
         from call_claim k join person p on p.salon_id = k.salon_id and p.person_id = k.by
         where k.salon_id = $1 and k.client_id = $2 and k.span @> $3::timestamptz limit 1",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(at)
    .fetch_optional(&mut *s.tx)
    .await?)
}

/// Every call under way at an instant; a person has one at most, so no more than the team.
pub async fn list(s: &mut Scoped, at: OffsetDateTime) -> Stored<Vec<Call>> {
    Ok(sqlx::query_as(
        "select k.client_id, k.by, p.name as by_name, lower(k.span) as from_at, upper(k.span) as until_at
         from call_claim k join person p on p.salon_id = k.salon_id and p.person_id = k.by
         where k.salon_id = $1 and k.span @> $2::timestamptz order by k.client_id limit 500",
    )
    .bind(s.salon.0)
    .bind(at)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Takes a client's call. Refused by the database with RB014 in quiet hours and where no contact is wanted, with 23P01
/// while somebody else has it.
pub async fn insert(
    s: &mut Scoped,
    client: ClientId,
    by: PersonId,
    station: Option<StationId>,
) -> Stored<()> {
    sqlx::query(
        "insert into call_claim (salon_id, client_id, by, station_id, span) values ($1, $2, $3, $4, 'empty')",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(by.0)
    .bind(station.map(|x| x.0))
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}

/// Puts down whatever call somebody has; gives the clients that are free again.
pub async fn end_all_of(s: &mut Scoped, by: PersonId, at: OffsetDateTime) -> Stored<Vec<i64>> {
    Ok(sqlx::query_scalar(
        "update call_claim set span = span where salon_id = $1 and by = $2 and span @> $3::timestamptz returning client_id",
    )
    .bind(s.salon.0)
    .bind(by.0)
    .bind(at)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Puts down somebody's call of one client.
pub async fn end_of_client(s: &mut Scoped, client: ClientId, by: PersonId) -> Stored<()> {
    sqlx::query(
        "update call_claim set span = span where salon_id = $1 and client_id = $2 and by = $3 and span @> rinsebell_now()",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(by.0)
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}

/// Somebody of the team sees to a client, or nobody does.
pub async fn assign(s: &mut Scoped, client: ClientId, to: Option<PersonId>, by: PersonId) -> Stored<()> {
    sqlx::query(
        "insert into due_assignment (salon_id, client_id, person_id, by, at) values ($1, $2, $3, $4, rinsebell_now())
         on conflict (salon_id, client_id) do update set person_id = excluded.person_id, by = excluded.by, at = excluded.at",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(to.map(|x| x.0))
    .bind(by.0)
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}

/// Who sees to a client.
pub async fn find_assigned(s: &mut Scoped, client: ClientId) -> Stored<Option<i64>> {
    Ok(sqlx::query_scalar(
        "select person_id from due_assignment where salon_id = $1 and client_id = $2 and person_id is not null",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .fetch_optional(&mut *s.tx)
    .await?)
}
