//! The installed Postgres server programs, and the user who runs them.

use super::{DataDir, StartFault};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::time::Duration;
use tokio::process::Command;

/// The oldest major version rinsebell works with.
const OLDEST_MAJOR: u32 = 15;
/// Users who may run the server when we are root, in order.
const USERS: [&str; 3] = ["postgres", "daemon", "nobody"];

/// The server programs of one version and the user who runs them.
#[derive(Clone, Debug)]
pub struct Programs {
    bin: PathBuf,
    /// The major version.
    pub major: u32,
    runner: Option<Runner>,
}

/// An unprivileged user; only used when we are root.
#[derive(Clone, Debug)]
struct Runner {
    name: String,
    uid: u32,
    gid: u32,
}

impl Programs {
    /// Finds the programs: the cluster's own major version if it exists, else the newest.
    /// Looked at: `RINSEBELL_PG_BIN` (alone, when given), the usual package folders, `PATH`.
    pub async fn find(data: &DataDir) -> Result<Self, StartFault> {
        let wanted = data.cluster_major();
        let mut best: Option<(u32, PathBuf)> = None;
        let mut newest = None;
        for bin in candidates() {
            let Some(major) = major_of(&bin).await else { continue };
            newest = newest.max(Some(major));
            let fits = wanted.map_or(major >= OLDEST_MAJOR, |w| w == major);
            if fits && best.as_ref().is_none_or(|(m, _)| major > *m) {
                best = Some((major, bin));
            }
        }
        match (best, wanted, newest) {
            (Some((major, bin)), _, _) => Ok(Self { bin, major, runner: runner(data)? }),
            (None, Some(major), Some(_)) => Err(StartFault::MissingVersion { major }),
            (None, None, Some(newest)) => Err(StartFault::TooOld { newest }),
            (None, _, None) => Err(StartFault::NoServer),
        }
    }

    /// Programs for a client only (`pg_dump`, `pg_restore`): any folder with the newest version.
    pub async fn find_clients() -> Result<Self, StartFault> {
        let mut best: Option<(u32, PathBuf)> = None;
        for bin in candidates() {
            let Some(major) = major_of(&bin).await else { continue };
            if best.as_ref().is_none_or(|(m, _)| major > *m) {
                best = Some((major, bin));
            }
        }
        let (major, bin) = best.ok_or(StartFault::NoServer)?;
        Ok(Self { bin, major, runner: None })
    }

    /// The user and group of the server, when it is not us.
    pub fn owner(&self) -> Option<(u32, u32)> {
        self.runner.as_ref().map(|r| (r.uid, r.gid))
    }

    /// A command for one program as the server's user, with nothing of our environment.
    pub fn command(&self, program: &str) -> Command {
        let mut command = self.plain(&self.bin.join(program));
        if let Some(runner) = &self.runner {
            command.uid(runner.uid).gid(runner.gid);
        }
        command
    }

    /// A command for a client program as ourselves.
    pub fn client(&self, program: &str) -> Command {
        self.plain(&self.bin.join(program))
    }

    fn plain(&self, path: &Path) -> Command {
        let mut command = Command::new(path);
        command.env_clear().env("PATH", "/usr/bin:/bin").env("LC_ALL", "C").env("TZ", "UTC");
        // Our own folder may be one the server's user cannot enter.
        command.current_dir("/").stdin(std::process::Stdio::null());
        command
    }

    /// Refuses a folder the server's user cannot reach.
    pub async fn check_reach(&self, path: &Path) -> Result<(), StartFault> {
        let Some(runner) = &self.runner else { return Ok(()) };
        let mut command = self.plain(Path::new("/usr/bin/test"));
        command.uid(runner.uid).gid(runner.gid).arg("-x").arg(path);
        match command.status().await {
            Ok(status) if !status.success() => {
                Err(StartFault::OutOfReach { path: path.to_owned(), user: runner.name.clone() })
            }
            // Without the `test` program the server itself will tell.
            _ => Ok(()),
        }
    }
}

