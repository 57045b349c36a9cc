//! Hands and places: no double booking, whoever asks at the same moment.

use std::time::Duration;

use super::stage::{Hand, No, Stage};

/// A house with one basin and two chairs.
async fn house() -> Stage {
    let stage = Stage::open().await;
    let mut owner = stage.owner().await;
    owner
        .must("insert into place_kind (salon_id, kind, count) values ({s}, 'basin', 1), ({s}, 'chair', 2)")
        .await;
    stage
}

/// Books the stylist's hands (`hands`) or a place for a span; the booking is new each time.
async fn book(app: &mut Hand, what: &str, span: &str) -> Result<u64, No> {
    let booking = app
        .number(&format!(
            "insert into booking (salon_id, client_id, purpose, span, made_by) values ({{s}}, {{client}}, 'service', '{span}', {{reception}}) returning booking_id"
        ))
        .await;
    let sql = if what == "hands" {
        format!(
            "insert into booking_hands (salon_id, booking_id, part_no, person_id, span) values ({{s}}, {booking}, 1, {{stylist}}, '{span}')"
        )
    } else {
        format!(
            "insert into booking_place (salon_id, booking_id, part_no, kind, span) values ({{s}}, {booking}, 1, '{what}', '{span}')"
        )
    };
    app.run(&sql).await
}

fn code(done: Result<u64, No>) -> String {
    done.map_or_else(|no| no.code, |n| format!("{n} rows"))
}

#[tokio::test]
async fn hands_and_the_last_basin_are_booked_once() {
    let stage = house().await;
    let mut app = stage.app().await;
    let ten = "[2031-02-03 10:00Z, 2031-02-03 11:00Z)";
    for (what, span, expected) in [
        ("hands", ten, "1 rows"),
        ("hands", "[2031-02-03 10:59Z, 2031-02-03 12:00Z)", "23P01"),
        ("hands", "[2031-02-03 11:00Z, 2031-02-03 12:00Z)", "1 rows"),
        ("basin", ten, "1 rows"),
        ("basin", "[2031-02-03 09:00Z, 2031-02-03 10:01Z)", "RB007"),
        ("basin", "[2031-02-03 11:00Z, 2031-02-03 11:30Z)", "1 rows"),
        ("chair", ten, "1 rows"),
        ("chair", "[2031-02-03 10:30Z, 2031-02-03 11:30Z)", "1 rows"),
        ("chair", "[2031-02-03 09:00Z, 2031-02-03 12:00Z)", "RB007"),
        ("chair", "[2031-02-03 11:00Z, 2031-02-03 12:00Z)", "1 rows"),
    ] {
        assert_eq!(code(book(&mut app, what, span).await), expected, "{what} {span}");
    }
    let hood = book(&mut app, "hood", ten).await;
    assert!(hood.is_err(), "a place the salon does not have");
}

#[tokio::test]
async fn of_two_at_once_one_gets_the_hands_and_one_the_basin() {
    let stage = house().await;
    for (what, expected) in [("hands", "23P01"), ("basin", "RB007")] {
        let (mut one, mut two) = (stage.app().await, stage.app().await);
        one.must("begin").await;
        let span = "[2031-02-03 10:00Z, 2031-02-03 11:00Z)";
        assert_eq!(code(book(&mut one, what, span).await), "1 rows");
        let second = tokio::spawn(async move {
            code(book(&mut two, what, "[2031-02-03 10:30Z, 2031-02-03 11:30Z)").await)
        });
        tokio::time::sleep(Duration::from_millis(150)).await;
        assert!(!second.is_finished(), "{what}: the second waits for the first");
        one.must("commit").await;
        let said =
            tokio::time::timeout(Duration::from_secs(8), second).await.expect("in time").expect("joined");
        assert_eq!(said, expected, "{what}");
    }
}

#[tokio::test]
async fn an_old_snapshot_takes_no_place() {
    let stage = house().await;
    let (mut one, mut two) = (stage.app().await, stage.app().await);
    two.must("begin isolation level repeatable read").await;
    two.number("select count(*) from booking_place where salon_id = {s}").await;
    let span = "[2031-02-03 10:00Z, 2031-02-03 11:00Z)";
    assert_eq!(code(book(&mut one, "basin", span).await), "1 rows");
    assert_eq!(code(book(&mut two, "basin", span).await), "RB002");
}

#[tokio::test]
async fn spans_over_midnight_and_clock_changes_count_on_every_day_they_touch() {
    let stage = house().await;
    let mut app = stage.app().await;
    // Europe/Paris: midnight of 2031-02-04 is 23:00Z; clocks go forward on 30 March 2031 at 01:00Z, back on 26 October.
    for (span, expected) in [
        ("[2031-02-03 22:30Z, 2031-02-03 23:30Z)", "1 rows"),
        ("[2031-02-03 23:15Z, 2031-02-04 01:00Z)", "RB007"),
        ("[2031-02-03 21:00Z, 2031-02-03 22:31Z)", "RB007"),
        ("[2031-02-03 23:30Z, 2031-02-04 00:30Z)", "1 rows"),
        ("[2031-03-30 00:30Z, 2031-03-30 01:30Z)", "1 rows"),
        ("[2031-03-30 01:00Z, 2031-03-30 02:00Z)", "RB007"),
        ("[2031-03-30 01:30Z, 2031-03-30 02:30Z)", "1 rows"),
        // Both are 02:15 to 02:45 on the wall.
        ("[2031-10-26 00:15Z, 2031-10-26 00:45Z)", "1 rows"),
        ("[2031-10-26 01:15Z, 2031-10-26 01:45Z)", "1 rows"),
        ("[2031-10-26 00:30Z, 2031-10-26 01:20Z)", "RB007"),
    ] {
        assert_eq!(code(book(&mut app, "basin", span).await), expected, "{span}");
    }
}

#[tokio::test]
async fn a_cancelled_booking_frees_and_does_not_come_back() {
    let stage = house().await;
    let mut app = stage.app().await;
    let span = "[2031-02-03 10:00Z, 2031-02-03 11:00Z)";
    for what in ["hands", "basin"] {
        assert_eq!(code(book(&mut app, what, span).await), "1 rows");
    }
    assert_eq!(
        app.must("update booking set state = 'cancelled' where salon_id = {s} and state = 'booked'").await,
        2
    );
    for what in ["hands", "basin"] {
        assert_eq!(code(book(&mut app, what, span).await), "1 rows", "{what} is free again");
    }
    assert_eq!(
        code(
            app.run("update booking set state = 'booked' where salon_id = {s} and state = 'cancelled'").await
        ),
        "RB007"
    );
    assert_eq!(
        code(app.run("update booking_hands set live = true where salon_id = {s} and not live").await),
        "23P01"
    );
    assert_eq!(
        code(app.run("update booking_place set live = true where salon_id = {s} and not live").await),
        "RB007"
    );
}

#[tokio::test]
async fn spans_are_half_open_bounded_and_not_empty() {
    let stage = house().await;
    let mut app = stage.app().await;
    for span in [
        "empty",
        "[2031-02-03 10:00Z, 2031-02-03 10:00Z]",
        "[2031-02-03 10:00Z,)",
        "(,2031-02-03 10:00Z)",
        "[2031-02-03 10:00Z, 2031-02-04 10:00Z)",
    ] {
        let no = app
            .run(&format!("insert into booking (salon_id, client_id, purpose, span, made_by) values ({{s}}, {{client}}, 'service', '{span}', {{reception}})"))
            .await
            .expect_err(span);
        assert_eq!(no.words, "booking_span_bound", "{span}");
    }
}
