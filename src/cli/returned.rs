//! `rinsebell returned`: one mail on standard input, as a mail server's alias hands it over.

use std::io::Read;
use std::time::Duration;

use tokio_util::sync::CancellationToken;

use crate::app::{App, Settings};
use crate::cluster::{self, StartFault};
use crate::config::PlaceArgs;
use crate::domain::message::report::Report;
use crate::flow::returned::{Done, act_on};
use crate::mail::returned;
use crate::reference::Reference;
use crate::store::{Stored, salons};

/// Reads a report and stops the address it is about. Mail that is no report is left alone, with a sentence and exit 0:
/// a failure here would send one more mail.
///
/// # Errors
/// When standard input or the data cannot be read.
pub async fn main(args: &PlaceArgs) -> Result<(), StartFault> {
    let mut mail = Vec::new();
    let read = std::io::stdin().lock().take(returned::MOST_BYTES).read_to_end(&mut mail);
    read.map_err(|e| StartFault::Other(format!("Standard input cannot be read: {e}.")))?;
    let report = match returned::read(&mail) {
        Ok(report) => report,
        Err(why) => {
            println!("Nothing is stopped. {why}");
            return Ok(());
        }
    };
    let place = args.check()?;
    let opened = cluster::open(&place.data, place.external.as_ref()).await?;
    let stop = CancellationToken::new();
    let app = App::start(opened.app, Reference::embedded(), Settings::default(), stop.clone());
    let done = act(&app, &report).await;
    stop.cancel();
    app.pool.close().await;
    opened.guard.stop(Duration::from_secs(5)).await?;
    println!("{}", words(done.map_err(|e| StartFault::Other(format!("Nothing is stopped: {e}.")))?));
    Ok(())
}

/// The salon whose message it is acts.
async fn act(app: &App, report: &Report) -> Stored<Done> {
    for salon in salons::list_ids(&app.pool).await? {
        let mut s = app.begin(salon).await?;
        let done = act_on(&mut s, report).await?;
        s.commit().await?;
        if done != Done::NotOurs {
            return Ok(done);
        }
    }
    Ok(Done::NotOurs)
}

const fn words(done: Done) -> &'static str {
    match done {
        Done::Stopped => "The address is written to no more.",
        Done::Kept => "Nothing is stopped: the reason may pass.",
        Done::NotOurs => "Nothing is stopped: no message of a salon here is named.",
    }
}
