//! Plans as checked: never changed, apart from what was offered instead. A new check is a new plan.

use serde::{Deserialize, Serialize};
use sqlx::types::Json;
use time::{Date, OffsetDateTime};

use super::{Scoped, Stored};
use crate::domain::ids::{ClientId, PersonId, PlanId, ProductId};
use crate::words::{Language, Unit};
use std::collections::BTreeMap;

/// One application of a plan as kept.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct KeptApplication {
    pub letter: String,
    pub title: String,
    pub product_id: i64,
    pub product: String,
    pub family: String,
    pub strength: String,
    /// new-growth, root-to-end, ends-from, between.
    pub zone: String,
    pub from_mm: Option<f64>,
    pub to_mm: Option<f64>,
    pub straightens: bool,
    pub opening: bool,
}

/// A way out as kept: code and words.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct KeptWay {
    pub at: String,
    pub words: String,
}

/// A finding as kept.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct KeptFinding {
    pub letters: String,
    pub verdict: String,
    pub span_mm: Option<(f64, f64)>,
    pub rule: String,
    pub title: String,
    pub why: String,
    pub source: String,
    /// ISO 8601 day.
    pub until: Option<String>,
    pub trim_mm: Option<(f64, f64)>,
    pub ways: Vec<KeptWay>,
    /// The same words in the other languages of the screens and with lengths in inches, by [`KeptFinding::tongue`]:
    /// whoever reads the plan reads it in their own.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub said: BTreeMap<String, SaidFinding>,
}

/// A finding's words in one language.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct SaidFinding {
    pub title: String,
    pub why: String,
    pub source: String,
    /// In the order of the finding's own.
    pub ways: Vec<String>,
}

impl KeptFinding {
    /// Under what the words of a language and a unit are kept: "es", "en in". The record's own are English and mm.
    #[must_use]
    pub fn tongue(language: Language, unit: Unit) -> String {
        match unit {
            Unit::Mm => language.tag().into(),
            Unit::Inch => format!("{} {}", language.tag(), unit.symbol()),
        }
    }

    /// The words in this language and unit; in the language alone, then the record's own, where they were not said so.
    #[must_use]
    pub fn in_words(&self, language: Language, unit: Unit) -> SaidFinding {
        let said =
            self.said.get(&KeptFinding::tongue(language, unit)).or_else(|| self.said.get(language.tag()));
        said.cloned().unwrap_or_else(|| SaidFinding {
            title: self.title.clone(),
            why: self.why.clone(),
            source: self.source.clone(),
            ways: self.ways.iter().map(|w| w.words.clone()).collect(),
        })
    }
}

/// A plan.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Plan {
    pub plan_id: i64,
    pub client_id: i64,
    pub protocol: String,
    pub revision: i32,
    pub made_at: OffsetDateTime,
    pub made_by: i64,
    pub made_by_name: String,
    pub as_of: Date,
    pub strand_seq: i32,
    pub verdict: String,
    pub findings: Json<Vec<KeptFinding>>,
    pub applications: Json<Vec<KeptApplication>>,
    pub trim_mm: Option<f32>,
    pub trim_agreed: Option<bool>,
    pub offer: Option<String>,
    pub offer_answer: Option<String>,
    /// The run that was started from it.
    pub run_id: Option<i64>,
    /// A newer plan of this client; a test visit's is none.
    pub newer_id: Option<i64>,
    /// Something it rests on was written since: strand (apart from its own run), consult, feel of the hair.
    pub stale: bool,
}

