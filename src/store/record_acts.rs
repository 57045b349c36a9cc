//! The book of what was done with whole records: taken in, copied out, merged, erased. Chained like the ledger.

use serde_json::Value;
use sqlx::types::Json;
use time::OffsetDateTime;

use super::proof::{BETWEEN, hex, instant, or_none, sha256};
use super::{Scoped, Stored};
use crate::domain::ids::{ClientId, PersonId, SalonId};

/// Lines read at once.
pub const PAGE: i64 = 500;

/// A line of the book.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct RecordAct {
    pub act_seq: i64,
    pub at: OffsetDateTime,
    pub by: i64,
    pub by_name: String,
    /// import, export, copy, merge, erasure.
    pub kind: String,
    pub client_id: Option<i64>,
    pub other_id: Option<i64>,
    /// Counts, as the hash covers them.
    pub facts: String,
    pub prev_hash: Vec<u8>,
    pub hash: Vec<u8>,
}

impl RecordAct {
    /// Its words give its hash.
    pub fn holds(&self, salon: SalonId) -> bool {
        let words = [
            salon.to_string(),
            self.act_seq.to_string(),
            instant(self.at),
            self.by.to_string(),
            self.kind.clone(),
            or_none(self.client_id),
            or_none(self.other_id),
            self.facts.clone(),
            hex(&self.prev_hash),
        ];
        sha256(&words.join(&BETWEEN.to_string())) == self.hash
    }

    /// One of its counts; zero when it has none of that name.
    pub fn count(&self, name: &str) -> i64 {
        let facts: Value = serde_json::from_str(&self.facts).unwrap_or(Value::Null);
        facts[name].as_i64().unwrap_or(0)
    }
}

/// Writes a line: what was done, of whose record, with its counts. Gives its number.
pub async fn insert(
    s: &mut Scoped,
    by: PersonId,
    kind: &str,
    client: Option<ClientId>,
    facts: Value,
) -> Stored<i64> {
    Ok(sqlx::query_scalar(
        "insert into record_act (salon_id, act_seq, by, kind, client_id, facts) values ($1, 0, $2, $3, $4, $5) returning act_seq",
    )
    .bind(s.salon.0)
    .bind(by.0)
    .bind(kind)
    .bind(client.map(|c| c.0))
    .bind(Json(facts))
    .fetch_one(&mut *s.tx)
    .await?)
}

/// The newest lines, at most 20.
pub async fn list_latest(s: &mut Scoped) -> Stored<Vec<RecordAct>> {
    Ok(sqlx::query_as(
        "select a.act_seq, a.at, a.by, p.name as by_name, a.kind, a.client_id, a.other_id, a.facts::text as facts, a.prev_hash, a.hash
         from record_act a join person p on p.salon_id = a.salon_id and p.person_id = a.by
         where a.salon_id = $1 order by a.act_seq desc limit 20",
    )
    .bind(s.salon.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// The lines after a number, in order; at most [`PAGE`].
pub async fn list_after(s: &mut Scoped, after: i64) -> Stored<Vec<RecordAct>> {
    Ok(sqlx::query_as(
        "select a.act_seq, a.at, a.by, p.name as by_name, a.kind, a.client_id, a.other_id, a.facts::text as facts, a.prev_hash, a.hash
         from record_act a join person p on p.salon_id = a.salon_id and p.person_id = a.by
         where a.salon_id = $1 and a.act_seq > $2 order by a.act_seq limit $3",
    )
    .bind(s.salon.0)
    .bind(after)
    .bind(PAGE)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Erasures whose lines are not those their own line of the book is bound to, and erased lines of no erasure; at most 200.
pub async fn list_erasure_misfits(s: &mut Scoped) -> Stored<Vec<i64>> {
    Ok(sqlx::query_scalar(
        "select a.act_seq from record_act a where a.salon_id = $1 and a.kind = 'erasure'
           and a.facts ->> 'lines_digest' is distinct from rinsebell_erased_digest(a.salon_id, a.act_seq)
         union select l.act_seq from erased_line l join record_act a using (salon_id, act_seq) where l.salon_id = $1 and a.kind <> 'erasure'
         order by 1 limit 200",
    )
    .bind(s.salon.0)
    .fetch_all(&mut *s.tx)
    .await?)
}
