//! Trying a file of clients and taking it in: what it would come to, then all of it or nothing.

use askama::Template;
use axum::extract::Path;
use axum::response::{IntoResponse as _, Response};
use axum_extra::extract::Form;

use crate::domain::access::Act;
use crate::domain::client_import::Seen;
use crate::domain::ids::ImportId;
use crate::flow::client_imports::{self as flow, Choices, Outcome, Trial};
use crate::web::client_imports::{Fields, Found, download, field, open, sign_words, taken_already};
use crate::web::form::Choice;
use crate::web::problem::{Answered, Problem};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::shell::Shell;
use crate::web::{csv, once, page};

/// The routes of these steps.
pub const LINES: &[Line] = lines![
    get "/clients/import/{id}/trial" Open::To(Act::ImportClients) => trial,
    post "/clients/import/{id}/trial" Open::To(Act::ImportClients) => take,
    get "/clients/import/{id}/refused.csv" Open::To(Act::ImportClients) => refused,
];

struct ShownKnown {
    field: String,
    line: u32,
    name: String,
    told: String,
    why: &'static str,
    href: String,
    here: String,
    choices: Vec<Choice>,
}

/// Rows of a list on the trial's page; the files hold all.
const SHOWN_MOST: usize = 50;

#[derive(Template)]
#[template(path = "clients/import_trial.html")]
struct TrialPage {
    shell: Shell,
    changed: bool,
    here: String,
    once_key: String,
    mark: String,
    new: usize,
    sample: Vec<(u32, String, String)>,
    known: Vec<ShownKnown>,
    known_all: usize,
    again: usize,
    again_shown: Vec<(u32, u32)>,
    refused: Vec<(u32, String)>,
    refused_all: usize,
    for_all: Vec<Choice>,
    nothing: bool,
}

fn trial_page(
    seat: &Seat,
    now: time::OffsetDateTime,
    id: ImportId,
    t: &Trial,
    choices: &Choices,
    changed: bool,
) -> TrialPage {
    let pairs: Vec<(&str, &str)> = Seen::ALL.iter().map(|(_, code, words)| (*code, *words)).collect();
    let told = |n: &crate::domain::client_import::Newcomer| {
        let born = n.born_on.map(crate::calendar::iso_day).unwrap_or_default();
        [born, n.phone.clone(), n.email.clone()]
            .into_iter()
            .filter(|x| !x.is_empty())
            .collect::<Vec<_>>()
            .join(" · ")
    };
    let known = t.known.iter().take(SHOWN_MOST).map(|k| {
        let n = &t.rows[k.row];
        let chosen = choices.by_line.get(&n.line).map_or("", |c| c.code());
        ShownKnown {
            field: format!("line_{}", n.line),
            line: n.line,
            name: n.name.clone(),
            told: told(n),
            why: sign_words(k.by),
            href: format!("/clients/{}", k.client_id),
            here: k.name.clone(),
            choices: Choice::list(
                std::iter::once(("", tr!("as for all"))).chain(pairs.iter().copied()),
                &[chosen],
            ),
        }
    });
    TrialPage {
        shell: seat.shell(now, "/clients", &[]),
        changed,
        here: format!("/clients/import/{id}"),
        once_key: once::key(),
        mark: flow::mark(t),
        new: t.new.len(),
        sample: t
            .new
            .iter()
            .take(5)
            .map(|i| &t.rows[*i])
            .map(|n| (n.line, n.name.clone(), told(n)))
            .collect(),
        known: known.collect(),
        known_all: t.known.len(),
        again: t.again.len(),
        again_shown: t.again.iter().take(20).copied().collect(),
        refused: t.refused.iter().take(SHOWN_MOST).cloned().collect(),
        refused_all: t.refused.len(),
        for_all: Choice::list(pairs.iter().copied(), &[choices.all.code()]),
        nothing: t.new.is_empty() && t.known.is_empty(),
    }
}

/// What taking it in would come to. Changes nothing.
pub async fn trial(seat: Seat, Path(id): Path<String>) -> Answered {
    seat.require(Act::ImportClients)?;
    let mut s = seat.begin().await?;
    let Found::Open(o) = open(&seat, &mut s, &id).await? else { return Err(taken_already()) };
    if o.mapping.fault().is_some() {
        return Ok(page::see(&format!("/clients/import/{}", o.id)));
    }
    let trial = flow::try_import(&mut s, &o.table, &o.mapping, o.today).await?;
    let now = s.now().await?;
    s.commit().await?;
    Ok(page::html(&trial_page(&seat, now, o.id, &trial, &Choices::default(), false)))
}

/// Takes it in, whole.
pub async fn take(seat: Seat, Path(id): Path<String>, Form(fields): Form<Fields>) -> Answered {
    let by = seat.require(Act::ImportClients)?.id;
    let mut s = seat.begin().await?;
    let key = field(&fields, "once").to_string();
    if let Some(done) = once::claim(&mut s, &key, "/clients/import").await? {
        return Ok(done);
    }
    let Found::Open(o) = open(&seat, &mut s, &id).await? else { return Err(taken_already()) };
    if o.mapping.fault().is_some() {
        return Ok(page::see(&format!("/clients/import/{}", o.id)));
    }
    let choices = Choices {
        all: Seen::from_code(field(&fields, "all")).unwrap_or_default(),
        by_line: fields
            .iter()
            .filter_map(|(n, v)| Some((n.strip_prefix("line_")?.parse().ok()?, Seen::from_code(v)?)))
            .collect(),
    };
    let read = (&o.table, &o.mapping);
    let shown = field(&fields, "mark");
    match flow::take_in(&mut s, &o.file, read, &choices, shown, (by, o.today)).await? {
        Outcome::Done(_) => {
            let answer = once::settle(&mut s, &key, "/clients/import#book").await?;
            s.commit().await?;
            Ok(answer)
        }
        Outcome::Changed(trial) => {
            let now = s.now().await?;
            Ok(page::refused(&trial_page(&seat, now, o.id, &trial, &choices, true)))
        }
    }
}

/// Every line that would not be taken in, with its reason, as a table file.
pub async fn refused(seat: Seat, Path(id): Path<String>) -> Result<Response, Problem> {
    seat.require(Act::ImportClients)?;
    let mut s = seat.begin().await?;
    let Found::Open(o) = open(&seat, &mut s, &id).await? else { return Err(taken_already()) };
    let trial = flow::try_import(&mut s, &o.table, &o.mapping, o.today).await?;
    s.commit().await?;
    let mut rows = vec![vec!["line".to_string(), "why".to_string()]];
    rows.extend(trial.refused.into_iter().map(|(line, why)| vec![line.to_string(), why]));
    rows.extend(trial.again.iter().map(|(line, first)| {
        vec![line.to_string(), tr!("Line {first} says the same person.", first = first)]
    }));
    Ok(download(
        csv::text(&rows).into_response(),
        "text/csv; charset=utf-8; header=present",
        "lines-not-taken-in.csv",
    ))
}
