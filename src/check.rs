//! Everything that can be checked about a database, as sentences about what is wrong.
//!
//! One file a matter. Each returns its findings; nothing is mended here.

mod fences;

use crate::cluster::StartFault;
use sqlx::ConnectOptions;
use sqlx::Connection;
use sqlx::postgres::PgConnectOptions;

/// Runs every check as the owner; the findings, in order.
pub async fn run(owner: &PgConnectOptions) -> Result<Vec<String>, StartFault> {
    let doing = "checking it";
    let fault = |e: sqlx::Error| StartFault::database(doing, &e);
    let mut connection = owner.connect().await.map_err(fault)?;
    let mut found = fences::check(&mut connection).await.map_err(fault)?;
    if found.is_empty() {
        found = fences::check_migrations(&mut connection).await.map_err(fault)?;
    }
    connection.close().await.map_err(fault)?;
    Ok(found)
}
