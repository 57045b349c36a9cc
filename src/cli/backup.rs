//! `rinsebell backup FILE` and `rinsebell restore FILE`.

use crate::backup;
use crate::cluster::StartFault;
use crate::config::PlaceArgs;
use std::path::Path;

/// Writes the backup and says where.
pub async fn backup(file: &Path, place: &PlaceArgs) -> Result<(), StartFault> {
    backup::backup(&place.check()?, file).await?;
    println!("The whole database is in {}.", file.display());
    Ok(())
}

/// Reads the backup and says what became of the rows that were there.
pub async fn restore(file: &Path, replace: bool, place: &PlaceArgs) -> Result<(), StartFault> {
    if let Some(safety) = backup::restore(&place.check()?, file, replace).await? {
        println!("What was there before is in {}.", safety.display());
    }
    println!("The database holds what {} held.", file.display());
    Ok(())
}
