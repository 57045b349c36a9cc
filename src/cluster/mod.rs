//! The embedded Postgres cluster: find, create, start, attach, stop.
//!
//! Invariants: a cluster is made under another name and renamed when whole; nobody removes a folder
//! without our mark; the start lock is held through every change of state; a server that runs is
//! attached to, never fought; secrets are random and 0600, `trust` is never used, no TCP port is opened.

mod bury;
mod external;
mod fault;
mod folder;
mod process;
mod programs;
mod roles;
mod supervise;
pub mod throwaway;

pub use bury::inherit_servers;
pub use fault::StartFault;
pub use folder::DataDir;
pub(crate) use folder::{random_word, sync_dir, write_new};
pub use process::{Durability, postmaster};
pub use programs::Programs;
pub(crate) use programs::run as run_program;
pub use roles::{DATABASE, ROLE_APP, ROLE_OWNER, with_app_limits};
pub(crate) use roles::{ROLE_SUPER, create_database};
pub use supervise::supervise;

use sqlx::Connection;
use sqlx::postgres::PgConnectOptions;
use std::fs::File;
use std::time::Duration;

/// How long one start waits for another that is busy with the same folder.
const START_WAIT: Duration = Duration::from_secs(60);

/// How long the server may take to stop softly.
pub(crate) const STOP_LIMIT: Duration = Duration::from_secs(5);

/// The secret of the embedded cluster's superuser.
pub(crate) fn super_secret(data: &DataDir) -> Result<String, StartFault> {
    data.find_secret(ROLE_SUPER)?.ok_or_else(|| StartFault::SecretsGone { path: data.secrets() })
}

/// A database given from outside instead of the embedded cluster.
#[derive(Clone, Debug, Default)]
pub struct External {
    /// The owner's URL.
    pub owner_url: String,
    /// The app role's URL; without it the role is made with a secret in the data folder.
    pub app_url: Option<String>,
}

/// An open database.
pub struct Opened {
    /// Migrations and other work of the owner; no statement timeout.
    pub owner: PgConnectOptions,
    /// Everything else; time limits set, see [`with_app_limits`].
    pub app: PgConnectOptions,
    /// Only of an embedded cluster.
    pub superuser: Option<PgConnectOptions>,
    /// Keeps the cluster from being stopped by others; stop it with [`Guard::stop`].
    pub guard: Guard,
}

/// This process's share in the cluster.
pub struct Guard {
    inner: Option<Embedded>,
}

struct Embedded {
    data: DataDir,
    programs: Programs,
    serving: File,
}

/// Opens the database: the embedded cluster in `data` (made, started or attached to), or `external`.
pub async fn open(data: &DataDir, external: Option<&External>) -> Result<Opened, StartFault> {
    data.prepare()?;
    match external {
        Some(external) => external::open(data, external).await,
        None => open_embedded(data, Durability::Kept).await,
    }
}

async fn open_embedded(data: &DataDir, durability: Durability) -> Result<Opened, StartFault> {
    data.socket_file()?;
    let start = data.lock_start(START_WAIT).await?;
    let there = data.has_cluster()?;
    let programs = Programs::find(data).await?;
    if !there {
        tracing::info!("making the cluster");
        process::make(data, &programs, durability).await?;
    }
    let guard =
        Guard { inner: Some(Embedded { data: data.clone(), programs, serving: data.share_serving()? }) };
    match connect_embedded(data, &guard).await {
        Ok([owner, app, superuser]) => {
            drop(start);
            Ok(Opened { owner, app, superuser: Some(superuser), guard })
        }
        Err(fault) => {
            drop(start);
            // A start that failed leaves no server behind that nobody uses.
            if let Err(error) = guard.stop(STOP_LIMIT).await {
                tracing::warn!(%error, "the database server was left running");
            }
            Err(fault)
        }
    }
}

/// Attaches or starts, mends roles and database; options of owner, app and superuser.
async fn connect_embedded(data: &DataDir, guard: &Guard) -> Result<[PgConnectOptions; 3], StartFault> {
    let Some(Embedded { programs, .. }) = &guard.inner else { return Err(StartFault::NoServer) };
    let mut connection = process::attach_or_start(data, programs).await?;
    tracing::info!("the database server answers");
    roles::ensure(data, &mut connection).await?;
    let _ = connection.close().await;
    let options = |role: &str, secret: &str| process::socket_options(data, role, secret, DATABASE);
    let owner = options(ROLE_OWNER, &data.secret(ROLE_OWNER)?);
    let app = with_app_limits(options(ROLE_APP, &data.secret(ROLE_APP)?));
    let superuser = options(ROLE_SUPER, &data.secret(ROLE_SUPER)?);
    roles::check_app_role(&app).await?;
    Ok([owner, app, superuser])
}

impl Guard {
    /// Whether the cluster is the embedded one.
    pub fn is_embedded(&self) -> bool {
        self.inner.is_some()
    }

    /// What [`supervise`] needs to start the server again; nothing for an outside database.
    pub fn watched(&self) -> Option<(DataDir, Programs)> {
        self.inner.as_ref().map(|e| (e.data.clone(), e.programs.clone()))
    }

    /// Makes our share the only one; `false` while another process serves. Until [`Guard::stop`] no other
    /// process can open the cluster.
    pub async fn make_exclusive(&mut self) -> Result<bool, StartFault> {
        let Some(Embedded { data, serving, .. }) = &mut self.inner else { return Ok(false) };
        let _start = data.lock_start(START_WAIT).await?;
        if serving.try_lock().is_ok() {
            return Ok(true);
        }
        // A failed change of kind loses the lock: take the share again.
        *serving = data.share_serving()?;
        Ok(false)
    }

    /// Gives up our share; stops the server within about `limit` if nobody else holds one.
    /// Returns whether it was stopped.
    pub async fn stop(self, limit: Duration) -> Result<bool, StartFault> {
        let Some(Embedded { data, programs, serving }) = self.inner else { return Ok(false) };
        let start = data.lock_start(limit).await?;
        // Turning the shared lock into an exclusive one is not atomic, but every taker holds the start lock.
        if serving.try_lock().is_err() {
            return Ok(false);
        }
        process::stop(&data, &programs, limit).await?;
        drop(serving);
        drop(start);
        Ok(true)
    }
}
