//! A draft: its steps with what is wrong with each, moved, added and taken out; the service's own words.

use askama::Template;
use axum::extract::Path;
use axum::response::Response;
use axum_extra::extract::Form;
use serde::Deserialize;

use super::document::{self, StepDocument};
use super::one::found;
use super::{ChangeRow, counted, problem, rows, stale};
use crate::domain::access::Act;
use crate::domain::protocol::edit::Shift;
use crate::domain::protocol::{Protocol, StepCode, difference};
use crate::flow::protocols::{self as flow, Beginning, OpenDraft, Service};
use crate::store::Scoped;
use crate::web::form::{Choice, Errors};
use crate::web::problem::{Answered, Problem};
use crate::web::seat::Seat;
use crate::web::shell::Shell;
use crate::web::{once, page, typed};

/// Words of the service that a form holds, one field a text.
#[derive(Clone, Default, Deserialize)]
#[serde(default)]
pub struct Texts {
    once: String,
    version: i32,
    title: String,
    /// One an application, in their order.
    application: Vec<String>,
    /// A sentence a line.
    stop_words: String,
}

#[derive(Template)]
#[template(path = "protocols/draft.html")]
struct DraftPage {
    shell: Shell,
    errors: Errors,
    once_key: String,
    code: String,
    title: String,
    version: i32,
    saved: String,
    /// "2 things to mend", "ready to publish".
    state: String,
    ready: bool,
    whole_faults: Vec<String>,
    changes: Vec<ChangeRow>,
    steps: Vec<StepDocument>,
    last: usize,
    like: Vec<Choice>,
    typed_title: String,
    applications: Vec<(char, String)>,
    stop_words: String,
}

/// What stands in the form when nothing was typed.
fn texts_of(p: &Protocol) -> Texts {
    Texts {
        title: p.title.clone(),
        application: p.applications.iter().map(|a| a.title.clone()).collect(),
        stop_words: p.stop_words.join("\n"),
        ..Texts::default()
    }
}

/// A draft and its service, or not found.
pub(super) async fn open(s: &mut Scoped, seat: &Seat, code: &str) -> Result<(OpenDraft, Service), Problem> {
    let service = found(s, seat, code).await?;
    let draft = flow::draft(s, code).await?.ok_or(Problem::NotFound)?;
    Ok((draft, service))
}

async fn render(seat: &Seat, code: &str, f: Option<&Texts>, errors: Errors) -> Result<Response, Problem> {
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let (open, service) = open(&mut s, seat, code).await?;
    s.commit().await?;
    let p = &open.protocol;
    let kept = texts_of(p);
    let f = f.unwrap_or(&kept);
    let zone = crate::calendar::Zone::find(&seat.salon_row.zone).ok_or(Problem::Broken)?;
    let changes = rows(difference::between(&service.current, p));
    let like: Vec<(&str, &str)> = p.plain_steps().map(|x| (x.code.as_str(), x.title.as_str())).collect();
    let shown = DraftPage {
        shell: seat.shell(now, "/protocols", &["protocols"]),
        once_key: once::key(),
        code: p.code.clone(),
        title: p.title.clone(),
        version: open.draft.version,
        saved: format!(
            "Saved {} at {} by {}.",
            zone.day_words(open.draft.saved_at),
            zone.clock(open.draft.saved_at),
            open.draft.by_name
        ),
        state: match (open.faults.len(), changes.len()) {
            (0, 0) => "Nothing changed yet".to_owned(),
            (0, n) => format!("{}, ready to publish", counted(n, "difference", "differences")),
            (n, _) => counted(n, "thing to mend", "things to mend"),
        },
        ready: open.faults.is_empty(),
        whole_faults: document::whole_faults(p, &open.faults),
        changes,
        steps: document::steps(p, &open.faults),
        last: p.steps.len(),
        like: Choice::list(like, &[]),
        typed_title: f.title.clone(),
        applications: p
            .applications
            .iter()
            .enumerate()
            .map(|(i, a)| (a.letter, f.application.get(i).cloned().unwrap_or_default()))
            .collect(),
        stop_words: f.stop_words.clone(),
        errors,
    };
    Ok(if shown.errors.is_empty() { page::html(&shown) } else { page::refused(&shown) })
}

/// What a draft begins as.
#[derive(Default, Deserialize)]
#[serde(default)]
pub struct Begin {
    once: String,
    start: String,
}

/// Begins a draft, of what is in force or of the shipped one.
pub async fn begin(seat: Seat, Path(code): Path<String>, Form(f): Form<Begin>) -> Answered {
    let by = seat.require(Act::KeepProtocols)?.id;
    let mut s = seat.begin().await?;
    let here = format!("/protocols/{code}/draft");
    found(&mut s, &seat, &code).await?;
    if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
        return Ok(again);
    }
    let start = if f.start == "shipped" { Beginning::Shipped } else { Beginning::Current };
    flow::begin_draft(&mut s, &seat.app, &code, start, by).await.map_err(|e| problem(e, &here))?;
    let answer = once::settle(&mut s, &f.once, &here).await?;
    s.commit().await?;
    Ok(answer)
}

