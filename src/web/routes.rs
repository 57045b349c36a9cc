//! Every route, once. A screen's own file gives its routes; here they meet, with the layers all share.
//!
//! The access matrix test reads [`TABLE`]: a route that is not in it does not exist.

use std::time::Duration;

use axum::Router;
use axum::extract::{DefaultBodyLimit, Request, State};
use axum::http::{HeaderName, HeaderValue, header};
use axum::middleware::{self, Next};
use axum::response::Response;
use axum::routing::MethodRouter;
use tower_http::catch_panic::CatchPanicLayer;
use tower_http::compression::CompressionLayer;
use tower_http::csrf::CsrfLayer;
use tower_http::request_id::{MakeRequestUuid, PropagateRequestIdLayer, SetRequestIdLayer};
use tower_http::timeout::TimeoutLayer;

use crate::app::App;
use crate::web::assets;
use crate::web::problem::Problem;
pub use crate::web::table::TABLE;
use crate::words::{Language, in_language, only_in_language};

/// Who may call a route at all, before any rule of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Open {
    /// Anybody who reaches the server.
    All,
    /// Any paired station, locked or not.
    Station,
    /// A person whose role may do this act.
    To(crate::domain::access::Act),
    /// A person whose role may do one of several acts, said in the flow (the run's own acts).
    Person,
}

/// One line of the table.
pub struct Line {
    pub method: &'static str,
    pub path: &'static str,
    pub open: Open,
    pub handler: fn() -> MethodRouter<App>,
}

/// Writes lines of the table: `get "/floor" Open::Station => floor::page`.
macro_rules! lines {
    ($($method:ident $path:literal $open:expr => $handler:path),+ $(,)?) => {
        &[$($crate::web::routes::Line {
            method: stringify!($method),
            path: $path,
            open: $open,
            handler: || axum::routing::$method($handler),
        }),+]
    };
}

pub(crate) use lines;

const CSP: &str = "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; font-src 'self'; \
connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

async fn headers(request: Request, next: Next) -> Response {
    let mut response = next.run(request).await;
    let h = response.headers_mut();
    for (name, value) in [
        ("content-security-policy", CSP),
        ("x-content-type-options", "nosniff"),
        ("referrer-policy", "same-origin"),
        ("cross-origin-opener-policy", "same-origin"),
        ("cross-origin-resource-policy", "same-origin"),
        ("permissions-policy", "camera=(), microphone=(), geolocation=()"),
    ] {
        h.insert(HeaderName::from_static(name), HeaderValue::from_static(value));
    }
    if !h.contains_key(header::CACHE_CONTROL) {
        h.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    }
    response
}

/// Whom nobody knows yet is answered as the browser wishes; the seat says better (`seat.rs`).
///
/// A practice salon can be asked for the pseudo-language, on every screen: what stands there without brackets is in
/// no catalogue.
async fn spoken(State(app): State<App>, request: Request, next: Next) -> Response {
    let wish = request.headers().get(header::ACCEPT_LANGUAGE).and_then(|h| h.to_str().ok()).unwrap_or("");
    if app.settings.practice && wish == Language::Pseudo.tag() {
        return only_in_language(Language::Pseudo, next.run(request)).await;
    }
    in_language(Language::of_wishes(wish).unwrap_or_default(), next.run(request)).await
}

async fn not_found() -> Problem {
    Problem::NotFound
}

/// The whole web service on one router.
pub fn router(app: App) -> Router {
    let mut router: Router<App> = Router::new();
    for line in TABLE.iter().flat_map(|lines| lines.iter()) {
        router = router.route(line.path, (line.handler)());
    }
    let id = HeaderName::from_static("x-request-id");
    router
        .fallback(not_found)
        .layer(middleware::from_fn_with_state(app.clone(), spoken))
        .layer(DefaultBodyLimit::max(512 * 1024))
        // Bounds the head of an answer only; streams live on (6-pitfalls, P17).
        .layer(TimeoutLayer::with_status_code(
            axum::http::StatusCode::SERVICE_UNAVAILABLE,
            Duration::from_secs(20),
        ))
        .layer(CsrfLayer::new())
        .merge(assets::routes())
        .layer(CompressionLayer::new())
        .layer(middleware::from_fn(headers))
        .layer(CatchPanicLayer::new())
        .layer(PropagateRequestIdLayer::new(id.clone()))
        .layer(SetRequestIdLayer::new(id, MakeRequestUuid))
        .with_state(app)
}
