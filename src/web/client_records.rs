//! Whole records: all clients copied out, two records of one person merged, a person erased.

use askama::Template;
use axum::extract::Path;
use axum::response::{IntoResponse as _, Response};
use axum_extra::extract::{Form, Query};
use serde::Deserialize;

use crate::calendar::iso_day;
use crate::domain::access::Act;
use crate::domain::ids::ClientId;
use crate::flow::client_records::{self as flow, NotKept};
use crate::store::client_records::{self, Merge, Weight};
use crate::store::clients::{self, Client};
use crate::store::{Scoped, client_imports};
use crate::web::client_imports::{download, sign_words};
use crate::web::clients::{client_id, find, tabs, zone};
use crate::web::form::{Choice, Errors, Reason};
use crate::web::problem::{Answered, Problem};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::shell::{ClientTabs, Shell};
use crate::web::{csv, once, page, typed};

/// The routes of whole records; a manager's all.
pub const LINES: &[Line] = lines![
    get "/clients.csv" Open::To(Act::KeepRecords) => export,
    get "/clients/{id}/merge" Open::To(Act::KeepRecords) => merge_form,
    post "/clients/{id}/merge" Open::To(Act::KeepRecords) => merge,
    get "/clients/{id}/erase" Open::To(Act::KeepRecords) => erase_form,
    post "/clients/{id}/erase" Open::To(Act::KeepRecords) => erase,
];

/// All clients as a table file; that it was taken stands in the book.
pub async fn export(seat: Seat) -> Result<Response, Problem> {
    let by = seat.require(Act::KeepRecords)?.id;
    let zone = zone(&seat)?;
    let titles = [
        "name",
        "born on",
        "phone",
        "email",
        "curl",
        "not to be reached",
        "usual person",
        "here since",
        "last visit",
        "number",
    ];
    let mut rows: Vec<Vec<String>> = vec![titles.map(str::to_string).to_vec()];
    let mut s = seat.begin().await?;
    let mut after = 0;
    loop {
        let some = client_records::list_copied(&mut s, after).await?;
        let Some(last) = some.last() else { break };
        after = last.client_id;
        rows.extend(some.into_iter().map(|c| {
            let reach = if c.no_contact { "yes" } else { "" };
            vec![
                c.name,
                c.born_on.map(iso_day).unwrap_or_default(),
                c.phone,
                c.email,
                c.curl_group.unwrap_or_default(),
                reach.to_string(),
                c.usual.unwrap_or_default(),
                iso_day(zone.day_of(c.created_at)),
                c.last_visit.map(|at| iso_day(zone.day_of(at))).unwrap_or_default(),
                c.client_id.to_string(),
            ]
        }));
    }
    flow::note_export(&mut s, by, rows.len() - 1).await?;
    s.commit().await?;
    Ok(download(csv::text(&rows).into_response(), "text/csv; charset=utf-8; header=present", "clients.csv"))
}

struct Candidate {
    href: String,
    name: String,
    told: String,
    why: &'static str,
}

/// One thing on which two records differ, or not.
struct Side {
    title: &'static str,
    name: &'static str,
    kept: String,
    gone: String,
    same: bool,
    choices: Vec<Choice>,
}

#[derive(Template)]
#[template(path = "clients/merge.html")]
struct MergePage {
    shell: Shell,
    tabs: ClientTabs,
    here: String,
    asked: String,
    reasons: Vec<Reason>,
    candidates: Vec<Candidate>,
    other: Option<Pair>,
}

struct Pair {
    other_id: i64,
    other_way: String,
    once_key: String,
    versions: (i32, i32),
    sides: Vec<Side>,
    kept_weight: String,
    gone_weight: String,
    /// Why these two are not merged this way; empty when they may.
    against: String,
}

