//! The page over plain HTTP that tells how to trust the local authority, and nothing else.

use super::authority::Authority;
use askama::Template;
use axum::Router;
use axum::http::{StatusCode, header};
use axum::response::Html;
use axum::routing::get;
use std::net::SocketAddr;
use tokio::net::TcpListener;

/// The page.
#[derive(Template)]
#[template(path = "trust/page.html")]
struct Page<'a> {
    origin: &'a str,
    fingerprint: &'a str,
}

/// The neighbouring port; with port 0 (any), any.
pub(super) async fn listen(bound: SocketAddr) -> std::io::Result<TcpListener> {
    let port = bound.port().checked_add(1);
    let neighbour = port.ok_or_else(|| std::io::Error::other("there is no port after the last one"))?;
    TcpListener::bind((bound.ip(), neighbour)).await
}

/// Two addresses: the page and the certificate.
pub(super) fn router(origin: &str, authority: &Authority) -> Router {
    let fingerprint = authority.fingerprint();
    let page = Page { origin, fingerprint: &fingerprint }.render().map(Html).map_err(|error| {
        tracing::error!(%error, "the page that tells how to trust us could not be written");
        StatusCode::INTERNAL_SERVER_ERROR
    });
    let certificate = authority.certificate().to_vec();
    let headers = [
        (header::CONTENT_SECURITY_POLICY, "default-src 'none'; base-uri 'none'; frame-ancestors 'none'"),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::CACHE_CONTROL, "no-store"),
    ];
    let page = move || {
        let page = page.clone();
        async move { (headers, page) }
    };
    let file = [
        (header::CONTENT_TYPE, "application/x-x509-ca-cert"),
        (header::CONTENT_DISPOSITION, "attachment; filename=\"rinsebell-authority.crt\""),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    ];
    Router::new()
        .route("/", get(page))
        .route("/rinsebell-authority.crt", get(move || async move { (file, certificate) }))
}
