//! What a run's hold points rested on at an instant gone by, as far as the tables still tell: what was written
//! later or came from another record by a merge is left out, what was changed since (a formula, a salon's own rule) is not held against the past.

use time::OffsetDateTime;

use super::run_frames::{ConsentRow, LotRow, PatchRow, PlanHead, StrandTestRow, Told};
use super::{Scoped, Stored};
use crate::domain::ids::{ClientId, PlanId, RunId};

/// The client's patch tests placed by then; at most 200. What was read or told later is not yet there.
pub async fn list_patches(s: &mut Scoped, client: ClientId, at: OffsetDateTime) -> Stored<Vec<PatchRow>> {
    Ok(sqlx::query_as(
        "select t.product_id, p.family, t.placed_at, case when t.read_at <= $3 then t.read_at end as read_at, t.read_by,
            case when t.read_at <= $3 then t.outcome end as outcome, case when t.told_at <= $3 then t.told_at end as told_at,
            case when t.told_at <= $3 then t.told_outcome end as told_outcome, false as formula_changed
         from skin_test t join product p using (salon_id, product_id)
         where t.salon_id = $1 and t.client_id = $2 and t.placed_at <= $3 and coalesce(t.joined_at <= $3, true) order by t.placed_at desc limit 200",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(at)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Reactions told in a consult by then; at most 200 consults.
pub async fn list_reactions(s: &mut Scoped, client: ClientId, at: OffsetDateTime) -> Stored<Vec<Told>> {
    Ok(sqlx::query_as(
        "select reaction_families, black_henna_reaction from consult
         where salon_id = $1 and client_id = $2 and taken_at <= $3 and coalesce(joined_at <= $3, true) and (cardinality(reaction_families) > 0 or black_henna_reaction)
         order by taken_at desc limit 200",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(at)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// The newest consent signed by then.
pub async fn find_consent(
    s: &mut Scoped,
    client: ClientId,
    at: OffsetDateTime,
) -> Stored<Option<ConsentRow>> {
    Ok(sqlx::query_as(
        "select k.signed_at, k.signer, c.born_on from consent k join client c using (salon_id, client_id)
         where k.salon_id = $1 and k.client_id = $2 and k.signed_at <= $3 and coalesce(k.joined_at <= $3, true) order by k.signed_at desc limit 1",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(at)
    .fetch_optional(&mut *s.tx)
    .await?)
}

/// The client's strand tests done by then, newest first; at most 100.
pub async fn list_strand_tests(
    s: &mut Scoped,
    client: ClientId,
    run: RunId,
    at: OffsetDateTime,
) -> Stored<Vec<StrandTestRow>> {
    Ok(sqlx::query_as(
        "select h.product_id, p.strength, h.done_at, h.curl_formed, h.wet_stretch, h.gummy,
            exists (select 1 from strand_event e where e.salon_id = h.salon_id and e.client_id = h.client_id and e.did = 'apply'
              and e.known = 'recorded' and e.recorded_at > h.done_at and e.recorded_at <= $4 and e.run_id is distinct from $3) as put_on_since
         from hair_test h join product p using (salon_id, product_id)
         where h.salon_id = $1 and h.client_id = $2 and h.kind = 'strand' and (h.place = 'worst-place' or not h.passed)
           and h.done_at <= $4 and coalesce(h.joined_at <= $4, true) order by h.done_at desc limit 100",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(run.0)
    .bind(at)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// A plan's head as it stood then.
pub async fn find_plan(
    s: &mut Scoped,
    plan: PlanId,
    run: RunId,
    at: OffsetDateTime,
) -> Stored<Option<PlanHead>> {
    Ok(sqlx::query_as(
        "select p.client_id, p.protocol, p.revision, p.verdict, p.made_at,
            rinsebell_plan_stale(p, $3, $4) as stale
         from plan p where p.salon_id = $1 and p.plan_id = $2",
    )
    .bind(s.salon.0)
    .bind(plan.0)
    .bind(run.0)
    .bind(at)
    .fetch_optional(&mut *s.tx)
    .await?)
}

/// The lots this run dispensed from; withdrawn only when they were by then.
pub async fn list_lots(s: &mut Scoped, run: RunId, at: OffsetDateTime) -> Stored<Vec<LotRow>> {
    Ok(sqlx::query_as(
        "select l.lot_id, l.product_id, l.code, l.best_before, l.opened_on, l.opened_life_days,
            coalesce(l.withdrawn_at <= $3, false) as withdrawn,
            false as quarantined, l.law_verdict, l.contents, l.ph, null::text as gtin, '' as product, l.received_grams::float8 as received_grams, 0::float8 as left_grams
         from lot l where l.salon_id = $1
           and l.lot_id in (select d.lot_id from dispensed d where d.salon_id = $1 and d.run_id = $2)
         order by l.lot_id limit 200",
    )
    .bind(s.salon.0)
    .bind(run.0)
    .bind(at)
    .fetch_all(&mut *s.tx)
    .await?)
}
