//! Starts the server again when it is gone while the app runs.

use super::process::attach_or_start;
use super::{DataDir, Programs, postmaster};
use std::time::Duration;
use tokio_util::sync::CancellationToken;

/// How often the server is looked at.
const LOOK_EVERY: Duration = Duration::from_millis(250);
/// The first and the longest pause between attempts.
const PAUSE: (Duration, Duration) = (Duration::from_millis(250), Duration::from_secs(10));
/// How long an attempt waits for another process that is starting the same server.
const LOCK_WAIT: Duration = Duration::from_secs(30);

/// Looks at the server until `stop`; when its process is gone, starts it again with growing pauses.
/// Several serving processes may do this at once: the start lock lets one of them act.
pub async fn supervise(data: DataDir, programs: Programs, stop: CancellationToken) {
    let mut pause = PAUSE.0;
    loop {
        let wait = if answers(&data) { LOOK_EVERY } else { Duration::ZERO };
        tokio::select! {
            () = stop.cancelled() => return,
            () = tokio::time::sleep(wait) => {}
        }
        if answers(&data) {
            continue;
        }
        // Before the start lock: another process may hold it, waiting for us to bury what we inherited.
        super::bury::bury();
        tracing::warn!("the database server is gone; starting it again");
        tokio::select! {
            () = stop.cancelled() => return,
            started = start_again(&data, &programs) => match started {
                Ok(()) => {
                    tracing::info!("the database server answers again");
                    pause = PAUSE.0;
                }
                Err(fault) => {
                    tracing::error!(%fault, "the database server could not be started again");
                    tokio::time::sleep(pause).await;
                    pause = (pause * 2).min(PAUSE.1);
                }
            }
        }
    }
}

/// The process lives and its socket is there.
fn answers(data: &DataDir) -> bool {
    postmaster(data).is_some() && data.socket_file().is_ok_and(|socket| socket.exists())
}

async fn start_again(data: &DataDir, programs: &Programs) -> Result<(), super::StartFault> {
    use sqlx::Connection;
    let _start = data.lock_start(LOCK_WAIT).await?;
    let connection = attach_or_start(data, programs).await?;
    let _ = connection.close().await;
    Ok(())
}
