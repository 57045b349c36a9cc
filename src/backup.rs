//! `backup FILE` and `restore FILE`: the whole database in one file, and back.
//!
//! A restore is made beside the living database, migrated, and only then takes its place: until that
//! moment the old one is untouched. Over a database given by URL it is one transaction instead.

mod dump;
mod target;

use crate::cluster::{self, Programs, StartFault};
use crate::config::Place;
use crate::migrate;
use std::path::{Path, PathBuf};
use target::Target;

/// Writes the database to `file` (mode 0600), whole or not at all. An existing file is replaced.
pub async fn backup(place: &Place, file: &Path) -> Result<(), StartFault> {
    let opened = cluster::open(&place.data, place.external.as_ref()).await?;
    let outcome = match Target::new(place, &opened).await {
        Ok(target) => {
            dump::write(&target, &std::path::absolute(file).unwrap_or_else(|_| file.to_owned())).await
        }
        Err(fault) => Err(fault),
    };
    let stopped = opened.guard.stop(cluster::STOP_LIMIT).await;
    outcome.and(stopped.map(drop))
}

/// Reads `file` into the database. One with rows is refused unless `replace`, which first writes a safety
/// backup of it into the data folder; its path comes back.
pub async fn restore(place: &Place, file: &Path, replace: bool) -> Result<Option<PathBuf>, StartFault> {
    let file = std::path::absolute(file).unwrap_or_else(|_| file.to_owned());
    dump::check(&Programs::find_clients().await?, &file).await?;
    let mut opened = cluster::open(&place.data, place.external.as_ref()).await?;
    let outcome = if opened.guard.is_embedded() && !opened.guard.make_exclusive().await? {
        Err(StartFault::Other(
            "rinsebell is serving this data folder; stop it before restoring a backup.".to_owned(),
        ))
    } else {
        restore_into(place, &opened, &file, replace).await
    };
    let stopped = opened.guard.stop(cluster::STOP_LIMIT).await;
    let safety = outcome?;
    stopped?;
    Ok(safety)
}

async fn restore_into(
    place: &Place,
    opened: &cluster::Opened,
    file: &Path,
    replace: bool,
) -> Result<Option<PathBuf>, StartFault> {
    let target = Target::new(place, opened).await?;
    target.refuse_others().await?;
    let safety = if !target.has_rows().await? {
        None
    } else if replace {
        let path = dump::safety_path(&place.data)?;
        dump::write(&target, &path).await?;
        Some(path)
    } else {
        return Err(StartFault::Other(
            "The database holds rows, so nothing was restored; give --replace to put the backup in its place (a safety backup is made first).".to_owned(),
        ));
    };
    if target.is_embedded() {
        let fresh = target.make_beside().await?;
        let filled = async {
            dump::read(&fresh, file, false).await?;
            migrate::run(&fresh.owner).await
        };
        if let Err(fault) = filled.await {
            target.drop_beside().await?;
            return Err(fault);
        }
        target.swap().await?;
    } else {
        dump::read(&target, file, true).await?;
        migrate::run(&target.owner).await?;
    }
    Ok(safety)
}
