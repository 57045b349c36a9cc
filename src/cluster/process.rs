//! Making, starting, asking and stopping the server.

use super::programs::{Programs, last_lines, run};
use super::roles::ROLE_SUPER;
use super::{DataDir, StartFault};
use rustix::io::Errno;
use rustix::process::{Pid, test_kill_process};
use sqlx::ConnectOptions;
use sqlx::postgres::{PgConnectOptions, PgConnection, PgSslMode};
use std::os::unix::fs::chown;
use std::path::Path;
use std::time::{Duration, Instant};

/// How long the server may take to recover and answer.
const ANSWER_LIMIT: Duration = Duration::from_secs(60);
/// A log larger than this is put aside at the next start, in bytes.
const LOG_MAX_BYTES: u64 = 10 * 1024 * 1024;

/// What the cluster is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Durability {
    /// A salon's data: nothing acknowledged is lost.
    Kept,
    /// A throw-away cluster for tests: fast, and worthless after a crash of the machine.
    Thrown,
}

/// Connect options for one role and database over the socket.
pub(super) fn socket_options(data: &DataDir, role: &str, secret: &str, database: &str) -> PgConnectOptions {
    PgConnectOptions::new_without_pgpass()
        .socket(data.socket())
        .port(5432)
        .ssl_mode(PgSslMode::Disable)
        .username(role)
        .password(secret)
        .database(database)
        .application_name("rinsebell")
}

/// Makes the cluster under a temporary name and moves it to its place when it is whole.
pub(super) async fn make(
    data: &DataDir,
    programs: &Programs,
    durability: Durability,
) -> Result<(), StartFault> {
    data.sweep_making()?;
    programs.check_reach(data.root()).await?;
    let secret = data.secret(ROLE_SUPER)?;
    let mut last = None;
    // C.UTF-8 knows the letters of every script; where the system has none, C still keeps them.
    for locale in ["C.UTF-8", "C"] {
        let making = data.start_making()?;
        match initdb(&making, programs, &secret, locale, durability).await {
            Ok(()) => return data.finish_making(&making),
            Err(fault) => {
                let _ = std::fs::remove_dir_all(&making);
                last = Some(fault);
            }
        }
    }
    Err(last.unwrap_or(StartFault::NoServer))
}

async fn initdb(
    making: &Path,
    programs: &Programs,
    secret: &str,
    locale: &str,
    durability: Durability,
) -> Result<(), StartFault> {
    let fault = |e: std::io::Error| StartFault::folder(making, &e);
    let secret_file = making.join("secret");
    super::folder::write_new(&secret_file, secret.as_bytes(), 0o600).map_err(fault)?;
    if let Some((uid, gid)) = programs.owner() {
        chown(&secret_file, Some(uid), Some(gid)).map_err(fault)?;
        chown(making, Some(uid), Some(gid)).map_err(fault)?;
    }
    let made = making.join("pg");
    let mut command = programs.command("initdb");
    command.arg("--pgdata").arg(&made).arg("--username").arg(ROLE_SUPER);
    command.arg("--pwfile").arg(&secret_file).args(["--auth=scram-sha-256", "--encoding=UTF8"]);
    command.arg(format!("--locale={locale}")).arg("--no-instructions");
    match durability {
        Durability::Kept => command.arg("--data-checksums"),
        Durability::Thrown => command.arg("--no-sync"),
    };
    run(&mut command, "making the cluster", Duration::from_secs(120)).await?;
    std::fs::remove_file(&secret_file).map_err(fault)?;
    write_settings(&made, durability).map_err(fault)
}

fn write_settings(made: &Path, durability: Durability) -> std::io::Result<()> {
    use std::io::Write;
    // The log keeps no row's words: a constraint's detail would quote them.
    let mut text = String::from(
        "\n# rinsebell\nlisten_addresses = ''\nunix_socket_permissions = 0700\nmax_connections = 200\n\
         timezone = 'UTC'\nlog_timezone = 'UTC'\nlog_error_verbosity = terse\n\
         log_min_error_statement = panic\n",
    );
    if durability == Durability::Thrown {
        text.push_str(
            "fsync = off\nsynchronous_commit = off\nfull_page_writes = off\nmax_wal_size = 256MB\n",
        );
    }
    let mut file = std::fs::OpenOptions::new().append(true).open(made.join("postgresql.conf"))?;
    file.write_all(text.as_bytes())?;
    file.sync_all()
}

/// Attaches to the running server or starts it, and waits until it answers as the superuser.
/// Call under the start lock.
pub(super) async fn attach_or_start(data: &DataDir, programs: &Programs) -> Result<PgConnection, StartFault> {
    let secret =
        data.find_secret(ROLE_SUPER)?.ok_or_else(|| StartFault::SecretsGone { path: data.secrets() })?;
    let options = socket_options(data, ROLE_SUPER, &secret, "postgres");
    let until = Instant::now() + ANSWER_LIMIT;
    loop {
        let error = match tokio::time::timeout(Duration::from_secs(5), options.connect()).await {
            Ok(Ok(connection)) => return Ok(connection),
            Ok(Err(error)) => Some(error),
            Err(_) => None,
        };
        if Instant::now() >= until {
            let reason = error.map_or("no answer".to_owned(), |e| e.to_string());
            return Err(StartFault::Database { doing: "connecting", reason });
        }
        match error {
            // Starting up, shutting down or recovering: ask again.
            Some(sqlx::Error::Database(e)) if matches!(e.code().as_deref(), Some("57P03" | "53300")) => {
                tokio::time::sleep(Duration::from_millis(20)).await;
            }
            Some(sqlx::Error::Database(e)) => {
                return Err(StartFault::Database { doing: "connecting", reason: e.to_string() });
            }
            Some(sqlx::Error::Io(_)) => start_once(data, programs, until).await?,
            Some(_) | None => tokio::time::sleep(Duration::from_millis(20)).await,
        }
    }
}

