//! Serving: bind, open the database, migrate, listen, stop softly and then hard.
//!
//! Order: the address first (a full port touches nothing), then the database, then the router. Stopping:
//! the stop token ends streams and loops, connections drain, then they are cut; the last process stops
//! the embedded cluster.

mod authority;
mod connection;
mod tls;
mod trust;

use crate::cluster::{self, Guard, StartFault};
use crate::config;
use crate::migrate;
use axum::Router;
use sqlx::postgres::PgConnectOptions;
use std::future::Future;
use std::io::Write;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;
use tls::Certificates;
use tokio::net::TcpListener;
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;

/// How long open answers may go on after the stop was asked for.
const DRAIN: Duration = Duration::from_secs(4);
/// How long background tasks may take to end.
const TASKS: Duration = Duration::from_secs(1);
/// How long the cluster may take to stop.
const CLUSTER_STOP: Duration = Duration::from_secs(2);

/// What the router is made of.
#[derive(Clone)]
pub struct Context {
    /// The settings.
    pub config: Arc<config::Serve>,
    /// As the app role, with time limits on everything.
    pub app: PgConnectOptions,
    /// For work only the owner may do (the demo salon).
    pub owner: PgConnectOptions,
    /// Cancelled when the stop was asked for: streams end, loops return.
    pub stop: CancellationToken,
    /// Cancelled when the last answer has ended or was cut: pools may close.
    pub drained: CancellationToken,
    /// Background tasks; spawn on it what has to end before the process does.
    pub tasks: TaskTracker,
    /// Whether browsers reach us by HTTPS (cookies are then `Secure`).
    pub secure: bool,
    /// The address printed, such as `http://127.0.0.1:7340`.
    pub origin: String,
}

/// Serves until SIGTERM or SIGINT; a second signal cuts at once.
pub async fn run(
    config: config::Serve,
    make_router: impl AsyncFnOnce(Context) -> Result<Router, StartFault>,
) -> Result<(), StartFault> {
    let told = |line: &str| {
        let mut out = std::io::stdout().lock();
        // Nobody may be reading; serving goes on.
        let _ = writeln!(out, "{line}").and_then(|()| out.flush());
    };
    cluster::inherit_servers();
    run_until(config, signals()?, told, make_router).await
}

/// Serves until `stopped` resolves. `told` gets the one line with the address once requests are answered.
pub async fn run_until(
    config: config::Serve,
    stopped: impl Future<Output = ()>,
    told: impl FnOnce(&str),
    make_router: impl AsyncFnOnce(Context) -> Result<Router, StartFault>,
) -> Result<(), StartFault> {
    let listener = bind(config.listen).await?;
    let stop = CancellationToken::new();
    let drained = CancellationToken::new();
    let tasks = TaskTracker::new();
    let opened = cluster::open(&config.place.data, config.place.external.as_ref()).await?;
    let guard = opened.guard;
    let served = async {
        tracing::info!("the database is open");
        migrate::run(&opened.owner).await?;
        tracing::info!("the database is migrated");
        migrate::check_clock(&opened.app, config.practice).await?;
        if let Some((data, programs)) = guard.watched() {
            tasks.spawn(cluster::supervise(data, programs, stop.clone()));
        }
        let certificates = Certificates::load(&config)?;
        let bound = listener.local_addr().map_err(|e| address_fault(config.listen, &e))?;
        let origin = origin(bound, certificates.is_some());
        let context = Context {
            config: Arc::new(config),
            app: opened.app,
            owner: opened.owner,
            stop: stop.clone(),
            drained: drained.clone(),
            tasks: tasks.clone(),
            secure: certificates.is_some(),
            origin: origin.clone(),
        };
        let router = make_router(context).await?;
        let line = tell(&certificates, bound, &origin, &tasks, &stop).await;
        let accepting = connection::accept(listener, router, certificates, stop.clone());
        told(&line);
        let mut accepting = std::pin::pin!(accepting);
        tokio::select! {
            () = &mut accepting => {}
            () = stopped => {}
        }
        stop.cancel();
        tracing::info!("stopping");
        // Its own drain is bounded; this bound is for what it could not foresee.
        let _ = tokio::time::timeout(DRAIN + Duration::from_secs(1), accepting).await;
        Ok(())
    }
    .await;
    stop.cancel();
    drained.cancel();
    wind_up(tasks, guard).await;
    served
}

