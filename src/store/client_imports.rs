//! Files of clients being taken in, and the rows they become.

use sqlx::types::Json;
use time::{Date, OffsetDateTime};

use super::{Scoped, Stored};
use crate::domain::client_import::Newcomer;
use crate::domain::ids::{ClientId, ImportId, PersonId};

/// What the columns of a file were said to be, as kept.
#[derive(Clone, Debug, Default, PartialEq, serde::Serialize, serde::Deserialize)]
#[serde(default)]
pub struct KeptColumns {
    /// Codes, one a column.
    pub columns: Vec<String>,
    /// day-first or month-first.
    pub days: String,
}

/// A file between its steps.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct ClientImport {
    pub import_id: i64,
    pub made_at: OffsetDateTime,
    pub made_by: i64,
    pub file_name: String,
    /// Gone once taken in.
    pub body: Option<Vec<u8>>,
    pub columns: Option<Json<KeptColumns>>,
    /// The line of the book that says what was taken in.
    pub act_seq: Option<i64>,
}

/// Keeps a file for a day.
pub async fn insert(s: &mut Scoped, by: PersonId, file_name: &str, body: &[u8]) -> Stored<ImportId> {
    let id: i64 = sqlx::query_scalar(
        "insert into client_import (salon_id, made_by, file_name, body) values ($1,$2,$3,$4) returning import_id",
    )
    .bind(s.salon.0)
    .bind(by.0)
    .bind(file_name)
    .bind(body)
    .fetch_one(&mut *s.tx)
    .await?;
    Ok(ImportId(id))
}

/// Files not taken in yet: how many there are, for a bound on what is kept.
pub async fn count_waiting(s: &mut Scoped) -> Stored<i64> {
    Ok(sqlx::query_scalar(
        "select count(*) from client_import where salon_id = $1 and made_at > rinsebell_now() - interval '1 day' and body is not null",
    )
    .bind(s.salon.0)
    .fetch_one(&mut *s.tx)
    .await?)
}

