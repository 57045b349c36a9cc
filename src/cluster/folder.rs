//! The data folder: its paths, marks, secrets and locks.

use super::StartFault;
use std::fs::{self, DirBuilder, File, OpenOptions, TryLockError};
use std::io::{ErrorKind, Read, Write};
use std::os::unix::fs::{DirBuilderExt, MetadataExt, OpenOptionsExt, PermissionsExt};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// The file that says a folder is ours.
const MARK: &str = "rinsebell-data";
/// The file inside a cluster folder that says it was made whole.
const WHOLE: &str = "rinsebell-whole";
/// The file inside a folder under making that says we may remove it.
const MAKING: &str = "rinsebell-making";
/// How the folder under making is called until it is whole.
const MAKING_PREFIX: &str = "pg.new-";
/// Longest socket path the system takes, in bytes.
const SOCKET_PATH_MAX: usize = 107;

/// The folder all data of one installation lie in.
#[derive(Clone, Debug)]
pub struct DataDir {
    root: PathBuf,
}

impl DataDir {
    /// Names a folder; nothing is touched until [`DataDir::prepare`].
    pub fn new(root: impl Into<PathBuf>) -> Self {
        let root = root.into();
        let root = std::path::absolute(&root).unwrap_or(root);
        Self { root }
    }

    /// The folder itself.
    pub fn root(&self) -> &Path {
        &self.root
    }
    /// The cluster.
    pub fn cluster(&self) -> PathBuf {
        self.root.join("pg")
    }
    /// The folder of the Unix socket.
    pub fn socket(&self) -> PathBuf {
        self.root.join("sock")
    }
    /// The certificates.
    pub fn tls(&self) -> PathBuf {
        self.root.join("tls")
    }
    /// The secrets of the database roles.
    pub fn secrets(&self) -> PathBuf {
        self.root.join("secrets")
    }
    /// The server's log.
    pub fn log(&self) -> PathBuf {
        self.cluster().join("server.log")
    }

    /// Makes the folder, or checks that it is one of ours that this user can use.
    pub fn prepare(&self) -> Result<(), StartFault> {
        self.make_root()?;
        let mark = self.root.join(MARK);
        match fs::symlink_metadata(&mark) {
            Ok(_) => {}
            Err(error) if error.kind() == ErrorKind::NotFound => {
                let mut entries = fs::read_dir(&self.root).map_err(|e| StartFault::folder(&self.root, &e))?;
                let foreign = entries.any(|entry| entry.is_ok_and(|e| e.file_name() != "lost+found"));
                // The mark is the first thing written, so a second start that sees anything sees it too.
                if foreign && !mark.exists() {
                    return Err(StartFault::NotOurs { path: self.root.clone() });
                }
                write_new(&mark, b"Made by rinsebell. Back up with `rinsebell backup FILE`.\n", 0o644)
                    .map_err(|e| StartFault::folder(&self.root, &e))?;
            }
            Err(error) => return Err(StartFault::folder(&self.root, &error)),
        }
        // One probe now, so that an unwritable folder is told in one sentence before anything starts.
        self.open_lock("start.lock").map(drop)
    }

    fn make_root(&self) -> Result<(), StartFault> {
        if let Ok(meta) = fs::metadata(&self.root) {
            if !meta.is_dir() {
                let error = std::io::Error::from(ErrorKind::NotADirectory);
                return Err(StartFault::folder(&self.root, &error));
            }
            return Ok(());
        }
        let as_root = rustix::process::geteuid().is_root();
        // Root's server runs as another user, who has to pass through; the secrets have their own 0700 folder.
        let mode = if as_root { 0o711 } else { 0o700 };
        if let Some(parent) = self.root.parent() {
            fs::create_dir_all(parent).map_err(|e| StartFault::folder(&self.root, &e))?;
        }
        match DirBuilder::new().mode(mode).create(&self.root) {
            Ok(()) => Ok(()),
            Err(error) if error.kind() == ErrorKind::AlreadyExists => Ok(()),
            Err(error) => Err(StartFault::folder(&self.root, &error)),
        }
    }

