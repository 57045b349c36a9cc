//! Clients: who they are and how to reach them.

use time::{Date, OffsetDateTime};

use super::{Scoped, Stored};
use crate::domain::ids::{ClientId, PersonId};

/// A client's record.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Client {
    pub client_id: i64,
    pub name: String,
    pub born_on: Option<Date>,
    pub phone: String,
    pub email: String,
    /// Curl as the consult names it: tight, loose, straight.
    pub curl_group: Option<String>,
    /// Stretched ÷ natural length.
    pub curl_index: Option<f32>,
    pub curl_index_sd: Option<f32>,
    pub usual_person_id: Option<i64>,
    /// Does not want to be reached.
    pub no_contact: bool,
    pub created_at: OffsetDateTime,
    pub version: i32,
}

impl Client {
    /// Its identity.
    pub fn id(&self) -> ClientId {
        ClientId(self.client_id)
    }
}

/// What a record says when written.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Record {
    pub name: String,
    pub born_on: Option<Date>,
    pub phone: String,
    pub email: String,
    pub curl_group: Option<String>,
    pub curl_index: Option<f32>,
    pub usual_person: Option<PersonId>,
    pub no_contact: bool,
}

/// Most clients of one page.
pub const PAGE: i64 = 50;

/// Clients whose names have a word that begins with each word of `asked`, in any order, case and accents aside; by
/// name, after the place `after` (the last one's name and id); one more than a page, so that the caller knows whether
/// there are more.
pub async fn list(s: &mut Scoped, asked: &str, after: Option<(&str, i64)>) -> Stored<Vec<Client>> {
    let (after_name, after_id) = after.unwrap_or(("", i64::MIN));
    if asked.trim().is_empty() {
        return list_all(s, after_name, after_id).await;
    }
    // The longest word is looked up; the others are looked for in the few that have it.
    Ok(sqlx::query_as(
        "with asked as (select w, row_number() over (order by char_length(w) desc, w) as nth from unnest(rinsebell_name_words($2)) w limit 8)
         select client_id, name, born_on, phone, email, curl_group, curl_index, curl_index_sd, usual_person_id, no_contact, created_at, version
         from client c where c.salon_id = $1 and c.client_id in (
             select n.client_id from asked a join client_name_word n on n.salon_id = $1 and n.word >= a.w and n.word < a.w || chr(1114111)
             where a.nth = 1)
           and not exists (select from asked a where a.nth > 1 and not exists (select from client_name_word n
             where n.salon_id = $1 and n.client_id = c.client_id and n.word >= a.w and n.word < a.w || chr(1114111)))
           and c.erased_at is null and coalesce(c.merged_into, 0) = 0
           and (lower(c.name) ~>~ lower($3) or (lower(c.name) = lower($3) and c.client_id > $4))
         order by lower(c.name) using ~<~, c.client_id limit $5",
    )
    .bind(s.salon.0)
    .bind(asked)
    .bind(after_name)
    .bind(after_id)
    .bind(PAGE + 1)
    .fetch_all(&mut *s.tx)
    .await?)
}

async fn list_all(s: &mut Scoped, after_name: &str, after_id: i64) -> Stored<Vec<Client>> {
    Ok(sqlx::query_as(
        "select client_id, name, born_on, phone, email, curl_group, curl_index, curl_index_sd, usual_person_id, no_contact, created_at, version
         from client where salon_id = $1 and erased_at is null and coalesce(merged_into, 0) = 0
           and (lower(name) ~>~ lower($2) or (lower(name) = lower($2) and client_id > $3))
         order by lower(name) using ~<~, client_id limit $4",
    )
    .bind(s.salon.0)
    .bind(after_name)
    .bind(after_id)
    .bind(PAGE + 1)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// One client.
pub async fn find(s: &mut Scoped, id: ClientId) -> Stored<Option<Client>> {
    Ok(sqlx::query_as(
        "select client_id, name, born_on, phone, email, curl_group, curl_index, curl_index_sd, usual_person_id, no_contact, created_at, version
         from client where salon_id = $1 and client_id = $2",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .fetch_optional(&mut *s.tx)
    .await?)
}

/// A new client.
pub async fn insert(s: &mut Scoped, r: &Record) -> Stored<ClientId> {
    let id: i64 = sqlx::query_scalar(
        "insert into client (salon_id, name, born_on, phone, email, curl_group, curl_index, usual_person_id, no_contact)
         values ($1,$2,$3,$4,$5,$6,$7,$8,$9) returning client_id",
    )
    .bind(s.salon.0)
    .bind(&r.name)
    .bind(r.born_on)
    .bind(&r.phone)
    .bind(&r.email)
    .bind(&r.curl_group)
    .bind(r.curl_index)
    .bind(r.usual_person.map(|p| p.0))
    .bind(r.no_contact)
    .fetch_one(&mut *s.tx)
    .await?;
    Ok(ClientId(id))
}

/// Changes a record that still has this version; false when somebody was first.
pub async fn update(s: &mut Scoped, id: ClientId, version: i32, r: &Record) -> Stored<bool> {
    let done = sqlx::query(
        "update client set name = $4, born_on = $5, phone = $6, email = $7, curl_group = $8, curl_index = $9, usual_person_id = $10,
            no_contact = $11, version = version + 1
         where salon_id = $1 and client_id = $2 and version = $3",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .bind(version)
    .bind(&r.name)
    .bind(r.born_on)
    .bind(&r.phone)
    .bind(&r.email)
    .bind(&r.curl_group)
    .bind(r.curl_index)
    .bind(r.usual_person.map(|p| p.0))
    .bind(r.no_contact)
    .execute(&mut *s.tx)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Keeps a date of birth told in the chair.
pub async fn set_born_on(s: &mut Scoped, id: ClientId, born_on: Date) -> Stored<()> {
    sqlx::query(
        "update client set born_on = $3, version = version + 1 where salon_id = $1 and client_id = $2",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .bind(born_on)
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}

/// Keeps a curl index measured in the chair, with its doubt.
pub async fn set_curl_index(s: &mut Scoped, id: ClientId, index: f32, sd: Option<f32>) -> Stored<()> {
    sqlx::query(
        "update client set curl_index = $3, curl_index_sd = $4, version = version + 1 where salon_id = $1 and client_id = $2",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .bind(index)
    .bind(sd)
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}

/// Takes the client's lock: what is read after it does not change until this transaction ends.
pub async fn lock(s: &mut Scoped, id: ClientId) -> Stored<()> {
    sqlx::query("select rinsebell_lock_client($1, $2)")
        .bind(s.salon.0)
        .bind(id.0)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}
