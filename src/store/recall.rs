//! Where a lot went: every head and every patch of skin it met, and what happened there since.

use time::OffsetDateTime;

use super::{Scoped, Stored};
use crate::domain::ids::{ClientId, LotId, PersonId};

/// A service a lot was dispensed for.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Went {
    pub run_id: i64,
    pub client_id: i64,
    pub client_name: String,
    pub phone: String,
    pub email: String,
    pub started_at: OffsetDateTime,
    /// The protocol's title.
    pub service: String,
    pub grams: f32,
    /// Who dispensed; several with commas.
    pub by: String,
    /// Incidents of this client since the service began: kinds with commas, empty for none.
    pub incidents: String,
}

/// The services a lot was dispensed for, newest first, at most 500.
pub async fn list_went(s: &mut Scoped, id: LotId) -> Stored<Vec<Went>> {
    Ok(sqlx::query_as(
        "select r.run_id, r.client_id, c.name as client_name, c.phone, c.email, r.started_at, p.title as service,
            sum(d.grams)::real as grams, coalesce(string_agg(distinct w.name, ', '), '') as by,
            coalesce((select string_agg(i.kind, ',' order by i.opened_at) from incident i where i.salon_id = r.salon_id
              and i.client_id = r.client_id and i.opened_at >= r.started_at), '') as incidents
         from dispensed d join run r using (salon_id, run_id) join client c on c.salon_id = r.salon_id and c.client_id = r.client_id
           join protocol_revision p on p.salon_id = r.salon_id and p.protocol = r.protocol and p.revision = r.revision
           join run_event e on e.salon_id = d.salon_id and e.run_id = d.run_id and e.seq = d.seq
           left join person w on w.salon_id = e.salon_id and w.person_id = e.by
         where d.salon_id = $1 and d.lot_id = $2
         group by r.salon_id, r.run_id, r.client_id, c.name, c.phone, c.email, r.started_at, p.title
         order by r.started_at desc, r.run_id desc limit 500",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// A test made with a lot.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Tested {
    pub client_id: i64,
    pub client_name: String,
    pub phone: String,
    pub email: String,
    pub at: OffsetDateTime,
    pub by: String,
    /// patch or strand.
    pub kind: String,
    /// Where on skin, or which hair.
    pub place: String,
    /// Outcome code of a patch test (none while unread); passed or failed of a strand test.
    pub outcome: Option<String>,
}

/// Skin and strand tests made with a lot, newest first, at most 500 of each.
pub async fn list_tested(s: &mut Scoped, id: LotId) -> Stored<Vec<Tested>> {
    let mut all: Vec<Tested> = sqlx::query_as(
        "select c.client_id, c.name as client_name, c.phone, c.email, t.placed_at as at, w.name as by, 'patch' as kind, t.place,
            coalesce(t.outcome, t.told_outcome) as outcome
         from skin_test t join client c using (salon_id, client_id) join person w on w.salon_id = t.salon_id and w.person_id = t.placed_by
         where t.salon_id = $1 and t.lot_id = $2 order by t.placed_at desc limit 500",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .fetch_all(&mut *s.tx)
    .await?;
    let strands: Vec<Tested> = sqlx::query_as(
        "select c.client_id, c.name as client_name, c.phone, c.email, t.done_at as at, w.name as by, 'strand' as kind, t.place,
            case when t.passed then 'passed' else 'failed' end as outcome
         from hair_test t join client c using (salon_id, client_id) join person w on w.salon_id = t.salon_id and w.person_id = t.done_by
         where t.salon_id = $1 and t.lot_id = $2 order by t.done_at desc limit 500",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .fetch_all(&mut *s.tx)
    .await?;
    all.extend(strands);
    all.sort_by_key(|t| std::cmp::Reverse(t.at));
    Ok(all)
}

/// The last try to tell a client of a recalled lot.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Call {
    pub client_id: i64,
    pub at: OffsetDateTime,
    pub by: String,
    /// told or not-reached.
    pub outcome: String,
}

/// Whom somebody told of a lot, or tried to: the last word to each client, that to a record merged into theirs too; at most
/// 1000.
pub async fn list_calls(s: &mut Scoped, id: LotId) -> Stored<Vec<Call>> {
    Ok(sqlx::query_as(
        "select distinct on (1) coalesce(c.merged_into, c.client_id) as client_id, k.at, p.name as by, k.outcome
         from recall_call k join client c on c.salon_id = k.salon_id and c.client_id = k.client_id
           join person p on p.salon_id = k.salon_id and p.person_id = k.by
         where k.salon_id = $1 and k.lot_id = $2 order by 1, k.outcome = 'told' desc, k.at desc limit 1000",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// A client was told of a lot, or not reached.
pub async fn insert_call(
    s: &mut Scoped,
    id: LotId,
    client: ClientId,
    told: bool,
    by: PersonId,
) -> Stored<()> {
    sqlx::query(
        "insert into recall_call (salon_id, lot_id, client_id, by, outcome) values ($1, $2, $3, $4, $5)",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .bind(client.0)
    .bind(by.0)
    .bind(if told { "told" } else { "not-reached" })
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}
