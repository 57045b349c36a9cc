//! Migrations: run as the owner, one process at a time, and never onto a newer database.

use crate::cluster::StartFault;
use crate::flow;
use sqlx::migrate::{MigrateError, Migrator};
use sqlx::postgres::{PgConnectOptions, PgConnection};
use sqlx::{ConnectOptions, Connection};
use std::time::{Duration, Instant};

/// The migrations in this build. Locking is ours: polled with try-lock on a connection of its own, so
/// that a waiting start never holds a statement open (a blocked one deadlocks with index builds).
pub static MIGRATOR: Migrator = Migrator { locking: false, ..sqlx::migrate!("./migrations") };

/// The advisory lock of migrations ("rinsebel" as bytes).
const LOCK_KEY: i64 = i64::from_be_bytes(*b"rinsebel");
/// How long a start waits for another that migrates.
const WAIT: Duration = Duration::from_secs(300);

/// What the one clock must be unless the salon is for practice.
const CLOCK_BODY: &str = "select clock_timestamp()";

/// Brings the database to this build's migrations. A database with migrations this build does not know
/// is refused.
pub async fn run(owner: &PgConnectOptions) -> Result<(), StartFault> {
    let doing = "preparing migrations";
    let mut connection = owner.connect().await.map_err(|e| StartFault::database(doing, &e))?;
    let until = Instant::now() + WAIT;
    while !try_lock(&mut connection).await? {
        if Instant::now() >= until {
            return Err(StartFault::Migration("another process has been migrating for 5 minutes".to_owned()));
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    let outcome = MIGRATOR.run_direct(None, &mut connection, false).await;
    // What this build ships is noted by the owner alone, before any salon is served by it.
    let noted = match outcome {
        Ok(()) => Some(flow::protocols::note_shipped(&mut connection).await),
        Err(_) => None,
    };
    // Closing the connection gives the lock back.
    let _ = connection.close().await;
    if let Some(Err(e)) = &noted {
        return Err(StartFault::database("noting the shipped protocols", e));
    }
    outcome.map_err(|error| match error {
        MigrateError::VersionMissing(version) | MigrateError::VersionTooNew(version, _) => {
            StartFault::Newer { version }
        }
        MigrateError::VersionMismatch(version) => {
            StartFault::Migration(format!("migration {version} was changed after it was applied"))
        }
        other => StartFault::Migration(format!("{other}{}", cause(&other))),
    })
}

fn cause(error: &dyn std::error::Error) -> String {
    error.source().map(|s| format!(": {s}")).unwrap_or_default()
}

async fn try_lock(connection: &mut PgConnection) -> Result<bool, StartFault> {
    sqlx::query_scalar("select pg_try_advisory_lock($1)")
        .bind(LOCK_KEY)
        .fetch_one(connection)
        .await
        .map_err(|e| StartFault::database("waiting for migrations", &e))
}

/// Refuses a database whose clock was replaced, unless the salon is for practice.
pub async fn check_clock(app: &PgConnectOptions, practice: bool) -> Result<(), StartFault> {
    let doing = "checking its clock";
    let mut connection = app.connect().await.map_err(|e| StartFault::database(doing, &e))?;
    let body: Option<String> =
        sqlx::query_scalar("select prosrc from pg_proc where oid = to_regprocedure('rinsebell_now()')")
            .fetch_optional(&mut connection)
            .await
            .map_err(|e| StartFault::database(doing, &e))?;
    let _ = connection.close().await;
    match body {
        Some(body) if practice || body.trim() == CLOCK_BODY => Ok(()),
        Some(_) => Err(StartFault::Other(
            "This database's clock was replaced, as for practice; start it with --practice.".to_owned(),
        )),
        None => Err(StartFault::Migration("the database has no clock of ours".to_owned())),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cluster::throwaway::Throwaway;

    #[test]
    fn every_migration_file_is_in_this_build() {
        // `migrate!` does not see new files on its own: this fails until the crate is built again.
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/migrations");
        let mut files: Vec<i64> = std::fs::read_dir(folder)
            .unwrap()
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .filter(|name| name.ends_with(".sql"))
            .map(|name| name.split('_').next().unwrap().parse().unwrap())
            .collect();
        files.sort_unstable();
        let built: Vec<i64> = MIGRATOR.iter().map(|m| m.version).collect();
        assert_eq!(built, files);
    }

    #[tokio::test]
    async fn two_processes_migrate_once_and_a_newer_database_is_refused() {
        let cluster = Throwaway::open(&std::env::temp_dir()).await.unwrap();
        let owner = cluster.opened().owner.clone();
        let (a, b) = tokio::join!(run(&owner), run(&owner));
        a.unwrap();
        b.unwrap();
        let mut connection = owner.connect().await.unwrap();
        let applied: i64 = sqlx::query_scalar("select count(*) from _sqlx_migrations")
            .fetch_one(&mut connection)
            .await
            .unwrap();
        assert_eq!(applied, MIGRATOR.iter().count() as i64);

        check_clock(&cluster.opened().app, false).await.unwrap();
        let moved = "create or replace function rinsebell_now() returns timestamptz language sql volatile
                     as 'select clock_timestamp() + interval ''1 day'''";
        sqlx::raw_sql(moved).execute(&mut connection).await.unwrap();
        assert!(
            check_clock(&cluster.opened().app, false).await.unwrap_err().to_string().contains("--practice")
        );
        check_clock(&cluster.opened().app, true).await.unwrap();

        sqlx::raw_sql(
            "insert into _sqlx_migrations (version, description, success, checksum, execution_time)
             values (999999, 'from the future', true, '\\x00', 0)",
        )
        .execute(&mut connection)
        .await
        .unwrap();
        let fault = run(&owner).await.unwrap_err();
        assert!(matches!(fault, StartFault::Newer { version: 999_999 }), "{fault}");
        assert_eq!(fault.exit_code(), 7);
    }
}