/// One file, not older than a day; locked, so that it is taken in once.
pub async fn find(s: &mut Scoped, id: ImportId) -> Stored<Option<ClientImport>> {
    Ok(sqlx::query_as(
        "select import_id, made_at, made_by, file_name, body, columns, act_seq from client_import
         where salon_id = $1 and import_id = $2 and made_at > rinsebell_now() - interval '1 day' for update",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .fetch_optional(&mut *s.tx)
    .await?)
}

/// Keeps what the columns are.
pub async fn set_columns(s: &mut Scoped, id: ImportId, columns: &KeptColumns) -> Stored<()> {
    sqlx::query(
        "update client_import set columns = $3 where salon_id = $1 and import_id = $2 and body is not null",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .bind(Json(columns))
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}

/// Empties a file that was taken in.
pub async fn set_taken(s: &mut Scoped, id: ImportId, act_seq: i64) -> Stored<()> {
    sqlx::query("update client_import set body = null, act_seq = $3 where salon_id = $1 and import_id = $2")
        .bind(s.salon.0)
        .bind(id.0)
        .bind(act_seq)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// Forgets files older than a day.
pub async fn sweep(s: &mut Scoped) -> Stored<u64> {
    Ok(sqlx::query(
        "delete from client_import where salon_id = $1 and made_at <= rinsebell_now() - interval '1 day'",
    )
    .bind(s.salon.0)
    .execute(&mut *s.tx)
    .await?
    .rows_affected())
}

/// One import at a time looks who is here and enters who is not.
pub async fn lock(s: &mut Scoped) -> Stored<()> {
    sqlx::query("select pg_advisory_xact_lock(hashtextextended('client import ' || $1::bigint, 0))")
        .bind(s.salon.0)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// Who a row seems to be.
#[derive(Clone, Debug, PartialEq, sqlx::FromRow)]
pub struct Match {
    /// Line of the file.
    pub line: i32,
    pub client_id: i64,
    pub name: String,
    /// 1 name and birth day, 2 email, 3 phone, 4 name.
    pub by: i32,
}

struct Bound {
    lines: Vec<i32>,
    names: Vec<String>,
    born: Vec<Option<Date>>,
    phones: Vec<String>,
    emails: Vec<String>,
    curls: Vec<Option<String>>,
    no_contact: Vec<bool>,
}

fn bound(rows: &[Newcomer]) -> Bound {
    Bound {
        lines: rows.iter().map(|r| i32::try_from(r.line).unwrap_or(i32::MAX)).collect(),
        names: rows.iter().map(|r| r.name.clone()).collect(),
        born: rows.iter().map(|r| r.born_on).collect(),
        phones: rows.iter().map(|r| r.phone.clone()).collect(),
        emails: rows.iter().map(|r| r.email.clone()).collect(),
        curls: rows.iter().map(|r| r.curl_group.map(str::to_string)).collect(),
        no_contact: rows.iter().map(|r| r.no_contact).collect(),
    }
}

/// Clients here that rows seem to be: the strongest sign for each row, and of several clients the first entered.
/// Give at most some thousand rows at once: the statement has a time limit.
pub async fn list_matches(s: &mut Scoped, rows: &[Newcomer]) -> Stored<Vec<Match>> {
    let b = bound(rows);
    Ok(sqlx::query_as(
        "select distinct on (m.line) m.line, m.client_id, m.name, m.by
         from rinsebell_same_clients($1, $2::int[], $3::text[], $4::date[], $5::text[], $6::text[], 1) m
         where exists (select from salon where salon_id = $1) order by m.line, m.by, m.client_id",
    )
    .bind(s.salon.0)
    .bind(b.lines)
    .bind(b.names)
    .bind(b.born)
    .bind(b.phones)
    .bind(b.emails)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Enters rows as clients, in their order.
pub async fn insert_clients(s: &mut Scoped, rows: &[Newcomer]) -> Stored<u64> {
    let b = bound(rows);
    Ok(sqlx::query(
        "insert into client (salon_id, name, born_on, phone, email, curl_group, no_contact)
         select $1, k.name, k.born_on, k.phone, k.email, k.curl, k.no_contact
         from unnest($2::text[], $3::date[], $4::text[], $5::text[], $6::text[], $7::bool[]) with ordinality
           as k(name, born_on, phone, email, curl, no_contact, at) order by k.at",
    )
    .bind(s.salon.0)
    .bind(b.names)
    .bind(b.born)
    .bind(b.phones)
    .bind(b.emails)
    .bind(b.curls)
    .bind(b.no_contact)
    .execute(&mut *s.tx)
    .await?
    .rows_affected())
}

/// Fills what is empty in clients' records; who does not want to be reached stays unreached. Counts those changed.
pub async fn fill_clients(s: &mut Scoped, clients: &[i64], rows: &[Newcomer]) -> Stored<u64> {
    let b = bound(rows);
    Ok(sqlx::query(
        "update client c set born_on = coalesce(c.born_on, k.born_on), phone = case when c.phone = '' then k.phone else c.phone end,
            email = case when c.email = '' then k.email else c.email end, curl_group = coalesce(c.curl_group, k.curl),
            no_contact = c.no_contact or k.no_contact, version = c.version + 1
         from unnest($2::bigint[], $3::date[], $4::text[], $5::text[], $6::text[], $7::bool[]) as k(client_id, born_on, phone, email, curl, no_contact)
         where c.salon_id = $1 and c.client_id = k.client_id and c.erased_at is null and c.merged_into is null
           and ((c.born_on is null and k.born_on is not null) or (c.phone = '' and k.phone <> '') or (c.email = '' and k.email <> '')
             or (c.curl_group is null and k.curl is not null) or (not c.no_contact and k.no_contact))",
    )
    .bind(s.salon.0)
    .bind(clients)
    .bind(b.born)
    .bind(b.phones)
    .bind(b.emails)
    .bind(b.curls)
    .bind(b.no_contact)
    .execute(&mut *s.tx)
    .await?
    .rows_affected())
}

/// Others with this client's name, phone or email, at most 20, the strongest sign first.
pub async fn list_same(s: &mut Scoped, client: ClientId) -> Stored<Vec<Match>> {
    Ok(sqlx::query_as(
        "select 1 as line, m.client_id, m.name, min(m.by) as by
         from client c cross join lateral rinsebell_same_clients(c.salon_id, array[1], array[c.name], array[c.born_on], array[c.phone], array[c.email], 20) m
         where c.salon_id = $1 and c.client_id = $2 and m.client_id <> c.client_id
         group by m.client_id, m.name order by 4, 2 limit 20",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .fetch_all(&mut *s.tx)
    .await?)
}