/// One plan.
pub async fn find(s: &mut Scoped, id: PlanId) -> Stored<Option<Plan>> {
    Ok(sqlx::query_as(
        "select p.plan_id, p.client_id, p.protocol, p.revision, p.made_at, p.made_by, m.name as made_by_name, p.as_of, p.strand_seq, p.verdict,
            p.findings, p.applications, p.trim_mm, p.trim_agreed, p.offer, p.offer_answer, r.run_id,
            (select max(n.plan_id) from plan n where n.salon_id = p.salon_id and n.client_id = p.client_id and n.plan_id > p.plan_id
              and jsonb_array_length(n.applications) > 0) as newer_id,
            rinsebell_plan_stale(p, coalesce(r.run_id, -1), 'infinity') as stale
         from plan p join person m on m.salon_id = p.salon_id and m.person_id = p.made_by
           left join run r on r.salon_id = p.salon_id and r.plan_id = p.plan_id
         where p.salon_id = $1 and p.plan_id = $2",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .fetch_optional(&mut *s.tx)
    .await?)
}

/// A plan in a list.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Listed {
    pub plan_id: i64,
    pub title: String,
    pub made_at: OffsetDateTime,
    pub made_by_name: String,
    pub verdict: String,
    pub run_id: Option<i64>,
}

