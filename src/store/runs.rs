//! Runs, their frozen steps and their record.

use serde_json::Value;
use sqlx::types::Json;
use time::OffsetDateTime;

use super::run_codec::{self, Parts};
use super::{Scoped, StoreError, Stored};
use crate::domain::ids::{ClientId, PersonId, PlanId, ProductId, RunId, StationId};
use crate::domain::protocol::{HoldPoint, StepCode};
use crate::domain::run::{Event, FactId, NewEvent};

/// A run as stored.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Run {
    pub run_id: i64,
    pub client_id: i64,
    pub client_name: String,
    pub plan_id: i64,
    pub protocol: String,
    pub revision: i32,
    pub chair: String,
    pub started_by: i64,
    pub started_at: OffsetDateTime,
    pub ended_at: Option<OffsetDateTime>,
    pub ended_how: Option<String>,
}

/// One run.
pub async fn find(s: &mut Scoped, id: RunId) -> Stored<Option<Run>> {
    Ok(sqlx::query_as(
        "select r.run_id, r.client_id, c.name as client_name, r.plan_id, r.protocol, r.revision, r.chair, r.started_by, r.started_at,
            r.ended_at, r.ended_how
         from run r join client c using (salon_id, client_id) where r.salon_id = $1 and r.run_id = $2",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .fetch_optional(&mut *s.tx)
    .await?)
}

/// All runs under way, oldest first; at most 60.
pub async fn list_open(s: &mut Scoped) -> Stored<Vec<Run>> {
    Ok(sqlx::query_as(
        "select r.run_id, r.client_id, c.name as client_name, r.plan_id, r.protocol, r.revision, r.chair, r.started_by, r.started_at,
            r.ended_at, r.ended_how
         from run r join client c using (salon_id, client_id) where r.salon_id = $1 and r.ended_at is null
         order by r.started_at limit 60",
    )
    .bind(s.salon.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// The runs of one client, newest first; at most 100.
pub async fn list_by_client(s: &mut Scoped, client: ClientId) -> Stored<Vec<Run>> {
    Ok(sqlx::query_as(
        "select r.run_id, r.client_id, c.name as client_name, r.plan_id, r.protocol, r.revision, r.chair, r.started_by, r.started_at,
            r.ended_at, r.ended_how
         from run r join client c using (salon_id, client_id) where r.salon_id = $1 and r.client_id = $2
         order by r.started_at desc limit 100",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// What a new run is made of.
pub struct NewRun<'a> {
    pub client: ClientId,
    pub plan: PlanId,
    pub protocol: &'a str,
    pub revision: i32,
    pub fingerprint: &'a str,
    pub chair: &'a str,
    pub started_by: PersonId,
}

/// Makes a run; the trigger stamps its start and asks whether the plan may be run.
pub async fn insert(s: &mut Scoped, r: NewRun<'_>) -> Stored<RunId> {
    let id: i64 = sqlx::query_scalar(
        "insert into run (salon_id, client_id, plan_id, protocol, revision, reference_fingerprint, chair, started_by)
         values ($1,$2,$3,$4,$5,$6,$7,$8) returning run_id",
    )
    .bind(s.salon.0)
    .bind(r.client.0)
    .bind(r.plan.0)
    .bind(r.protocol)
    .bind(r.revision)
    .bind(r.fingerprint)
    .bind(r.chair)
    .bind(r.started_by.0)
    .fetch_one(&mut *s.tx)
    .await?;
    Ok(RunId(id))
}

/// One frozen step: minutes are whole; `None` where a clock has no such figure.
pub struct NewStep<'a> {
    pub step_no: i16,
    pub code: &'a StepCode,
    pub chemical: &'a str,
    pub chemistry: &'a str,
    pub application: Option<String>,
    pub product: Option<ProductId>,
    pub needs: Vec<HoldPoint>,
    pub phase: [Option<u16>; 3],
    pub exposure: [Option<u16>; 3],
    pub sheet_asked: bool,
    /// The sheet's own figures: `{"phase": [target, least, most], …}`.
    pub sheet: Value,
}

/// Freezes a step of a run that has no events yet.
pub async fn insert_step(s: &mut Scoped, run: RunId, step: NewStep<'_>) -> Stored<()> {
    let f = |m: Option<u16>| m.map(f32::from);
    let needs: Vec<&str> = step.needs.iter().map(|n| n.code()).collect();
    sqlx::query(
        "insert into run_step (salon_id, run_id, step_no, code, chemical, chemistry, application, product_id, needs, phase_target_min,
            phase_least_min, phase_most_min, exposure_target_min, exposure_least_min, exposure_most_min, sheet_asked, sheet)
         values ($1,$2,$3,$4,$5,$6,$7,$8,$9,$10,$11,$12,$13,$14,$15,$16,$17)",
    )
    .bind(s.salon.0)
    .bind(run.0)
    .bind(step.step_no)
    .bind(step.code.as_str())
    .bind(step.chemical)
    .bind(step.chemistry)
    .bind(step.application)
    .bind(step.product.map(|p| p.0))
    .bind(needs)
    .bind(f(step.phase[0]))
    .bind(f(step.phase[1]))
    .bind(f(step.phase[2]))
    .bind(f(step.exposure[0]))
    .bind(f(step.exposure[1]))
    .bind(f(step.exposure[2]))
    .bind(step.sheet_asked)
    .bind(Json(step.sheet))
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}

/// The sheet's figures frozen into a step.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct StepSheet {
    pub code: String,
    pub application: Option<String>,
    pub sheet: Json<Value>,
    /// Products one of which it is mixed with.
    pub mixed_with: Vec<i64>,
    /// Minutes the mixture may be used.
    pub mixed_life_min: Option<i16>,
}

/// The steps of a run that a product sheet speaks of; a protocol has at most 200 steps.
pub async fn list_step_sheets(s: &mut Scoped, run: RunId) -> Stored<Vec<StepSheet>> {
    Ok(sqlx::query_as(
        "select code, application, sheet, mixed_with, mixed_life_min from run_step where salon_id = $1 and run_id = $2
           and (sheet <> '{}' or mixed_with <> '{}' or mixed_life_min is not null) order by step_no limit 200",
    )
    .bind(s.salon.0)
    .bind(run.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

#[derive(sqlx::FromRow)]
struct EventRow {
    seq: i32,
    recorded_at: OffsetDateTime,
    happened_at: OffsetDateTime,
    by: Option<i64>,
    station_id: Option<i64>,
    kind: String,
    fact_id: Option<String>,
    step: Option<String>,
    hold_point: Option<String>,
    data: Json<Value>,
}

impl EventRow {
    fn read(self) -> Stored<Event> {
        let parts = Parts {
            kind: &self.kind,
            step: self.step.as_deref(),
            hold_point: self.hold_point.as_deref(),
            data: &self.data.0,
        };
        let fact_id = match &self.fact_id {
            Some(text) => {
                Some(FactId::new(text).ok_or_else(|| StoreError::Corrupt("run_event", text.clone()))?)
            }
            None => None,
        };
        Ok(Event {
            seq: i64::from(self.seq),
            recorded_at: self.recorded_at,
            happened_at: self.happened_at,
            by: self.by.map(PersonId),
            station: StationId(self.station_id.unwrap_or(0)),
            fact_id,
            kind: parts.read()?,
        })
    }
}

/// Events from which on a record takes only what protects (a service has some hundred).
pub const RECORD_FULL: usize = 20_000;
/// Events that are read at most; a longer record is refused as unreadable, never read in part.
const RECORD_MOST: usize = 40_000;
/// Events read with one query.
const PAGE: usize = 2_000;

/// The record of a run after `after`, oldest first, page by page to its end; at most 40,000.
pub async fn list_events(s: &mut Scoped, run: RunId, after: i32) -> Stored<Vec<Event>> {
    let mut events = Vec::new();
    let mut after = after;
    loop {
        let rows: Vec<EventRow> = sqlx::query_as(
            "select seq, recorded_at, happened_at, by, station_id, kind, fact_id::text, step, hold_point, data
             from run_event where salon_id = $1 and run_id = $2 and seq > $3 order by seq limit 2000",
        )
        .bind(s.salon.0)
        .bind(run.0)
        .bind(after)
        .fetch_all(&mut *s.tx)
        .await?;
        let last = rows.len() < PAGE;
        after = rows.last().map_or(after, |r| r.seq);
        for row in rows {
            events.push(row.read()?);
        }
        if last {
            return Ok(events);
        }
        if events.len() >= RECORD_MOST {
            return Err(StoreError::Corrupt(
                "run_event",
                format!("run {run} has more than {RECORD_MOST} events"),
            ));
        }
    }
}

/// Takes the client's lock, then the run's: whoever decides about this run waits here.
pub async fn lock(s: &mut Scoped, client: ClientId, run: RunId) -> Stored<()> {
    sqlx::query("select rinsebell_lock_client($1, $2), rinsebell_lock_run($1, $3)")
        .bind(s.salon.0)
        .bind(client.0)
        .bind(run.0)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// Appends an event at a sequence number. `None`: somebody was first, nothing was written.
pub async fn append(s: &mut Scoped, run: RunId, seq: i64, event: &NewEvent) -> Stored<Option<i64>> {
    let station = (event.station.0 != 0).then_some(event.station.0);
    let data = run_codec::data_of(&event.kind);
    let written: Option<i32> = sqlx::query_scalar(
        "insert into run_event (salon_id, run_id, seq, happened_at, by, station_id, kind, fact_id, step, hold_point, outcome, data)
         values ($1,$2,$3,$4,$5,$6,$7,$8::text::uuid,$9,$10,$11,$12) on conflict do nothing returning seq",
    )
    .bind(s.salon.0)
    .bind(run.0)
    .bind(i32::try_from(seq).map_err(|_| StoreError::Corrupt("run_event", seq.to_string()))?)
    .bind(event.claimed_at.unwrap_or(event.happened_at))
    .bind(event.by.map(|p| p.0))
    .bind(station)
    .bind(event.kind.code())
    .bind(event.fact_id.map(|f| f.to_string()))
    .bind(event.kind.step().map(StepCode::as_str))
    .bind(event.kind.hold_point().map(HoldPoint::code))
    .bind(event.kind.outcome())
    .bind(Json(data))
    .fetch_optional(&mut *s.tx)
    .await?;
    Ok(written.map(i64::from))
}
