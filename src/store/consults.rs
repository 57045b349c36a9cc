//! Consults: what was told, never changed; a new one is taken instead.

use std::collections::BTreeMap;

use sqlx::types::Json;
use time::{Date, OffsetDateTime};

use super::{Scoped, StoreError, Stored};
use crate::domain::chemistry::family::Family;
use crate::domain::consult::{HomeColour, Own, OwnAnswer, OwnQuestion, Scalp, Sought, Told};
use crate::domain::ids::{ClientId, ConsultId, PersonId};

/// A consult as kept.
#[derive(Clone, Debug)]
pub struct Consult {
    pub id: ConsultId,
    pub taken_at: OffsetDateTime,
    pub taken_by: PersonId,
    pub told: Told,
    /// The answer that holds why a stylist goes on.
    pub reason_id: Option<i64>,
    /// The answer that holds the client's own words.
    pub words_id: Option<i64>,
    /// The guardian who read it, for somebody who needs one.
    pub guardian: Option<String>,
}

#[derive(sqlx::FromRow)]
struct Row {
    consult_id: i64,
    taken_at: OffsetDateTime,
    taken_by: i64,
    reaction_families: Vec<String>,
    black_henna: bool,
    black_henna_reaction: bool,
    scalp: String,
    scratched_within_3_days: bool,
    braids_out_on: Option<Date>,
    pregnant: bool,
    medication: bool,
    scalp_treatment: bool,
    home_colour: String,
    silver_in_history: bool,
    stylist_reason_id: Option<i64>,
    words_id: Option<i64>,
    read_by_guardian: Option<String>,
    sought: Option<String>,
    own_answers: Json<BTreeMap<String, String>>,
}

impl Row {
    fn read(self) -> Stored<Consult> {
        let corrupt = |what: &str| StoreError::Corrupt("consult", what.to_string());
        let told = Told {
            reactions: self
                .reaction_families
                .iter()
                .map(|f| Family::from_code(f).ok_or_else(|| corrupt(f)))
                .collect::<Stored<_>>()?,
            black_henna: self.black_henna,
            black_henna_reaction: self.black_henna_reaction,
            scalp: Scalp::from_code(&self.scalp).ok_or_else(|| corrupt(&self.scalp))?,
            scratched_within_3_days: self.scratched_within_3_days,
            braids_out_on: self.braids_out_on,
            pregnant: self.pregnant,
            medication: self.medication,
            scalp_treatment: self.scalp_treatment,
            home_colour: HomeColour::from_code(&self.home_colour)
                .ok_or_else(|| corrupt(&self.home_colour))?,
            silver_in_history: self.silver_in_history,
            own: own(self.sought.as_deref(), &self.own_answers)?,
        };
        Ok(Consult {
            id: ConsultId(self.consult_id),
            taken_at: self.taken_at,
            taken_by: PersonId(self.taken_by),
            told,
            reason_id: self.stylist_reason_id,
            words_id: self.words_id,
            guardian: self.read_by_guardian,
        })
    }
}

/// The own answers as kept, in the order they are asked.
fn own(sought: Option<&str>, kept: &BTreeMap<String, String>) -> Stored<Own> {
    let corrupt = |what: &str| StoreError::Corrupt("consult", what.to_string());
    let sought = sought.map(|code| Sought::from_code(code).ok_or_else(|| corrupt(code))).transpose()?;
    let mut answers = kept
        .iter()
        .map(|(question, answer)| {
            let question = OwnQuestion::from_code(question).ok_or_else(|| corrupt(question))?;
            Ok((question, OwnAnswer::from_code(answer).ok_or_else(|| corrupt(answer))?))
        })
        .collect::<Stored<Vec<_>>>()?;
    answers.sort_unstable();
    Ok(Own { sought, answers })
}

/// The latest consults of a client, newest first, at most `most`.
pub async fn list_by_client(s: &mut Scoped, client: ClientId, most: i64) -> Stored<Vec<Consult>> {
    let rows: Vec<Row> = sqlx::query_as(
        "select consult_id, taken_at, taken_by, reaction_families, black_henna, black_henna_reaction, scalp, scratched_within_3_days,
            braids_out_on, pregnant, medication, scalp_treatment, home_colour, silver_in_history, stylist_reason_id, words_id, read_by_guardian,
            sought, own_answers
         from consult where salon_id = $1 and client_id = $2 order by taken_at desc, consult_id desc limit $3",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(most)
    .fetch_all(&mut *s.tx)
    .await?;
    rows.into_iter().map(Row::read).collect()
}

/// The latest consult.
pub async fn latest(s: &mut Scoped, client: ClientId) -> Stored<Option<Consult>> {
    Ok(list_by_client(s, client, 1).await?.into_iter().next())
}

/// Every family a reaction was ever told of, in any consult: later silence takes nothing back.
pub async fn list_reactions_ever(s: &mut Scoped, client: ClientId) -> Stored<Vec<Family>> {
    let codes: Vec<String> = sqlx::query_scalar(
        "select distinct f from consult c, unnest(c.reaction_families) f where c.salon_id = $1 and c.client_id = $2 order by f limit 20",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .fetch_all(&mut *s.tx)
    .await?;
    codes
        .iter()
        .map(|f| Family::from_code(f).ok_or_else(|| StoreError::Corrupt("consult", f.clone())))
        .collect()
}

/// True when a reaction to a black tattoo was told in any consult.
pub async fn find_black_henna_reaction_ever(s: &mut Scoped, client: ClientId) -> Stored<bool> {
    Ok(sqlx::query_scalar(
        "select exists (select 1 from consult where salon_id = $1 and client_id = $2 and black_henna_reaction)",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .fetch_one(&mut *s.tx)
    .await?)
}

/// Keeps a consult.
pub async fn insert(
    s: &mut Scoped,
    client: ClientId,
    by: PersonId,
    t: &Told,
    (reason_id, words_id, guardian): (Option<i64>, Option<i64>, Option<&str>),
) -> Stored<ConsultId> {
    let own_answers: BTreeMap<&str, &str> = t.own.answers.iter().map(|(q, a)| (q.code(), a.code())).collect();
    let families: Vec<&str> = t.reactions.iter().map(|f| f.code()).collect();
    let id: i64 = sqlx::query_scalar(
        "insert into consult (salon_id, client_id, taken_by, reaction_families, black_henna, black_henna_reaction, scalp, scratched_within_3_days,
            braids_out_on, pregnant, medication, scalp_treatment, home_colour, silver_in_history, stylist_reason_id, words_id, read_by_guardian,
            sought, own_answers)
         values ($1,$2,$3,$4,$5,$6,$7,$8,$9,$10,$11,$12,$13,$14,$15,$16,$17,$18,$19) returning consult_id",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(by.0)
    .bind(families)
    .bind(t.black_henna)
    .bind(t.black_henna_reaction)
    .bind(t.scalp.code())
    .bind(t.scratched_within_3_days)
    .bind(t.braids_out_on)
    .bind(t.pregnant)
    .bind(t.medication)
    .bind(t.scalp_treatment)
    .bind(t.home_colour.code())
    .bind(t.silver_in_history)
    .bind(reason_id)
    .bind(words_id)
    .bind(guardian)
    .bind(t.own.sought.map(Sought::code))
    .bind(Json(own_answers))
    .fetch_one(&mut *s.tx)
    .await?;
    Ok(ConsultId(id))
}
