//! `/live`: the one stream of a browser. Topics and versions only; every page fetches its parts itself.

use std::convert::Infallible;

use axum::http::HeaderValue;
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{IntoResponse, Response};
use tokio::sync::broadcast::error::RecvError;
use tokio_stream::wrappers::ReceiverStream;

use crate::live::hub::{Beat, News};
use crate::live::listener;
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;

/// The route of the stream.
pub const LINES: &[Line] = lines![get "/live" Open::All => stream];

/// Streams news of the seat's salon until the process stops. Events: `beat` (the server's clock),
/// `away` (the database does not answer), `changed` ("topic version"), `gap` (fetch everything).
pub async fn stream(seat: Option<Seat>) -> Response {
    let Some(seat) = seat else {
        return axum::http::StatusCode::UNAUTHORIZED.into_response();
    };
    let (out, rx) = tokio::sync::mpsc::channel::<Result<Event, Infallible>>(64);
    let (mut news, mut beats) = (seat.app.hub.listen(), seat.app.hub.beats());
    let (salon, stop, pool) = (seat.salon, seat.app.stop.clone(), seat.app.pool.clone());
    tokio::spawn(async move {
        let mut first = true;
        loop {
            let event = tokio::select! {
                () = stop.cancelled() => break,
                () = out.closed() => break,
                changed = async { if first { Ok(()) } else { beats.changed().await } } => {
                    if changed.is_err() { break; }
                    // The last beat may be seconds old: a page that has just opened would set its clock back.
                    let beat = if std::mem::take(&mut first) {
                        beats.borrow_and_update();
                        listener::ask(&pool).await
                    } else {
                        *beats.borrow_and_update()
                    };
                    match beat {
                        Beat::Now { server_now_ms } => Event::default().event("beat").data(server_now_ms.to_string()),
                        Beat::Away => Event::default().event("away").data("database"),
                    }
                }
                heard = news.recv() => match heard {
                    Ok(News::Changed { salon: of, topic, version }) if of == salon => {
                        Event::default().event("changed").data(format!("{topic} {version}"))
                    }
                    Ok(News::Changed { .. }) => continue,
                    Ok(News::Gap) | Err(RecvError::Lagged(_)) => Event::default().event("gap").data("all"),
                    Err(RecvError::Closed) => break,
                },
            };
            if out.send(Ok(event)).await.is_err() {
                break;
            }
        }
    });
    let mut response = Sse::new(ReceiverStream::new(rx)).keep_alive(KeepAlive::default()).into_response();
    let headers = response.headers_mut();
    headers.insert("x-accel-buffering", HeaderValue::from_static("no"));
    headers.insert("cache-control", HeaderValue::from_static("no-store, no-transform"));
    response
}
