//! Services of a stretch of time with their taps: what times are counted from.

use time::OffsetDateTime;

use super::super::{Scoped, Stored};

/// Most services whose times are counted at once.
pub const MOST_RUNS: i64 = 3000;

/// A service that ended.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct GivenRun {
    pub run_id: i64,
    pub client_id: i64,
    pub client_name: String,
    pub protocol: String,
    pub revision: i32,
    pub by: i64,
    pub by_name: String,
    pub started_at: OffsetDateTime,
}

/// Services begun in a stretch of time and ended, of one person when asked; the newest [`MOST_RUNS`].
pub async fn list_runs(
    s: &mut Scoped,
    from: OffsetDateTime,
    to: OffsetDateTime,
    by: Option<i64>,
) -> Stored<Vec<GivenRun>> {
    Ok(sqlx::query_as(
        "select r.run_id, r.client_id, c.name as client_name, r.protocol, r.revision, r.started_by as by, p.name as by_name, r.started_at
         from run r join lateral (select x.name from client x where x.salon_id = $1 and x.client_id = r.client_id limit 1) c on true
         join person p on p.salon_id = r.salon_id and p.person_id = r.started_by
         where r.salon_id = $1 and r.started_at >= $2 and r.started_at < $3 and r.ended_at is not null
           -- A test visit puts nothing on.
           and (select jsonb_array_length(g.applications) from plan g where g.salon_id = $1 and g.plan_id = r.plan_id) > 0
           and ($4::bigint is null or r.started_by = $4)
         order by r.started_at desc, r.run_id desc limit $5",
    )
    .bind(s.salon.0)
    .bind(from)
    .bind(to)
    .bind(by)
    .bind(MOST_RUNS)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// An opening step as frozen.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct OpeningStep {
    pub run_id: i64,
    pub code: String,
    pub application: String,
    pub target_min: Option<f32>,
    pub most_min: Option<f32>,
}

/// The opening steps of some services, service by service.
pub async fn list_opening_steps(s: &mut Scoped, runs: &[i64]) -> Stored<Vec<OpeningStep>> {
    Ok(sqlx::query_as(
        "select r.run_id, x.code, x.application, x.exposure_target_min as target_min, x.exposure_most_min as most_min
         from unnest($2::bigint[]) r (run_id)
         cross join lateral (select s.step_no, s.code, s.application, s.exposure_target_min, s.exposure_most_min from run_step s
             where s.salon_id = $1 and s.run_id = r.run_id and s.chemical = 'opening' and s.application is not null
             order by s.step_no limit 60) x
         order by r.run_id, x.step_no limit 60000",
    )
    .bind(s.salon.0)
    .bind(runs)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// A touch, a rinse, or the start of a step.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Tap {
    pub run_id: i64,
    pub seq: i32,
    pub kind: String,
    pub step: Option<String>,
    pub happened_at: OffsetDateTime,
    pub section: Option<String>,
    pub pass: Option<i32>,
    pub clear: Option<bool>,
}

/// The taps of some services that nobody took back, and the starts of these steps, service by service.
pub async fn list_taps(s: &mut Scoped, runs: &[i64], steps: &[String]) -> Stored<Vec<Tap>> {
    let withdrawn: Vec<String> = sqlx::query_scalar(
        "select data ->> 'fact_id' from run_event
         where salon_id = $1 and run_id = any($2) and kind = 'fact_withdrawn' and data ->> 'fact_id' is not null limit 20000",
    )
    .bind(s.salon.0)
    .bind(runs)
    .fetch_all(&mut *s.tx)
    .await?;
    Ok(sqlx::query_as(
        "select run_id, seq, kind, step, happened_at, data ->> 'section' as section, (data ->> 'pass')::int as pass,
            (data ->> 'clear')::boolean as clear
         from run_event
         where salon_id = $1 and run_id = any($2) and kind in ('section_started', 'section_rinsed', 'step_started')
           and (kind <> 'step_started' or (step = any($4) and not rinsebell_taken_back(run_event)))
           and (fact_id is null or fact_id <> all($3::text[]::uuid[]))
         order by run_id, seq limit 200000",
    )
    .bind(s.salon.0)
    .bind(runs)
    .bind(withdrawn)
    .bind(steps)
    .fetch_all(&mut *s.tx)
    .await?)
}
