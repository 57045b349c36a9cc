//! Everything a request needs, built once: the same for the program and for its tests.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use sqlx::PgPool;
use sqlx::postgres::{PgConnectOptions, PgPoolOptions};
use tokio_util::sync::CancellationToken;

use crate::domain::ids::SalonId;
use crate::domain::protocol::Protocol;
use crate::live::hub::Hub;
use crate::live::listener;
use crate::reference::{Reference, protocols};
use crate::secret::Hasher;
use crate::store::protocols::Revision;
use crate::store::{Scoped, StoreError, Stored};

/// How the app behaves, apart from where its database is.
#[derive(Clone, Copy, Debug, Default)]
pub struct Settings {
    /// Cookies carry `Secure` and the `__Host-` name (HTTPS).
    pub secure: bool,
    /// A practice salon: its clock may be replaced, and every screen says so.
    pub practice: bool,
    /// The demo's printed PINs and one-tap pairing may be offered (loopback only).
    pub demo: bool,
}

/// Shared by all requests; cloning is cheap.
#[derive(Clone)]
pub struct App(Arc<Inner>);

/// The parts, reached through `App`'s deref.
pub struct Inner {
    /// Connections as the app role.
    pub pool: PgPool,
    /// Checked reference data.
    pub reference: Reference,
    /// Slow hashing with a bounded queue.
    pub hasher: Hasher,
    /// News to the open streams.
    pub hub: Hub,
    /// Cancelled when the process stops.
    pub stop: CancellationToken,
    /// Behaviour.
    pub settings: Settings,
    protocols: Mutex<BTreeMap<Vec<u8>, Protocol>>,
}

impl std::ops::Deref for App {
    type Target = Inner;
    fn deref(&self) -> &Inner {
        &self.0
    }
}

/// The app's connections: every wait has a limit, ours here, the database's in the options
/// ([`crate::cluster::with_app_limits`]). No ping before use: it halves throughput.
pub fn pool(options: PgConnectOptions, most: u32) -> PgPool {
    PgPoolOptions::new()
        .max_connections(most)
        .acquire_timeout(Duration::from_secs(3))
        .test_before_acquire(false)
        .connect_lazy_with(options)
}

impl App {
    /// Builds the app on the app role's connect options and starts its listener.
    pub fn start(
        options: PgConnectOptions,
        reference: Reference,
        settings: Settings,
        stop: CancellationToken,
    ) -> App {
        let app = App(Arc::new(Inner {
            pool: pool(options.clone(), 16),
            reference,
            hasher: Hasher::default(),
            hub: Hub::default(),
            stop: stop.clone(),
            settings,
            protocols: Mutex::default(),
        }));
        listener::start(options, app.pool.clone(), app.hub.clone(), stop);
        app
    }

    /// The checked protocol of a stored revision, parsed once.
    pub fn protocol(&self, revision: &Revision) -> Stored<Protocol> {
        let key = revision.fingerprint.clone();
        if let Some(known) = self.protocols.lock().unwrap_or_else(PoisonError::into_inner).get(&key) {
            return Ok(known.clone());
        }
        let parsed = protocols::parse_stored(&revision.protocol, &revision.body)
            .map_err(|_| StoreError::Corrupt("protocol_revision", revision.protocol.clone()))?;
        let mut all = self.protocols.lock().unwrap_or_else(PoisonError::into_inner);
        // Some dozens of revisions are alive at once; more is forgotten and parsed again.
        if all.len() >= 200 {
            all.clear();
        }
        all.insert(key, parsed.clone());
        Ok(parsed)
    }

    /// Opens a transaction for one salon.
    pub async fn begin(&self, salon: SalonId) -> Stored<Scoped> {
        Scoped::begin(&self.pool, salon).await
    }
}
