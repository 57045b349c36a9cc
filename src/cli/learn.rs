//! `rinsebell learn`: what the salon's own clients teach about growth, beside what was published, and whether it is used.

mod document;
mod report;

use crate::calc;
use crate::cluster::{self, StartFault};
use crate::config::LearnArgs;
use crate::domain::ids::SalonId;
use crate::flow::dues;
use crate::reference::Reference;
use crate::store::{Scoped, StoreError, Stored, salons};
use report::{Group, Salon};
use sqlx::PgPool;
use sqlx::postgres::{PgConnectOptions, PgPoolOptions};
use std::io::Write;
use std::process::ExitCode;
use std::time::Duration;

/// Prints every salon's lessons, or those of the document given. Exit 2 with `{"error", "at"}` when that cannot be read.
pub fn main(args: &LearnArgs) -> ExitCode {
    match &args.from {
        None => super::block_on(from_data(args)),
        Some(file) => match document::read(file) {
            Ok(groups) => print(&report::of_document(&groups, args.json)),
            Err(bad) => {
                // Standard error being gone leaves nobody to tell.
                let _ = writeln!(std::io::stderr(), "{}", calc::answer(&bad).unwrap_or_default());
                ExitCode::from(2)
            }
        },
    }
}

fn print(text: &str) -> ExitCode {
    let mut out = std::io::stdout().lock();
    match writeln!(out, "{text}").and_then(|()| out.flush()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(_) => ExitCode::FAILURE,
    }
}

async fn from_data(args: &LearnArgs) -> Result<(), StartFault> {
    let place = args.place.check()?;
    let opened = cluster::open(&place.data, place.external.as_ref()).await?;
    let lessons = read(&opened.owner, args.salon.map(SalonId)).await;
    opened.guard.stop(Duration::from_secs(5)).await?;
    match (lessons?, args.salon) {
        (salons, Some(asked)) if salons.is_empty() => {
            Err(StartFault::Other(format!("There is no salon {asked} here.")))
        }
        (salons, _) => {
            print(&report::of_salons(&salons, args.json));
            Ok(())
        }
    }
}

/// The lessons of each salon, or of the one asked for, read with a hand that cannot write.
///
/// # Errors
/// When the database cannot be read.
pub async fn read(owner: &PgConnectOptions, only: Option<SalonId>) -> Result<Vec<Salon>, StartFault> {
    let reader = owner.clone().options([
        ("default_transaction_isolation", "repeatable read"),
        ("default_transaction_read_only", "on"),
    ]);
    let pool = PgPoolOptions::new()
        .max_connections(1)
        .acquire_timeout(Duration::from_secs(10))
        .connect_lazy_with(reader);
    let read = read_salons(&pool, only).await;
    pool.close().await;
    read.map_err(|error| match error {
        StoreError::Away(e) | StoreError::Broken(e) => StartFault::database("reading what was measured", &e),
        other => StartFault::Other(format!("What was measured could not be read: {other}.")),
    })
}

async fn read_salons(pool: &PgPool, only: Option<SalonId>) -> Stored<Vec<Salon>> {
    let reference = Reference::shipped();
    let mut all = Vec::new();
    for id in salons::list_ids(pool).await?.into_iter().filter(|id| only.is_none_or(|only| only == *id)) {
        let mut s = Scoped::begin(pool, id).await?;
        let name = salons::find(&mut s).await?.map(|salon| salon.name).unwrap_or_default();
        let mut groups = Vec::new();
        for start in reference.growth.starts() {
            if let Some(lesson) = dues::lesson(&mut s, reference, &start.curl).await? {
                groups.push(Group { curl: start.curl.clone(), source: Some(start.source.clone()), lesson });
            }
        }
        s.commit().await?;
        all.push(Salon { id, name, groups });
    }
    Ok(all)
}