/// Runs a command to its end within `limit`; its words come back when it fails.
pub async fn run(command: &mut Command, doing: &'static str, limit: Duration) -> Result<String, StartFault> {
    command.kill_on_drop(true);
    match tokio::time::timeout(limit, command.output()).await {
        Err(_) => Err(StartFault::Server { doing, said: format!("no end within {} s", limit.as_secs()) }),
        Ok(Err(error)) => Err(StartFault::Server { doing, said: error.to_string() }),
        Ok(Ok(output)) if output.status.success() => Ok(String::from_utf8_lossy(&output.stdout).into_owned()),
        Ok(Ok(output)) => {
            let text = [output.stderr, output.stdout].concat();
            Err(StartFault::Server { doing, said: last_lines(&String::from_utf8_lossy(&text)) })
        }
    }
}

/// The last few lines, joined into one.
pub(super) fn last_lines(text: &str) -> String {
    let lines: Vec<&str> = text.lines().map(str::trim).filter(|l| !l.is_empty()).collect();
    lines[lines.len().saturating_sub(4)..].join(" / ")
}

fn candidates() -> BTreeSet<PathBuf> {
    if let Some(bin) = std::env::var_os("RINSEBELL_PG_BIN").filter(|b| !b.is_empty()) {
        return BTreeSet::from([PathBuf::from(bin)]);
    }
    let mut found = BTreeSet::new();
    let mut take = |bin: PathBuf| {
        if let Ok(real) = bin.canonicalize()
            && real.join("initdb").exists()
            && real.join("pg_ctl").exists()
        {
            found.insert(real);
        }
    };
    for parent in ["/usr/lib/postgresql", "/usr/libexec/postgresql", "/opt/homebrew/opt", "/usr/local/opt"] {
        for entry in std::fs::read_dir(parent).into_iter().flatten().flatten() {
            take(entry.path().join("bin"));
        }
    }
    for entry in std::fs::read_dir("/usr").into_iter().flatten().flatten() {
        if entry.file_name().to_string_lossy().starts_with("pgsql-") {
            take(entry.path().join("bin"));
        }
    }
    for dir in std::env::var_os("PATH").iter().flat_map(std::env::split_paths) {
        take(dir);
    }
    found
}

/// The major version from `postgres --version` ("postgres (PostgreSQL) 15.18 …").
async fn major_of(bin: &Path) -> Option<u32> {
    let mut command = Command::new(bin.join("postgres"));
    command.arg("--version").env_clear().stdin(std::process::Stdio::null());
    let text = run(&mut command, "asking its version", Duration::from_secs(10)).await.ok()?;
    let number = text.split_whitespace().nth(2)?;
    number.split(|c: char| !c.is_ascii_digit()).next()?.parse().ok()
}

/// Whose rights the server runs with: ours, or as root an unprivileged user's.
fn runner(data: &DataDir) -> Result<Option<Runner>, StartFault> {
    if !rustix::process::geteuid().is_root() {
        return Ok(None);
    }
    // A cluster stays with the user who made it.
    if let Some((uid, gid)) = data.cluster_owner().filter(|(uid, _)| *uid != 0) {
        return Ok(Some(Runner { name: format!("with number {uid}"), uid, gid }));
    }
    let passwd = std::fs::read_to_string("/etc/passwd").unwrap_or_default();
    USERS.iter().find_map(|user| find_user(&passwd, user)).map(Some).ok_or(StartFault::NoUser)
}

fn find_user(passwd: &str, name: &str) -> Option<Runner> {
    passwd.lines().find_map(|line| {
        let mut fields = line.split(':');
        (fields.next()? == name).then_some(())?;
        let uid = fields.nth(1)?.parse().ok()?;
        let gid = fields.next()?.parse().ok()?;
        (uid != 0).then(|| Runner { name: name.to_owned(), uid, gid })
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_user_is_found_by_whole_name() {
        let passwd =
            "root:x:0:0:root:/root:/bin/sh\npostgres2:x:9:9::/:/\npostgres:x:101:104:,,,:/v:/bin/sh\n";
        let user = find_user(passwd, "postgres").unwrap();
        assert_eq!((user.uid, user.gid), (101, 104));
        assert!(find_user(passwd, "root").is_none(), "root never runs the server");
        assert!(find_user(passwd, "daemon").is_none());
    }

    #[test]
    fn only_the_last_lines_are_told() {
        assert_eq!(last_lines("a\n\nb\nc\nd\ne\n"), "b / c / d / e");
    }
}
