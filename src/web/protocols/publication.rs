//! Publishing a draft: first what differs, then why.

use askama::Template;
use axum::extract::Path;
use axum::response::Response;
use axum_extra::extract::Form;
use serde::Deserialize;

use super::document;
use super::draft::open;
use super::one::why_of;
use super::{ChangeRow, problem, rows};
use crate::domain::access::Act;
use crate::domain::protocol::difference;
use crate::flow::protocols::{self as flow, ProtocolRefused};
use crate::web::form::Errors;
use crate::web::problem::{Answered, Problem};
use crate::web::seat::Seat;
use crate::web::shell::Shell;
use crate::web::{once, page};

/// Who, when and which version are known; why is asked.
#[derive(Clone, Default, Deserialize)]
#[serde(default)]
pub struct Typed {
    once: String,
    version: i32,
    why: String,
    compared: String,
}

#[derive(Template)]
#[template(path = "protocols/publication.html")]
struct PublicationPage {
    shell: Shell,
    errors: Errors,
    once_key: String,
    code: String,
    title: String,
    by: String,
    version: i32,
    /// What keeps it from being published, in words.
    faults: Vec<String>,
    /// Against what is in force.
    changes: Vec<ChangeRow>,
    /// Against the shipped one.
    from_shipped: Vec<ChangeRow>,
    /// The shipped revision that was not looked at yet.
    newer: Option<u32>,
    compared: bool,
    why: String,
}

async fn render(seat: &Seat, code: &str, f: &Typed, errors: Errors) -> Result<Response, Problem> {
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let (open, service) = open(&mut s, seat, code).await?;
    s.commit().await?;
    let p = &open.protocol;
    let faults =
        open.faults.iter().map(|x| format!("{}: {}", document::spot_words(p, x.spot), x.reason)).collect();
    let shown = PublicationPage {
        shell: seat.shell(now, "/protocols", &["protocols"]),
        once_key: once::key(),
        code: p.code.clone(),
        title: p.title.clone(),
        by: seat.person().map(|x| x.name.clone()).unwrap_or_default(),
        version: open.draft.version,
        faults,
        changes: rows(difference::between(&service.current, p)),
        from_shipped: rows(difference::between(&service.shipped, p)),
        newer: (i64::from(open.draft.based_on) != i64::from(service.shipped.revision))
            .then_some(service.shipped.revision),
        compared: f.compared == "yes",
        why: f.why.clone(),
        errors,
    };
    Ok(if shown.errors.is_empty() { page::html(&shown) } else { page::refused(&shown) })
}

/// What differs, and the form.
pub async fn show(seat: Seat, Path(code): Path<String>) -> Answered {
    seat.require(Act::KeepProtocols)?;
    render(&seat, &code, &Typed::default(), Errors::none()).await
}

/// Publishes it as the salon's next revision.
pub async fn publish(seat: Seat, Path(code): Path<String>, Form(f): Form<Typed>) -> Answered {
    let by = seat.require(Act::KeepProtocols)?.id;
    let mut s = seat.begin().await?;
    let here = format!("/protocols/{code}");
    let mut errors = Errors::none();
    let why = why_of(&mut errors, &f.why);
    if errors.is_empty() {
        // Sent twice, the draft is gone the second time: the key is asked first.
        if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
            return Ok(again);
        }
        open(&mut s, &seat, &code).await?;
        let said = (why.as_str(), f.compared == "yes");
        match flow::publish(&mut s, &seat.app, &code, f.version, said, by).await {
            Ok(_) => {
                let answer = once::settle(&mut s, &f.once, &here).await?;
                s.commit().await?;
                return Ok(answer);
            }
            Err(ProtocolRefused::Faults(_)) => errors.note("", tr!("Mend what is listed, then publish.")),
            Err(ProtocolRefused::Unchanged) => {
                errors.note("", tr!("It says what is in force already: there is nothing to publish."));
            }
            // What was typed stays: what differs now stands above it.
            Err(ProtocolRefused::Stale) if flow::draft(&mut s, &seat.app, &code).await?.is_some() => errors
                .note("", tr!("Somebody saved the draft meanwhile: look at what differs now, then publish.")),
            Err(why) => return Err(problem(why, &here)),
        }
    }
    drop(s);
    render(&seat, &code, &f, errors).await
}
