//! `/health/live` and `/health/ready`: for whoever watches over the process.

use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use std::time::Duration;

use crate::app::App;
use crate::web::routes::{Line, Open, lines};

/// The two routes.
pub const LINES: &[Line] = lines![
    get "/health/live" Open::All => live,
    get "/health/ready" Open::All => ready,
];

/// How long the database may take to say it is there.
const READY_LIMIT: Duration = Duration::from_secs(1);

/// The process answers. Needs no session and says nothing about the salon.
pub async fn live() -> &'static str {
    "live\n"
}

/// The process answers and its database too; else 503.
pub async fn ready(State(app): State<App>) -> Response {
    let asked = sqlx::query_scalar::<_, i32>("select 1").fetch_one(&app.pool);
    match tokio::time::timeout(READY_LIMIT, asked).await {
        Ok(Ok(_)) => "ready\n".into_response(),
        Ok(Err(_)) | Err(_) => {
            let retry = [(header::RETRY_AFTER, "1")];
            (StatusCode::SERVICE_UNAVAILABLE, retry, "the database is away\n").into_response()
        }
    }
}
