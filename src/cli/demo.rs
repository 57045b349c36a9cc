//! `rinsebell demo refresh`.

use crate::app::{App, Settings};
use crate::cluster::{self, StartFault};
use crate::config::PlaceArgs;
use crate::reference::Reference;
use crate::{demo, migrate};
use std::time::Duration;
use tokio_util::sync::CancellationToken;

/// Takes the demo salon away and loads it anew; exit 1 when there is none.
pub async fn refresh(place: &PlaceArgs) -> Result<(), StartFault> {
    let place = place.check()?;
    let opened = cluster::open(&place.data, place.external.as_ref()).await?;
    let stop = CancellationToken::new();
    let app = App::start(opened.app, Reference::embedded(), Settings::default(), stop.clone());
    let done = match migrate::run(&opened.owner).await {
        Ok(()) => demo::refresh(&opened.owner, &app)
            .await
            .map_err(|e| StartFault::Other(format!("The demo salon could not be loaded: {e}."))),
        Err(fault) => Err(fault),
    };
    stop.cancel();
    app.pool.close().await;
    opened.guard.stop(Duration::from_secs(5)).await?;
    if done? {
        println!("The demo salon is as on its first day; stations are to be chosen again.");
        Ok(())
    } else {
        Err(StartFault::Other(
            "There is no demo salon here; a salon of your own is never touched.".to_owned(),
        ))
    }
}
