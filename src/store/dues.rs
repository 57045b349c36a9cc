//! When each client is due again, and what stands beside that on Regrowth.

use time::{Date, OffsetDateTime};

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

/// A row of Regrowth as read; the words are the screen's.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct DueRow {
    #[sqlx(flatten)]
    pub due: Due,
    pub name: String,
    pub no_contact: bool,
    pub usual_name: Option<String>,
    /// Measurements that the rate was learned from.
    pub measured: i64,
    pub outcome: Option<String>,
    pub said_at: Option<OffsetDateTime>,
    pub said_by: Option<String>,
    pub next_on: Option<Date>,
    pub note: Option<String>,
    pub booking_id: Option<i64>,
    pub booked_at: Option<OffsetDateTime>,
    pub patch_visit_at: Option<OffsetDateTime>,
    pub consult_at: Option<OffsetDateTime>,
    pub plan_id: Option<i64>,
    pub plan_verdict: Option<String>,
    pub wait_until: Option<Date>,
}

/// Most rows of one page of Regrowth.
pub const PAGE: usize = 200;

/// Who is due with an early edge up to `until`, by deadline, after the keyset of the page before; one row more
/// than a page when there is another.
pub async fn list(
    s: &mut Scoped,
    zone: &str,
    until: Date,
    after: Option<(Date, ClientId)>,
) -> Stored<Vec<DueRow>> {
    let (after_on, after_id) = after.map_or((None, 0), |(on, id)| (Some(on), id.0));
    Ok(sqlx::query_as(
        "select d.client_id, d.protocol, d.last_on, d.target_mm, d.rate_mm, d.rate_sd, d.early_on, d.middle_on, d.late_on,
            d.least_on, d.latest_on, d.run_id, c.name, c.no_contact, u.name as usual_name,
            (select count(*) from strand_event e where e.salon_id = d.salon_id and e.client_id = d.client_id and e.did = 'measure') as measured,
            f.outcome, f.at as said_at, fp.name as said_by, f.next_on, f.note,
            b.booking_id, lower(b.span) as booked_at,
            (select lower(v.span) from booking v where v.salon_id = b.salon_id and v.client_id = b.client_id
               and v.patch_for = b.booking_id and v.state = 'booked' limit 1) as patch_visit_at,
            (select max(k.taken_at) from consult k where k.salon_id = d.salon_id and k.client_id = d.client_id) as consult_at,
            pl.plan_id, pl.verdict as plan_verdict,
            (select max((x ->> 'until')::date) from jsonb_array_elements(pl.findings) x where x ->> 'verdict' = 'wait') as wait_until
         from due d
         join client c on c.salon_id = d.salon_id and c.client_id = d.client_id
         left join person u on u.salon_id = c.salon_id and u.person_id = c.usual_person_id
         left join lateral (select * from followup f where f.salon_id = d.salon_id and f.client_id = d.client_id
            and f.at >= (d.last_on::timestamp at time zone $2) order by f.at desc limit 1) f on true
         left join person fp on fp.salon_id = f.salon_id and fp.person_id = f.by
         left join lateral (select * from booking b where b.salon_id = d.salon_id and b.client_id = d.client_id
            and b.purpose = 'service' and b.state = 'booked' and upper(b.span) > rinsebell_now() order by lower(b.span) limit 1) b on true
         left join lateral (select * from plan p where p.salon_id = d.salon_id and p.client_id = d.client_id
            -- A test visit plans nothing and is no service: what was planned before it stands.
            and jsonb_array_length(p.applications) > 0
            and p.made_at > coalesce((select max(r.started_at) from run r join plan g using (salon_id, plan_id)
              where r.salon_id = d.salon_id and r.client_id = d.client_id and jsonb_array_length(g.applications) > 0), '-infinity')
            order by p.made_at desc limit 1) pl on true
         where d.salon_id = $1 and d.early_on <= $3
           -- Who sits in the chair now is not rung.
           and not exists (select 1 from run o where o.salon_id = d.salon_id and o.client_id = d.client_id and o.ended_at is null)
           and (d.latest_on, d.client_id) > (coalesce($4, '-infinity'::date), $5)
         order by d.latest_on, d.client_id limit 201",
    )
    .bind(s.salon.0)
    .bind(zone)
    .bind(until)
    .bind(after_on)
    .bind(after_id)
    .fetch_all(&mut *s.tx)
    .await?)
}