/// What was asked of the merge page, and what its form sends.
#[derive(Deserialize, Default)]
#[serde(default)]
pub struct MergeAsked {
    name: String,
    other: String,
    once: String,
    kept_version: String,
    gone_version: String,
    keep_name: String,
    keep_born_on: String,
    keep_phone: String,
    keep_email: String,
}

fn told(c: &Client) -> String {
    let born = c.born_on.map(iso_day).unwrap_or_default();
    [born, c.phone.clone(), c.email.clone()]
        .into_iter()
        .filter(|x| !x.is_empty())
        .collect::<Vec<_>>()
        .join(" · ")
}

fn weight_words(w: &Weight) -> String {
    let parts = [
        (w.visits, tr!("visits")),
        (w.consults, tr!("consults")),
        (w.tests, tr!("tests")),
        (w.readings, tr!("readings")),
        (w.strand_lines, tr!("lines of the hair's story")),
        (w.bookings, tr!("bookings")),
        (w.messages, tr!("messages")),
    ];
    let said: Vec<String> =
        parts.iter().filter(|(n, _)| *n > 0).map(|(n, what)| format!("{what}: {n}")).collect();
    if said.is_empty() { tr!("nothing but the record").into() } else { said.join(", ") }
}

async fn candidates(s: &mut Scoped, client: &Client, asked: &str) -> Result<Vec<Candidate>, Problem> {
    let base = format!("/clients/{}/merge?other=", client.client_id);
    let mut found: Vec<Candidate> = Vec::new();
    if asked.is_empty() {
        // Who shares a sign with this record, as an import sees it.
        for other in client_imports::list_same(s, client.id()).await? {
            if let Some(c) = clients::find(s, ClientId(other.client_id)).await? {
                let href = format!("{base}{}", c.client_id);
                found.push(Candidate { href, told: told(&c), name: c.name, why: sign_words(other.by) });
            }
        }
    } else {
        let named = clients::list(s, asked, None).await?;
        found.extend(named.into_iter().filter(|c| c.client_id != client.client_id).map(|c| Candidate {
            href: format!("{base}{}", c.client_id),
            told: told(&c),
            name: c.name,
            why: "",
        }));
    }
    found.truncate(50);
    Ok(found)
}

fn sides(kept: &Client, gone: &Client) -> Vec<Side> {
    let born = |c: &Client| c.born_on.map(iso_day).unwrap_or_default();
    let side = |title, name, a: String, b: String| {
        let chosen = if a.is_empty() && !b.is_empty() { "gone" } else { "kept" };
        let said = |x: &str| if x.is_empty() { tr!("nothing").to_string() } else { x.to_string() };
        let (left, right) = (said(&a), said(&b));
        let choices = Choice::names([("kept", left.as_str()), ("gone", right.as_str())], &[chosen]);
        Side { title, name, same: a == b, kept: left, gone: right, choices }
    };
    vec![
        side(tr!("Name"), "keep_name", kept.name.clone(), gone.name.clone()),
        side(tr!("Born on"), "keep_born_on", born(kept), born(gone)),
        side(tr!("Phone"), "keep_phone", kept.phone.clone(), gone.phone.clone()),
        side(tr!("Email"), "keep_email", kept.email.clone(), gone.email.clone()),
    ]
}

