//! When each client is due again.

use time::Date;

use super::{Scoped, Stored};
use crate::domain::growth::visits::{Did, Visit};
use crate::domain::ids::ClientId;

/// A due estimate as kept: rate in mm of stretched hair a day, days local to the salon.
#[derive(Clone, Debug, PartialEq, sqlx::FromRow)]
pub struct Due {
    pub client_id: i64,
    /// The service due, by its protocol's code.
    pub protocol: String,
    /// The last service of that chemistry.
    pub last_on: Date,
    pub target_mm: f32,
    pub rate_mm: f32,
    pub rate_sd: f32,
    pub early_on: Date,
    pub middle_on: Date,
    /// Open-ended when absent.
    pub late_on: Option<Date>,
    pub least_on: Date,
    /// The deadline.
    pub latest_on: Date,
    /// The run that was the last service, if it was given here.
    pub run_id: Option<i64>,
}

/// Keeps a client's estimate, in place of an earlier one.
pub async fn upsert(s: &mut Scoped, due: &Due) -> Stored<()> {
    sqlx::query(
        "insert into due (salon_id, client_id, protocol, last_on, target_mm, rate_mm, rate_sd, early_on, middle_on, late_on,
            least_on, latest_on, run_id, made_at)
         values ($1,$2,$3,$4,$5,$6,$7,$8,$9,$10,$11,$12,$13, rinsebell_now())
         on conflict (salon_id, client_id) do update set protocol = excluded.protocol, last_on = excluded.last_on,
            target_mm = excluded.target_mm, rate_mm = excluded.rate_mm, rate_sd = excluded.rate_sd, early_on = excluded.early_on,
            middle_on = excluded.middle_on, late_on = excluded.late_on, least_on = excluded.least_on, latest_on = excluded.latest_on,
            run_id = excluded.run_id, made_at = excluded.made_at",
    )
    .bind(s.salon.0)
    .bind(due.client_id)
    .bind(&due.protocol)
    .bind(due.last_on)
    .bind(due.target_mm)
    .bind(due.rate_mm)
    .bind(due.rate_sd)
    .bind(due.early_on)
    .bind(due.middle_on)
    .bind(due.late_on)
    .bind(due.least_on)
    .bind(due.latest_on)
    .bind(due.run_id)
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}

/// One client's estimate.
pub async fn find(s: &mut Scoped, client: ClientId) -> Stored<Option<Due>> {
    Ok(sqlx::query_as(
        "select client_id, protocol, last_on, target_mm, rate_mm, rate_sd, early_on, middle_on, late_on, least_on, latest_on, run_id
         from due where salon_id = $1 and client_id = $2",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .fetch_optional(&mut *s.tx)
    .await?)
}

/// Clients due for one service, by number from the one after `after`, two hundred at a time.
pub async fn list_of_service(s: &mut Scoped, protocol: &str, after: ClientId) -> Stored<Vec<Due>> {
    Ok(sqlx::query_as(
        "select client_id, protocol, last_on, target_mm, rate_mm, rate_sd, early_on, middle_on, late_on, least_on, latest_on, run_id
         from due where salon_id = $1 and client_id > $3 and protocol = $2 order by client_id limit 200",
    )
    .bind(s.salon.0)
    .bind(protocol)
    .bind(after.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Who was last served with what that comes again: a finished run of a client.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct LastRun {
    pub run_id: i64,
    pub protocol: String,
}

/// The newest finished run of one of these services.
pub async fn find_last_run(s: &mut Scoped, client: ClientId, services: &[&str]) -> Stored<Option<LastRun>> {
    Ok(sqlx::query_as(
        "select run_id, protocol from run where salon_id = $1 and client_id = $2 and ended_how = 'finished' and protocol = any($3)
         order by started_at desc limit 1",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(services)
    .fetch_optional(&mut *s.tx)
    .await?)
}

/// What was put on and measured on one head, with the family of what was put on.
#[derive(Clone, Debug)]
pub struct GrowthEvent {
    pub client_id: i64,
    pub visit: Visit,
    /// Code of the family, on an application.
    pub family: Option<String>,
    /// Written into the strand by a service given here.
    pub by_run: bool,
}

#[derive(sqlx::FromRow)]
struct EventRow {
    client_id: i64,
    by_run: bool,
    on_day: Date,
    did: String,
    family: Option<String>,
    at_scalp: bool,
    mm: Option<f64>,
    sd_mm: Option<f64>,
}

impl EventRow {
    fn read(self) -> GrowthEvent {
        let did = match (self.did.as_str(), self.mm, self.sd_mm) {
            ("measure", Some(mm), Some(sd_mm)) => Did::Measured { mm, sd_mm },
            ("apply", _, _) => Did::Applied { at_scalp: self.at_scalp },
            // A trim takes nothing from the root.
            _ => Did::Applied { at_scalp: false },
        };
        GrowthEvent {
            client_id: self.client_id,
            visit: Visit { on: self.on_day, did },
            family: self.family,
            by_run: self.by_run,
        }
    }
}

/// One head's applications and measurements in the order recorded; the newest 1000.
pub async fn list_growth_events(s: &mut Scoped, client: ClientId) -> Stored<Vec<GrowthEvent>> {
    let mut rows: Vec<EventRow> = sqlx::query_as(
        "select client_id, run_id is not null as by_run, on_day, did, family, mm, sd_mm,
            coalesce(zone in ('new-growth', 'root-to-end') or (zone = 'between' and from_mm = 0), false) as at_scalp
         from strand_event where salon_id = $1 and client_id = $2 and did in ('apply', 'measure')
         order by seq desc limit 1000",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .fetch_all(&mut *s.tx)
    .await?;
    rows.reverse();
    Ok(rows.into_iter().map(EventRow::read).collect())
}

/// Most clients a prior is learned from: a thousand fix a mean to a sixtieth part of the spread between persons.
pub const MOST_TEACHERS: usize = 1000;

/// The same of the newest 1000 measured clients of one curl, client by client in the order of their numbers: what the
/// salon's own prior is learned from. One walk of the client index, newest first, with a look at each one's own events.
pub async fn list_curl_growth_events(s: &mut Scoped, curl: &str) -> Stored<Vec<GrowthEvent>> {
    let rows: Vec<EventRow> = sqlx::query_as(
        "select e.client_id, e.run_id is not null as by_run, e.on_day, e.did, e.family, e.mm, e.sd_mm,
            coalesce(e.zone in ('new-growth', 'root-to-end') or (e.zone = 'between' and e.from_mm = 0), false) as at_scalp
         from (select c.client_id from client c where c.salon_id = $1 and c.curl_group = $2
               and exists (select 1 from strand_event m where m.salon_id = $1 and m.client_id = c.client_id and m.did = 'measure')
             order by c.client_id desc limit $3) c
         join strand_event e on e.salon_id = $1 and e.client_id = c.client_id and e.did in ('apply', 'measure')
         order by e.client_id, e.seq limit 100000",
    )
    .bind(s.salon.0)
    .bind(curl)
    .bind(MOST_TEACHERS as i64)
    .fetch_all(&mut *s.tx)
    .await?;
    Ok(rows.into_iter().map(EventRow::read).collect())
}
