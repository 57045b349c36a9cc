//! Two connections at once: what is in flight when a step starts is waited for, then seen.

use std::time::Duration;

use super::stage::{Event, Hand, No, Stage};

/// Waits (bounded) until somebody waits for a lock in this database.
async fn until_waiting(watch: &mut Hand) {
    for _ in 0..400 {
        let waiting = watch
            .number("select count(*) from pg_stat_activity where datname = current_database() and wait_event_type = 'Lock'")
            .await;
        if waiting > 0 {
            return;
        }
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    panic!("nobody waited");
}

/// `first` in a transaction left open, then the start on a second connection, then the commit.
async fn start_while(stage: &Stage, event: Option<Event>, sql: &str) -> Result<u64, No> {
    let mut first = stage.app().await;
    let mut watch = Hand::open(&stage.salon.database.superuser, stage.house).await;
    first.must("begin").await;
    if let Some(event) = event {
        first.told(event).await;
    }
    if !sql.is_empty() {
        assert_eq!(first.must(sql).await, 1, "{sql}");
    }
    let mut second = stage.app().await;
    let seq = second
        .number("select max(seq)::bigint + 1 from run_event where salon_id = {s} and run_id = {run}")
        .await;
    // A step that takes the next free number, as a fact in flight may take this one.
    let start = tokio::spawn(async move {
        let event = Event { seq: Some(seq as i32), ..Event::start("apply") };
        let first = second.tell(&event).await;
        if first == Ok(0) { second.tell(&Event { seq: Some(seq as i32 + 1), ..event }).await } else { first }
    });
    until_waiting(&mut watch).await;
    assert!(!start.is_finished(), "the start waits");
    first.must("commit").await;
    tokio::time::timeout(Duration::from_secs(10), start).await.expect("in time").expect("joined")
}

fn words(done: Result<u64, No>) -> String {
    done.map_or_else(|no| no.words, |n| format!("{n} rows"))
}

#[tokio::test]
async fn a_stop_in_flight_refuses_the_start() {
    let stage = Stage::ready().await;
    let done = start_while(&stage, Some(Event::fact("stop_recorded", "{}")), "").await;
    assert_eq!(words(done), "run:stopped");
}

#[tokio::test]
async fn a_failed_scalp_reading_in_flight_refuses_the_start() {
    let stage = Stage::ready().await;
    let done = start_while(&stage, Some(Event::sign("scalp", "red", "fails", "apply")), "").await;
    assert_eq!(words(done), "scalp:failed");
}

#[tokio::test]
async fn a_positive_patch_test_in_flight_refuses_the_start() {
    let stage = Stage::ready().await;
    let told =
        "update skin_test set told_outcome = 'blister' where salon_id = {s} and skin_test_id = {skin_test}";
    assert_eq!(words(start_while(&stage, None, told).await), "patch-test:reaction");
}

#[tokio::test]
async fn a_reading_of_another_products_patch_test_in_flight_refuses_the_start() {
    let stage = Stage::ready().await;
    let mut owner = stage.owner().await;
    owner
        .must("insert into skin_test (salon_id, skin_test_id, client_id, product_id, lot_id, formula, place, placed_at, placed_by) values
            ({s}, {skin_test} + 1000, {client}, {lotion}, {other_lot}, 1, 'left-inner-elbow', rinsebell_now() - interval '3 days', {stylist})")
        .await;
    let read = "update skin_test set outcome = 'swelling', read_at = rinsebell_now(), read_by = {stylist} where salon_id = {s} and skin_test_id = {skin_test} + 1000";
    assert_eq!(words(start_while(&stage, None, read).await), "patch-test:reaction");
}

#[tokio::test]
async fn a_consult_with_a_reaction_in_flight_refuses_the_start() {
    let stage = Stage::ready().await;
    let consult = "insert into consult (salon_id, client_id, taken_by, reaction_families, black_henna_reaction, black_henna, scalp, scratched_within_3_days,
          pregnant, medication, scalp_treatment, home_colour, silver_in_history)
        values ({s}, {client}, {stylist}, '{thio}', false, false, 'intact', false, false, false, false, 'never', false)";
    assert_eq!(words(start_while(&stage, None, consult).await), "consult:past-reaction");
}

#[tokio::test]
async fn a_failed_strand_test_or_something_put_on_in_flight_refuses_the_start() {
    let stage = Stage::ready().await;
    let failed = "insert into hair_test (salon_id, client_id, kind, product_id, formula, place, minutes, curl_formed, wet_stretch, gummy, passed, done_by)
        values ({s}, {client}, 'strand', {product}, 1, 'worst-place', 15, true, 'breaks', false, false, {stylist})";
    assert_eq!(words(start_while(&stage, None, failed).await), "strand-test:not-held");
    let stage = Stage::ready().await;
    let put_on =
        "insert into strand_event (salon_id, client_id, seq, on_day, did, family, zone, known) values
        ({s}, {client}, 2, rinsebell_now()::date, 'apply', 'lightener', 'root-to-end', 'told')";
    assert_eq!(words(start_while(&stage, None, put_on).await), "strand-test:not-held");
}

#[tokio::test]
async fn another_clients_stop_is_not_waited_for() {
    let stage = Stage::ready().await;
    let mut first = stage.app().await;
    first.told(Event { run: "other_run", ..Event::may("run_started") }).await;
    first.must("begin").await;
    first.told(Event { run: "other_run", ..Event::fact("stop_recorded", "{}") }).await;
    let mut second = stage.app().await;
    let done = tokio::time::timeout(Duration::from_secs(3), second.tell(&Event::start("apply")))
        .await
        .expect("at once");
    assert_eq!(words(done), "1 rows");
    first.must("commit").await;
}

#[tokio::test]
async fn of_two_starts_at_the_same_number_one_is_written() {
    let stage = Stage::ready().await;
    let mut one = stage.app().await;
    let mut two = stage.app().await;
    let seq = one
        .number("select max(seq)::bigint + 1 from run_event where salon_id = {s} and run_id = {run}")
        .await as i32;
    let event = |by| Event { seq: Some(seq), ..Event::start("apply").by(by) };
    let (first, second) = (event("stylist"), event("other_stylist"));
    let (a, b) = tokio::join!(one.tell(&first), two.tell(&second));
    let mut rows = [a.expect("no error"), b.expect("no error")];
    rows.sort_unstable();
    assert_eq!(rows, [0, 1]);
    let started = one.number("select count(*) from run_event where salon_id = {s} and run_id = {run} and kind = 'step_started'").await;
    assert_eq!(started, 1);
}
