//! A database given by its owner's URL instead of the embedded cluster.

use super::roles::{ROLE_APP, check_app_role, with_app_limits};
use super::{DataDir, External, Guard, Opened, StartFault};
use sqlx::postgres::{PgConnectOptions, PgConnection};
use sqlx::{AssertSqlSafe, ConnectOptions, Connection};
use std::str::FromStr;
use std::time::Duration;

/// The oldest server, as `server_version_num` counts.
const OLDEST_VERSION_NUM: i32 = 150_000;

pub(super) async fn open(data: &DataDir, external: &External) -> Result<Opened, StartFault> {
    let owner = parse(&external.owner_url, "--database-url")?.application_name("rinsebell");
    let doing = "connecting to RINSEBELL_DATABASE_URL";
    let mut connection = tokio::time::timeout(Duration::from_secs(15), owner.connect())
        .await
        .map_err(|_| StartFault::Database { doing, reason: "no answer within 15 s".to_owned() })?
        .map_err(|e| StartFault::database(doing, &e))?;
    let version: i32 = sqlx::query_scalar("select current_setting('server_version_num')::int")
        .fetch_one(&mut connection)
        .await
        .map_err(|e| StartFault::database(doing, &e))?;
    if version < OLDEST_VERSION_NUM {
        return Err(StartFault::TooOld { newest: version.unsigned_abs() / 10_000 });
    }
    let _start = data.lock_start(super::START_WAIT).await?;
    let app = match &external.app_url {
        Some(url) => {
            let app = parse(url, "RINSEBELL_DATABASE_APP_URL")?.application_name("rinsebell");
            ensure_group(&mut connection, app.get_username()).await?;
            app
        }
        None => made_app_role(data, &mut connection, &owner).await?,
    };
    // Trusted since Postgres 13: the database's owner may add it.
    execute(&mut connection, "create extension if not exists btree_gist".to_owned()).await?;
    let _ = connection.close().await;
    let app = with_app_limits(app);
    check_app_role(&app).await?;
    Ok(Opened { owner, app, superuser: None, guard: Guard { inner: None } })
}

fn parse(url: &str, name: &str) -> Result<PgConnectOptions, StartFault> {
    // The reason could quote the secret, so only the name is told.
    PgConnectOptions::from_str(url)
        .map_err(|_| StartFault::Settings(vec![format!("{name} is not a postgres:// URL")]))
}

/// The app role with a secret from the data folder, made when it is missing.
async fn made_app_role(
    data: &DataDir,
    connection: &mut PgConnection,
    owner: &PgConnectOptions,
) -> Result<PgConnectOptions, StartFault> {
    let there = role_exists(connection, ROLE_APP).await?;
    if there && data.find_secret(ROLE_APP)?.is_none() {
        return Err(StartFault::AppRoleTaken);
    }
    let secret = data.secret(ROLE_APP)?;
    if !there {
        let sql = format!(
            "create role {ROLE_APP} login nosuperuser nocreatedb nocreaterole noreplication nobypassrls password '{secret}'"
        );
        execute(connection, sql).await?;
    }
    grant_connect(connection).await?;
    let app = owner.clone().username(ROLE_APP).password(&secret);
    match app.connect().await {
        Ok(probe) => {
            let _ = probe.close().await;
            Ok(app)
        }
        Err(sqlx::Error::Database(e)) if e.code().as_deref() == Some("28P01") => {
            Err(StartFault::AppRoleTaken)
        }
        Err(error) => Err(StartFault::database("connecting as the app's role", &error)),
    }
}

/// The role grants are given to; another app user must be a member of it.
async fn ensure_group(connection: &mut PgConnection, app_user: &str) -> Result<(), StartFault> {
    if !role_exists(connection, ROLE_APP).await? {
        execute(connection, format!("create role {ROLE_APP} nologin nosuperuser nobypassrls")).await?;
    }
    grant_connect(connection).await?;
    let member: bool = sqlx::query_scalar(
        "select exists(select from pg_roles where rolname = $1) and pg_has_role($1, $2, 'usage')",
    )
    .bind(app_user)
    .bind(ROLE_APP)
    .fetch_one(&mut *connection)
    .await
    .map_err(|e| StartFault::database("checking the app's role", &e))?;
    if member {
        return Ok(());
    }
    let fault = format!("the user of RINSEBELL_DATABASE_APP_URL must be {ROLE_APP} or a member of it");
    Err(StartFault::Settings(vec![fault]))
}

async fn grant_connect(connection: &mut PgConnection) -> Result<(), StartFault> {
    let sql = format!(
        "do $$ begin execute format('grant connect on database %I to {ROLE_APP}', current_database()); end $$"
    );
    execute(connection, sql).await
}

async fn role_exists(connection: &mut PgConnection, role: &str) -> Result<bool, StartFault> {
    sqlx::query_scalar("select exists(select from pg_roles where rolname = $1)")
        .bind(role)
        .fetch_one(connection)
        .await
        .map_err(|e| StartFault::database("looking at its roles", &e))
}

async fn execute(connection: &mut PgConnection, sql: String) -> Result<(), StartFault> {
    sqlx::raw_sql(AssertSqlSafe(sql))
        .execute(connection)
        .await
        .map(drop)
        .map_err(|e| StartFault::database("making the app's role", &e))
}
