//! `rinsebell invent`.

use crate::app::{App, Settings};
use crate::cluster::{self, StartFault};
use crate::config::{InventArgs, Invention};
use crate::demo::invent::{Asked, Invented, invent};
use crate::migrate;
use crate::reference::Reference;
use std::time::{Duration, Instant};
use tokio_util::sync::CancellationToken;

/// Invents a salon in the data folder; exit 1 where somebody works already.
///
/// # Errors
/// When the data folder cannot be opened, or nothing was invented; nothing is changed then.
pub async fn main(args: &InventArgs) -> Result<(), StartFault> {
    let place = args.place.check()?;
    let began = Instant::now();
    let opened = cluster::open(&place.data, place.external.as_ref()).await?;
    let stop = CancellationToken::new();
    let app = App::start(opened.app, Reference::embedded(), Settings::default(), stop.clone());
    println!("{}", before(args.what));
    let done = match migrate::run(&opened.owner).await {
        Ok(()) => invent(&opened.owner, &app, asked(args.what))
            .await
            .map_err(|e| StartFault::Other(format!("No salon was invented: {e}."))),
        Err(fault) => Err(fault),
    };
    stop.cancel();
    app.pool.close().await;
    opened.guard.stop(Duration::from_secs(60)).await?;
    println!("{}", after(&done?, began.elapsed()));
    Ok(())
}

fn asked(what: Invention) -> Asked {
    Asked { seed: what.seed, clients: what.clients, years: what.years, staff: what.staff }
}

/// What it will do.
fn before(what: Invention) -> String {
    format!(
        "Inventing a salon: {} clients, {} years, {} people, seed {}. A demo or invented salon that stands here is \
         replaced; one of your own is never touched. Stations wait meanwhile.",
        what.clients, what.years, what.staff, what.seed
    )
}

/// What it did.
fn after(done: &Invented, took: Duration) -> String {
    let c = done.counts;
    let replaced = match done.taken_away {
        0 => "",
        1 => " A demo salon was taken away.",
        _ => " Demo salons were taken away.",
    };
    format!(
        "{} clients, {} visits ({} services, {} for tests), {} events, {} bookings ahead in {:.1} s.{replaced}\n\
         {} missed, {} not given after the check, {} incidents; hands taken {:.0} % of the hours worked.\n\
         `rinsebell check` recomputes all of it.",
        c.clients,
        c.services + c.tests,
        c.services,
        c.tests,
        c.events,
        c.ahead,
        took.as_secs_f64(),
        c.missed,
        c.refused,
        c.incidents,
        done.fullness * 100.0,
    )
}