async fn merge_page(
    seat: &Seat,
    s: &mut Scoped,
    client: &Client,
    q: &MergeAsked,
    reasons: Vec<Reason>,
) -> Result<MergePage, Problem> {
    let mut errors = Errors::none();
    let asked = typed::line(&mut errors, "name", &q.name, 200);
    let other = match q.other.as_str() {
        "" => None,
        raw => Some(find(s, client_id(raw)?).await?).filter(|o| o.client_id != client.client_id),
    };
    let candidates = if other.is_none() { candidates(s, client, &asked).await? } else { Vec::new() };
    let pair = match &other {
        None => None,
        Some(o) => {
            let (kept, gone) = (
                client_records::find_weight(s, client.id()).await?,
                client_records::find_weight(s, o.id()).await?,
            );
            let against = match (gone.visits > 0, kept.visits > 0, kept.under_way) {
                (true, true, _) => {
                    tr!(
                        "Both records have visits. What was judged by a record stays where it was judged, so these two stay two records."
                    )
                }
                (true, false, _) => {
                    tr!("The other record has the visits. Open that one, and let this one go into it.")
                }
                (false, _, true) => tr!("A service is under way for this client. End it first."),
                _ if gone.story && kept.story => crate::words::of(flow::TWO_STORIES),
                _ => "",
            };
            Some(Pair {
                other_id: o.client_id,
                other_way: format!("/clients/{}/merge?other={}", o.client_id, client.client_id),
                once_key: once::key(),
                versions: (client.version, o.version),
                sides: sides(client, o),
                kept_weight: weight_words(&kept),
                gone_weight: weight_words(&gone),
                against: against.into(),
            })
        }
    };
    let now = s.now().await?;
    Ok(MergePage {
        shell: seat.shell(now, "/clients", &[]),
        tabs: tabs(seat, client, "merge"),
        here: format!("/clients/{}/merge", client.client_id),
        asked,
        reasons,
        candidates,
        other: pair,
    })
}

/// Who the same person may be; with `other`, the two side by side.
pub async fn merge_form(seat: Seat, Path(id): Path<String>, Query(q): Query<MergeAsked>) -> Answered {
    seat.require(Act::KeepRecords)?;
    let mut s = seat.begin().await?;
    let client = find(&mut s, client_id(&id)?).await?;
    let shown = merge_page(&seat, &mut s, &client, &q, Vec::new()).await?;
    s.commit().await?;
    Ok(page::html(&shown))
}

fn stale(look: String) -> Problem {
    Problem::Stale {
        what: tr!("A record was changed by somebody else since this page was opened.").into(),
        look,
    }
}

/// Merges the other record into this one.
pub async fn merge(seat: Seat, Path(id): Path<String>, Form(f): Form<MergeAsked>) -> Answered {
    let by = seat.require(Act::KeepRecords)?.id;
    let mut s = seat.begin().await?;
    let id = client_id(&id)?;
    let done = format!("/clients/{id}");
    if let Some(again) = once::claim(&mut s, &f.once, &done).await? {
        return Ok(again);
    }
    let kept = find(&mut s, id).await?;
    let versions = f.kept_version.parse().ok().zip(f.gone_version.parse().ok());
    let (kept_version, gone_version) =
        versions.ok_or_else(|| Problem::Bad(tr!("The form has lost its version.").into()))?;
    let gone = find(&mut s, client_id(&f.other)?).await?;
    let from = |choice: &str| if choice == "gone" { &gone } else { &kept };
    let merge = Merge {
        kept: kept.id(),
        gone: gone.id(),
        kept_version,
        gone_version,
        name: &from(&f.keep_name).name,
        born_on: from(&f.keep_born_on).born_on,
        phone: &from(&f.keep_phone).phone,
        email: &from(&f.keep_email).email,
    };
    match flow::merge_clients(&mut s, &seat.app, by, &merge).await {
        Ok(()) => {
            let answer = once::settle(&mut s, &f.once, &done).await?;
            s.commit().await?;
            Ok(answer)
        }
        Err(NotKept::Stale) => Err(stale(format!("{done}/merge?other={}", gone.client_id))),
        Err(NotKept::Store(e)) => Err(e.into()),
        Err(NotKept::Against(words)) => {
            drop(s);
            let mut s = seat.begin().await?;
            let shown = merge_page(&seat, &mut s, &kept, &f, vec![Reason::plain(words)]).await?;
            Ok(page::refused(&shown))
        }
    }
}

/// Why a person is erased: codes, as the database knows them, and words.
const WHY: [(&str, &str); 3] = [
    ("client-asked", mark!("the client asked")),
    ("no-longer-needed", mark!("no longer needed")),
    ("entered-by-mistake", mark!("entered by mistake")),
];

