//! `rinsebell check` on the real program: clean, then with each fence broken by the superuser.

use crate::support::program::{Folder, Serving, outcome, rinsebell, serve};
use rinsebell::cluster;
use sqlx::ConnectOptions;

/// `check` over a folder: exit code, and its findings.
fn check(folder: &Folder) -> (i32, String) {
    let (code, out, err) = outcome(rinsebell(&["check", "--data", folder.path().to_str().unwrap()]));
    assert!(code <= 1, "{err}");
    (code, out)
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_broken_fence_is_found() {
    let folder = Folder::new();
    let serving = Serving::start(serve(&folder));
    assert_eq!(check(&folder), (0, "nothing wrong: 0 runs, 0 events".to_owned()));
    let opened = cluster::open(&folder.data(), None).await.unwrap();
    let mut superuser = opened.superuser.as_ref().unwrap().connect().await.unwrap();
    for (broken, mended, said) in [
        (
            "alter table client disable row level security",
            "alter table client enable row level security",
            "Table client: no fence between salons.",
        ),
        (
            "drop policy salon_only on booking",
            "create policy salon_only on booking for all to rinsebell_app
               using (salon_id = nullif(current_setting('rinsebell.salon', true), '')::bigint)",
            "Table booking: no fence between salons.",
        ),
        (
            "grant delete on run_event to rinsebell_app",
            "revoke delete on run_event from rinsebell_app",
            "Table run_event: the app may delete, and it is only ever added to.",
        ),
        (
            "alter table run_event disable trigger run_event_guard",
            "alter table run_event enable trigger run_event_guard",
            "Table run_event: the guard run_event_guard is off.",
        ),
        (
            "update _sqlx_migrations set checksum = '\\x00' where version = 1",
            "select 1",
            "Migration 1: changed after it was applied.",
        ),
    ] {
        sqlx::raw_sql(broken).execute(&mut superuser).await.unwrap();
        assert_eq!(check(&folder), (1, said.to_owned()));
        sqlx::raw_sql(mended).execute(&mut superuser).await.unwrap();
    }
    drop(superuser);
    opened.guard.stop(std::time::Duration::from_secs(5)).await.unwrap();
    serving.stop();
}
