//! Two salons in one database: each sees and touches its own rows alone, through no reference of any table.

use sqlx::{AssertSqlSafe, Row as _};

use super::stage::{Event, Hand, House, Stage};

#[tokio::test]
async fn the_app_role_is_plain_and_becomes_nobody_else() {
    let stage = Stage::open().await;
    let mut app = stage.app().await;
    let plain = app
        .number("select count(*) from pg_roles where rolname = current_user and rolname = 'rinsebell_app' and not rolsuper and not rolbypassrls
            and not rolcreatedb and not rolcreaterole and not rolreplication")
        .await;
    assert_eq!(plain, 1);
    let member = app.number("select count(*) from pg_auth_members m join pg_roles r on r.oid = m.member where r.rolname = current_user").await;
    assert_eq!(member, 0);
    for sql in [
        "set role rinsebell_owner",
        "set session authorization rinsebell_owner",
        "set role postgres",
        "set role pg_read_all_data",
        "set session_replication_role = replica",
        "alter role rinsebell_app bypassrls",
        "grant rinsebell_owner to rinsebell_app",
        "create extension dblink",
        "create function f() returns int language sql as 'select 1'",
        "alter table client no force row level security",
        "alter policy salon_only on client using (true)",
        "alter database postgres set rinsebell.salon = '1'",
        "copy client to program 'cat'",
        "select pg_read_file('/etc/hostname')",
        "select lo_import('/etc/hostname')",
    ] {
        let no = app.run(sql).await.expect_err(sql);
        assert!(["42501", "22023", "0LP01"].contains(&no.code.as_str()), "{sql}: {no:?}");
    }
}

/// Every table of the schema that has a salon.
async fn tables(hand: &mut Hand) -> Vec<String> {
    sqlx::query("select c.relname::text from pg_class c join pg_attribute a on a.attrelid = c.oid and a.attname = 'salon_id'
        where c.relkind = 'r' and c.relnamespace = 'public'::regnamespace order by 1")
        .fetch_all(&mut hand.conn)
        .await
        .expect("tables")
        .iter()
        .map(|r| r.get(0))
        .collect()
}

#[tokio::test]
async fn without_a_salon_every_table_is_empty_and_with_one_only_its_own() {
    let (stage, other) = Stage::with_stranger().await;
    let mut owner = stage.owner().await;
    let mut app = stage.app().await;
    for table in tables(&mut owner).await {
        let all = owner
            .number(&format!(
                "select count(distinct salon_id) from {table} where salon_id in ({{s}}, {})",
                other.0
            ))
            .await;
        if all < 2 && table != "practice_clock" {
            // Filled by neither house: the test would prove nothing.
            assert!(
                UNFILLED.contains(&table.as_str()),
                "{table} is empty in the test's houses: add a row to full.sql"
            );
            continue;
        }
        for (salon, sees) in [("", 0), ("0", 0), ("-1", 0), (stage.house.0.to_string().as_str(), 1)] {
            app.set_salon(salon).await;
            let seen = app.number(&format!("select count(distinct salon_id) from {table}")).await;
            assert_eq!(seen, sees, "{table} with salon {salon:?}");
        }
        let foreign = app.number(&format!("select count(*) from {table} where salon_id = {}", other.0)).await;
        assert_eq!(foreign, 0, "{table}");
    }
    app.set_salon("").await;
    let no = app.tell(&Event::may("run_started")).await.expect_err("no salon is set");
    assert!(["RB004", "42501"].contains(&no.code.as_str()), "{no:?}");
}

/// Tables the test's houses leave empty.
const UNFILLED: [&str; 0] = [];

#[tokio::test]
async fn a_row_for_another_salon_is_not_written() {
    let (stage, other) = Stage::with_stranger().await;
    let mut owner = stage.owner().await;
    let mut app = Hand::open(&stage.salon.database.app, other).await;
    let first = stage.house;
    for table in tables(&mut owner).await {
        if table == "salon" {
            continue;
        }
        // The first salon's own row, written once more by somebody of the second.
        // What the database works out itself is never written.
        let columns: String = sqlx::query_scalar(AssertSqlSafe(format!(
            "select string_agg(quote_ident(attname), ', ' order by attnum) from pg_attribute
             where attrelid = '{table}'::regclass and attnum > 0 and not attisdropped and attgenerated = ''"
        )))
        .fetch_one(&mut owner.conn)
        .await
        .unwrap_or_else(|e| panic!("{table}: {e}"));
        let copy = format!(
            "insert into {table} ({columns}) overriding system value
             select {columns} from jsonb_populate_record(null::{table}, '{{row}}')"
        );
        let row: String = sqlx::query_scalar(AssertSqlSafe(format!(
            "select to_jsonb(t)::text from {table} t where salon_id = {} limit 1",
            first.0
        )))
        .fetch_one(&mut owner.conn)
        .await
        .unwrap_or_else(|e| panic!("{table}: {e}"));
        let copy = copy.replace("{row}", &row.replace('\'', "''"));
        let done = sqlx::query(AssertSqlSafe(copy)).execute(&mut app.conn).await.expect_err(&table);
        let code = done.as_database_error().and_then(|d| d.code()).unwrap_or_default().to_string();
        assert!(
            ["42501", "RB001", "RB004", "RB006", "RB007", "RB011", "RB012", "RB013", "RB016"]
                .contains(&code.as_str()),
            "{table}: {done}"
        );
    }
    for sql in [
        "update client set name = 'Taken' where client_id = {client}",
        "update booking set state = 'cancelled' where booking_id = {booking}",
        "update skin_test set told_outcome = 'no-reaction' where skin_test_id = {skin_test}",
        "delete from qualification where person_id = {stylist}",
        "delete from hours where person_id = {stylist}",
        "update person set pin_hash = null where person_id = {stylist}",
        "update salon set name = 'Taken' where salon_id = {s}",
    ] {
        let n = app.run(&first.fill(sql)).await.expect("no error, no row");
        assert_eq!(n, 0, "{sql}");
    }
    let moved = app
        .run(&other.fill("update client set salon_id = 1 where client_id = {client}"))
        .await
        .expect_err("salon_id stands");
    assert_eq!(moved.code, "42501");
}

/// Foreign keys: table, constraint, its columns but for the salon's, as (column, …).
async fn references(hand: &mut Hand) -> Vec<(String, String, Vec<String>)> {
    sqlx::query(
        "select c.conrelid::regclass::text, c.conname::text,
           array(select a.attname::text from unnest(c.conkey) with ordinality k(n, i) join pg_attribute a on a.attrelid = c.conrelid and a.attnum = k.n
             where a.attname <> 'salon_id' order by i)
         from pg_constraint c where c.contype = 'f' and c.connamespace = 'public'::regnamespace and array_length(c.conkey, 1) > 1 order by 1, 2",
    )
    .fetch_all(&mut hand.conn)
    .await
    .expect("references")
    .iter()
    .map(|r| (r.get(0), r.get(1), r.get(2)))
    .collect()
}

/// The second salon's row is pointed at the first salon's person, client, run, booking …: through every
/// reference of every table, as the owner (foreign-key checks bypass row-level security).
#[tokio::test]
async fn no_reference_leads_into_another_salon() {
    let (stage, other) = Stage::with_stranger().await;
    let mut owner = stage.owner().await;
    let all = references(&mut owner).await;
    assert!(all.len() > 60, "{} references", all.len());
    for (table, name, columns) in all {
        let present = columns.iter().map(|c| format!("{c} is not null")).collect::<Vec<_>>().join(" and ");
        let set = columns.iter().map(|c| format!("{c} = f.{c}")).collect::<Vec<_>>().join(", ");
        let here = columns.iter().map(|c| format!("t.{c} is not null")).collect::<Vec<_>>().join(" and ");
        let differ = columns.iter().map(|c| format!("t.{c} <> f.{c}")).collect::<Vec<_>>().join(" or ");
        owner.must("begin").await;
        owner.must("set constraints all immediate").await;
        let sql = format!(
            "update {table} t set {set} from (select * from {table} where salon_id = {} and {present} limit 1) f
             where t.ctid = (select t.ctid from {table} t where t.salon_id = {} and {here} and ({differ}) limit 1)",
            stage.house.0, other.0
        );
        match owner.run(&sql).await {
            Ok(n) => panic!(
                "{table}.{name}: {n} rows led into another salon, or no row tried it (add one to full.sql)"
            ),
            Err(no) => assert!(["23503", "RB007"].contains(&no.code.as_str()), "{table}.{name}: {no:?}"),
        }
        owner.must("rollback").await;
    }
}

#[tokio::test]
async fn the_second_salons_events_do_not_reach_the_firsts_run() {
    let (stage, other) = Stage::with_stranger().await;
    let mut app = Hand::open(&stage.salon.database.app, other).await;
    let first = stage.house;
    for (salon, run) in [(first.0, first.id("other_run")), (other.0, first.id("other_run"))] {
        let no = app
            .run(&format!(
                "insert into run_event (salon_id, run_id, seq, by, kind) values ({salon}, {run}, 1, {}, 'run_started')",
                first.id("stylist")
            ))
            .await
            .expect_err("not its run");
        assert_eq!(no.code, "RB004");
    }
    for sql in [
        "insert into consult (salon_id, client_id, taken_by, black_henna_reaction, black_henna, scalp, scratched_within_3_days, pregnant, medication,
           scalp_treatment, home_colour, silver_in_history) values ({s}, {theirs}, {stylist}, false, false, 'intact', false, false, false, false, 'never', false)",
        "insert into booking (salon_id, client_id, purpose, span, made_by) values ({s}, {theirs}, 'service', '[2031-03-01 10:00Z, 2031-03-01 12:00Z)', {reception})",
    ] {
        let theirs = first.id("client").to_string();
        let no = app.run(&sql.replace("{theirs}", &theirs)).await.expect_err("not its client");
        assert_eq!(no.code, "23503", "{no:?}");
    }
    assert_eq!(
        House(other.0).id("run") - first.id("run"),
        (other.0 - first.0) * 1_000_000,
        "ids lie far apart"
    );
}
