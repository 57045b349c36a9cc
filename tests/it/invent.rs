//! The invented salon: the same for the same seed, whole by `check`, plausible, and every guard where it was.

use rinsebell::app::App;
use rinsebell::check;
use rinsebell::cluster::throwaway::TestDatabase;
use rinsebell::demo::invent::{Asked, Invented, invent};
use rinsebell::reference::Reference;
use sqlx::{AssertSqlSafe, PgPool};
use tokio_util::sync::CancellationToken;

use crate::support::Salon;

const SMALL: Asked = Asked { seed: 7, clients: 60, years: 1, staff: 6 };

struct Made {
    owner: PgPool,
    database: TestDatabase,
    done: Invented,
    _app: App,
    _stop: CancellationToken,
}

async fn made(asked: Asked) -> Made {
    let (app, owner, database, stop) = Salon::nobody().await;
    let done = invent(&database.owner, &app, asked).await.unwrap_or_else(|e| panic!("{e}"));
    Made { owner, database, done, _app: app, _stop: stop }
}

/// The tables whose every row the dice decide; people and stations have secrets that differ.
const THROWN: [&str; 20] = [
    "client",
    "strand",
    "consult",
    "consent",
    "hair_reading",
    "booking",
    "booking_hands",
    "booking_place",
    "skin_test",
    "hair_test",
    "plan",
    "plan_product",
    "run",
    "run_step",
    "run_event",
    "dispensed",
    "incident",
    "strand_event",
    "ledger",
    "followup",
];

impl Made {
    async fn number(&self, sql: &'static str) -> f64 {
        sqlx::query_scalar(sql).fetch_one(&self.owner).await.unwrap_or_else(|e| panic!("{sql}: {e}"))
    }

    async fn fingerprints(&self) -> Vec<(String, i64, String)> {
        let mut all = Vec::new();
        for table in THROWN {
            let sql = format!(
                "select '{table}', count(*), coalesce(md5(string_agg(md5(t::text), '' order by t::text)), '') from {table} t"
            );
            all.push(sqlx::query_as(AssertSqlSafe(sql)).fetch_one(&self.owner).await.expect("hashed"));
        }
        all
    }
}

/// Everything of the catalogue that guards: triggers and whether they are on, fences, references, indexes.
async fn guards(owner: &PgPool) -> Vec<String> {
    sqlx::query_scalar(
        "select format('trigger %s %s %s %s', tgrelid::regclass, case when tgisinternal then '-' else tgname end, tgenabled, tgtype)
           from pg_trigger t join pg_class c on c.oid = t.tgrelid and c.relnamespace = 'public'::regnamespace
         union all select format('fence %s %s %s', relname, relrowsecurity, relforcerowsecurity) from pg_class
           where relnamespace = 'public'::regnamespace and relkind = 'r'
         union all select format('constraint %s %s %s %s', conrelid::regclass, conname, pg_get_constraintdef(oid), convalidated)
           from pg_constraint where connamespace = 'public'::regnamespace
         union all select format('index %s %s', indexname, indexdef) from pg_indexes where schemaname = 'public'
         union all select format('grant %s %s %s', table_name, grantee, privilege_type) from information_schema.role_table_grants
           where table_schema = 'public' order by 1",
    )
    .fetch_all(owner)
    .await
    .expect("the catalogue")
}

#[tokio::test]
async fn the_same_seed_invents_the_same_rows_and_another_seed_others() {
    let (one, again) = (made(SMALL).await, made(SMALL).await);
    let rows = one.fingerprints().await;
    assert_eq!(rows, again.fingerprints().await);
    assert_eq!(one.done.counts, again.done.counts);
    for (table, count, _) in &rows {
        // A small salon may have had nothing to follow up.
        assert!(*count > 0 || table == "incident", "{table} is empty");
    }
    let other = made(Asked { seed: 8, ..SMALL }).await.fingerprints().await;
    for (a, b) in rows.iter().zip(&other) {
        assert!(a.2 != b.2 || a.0 == "incident", "{} is the same for another seed", a.0);
    }
}

