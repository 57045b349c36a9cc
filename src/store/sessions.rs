//! Who is signed in where. Columns are updated singly: parallel requests never write over one another.

use time::OffsetDateTime;

use super::{Scoped, Stored};
use crate::domain::ids::{PersonId, RunId, StationId};

/// A session that is still open, with how long it has been idle.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Session {
    pub session_id: i64,
    pub person_id: i64,
    pub station_id: Option<i64>,
    /// Seconds since the person last did something here.
    pub idle_s: f64,
    pub held_run_id: Option<i64>,
    /// True while a chemical step started here keeps the station its person's.
    pub held: bool,
    pub armed_run_id: Option<i64>,
    pub armed: bool,
}

/// The open session of a token, ended ones left out.
pub async fn find_by_token(s: &mut Scoped, token_hash: &[u8]) -> Stored<Option<Session>> {
    Ok(sqlx::query_as(
        "select session_id, person_id, station_id, extract(epoch from rinsebell_now() - seen_at)::float8 as idle_s, held_run_id,
            coalesce(held_until > rinsebell_now(), false) as held, armed_run_id, coalesce(armed_until > rinsebell_now(), false) as armed
         from session where salon_id = $1 and token_hash = $2 and ended_at is null and ends_at > rinsebell_now()",
    )
    .bind(s.salon.0)
    .bind(token_hash)
    .fetch_optional(&mut *s.tx)
    .await?)
}

/// Signs somebody in; at a station the one before is signed out.
pub async fn open(
    s: &mut Scoped,
    token_hash: &[u8],
    person: PersonId,
    station: Option<StationId>,
) -> Stored<i64> {
    if let Some(station) = station {
        end_all_at(s, station).await?;
    }
    insert(s, token_hash, person, station).await
}

async fn insert(
    s: &mut Scoped,
    token_hash: &[u8],
    person: PersonId,
    station: Option<StationId>,
) -> Stored<i64> {
    Ok(sqlx::query_scalar(
        "insert into session (salon_id, token_hash, person_id, station_id, ends_at) values ($1,$2,$3,$4, rinsebell_now() + interval '12 hours')
         returning session_id",
    )
    .bind(s.salon.0)
    .bind(token_hash)
    .bind(person.0)
    .bind(station.map(|x| x.0))
    .fetch_one(&mut *s.tx)
    .await?)
}

/// The person did something: idleness begins anew.
pub async fn touch(s: &mut Scoped, session_id: i64) -> Stored<()> {
    sqlx::query("update session set seen_at = rinsebell_now() where salon_id = $1 and session_id = $2 and seen_at < rinsebell_now() - interval '5 seconds'")
        .bind(s.salon.0)
        .bind(session_id)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// Locks at once (the person walks away); the session stays to be opened again by PIN.
pub async fn end(s: &mut Scoped, session_id: i64) -> Stored<()> {
    sqlx::query("update session set ended_at = rinsebell_now() where salon_id = $1 and session_id = $2 and ended_at is null")
        .bind(s.salon.0)
        .bind(session_id)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// Ends all sessions of somebody (left, disabled, secret reset) .
pub async fn end_all_of(s: &mut Scoped, person: PersonId) -> Stored<()> {
    sqlx::query("update session set ended_at = rinsebell_now() where salon_id = $1 and person_id = $2 and ended_at is null")
        .bind(s.salon.0)
        .bind(person.0)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// While a chemical step runs its station stays with who started it, until 5 minutes past its most time.
pub async fn hold(s: &mut Scoped, session_id: i64, run: RunId, until: OffsetDateTime) -> Stored<()> {
    sqlx::query(
        "update session set held_run_id = $3, held_until = $4 where salon_id = $1 and session_id = $2",
    )
    .bind(s.salon.0)
    .bind(session_id)
    .bind(run.0)
    .bind(until)
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}

/// The chemical step ended: ordinary idleness again.
pub async fn release(s: &mut Scoped, run: RunId) -> Stored<()> {
    sqlx::query("update session set held_run_id = null, held_until = null where salon_id = $1 and held_run_id = $2 and ended_at is null")
        .bind(s.salon.0)
        .bind(run.0)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// "On to the basin": the person's way into another station for this run, ten minutes, no PIN there. Whoever else works
/// there stays signed in (`idle_most_s`: idle for less than that) and is asked whose name the taps bear.
pub async fn arm(
    s: &mut Scoped,
    station: StationId,
    person: PersonId,
    run: RunId,
    token_hash: &[u8],
    idle_most_s: f64,
) -> Stored<i64> {
    sqlx::query(
        "update session set ended_at = rinsebell_now() where salon_id = $1 and station_id = $2 and ended_at is null
           and (person_id = $3 or armed_run_id is not null
             or (seen_at < rinsebell_now() - make_interval(secs => $4) and coalesce(held_until <= rinsebell_now(), true)))",
    )
    .bind(s.salon.0)
    .bind(station.0)
    .bind(person.0)
    .bind(idle_most_s)
    .execute(&mut *s.tx)
    .await?;
    let id = insert(s, token_hash, person, Some(station)).await?;
    sqlx::query("update session set armed_run_id = $3, armed_until = rinsebell_now() + interval '10 minutes' where salon_id = $1 and session_id = $2")
        .bind(s.salon.0)
        .bind(id)
        .bind(run.0)
        .execute(&mut *s.tx)
        .await?;
    Ok(id)
}

/// A session waiting at this station for whoever walks up (armed from elsewhere).
pub async fn find_armed(s: &mut Scoped, station: StationId) -> Stored<Option<Session>> {
    Ok(sqlx::query_as(
        "select session_id, person_id, station_id, extract(epoch from rinsebell_now() - seen_at)::float8 as idle_s, held_run_id,
            coalesce(held_until > rinsebell_now(), false) as held, armed_run_id, true as armed
         from session where salon_id = $1 and station_id = $2 and ended_at is null and armed_until > rinsebell_now()
         order by started_at desc limit 1",
    )
    .bind(s.salon.0)
    .bind(station.0)
    .fetch_optional(&mut *s.tx)
    .await?)
}

/// Ends all sessions at a station (its browser is a stranger from now on).
pub async fn end_all_at(s: &mut Scoped, station: StationId) -> Stored<()> {
    sqlx::query("update session set ended_at = rinsebell_now() where salon_id = $1 and station_id = $2 and ended_at is null")
        .bind(s.salon.0)
        .bind(station.0)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// Closes sign-ins whose time is over; they opened nothing any more.
pub async fn sweep(s: &mut Scoped) -> Stored<u64> {
    Ok(sqlx::query(
        "update session set ended_at = ends_at where salon_id = $1 and ended_at is null and ends_at <= rinsebell_now()",
    )
    .bind(s.salon.0)
    .execute(&mut *s.tx)
    .await?
    .rows_affected())
}
