//! Somebody saved, published or discarded a draft while it was being typed into: nothing that was typed is lost.

use askama::Template;
use axum::http::StatusCode;
use axum::response::Response;

use super::{ChangeRow, rows};
use crate::domain::protocol::{Protocol, difference};
use crate::web::page;
use crate::web::problem::{Answered, Problem};
use crate::web::seat::Seat;
use crate::web::shell::Shell;

/// What stands beside a form that comes back because the draft was saved meanwhile.
pub struct Meanwhile {
    /// "Saved Mon 30 Nov at 10:12 by Ondine."
    pub saved: String,
    /// Before: as it is kept now; after: as typed.
    pub changes: Vec<ChangeRow>,
}

impl Meanwhile {
    /// What was typed against what is kept by now.
    pub fn of(kept: &Protocol, typed: &Protocol, saved: String) -> Meanwhile {
        Meanwhile { saved, changes: rows(difference::between(kept, typed)) }
    }
}

/// A form's page again, with 409.
pub fn again(shown: &impl Template) -> Response {
    let mut response = page::html(shown);
    *response.status_mut() = StatusCode::CONFLICT;
    response
}

#[derive(Template)]
#[template(path = "protocols/gone.html")]
struct GonePage {
    shell: Shell,
    code: String,
    title: String,
    what: String,
    draft: bool,
    /// Label and text as typed.
    typed: Vec<(&'static str, String)>,
}

/// What was typed has no place any more: it is shown to be copied.
pub async fn gone(seat: &Seat, code: &str, what: &str, typed: Vec<(&'static str, String)>) -> Answered {
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let service = super::one::found(&mut s, seat, code).await?;
    let draft = crate::store::protocol_drafts::find(&mut s, code).await?.is_some();
    s.commit().await.map_err(Problem::from)?;
    Ok(again(&GonePage {
        shell: seat.shell(now, "/protocols", &["protocols"]),
        code: service.current.code.clone(),
        title: service.current.title.clone(),
        what: what.to_owned(),
        draft,
        typed: typed.into_iter().filter(|(_, text)| !text.trim().is_empty()).collect(),
    }))
}
