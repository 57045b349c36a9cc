//! Ended server processes that nobody has waited for yet: their numbers keep a new server from starting.

#[cfg(target_os = "linux")]
use rustix::process::{Pid, WaitOptions, getpid, set_child_subreaper, waitpid};

/// Makes this process the one that inherits the server it starts, so that a killed server is buried at
/// once and not when (or if) the system's first process gets to it. In a container that may be never.
pub fn inherit_servers() {
    #[cfg(target_os = "linux")]
    if let Err(error) = set_child_subreaper(Some(getpid())) {
        tracing::debug!(%error, "ended servers are left to the system");
    }
}

/// Buries ended server processes we inherited. Only those: others have a parent that waits for them.
#[cfg(target_os = "linux")]
pub(super) fn bury() {
    let own = getpid().as_raw_nonzero().get();
    for entry in std::fs::read_dir("/proc").into_iter().flatten().flatten() {
        let Some(number) = entry.file_name().to_str().and_then(|n| n.parse::<i32>().ok()) else { continue };
        let Ok(stat) = std::fs::read_to_string(entry.path().join("stat")) else { continue };
        if is_ended_server(&stat, own)
            && let Some(pid) = Pid::from_raw(number)
        {
            let _ = waitpid(Some(pid), WaitOptions::NOHANG);
        }
    }
}

#[cfg(not(target_os = "linux"))]
pub(super) fn bury() {}

/// `number (name) state parent …` (proc(5)): a server's process that has ended, with this parent.
#[cfg(target_os = "linux")]
fn is_ended_server(stat: &str, parent: i32) -> bool {
    let Some((head, tail)) = stat.rsplit_once(')') else { return false };
    let mut fields = tail.split_whitespace();
    head.split_once('(').is_some_and(|(_, name)| name == "postgres")
        && fields.next() == Some("Z")
        && fields.next().and_then(|p| p.parse().ok()) == Some(parent)
}

#[cfg(all(test, target_os = "linux"))]
mod tests {
    use super::*;

    #[test]
    fn only_our_own_ended_servers_are_buried() {
        // proc(5), /proc/pid/stat.
        assert!(is_ended_server("41 (postgres) Z 7 41", 7));
        assert!(!is_ended_server("41 (postgres) S 7 41", 7), "alive");
        assert!(!is_ended_server("41 (postgres) Z 1 41", 7), "somebody else's");
        assert!(!is_ended_server("41 (pg_ctl) Z 7 41", 7), "a program somebody waits for");
    }
}
