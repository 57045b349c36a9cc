//! A throw-away cluster for tests: fast, without fsync, and gone with the process that opened it.

use super::process::{Durability, socket_options};
use super::roles::{ROLE_APP, ROLE_OWNER, ROLE_SUPER, create_database, with_app_limits};
use super::{DataDir, Opened, StartFault, open_embedded};
use sqlx::postgres::PgConnectOptions;
use sqlx::{AssertSqlSafe, ConnectOptions, Connection};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

/// A running throw-away cluster. A watcher process stops the server and removes the folder when this
/// process ends, however it ends.
pub struct Throwaway {
    data: DataDir,
    opened: Opened,
    watcher: Option<Child>,
}

/// Connect options of one database of a throw-away cluster.
pub struct TestDatabase {
    /// Its name.
    pub name: String,
    /// As the owner.
    pub owner: PgConnectOptions,
    /// As the app role, with the app's time limits.
    pub app: PgConnectOptions,
    /// As the superuser, for attacks and for what only it may arrange.
    pub superuser: PgConnectOptions,
}

impl Throwaway {
    /// Makes and starts a cluster in a fresh folder of the given parent (short path; as root one that an
    /// unprivileged user can reach, such as `/tmp`).
    pub async fn open(parent: &Path) -> Result<Self, StartFault> {
        let root = parent.join(format!("rb-{}", super::random_word(6)?));
        let data = DataDir::new(&root);
        data.prepare()?;
        let watcher = watch(&root);
        let opened = open_embedded(&data, Durability::Thrown).await?;
        Ok(Self { data, opened, watcher })
    }

    /// The data folder.
    pub fn data(&self) -> &DataDir {
        &self.data
    }

    /// The cluster's own database `rinsebell`, empty but for the extension.
    pub fn opened(&self) -> &Opened {
        &self.opened
    }

    /// Connect options of a database that exists already.
    pub fn database(&self, name: &str) -> Result<TestDatabase, StartFault> {
        let options = |role: &str| -> Result<PgConnectOptions, StartFault> {
            Ok(socket_options(&self.data, role, &self.data.secret(role)?, name))
        };
        Ok(TestDatabase {
            name: name.to_owned(),
            owner: options(ROLE_OWNER)?,
            app: with_app_limits(options(ROLE_APP)?),
            superuser: options(ROLE_SUPER)?,
        })
    }

    /// Makes a database from a template (`rinsebell`, or one made before and left without connections).
    pub async fn create_database(&self, name: &str, template: &str) -> Result<TestDatabase, StartFault> {
        let mut connection = self.connect().await?;
        create_database(&mut connection, name, template).await?;
        let _ = connection.close().await;
        self.database(name)
    }

    /// Removes a database, with whoever is still connected to it.
    pub async fn drop_database(&self, name: &str) -> Result<(), StartFault> {
        let mut connection = self.connect().await?;
        sqlx::raw_sql(AssertSqlSafe(format!("drop database if exists {name} with (force)")))
            .execute(&mut connection)
            .await
            .map_err(|e| StartFault::database("removing a test database", &e))?;
        let _ = connection.close().await;
        Ok(())
    }

    async fn connect(&self) -> Result<sqlx::PgConnection, StartFault> {
        self.database("postgres")?
            .superuser
            .connect()
            .await
            .map_err(|e| StartFault::database("connecting", &e))
    }
}

impl Drop for Throwaway {
    fn drop(&mut self) {
        if let Some(mut watcher) = self.watcher.take() {
            drop(watcher.stdin.take());
            let _ = watcher.wait();
        }
    }
}

/// A shell that waits for the end of its input, which comes with the end of this process, then stops the
/// server and removes the folder.
pub fn watch(root: &Path) -> Option<Child> {
    use std::os::unix::process::CommandExt;
    let script = r#"cat >/dev/null
        pid=$(head -n1 "$1/pg/postmaster.pid" 2>/dev/null)
        if [ -n "$pid" ] && kill -QUIT "$pid" 2>/dev/null; then
            n=0; while kill -0 "$pid" 2>/dev/null && [ $n -lt 200 ]; do sleep 0.02; n=$((n+1)); done
        fi
        rm -rf "$1" || { sleep 0.3; rm -rf "$1"; }"#;
    let mut command = Command::new("/bin/sh");
    command.arg("-c").arg(script).arg("sh").arg(PathBuf::from(root));
    command.stdin(Stdio::piped()).stdout(Stdio::null()).stderr(Stdio::null()).process_group(0);
    command.spawn().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    async fn role_facts(options: &PgConnectOptions) -> (String, bool, bool, bool, bool) {
        let mut connection = options.connect().await.unwrap();
        sqlx::query_as(
            "select rolname::text, rolsuper, rolbypassrls, rolcreatedb, rolcreaterole
               from pg_roles where rolname = current_user",
        )
        .fetch_one(&mut connection)
        .await
        .unwrap()
    }

    #[tokio::test]
    async fn a_throwaway_cluster_has_plain_roles_and_makes_databases_from_a_template() {
        let began = std::time::Instant::now();
        let cluster = Throwaway::open(&std::env::temp_dir()).await.unwrap();
        println!("throw-away cluster open after {:?}", began.elapsed());
        let database = cluster.create_database("t_one", super::super::DATABASE).await.unwrap();
        assert_eq!(role_facts(&database.app).await, ("rinsebell_app".into(), false, false, false, false));
        assert_eq!(role_facts(&database.owner).await, ("rinsebell_owner".into(), false, false, false, false));

        let mut app = database.app.connect().await.unwrap();
        let (timeout, lock, idle, encoding, extension): (String, String, String, String, bool) =
            sqlx::query_as(
                "select current_setting('statement_timeout'), current_setting('lock_timeout'),
                        current_setting('idle_in_transaction_session_timeout'),
                        current_setting('server_encoding'),
                        exists(select from pg_extension where extname = 'btree_gist')",
            )
            .fetch_one(&mut app)
            .await
            .unwrap();
        assert_eq!((&*timeout, &*lock, &*idle, &*encoding, extension), ("5s", "4s", "10s", "UTF8", true));
        let refused = sqlx::raw_sql("create table t (a int)").execute(&mut app).await;
        assert!(refused.is_err(), "the app role makes no tables");

        let mut owner = database.owner.connect().await.unwrap();
        sqlx::raw_sql("create table t (a int)").execute(&mut owner).await.unwrap();
        let wrong = database.app.clone().password("wrong").connect().await;
        assert!(wrong.is_err(), "no trust: a wrong secret opens nothing");
        cluster.drop_database("t_one").await.unwrap();
        let root = cluster.data().root().to_owned();
        drop(cluster);
        assert!(!root.exists(), "the folder goes with the cluster");
    }
}
