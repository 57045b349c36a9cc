//! The demo salon: invented people, dates relative to loading.
//!
//! What is in it stands in `shared/demo/`; here it is laid out through the same flow functions that the screens call,
//! on one connection of the owner in one transaction, then dated: a half-loaded demo never stays.

mod bookings;
mod clients;
mod files;
mod house;
pub mod invent;
mod service;
mod told;

use std::collections::BTreeMap;
use std::fmt;

use sqlx::ConnectOptions as _;
use sqlx::postgres::{PgConnectOptions, PgPoolOptions};
use time::{Duration, OffsetDateTime};

use crate::app::App;
use crate::calendar::Zone;
use crate::domain::ids::{ClientId, LotId, PersonId, ProductId, SalonId, StationId};
use crate::flow::dues;
use crate::store::{Scoped, StoreError, demo};
use files::Files;

/// The demo manager's passphrase, printed on the sign-in page.
pub const PASSPHRASE: &str = "kestrels over the old mill";

/// PINs of the demo's people, printed on the sign-in page.
const PINS: [(&str, &str); 6] = [
    ("Ferris Vane", "671385"),
    ("Tobias Fenn", "402917"),
    ("Ondine Marsh", "538206"),
    ("Priya Lund", "716043"),
    ("Mara Quill", "290658"),
    ("Joss Ember", "835192"),
];

/// The printed PIN of one of the demo's people.
pub fn pin_of(name: &str) -> Option<&'static str> {
    PINS.iter().find(|(n, _)| *n == name).map(|(_, pin)| *pin)
}

/// Why the demo was not loaded.
#[derive(Debug)]
pub enum DemoFault {
    /// A file of `shared/demo/` does not hold.
    File(String),
    /// The domain or the database refused something the files say.
    Refused(String),
    /// The store failed.
    Store(StoreError),
}

impl fmt::Display for DemoFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            DemoFault::File(why) => write!(f, "shared/demo: {why}"),
            DemoFault::Refused(why) => f.write_str(why),
            DemoFault::Store(e) => write!(f, "{e}"),
        }
    }
}

impl std::error::Error for DemoFault {}

impl From<StoreError> for DemoFault {
    fn from(e: StoreError) -> Self {
        DemoFault::Store(e)
    }
}

impl From<sqlx::Error> for DemoFault {
    fn from(e: sqlx::Error) -> Self {
        DemoFault::Store(e.into())
    }
}

/// Result of laying out a part of the demo.
type Laid<T> = Result<T, DemoFault>;

/// What is laid out so far, by the names the files use.
struct Stage<'a> {
    app: &'a App,
    zone: Zone,
    /// The instant everything is dated from.
    now: OffsetDateTime,
    people: BTreeMap<String, PersonId>,
    stations: BTreeMap<String, StationId>,
    products: BTreeMap<String, ProductId>,
    /// The first lot of each product.
    first_lots: BTreeMap<String, LotId>,
    /// Lots by their printed code.
    lots: BTreeMap<String, LotId>,
    clients: BTreeMap<String, ClientId>,
}

/// What a map of names holds for this one.
fn named<T: Copy>(map: &BTreeMap<String, T>, name: &str) -> Laid<T> {
    map.get(name).copied().ok_or_else(|| DemoFault::File(format!("nobody and nothing is called {name}")))
}

impl Stage<'_> {
    fn min(&self, minutes: f64) -> OffsetDateTime {
        self.now + Duration::seconds_f64(minutes * 60.0)
    }

    fn day(&self, days: i64) -> time::Date {
        self.zone.day_of(self.now) + Duration::days(days)
    }

    /// An instant on another day, late in the morning; today: now.
    fn on(&self, days: i64) -> OffsetDateTime {
        if days == 0 { self.now } else { self.zone.instant(self.day(days), 11 * 60) }
    }
}

/// Loads the demo salon when the database has no salon yet; false when there is one. Several processes that start at
/// once load it once.
///
/// # Errors
/// [`DemoFault`]; nothing is kept then.
pub async fn load(owner: &PgConnectOptions, app: &App) -> Laid<bool> {
    with_owner(owner, async |mut s| {
        let fresh = !demo::lock_and_find_any(&mut s).await?;
        if fresh {
            lay(&mut s, app).await?;
            s.commit().await?;
        }
        Ok(fresh)
    })
    .await
}

/// Takes the demo salon away and loads it anew, dated from now; false when there is no demo salon.
///
/// # Errors
/// [`DemoFault`]; the old one stands then.
pub async fn refresh(owner: &PgConnectOptions, app: &App) -> Laid<bool> {
    with_owner(owner, async |mut s| {
        demo::lock_and_find_any(&mut s).await?;
        let old = demo::list_demo_salons(&mut s).await?;
        for salon in &old {
            demo::remove(&mut s, *salon).await?;
        }
        if !old.is_empty() {
            lay(&mut s, app).await?;
            s.commit().await?;
        }
        Ok(!old.is_empty())
    })
    .await
}

/// One transaction of the owner. It has ended when its pool is closed: closing waits for its connection.
async fn with_owner<T>(owner: &PgConnectOptions, work: impl AsyncFnOnce(Scoped) -> Laid<T>) -> Laid<T> {
    // Waiting for another start is no slow statement to tell of.
    let quiet = owner.clone().disable_statement_logging();
    let pool = PgPoolOptions::new().max_connections(1).connect_with(quiet).await?;
    let done = match Scoped::begin(&pool, SalonId(0)).await {
        Ok(s) => work(s).await,
        Err(e) => Err(e.into()),
    };
    pool.close().await;
    done
}

async fn lay(s: &mut Scoped, app: &App) -> Laid<()> {
    let files = Files::shipped()?;
    let now = s.now().await?;
    let mut stage = house::found(s, app, &files.salon, now).await?;
    house::fill_shelf(s, &mut stage, &files.shelf).await?;
    for client in &files.clients {
        clients::lay(s, &mut stage, client).await?;
    }
    // When all is measured: the salon's own growth is learned from every head.
    for client in stage.clients.values() {
        dues::refresh_due(s, app, *client).await?;
    }
    bookings::lay(s, &stage, &files.bookings).await
}
