//! Everything that can be checked about a database, as sentences about what is wrong.
//!
//! One file a matter. Each adds its findings; nothing is mended here. A run is read whole, one at a time, each
//! in one snapshot, so the memory needed does not grow with the database and a salon may work meanwhile.

mod fences;
mod holds;
mod ledger;
mod runs;
mod strands;

use crate::cluster::StartFault;
use crate::domain::ids::SalonId;
use crate::domain::protocol::Protocol;
use crate::reference::{Reference, protocols};
use crate::store::{Scoped, StoreError, Stored, protocols as revisions, salons, sweep};
use sqlx::ConnectOptions;
use sqlx::Connection;
use sqlx::PgPool;
use sqlx::postgres::{PgConnectOptions, PgPoolOptions};
use std::collections::BTreeMap;
use std::time::Duration;

/// Findings that are kept; the rest is counted.
const MOST: usize = 1000;

/// What a check found, and how much it looked at.
#[derive(Clone, Debug, Default)]
pub struct Report {
    /// One sentence for each thing that is wrong, at most 1000.
    pub findings: Vec<String>,
    /// All that is wrong, listed or not.
    pub wrong: usize,
    /// Runs recomputed.
    pub runs: u64,
    /// Events recomputed.
    pub events: u64,
}

impl Report {
    fn add(&mut self, finding: String) {
        self.wrong += 1;
        if self.findings.len() < MOST {
            self.findings.push(finding);
        }
    }

    fn extend(&mut self, findings: impl IntoIterator<Item = String>) {
        findings.into_iter().for_each(|f| self.add(f));
    }
}

/// What a check goes through a database with.
struct Checker {
    pool: PgPool,
    reference: Reference,
    protocols: BTreeMap<(SalonId, String, i32), Protocol>,
    report: Report,
}

/// Runs every check as the owner. Fences and migrations first: where they fail, the rows cannot be read as ours.
pub async fn run(owner: &PgConnectOptions) -> Result<Report, StartFault> {
    let doing = "checking it";
    let fault = |e: sqlx::Error| StartFault::database(doing, &e);
    let mut connection = owner.connect().await.map_err(fault)?;
    let mut report = Report::default();
    report.extend(fences::check(&mut connection).await.map_err(fault)?);
    let migrations = fences::check_migrations(&mut connection).await.map_err(fault)?;
    connection.close().await.map_err(fault)?;
    if !migrations.is_empty() {
        report.extend(migrations);
        return Ok(report);
    }
    // One snapshot a transaction, and no hand that could write.
    let reader = owner.clone().options([
        ("default_transaction_isolation", "repeatable read"),
        ("default_transaction_read_only", "on"),
    ]);
    let pool = PgPoolOptions::new()
        .max_connections(1)
        .acquire_timeout(Duration::from_secs(10))
        .connect_lazy_with(reader);
    let mut checker = Checker { pool, reference: Reference::embedded(), protocols: BTreeMap::new(), report };
    let done = checker.check_salons().await;
    checker.pool.close().await;
    match done {
        Ok(()) => Ok(checker.report),
        Err(StoreError::Away(e) | StoreError::Broken(e)) => Err(fault(e)),
        Err(other) => Err(StartFault::Other(format!("The check broke off: {other}."))),
    }
}

impl Checker {
    async fn begin(&self, salon: SalonId) -> Stored<Scoped> {
        Scoped::begin(&self.pool, salon).await
    }

    async fn check_salons(&mut self) -> Stored<()> {
        for salon in salons::list_ids(&self.pool).await? {
            self.check_runs(salon).await?;
            self.check_ledger(salon).await?;
            self.check_record_acts(salon).await?;
            self.check_strands(salon).await?;
            self.check_bookings(salon).await?;
        }
        Ok(())
    }

    /// The protocol a run was frozen with; parsed once.
    async fn protocol(&mut self, s: &mut Scoped, code: &str, revision: i32) -> Stored<Protocol> {
        let key = (s.salon, code.to_owned(), revision);
        if let Some(known) = self.protocols.get(&key) {
            return Ok(known.clone());
        }
        let corrupt = || StoreError::Corrupt("protocol_revision", format!("{code} {revision}"));
        let found = revisions::find(s, code, revision).await?.ok_or_else(corrupt)?;
        let parsed = protocols::parse_stored(&found.protocol, &found.body).map_err(|_| corrupt())?;
        // As many as are alive at once; more is forgotten and parsed again.
        if self.protocols.len() >= 200 {
            self.protocols.clear();
        }
        self.protocols.insert(key, parsed.clone());
        Ok(parsed)
    }

    async fn check_bookings(&mut self, salon: SalonId) -> Stored<()> {
        let mut s = self.begin(salon).await?;
        for (name, one, other, at) in sweep::list_double_hands(&mut s).await? {
            self.report.add(format!(
                "Salon {salon}, bookings {one} and {other}: {name} is booked twice at {}.",
                utc(at)
            ));
        }
        for (kind, most, count, at) in sweep::list_overfull_places(&mut s).await? {
            self.report
                .add(format!("Salon {salon}: {most} of {count} places ({kind}) booked at {}.", utc(at)));
        }
        s.commit().await
    }
}

/// An instant for a log: UTC, to the second.
fn utc(at: time::OffsetDateTime) -> String {
    let at = at.to_offset(time::UtcOffset::UTC);
    let (date, time) = (crate::calendar::iso_day(at.date()), at.time());
    format!("{date} {:02}:{:02}:{:02} UTC", time.hour(), time.minute(), time.second())
}
