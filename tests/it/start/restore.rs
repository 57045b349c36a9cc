//! Backup and restore, with the real program.

use crate::support::program::{Folder, Serving, outcome, refused, rinsebell, serve};
use rinsebell::cluster;
use sqlx::ConnectOptions;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::process::Command;

fn command(name: &str, file: &Path, folder: &Folder, more: &[&str]) -> Command {
    let mut command = rinsebell(&[name, file.to_str().unwrap(), "--data", folder.path().to_str().unwrap()]);
    command.args(more);
    command
}

fn done(command: Command) -> String {
    let (code, out, err) = outcome(command);
    assert_eq!(code, 0, "{err}");
    out
}

/// Names of all salons, as the superuser sees them; `insert` adds one first.
async fn salons(folder: &Folder, insert: Option<&str>) -> Vec<String> {
    let opened = cluster::open(&folder.data(), None).await.unwrap();
    let mut connection = opened.superuser.as_ref().unwrap().connect().await.unwrap();
    if let Some(name) = insert {
        sqlx::query("insert into salon (name, zone) values ($1, 'Europe/London')")
            .bind(name)
            .execute(&mut connection)
            .await
            .unwrap();
    }
    let names = sqlx::query_scalar("select name from salon order by name");
    let names = names.fetch_all(&mut connection).await.unwrap();
    drop(connection);
    opened.guard.stop(std::time::Duration::from_secs(10)).await.unwrap();
    names
}

/// Every table, policy, trigger, function and grant, in words: what a restore has to bring back.
async fn shape(folder: &Folder) -> Vec<String> {
    let opened = cluster::open(&folder.data(), None).await.unwrap();
    let mut connection = opened.superuser.as_ref().unwrap().connect().await.unwrap();
    let lines = sqlx::query_scalar(
        "select format('%s %s %s %s %s', relname, relkind, relrowsecurity, relforcerowsecurity,
                       pg_get_userbyid(relowner)) || coalesce(relacl::text, '') as line
           from pg_class where relnamespace = 'public'::regnamespace
         union all select format('%s %s %s', polname, polrelid::regclass, pg_get_expr(polqual, polrelid))
           from pg_policy
         union all select pg_get_triggerdef(oid) from pg_trigger where not tgisinternal
         union all select format('%s %s %s %s', p.oid::regprocedure, prosecdef, pg_get_userbyid(proowner),
                                 md5(prosrc)) || coalesce(proacl::text, '')
           from pg_proc p where pronamespace = 'public'::regnamespace
            and not exists (select from pg_depend d where d.objid = p.oid and d.deptype = 'e')
         union all select format('%s %s', conname, pg_get_constraintdef(oid)) from pg_constraint
          where connamespace = 'public'::regnamespace
         order by 1",
    )
    .fetch_all(&mut connection)
    .await
    .unwrap();
    drop(connection);
    opened.guard.stop(std::time::Duration::from_secs(10)).await.unwrap();
    lines
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_backup_comes_back_whole_and_nothing_is_overwritten_unasked() {
    let (old, new, files) = (Folder::new(), Folder::new(), Folder::new());
    std::fs::create_dir(files.path()).unwrap();
    let file = files.path().join("salon.dump");
    Serving::start(serve(&old)).stop();
    salons(&old, Some("Kestrel Row")).await;

    // Also while it serves.
    let serving = Serving::start(serve(&old));
    done(command("backup", &file, &old, &[]));
    assert_eq!(std::fs::metadata(&file).unwrap().permissions().mode() & 0o777, 0o600);
    assert_eq!(std::fs::read_dir(files.path()).unwrap().count(), 1, "no temporary file is left");
    let said = refused(command("restore", &file, &old, &["--replace"]), 1);
    assert!(said.contains("stop it before"), "{said}");
    serving.wait_ready();
    serving.stop();
    assert_eq!(old.postmaster(), None);

    done(command("restore", &file, &new, &[]));
    assert_eq!(salons(&new, None).await, ["Kestrel Row"]);
    // A check read back in may nest its parentheses another way.
    let flat = |lines: Vec<String>| lines.into_iter().map(|l| l.replace(['(', ')'], "")).collect::<Vec<_>>();
    let (was, is) = (flat(shape(&old).await), flat(shape(&new).await));
    let lost: Vec<_> = was.iter().filter(|line| !is.contains(line)).collect();
    let more: Vec<_> = is.iter().filter(|line| !was.contains(line)).collect();
    assert!(lost.is_empty() && more.is_empty(), "lost {lost:#?}, more {more:#?}");
    assert!(was.iter().any(|line| line.contains("salon_only run_event")), "the fences are among them");
    Serving::start(serve(&new)).stop();

    salons(&new, Some("Second House")).await;
    let said = refused(command("restore", &file, &new, &[]), 1);
    assert!(said.contains("--replace"), "{said}");
    assert_eq!(salons(&new, None).await, ["Kestrel Row", "Second House"]);
    let said = done(command("restore", &file, &new, &["--replace"]));
    assert_eq!(salons(&new, None).await, ["Kestrel Row"]);
    let safety = said.split_whitespace().find(|w| w.contains("before-restore-")).unwrap();
    let safety = safety.trim_end_matches('.').to_owned() + if said.contains(".dump.") { "" } else { "p" };
    done(command("restore", Path::new(&safety), &new, &["--replace"]));
    assert_eq!(salons(&new, None).await, ["Kestrel Row", "Second House"], "what was there is not lost");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_file_that_is_no_backup_changes_nothing() {
    let (folder, files) = (Folder::new(), Folder::new());
    std::fs::create_dir(files.path()).unwrap();
    let file = files.path().join("other");
    std::fs::write(&file, "no backup").unwrap();
    let said = refused(command("restore", &file, &folder, &["--replace"]), 1);
    assert!(said.contains("not a backup of rinsebell"), "{said}");
    let said = refused(command("restore", &files.path().join("absent"), &folder, &[]), 1);
    assert!(said.contains("cannot be read"), "{said}");
    assert!(!folder.path().exists());
    let said = refused(command("backup", Path::new("/nonexistent/file"), &folder, &[]), 1);
    assert!(said.contains("cannot be written"), "{said}");
}
