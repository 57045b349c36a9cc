//! What clients answered at home by a link.

use std::collections::BTreeMap;

use sqlx::types::Json;
use time::OffsetDateTime;

use super::{Scoped, StoreError, Stored};
use crate::domain::consult::{HomeAnswer, HomeQuestion, HomeTold};
use crate::domain::ids::{ClientId, LinkId};

#[derive(sqlx::FromRow)]
struct Row {
    told: Json<BTreeMap<String, String>>,
    history: String,
    more: String,
    at: OffsetDateTime,
}

/// Keeps what was answered; false when the database says that the link is closed, or was used for it too often.
pub async fn insert(s: &mut Scoped, client: ClientId, link: LinkId, told: &HomeTold) -> Stored<bool> {
    let codes: BTreeMap<&str, &str> = told.answers().iter().map(|(q, a)| (q.code(), a.code())).collect();
    let done = sqlx::query(
        "insert into home_answer (salon_id, client_id, link_id, told, history, more) values ($1,$2,$3,$4,$5,$6)",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(link.0)
    .bind(Json(codes))
    .bind(&told.history)
    .bind(&told.more)
    .execute(&mut *s.tx)
    .await;
    match done.map_err(StoreError::from) {
        Ok(_) => Ok(true),
        Err(StoreError::Refused { code, .. }) if code == "RB012" => Ok(false),
        Err(e) => Err(e),
    }
}

/// The newest answers of a client, and when they were given; none without any, or when all was erased.
pub async fn latest(s: &mut Scoped, client: ClientId) -> Stored<Option<(HomeTold, OffsetDateTime)>> {
    let row: Option<Row> = sqlx::query_as(
        "select told, history, more, at from home_answer where salon_id = $1 and client_id = $2 order by at desc limit 1",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .fetch_optional(&mut *s.tx)
    .await?;
    Ok(row.and_then(|row| {
        let answer = |q: HomeQuestion| row.told.get(q.code()).and_then(|code| HomeAnswer::from_code(code));
        Some((HomeTold::of(answer, row.history.clone(), row.more.clone())?, row.at))
    }))
}