/// One `pg_ctl start`. A server that was killed may leave children that still hold its memory, or a
/// process number nobody has buried: then it refuses, rightly, and is asked again until `until`.
async fn start_once(data: &DataDir, programs: &Programs, until: Instant) -> Result<(), StartFault> {
    data.prepare_socket(programs.owner())?;
    put_log_aside(data);
    super::bury::bury();
    let mut command = programs.command("pg_ctl");
    command.arg("start").arg("--pgdata").arg(data.cluster()).arg("--log").arg(data.log());
    command.args(["--silent", "--wait", "--timeout=60", "--options"]).arg(socket_setting(&data.socket()));
    let Err(fault) = run(&mut command, "starting the server", Duration::from_secs(70)).await else {
        return Ok(());
    };
    let log = read_tail(data);
    let left_over = ["shared memory block", "lock file \"postmaster.pid\" already exists"];
    if Instant::now() + Duration::from_secs(30) < until && left_over.iter().any(|l| log.contains(l)) {
        tokio::time::sleep(Duration::from_millis(20)).await;
        return Ok(());
    }
    match fault {
        StartFault::Server { doing, said } => {
            Err(StartFault::Server { doing, said: if log.is_empty() { said } else { last_lines(&log) } })
        }
        other => Err(other),
    }
}

/// `-c unix_socket_directories=…`, quoted once for the server's list and once for the shell `pg_ctl` uses.
fn socket_setting(dir: &Path) -> String {
    let list = format!("\"{}\"", dir.display().to_string().replace('"', "\"\""));
    format!("-c 'unix_socket_directories={}'", list.replace('\'', r"'\''"))
}

fn read_tail(data: &DataDir) -> String {
    let bytes = std::fs::read(data.log()).unwrap_or_default();
    String::from_utf8_lossy(&bytes[bytes.len().saturating_sub(2000)..]).into_owned()
}

fn put_log_aside(data: &DataDir) {
    if std::fs::metadata(data.log()).is_ok_and(|m| m.len() > LOG_MAX_BYTES) {
        let _ = std::fs::rename(data.log(), data.cluster().join("server.log.1"));
    }
}

/// Stops the server: fast first, at once if that takes longer than `limit`.
pub(super) async fn stop(data: &DataDir, programs: &Programs, limit: Duration) -> Result<(), StartFault> {
    if postmaster(data).is_none() {
        return Ok(());
    }
    let ask = |mode: &str, wait_s: u64| {
        let mut command = programs.command("pg_ctl");
        command.arg("stop").arg("--pgdata").arg(data.cluster());
        command.args(["--silent", "--wait", "--mode", mode]).arg(format!("--timeout={wait_s}"));
        command
    };
    let wait_s = limit.as_secs().max(1);
    match run(&mut ask("fast", wait_s), "stopping the server", limit + Duration::from_secs(2)).await {
        Ok(_) => Ok(()),
        Err(_) if postmaster(data).is_none() => Ok(()),
        // Immediate is a crash with recovery at the next start: nothing acknowledged is lost.
        Err(_) => {
            run(&mut ask("immediate", 5), "stopping the server", Duration::from_secs(7)).await.map(drop)
        }
    }
}

/// The running server's process number, if its process lives.
pub fn postmaster(data: &DataDir) -> Option<i32> {
    let text = std::fs::read_to_string(data.cluster().join("postmaster.pid")).ok()?;
    let number: i32 = text.lines().next()?.trim().parse().ok()?;
    match std::fs::read_to_string(format!("/proc/{number}/stat")) {
        Ok(stat) => match state_of(&stat)? {
            State::Server => Some(number),
            State::Dead | State::Other => None,
        },
        Err(_) if Path::new("/proc/self/stat").exists() => None,
        // Without a process table to read, the number has to do.
        Err(_) => {
            matches!(test_kill_process(Pid::from_raw(number)?), Ok(()) | Err(Errno::PERM)).then_some(number)
        }
    }
}

/// What a process number stands for.
#[derive(Debug, PartialEq, Eq)]
enum State {
    Server,
    /// Its process has ended, its parent has not noticed yet.
    Dead,
    /// The number was given to somebody else.
    Other,
}

/// `number (name) state …` (proc(5)); the name may hold anything, so the last parenthesis ends it.
fn state_of(stat: &str) -> Option<State> {
    let (head, tail) = stat.rsplit_once(')')?;
    let name = head.split_once('(')?.1;
    let letter = tail.trim_start().chars().next()?;
    Some(match letter {
        'Z' | 'X' => State::Dead,
        _ if name.starts_with("post") => State::Server,
        _ => State::Other,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_ended_process_and_a_number_given_away_are_no_server() {
        // proc(5), /proc/pid/stat.
        assert_eq!(state_of("41 (postgres) S 1 41"), Some(State::Server));
        assert_eq!(state_of("41 (postgres) Z 1 41"), Some(State::Dead));
        assert_eq!(state_of("41 (odd) name) S 1 41"), Some(State::Other));
        assert_eq!(state_of(""), None);
    }

    #[test]
    fn a_socket_folder_with_odd_letters_is_quoted_twice() {
        // PostgreSQL documentation, runtime-config-connection: a comma-separated list, entries may be quoted.
        let setting = socket_setting(Path::new("/a b/it's, \"here\""));
        assert_eq!(setting, r#"-c 'unix_socket_directories="/a b/it'\''s, ""here"""'"#);
    }
}