#[tokio::test]
async fn an_invented_salon_is_whole_and_its_guards_are_where_they_were() {
    let (app, owner, database, _stop) = Salon::nobody().await;
    let before = guards(&owner).await;
    assert!(before.len() > 400, "{}", before.len());
    let done = invent(&database.owner, &app, SMALL).await.unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(guards(&owner).await, before);
    let report = check::run(&database.owner).await.expect("the check runs to its end");
    assert_eq!(report.findings, Vec::<String>::new());
    assert_eq!(report.events, done.counts.events);
    assert_eq!(report.runs, done.counts.services + done.counts.tests);
    // What stood aside stands again: a record does not skip a number, not even in the owner's hand.
    let gap = sqlx::query(
        "insert into run_event (salon_id, run_id, seq, kind, by) select salon_id, run_id, 9000, 'step_finished', started_by from run limit 1",
    );
    let refused = gap.execute(&owner).await.expect_err("a gap").to_string();
    assert!(refused.contains("a gap in the record"), "{refused}");
    let away =
        sqlx::query("update dispensed set lot_id = 999999").execute(&owner).await.expect_err("no such lot");
    assert!(away.to_string().contains("foreign key"), "{away}");
    // And the check looks: one byte of one of its rows is found.
    sqlx::query("update run_event set data = '{\"x\": 1}' where (run_id, seq) = (select run_id, max(seq) from run_event group by 1 order by 1 limit 1)")
        .execute(&owner)
        .await
        .expect("forged");
    let found = check::run(&database.owner).await.expect("checked").findings;
    assert!(found.iter().any(|f| f.contains("its words do not give its hash")), "{found:?}");
}

#[tokio::test]
async fn its_numbers_are_those_of_a_salon() {
    let m = made(Asked { seed: 3, clients: 150, years: 2, staff: 6 }).await;
    let c = m.done.counts;
    assert_eq!(c.clients, 150);
    let visits = c.services + c.tests;
    assert!((3 * 150..20 * 150).contains(&visits), "{visits} visits");
    assert!(c.ahead > 0 && c.missed > 0 && c.tests > c.services / 20, "{c:?}");
    assert!(c.refused * 5 < c.services, "{c:?}");
    // Growth between persons as published (Int J Dermatol 2005;44 Suppl 1:6-9, tight curl): the mean of what the heads'
    // own readings show lies within four standard errors of the published mean.
    let tight = Reference::shipped().growth.find_start("tight").expect("a row").rate;
    let shown = "with seen as (
           select e.client_id, e.mm / (e.on_day - (select max(a.on_day) from strand_event a where a.client_id = e.client_id
             and a.did = 'apply' and a.on_day < e.on_day)) as rate
           from strand_event e join client c using (client_id) where e.did = 'measure' and c.curl_group = 'tight'),
         heads as (select client_id, avg(rate) as rate from seen group by 1)";
    let mean: f64 = sqlx::query_scalar(AssertSqlSafe(format!("{shown} select avg(rate)::float8 from heads")))
        .fetch_one(&m.owner)
        .await
        .expect("a mean");
    let heads: f64 = sqlx::query_scalar(AssertSqlSafe(format!("{shown} select count(*)::float8 from heads")))
        .fetch_one(&m.owner)
        .await
        .expect("a count");
    assert!(heads > 25.0, "{heads}");
    assert!((mean - tight.mean).abs() < 4.0 * (tight.sd + 0.02) / heads.sqrt(), "{mean} of {heads} heads");
    let missed = m
        .number(
            "select count(*) filter (where new_growth_mm is null)::float8 / count(*) from hair_reading r
             where exists (select 1 from hair_reading b where b.client_id = r.client_id and b.taken_at < r.taken_at)",
        )
        .await;
    assert!((0.05..0.4).contains(&missed), "{missed} of the readings measured nothing");
    let due = m.number("select count(*)::float8 from due").await;
    assert!(due > 60.0, "{due} due");
    // Nobody is in two places at once, in the past either.
    let twice = m
        .number(
            "select count(*)::float8 from run a join run b on b.salon_id = a.salon_id and b.client_id = a.client_id and b.run_id > a.run_id
               and b.started_at < a.ended_at and a.started_at < b.ended_at",
        )
        .await;
    assert_eq!(twice, 0.0);
    drop(m.database);
}

#[tokio::test]
async fn a_salon_where_somebody_works_is_never_touched_and_a_demo_is_replaced() {
    let salon = Salon::open().await;
    let people = "select count(*) from person";
    let before: i64 = sqlx::query_scalar(people).fetch_one(&salon.owner).await.expect("counted");
    let refused =
        invent(&salon.database.owner, &salon.app, SMALL).await.expect_err("somebody works here").to_string();
    assert!(refused.contains("Kestrel Row") && refused.contains("another data folder"), "{refused}");
    let after: i64 = sqlx::query_scalar(people).fetch_one(&salon.owner).await.expect("counted");
    assert_eq!(after, before);
    let demo = Salon::demo().await;
    let done = invent(&demo.database.owner, &demo.app, Asked { clients: 5, ..SMALL })
        .await
        .unwrap_or_else(|e| panic!("{e}"));
    assert_eq!((done.taken_away, done.counts.clients), (1, 5));
    let names: Vec<String> =
        sqlx::query_scalar("select name from salon").fetch_all(&demo.owner).await.expect("salons");
    assert_eq!(names, ["Lantern Yard"]);
}