/// The draft.
pub async fn show(seat: Seat, Path(code): Path<String>) -> Answered {
    seat.require(Act::KeepProtocols)?;
    render(&seat, &code, None, Errors::none()).await
}

/// Keeps the words of the service.
pub async fn keep_texts(seat: Seat, Path(code): Path<String>, Form(f): Form<Texts>) -> Answered {
    let by = seat.require(Act::KeepProtocols)?.id;
    let mut s = seat.begin().await?;
    let (open, _) = open(&mut s, &seat, &code).await?;
    let mut errors = Errors::none();
    let mut changed = open.protocol;
    changed.title = typed::line(&mut errors, "title", &f.title, 200);
    for (i, a) in changed.applications.iter_mut().enumerate() {
        let raw = f.application.get(i).map_or("", String::as_str);
        a.title = typed::line(&mut errors, &format!("application-{}", a.letter), raw, 200);
    }
    let stop = typed::lines(&mut errors, "stop_words", &f.stop_words, 6000);
    changed.stop_words = sentences(&stop);
    if !errors.is_empty() {
        drop(s);
        return render(&seat, &code, Some(&f), errors).await;
    }
    let here = format!("/protocols/{code}/draft");
    if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
        return Ok(again);
    }
    flow::save_draft(&mut s, f.version, &changed, by).await.map_err(|e| problem(e, &here))?;
    let answer = once::settle(&mut s, &f.once, &here).await?;
    s.commit().await?;
    Ok(answer)
}

/// A sentence a line, empty lines left out.
pub(super) fn sentences(text: &str) -> Vec<String> {
    text.lines().map(str::trim).filter(|l| !l.is_empty()).map(str::to_owned).collect()
}

/// A step moved, added or taken out.
#[derive(Default, Deserialize)]
#[serde(default)]
pub struct Order {
    once: String,
    version: i32,
    /// earlier, later, drop, add.
    #[serde(rename = "do")]
    what: String,
    step: String,
    /// Which step a new one is a copy of.
    like: String,
}

/// Moves, adds or takes out a step.
pub async fn order(seat: Seat, Path(code): Path<String>, Form(f): Form<Order>) -> Answered {
    let by = seat.require(Act::KeepProtocols)?.id;
    let mut s = seat.begin().await?;
    let (open, _) = open(&mut s, &seat, &code).await?;
    let draft = format!("/protocols/{code}/draft");
    if let Some(again) = once::claim(&mut s, &f.once, &draft).await? {
        return Ok(again);
    }
    // A step somebody took out meanwhile is not moved: the version says so.
    if open.draft.version != f.version {
        return Err(stale(&draft));
    }
    let (mut changed, step) = (open.protocol, StepCode(f.step.clone()));
    let to = match f.what.as_str() {
        "earlier" if changed.shift_step(&step, Shift::Earlier) => Some(step),
        "later" if changed.shift_step(&step, Shift::Later) => Some(step),
        "drop" if changed.drop_step(&step) => None,
        "add" => {
            let like = StepCode(f.like.clone());
            let added = changed.add_step(&step, &like);
            Some(added.ok_or_else(|| Problem::Bad("There is no such step in this draft.".into()))?)
        }
        _ => return Err(Problem::Bad("There is no such step in this draft, or it cannot go there.".into())),
    };
    flow::save_draft(&mut s, f.version, &changed, by).await.map_err(|e| problem(e, &draft))?;
    let at = match (&to, f.what.as_str()) {
        (Some(step), "add") => format!("{draft}/step?of={step}"),
        (Some(step), _) => format!("{draft}#step-{step}"),
        (None, _) => format!("{draft}#steps"),
    };
    let answer = once::settle(&mut s, &f.once, &at).await?;
    s.commit().await?;
    Ok(answer)
}

/// The version that was seen.
#[derive(Default, Deserialize)]
#[serde(default)]
pub struct Seen {
    once: String,
    version: i32,
}

/// Throws the draft away.
pub async fn discard(seat: Seat, Path(code): Path<String>, Form(f): Form<Seen>) -> Answered {
    seat.require(Act::KeepProtocols)?;
    let mut s = seat.begin().await?;
    open(&mut s, &seat, &code).await?;
    let here = format!("/protocols/{code}");
    if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
        return Ok(again);
    }
    let draft = format!("/protocols/{code}/draft");
    flow::discard_draft(&mut s, &code, f.version).await.map_err(|e| problem(e, &draft))?;
    let answer = once::settle(&mut s, &f.once, &here).await?;
    s.commit().await?;
    Ok(answer)
}
