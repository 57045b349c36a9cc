//! Why a start was refused: one clear sentence each, and the exit code it ends with.

use std::fmt;
use std::path::PathBuf;

/// A start that cannot go on. `Display` is one sentence that says what to do; [`StartFault::exit_code`]
/// is what the process ends with (1 other, 2 settings, 3 address, 4 folder, 5 server programs, 6 database,
/// 7 database newer than this build).
#[derive(Debug)]
pub enum StartFault {
    /// Settings that contradict each other or do not parse; every one is listed.
    Settings(Vec<String>),
    /// The listening address cannot be had.
    Address {
        /// What was asked for.
        address: String,
        /// The system's reason.
        reason: String,
    },
    /// The data folder cannot be read or written by this user.
    Folder {
        /// The folder or file concerned.
        path: PathBuf,
        /// The system's reason.
        reason: String,
    },
    /// The data folder holds something that rinsebell did not put there.
    NotOurs {
        /// The folder.
        path: PathBuf,
    },
    /// A cluster folder without our mark of wholeness.
    HalfMade {
        /// The folder.
        path: PathBuf,
    },
    /// As root: the unprivileged user who runs the server cannot reach the folder.
    OutOfReach {
        /// The folder.
        path: PathBuf,
        /// The user.
        user: String,
    },
    /// As root: no unprivileged user exists to run the server.
    NoUser,
    /// A Unix socket path may be about 107 bytes long.
    SocketPath {
        /// The socket's path.
        path: PathBuf,
    },
    /// No Postgres server programs were found.
    NoServer,
    /// Only server programs older than 15 were found.
    TooOld {
        /// The newest found.
        newest: u32,
    },
    /// The cluster was made by a major version that is not installed any more.
    MissingVersion {
        /// The major version that made it.
        major: u32,
    },
    /// The secrets of an existing cluster are gone.
    SecretsGone {
        /// The folder they should be in.
        path: PathBuf,
    },
    /// Another start holds the folder and did not finish in time.
    Busy {
        /// The data folder.
        path: PathBuf,
    },
    /// A server program failed.
    Server {
        /// What was being done.
        doing: &'static str,
        /// The last lines it said.
        said: String,
    },
    /// The database does not answer or answers wrongly.
    Database {
        /// What was being done.
        doing: &'static str,
        /// The reason.
        reason: String,
    },
    /// The app's role may do more than it should.
    RoleTooStrong {
        /// The role.
        role: String,
        /// What it may do.
        may: &'static str,
    },
    /// The app role exists with a secret we do not have.
    AppRoleTaken,
    /// The database was migrated by a newer build.
    Newer {
        /// The migration this build does not know.
        version: i64,
    },
    /// A migration failed or was changed after it was applied.
    Migration(String),
    /// Anything else, already one sentence.
    Other(String),
}

impl StartFault {
    /// The exit code for this fault.
    pub fn exit_code(&self) -> u8 {
        use StartFault::*;
        match self {
            Other(_) => 1,
            Settings(_) => 2,
            Address { .. } => 3,
            Folder { .. } | NotOurs { .. } | HalfMade { .. } | OutOfReach { .. } | SocketPath { .. } => 4,
            SecretsGone { .. } | Busy { .. } => 4,
            NoUser | NoServer | TooOld { .. } | MissingVersion { .. } => 5,
            Server { .. } | Database { .. } | RoleTooStrong { .. } | AppRoleTaken | Migration(_) => 6,
            Newer { .. } => 7,
        }
    }

    pub(crate) fn folder(path: impl Into<PathBuf>, error: &std::io::Error) -> Self {
        let reason = match error.kind() {
            std::io::ErrorKind::PermissionDenied => "this user may not read and write there".to_owned(),
            std::io::ErrorKind::NotADirectory | std::io::ErrorKind::AlreadyExists => {
                "it is not a folder".to_owned()
            }
            std::io::ErrorKind::StorageFull => "the disk is full".to_owned(),
            _ => error.to_string(),
        };
        Self::Folder { path: path.into(), reason }
    }

    pub(crate) fn database(doing: &'static str, error: &sqlx::Error) -> Self {
        Self::Database { doing, reason: error.to_string() }
    }
}

/// Words of others without the stop at their end: the sentence brings its own.
fn end(words: &str) -> &str {
    words.trim_end().trim_end_matches('.')
}

impl fmt::Display for StartFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        use StartFault::*;
        match self {
            Settings(faults) => write!(f, "The settings do not hold: {}.", faults.join("; ")),
            Address { address, reason } => {
                write!(f, "Cannot listen on {address}: {reason}; choose another with --listen.")
            }
            Folder { path, reason } => write!(
                f,
                "Cannot use the data folder {}: {reason}; mend that or choose another with --data.",
                path.display()
            ),
            NotOurs { path } => write!(
                f,
                "The folder {} is not empty and rinsebell did not make it; choose another with --data.",
                path.display()
            ),
            HalfMade { path } => write!(
                f,
                "{} is half made and carries no mark of ours, so nothing was touched; move it away, then start again.",
                path.display()
            ),
            OutOfReach { path, user } => write!(
                f,
                "The user {user}, who runs the database server, cannot reach {}; choose a folder it can reach with --data.",
                path.display()
            ),
            NoUser => write!(
                f,
                "Postgres does not run as root and none of the users postgres, daemon, nobody exists; start rinsebell as an ordinary user."
            ),
            SocketPath { path } => write!(
                f,
                "The socket path {} is {} bytes long and may be 107 at most; choose a shorter folder with --data.",
                path.display(),
                path.as_os_str().len()
            ),
            NoServer => write!(
                f,
                "No Postgres server programs were found; install the package postgresql (Debian: apt install postgresql), name their folder in RINSEBELL_PG_BIN, or give a database in RINSEBELL_DATABASE_URL."
            ),
            TooOld { newest } => write!(
                f,
                "The newest Postgres found is {newest} and rinsebell needs 15 or newer; install the package postgresql-15 or newer, or give a database in RINSEBELL_DATABASE_URL."
            ),
            MissingVersion { major } => write!(
                f,
                "The data were made by Postgres {major}, whose programs are not here any more; install the package postgresql-{major}."
            ),
            SecretsGone { path } => write!(
                f,
                "The database exists but its secrets in {} do not; put them back, or restore a backup into a fresh folder.",
                path.display()
            ),
            Busy { path } => write!(
                f,
                "Another start is still busy with {}; wait until it has finished, then start again.",
                path.display()
            ),
            Server { doing, said } => write!(f, "Postgres failed while {doing}: {}.", end(said)),
            Database { doing, reason } => write!(f, "The database failed while {doing}: {}.", end(reason)),
            RoleTooStrong { role, may } => write!(
                f,
                "The app must not connect as {role}, which {may}; give a plain role in RINSEBELL_DATABASE_APP_URL."
            ),
            AppRoleTaken => write!(
                f,
                "The role rinsebell_app exists with a secret that is not in this data folder; start with the same --data as before or give RINSEBELL_DATABASE_APP_URL."
            ),
            Newer { version } => write!(
                f,
                "The database was migrated by a newer rinsebell (migration {version}); start that one."
            ),
            Migration(reason) => write!(f, "A migration could not be applied: {reason}."),
            Other(sentence) => f.write_str(sentence),
        }
    }
}

impl std::error::Error for StartFault {}