/// The latest plans of a client, newest first, at most 20; test visits are not planned.
pub async fn list_by_client(s: &mut Scoped, client: ClientId) -> Stored<Vec<Listed>> {
    Ok(sqlx::query_as(
        "select p.plan_id, v.title, p.made_at, m.name as made_by_name, p.verdict, r.run_id
         from plan p join protocol_revision v using (salon_id, protocol, revision)
           join person m on m.salon_id = p.salon_id and m.person_id = p.made_by
           left join run r on r.salon_id = p.salon_id and r.plan_id = p.plan_id
         where p.salon_id = $1 and p.client_id = $2 and jsonb_array_length(p.applications) > 0
         order by p.made_at desc, p.plan_id desc limit 20",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// A plan to keep.
pub struct NewPlan<'a> {
    pub client: ClientId,
    pub protocol: &'a str,
    pub revision: i32,
    pub by: PersonId,
    pub as_of: Date,
    pub strand_seq: i32,
    pub verdict: &'a str,
    pub findings: &'a [KeptFinding],
    pub applications: &'a [KeptApplication],
    pub trim_mm: Option<f32>,
    pub trim_agreed: Option<bool>,
}

/// Keeps a plan.
pub async fn insert(s: &mut Scoped, p: &NewPlan<'_>) -> Stored<PlanId> {
    let id: i64 = sqlx::query_scalar(
        "insert into plan (salon_id, client_id, protocol, revision, made_by, as_of, strand_seq, verdict, findings, applications, trim_mm, trim_agreed)
         values ($1,$2,$3,$4,$5,$6,$7,$8,$9,$10,$11,$12) returning plan_id",
    )
    .bind(s.salon.0)
    .bind(p.client.0)
    .bind(p.protocol)
    .bind(p.revision)
    .bind(p.by.0)
    .bind(p.as_of)
    .bind(p.strand_seq)
    .bind(p.verdict)
    .bind(Json(p.findings))
    .bind(Json(p.applications))
    .bind(p.trim_mm)
    .bind(p.trim_agreed)
    .fetch_one(&mut *s.tx)
    .await?;
    Ok(PlanId(id))
}

/// The product of one application.
pub async fn insert_product(
    s: &mut Scoped,
    plan: PlanId,
    letter: &str,
    product: ProductId,
    strand_test_asked: bool,
) -> Stored<()> {
    sqlx::query(
        "insert into plan_product (salon_id, plan_id, application, product_id, strand_test_asked) values ($1,$2,$3,$4,$5)",
    )
    .bind(s.salon.0)
    .bind(plan.0)
    .bind(letter)
    .bind(product.0)
    .bind(strand_test_asked)
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}

/// What was offered instead, and what the client answered.
pub async fn note_offer(s: &mut Scoped, plan: PlanId, offer: &str, answer: &str) -> Stored<()> {
    sqlx::query("update plan set offer = $3, offer_answer = $4 where salon_id = $1 and plan_id = $2")
        .bind(s.salon.0)
        .bind(plan.0)
        .bind(offer)
        .bind(answer)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// Products this client was treated with here before: they went on in a run that has ended.
pub async fn list_products_met(s: &mut Scoped, client: ClientId) -> Stored<Vec<i64>> {
    Ok(sqlx::query_scalar(
        "select distinct st.product_id from run r join run_step st using (salon_id, run_id)
         where r.salon_id = $1 and r.client_id = $2 and r.ended_at is not null and st.chemical = 'opening' and st.product_id is not null
           and exists (select 1 from run_event e where e.salon_id = r.salon_id and e.run_id = r.run_id and e.kind = 'step_started' and e.step = st.code)
         limit 200",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Where tests of one product stand on one client, by the database's clock.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Tests {
    /// A reaction to it or to its family is on record: read, told, or asked in the chair.
    pub reaction: bool,
    /// Read in time, without a reaction, this formula, not too old.
    pub skin_holds: bool,
    /// Placed with this formula, not read.
    pub skin_open: bool,
    /// One was placed once.
    pub skin_ever: bool,
    /// The worst place passed within 14 days and nothing was put on since.
    pub strand_holds: bool,
    /// The newest strand test of this formula failed.
    pub strand_failed: bool,
}

/// How the tests of a product stand; the same rules as the database's guard of a start.
pub async fn find_tests(s: &mut Scoped, client: ClientId, product: ProductId) -> Stored<Tests> {
    Ok(sqlx::query_as(
        "with p as (select * from product where salon_id = $1 and product_id = $3),
          z as (select patch_valid_days, zone from salon where salon_id = $1), n as (select rinsebell_now() as at),
          t as (select t.*, o.family from skin_test t join product o using (salon_id, product_id) where t.salon_id = $1 and t.client_id = $2)
         select
           (exists (select 1 from t, p where (t.product_id = p.product_id or t.family = p.family)
               and (t.outcome <> 'no-reaction' or t.told_outcome <> 'no-reaction'))
             or exists (select 1 from p, run x join run_event e using (salon_id, run_id)
               where x.salon_id = $1 and x.client_id = $2 and e.hold_point = 'patch-test' and e.outcome = 'fails'
                 and exists (select 1 from run_step st join product o using (salon_id, product_id)
                   where st.salon_id = x.salon_id and st.run_id = x.run_id and st.chemical = 'opening' and o.family = p.family))) as reaction,
           exists (select 1 from t, p, z, n where t.product_id = p.product_id and t.formula = p.formula and t.outcome = 'no-reaction'
             and t.placed_at <= n.at - interval '48 hours' and t.read_at <= n.at and t.read_at >= t.placed_at + interval '48 hours'
             and t.placed_at >= n.at - make_interval(days => z.patch_valid_days)) as skin_holds,
           exists (select 1 from t, p, z, n where t.product_id = p.product_id and t.formula = p.formula and t.read_at is null
             and t.placed_at >= n.at - make_interval(days => z.patch_valid_days)) as skin_open,
           exists (select 1 from t, p where t.product_id = p.product_id) as skin_ever,
           exists (select 1 from hair_test h, p, z, n where h.salon_id = $1 and h.client_id = $2 and h.kind = 'strand' and h.product_id = p.product_id
             and h.formula = p.formula and h.place = 'worst-place' and h.passed and h.done_at <= n.at and h.done_at >= n.at - interval '14 days'
             and not exists (select 1 from hair_test w where w.salon_id = h.salon_id and w.client_id = h.client_id and w.kind = 'strand'
               and w.product_id = h.product_id and not w.passed and w.done_at >= h.done_at)
             and not exists (select 1 from strand_event e where e.salon_id = h.salon_id and e.client_id = h.client_id and e.did = 'apply'
               and e.recorded_at > h.done_at and (e.known = 'recorded' or e.on_day >= (h.done_at at time zone z.zone)::date))) as strand_holds,
           coalesce((select not h.passed from hair_test h, p where h.salon_id = $1 and h.client_id = $2 and h.kind = 'strand'
             and h.product_id = p.product_id and h.formula = p.formula order by h.done_at desc, h.passed, h.hair_test_id desc limit 1), false)
             as strand_failed",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(product.0)
    .fetch_one(&mut *s.tx)
    .await?)
}
