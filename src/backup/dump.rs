//! `pg_dump` and `pg_restore`, with files that are whole or not there.

use super::target::Target;
use crate::cluster::{
    DataDir, Programs, ROLE_OWNER, StartFault, random_word, run_program, sync_dir, write_new,
};
use std::os::unix::fs::DirBuilderExt;
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

/// How long writing or reading a backup may take.
const LIMIT: Duration = Duration::from_secs(4 * 3600);

/// Writes the database to `file`: made under another name, 0600 from its first byte, then renamed.
pub(super) async fn write(target: &Target, file: &Path) -> Result<(), StartFault> {
    let folder = file.parent().unwrap_or(Path::new("/"));
    let mut name = file.file_name().unwrap_or_default().to_owned();
    name.push(format!(".new-{}", random_word(6)?));
    let fresh = folder.join(name);
    let fault = |e: std::io::Error| {
        StartFault::Other(format!("The backup cannot be written to {}: {e}.", file.display()))
    };
    write_new(&fresh, b"", 0o600).map_err(fault)?;
    let written = async {
        let mut command = target.client("pg_dump");
        command.args(target.reach()).args(["--format=custom", "--no-owner", "--lock-wait-timeout=30s"]);
        if !target.is_embedded() {
            // The owner sees every row through its own policy.
            command.arg("--enable-row-security");
        }
        command.arg("--file").arg(&fresh);
        run_program(&mut command, "writing the backup", LIMIT).await?;
        std::fs::File::open(&fresh).and_then(|f| f.sync_all()).map_err(fault)?;
        std::fs::rename(&fresh, file).map_err(fault)?;
        sync_dir(folder).map_err(fault)
    };
    let outcome = written.await;
    if outcome.is_err() {
        let _ = std::fs::remove_file(&fresh);
    }
    outcome
}

/// Refuses a file that is not one of our backups.
pub(super) async fn check(programs: &Programs, file: &Path) -> Result<(), StartFault> {
    list(programs, file).await.map(drop)
}

async fn list(programs: &Programs, file: &Path) -> Result<String, StartFault> {
    if let Err(error) = std::fs::File::open(file) {
        return Err(StartFault::Other(format!("The backup {} cannot be read: {error}.", file.display())));
    }
    let mut command = programs.client("pg_restore");
    command.arg("--list").arg(file);
    let listed = run_program(&mut command, "reading the backup", Duration::from_secs(60)).await;
    match listed {
        Ok(text) if text.contains("TABLE DATA public _sqlx_migrations") => Ok(text),
        _ => Err(StartFault::Other(format!("{} is not a backup of rinsebell.", file.display()))),
    }
}

/// Reads `file` into the target, all or nothing.
pub(super) async fn read(target: &Target, file: &Path, clean: bool) -> Result<(), StartFault> {
    let text = list(&target.programs, file).await?;
    let fault = |e: std::io::Error| StartFault::Other(format!("The restore cannot be prepared: {e}."));
    let wanted = std::env::temp_dir().join(format!("rinsebell-list-{}", random_word(6)?));
    write_new(&wanted, without_extension(&text).as_bytes(), 0o600).map_err(fault)?;
    let mut command = target.client("pg_restore");
    command.args(target.reach()).args(["--exit-on-error", "--single-transaction", "--no-owner"]);
    command.arg("--use-list").arg(&wanted);
    if clean {
        command.args(["--clean", "--if-exists"]);
    }
    if target.is_embedded() {
        command.arg(format!("--role={ROLE_OWNER}"));
    }
    command.arg(file);
    let outcome = run_program(&mut command, "reading the backup", LIMIT).await;
    let _ = std::fs::remove_file(&wanted);
    outcome.map(drop)
}

/// The archive's list without the extension and the schema: both are there, and not the owner's to remake.
fn without_extension(list: &str) -> String {
    let skip = |line: &str| {
        let mut words = line.split_whitespace().skip(3);
        match words.next() {
            Some("EXTENSION" | "SCHEMA") => true,
            Some("COMMENT") => line.contains(" EXTENSION ") || line.contains(" SCHEMA "),
            _ => false,
        }
    };
    list.lines().filter(|line| !skip(line)).map(|line| format!("{line}\n")).collect()
}

/// A new path in DATA/backups for the backup a replacing restore makes first.
pub(super) fn safety_path(data: &DataDir) -> Result<PathBuf, StartFault> {
    let folder = data.root().join("backups");
    match std::fs::DirBuilder::new().mode(0o700).create(&folder) {
        Err(error) if error.kind() != std::io::ErrorKind::AlreadyExists => {
            return Err(StartFault::folder(&folder, &error));
        }
        _ => {}
    }
    // A file's name, not a fact of the salon: the machine's clock will do.
    let now = time::OffsetDateTime::from(SystemTime::now());
    let stamp = now
        .format(time::macros::format_description!("[year][month][day]T[hour][minute][second]Z"))
        .map_err(|e| StartFault::Other(format!("The time cannot be written: {e}.")))?;
    Ok(folder.join(format!("before-restore-{stamp}-{}.dump", random_word(3)?)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_extension_is_left_out_of_a_list() {
        let list = "; comment\n2; 3079 16386 EXTENSION - btree_gist \n\
                    3403; 0 0 COMMENT - EXTENSION btree_gist \n217; 1259 17 TABLE public salon postgres\n";
        assert_eq!(without_extension(list), "; comment\n217; 1259 17 TABLE public salon postgres\n");
    }
}
