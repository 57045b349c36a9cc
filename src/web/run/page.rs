//! The Run screen as a page, as its live part, and after a refusal.

use askama::Template;
use axum::extract::{Path, Query};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use serde_json::json;

use super::around::Around;
use super::bowl::Picked;
use super::refused::Said;
use super::view::RunPage;
use crate::calendar::Zone;
use crate::domain::ids::RunId;
use crate::flow::runs;
use crate::store::run_codec;
use crate::web::problem::{Answered, Problem};
use crate::web::seat::Seat;
use crate::web::shell::Shell;
use crate::web::{alarm, page};

async fn render(seat: &Seat, id: RunId, said: Option<Said>, picked: Picked) -> Result<Response, Problem> {
    let mut s = seat.begin().await?;
    let loaded = runs::load(&mut s, &seat.app, id).await?.ok_or(Problem::NotFound)?;
    let mut around = Around::load(&mut s, seat, &loaded).await?;
    around.picked = picked;
    let loudest = alarm::loudest(&mut s, &seat.app, id.0).await?;
    s.commit().await?;
    let status = said.as_ref().map_or(StatusCode::OK, |x| x.status);
    let mut run_page = RunPage::new(seat, &loaded, around, said);
    run_page.shell.loudest = loudest;
    let mut response = page::html(&run_page);
    *response.status_mut() = status;
    Ok(response)
}

/// The screen. While the station is locked it shows clocks, facts and stop, and no health answers.
pub async fn show(seat: Seat, Path(id): Path<String>, Query(q): Query<Picked>) -> Answered {
    render(&seat, id.parse().map_err(|_| Problem::NotFound)?, None, q).await
}

/// The same page, fetched anew by its script when the run moved on.
pub async fn live(seat: Seat, Path(id): Path<String>, Query(q): Query<Picked>) -> Answered {
    render(&seat, id.parse().map_err(|_| Problem::NotFound)?, None, q).await
}

/// The page again, with why an act was not done.
pub(super) async fn again(seat: &Seat, id: RunId, said: Said, picked: Picked) -> Answered {
    render(seat, id, Some(said), picked).await
}

/// Events after a sequence number.
#[derive(Deserialize)]
pub struct After {
    #[serde(default)]
    after: i32,
}

/// The record itself after a sequence number, as JSON: to catch up without guessing.
pub async fn events(seat: Seat, Path(id): Path<String>, Query(q): Query<After>) -> Answered {
    let id: RunId = id.parse().map_err(|_| Problem::NotFound)?;
    seat.require_on_run(crate::domain::access::Act::StartStep, id)?;
    let mut s = seat.begin().await?;
    crate::store::runs::find(&mut s, id).await?.ok_or(Problem::NotFound)?;
    let events = crate::store::runs::list_events(&mut s, id, q.after.max(0)).await?;
    s.commit().await?;
    let list: Vec<_> = events
        .iter()
        .map(|e| {
            json!({
                "seq": e.seq,
                "recorded_at": e.recorded_at.unix_timestamp_nanos() / 1_000_000,
                "happened_at": e.happened_at.unix_timestamp_nanos() / 1_000_000,
                "kind": e.kind.code(),
                "step": e.kind.step().map(|x| x.as_str()),
                "data": run_codec::data_of(&e.kind),
            })
        })
        .collect();
    Ok(axum::Json(json!({ "events": list })).into_response())
}

/// The aftercare sheet, to print and to read.
pub async fn aftercare(seat: Seat, Path(id): Path<String>) -> Answered {
    let id: RunId = id.parse().map_err(|_| Problem::NotFound)?;
    let mut s = seat.begin().await?;
    seat.require(crate::domain::access::Act::FollowUp)?;
    let run = crate::store::runs::find(&mut s, id).await?.ok_or(Problem::NotFound)?;
    let (words, given_at) =
        crate::store::finish::find_aftercare(&mut s, id).await?.ok_or(Problem::NotFound)?;
    let service = crate::store::protocols::find(&mut s, &run.protocol, run.revision)
        .await?
        .map_or(String::new(), |r| r.title);
    let zone = Zone::find(&seat.salon_row.zone)
        .ok_or_else(|| crate::store::StoreError::Corrupt("salon", seat.salon_row.zone.clone()))?;
    let now = s.now().await?;
    s.commit().await?;
    Ok(page::html(&AftercarePage {
        shell: seat.shell(now, "/aftercare", &[]),
        salon: seat.salon_row.name.clone(),
        service,
        given: zone.day_words(given_at),
        name: run.client_name,
        run: id.0,
        parts: sheet_parts(&words),
    }))
}

/// The kept words as headings with their lines.
fn sheet_parts(words: &str) -> Vec<(String, Vec<String>)> {
    words
        .split("\n\n")
        .filter_map(|part| {
            let mut lines = part.lines().map(String::from);
            Some((lines.next()?, lines.collect()))
        })
        .collect()
}

/// The aftercare sheet.
#[derive(Template)]
#[template(path = "runs/aftercare.html")]
struct AftercarePage {
    shell: Shell,
    salon: String,
    name: String,
    service: String,
    /// The local day it was given.
    given: String,
    run: i64,
    /// Headings with their lines.
    parts: Vec<(String, Vec<String>)>,
}
