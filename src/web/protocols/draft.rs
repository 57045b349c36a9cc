//! A draft: its steps with what is wrong with each, moved, added and taken out; the service's own words.

use askama::Template;
use axum::extract::Path;
use axum::response::Response;
use axum_extra::extract::Form;
use serde::Deserialize;

use super::document::{self, StepDocument};
use super::meanwhile::{self, Meanwhile};
use super::one::found;
use super::service::{self, ProductFields, Typed};
use super::{ChangeRow, counted, problem, rows, stale};
use crate::domain::access::Act;
use crate::domain::protocol::edit::Shift;
use crate::domain::protocol::{StepCode, difference};
use crate::flow::protocols::{self as flow, Beginning, OpenDraft, Service};
use crate::store::Scoped;
use crate::web::form::{Choice, Errors};
use crate::web::problem::{Answered, Problem};
use crate::web::seat::Seat;
use crate::web::shell::Shell;
use crate::web::{once, page, typed};

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
    typed: Typed,
    products: Vec<ProductFields>,
    /// Growth decides when it is due again.
    retouch: bool,
    sections: Vec<Vec<Choice>>,
    meanwhile: Option<Meanwhile>,
}

/// A draft and its service, or not found.
pub(super) async fn open(s: &mut Scoped, seat: &Seat, code: &str) -> Result<(OpenDraft, Service), Problem> {
    let service = found(s, seat, code).await?;
    let draft = flow::draft(s, &seat.app, code).await?.ok_or(Problem::NotFound)?;
    Ok((draft, service))
}

/// When and by whom a draft was saved last.
pub(super) fn saved_words(seat: &Seat, open: &OpenDraft) -> Result<String, Problem> {
    let zone = crate::calendar::Zone::find(&seat.salon_row.zone).ok_or(Problem::Broken)?;
    let (day, at) = (zone.day_words(open.draft.saved_at), zone.clock(open.draft.saved_at));
    Ok(tr!("Saved {day} at {at} by {}.", open.draft.by_name, day = day, at = at))
}

async fn render(
    seat: &Seat,
    code: &str,
    f: Option<&Typed>,
    errors: Errors,
    stale: bool,
) -> Result<Response, Problem> {
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let (open, service) = open(&mut s, seat, code).await?;
    s.commit().await?;
    let p = &open.protocol;
    let kept = Typed::of(p);
    let f = f.unwrap_or(&kept);
    let saved = saved_words(seat, &open)?;
    let meanwhile = stale.then(|| {
        let mut typed = p.clone();
        typed.change(f.read(p).0);
        Meanwhile::of(p, &typed, saved.clone())
    });
    let changes = rows(difference::between(&service.current, p));
    let like: Vec<(&str, &str)> = p.plain_steps().map(|x| (x.code.as_str(), x.title.as_str())).collect();
    let shown = DraftPage {
        shell: seat.shell(now, "/protocols", &["protocols"]),
        once_key: once::key(),
        code: p.code.clone(),
        title: p.title.clone(),
        version: open.draft.version,
        saved,
        state: match (open.faults.len(), changes.len()) {
            (0, 0) => tr!("Nothing changed yet").to_owned(),
            (0, n) => tr!("{}, ready to publish", counted(n, "difference", "differences")),
            (n, _) => counted(n, tr!("thing to mend"), tr!("things to mend")),
        },
        ready: open.faults.is_empty(),
        whole_faults: document::whole_faults(p, &open.faults),
        changes,
        steps: document::steps(p, &open.faults),
        last: p.steps.len(),
        like: Choice::list(like, &[]),
        products: service::products(p, f, &errors),
        retouch: p.retouch.is_some(),
        sections: service::section_places(&f.sections),
        typed: f.clone(),
        meanwhile,
        errors,
    };
    Ok(match (shown.meanwhile.is_some(), shown.errors.is_empty()) {
        (true, _) => meanwhile::again(&shown),
        (false, true) => page::html(&shown),
        (false, false) => page::refused(&shown),
    })
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
    render(&seat, &code, None, Errors::none(), false).await
}

/// Keeps the service as a whole: its words, weeks, sections and strengths, below the floor or not. Over a draft that was
/// saved meanwhile nothing is kept: the form comes back with what was typed, and what differs beside it.
pub async fn keep_service(seat: Seat, Path(code): Path<String>, Form(f): Form<Typed>) -> Answered {
    let by = seat.require(Act::KeepProtocols)?.id;
    let mut s = seat.begin().await?;
    found(&mut s, &seat, &code).await?;
    let here = format!("/protocols/{code}/draft");
    typed::measure_as_sent(&f.unit);
    let Some(open) = flow::draft(&mut s, &seat.app, &code).await? else {
        if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
            return Ok(again);
        }
        drop(s);
        return meanwhile::gone(&seat, &code, tr!("This draft was published or thrown away"), f.texts())
            .await;
    };
    let (change, errors) = f.read(&open.protocol);
    if !errors.is_empty() {
        drop(s);
        return render(&seat, &code, Some(&f), errors, false).await;
    }
    let mut changed = open.protocol;
    changed.change(change);
    if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
        return Ok(again);
    }
    match flow::save_draft(&mut s, f.version, &changed, by).await {
        Ok(()) => {}
        Err(flow::ProtocolRefused::Stale) => {
            drop(s);
            return render(&seat, &code, Some(&f), Errors::none(), true).await;
        }
        Err(why) => return Err(problem(why, &here)),
    }
    let answer = once::settle(&mut s, &f.once, &format!("{here}#service")).await?;
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
            Some(added.ok_or_else(|| Problem::Bad(tr!("There is no such step in this draft.").into()))?)
        }
        _ => {
            return Err(Problem::Bad(
                tr!("There is no such step in this draft, or it cannot go there.").into(),
            ));
        }
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
