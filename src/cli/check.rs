//! `rinsebell check`: recomputes what can be proved and says what is wrong.

use crate::check;
use crate::cluster::{self, StartFault};
use crate::config::PlaceArgs;
use std::time::Duration;

/// Prints one line for each thing that is wrong; exit 1 when there is any.
pub async fn main(place: &PlaceArgs) -> Result<(), StartFault> {
    let place = place.check()?;
    let opened = cluster::open(&place.data, place.external.as_ref()).await?;
    let report = check::run(&opened.owner).await;
    opened.guard.stop(Duration::from_secs(5)).await?;
    let report = report?;
    for line in &report.findings {
        println!("{line}");
    }
    match report.wrong {
        0 => {
            println!("nothing wrong: {} runs, {} events", report.runs, report.events);
            Ok(())
        }
        1 => Err(StartFault::Other("One thing is wrong.".to_owned())),
        many if many > report.findings.len() => Err(StartFault::Other(format!(
            "{many} things are wrong; the first {} are listed.",
            report.findings.len()
        ))),
        many => Err(StartFault::Other(format!("{many} things are wrong."))),
    }
}
