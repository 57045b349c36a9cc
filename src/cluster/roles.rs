//! The roles and the database of a cluster, made at set-up and mended at each start.

use super::process::socket_options;
use super::{DataDir, StartFault};
use sqlx::postgres::{PgConnectOptions, PgConnection};
use sqlx::{AssertSqlSafe, ConnectOptions, Connection};
use std::time::Duration;

/// The superuser of an embedded cluster.
pub(crate) const ROLE_SUPER: &str = "rinsebell_cluster";
/// Owns the database and its tables; not a superuser, does not pass row-level security by.
pub const ROLE_OWNER: &str = "rinsebell_owner";
/// What the app connects as; owns nothing.
pub const ROLE_APP: &str = "rinsebell_app";
/// The database.
pub const DATABASE: &str = "rinsebell";

/// Attributes of both roles: everything that would widen them is off.
const ROLE_PLAIN: &str = "login nosuperuser nocreatedb nocreaterole noreplication nobypassrls";

/// Makes the roles, the database and its extension where they are missing. `connection` is the superuser's.
pub(super) async fn ensure(data: &DataDir, connection: &mut PgConnection) -> Result<(), StartFault> {
    ensure_roles(data, connection).await?;
    let doing = "making the database";
    let there: bool = sqlx::query_scalar("select exists(select from pg_database where datname = $1)")
        .bind(DATABASE)
        .fetch_one(&mut *connection)
        .await
        .map_err(|e| StartFault::database(doing, &e))?;
    if !there {
        create_database(connection, DATABASE, "template0").await?;
    }
    let secret = data.secret(ROLE_SUPER)?;
    prepare_database(&socket_options(data, ROLE_SUPER, &secret, DATABASE)).await
}

/// Makes the two roles, or gives them back their secrets. `connection` is the superuser's.
async fn ensure_roles(data: &DataDir, connection: &mut PgConnection) -> Result<(), StartFault> {
    for role in [ROLE_OWNER, ROLE_APP] {
        let fresh = data.find_secret(role)?.is_none();
        let secret = data.secret(role)?;
        let doing = "making its roles";
        let there: bool = sqlx::query_scalar("select exists(select from pg_roles where rolname = $1)")
            .bind(role)
            .fetch_one(&mut *connection)
            .await
            .map_err(|e| StartFault::database(doing, &e))?;
        if there && !fresh {
            continue;
        }
        let verb = if there { "alter" } else { "create" };
        execute(connection, format!("{verb} role {role} {ROLE_PLAIN} password '{secret}'"), doing).await?;
    }
    Ok(())
}

/// `CREATE DATABASE` owned by the owner role, closed to everyone else.
pub(crate) async fn create_database(
    connection: &mut PgConnection,
    name: &str,
    template: &str,
) -> Result<(), StartFault> {
    let doing = "making the database";
    execute(connection, format!("create database {name} owner {ROLE_OWNER} template {template}"), doing)
        .await?;
    execute(connection, format!("revoke all on database {name} from public"), doing).await?;
    execute(connection, format!("grant connect on database {name} to {ROLE_APP}"), doing).await
}

/// The extension that exclusion constraints over ids with ranges need. Not trusted everywhere, so the
/// superuser makes it; an interrupted set-up is mended here at the next start.
async fn prepare_database(superuser: &PgConnectOptions) -> Result<(), StartFault> {
    let doing = "adding the extension btree_gist (Debian: part of the package postgresql)";
    let mut connection =
        superuser.clone().connect().await.map_err(|e| StartFault::database("connecting", &e))?;
    execute(&mut connection, "create extension if not exists btree_gist".to_owned(), doing).await?;
    connection.close().await.map_err(|e| StartFault::database(doing, &e))
}

/// Runs one statement of fixed words, our role and database names and our own base64 secrets.
async fn execute(connection: &mut PgConnection, sql: String, doing: &'static str) -> Result<(), StartFault> {
    sqlx::raw_sql(AssertSqlSafe(sql))
        .execute(&mut *connection)
        .await
        .map(drop)
        .map_err(|e| StartFault::database(doing, &e))
}

/// The app's connect options with the time limits every request lives under (server side, so that a
/// query also ends when its caller has gone).
pub fn with_app_limits(options: PgConnectOptions) -> PgConnectOptions {
    options.options([
        ("statement_timeout", "5s"),
        ("lock_timeout", "4s"),
        ("idle_in_transaction_session_timeout", "10s"),
        // A peer behind a dead network is noticed, not waited for.
        ("tcp_keepalives_idle", "20"),
    ])
}

/// Refuses an app role that could see another salon's rows or owns anything here.
pub(super) async fn check_app_role(app: &PgConnectOptions) -> Result<(), StartFault> {
    let doing = "checking the app's role";
    let mut connection = tokio::time::timeout(Duration::from_secs(10), app.connect())
        .await
        .map_err(|_| StartFault::Database { doing, reason: "no answer".to_owned() })?
        .map_err(|e| StartFault::database(doing, &e))?;
    let (superuser, bypasses, owns, role): (bool, bool, bool, String) = sqlx::query_as(
        "select r.rolsuper, r.rolbypassrls,
                exists(select from pg_database d where d.datname = current_database()
                         and pg_has_role(current_user, d.datdba, 'member'))
                or exists(select from pg_class c where c.relkind in ('r', 'p') and c.relowner = r.oid),
                current_user::text
           from pg_roles r where r.rolname = current_user",
    )
    .fetch_one(&mut connection)
    .await
    .map_err(|e| StartFault::database(doing, &e))?;
    let _ = connection.close().await;
    let may = match (superuser, bypasses, owns) {
        (true, _, _) => "is a superuser",
        (_, true, _) => "passes row-level security by",
        (_, _, true) => "owns the database or tables",
        _ => return Ok(()),
    };
    Err(StartFault::RoleTooStrong { role, may })
}
