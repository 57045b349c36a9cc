//! Accepting connections and serving each one under time limits.

use super::DRAIN;
use super::tls::Certificates;
use axum::Router;
use axum::extract::{ConnectInfo, Request};
use hyper::body::Incoming;
use hyper_util::rt::{TokioExecutor, TokioIo, TokioTimer};
use hyper_util::server::conn::auto::Builder;
use hyper_util::server::graceful::{GracefulShutdown, Watcher};
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tokio_util::sync::CancellationToken;
use tower::ServiceExt;

/// Most connections at once; further ones wait in the system's queue.
const MOST_CONNECTIONS: usize = 1024;
/// How long a TLS handshake may take.
const HANDSHAKE_LIMIT: Duration = Duration::from_secs(10);
/// How long a request's head may take to arrive, and an idle HTTP/1 connection may stay.
const HEAD_LIMIT: Duration = Duration::from_secs(30);
/// HTTP/2 asks a silent peer this often, and gives it as long to answer: a sleeping tablet is noticed.
const PING_EVERY: Duration = Duration::from_secs(20);
/// Streams a browser may have open on one HTTP/2 connection.
const MOST_STREAMS: u32 = 100;

/// Accepts until `stop`, then lets open answers end within [`DRAIN`] and cuts what is left.
pub(super) async fn accept(
    listener: TcpListener,
    router: Router,
    certificates: Option<Arc<Certificates>>,
    stop: CancellationToken,
) {
    let graceful = GracefulShutdown::new();
    let room = Arc::new(Semaphore::new(MOST_CONNECTIONS));
    // Cancelled at the end of this function, also when it is dropped: no connection outlives it.
    let cut = CancellationToken::new();
    let _cut_at_end = cut.clone().drop_guard();
    loop {
        let next = async {
            let permit = room.clone().acquire_owned().await.ok()?;
            Some((listener.accept().await, permit))
        };
        let (accepted, permit) = tokio::select! {
            () = stop.cancelled() => break,
            Some(next) = next => next,
        };
        match accepted {
            Ok((stream, peer)) => {
                let watcher = graceful.watcher();
                let serving = one(stream, peer, router.clone(), certificates.clone(), watcher, permit);
                let cut = cut.clone();
                tokio::spawn(async move {
                    tokio::select! { () = serving => {}, () = cut.cancelled() => {} }
                });
            }
            Err(error) => {
                // Out of files or memory: a pause lets some go.
                tracing::warn!(%error, "a connection could not be accepted");
                tokio::time::sleep(Duration::from_millis(50)).await;
            }
        }
    }
    drop(listener);
    if tokio::time::timeout(DRAIN, graceful.shutdown()).await.is_err() {
        tracing::warn!("open answers were cut");
    }
}

async fn one(
    stream: TcpStream,
    peer: SocketAddr,
    router: Router,
    certificates: Option<Arc<Certificates>>,
    watcher: Watcher,
    _permit: OwnedSemaphorePermit,
) {
    let _ = stream.set_nodelay(true);
    let Some(certificates) = certificates else {
        // Browsers speak HTTP/2 only under TLS; naming the version spares waiting for a preface.
        return serve(TokioIo::new(stream), false, peer, router, watcher).await;
    };
    let Ok(acceptor) = certificates.acceptor(&stream) else {
        tracing::warn!("no certificate could be made");
        return;
    };
    match tokio::time::timeout(HANDSHAKE_LIMIT, acceptor.accept(stream)).await {
        Ok(Ok(stream)) => {
            let h2 = stream.get_ref().1.alpn_protocol() == Some(b"h2");
            serve(TokioIo::new(stream), h2, peer, router, watcher).await;
        }
        Ok(Err(error)) => tracing::debug!(%error, "a handshake failed"),
        Err(_) => tracing::debug!("a handshake took too long"),
    }
}

async fn serve<I>(io: TokioIo<I>, h2: bool, peer: SocketAddr, router: Router, watcher: Watcher)
where
    I: AsyncRead + AsyncWrite + Unpin + Send + 'static,
{
    let service = hyper::service::service_fn(move |mut request: Request<Incoming>| {
        request.extensions_mut().insert(ConnectInfo(peer));
        router.clone().oneshot(request)
    });
    let mut builder = Builder::new(TokioExecutor::new());
    builder.http1().timer(TokioTimer::new()).header_read_timeout(HEAD_LIMIT);
    builder
        .http2()
        .timer(TokioTimer::new())
        .max_concurrent_streams(MOST_STREAMS)
        .keep_alive_interval(PING_EVERY)
        .keep_alive_timeout(PING_EVERY);
    let builder = if h2 { builder.http2_only() } else { builder.http1_only() };
    if let Err(error) = watcher.watch(builder.serve_connection(io, service).into_owned()).await {
        tracing::debug!(%error, "a connection ended early");
    }
}
