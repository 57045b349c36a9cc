//! The soft stop with streams open, and the hard one after it.

use crate::support::program::Folder;
use axum::Router;
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::routing::get;
use rinsebell::config::{Place, Serve, Speech};
use rinsebell::serve::{Context, run_until};
use std::convert::Infallible;
use std::time::{Duration, Instant};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::sync::oneshot;

fn settings(folder: &Folder) -> Serve {
    Serve {
        listen: "127.0.0.1:0".parse().unwrap(),
        place: Place { data: folder.data(), external: None },
        demo: false,
        speech: Speech::Plain,
        practice: false,
        post: rinsebell::config::post::Post::default(),
    }
}

/// A stream that says one thing, then stays open: until the stop token, or for ever.
fn streams(context: Context) -> Router {
    let stream = |until: Option<tokio_util::sync::CancellationToken>| {
        let (send, events) = tokio::sync::mpsc::channel::<Result<Event, Infallible>>(1);
        tokio::spawn(async move {
            let _ = send.send(Ok(Event::default().data("open"))).await;
            match until {
                Some(stop) => stop.cancelled().await,
                None => std::future::pending().await,
            }
        });
        Sse::new(tokio_stream::wrappers::ReceiverStream::new(events)).keep_alive(KeepAlive::default())
    };
    let stop = context.stop;
    Router::new()
        .route("/polite", get(move || async move { stream(Some(stop)) }))
        .route("/deaf", get(move || async move { stream(None) }))
}

/// Serves in this process, opens `path`, asks for the stop; how long that took, and the stream's last bytes.
async fn stop_with_open(path: &str) -> Duration {
    let folder = Folder::new();
    let (ask, asked) = oneshot::channel::<()>();
    let (told, line) = oneshot::channel::<String>();
    let serving = run_until(
        settings(&folder),
        async { drop(asked.await) },
        |line| drop(told.send(line.to_owned())),
        async |context| Ok(streams(context)),
    );
    let asking = async {
        let line = line.await.unwrap();
        let address = line.split("//").nth(1).unwrap();
        let mut stream = tokio::net::TcpStream::connect(address).await.unwrap();
        let request = format!("GET {path} HTTP/1.1\r\nhost: {address}\r\n\r\n");
        stream.write_all(request.as_bytes()).await.unwrap();
        let mut seen = Vec::new();
        while !String::from_utf8_lossy(&seen).contains("data: open") {
            assert_ne!(stream.read_buf(&mut seen).await.unwrap(), 0, "the stream ended early");
        }
        let began = Instant::now();
        ask.send(()).unwrap();
        // Ended or cut, but never left hanging.
        let _ = stream.read_to_end(&mut seen).await;
        began
    };
    let limit = Duration::from_secs(60);
    let (served, began) = tokio::time::timeout(limit, async { tokio::join!(serving, asking) }).await.unwrap();
    served.unwrap();
    assert_eq!(folder.postmaster(), None, "the cluster is stopped too");
    began.elapsed()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn streams_that_hear_the_stop_end_at_once() {
    let took = stop_with_open("/polite").await;
    println!("soft stop with an open stream {took:?}");
    assert!(took < Duration::from_secs(4), "{took:?}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn streams_that_do_not_are_cut_in_under_ten_seconds() {
    let took = stop_with_open("/deaf").await;
    println!("hard stop with an open stream {took:?}");
    assert!(took < Duration::from_secs(10), "{took:?}");
}
