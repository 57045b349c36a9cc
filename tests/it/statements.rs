//! Every SQL literal of the store, prepared as the app role against the schema: no statement is stale, and a list
//! finds its rows by an index.

use std::path::Path;

use sqlx::{AssertSqlSafe, Row as _};

use crate::attack::stage::{Hand, House};
use crate::support::Salon;

/// A literal and where it stands.
struct Statement {
    file: String,
    sql: String,
}

/// The string literals that follow `query(`, `query_as(` or `query_scalar(` (a turbofish between is fine).
fn literals(file: &str, source: &str) -> Vec<Statement> {
    let mut found = Vec::new();
    let mut rest = source;
    while let Some(at) = rest.find("query") {
        rest = &rest[at + 5..];
        let mut after = rest.trim_start_matches("_as").trim_start_matches("_scalar");
        if let Some(turbo) = after.strip_prefix("::<") {
            let mut depth = 1;
            let end = turbo.char_indices().find(|(_, c)| {
                depth += match c {
                    '<' => 1,
                    '>' => -1,
                    _ => 0,
                };
                depth == 0
            });
            after = end.map_or("", |(i, _)| &turbo[i + 1..]);
        }
        let Some(call) = after.strip_prefix('(') else { continue };
        let argument = call.trim_start();
        if let Some(text) = argument.strip_prefix('"') {
            found.push(Statement { file: file.into(), sql: unescaped(text) });
        } else if let Some(raw) = argument.strip_prefix("r#\"") {
            found.push(Statement {
                file: file.into(),
                sql: raw.split("\"#").next().unwrap_or_default().into(),
            });
        } else if file == "demo.rs" && argument.contains("delete from {table} where salon") {
            // The owner's hand alone: takes a demo salon away table by table, names from a constant.
        } else {
            panic!("{file}: SQL that is no literal: query({}", &argument[..argument.len().min(60)]);
        }
    }
    found
}

fn unescaped(text: &str) -> String {
    let mut out = String::new();
    let mut chars = text.chars().peekable();
    while let Some(c) = chars.next() {
        match c {
            '"' => return out,
            '\\' => match chars.next() {
                Some('n') => out.push('\n'),
                Some('\n') => while chars.next_if(|c| c.is_whitespace()).is_some() {},
                Some(other) => out.push(other),
                None => {}
            },
            other => out.push(other),
        }
    }
    panic!("a literal without an end: {out}")
}

fn store() -> Vec<Statement> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/store");
    let mut all = Vec::new();
    let mut folders = vec![folder];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).expect("the store's folder") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let source = std::fs::read_to_string(&path).expect("a source");
                all.extend(literals(&path.file_name().unwrap_or_default().to_string_lossy(), &source));
            }
        }
    }
    all
}

async fn app() -> (Salon, Hand) {
    let salon = Salon::open().await;
    let hand = Hand::open(&salon.database.app, House(salon.id.0)).await;
    (salon, hand)
}

#[tokio::test]
async fn every_statement_of_the_store_fits_the_schema() {
    let (_salon, mut app) = app().await;
    let all = store();
    assert!(all.len() > 60, "{} statements found", all.len());
    let mut stale = Vec::new();
    for (n, statement) in all.iter().enumerate() {
        let prepare = format!("prepare s{n} as {}", statement.sql);
        if let Err(e) = sqlx::raw_sql(AssertSqlSafe(prepare)).execute(&mut app.conn).await {
            stale.push(format!("{}: {e}\n    {}", statement.file, statement.sql));
        }
    }
    assert!(stale.is_empty(), "{}", stale.join("\n"));
}

