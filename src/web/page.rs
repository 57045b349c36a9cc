//! Small things every screen needs to answer.

use askama::Template;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{Html, IntoResponse, Redirect, Response};

/// Header a page's script sends when it only fetches a part anew: nobody did anything, idleness goes on.
pub const PART_HEADER: &str = "x-rinsebell-part";

/// Renders a template as a page that is never kept.
pub fn html(template: &impl Template) -> Response {
    match template.render() {
        Ok(text) => {
            let mut r = Html(text).into_response();
            r.headers_mut().insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
            r
        }
        Err(error) => {
            tracing::error!(%error, "a template did not render");
            StatusCode::INTERNAL_SERVER_ERROR.into_response()
        }
    }
}

/// The same, as the answer to a form with something wrong in it.
pub fn refused(template: &impl Template) -> Response {
    let mut r = html(template);
    *r.status_mut() = StatusCode::UNPROCESSABLE_ENTITY;
    r
}

/// After an act: look at it (303, so that reloading never acts again).
pub fn see(location: &str) -> Response {
    Redirect::to(location).into_response()
}

/// A path of our own to go on to; anything else (another host, a scheme) becomes the Floor.
pub fn own_path(next: &str) -> String {
    let fine = next.starts_with('/')
        && !next.starts_with("//")
        && !next.contains('\\')
        && next.len() <= 300
        && next.chars().all(|c| c.is_ascii_graphic());
    if fine { next.to_string() } else { "/floor".to_string() }
}

/// Percent-encodes a value for a query.
pub fn query_value(value: &str) -> String {
    value
        .bytes()
        .map(|b| match b {
            b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'_' | b'.' | b'/' => char::from(b).to_string(),
            _ => format!("%{b:02X}"),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_own_paths_are_gone_on_to() {
        assert_eq!(own_path("/runs/4?x=1"), "/runs/4?x=1");
        for bad in ["//elsewhere.example", "https://elsewhere.example", "/\\elsewhere", "", "/a b"] {
            assert_eq!(own_path(bad), "/floor");
        }
    }
}
