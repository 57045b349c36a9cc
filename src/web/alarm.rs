//! The loudest alarm of the salon, on every screen of a station: whose, where, what. The Floor says all of them; a
//! service says its own, and here those of the heads beside it.

use askama::Template;
use axum::extract::Query;
use serde::Deserialize;

use crate::app::App;
use crate::domain::run::Urgency;
use crate::flow::runs;
use crate::store::{Scoped, Stored, people, runs as store_runs, stations};
use crate::web::bell_words::Ringing;
use crate::web::page;
use crate::web::problem::Answered;
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::{Seat, short_name};

/// The route of the part.
pub const LINES: &[Line] = lines![get "/alarm" Open::Station => show];

/// The service whose own screen this stands on, if any: it says its own bells; and for whom the screen is.
#[derive(Deserialize, Default)]
#[serde(default)]
pub struct But {
    but: i64,
    /// Whom the page is for, 0 for anybody.
    of: i64,
}

/// The loudest alarm in words.
#[derive(Clone, Debug)]
pub struct Loudest {
    /// Number of the service.
    pub run: i64,
    /// Key of its bell.
    pub key: String,
    pub words: String,
}

#[derive(Template)]
#[template(path = "parts/alarm.html")]
struct AlarmPart {
    part: String,
    /// Whoever the page was for is not signed in here any more.
    covered: bool,
    loudest: Option<Loudest>,
}

/// What waits for nobody: a stop, a complaint, a head over its longest allowed; not of the service `but`, 0 for any.
///
/// # Errors
/// Those of the store.
pub async fn loudest(s: &mut Scoped, app: &App, but: i64) -> Stored<Option<Loudest>> {
    let open: Vec<_> = store_runs::list_open(s).await?.into_iter().filter(|r| r.run_id != but).collect();
    if open.is_empty() {
        return Ok(None);
    }
    let names: Vec<(i64, String)> = people::list(s).await?.into_iter().map(|p| (p.id.0, p.name)).collect();
    let places: Vec<(i64, String)> =
        stations::list(s).await?.into_iter().map(|x| (x.station_id, x.name)).collect();
    let mut loudest: Option<(Urgency, i64, String, String)> = None;
    for run in open {
        let loaded = runs::load_found(s, app, run).await?;
        let state = loaded.state();
        let ringing = Ringing { loaded: &loaded, state: &state, people: &names, stations: &places };
        let rung = ringing.all(loaded.now).into_iter().map(|r| (r.urgency, r.key, r.words));
        let alarm = ringing.alarm().map(|(key, words)| (Urgency::Stop, key, words));
        let stopped = state.stop.map(|stop| {
            let name = short_name(&loaded.run.client_name);
            let words = format!("{name}, {}: {}", loaded.run.chair, state.headline(loaded.now).now);
            (Urgency::Stop, format!("{}:stop:stands:{}", loaded.run.run_id, stop.seq), words)
        });
        let grave = rung.chain(alarm).chain(stopped).filter(|(urgency, ..)| *urgency >= Urgency::Most);
        if let Some((urgency, key, words)) = grave.max_by_key(|(urgency, ..)| *urgency)
            && loudest.as_ref().is_none_or(|(known, ..)| *known < urgency)
        {
            loudest = Some((urgency, loaded.run.run_id, key, words));
        }
    }
    Ok(loudest.map(|(_, run, key, words)| Loudest { run, key, words }))
}

/// The part of a page that says it.
pub async fn show(seat: Seat, Query(q): Query<But>) -> Answered {
    let mut s = seat.begin().await?;
    let loudest = loudest(&mut s, &seat.app, q.but).await?;
    s.commit().await?;
    let part = match (q.but, q.of) {
        (0, 0) => "/alarm".to_owned(),
        (0, of) => format!("/alarm?of={of}"),
        (but, _) => format!("/alarm?but={but}"),
    };
    let covered = q.of != 0 && seat.person().is_none_or(|p| p.id.0 != q.of);
    Ok(page::html(&AlarmPart { part, covered, loudest }))
}