#[derive(Template)]
#[template(path = "clients/erase.html")]
struct ErasePage {
    shell: Shell,
    tabs: ClientTabs,
    here: String,
    record_href: String,
    client_name: String,
    errors: Errors,
    reasons: Vec<Reason>,
    once_key: String,
    version: i32,
    typed_name: String,
    why: Vec<Choice>,
    weight: Weight,
}

/// What the form of an erasure sends.
#[derive(Deserialize, Default)]
#[serde(default)]
pub struct EraseTyped {
    once: String,
    version: String,
    typed_name: String,
    why: String,
}

async fn erase_page(
    seat: &Seat,
    s: &mut Scoped,
    client: &Client,
    f: &EraseTyped,
    (errors, reasons): (Errors, Vec<Reason>),
) -> Result<ErasePage, Problem> {
    let now = s.now().await?;
    Ok(ErasePage {
        shell: seat.shell(now, "/clients", &[]),
        tabs: tabs(seat, client, "erase"),
        here: format!("/clients/{}/erase", client.client_id),
        record_href: format!("/clients/{}", client.client_id),
        client_name: client.name.clone(),
        errors,
        reasons,
        once_key: once::key(),
        version: client.version,
        typed_name: f.typed_name.clone(),
        why: Choice::list(WHY, &[f.why.as_str()]),
        weight: client_records::find_weight(s, client.id()).await?,
    })
}

/// What would go, what stays and why.
pub async fn erase_form(seat: Seat, Path(id): Path<String>) -> Answered {
    seat.require(Act::KeepRecords)?;
    let mut s = seat.begin().await?;
    let client = find(&mut s, client_id(&id)?).await?;
    let shown =
        erase_page(&seat, &mut s, &client, &EraseTyped::default(), (Errors::none(), Vec::new())).await?;
    s.commit().await?;
    Ok(page::html(&shown))
}

/// Erases a person, the name typed.
pub async fn erase(seat: Seat, Path(id): Path<String>, Form(f): Form<EraseTyped>) -> Answered {
    let by = seat.require(Act::KeepRecords)?.id;
    let mut s = seat.begin().await?;
    let id = client_id(&id)?;
    if let Some(again) = once::claim(&mut s, &f.once, &format!("/clients/{id}/erase")).await? {
        return Ok(again);
    }
    let client = find(&mut s, id).await?;
    let mut errors = Errors::none();
    let same = |a: &str, b: &str| a.split_whitespace().eq(b.split_whitespace());
    if !same(&f.typed_name, &client.name) {
        errors.note("typed_name", tr!("Type the name as it stands in the record."));
    }
    let why = typed::code(
        &mut errors,
        "why",
        &f.why,
        |c| WHY.iter().find(|(x, _)| *x == c).map(|(x, _)| *x),
        tr!("Choose why."),
    );
    let Some(why) = why.filter(|_| errors.is_empty()) else {
        let shown = erase_page(&seat, &mut s, &client, &f, (errors, Vec::new())).await?;
        return Ok(page::refused(&shown));
    };
    let version =
        f.version.parse().map_err(|_| Problem::Bad(tr!("The form has lost its version.").into()))?;
    match flow::erase_client(&mut s, by, id, version, why).await {
        Ok(()) => {
            let answer = once::settle(&mut s, &f.once, "/clients/import#book").await?;
            s.commit().await?;
            Ok(answer)
        }
        Err(NotKept::Stale) => Err(stale(format!("/clients/{id}/erase"))),
        Err(NotKept::Store(e)) => Err(e.into()),
        Err(NotKept::Against(words)) => {
            drop(s);
            let mut s = seat.begin().await?;
            let shown =
                erase_page(&seat, &mut s, &client, &f, (Errors::none(), vec![Reason::plain(words)])).await?;
            Ok(page::refused(&shown))
        }
    }
}
