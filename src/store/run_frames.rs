//! What a run's frame and hold points rest on, read from the other nouns' tables in one place.

use time::{Date, OffsetDateTime};

use super::{Scoped, Stored};
use crate::domain::ids::{ClientId, PlanId, RunId};

/// The product of an application of a plan, with what its sheet says.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct PlanProduct {
    pub application: String,
    pub product_id: i64,
    pub name: String,
    pub family: String,
    pub strength: String,
    pub skin_test: String,
    pub strand_test_asked: bool,
    pub sheet_forbids_closing_after_stop: bool,
}

/// The products of a plan by application; a plan has at most twelve.
pub async fn list_plan_products(s: &mut Scoped, plan: PlanId) -> Stored<Vec<PlanProduct>> {
    Ok(sqlx::query_as(
        "select pp.application, p.product_id, p.name, p.family, p.strength, p.skin_test, pp.strand_test_asked,
            p.sheet_forbids_closing_after_stop
         from plan_product pp join product p using (salon_id, product_id)
         where pp.salon_id = $1 and pp.plan_id = $2 order by pp.application limit 12",
    )
    .bind(s.salon.0)
    .bind(plan.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// A plan as far as a run rests on it.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct PlanHead {
    pub client_id: i64,
    pub protocol: String,
    pub revision: i32,
    pub verdict: String,
    pub made_at: OffsetDateTime,
    /// Something it rests on was written since: strand (apart from this run), consult, feel of the hair.
    pub stale: bool,
}

/// A plan's head; `run` is the run whose own strand events do not make it stale.
pub async fn find_plan(s: &mut Scoped, plan: PlanId, run: Option<RunId>) -> Stored<Option<PlanHead>> {
    Ok(sqlx::query_as(
        "select p.client_id, p.protocol, p.revision, p.verdict, p.made_at,
            rinsebell_plan_stale(p, $3, 'infinity') as stale
         from plan p where p.salon_id = $1 and p.plan_id = $2",
    )
    .bind(s.salon.0)
    .bind(plan.0)
    .bind(run.map(|r| r.0))
    .fetch_optional(&mut *s.tx)
    .await?)
}

/// A patch test with its product's family and whether the formula changed since.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct PatchRow {
    pub product_id: i64,
    pub family: String,
    pub placed_at: OffsetDateTime,
    pub read_at: Option<OffsetDateTime>,
    pub read_by: Option<i64>,
    pub outcome: Option<String>,
    pub told_at: Option<OffsetDateTime>,
    pub told_outcome: Option<String>,
    pub formula_changed: bool,
}

/// The client's patch tests, newest first; at most 200.
pub async fn list_patches(s: &mut Scoped, client: ClientId) -> Stored<Vec<PatchRow>> {
    Ok(sqlx::query_as(
        "select t.product_id, p.family, t.placed_at, t.read_at, t.read_by, t.outcome, t.told_at, t.told_outcome, t.formula <> p.formula as formula_changed
         from skin_test t join product p using (salon_id, product_id)
         where t.salon_id = $1 and t.client_id = $2 order by t.placed_at desc limit 200",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// A strand test of the worst place.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct StrandTestRow {
    pub product_id: i64,
    pub strength: String,
    pub done_at: OffsetDateTime,
    pub curl_formed: bool,
    pub wet_stretch: String,
    pub gummy: bool,
    /// Something recorded was put on since, or the formula changed.
    pub put_on_since: bool,
}

/// The client's strand tests, newest first; at most 100. A failure of the sound place counts as well.
pub async fn list_strand_tests(s: &mut Scoped, client: ClientId, run: RunId) -> Stored<Vec<StrandTestRow>> {
    Ok(sqlx::query_as(
        "select h.product_id, p.strength, h.done_at, h.curl_formed, h.wet_stretch, h.gummy,
            h.formula <> p.formula or exists (select 1 from strand_event e where e.salon_id = h.salon_id and e.client_id = h.client_id
              and e.did = 'apply' and e.known = 'recorded' and e.recorded_at > h.done_at and e.run_id is distinct from $3) as put_on_since
         from hair_test h join product p using (salon_id, product_id)
         where h.salon_id = $1 and h.client_id = $2 and h.kind = 'strand' and (h.place = 'worst-place' or not h.passed)
         order by h.done_at desc limit 100",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(run.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// What consults say of reactions, and whether the client is a minor.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Told {
    pub reaction_families: Vec<String>,
    pub black_henna_reaction: bool,
}

/// Reactions told in any consult; at most 200 consults.
pub async fn list_reactions(s: &mut Scoped, client: ClientId) -> Stored<Vec<Told>> {
    Ok(sqlx::query_as(
        "select reaction_families, black_henna_reaction from consult
         where salon_id = $1 and client_id = $2 and (cardinality(reaction_families) > 0 or black_henna_reaction)
         order by taken_at desc limit 200",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// The newest consent, and whether a guardian had to sign it.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct ConsentRow {
    pub signed_at: OffsetDateTime,
    pub signer: String,
    pub born_on: Option<Date>,
}

/// The newest consent of the client.
pub async fn find_consent(s: &mut Scoped, client: ClientId) -> Stored<Option<ConsentRow>> {
    Ok(sqlx::query_as(
        "select k.signed_at, k.signer, c.born_on from consent k join client c using (salon_id, client_id)
         where k.salon_id = $1 and k.client_id = $2 order by k.signed_at desc limit 1",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .fetch_optional(&mut *s.tx)
    .await?)
}

/// A lot that may be dispensed for a run.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct LotRow {
    pub lot_id: i64,
    pub product_id: i64,
    pub code: String,
    pub best_before: Option<Date>,
    pub opened_on: Option<Date>,
    pub opened_life_days: Option<i16>,
    pub withdrawn: bool,
    pub quarantined: bool,
    /// within, outside or not-judged, when it came in.
    pub law_verdict: String,
    /// The lot's own contents, where they differ from the product's.
    pub contents: Option<serde_json::Value>,
    /// pH as measured of this lot.
    pub ph: Option<f32>,
    /// The product's number.
    pub gtin: Option<String>,
    /// The product's name.
    pub product: String,
    pub received_grams: f64,
    pub left_grams: f64,
}

/// The lots of a run's products and of what they are mixed with: what is in its bowls first, then what may be dispensed
/// on that day, opened before closed; at most 200.
pub async fn list_lots(s: &mut Scoped, (plan, run): (PlanId, RunId), day: Date) -> Stored<Vec<LotRow>> {
    Ok(sqlx::query_as(
        "select l.lot_id, l.product_id, l.code, l.best_before, l.opened_on, l.opened_life_days, l.withdrawn_at is not null as withdrawn,
            l.quarantined, l.law_verdict, l.contents, l.ph, p.gtin, p.name as product, l.received_grams::float8 as received_grams,
            rinsebell_lot_left(l.salon_id, l.lot_id)::float8 as left_grams
         from lot l join product p using (salon_id, product_id) where l.salon_id = $1
           and (l.product_id in (select pp.product_id from plan_product pp where pp.salon_id = $1 and pp.plan_id = $2)
             or l.product_id in (select unnest(x.mixed_with) from run_step x where x.salon_id = $1 and x.run_id = $3))
         order by exists (select 1 from dispensed d where d.salon_id = l.salon_id and d.lot_id = l.lot_id and d.run_id = $3) desc,
           l.withdrawn_at is not null or l.quarantined or l.law_verdict = 'outside' or coalesce(l.best_before < $4, false)
             or coalesce(l.opened_on + l.opened_life_days < $4, false),
           l.opened_on nulls last, l.best_before nulls last, l.received_on desc, l.lot_id desc limit 200",
    )
    .bind(s.salon.0)
    .bind(plan.0)
    .bind(run.0)
    .bind(day)
    .fetch_all(&mut *s.tx)
    .await?)
}
