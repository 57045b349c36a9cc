//! Starting, attaching, recovering and stopping, with the real program.

mod check;
mod outside;
mod refusals;
mod restore;
mod stop;
mod tls;

use crate::support::program::{Folder, Person, Serving, is_root, pid, serve, wait_for};
use rustix::process::{Signal, kill_process};
use std::os::unix::fs::{MetadataExt, PermissionsExt};

#[test]
fn a_cold_start_makes_a_cluster_and_a_second_start_attaches_to_it() {
    let folder = Folder::new();
    let first = Serving::start(serve(&folder));
    first.wait_ready();
    assert_eq!(first.get("/health/live").unwrap().0, 200);
    let server = folder.postmaster().unwrap();

    let second = Serving::start(serve(&folder));
    second.wait_ready();
    assert_eq!(folder.postmaster(), Some(server), "one server for both");

    let took = first.stop();
    assert_eq!(folder.postmaster(), Some(server), "the other still needs it");
    second.wait_ready();
    second.stop();
    assert_eq!(folder.postmaster(), None, "the last one stops it");

    let warm = Serving::start(serve(&folder));
    warm.wait_ready();
    println!("stop {took:?}, warm start {:?}", warm.took);
    warm.stop();
}

#[test]
fn the_cluster_has_no_open_door() {
    let folder = Folder::new();
    let serving = Serving::start(serve(&folder));
    println!("cold start {:?}", serving.took);
    let cluster = folder.data().cluster();
    let rules = std::fs::read_to_string(cluster.join("pg_hba.conf")).unwrap();
    let methods = rules.lines().filter(|l| !l.starts_with('#')).filter_map(|l| l.split_whitespace().last());
    let methods: Vec<&str> = methods.collect();
    assert!(!methods.is_empty() && methods.iter().all(|m| *m == "scram-sha-256"), "{methods:?}");
    let pid_file = std::fs::read_to_string(cluster.join("postmaster.pid")).unwrap();
    // PostgreSQL source, miscadmin.h: line 6 of postmaster.pid is the first TCP address, empty without one.
    assert_eq!(pid_file.lines().nth(5).unwrap().trim(), "", "no TCP");
    for secret in std::fs::read_dir(folder.data().secrets()).unwrap() {
        let mode = secret.unwrap().metadata().unwrap().permissions().mode();
        assert_eq!(mode & 0o777, 0o600);
    }
    let meta = std::fs::metadata(&cluster).unwrap();
    assert_eq!(meta.permissions().mode() & 0o777, 0o700);
    assert_ne!(meta.uid(), 0, "the server never runs as root");
    serving.stop();
}

#[test]
fn after_kill_9_of_the_app_the_next_start_attaches() {
    let folder = Folder::new();
    let first = Serving::start(serve(&folder));
    let server = folder.postmaster().unwrap();
    first.signal(Signal::KILL);
    first.wait_end();
    assert_eq!(folder.postmaster(), Some(server), "the server outlives the app");
    let again = Serving::start(serve(&folder));
    again.wait_ready();
    assert_eq!(folder.postmaster(), Some(server));
    again.stop();
    assert_eq!(folder.postmaster(), None);
}

#[test]
fn after_kill_9_of_the_server_the_running_app_starts_it_again() {
    let folder = Folder::new();
    let serving = Serving::start(serve(&folder));
    let beside = Serving::start(serve(&folder));
    let server = folder.postmaster().unwrap();
    let began = std::time::Instant::now();
    kill_process(pid(server), Signal::KILL).unwrap();
    wait_for("another server", || folder.postmaster().filter(|p| *p != server));
    serving.wait_ready();
    println!("ready again {:?} after kill -9 of the server", began.elapsed());
    beside.wait_ready();
    assert_eq!(serving.get("/health/live").unwrap().0, 200);
    beside.stop();
    serving.stop();
    assert_eq!(folder.postmaster(), None);
}

#[test]
fn after_kill_9_of_both_the_next_start_recovers() {
    let folder = Folder::new();
    let first = Serving::start(serve(&folder));
    let server = folder.postmaster().unwrap();
    first.signal(Signal::KILL);
    kill_process(pid(server), Signal::KILL).unwrap();
    first.wait_end();
    let again = Serving::start(serve(&folder));
    again.wait_ready();
    println!("start after kill -9 of both {:?}", again.took);
    again.stop();
}

/// Kills the first start as soon as `begun` holds; the next one must end up with a whole cluster.
fn killed_while_making(begun: impl Fn(&Folder) -> bool) {
    let folder = Folder::new();
    let mut first = serve(&folder).spawn().unwrap();
    wait_for("the making to begin", || begun(&folder).then_some(()));
    first.kill().unwrap();
    first.wait().unwrap();
    let again = Serving::start(serve(&folder));
    again.wait_ready();
    again.stop();
}

#[test]
fn after_kill_9_in_the_midst_of_initdb_the_next_start_makes_it_anew() {
    killed_while_making(|folder| {
        std::fs::read_dir(folder.path())
            .is_ok_and(|mut d| d.any(|e| e.unwrap().path().join("pg/PG_VERSION").exists()))
    });
}

#[test]
fn after_kill_9_before_the_roles_are_made_the_next_start_makes_them() {
    killed_while_making(|folder| folder.data().cluster().exists());
}

#[test]
fn two_starts_at_once_share_one_cluster() {
    let folder = Folder::new();
    let (first, second) = std::thread::scope(|s| {
        let first = s.spawn(|| Serving::start(serve(&folder)));
        let second = s.spawn(|| Serving::start(serve(&folder)));
        (first.join().unwrap(), second.join().unwrap())
    });
    first.wait_ready();
    second.wait_ready();
    let making = |entry: std::io::Result<std::fs::DirEntry>| {
        entry.unwrap().file_name().to_string_lossy().starts_with("pg.new-")
    };
    assert!(!std::fs::read_dir(folder.path()).unwrap().any(making), "nothing half made is left");
    first.stop();
    second.stop();
    assert_eq!(folder.postmaster(), None);
}

#[test]
fn an_ordinary_user_needs_nothing_but_a_home() {
    let person = Person::new();
    let serving = Serving::start(person.rinsebell(&["--no-demo", "--listen", "127.0.0.1:0"]));
    serving.wait_ready();
    let root = person.home.path().join(".local/share/rinsebell");
    let meta = std::fs::metadata(root.join("pg")).unwrap();
    assert_eq!(meta.uid(), std::fs::metadata(person.home.path()).unwrap().uid());
    assert!(!is_root() || meta.uid() != 0);
    serving.stop();
    assert!(!root.join("pg/postmaster.pid").exists());
}
