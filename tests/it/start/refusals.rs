//! Starts that cannot go on: one sentence, an exit code, nothing lost.

use crate::support::program::{Folder, Person, Serving, is_root, refused, rinsebell, serve};
use std::fs;
use std::net::TcpListener;
use std::os::unix::fs::PermissionsExt;

#[test]
fn a_full_port_is_told_before_anything_is_touched() {
    let folder = Folder::new();
    let taken = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = taken.local_addr().unwrap().to_string();
    let said =
        refused(rinsebell(&["serve", "--listen", &address, "--data", folder.path().to_str().unwrap()]), 3);
    assert!(said.contains(&address) && said.contains("--listen"), "{said}");
    assert!(!folder.path().exists());
}

#[test]
fn faults_in_the_settings_come_all_at_once() {
    let said = refused(rinsebell(&["serve", "--listen", "nowhere", "--data", "/tmp/x", "--key", "k"]), 2);
    assert!(said.contains("nowhere") && said.contains("--cert and --key"), "{said}");
}

#[test]
fn a_folder_with_other_peoples_files_is_left_alone() {
    let folder = Folder::new();
    fs::create_dir(folder.path()).unwrap();
    fs::write(folder.path().join("letters.txt"), "mine").unwrap();
    let said = refused(serve(&folder), 4);
    assert!(said.contains("rinsebell did not make it"), "{said}");
    assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    assert_eq!(fs::read_to_string(folder.path().join("letters.txt")).unwrap(), "mine");
}

#[test]
fn a_half_made_cluster_without_our_mark_is_left_alone() {
    let folder = Folder::new();
    folder.data().prepare().unwrap();
    fs::create_dir(folder.path().join("pg")).unwrap();
    fs::write(folder.path().join("pg/PG_VERSION"), "15\n").unwrap();
    let said = refused(serve(&folder), 4);
    assert!(said.contains("half made") && said.contains("move it away"), "{said}");
    assert_eq!(fs::read_to_string(folder.path().join("pg/PG_VERSION")).unwrap(), "15\n");

    fs::rename(folder.path().join("pg"), folder.path().join("pg.new-other")).unwrap();
    let said = refused(serve(&folder), 4);
    assert!(said.contains("pg.new-other"), "{said}");
    assert!(folder.path().join("pg.new-other/PG_VERSION").exists());
}

#[test]
fn a_half_made_cluster_of_ours_is_made_anew() {
    let folder = Folder::new();
    folder.data().prepare().unwrap();
    let left = folder.data().start_making().unwrap();
    fs::create_dir(left.join("pg")).unwrap();
    fs::write(left.join("pg/PG_VERSION"), "15\n").unwrap();
    let serving = Serving::start(serve(&folder));
    serving.wait_ready();
    assert!(!left.exists());
    serving.stop();
}

#[test]
fn an_unreadable_folder_is_told() {
    let person = Person::new();
    let closed = person.home.path().join("closed");
    fs::create_dir(&closed).unwrap();
    // As root the folder is root's and the person is not; else nobody may enter it.
    fs::set_permissions(&closed, fs::Permissions::from_mode(if is_root() { 0o700 } else { 0 })).unwrap();
    let data = closed.join("data");
    for path in [&closed, &data] {
        let args = ["serve", "--listen", "127.0.0.1:0", "--data", path.to_str().unwrap()];
        let said = refused(person.rinsebell(&args), 4);
        assert!(said.contains("may not read and write there") && said.contains("--data"), "{said}");
    }
    fs::set_permissions(&closed, fs::Permissions::from_mode(0o700)).unwrap();
    assert_eq!(fs::read_dir(&closed).unwrap().count(), 0, "nothing was put there");
}

#[test]
fn as_root_a_folder_the_servers_user_cannot_reach_is_told() {
    if !is_root() {
        return;
    }
    let folder = Folder::new();
    fs::create_dir(folder.path()).unwrap();
    fs::set_permissions(folder.path(), fs::Permissions::from_mode(0o700)).unwrap();
    let data = folder.path().join("data");
    let said = refused(rinsebell(&["serve", "--listen", "127.0.0.1:0", "--data", data.to_str().unwrap()]), 4);
    assert!(said.contains("cannot reach"), "{said}");
    assert!(!data.join("pg").exists());
}

#[test]
fn a_file_in_the_folders_place_is_told() {
    let folder = Folder::new();
    fs::write(folder.path(), "a file").unwrap();
    let said = refused(serve(&folder), 4);
    assert!(said.contains("not a folder"), "{said}");
    assert_eq!(fs::read_to_string(folder.path()).unwrap(), "a file");
    fs::remove_file(folder.path()).unwrap();
}

#[test]
fn a_folder_too_deep_for_a_socket_is_told() {
    let folder = Folder::new();
    fs::create_dir(folder.path()).unwrap();
    let deep = folder.path().join("d".repeat(100));
    let said = refused(rinsebell(&["serve", "--listen", "127.0.0.1:0", "--data", deep.to_str().unwrap()]), 4);
    assert!(said.contains("107"), "{said}");
}

#[test]
fn without_server_programs_the_package_and_the_setting_are_named() {
    let folder = Folder::new();
    let mut command = serve(&folder);
    command.env("RINSEBELL_PG_BIN", "/nonexistent");
    let said = refused(command, 5);
    assert!(said.contains("package postgresql") && said.contains("RINSEBELL_DATABASE_URL"), "{said}");
}

#[test]
fn programs_too_old_are_told() {
    let (folder, programs) = (Folder::new(), Folder::new());
    fs::create_dir(programs.path()).unwrap();
    let fake = programs.path().join("postgres");
    fs::write(&fake, "#!/bin/sh\necho 'postgres (PostgreSQL) 13.14 (Debian 13.14-1)'\n").unwrap();
    fs::set_permissions(&fake, fs::Permissions::from_mode(0o755)).unwrap();
    let mut command = serve(&folder);
    command.env("RINSEBELL_PG_BIN", programs.path());
    let said = refused(command, 5);
    assert!(said.contains("is 13 and rinsebell needs 15"), "{said}");
}

#[test]
fn lost_secrets_are_told_and_no_new_ones_are_made() {
    let folder = Folder::new();
    Serving::start(serve(&folder)).stop();
    fs::remove_dir_all(folder.data().secrets()).unwrap();
    let said = refused(serve(&folder), 4);
    assert!(said.contains("secrets"), "{said}");
    assert!(!folder.data().secrets().exists());
}
