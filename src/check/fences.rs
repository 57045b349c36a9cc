//! The fences between salons and round what is only ever added to, as the database has them.

use crate::migrate::MIGRATOR;
use sqlx::postgres::PgConnection;

/// Tables that are only ever added to by the app.
const ADD_ONLY: [&str; 4] = ["run_event", "ledger", "record_act", "erased_line"];

/// What is wrong with row-level security, grants and the app's role.
pub(super) async fn check(connection: &mut PgConnection) -> Result<Vec<String>, sqlx::Error> {
    let mut found = Vec::new();
    let unfenced: Vec<String> = sqlx::query_scalar(
        "select c.relname::text from pg_class c
          where c.relnamespace = 'public'::regnamespace and c.relkind in ('r', 'p')
            and exists (select from pg_attribute a where a.attrelid = c.oid and a.attname = 'salon_id'
                          and not a.attisdropped)
            and not (c.relrowsecurity and c.relforcerowsecurity
                     and exists (select from pg_policy p where p.polrelid = c.oid and p.polname = 'salon_only'))
          order by 1",
    )
    .fetch_all(&mut *connection)
    .await?;
    found.extend(unfenced.iter().map(|table| format!("Table {table}: no fence between salons.")));

    let widened: Vec<(String, String)> = sqlx::query_as(
        "select t.name, p.privilege
           from unnest($1::text[]) as t(name),
                unnest(array['UPDATE', 'DELETE', 'TRUNCATE', 'REFERENCES', 'TRIGGER']) as p(privilege)
          where to_regclass('public.' || t.name) is not null
            and has_table_privilege('rinsebell_app', 'public.' || t.name, p.privilege)
          order by 1, 2",
    )
    .bind(ADD_ONLY.map(str::to_owned).to_vec())
    .fetch_all(&mut *connection)
    .await?;
    found.extend(widened.iter().map(|(table, right)| {
        format!("Table {table}: the app may {}, and it is only ever added to.", right.to_lowercase())
    }));

    let disabled: Vec<(String, String)> = sqlx::query_as(
        "select tgrelid::regclass::text, tgname::text from pg_trigger t
           join pg_class c on c.oid = t.tgrelid and c.relnamespace = 'public'::regnamespace
          where tgenabled in ('D', 'R') order by 1, 2",
    )
    .fetch_all(&mut *connection)
    .await?;
    found.extend(disabled.iter().map(|(table, guard)| format!("Table {table}: the guard {guard} is off.")));

    let strong: bool = sqlx::query_scalar(
        "select exists(select from pg_roles
                        where rolname = 'rinsebell_app'
                          and (rolsuper or rolbypassrls or rolcreaterole or rolcreatedb or rolreplication))
             or exists(select from pg_class where relowner = to_regrole('rinsebell_app'))",
    )
    .fetch_one(&mut *connection)
    .await?;
    if strong {
        found.push("Role rinsebell_app: may do more than a plain role, or owns a table.".to_owned());
    }
    Ok(found)
}

/// Migrations this build has and the database has not, changed ones, and unfinished ones.
pub(super) async fn check_migrations(connection: &mut PgConnection) -> Result<Vec<String>, sqlx::Error> {
    let there: bool = sqlx::query_scalar("select to_regclass('public._sqlx_migrations') is not null")
        .fetch_one(&mut *connection)
        .await?;
    if !there {
        return Ok(vec!["The database is empty; start rinsebell once.".to_owned()]);
    }
    let applied: Vec<(i64, Vec<u8>, bool)> =
        sqlx::query_as("select version, checksum, success from _sqlx_migrations order by version")
            .fetch_all(&mut *connection)
            .await?;
    let mut found = Vec::new();
    for migration in MIGRATOR.iter() {
        let version = migration.version;
        match applied.iter().find(|(applied, ..)| *applied == version) {
            None => found.push(format!("Migration {version}: not applied yet; start rinsebell once.")),
            Some((_, _, false)) => found.push(format!("Migration {version}: begun and not finished.")),
            Some((_, sum, true)) if sum.as_slice() != migration.checksum.as_ref() => {
                found.push(format!("Migration {version}: changed after it was applied."));
            }
            Some(_) => {}
        }
    }
    let unknown = applied.iter().filter(|(version, ..)| !MIGRATOR.version_exists(*version));
    found.extend(unknown.map(|(version, ..)| format!("Migration {version}: applied by a newer rinsebell.")));
    Ok(found)
}
