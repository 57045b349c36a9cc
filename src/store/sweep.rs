//! What a sweep over a salon's whole database reads, page by page: every run, every strand, what follows from
//! events in other tables, and what is booked beyond what there is.

use time::OffsetDateTime;

use super::runs::Run;
use super::{Scoped, Stored};
use crate::domain::ids::{ClientId, RunId};

/// Rows of a page.
const PAGE: i64 = 200;

/// The runs after a number, in order; a page.
pub async fn list_runs(s: &mut Scoped, after: i64) -> Stored<Vec<Run>> {
    Ok(sqlx::query_as(
        "select r.run_id, r.client_id, c.name as client_name, r.plan_id, r.protocol, r.revision, r.chair, r.started_by, r.started_at,
            r.ended_at, r.ended_how
         from run r join client c using (salon_id, client_id) where r.salon_id = $1 and r.run_id > $2 order by r.run_id limit $3",
    )
    .bind(s.salon.0)
    .bind(after)
    .bind(PAGE)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// The clients with a strand after a number, in order; a page.
pub async fn list_strands(s: &mut Scoped, after: i64) -> Stored<Vec<ClientId>> {
    let ids: Vec<i64> = sqlx::query_scalar(
        "select client_id from strand where salon_id = $1 and client_id > $2 order by client_id limit $3",
    )
    .bind(s.salon.0)
    .bind(after)
    .bind(PAGE)
    .fetch_all(&mut *s.tx)
    .await?;
    Ok(ids.into_iter().map(ClientId).collect())
}

/// What a run wrote into its client's strand.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Left {
    pub did: String,
    pub family: Option<String>,
    pub zone: Option<String>,
    pub mm: Option<f64>,
}

/// What a run left in its client's strand, in order; at most 200 entries.
pub async fn list_left(s: &mut Scoped, client: ClientId, run: RunId) -> Stored<Vec<Left>> {
    Ok(sqlx::query_as(
        "select did, family, zone, mm from strand_event where salon_id = $1 and client_id = $2 and run_id = $3 order by seq limit 200",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(run.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// A lot as dispensed in a run.
#[derive(Clone, Debug, PartialEq, sqlx::FromRow)]
pub struct Dispensed {
    pub seq: i32,
    pub lot_id: i64,
    pub application: String,
    pub grams: f32,
}

/// What a run dispensed, by its record's numbers; at most 2000.
pub async fn list_dispensed(s: &mut Scoped, run: RunId) -> Stored<Vec<Dispensed>> {
    Ok(sqlx::query_as(
        "select seq, lot_id, application, grams from dispensed where salon_id = $1 and run_id = $2 order by seq limit 2000",
    )
    .bind(s.salon.0)
    .bind(run.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// The last ledger line whose run's record does not end as the ledger says, or has no such line: run and number.
pub async fn list_ledger_misfits(s: &mut Scoped) -> Stored<Vec<(i64, i32)>> {
    Ok(sqlx::query_as(
        "select l.run_id, l.last_seq from ledger l
           left join run_event e on e.salon_id = l.salon_id and e.run_id = l.run_id and e.seq = l.last_seq
             and e.hash = l.head_hash and e.kind in ('run_finished', 'run_left')
         where l.salon_id = $1 and e.seq is null order by l.ledger_seq limit 200",
    )
    .bind(s.salon.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Hands booked twice at once, in bookings not over yet: person, the two bookings, since when.
pub async fn list_double_hands(s: &mut Scoped) -> Stored<Vec<(String, i64, i64, OffsetDateTime)>> {
    Ok(sqlx::query_as(
        "select p.name, a.booking_id, b.booking_id, greatest(lower(a.span), lower(b.span))
         from booking_hands a join booking_hands b on b.salon_id = a.salon_id and b.person_id = a.person_id and b.live
             and b.starts_at > a.starts_at - interval '16 hours' and b.starts_at < upper(a.span) and b.span && a.span and (b.booking_id, b.part_no) > (a.booking_id, a.part_no)
           join person p on p.salon_id = a.salon_id and p.person_id = a.person_id
         where a.salon_id = $1 and a.live and a.starts_at > (select rinsebell_now()) - interval '16 hours'
           and upper(a.span) > rinsebell_now() order by 4 limit 200",
    )
    .bind(s.salon.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Places of a kind booked beyond their count, in bookings not over yet: kind, how many at once, count, since when.
pub async fn list_overfull_places(s: &mut Scoped) -> Stored<Vec<(String, i64, i16, OffsetDateTime)>> {
    Ok(sqlx::query_as(
        "select kind, most, count, at from (
           select o.kind, lower(o.span) as at, coalesce(k.count, 0::smallint) as count,
             (select count(*) from booking_place x where x.salon_id = o.salon_id and x.kind = o.kind and x.live
                and x.starts_at > o.starts_at - interval '16 hours' and x.starts_at <= o.starts_at and x.span @> lower(o.span)) as most
           from booking_place o left join place_kind k on k.salon_id = o.salon_id and k.kind = o.kind
           where o.salon_id = $1 and o.kind = any (array['chair', 'basin', 'hood']) and o.live
             and o.starts_at > (select rinsebell_now()) - interval '16 hours' and upper(o.span) > rinsebell_now()) depths
         where most > count group by kind, most, count, at order by at, kind limit 200",
    )
    .bind(s.salon.0)
    .fetch_all(&mut *s.tx)
    .await?)
}
