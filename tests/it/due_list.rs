//! The call list at a salon of real size: read by indexes, a page at a time, soon.

use std::time::Instant;

use sqlx::{AssertSqlSafe, Row as _};
use time::macros::datetime;

use crate::attack::stage::{Hand, House};
use crate::support::Salon;

/// Clients with everything a row looks up: two years of follow-ups, a consult, a measurement, some booked ahead.
const MANY: &str = "
    with c as (insert into client (salon_id, name, curl_group, usual_person_id)
      select $1, 'Client ' || n, (array['tight', 'loose', 'straight'])[1 + n % 3], $2 from generate_series($3::int, $3 + 499) n returning client_id),
    d as (insert into due (salon_id, client_id, protocol, last_on, target_mm, rate_mm, rate_sd, early_on, middle_on, late_on, least_on, latest_on)
      select $1, client_id, 'curl-retouch', l, 25, 0.2 + (client_id % 20) / 100.0, 0.05, l + 70, l + 80, l + 95, l + 70, l + 140
      from c cross join lateral (select date '2026-05-14' - (client_id % 400)::int as l) x returning client_id),
    f as (insert into followup (salon_id, client_id, by, at, outcome)
      select $1, client_id, $2, timestamptz '2026-05-14 08:00Z' - n * interval '91 days' - (client_id % 80) * interval '1 day', 'message-left'
      from c cross join generate_series(0, 7) n returning client_id),
    k as (insert into consult (salon_id, client_id, taken_at, taken_by, black_henna_reaction, black_henna, scalp, scratched_within_3_days,
        pregnant, medication, scalp_treatment, home_colour, silver_in_history)
      select $1, client_id, timestamptz '2026-05-14 08:00Z' - (client_id % 300) * interval '1 day', $2, false, false, 'intact', false, false, false, false, 'never', false from c returning client_id),
    e as (insert into strand_event (salon_id, client_id, seq, on_day, did, mm, sd_mm)
      select $1, client_id, n, date '2026-05-14' - (client_id % 400)::int, 'measure', 20, 2 from c cross join generate_series(1, 6) n returning client_id),
    b as (insert into booking (salon_id, client_id, purpose, protocol, span, made_by)
      select $1, client_id, 'service', 'curl-retouch', tstzrange(at, at + interval '3 hours'), $2
      from c cross join lateral (select timestamptz '2026-05-15 08:00Z' + (client_id % 30) * interval '1 day' as at) x where client_id % 12 = 0 returning client_id)
    select count(*) from d";

async fn big(clients: i32) -> Salon {
    let salon = Salon::open().await;
    salon.set_clock(datetime!(2026-05-14 08:00 UTC)).await;
    salon.open_desk(4, 2).await;
    // Five hundred at a time: each head's own lock is held to the end of its transaction.
    for first in (1..=clients).step_by(500) {
        sqlx::query(MANY)
            .bind(salon.id.0)
            .bind(salon.staff.stylist.0)
            .bind(first)
            .execute(&salon.owner)
            .await
            .expect("many clients");
    }
    sqlx::query("analyze").execute(&salon.owner).await.expect("analysed");
    salon
}

/// The plan that the database itself chooses, with its own figures of the tables: nothing a row looks up is read
/// through, whichever view is asked for.
#[tokio::test]
async fn a_page_of_the_list_is_found_by_indexes_at_five_thousand_clients() {
    let salon = big(5000).await;
    let source = include_str!("../../src/store/due_list.rs");
    let sql =
        source.split("\"with ahead as").nth(1).expect("the list").split("\",\n").next().expect("its end");
    let mut app = Hand::open(&salon.database.app, House(salon.id.0)).await;
    let prepare = format!("prepare l as with ahead as{sql}");
    sqlx::raw_sql(AssertSqlSafe(prepare)).execute(&mut app.conn).await.expect("prepared");
    app.must("set plan_cache_mode = force_custom_plan").await;
    let views = [
        ("'2026-02-19'", "null", "false", "null", "''"),
        ("null", "'overdue'", "false", "null", "''"),
        ("null", "null", "true", "null", "''"),
        ("null", "null", "false", "true", "''"),
        ("'2026-03-19'", "null", "false", "null", "'client 42'"),
    ];
    for (from, stage, booked, said, text) in views {
        let run = format!(
            "explain (costs off) execute l({}, 'Europe/Paris', '2026-05-14 08:00Z', '2026-05-14', '2026-07-09', '2026-03-19',
               array['curl-retouch'], array['2026-05-16']::date[], {from}, {stage}, {booked}, {said}, null, null, null, null, {text}, -1, 0, 0)",
            salon.id
        );
        let rows = sqlx::raw_sql(AssertSqlSafe(run)).fetch_all(&mut app.conn).await.expect("explained");
        let plan: Vec<String> = rows.iter().map(|r| r.get::<String, _>(0)).collect();
        let large = ["client", "followup", "consult", "strand_event"];
        let through: Vec<&String> = plan
            .iter()
            .filter(|l| large.iter().any(|table| l.contains(&format!("Seq Scan on {table} "))))
            .collect();
        assert!(
            through.is_empty(),
            "{from} {stage} {booked} {said} {text}: {through:?} in\n{}",
            plan.join("\n")
        );
    }
}

#[tokio::test]
async fn the_list_of_five_thousand_clients_answers_soon() {
    let salon = big(5000).await;
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    let mut took = Vec::new();
    for _ in 0..5 {
        for path in [
            "/regrowth",
            "/regrowth?group=lapsed",
            "/regrowth?group=blocked",
            "/regrowth?group=waiting",
            "/regrowth?text=client%204",
        ] {
            let began = Instant::now();
            let page = desk.get(path).await;
            took.push((began.elapsed(), path));
            assert_eq!(page.status, 200, "{path}");
            let rows = page.body.matches("aria-label=\"window ").count();
            // Who waits stands far apart in the order: a page ends when enough was looked through.
            let whole = if path.ends_with("waiting") { 10..=50 } else { 50..=50 };
            assert!(whole.contains(&rows), "{path}: {rows} rows");
        }
    }
    took.sort();
    // The unoptimised program on a busy machine; the release takes a small part of it.
    let (slowest, path) = took[took.len() - 1];
    assert!(slowest.as_millis() < 3000, "{path} took {slowest:?}; the middle one {:?}", took[took.len() / 2]);
    println!("5,000 clients: middle {:?}, slowest {slowest:?} ({path})", took[took.len() / 2].0);
}