/// The trust page, where the local authority speaks, and the one line.
async fn tell(
    certificates: &Option<Arc<Certificates>>,
    bound: SocketAddr,
    origin: &str,
    tasks: &TaskTracker,
    stop: &CancellationToken,
) -> String {
    let Some(authority) = certificates.as_ref().and_then(|c| c.authority()) else {
        return format!("rinsebell serves {origin}");
    };
    match trust::listen(bound).await {
        Ok(listener) => {
            let port = listener.local_addr().map(|a| a.port()).unwrap_or_default();
            let page = format!("http://{}:{port}", host(bound));
            let router = trust::router(origin, authority);
            tasks.spawn(connection::accept(listener, router, None, stop.clone()));
            format!(
                "rinsebell serves {origin} (to trust it on a tablet: {page}, fingerprint {})",
                authority.fingerprint()
            )
        }
        Err(error) => {
            tracing::warn!(%error, "the page that tells how to trust us could not be opened");
            format!("rinsebell serves {origin}")
        }
    }
}

async fn wind_up(tasks: TaskTracker, guard: Guard) {
    tasks.close();
    if tokio::time::timeout(TASKS, tasks.wait()).await.is_err() {
        tracing::info!("background tasks were left behind");
    }
    match guard.stop(CLUSTER_STOP).await {
        Ok(true) => tracing::info!("the database server was stopped"),
        Ok(false) => {}
        Err(fault) => tracing::warn!(%fault, "the database server was left running"),
    }
}

async fn bind(listen: SocketAddr) -> Result<TcpListener, StartFault> {
    TcpListener::bind(listen).await.map_err(|e| address_fault(listen, &e))
}

fn address_fault(listen: SocketAddr, error: &std::io::Error) -> StartFault {
    use std::io::ErrorKind::{AddrInUse, AddrNotAvailable, PermissionDenied};
    let reason = match error.kind() {
        AddrInUse => "another program listens there".to_owned(),
        AddrNotAvailable => "this machine does not have that address".to_owned(),
        PermissionDenied => "this user may not listen on that port".to_owned(),
        _ => error.to_string(),
    };
    StartFault::Address { address: listen.to_string(), reason }
}

fn origin(bound: SocketAddr, secure: bool) -> String {
    format!("{}://{}:{}", if secure { "https" } else { "http" }, host(bound), bound.port())
}

/// The address a browser uses: of all addresses, the one that faces the network.
fn host(bound: SocketAddr) -> String {
    match if bound.ip().is_unspecified() { tls::facing_address(bound) } else { bound.ip() } {
        std::net::IpAddr::V4(v4) => v4.to_string(),
        std::net::IpAddr::V6(v6) => format!("[{v6}]"),
    }
}

/// Resolves at the first SIGTERM or SIGINT; the second one ends the process without waiting.
fn signals() -> Result<impl Future<Output = ()>, StartFault> {
    use tokio::signal::unix::{SignalKind, signal};
    let fault = |e: std::io::Error| StartFault::Other(format!("Signals cannot be received: {e}."));
    let mut term = signal(SignalKind::terminate()).map_err(fault)?;
    let mut int = signal(SignalKind::interrupt()).map_err(fault)?;
    let (asked, stopped) = tokio::sync::oneshot::channel();
    tokio::spawn(async move {
        let mut asked = Some(asked);
        loop {
            tokio::select! {
                Some(()) = term.recv() => {}
                Some(()) = int.recv() => {}
                else => return,
            }
            match asked.take() {
                Some(asked) => drop(asked.send(())),
                // The cluster goes on by itself; the next start attaches to it.
                None => std::process::exit(130),
            }
        }
    });
    Ok(async move {
        let _ = stopped.await;
    })
}
