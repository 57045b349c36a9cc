//! SQL, and nothing else: one file a noun, no rules, no clock of its own.
//!
//! Every query runs inside a [`Scoped`] transaction that belongs to one salon: its first statement told
//! the database which, and row-level security does the rest. Queries filter by salon all the same, so
//! that they use the indexes. A test prepares every literal of this folder against the schema.

use sqlx::{PgPool, Postgres, Transaction};
use time::OffsetDateTime;

use crate::domain::ids::SalonId;

pub mod answers;
pub mod bookings;
pub mod calendar_feeds;
pub mod calls;
pub mod client_imports;
pub mod client_links;
pub mod client_records;
pub mod clients;
pub mod consents;
pub mod consults;
pub mod contact;
pub mod days_off;
pub mod demo;
pub mod due_list;
pub mod dues;
pub mod finish;
pub mod followups;
pub mod hair_photos;
pub mod hair_tests;
pub mod home_answers;
pub mod hours;
pub mod idempotency;
pub mod incident_photos;
pub mod incidents;
pub mod invent;
pub mod lots;
pub mod messages;
pub mod openings;
pub mod overview;
pub mod people;
pub mod plans;
pub mod products;
pub mod proof;
pub mod protocol_drafts;
pub mod protocols;
pub mod readings;
pub mod recall;
pub mod record_acts;
pub mod result_photos;
pub mod run_codec;
pub mod run_frames;
pub mod run_past;
pub mod runs;
pub mod salons;
pub mod sessions;
pub mod skin_tests;
pub mod stations;
pub mod stock_notes;
pub mod strands;
pub mod sweep;
pub mod visits;
pub mod waiting;

/// What can go wrong below the rules.
#[derive(Debug)]
pub enum StoreError {
    /// The database is away, overloaded or too slow: try again.
    Away(sqlx::Error),
    /// The database refused by a rule of its own: `(code, words)`, codes RB001… as in the migrations,
    /// or a constraint's name.
    Refused { code: String, rule: String },
    /// A row that the program cannot read: table and what was found.
    Corrupt(&'static str, String),
    /// Anything else: a bug.
    Broken(sqlx::Error),
}

impl std::fmt::Display for StoreError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            StoreError::Away(e) => write!(f, "the database is away: {e}"),
            StoreError::Refused { code, rule } => {
                write!(f, "refused by the database: {code} {rule}")
            }
            StoreError::Corrupt(table, what) => write!(f, "unreadable row in {table}: {what}"),
            StoreError::Broken(e) => write!(f, "database fault: {e}"),
        }
    }
}

impl std::error::Error for StoreError {}

impl From<sqlx::Error> for StoreError {
    fn from(e: sqlx::Error) -> Self {
        match &e {
            sqlx::Error::Database(d) => {
                let code = d.code().unwrap_or_default().to_string();
                match code.as_str() {
                    // Our own refusals carry the rule in the message.
                    c if c.starts_with("RB") => StoreError::Refused { code, rule: d.message().to_string() },
                    // Unique, check, exclusion, foreign key: the constraint names the rule.
                    "23505" | "23514" | "23P01" | "23503" => {
                        StoreError::Refused { rule: d.constraint().unwrap_or_default().to_string(), code }
                    }
                    // Cancelled by a time limit, shutting down, too many connections, deadlock, read-only.
                    "57014" | "57P01" | "57P02" | "57P03" | "53300" | "55P03" | "40P01" | "25006"
                    | "25P03" => StoreError::Away(e),
                    _ => StoreError::Broken(e),
                }
            }
            sqlx::Error::Io(_)
            | sqlx::Error::Tls(_)
            | sqlx::Error::PoolTimedOut
            | sqlx::Error::PoolClosed
            | sqlx::Error::WorkerCrashed
            | sqlx::Error::Protocol(_) => StoreError::Away(e),
            _ => StoreError::Broken(e),
        }
    }
}

/// Result of a store function.
pub type Stored<T> = Result<T, StoreError>;

/// An open transaction that sees one salon.
pub struct Scoped {
    /// The transaction; store functions run their statements on it.
    pub tx: Transaction<'static, Postgres>,
    /// Whose rows it sees.
    pub salon: SalonId,
    changed: Vec<String>,
}

impl Scoped {
    /// Opens a transaction for one salon. A broken pooled connection is retried once: nothing was written yet.
    pub async fn begin(pool: &PgPool, salon: SalonId) -> Stored<Scoped> {
        match Self::begin_once(pool, salon).await {
            Err(StoreError::Away(sqlx::Error::PoolTimedOut)) => {
                Err(StoreError::Away(sqlx::Error::PoolTimedOut))
            }
            Err(StoreError::Away(_)) => Self::begin_once(pool, salon).await,
            other => other,
        }
    }

    async fn begin_once(pool: &PgPool, salon: SalonId) -> Stored<Scoped> {
        // In a task of its own: a request given up while its BEGIN is on the way would leave the connection inside an
        // empty transaction that nobody knows of. The task gets its answer, finds nobody there, and rolls back.
        let pool = pool.clone();
        let begun = tokio::spawn(async move { pool.begin().await }).await;
        let mut tx = begun.map_err(|_| StoreError::Away(sqlx::Error::WorkerCrashed))??;
        sqlx::query("select set_config('rinsebell.salon', $1, true)")
            .bind(salon.0.to_string())
            .execute(&mut *tx)
            .await?;
        Ok(Scoped { tx, salon, changed: Vec::new() })
    }

    /// The one clock.
    pub async fn now(&mut self) -> Stored<OffsetDateTime> {
        Ok(sqlx::query_scalar("select rinsebell_now()").fetch_one(&mut *self.tx).await?)
    }

    /// Notes that a topic changed; told to the stations once, at commit.
    pub fn changed(&mut self, topic: impl Into<String>) {
        let topic = topic.into();
        if !self.changed.contains(&topic) {
            self.changed.push(topic);
        }
    }

    /// Tells the stations what changed (ids only, last, once) and commits.
    pub async fn commit(mut self) -> Stored<()> {
        for topic in std::mem::take(&mut self.changed) {
            sqlx::query(
                "select pg_notify('rinsebell_live', $1 || '|' || $2 || '|' || nextval('live_version'))",
            )
            .bind(self.salon.0.to_string())
            .bind(topic)
            .execute(&mut *self.tx)
            .await?;
        }
        self.tx.commit().await?;
        Ok(())
    }
}