    /// The path of the Unix socket, if it is short enough.
    pub fn socket_file(&self) -> Result<PathBuf, StartFault> {
        let path = self.socket().join(".s.PGSQL.5432");
        if path.as_os_str().len() > SOCKET_PATH_MAX {
            return Err(StartFault::SocketPath { path });
        }
        Ok(path)
    }

    /// Whether a whole cluster lies here; a folder in its place without our mark is a fault.
    pub fn has_cluster(&self) -> Result<bool, StartFault> {
        let path = self.cluster();
        match fs::read_dir(&path) {
            Err(error) if error.kind() == ErrorKind::NotFound => return Ok(false),
            Err(error) => return Err(StartFault::folder(&path, &error)),
            Ok(mut entries) => {
                if entries.next().is_none() {
                    return Ok(false);
                }
            }
        }
        if path.join(WHOLE).exists() && path.join("PG_VERSION").exists() {
            return Ok(true);
        }
        Err(StartFault::HalfMade { path })
    }

    /// The major version that made the cluster.
    pub fn cluster_major(&self) -> Option<u32> {
        fs::read_to_string(self.cluster().join("PG_VERSION")).ok()?.trim().parse().ok()
    }

    /// Removes what an interrupted start left under making. Call under the start lock.
    pub fn sweep_making(&self) -> Result<(), StartFault> {
        let entries = fs::read_dir(&self.root).map_err(|e| StartFault::folder(&self.root, &e))?;
        for entry in entries.flatten() {
            if !entry.file_name().to_string_lossy().starts_with(MAKING_PREFIX) {
                continue;
            }
            let path = entry.path();
            if !path.join(MAKING).exists() {
                return Err(StartFault::HalfMade { path });
            }
            // An orphaned initdb may still write there; what it leaves, the next start removes.
            if let Err(error) = fs::remove_dir_all(&path) {
                tracing::warn!(path = %path.display(), %error, "an interrupted set-up could not be removed yet");
                let _ = write_new(&path.join(MAKING), b"", 0o600);
            }
        }
        Ok(())
    }

    /// A fresh folder under making, marked so that a later start may remove it.
    pub fn start_making(&self) -> Result<PathBuf, StartFault> {
        let path = self.root.join(format!("{MAKING_PREFIX}{}", random_word(6)?));
        let fault = |e: std::io::Error| StartFault::folder(&path, &e);
        DirBuilder::new().mode(0o700).create(&path).map_err(fault)?;
        write_new(&path.join(MAKING), b"", 0o600).map_err(fault)?;
        Ok(path)
    }

    /// Marks the cluster under making whole and moves it to its place, all or nothing.
    pub fn finish_making(&self, making: &Path) -> Result<(), StartFault> {
        let made = making.join("pg");
        let fault = |e: std::io::Error| StartFault::folder(self.cluster(), &e);
        write_new(&made.join(WHOLE), b"", 0o644).map_err(fault)?;
        sync_dir(&made).map_err(fault)?;
        fs::rename(&made, self.cluster()).map_err(fault)?;
        sync_dir(&self.root).map_err(fault)?;
        let _ = fs::remove_dir_all(making);
        Ok(())
    }

    /// The secret of a role, made on first use (43 characters, 256 bits, file 0600).
    pub fn secret(&self, role: &str) -> Result<String, StartFault> {
        if let Some(secret) = self.find_secret(role)? {
            return Ok(secret);
        }
        let dir = self.secrets();
        let fault = |e: std::io::Error| StartFault::folder(&dir, &e);
        match DirBuilder::new().mode(0o700).create(&dir) {
            Err(error) if error.kind() != ErrorKind::AlreadyExists => return Err(fault(error)),
            _ => {}
        }
        let secret = random_word(32)?;
        let temporary = dir.join(format!("{role}.new"));
        let _ = fs::remove_file(&temporary);
        write_new(&temporary, secret.as_bytes(), 0o600).map_err(fault)?;
        fs::rename(&temporary, dir.join(role)).map_err(fault)?;
        sync_dir(&dir).map_err(fault)?;
        Ok(secret)
    }

