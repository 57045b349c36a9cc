//! What a request can come to when it is not an answer, and how that is said.
//!
//! A refused act is not here: the screen answers 422 with everything typed still there.

use askama::Template;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};

use crate::secret::HashError;
use crate::store::StoreError;
use crate::web::page;
use crate::web::shell::Shell;

/// A request that ends without its answer.
#[derive(Debug)]
pub enum Problem {
    /// Not there, or not this salon's: the two are never told apart.
    NotFound,
    /// Signed in, but not for this.
    Forbidden(&'static str),
    /// A PIN is asked first; then back to this path.
    Locked { next: String },
    /// The browser is no station and nobody is signed in.
    Stranger,
    /// Something changed meanwhile; what, and where to look.
    Stale { what: String, look: String },
    /// A record that is none any more: erased, or merged into another; where to go on.
    Gone { what: String, look: String },
    /// The request makes no sense; what is wrong.
    Bad(String),
    /// The database is away or the queue is full: soon again.
    Away,
    /// A bug; the chain is logged once, here the id alone is shown.
    Broken,
}

impl From<StoreError> for Problem {
    fn from(e: StoreError) -> Self {
        match e {
            StoreError::Away(error) => {
                tracing::warn!(%error, "the database is away");
                Problem::Away
            }
            // The database's own word, where a page was opened before the record went.
            StoreError::Refused { code, .. } if code == "RB016" => Problem::Gone {
                what: tr!("This client's record was erased or merged into another.").into(),
                look: "/clients".into(),
            },
            other => {
                tracing::error!(error = %other, "a request broke");
                Problem::Broken
            }
        }
    }
}

impl From<HashError> for Problem {
    fn from(e: HashError) -> Self {
        match e {
            HashError::Busy => Problem::Away,
            HashError::Broken => Problem::Broken,
        }
    }
}

#[derive(Template)]
#[template(path = "problem.html")]
struct ProblemPage {
    shell: Shell,
    answer: &'static str,
    words: String,
    way: &'static str,
    href: String,
}

fn say(
    status: StatusCode,
    answer: &'static str,
    words: impl Into<String>,
    way: &'static str,
    href: impl Into<String>,
) -> Response {
    let mut response = page::html(&ProblemPage {
        shell: Shell::plain("rinsebell", 0),
        answer,
        words: words.into(),
        way,
        href: href.into(),
    });
    *response.status_mut() = status;
    response
}

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        match self {
            Problem::NotFound => say(
                StatusCode::NOT_FOUND,
                tr!("Nothing here"),
                tr!("This page does not exist, or it is not this salon's."),
                tr!("To the Floor"),
                "/floor",
            ),
            Problem::Forbidden(words) => {
                say(StatusCode::FORBIDDEN, tr!("Not with your sign-in"), words, tr!("To the Floor"), "/floor")
            }
            Problem::Locked { next } => {
                Redirect::to(&format!("/sign-in?next={}", page::query_value(&next))).into_response()
            }
            Problem::Stranger => Redirect::to("/welcome").into_response(),
            Problem::Stale { what, look } => {
                say(StatusCode::CONFLICT, tr!("Somebody was first"), what, tr!("See what changed"), look)
            }
            Problem::Gone { what, look } => {
                say(StatusCode::GONE, tr!("No longer here"), what, tr!("Go on"), look)
            }
            Problem::Bad(words) => {
                say(StatusCode::BAD_REQUEST, tr!("Not understood"), words, tr!("To the Floor"), "/floor")
            }
            Problem::Away => {
                let mut r = say(
                    StatusCode::SERVICE_UNAVAILABLE,
                    tr!("No contact with the records"),
                    tr!("Nothing was lost and nothing was done. Clocks go on. Try again in a few seconds."),
                    tr!("Try again"),
                    "",
                );
                r.headers_mut().insert(header::RETRY_AFTER, HeaderValue::from_static("3"));
                r
            }
            Problem::Broken => say(
                StatusCode::INTERNAL_SERVER_ERROR,
                tr!("Something broke here"),
                tr!("Nothing was recorded. The fault is in rinsebell's log under this request's id."),
                tr!("To the Floor"),
                "/floor",
            ),
        }
    }
}

/// Result of a handler.
pub type Answered = Result<Response, Problem>;