#[tokio::test]
async fn every_statement_names_its_salon() {
    // Asked before a salon is known, or of the clock alone; what a build ships is every salon's.
    let apart = [
        "rinsebell_salon_ids()",
        "rinsebell_pairing($1)",
        "rinsebell_found_salon(",
        "set_config(",
        "pg_notify(",
        "select rinsebell_now()",
        "select exists (select 1 from salon)",
        "insert into shipped_protocol (",
        // The owner's alone: where a table counts from, and what its references and indexes are.
        "pg_get_serial_sequence(",
        "from pg_constraint",
        "from pg_index",
        // The owner's functions take the salon as their first argument and refuse any but the transaction's own.
        "select rinsebell_merge_client($1",
        "select rinsebell_erase_client($1",
    ];
    let mut wrong = Vec::new();
    for s in store().iter().filter(|s| !apart.iter().any(|a| s.sql.contains(a))) {
        let locks =
            s.sql.starts_with("select rinsebell_lock_") || s.sql.starts_with("select pg_advisory_xact_lock(");
        if !s.sql.contains("salon_id") && !locks {
            wrong.push(format!("{}: names no salon: {}", s.file, s.sql));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// Scans of a plan that look through every row of their salon for a range that another one meets: behind row-level
/// security no index is asked for a function that is not leakproof, and none of ranges is. Bounds on `starts_at` are.
fn only_by_salon(plan: &[String]) -> Vec<String> {
    let mut found = Vec::new();
    for (n, line) in plan.iter().enumerate() {
        let Some((_, node)) = line.split_once("Scan ") else { continue };
        let depth = line.find(|c: char| c != ' ').unwrap_or(0);
        let lines: Vec<&str> = plan[n + 1..]
            .iter()
            // The node's own lines stand deeper; a bitmap's conditions stand in the node below it.
            .take_while(|l| l.find(|c: char| c != ' ').unwrap_or(0) > depth)
            .map(|l| l.trim())
            .collect();
        let ranges = lines.iter().any(|l| l.starts_with("Filter: ") && l.contains("&&"));
        let bounds = |l: &&&str| {
            let parts: Vec<&str> = l.trim_start_matches("Index Cond: ").split(" AND ").collect();
            parts.iter().any(|part| !part.trim_start_matches('(').starts_with("salon_id "))
        };
        let mut conditions = lines.iter().filter(|l| l.starts_with("Index Cond: "));
        // Leave is a few rows a person and lasts up to 400 days: no bound on its beginning would spare any.
        if ranges && !node.contains("on absence") && !conditions.any(|l| bounds(&l)) {
            found.push(node.to_string());
        }
    }
    found
}

#[test]
fn a_range_looked_for_in_every_row_of_a_salon_is_noticed() {
    let plan = |text: &str| text.lines().map(str::to_string).collect::<Vec<_>>();
    let slow = plan(
        "Sort\n  ->  Index Scan using booking_by_client on booking b\n        Index Cond: (salon_id = $1)\n        Filter: (span && x)",
    );
    assert_eq!(only_by_salon(&slow).len(), 1);
    let good = plan(
        "Index Scan using booking_by_start on booking b\n  Index Cond: ((salon_id = $1) AND (starts_at < $3))\n  Filter: (span && x)",
    );
    assert!(only_by_salon(&good).is_empty());
}

/// With sequential scans priced out, a plan that still has one over a salon's table has no index to use.
#[tokio::test]
async fn every_statement_finds_its_rows_by_an_index() {
    let (_salon, mut app) = app().await;
    app.must("set enable_seqscan = off").await;
    app.must("set plan_cache_mode = force_generic_plan").await;
    let mut slow = Vec::new();
    for (n, s) in store().iter().enumerate() {
        let sql = format!("prepare s{n} as {}", s.sql);
        if sqlx::raw_sql(AssertSqlSafe(sql)).execute(&mut app.conn).await.is_err() {
            continue; // the test above says so
        }
        let count: i32 = sqlx::query_scalar(
            "select cardinality(parameter_types) from pg_prepared_statements where name = $1",
        )
        .bind(format!("s{n}"))
        .fetch_one(&mut app.conn)
        .await
        .expect("prepared");
        let arguments =
            if count == 0 { String::new() } else { format!("({})", vec!["null"; count as usize].join(", ")) };
        let explain = format!("explain (costs off) execute s{n}{arguments}");
        let Ok(rows) = sqlx::raw_sql(AssertSqlSafe(explain)).fetch_all(&mut app.conn).await else { continue };
        let plan: Vec<String> = rows.iter().map(|row| row.get(0)).collect();
        for line in &plan {
            if let Some((_, table)) = line.split_once("Seq Scan on ") {
                slow.push(format!("{}: {table}: {}", s.file, s.sql));
            }
        }
        let by_salon = only_by_salon(&plan);
        if !by_salon.is_empty() {
            slow.push(format!("{}: {}: {}", s.file, by_salon.join("; "), s.sql));
        }
    }
    assert!(slow.is_empty(), "{}", slow.join("\n"));
}