    /// The secret of a role, if there is one.
    pub fn find_secret(&self, role: &str) -> Result<Option<String>, StartFault> {
        let path = self.secrets().join(role);
        let mut text = String::new();
        match File::open(&path).and_then(|mut f| f.read_to_string(&mut text)) {
            Ok(_) if !text.trim().is_empty() => Ok(Some(text.trim().to_owned())),
            Ok(_) => Ok(None),
            Err(error) if error.kind() == ErrorKind::NotFound => Ok(None),
            Err(error) => Err(StartFault::folder(path, &error)),
        }
    }

    /// Takes the start lock, waiting at most `wait`. It is held until the file is dropped.
    pub async fn lock_start(&self, wait: Duration) -> Result<File, StartFault> {
        let file = self.open_lock("start.lock")?;
        let until = Instant::now() + wait;
        loop {
            match file.try_lock() {
                Ok(()) => return Ok(file),
                Err(TryLockError::Error(error)) => return Err(StartFault::folder(&self.root, &error)),
                Err(TryLockError::WouldBlock) if Instant::now() >= until => {
                    return Err(StartFault::Busy { path: self.root.clone() });
                }
                Err(TryLockError::WouldBlock) => tokio::time::sleep(Duration::from_millis(20)).await,
            }
        }
    }

    /// The shared lock each serving process holds. Call under the start lock.
    pub fn share_serving(&self) -> Result<File, StartFault> {
        let file = self.open_lock("serving.lock")?;
        match file.try_lock_shared() {
            Ok(()) => Ok(file),
            Err(TryLockError::WouldBlock) => Err(StartFault::Busy { path: self.root.clone() }),
            Err(TryLockError::Error(error)) => Err(StartFault::folder(&self.root, &error)),
        }
    }

    fn open_lock(&self, name: &str) -> Result<File, StartFault> {
        let path = self.root.join(name);
        OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .mode(0o600)
            .open(&path)
            .map_err(|e| StartFault::folder(&self.root, &e))
    }

    /// The user and group that own the cluster folder, if it is there.
    pub fn cluster_owner(&self) -> Option<(u32, u32)> {
        fs::metadata(self.cluster()).ok().map(|m| (m.uid(), m.gid()))
    }

    /// Makes the socket folder (0700) and gives it to the server's user.
    pub fn prepare_socket(&self, owner: Option<(u32, u32)>) -> Result<(), StartFault> {
        let dir = self.socket();
        let fault = |e: std::io::Error| StartFault::folder(&dir, &e);
        match DirBuilder::new().mode(0o700).create(&dir) {
            Ok(()) => {
                if let Some((uid, gid)) = owner {
                    std::os::unix::fs::chown(&dir, Some(uid), Some(gid)).map_err(fault)?;
                }
                Ok(())
            }
            Err(error) if error.kind() == ErrorKind::AlreadyExists => Ok(()),
            Err(error) => Err(fault(error)),
        }
    }
}

/// Writes a file that must not exist yet, with its mode, and syncs it. An existing file is left alone.
pub(crate) fn write_new(path: &Path, content: &[u8], mode: u32) -> std::io::Result<()> {
    let mut file = match OpenOptions::new().write(true).create_new(true).mode(mode).open(path) {
        Ok(file) => file,
        Err(error) if error.kind() == ErrorKind::AlreadyExists => return Ok(()),
        Err(error) => return Err(error),
    };
    file.set_permissions(fs::Permissions::from_mode(mode))?;
    file.write_all(content)?;
    file.sync_all()
}

pub(crate) fn sync_dir(path: &Path) -> std::io::Result<()> {
    File::open(path)?.sync_all()
}

/// `bytes` random bytes as URL-safe base64 without padding.
pub(crate) fn random_word(bytes: usize) -> Result<String, StartFault> {
    use base64::Engine;
    let mut buffer = vec![0u8; bytes];
    getrandom::fill(&mut buffer)
        .map_err(|e| StartFault::Other(format!("The system gave no random numbers: {e}.")))?;
    Ok(base64::engine::general_purpose::URL_SAFE_NO_PAD.encode(buffer))
}
