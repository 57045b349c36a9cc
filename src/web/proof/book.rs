//! The list of visits: all of them, or one client's.

use askama::Template;
use axum::extract::Path;
use axum_extra::extract::Query;
use serde::Deserialize;
use time::OffsetDateTime;

use crate::calendar::{Zone, iso_day};
use crate::domain::access::Act;
use crate::store::runs;
use crate::store::visits::{self, Visit, Which};
use crate::web::clients::{client_id, find, tabs, zone};
use crate::web::form::Errors;
use crate::web::problem::Answered;
use crate::web::seat::Seat;
use crate::web::shell::{ClientTabs, Shell};
use crate::web::{page, typed};

/// What is asked of the book.
#[derive(Deserialize, Default)]
#[serde(default)]
pub struct Asked {
    name: String,
    on: String,
    /// The last visit of the page before: microseconds since 1970, and its number.
    before: String,
    before_id: String,
}

struct Row {
    href: String,
    when: String,
    name: String,
    title: String,
    by: String,
    chair: String,
    how: String,
    events: i64,
    incidents: i64,
}

#[derive(Template)]
#[template(path = "proof/book.html")]
struct BookPage {
    shell: Shell,
    errors: Errors,
    answer: String,
    name: String,
    on: String,
    rows: Vec<Row>,
    more: String,
    asked: bool,
}

/// How a run ended, or that it has not.
pub(super) fn how_words(how: Option<&str>) -> &'static str {
    match how {
        None => tr!("under way"),
        Some("finished") => tr!("finished"),
        Some("stopped") => tr!("stopped"),
        Some(_) => tr!("client left"),
    }
}

fn row(v: Visit, zone: &Zone) -> Row {
    Row {
        href: format!("/proof/runs/{}", v.run_id),
        when: format!(
            "{} {}, {}",
            zone.day_words(v.started_at),
            zone.local(v.started_at).year(),
            zone.clock(v.started_at)
        ),
        name: v.client_name,
        title: v.title,
        by: v.by_name,
        chair: v.chair,
        how: how_words(v.ended_how.as_deref()).to_owned(),
        events: v.events,
        incidents: v.incidents,
    }
}

/// Microseconds since 1970: as exact as the database keeps an instant, so that no visit is passed over.
fn micros(at: OffsetDateTime) -> i128 {
    at.unix_timestamp_nanos() / 1000
}

fn of_micros(text: &str) -> Option<OffsetDateTime> {
    OffsetDateTime::from_unix_timestamp_nanos(i128::from(text.parse::<i64>().ok()?) * 1000).ok()
}

/// The book, newest first, fifty visits a page.
pub async fn list(seat: Seat, Query(q): Query<Asked>) -> Answered {
    seat.require(Act::SeeProof)?;
    let zone = zone(&seat)?;
    let mut errors = Errors::none();
    let name = typed::line(&mut errors, "name", &q.name, 200);
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let day = typed::past_day(&mut errors, "on", &q.on, zone.day_of(now));
    let span = day.and_then(|d| Some((zone.midnight(d), zone.midnight(d.next_day()?))));
    let before = of_micros(&q.before).zip(q.before_id.parse().ok());
    let which = Which { name: &name, from: span.map(|x| x.0), until: span.map(|x| x.1), before };
    let mut found = if errors.is_empty() { visits::list(&mut s, which).await? } else { Vec::new() };
    s.commit().await?;
    let mut more = String::new();
    if found.len() as i64 > visits::PAGE {
        found.truncate(visits::PAGE as usize);
        if let Some(last) = found.last() {
            let (at, id) = (micros(last.started_at), last.run_id);
            let (name, on) = (page::query_value(&name), day.map(iso_day).unwrap_or_default());
            more = format!("/proof?name={name}&on={on}&before={at}&before_id={id}");
        }
    }
    let asked = !name.is_empty() || day.is_some();
    let answer = match (found.len(), asked) {
        (0, true) => tr!("No visit like that").to_owned(),
        (0, false) => tr!("No visit yet").to_owned(),
        _ => tr!("Sign-off book").to_owned(),
    };
    let rows = found.into_iter().map(|v| row(v, &zone)).collect();
    let shell = seat.shell(now, "/proof", &["floor"]);
    Ok(page::html(&BookPage { shell, errors, answer, name: q.name, on: q.on, rows, more, asked }))
}

#[derive(Template)]
#[template(path = "proof/client.html")]
struct ClientPage {
    shell: Shell,
    tabs: ClientTabs,
    rows: Vec<(String, String, String, String)>,
}

/// One client's visits, newest first.
pub async fn of_client(seat: Seat, Path(id): Path<String>) -> Answered {
    seat.require(Act::SeeHealth)?;
    let zone = zone(&seat)?;
    let mut s = seat.begin().await?;
    let client = find(&mut s, client_id(&id)?).await?;
    let now = s.now().await?;
    let found = runs::list_by_client(&mut s, client.id()).await?;
    s.commit().await?;
    let in_book = seat.may(Act::SeeProof);
    let rows = found
        .into_iter()
        .map(|r| {
            // Who may not read the book is led to the service while it is under way, and nowhere after.
            let href = match (in_book, r.ended_at) {
                (true, _) => format!("/proof/runs/{}", r.run_id),
                (false, None) => format!("/runs/{}", r.run_id),
                (false, Some(_)) => String::new(),
            };
            let when = format!("{} {}", zone.day_words(r.started_at), zone.local(r.started_at).year());
            (href, when, r.protocol, how_words(r.ended_how.as_deref()).to_owned())
        })
        .collect();
    let topic = format!("client:{}", client.client_id);
    Ok(page::html(&ClientPage {
        shell: seat.shell(now, "/clients", &[&topic]),
        tabs: tabs(&seat, &client, "visits"),
        rows,
    }))
}
