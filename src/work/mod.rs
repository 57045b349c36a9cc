//! What is done in the background, in every process: a sweep once an hour. Two processes may sweep at once.

pub mod outbox;

use std::time::Duration;

use crate::app::App;
use crate::store::{Stored, client_imports, idempotency, salons, sessions};

/// Time between two sweeps.
const EVERY: Duration = Duration::from_secs(3600);

/// Sweeps once an hour until the process stops. A sweep that fails is tried again an hour later: nothing waits for it.
pub async fn run(app: App) {
    loop {
        tokio::select! {
            () = app.stop.cancelled() => return,
            () = tokio::time::sleep(EVERY) => {}
        }
        if let Err(error) = step(&app).await {
            tracing::warn!(%error, "the hourly sweep did not finish");
        }
    }
}

/// One sweep over every salon: files of clients nobody took in, keys of forms nobody sends again, sessions long over.
///
/// # Errors
/// Those of the store; what was swept before stays swept.
pub async fn step(app: &App) -> Stored<()> {
    for salon in salons::list_ids(&app.pool).await? {
        let mut s = app.begin(salon).await?;
        client_imports::sweep(&mut s).await?;
        idempotency::sweep(&mut s).await?;
        sessions::sweep(&mut s).await?;
        s.commit().await?;
    }
    Ok(())
}
