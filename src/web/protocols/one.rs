//! One protocol: the revision in force as a document, what differs from the shipped one, its revisions.

use askama::Template;
use axum::extract::Path;
use axum::response::Response;
use axum_extra::extract::Form;
use serde::Deserialize;

use super::document::{self, StepDocument};
use super::{ChangeRow, counted, problem, rows};
use crate::calendar::Zone;
use crate::domain::access::Act;
use crate::domain::protocol::{Protocol, difference};
use crate::flow::protocols::{self as flow, Service};
use crate::store::{Scoped, protocol_drafts};
use crate::web::form::Errors;
use crate::web::problem::{Answered, Problem};
use crate::web::seat::Seat;
use crate::web::shell::Shell;
use crate::web::{once, page, typed};

struct IssueRow {
    revision: i32,
    when: String,
    by: String,
    why: String,
}

#[derive(Template)]
#[template(path = "protocols/one.html")]
struct OnePage {
    shell: Shell,
    errors: Errors,
    once_key: String,
    code: String,
    title: String,
    /// What is in force, in a sentence.
    state: String,
    revision: i32,
    own: bool,
    retired: bool,
    draft: bool,
    /// The shipped revision that came since; none when it was looked at.
    newer: Option<u32>,
    /// What that one changed.
    news: Vec<ChangeRow>,
    /// What the salon's own has otherwise than the shipped one.
    differs: Vec<ChangeRow>,
    differs_words: String,
    steps: Vec<StepDocument>,
    applications: Vec<(char, String)>,
    stop_words: Vec<String>,
    issues: Vec<IssueRow>,
    why: String,
}

/// The products of a protocol by letter.
pub(super) fn applications(p: &Protocol) -> Vec<(char, String)> {
    p.applications.iter().map(|a| (a.letter, a.title.clone())).collect()
}

/// A service of this salon, or not found.
pub(super) async fn found(s: &mut Scoped, seat: &Seat, code: &str) -> Result<Service, Problem> {
    flow::service(s, &seat.app, code).await?.ok_or(Problem::NotFound)
}

async fn render(seat: &Seat, code: &str, why: &str, errors: Errors) -> Result<Response, Problem> {
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let service = found(&mut s, seat, code).await?;
    let draft = protocol_drafts::find(&mut s, code).await?.is_some();
    s.commit().await?;
    let zone = Zone::find(&seat.salon_row.zone).ok_or(Problem::Broken)?;
    let issue = |i: &crate::store::protocols::Issue| IssueRow {
        revision: i.revision,
        when: zone.day_words(i.published_at),
        by: i.by_name.clone().unwrap_or_else(|| "shipped".into()),
        why: match (&i.why, i.retired) {
            (Some(why), true) => tr!("Not offered from here on. {why}", why = why),
            (Some(why), false) => why.clone(),
            (None, _) => String::new(),
        },
    };
    let own = service.is_own();
    let differs =
        rows(if own { difference::between(&service.shipped, &service.current) } else { Vec::new() });
    let state = match (own, service.retired) {
        (_, true) => tr!("Not offered for new plans.").to_owned(),
        (true, _) if differs.is_empty() => {
            tr!("The salon’s own, revision {}: it says what the shipped one says.", service.revision)
        }
        (true, _) => tr!("The salon’s own, revision {}.", service.revision),
        (false, _) => tr!("As shipped, revision {}.", service.revision),
    };
    let newer = (service.compared.revision != service.shipped.revision).then_some(service.shipped.revision);
    let spoken = service.current.clone().spoken();
    let p = &spoken;
    let shown = OnePage {
        shell: seat.shell(now, "/protocols", &["protocols"]),
        once_key: once::key(),
        code: p.code.clone(),
        title: p.title.clone(),
        state,
        revision: service.revision,
        own,
        retired: service.retired,
        draft,
        newer,
        news: rows(difference::between(&service.compared, &service.shipped)),
        differs_words: counted(differs.len(), "difference", "differences"),
        differs,
        steps: document::steps(p, &[]),
        applications: applications(p),
        stop_words: p.stop_words.clone(),
        issues: service.issues.iter().map(issue).collect(),
        why: why.to_owned(),
        errors,
    };
    Ok(if shown.errors.is_empty() { page::html(&shown) } else { page::refused(&shown) })
}

/// The document.
pub async fn show(seat: Seat, Path(code): Path<String>) -> Answered {
    seat.require(Act::KeepProtocols)?;
    render(&seat, &code, "", Errors::none()).await
}

/// Out of what is offered, or back in, with the reason.
#[derive(Default, Deserialize)]
#[serde(default)]
pub struct Retirement {
    once: String,
    seen: i32,
    offered: String,
    why: String,
}

/// Takes the service out of what is offered for new plans, or offers it again.
pub async fn retire(seat: Seat, Path(code): Path<String>, Form(f): Form<Retirement>) -> Answered {
    let by = seat.require(Act::KeepProtocols)?.id;
    let mut s = seat.begin().await?;
    found(&mut s, &seat, &code).await?;
    let mut errors = Errors::none();
    let why = why_of(&mut errors, &f.why);
    if !errors.is_empty() {
        drop(s);
        return render(&seat, &code, &f.why, errors).await;
    }
    let here = format!("/protocols/{code}");
    if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
        return Ok(again);
    }
    flow::retire(&mut s, &seat.app, &code, f.seen, (&why, f.offered != "yes"), by)
        .await
        .map_err(|e| problem(e, &here))?;
    let answer = once::settle(&mut s, &f.once, &here).await?;
    s.commit().await?;
    Ok(answer)
}

/// The reason of a revision: there, and not too long.
pub(super) fn why_of(errors: &mut Errors, raw: &str) -> String {
    let words = tr!("Write why, in a few words: whoever reads the revision later asks that first.");
    let why = typed::needed(errors, "why", raw, 500, words);
    if errors.is_empty() && why.chars().count() < 3 {
        errors.note("why", words);
    }
    why
}
