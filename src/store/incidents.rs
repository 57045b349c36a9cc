//! Incidents and the accounts written of them.

use time::{Date, OffsetDateTime};

use super::{Scoped, Stored};
use crate::domain::ids::{ClientId, IncidentId, PersonId};

/// Most incidents of one page.
pub const PAGE: i64 = 50;

/// An incident with what its newest account says.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Incident {
    pub incident_id: i64,
    pub client_id: i64,
    pub client_name: String,
    /// The person was erased: nothing more is written.
    pub client_erased: bool,
    pub run_id: Option<i64>,
    /// The service's title, of a run.
    pub service: Option<String>,
    pub opened_at: OffsetDateTime,
    /// stop-and-rinse, sting, over-processed, most-time-passed, late-breach, other.
    pub kind: String,
    pub place: Option<String>,
    pub opened_by_name: Option<String>,
    pub signs: Option<Vec<String>>,
    pub serious: Option<Vec<String>>,
    pub follow_on: Option<Date>,
    /// None: no account yet.
    pub closed: Option<bool>,
}

/// Incidents before `before`, newest first; open ones alone or all; one more than a page.
pub async fn list(s: &mut Scoped, open_only: bool, before: Option<i64>) -> Stored<Vec<Incident>> {
    Ok(sqlx::query_as(
        "select i.incident_id, i.client_id, c.name as client_name, c.erased_at is not null as client_erased, i.run_id, v.title as service, i.opened_at, i.kind, i.place,
            p.name as opened_by_name, a.signs, a.serious, a.follow_on, a.closed
         from incident i join client c on c.salon_id = i.salon_id and c.client_id = i.client_id
         left join run r on r.salon_id = i.salon_id and r.run_id = i.run_id
         left join protocol_revision v on v.salon_id = r.salon_id and v.protocol = r.protocol and v.revision = r.revision
         left join person p on p.salon_id = i.salon_id and p.person_id = i.opened_by
         left join lateral (select x.signs, x.serious, x.follow_on, x.closed from incident_account x
            where x.salon_id = i.salon_id and x.incident_id = i.incident_id order by x.account_id desc limit 1) a on true
         where i.salon_id = $1 and i.incident_id < $2 and (not $3 or not coalesce(a.closed, false))
         order by i.incident_id desc limit $4",
    )
    .bind(s.salon.0)
    .bind(before.unwrap_or(i64::MAX))
    .bind(open_only)
    .bind(PAGE + 1)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// One incident.
pub async fn find(s: &mut Scoped, id: IncidentId) -> Stored<Option<Incident>> {
    Ok(sqlx::query_as(
        "select i.incident_id, i.client_id, c.name as client_name, c.erased_at is not null as client_erased, i.run_id, v.title as service, i.opened_at, i.kind, i.place,
            p.name as opened_by_name, a.signs, a.serious, a.follow_on, a.closed
         from incident i join client c on c.salon_id = i.salon_id and c.client_id = i.client_id
         left join run r on r.salon_id = i.salon_id and r.run_id = i.run_id
         left join protocol_revision v on v.salon_id = r.salon_id and v.protocol = r.protocol and v.revision = r.revision
         left join person p on p.salon_id = i.salon_id and p.person_id = i.opened_by
         left join lateral (select x.signs, x.serious, x.follow_on, x.closed from incident_account x
            where x.salon_id = i.salon_id and x.incident_id = i.incident_id order by x.account_id desc limit 1) a on true
         where i.salon_id = $1 and i.incident_id = $2",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .fetch_optional(&mut *s.tx)
    .await?)
}

/// Opens an incident that no run recorded: told afterwards.
pub async fn insert(s: &mut Scoped, client: ClientId, run: Option<i64>, by: PersonId) -> Stored<IncidentId> {
    let id: i64 = sqlx::query_scalar(
        "insert into incident (salon_id, client_id, run_id, opened_at, kind, opened_by)
         values ($1,$2,$3, rinsebell_now(), 'other', $4) returning incident_id",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(run)
    .bind(by.0)
    .fetch_one(&mut *s.tx)
    .await?;
    Ok(IncidentId(id))
}

/// The client's newest run that began before now, for an incident told afterwards.
pub async fn find_last_run(s: &mut Scoped, client: ClientId) -> Stored<Option<i64>> {
    Ok(sqlx::query_scalar(
        "select run_id from run where salon_id = $1 and client_id = $2 order by started_at desc, run_id desc limit 1",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .fetch_optional(&mut *s.tx)
    .await?)
}

/// An account as kept.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Account {
    pub account_id: i64,
    pub onset_at: OffsetDateTime,
    pub signs: Vec<String>,
    pub sites: String,
    pub serious: Vec<String>,
    pub aid: Vec<String>,
    pub doctor: String,
    pub maker_told: bool,
    pub authority_told: bool,
    /// Gone after an erasure.
    pub words: Option<String>,
    pub follow_on: Option<Date>,
    pub closed: bool,
    pub by_name: String,
    pub at: OffsetDateTime,
}

/// The accounts of an incident, newest first; at most 50.
pub async fn list_accounts(s: &mut Scoped, id: IncidentId) -> Stored<Vec<Account>> {
    Ok(sqlx::query_as(
        "select a.account_id, a.onset_at, a.signs, a.sites, a.serious, a.aid, a.doctor, a.maker_told, a.authority_told,
            w.body as words, a.follow_on, a.closed, p.name as by_name, a.at
         from incident_account a join person p on p.salon_id = a.salon_id and p.person_id = a.by
         left join answer w on w.salon_id = a.salon_id and w.answer_id = a.words_id
         where a.salon_id = $1 and a.incident_id = $2 order by a.account_id desc limit 50",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// What is written of a new account.
pub struct NewAccount<'a> {
    pub incident: IncidentId,
    pub client: ClientId,
    pub onset_at: OffsetDateTime,
    pub signs: &'a [&'static str],
    pub sites: &'a str,
    pub serious: &'a [&'static str],
    pub aid: &'a [&'static str],
    pub doctor: &'static str,
    pub maker_told: bool,
    pub authority_told: bool,
    pub words_id: Option<i64>,
    pub follow_on: Option<Date>,
    pub closed: bool,
    pub by: PersonId,
}

/// Writes an account over `newest` (the newest one the page showed; none: there was none). False when somebody was first.
pub async fn insert_account(s: &mut Scoped, a: &NewAccount<'_>, newest: Option<i64>) -> Stored<bool> {
    // One writer an incident at a time: what the page showed is compared with what is there.
    sqlx::query(
        "select pg_advisory_xact_lock(hashtextextended('incident ' || $1::bigint || ' ' || $2::bigint, 0))",
    )
    .bind(s.salon.0)
    .bind(a.incident.0)
    .execute(&mut *s.tx)
    .await?;
    let there: Option<i64> = sqlx::query_scalar(
        "select account_id from incident_account where salon_id = $1 and incident_id = $2 order by account_id desc limit 1",
    )
    .bind(s.salon.0)
    .bind(a.incident.0)
    .fetch_optional(&mut *s.tx)
    .await?;
    if there != newest {
        return Ok(false);
    }
    sqlx::query(
        "insert into incident_account (salon_id, incident_id, client_id, onset_at, signs, sites, serious, aid, doctor, maker_told,
            authority_told, words_id, follow_on, closed, by)
         values ($1,$2,$3,$4,$5,$6,$7,$8,$9,$10,$11,$12,$13,$14,$15)",
    )
    .bind(s.salon.0)
    .bind(a.incident.0)
    .bind(a.client.0)
    .bind(a.onset_at)
    .bind(a.signs)
    .bind(a.sites)
    .bind(a.serious)
    .bind(a.aid)
    .bind(a.doctor)
    .bind(a.maker_told)
    .bind(a.authority_told)
    .bind(a.words_id)
    .bind(a.follow_on)
    .bind(a.closed)
    .bind(a.by.0)
    .execute(&mut *s.tx)
    .await?;
    Ok(true)
}

/// A lot that met the client in a run.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Met {
    pub product: String,
    pub lot: String,
    pub best_before: Option<Date>,
    pub first_at: OffsetDateTime,
    pub grams: f32,
}

/// The lots dispensed in a run, in the order they were first.
pub async fn list_met(s: &mut Scoped, run: i64) -> Stored<Vec<Met>> {
    Ok(sqlx::query_as(
        "select p.name as product, l.code as lot, l.best_before, min(e.recorded_at) as first_at, sum(d.grams)::real as grams
         from dispensed d join run_event e on e.salon_id = d.salon_id and e.run_id = d.run_id and e.seq = d.seq
           join lot l on l.salon_id = d.salon_id and l.lot_id = d.lot_id join product p on p.salon_id = l.salon_id and p.product_id = l.product_id
         where d.salon_id = $1 and d.run_id = $2 group by p.name, l.code, l.best_before order by min(e.recorded_at), p.name limit 100",
    )
    .bind(s.salon.0)
    .bind(run)
    .fetch_all(&mut *s.tx)
    .await?)
}
