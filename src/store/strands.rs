//! Strands: where a head's story begins, and all that was done to it since.

use time::{Date, OffsetDateTime};

use super::{Scoped, StoreError, Stored};
use crate::domain::chemistry::family::Family;
use crate::domain::ids::{ClientId, PersonId, RunId};
use crate::domain::strand::{Deed, Exposure, Known, Story, Zone};

/// Most events of one strand that are read: some forty years of visits.
const MOST: i64 = 4000;

/// One recorded deed.
#[derive(Clone, Debug)]
pub struct StrandEvent {
    pub seq: i32,
    pub on: Date,
    pub deed: Deed,
    pub run: Option<RunId>,
    pub recorded_at: OffsetDateTime,
    pub recorded_by: Option<PersonId>,
}

#[derive(sqlx::FromRow)]
struct Row {
    seq: i32,
    on_day: Date,
    did: String,
    family: Option<String>,
    zone: Option<String>,
    from_mm: Option<f64>,
    to_mm: Option<f64>,
    on_sd_days: f32,
    straightened: Option<bool>,
    known: Option<String>,
    mm: Option<f64>,
    sd_mm: Option<f64>,
    run_id: Option<i64>,
    recorded_at: OffsetDateTime,
    recorded_by: Option<i64>,
}

impl Row {
    fn deed(&self) -> Option<Deed> {
        match self.did.as_str() {
            "apply" => {
                let zone = match self.zone.as_deref()? {
                    "new-growth" => Zone::NewGrowth,
                    "root-to-end" => Zone::RootToEnd,
                    "ends-from" => Zone::EndsFrom(self.from_mm?),
                    "between" => Zone::Between(self.from_mm?, self.to_mm?),
                    _ => return None,
                };
                let exposure = Exposure {
                    family: Family::from_code(self.family.as_deref()?)?,
                    on: self.on_day,
                    known: Known::from_code(self.known.as_deref()?)?,
                    on_sd_days: f64::from(self.on_sd_days),
                    straightened: self.straightened,
                };
                Some(Deed::Apply(zone, exposure))
            }
            "measure" => Some(Deed::Measure { mm: self.mm?, sd_mm: self.sd_mm? }),
            "trim" => Some(Deed::Trim(self.mm?)),
            _ => None,
        }
    }

    fn read(self) -> Stored<StrandEvent> {
        let deed = self
            .deed()
            .ok_or_else(|| StoreError::Corrupt("strand_event", format!("seq {}: {}", self.seq, self.did)))?;
        Ok(StrandEvent {
            seq: self.seq,
            on: self.on_day,
            deed,
            run: self.run_id.map(RunId),
            recorded_at: self.recorded_at,
            recorded_by: self.recorded_by.map(PersonId),
        })
    }
}

/// Where a client's strand begins: length, day. None before the first consult.
pub async fn find_beginning(s: &mut Scoped, client: ClientId) -> Stored<Option<(f64, Date)>> {
    Ok(sqlx::query_as("select length_mm, on_day from strand where salon_id = $1 and client_id = $2")
        .bind(s.salon.0)
        .bind(client.0)
        .fetch_optional(&mut *s.tx)
        .await?)
}

/// Every event of a client's strand, in the order of the record.
pub async fn list_events(s: &mut Scoped, client: ClientId) -> Stored<Vec<StrandEvent>> {
    let rows: Vec<Row> = sqlx::query_as(
        "select seq, on_day, did, family, zone, from_mm, to_mm, on_sd_days, straightened, known, mm, sd_mm, run_id, recorded_at, recorded_by
         from strand_event where salon_id = $1 and client_id = $2 order by seq limit $3",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(MOST)
    .fetch_all(&mut *s.tx)
    .await?;
    rows.into_iter().map(Row::read).collect()
}

/// The whole story and the number of its last event (0 when there is none); none before the first consult.
pub async fn find_story(s: &mut Scoped, client: ClientId) -> Stored<Option<(Story, i32)>> {
    let Some((length_mm, on)) = find_beginning(s, client).await? else { return Ok(None) };
    let events = list_events(s, client).await?;
    let last = events.last().map_or(0, |e| e.seq);
    let deeds = events.into_iter().map(|e| (e.on, e.deed)).collect();
    Ok(Some((Story { length_mm, on, deeds }, last)))
}

/// Begins a strand; a strand that stands already is left as it is.
pub async fn begin(s: &mut Scoped, client: ClientId, length_mm: f64, on: Date) -> Stored<()> {
    sqlx::query(
        "insert into strand (salon_id, client_id, length_mm, on_day) values ($1,$2,$3,$4) on conflict do nothing",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(length_mm)
    .bind(on)
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}

/// Appends one deed; gives its number. Call under the client's lock (`clients::lock`).
pub async fn append(
    s: &mut Scoped,
    client: ClientId,
    (on, deed): (Date, &Deed),
    run: Option<RunId>,
    by: Option<PersonId>,
) -> Stored<i32> {
    let (mut family, mut zone, mut known, mut sd_days, mut straightened) = (None, None, None, 0.0, None);
    let (mut from, mut to, mut mm, mut sd) = (None, None, None, None);
    let did = match *deed {
        Deed::Apply(where_on, exposure) => {
            (family, known) = (Some(exposure.family.code()), Some(exposure.known.code()));
            sd_days = exposure.on_sd_days;
            straightened = exposure.straightened;
            zone = Some(match where_on {
                Zone::NewGrowth => "new-growth",
                Zone::RootToEnd => "root-to-end",
                Zone::EndsFrom(a) => {
                    from = Some(a);
                    "ends-from"
                }
                Zone::Between(a, b) => {
                    (from, to) = (Some(a), Some(b));
                    "between"
                }
            });
            "apply"
        }
        Deed::Measure { mm: length, sd_mm } => {
            (mm, sd) = (Some(length), Some(sd_mm));
            "measure"
        }
        Deed::Trim(cut) => {
            mm = Some(cut);
            "trim"
        }
    };
    Ok(sqlx::query_scalar(
        "insert into strand_event (salon_id, client_id, seq, on_day, did, family, zone, from_mm, to_mm, on_sd_days, known, mm, sd_mm, run_id, recorded_by, straightened)
         select $1, $2, coalesce(max(seq), 0) + 1, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15
         from strand_event where salon_id = $1 and client_id = $2 returning seq",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(on)
    .bind(did)
    .bind(family)
    .bind(zone)
    .bind(from)
    .bind(to)
    .bind(sd_days as f32)
    .bind(known)
    .bind(mm)
    .bind(sd)
    .bind(run.map(|r| r.0))
    .bind(by.map(|p| p.0))
    .bind(straightened)
    .fetch_one(&mut *s.tx)
    .await?)
}
