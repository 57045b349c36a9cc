//! Qualified hands stay until the hair is closed, or nothing is started: hours, breaks, other clients.

use rinsebell::domain::ids::RunId;
use rinsebell::domain::run::{Command, Refusal};
use rinsebell::flow::runs::Refused;
use time::OffsetDateTime;

use crate::support::{Salon, Stage, steps_until};

/// Tomorrow at a local time of the salon, so that nothing depends on the hour the test runs at.
async fn tomorrow_at(salon: &Salon, time: &str) -> OffsetDateTime {
    sqlx::query_scalar(
        "select ((clock_timestamp() at time zone 'Europe/Paris')::date + 1 + $1::text::time) at time zone 'Europe/Paris'",
    )
    .bind(time)
    .fetch_one(&salon.owner)
    .await
    .unwrap()
}

/// A service ready for its first pass, some twenty minutes after the time given.
async fn ready(time: &str) -> (Salon, Stage, RunId) {
    let salon = Salon::open().await;
    salon.set_clock(tomorrow_at(&salon, time).await).await;
    let stage = salon.stage().await;
    let run = salon.start_run(stage.plan, salon.staff.stylist).await.unwrap();
    steps_until(&salon, &stage, run, salon.staff.stylist, "dispense").await;
    salon.sign_all(run, salon.staff.stylist, "apply-1", Some(('A', stage.straightener_lot))).await;
    (salon, stage, run)
}

async fn start(salon: &Salon, run: RunId) -> Result<(), Vec<Refusal>> {
    let command = Command::StartStep { step: "apply-1".into() };
    match salon.act(run, salon.staff.stylist, command).await {
        Ok(_) => Ok(()),
        Err(Refused::Reasons(why)) => Err(why),
        Err(other) => panic!("{other:?}"),
    }
}

async fn until(salon: &Salon, run: RunId) -> String {
    let why = start(salon, run).await.expect_err("hands leave");
    let [Refusal::HandsLeaving { until, .. }] = why.as_slice() else { panic!("{why:?}") };
    let local: String =
        sqlx::query_scalar("select to_char($1::timestamptz at time zone 'Europe/Paris', 'HH24:MI')")
            .bind(*until)
            .fetch_one(&salon.owner)
            .await
            .unwrap();
    local
}

#[tokio::test]
async fn closing_time_before_the_hair_is_closed_says_do_not_start() {
    let (salon, _, run) = ready("09:20").await;
    salon.works(salon.staff.stylist, 1..=7, "09:00", "11:00").await;
    assert_eq!(until(&salon, run).await, "11:00");
    // An assistant is no qualified hand.
    salon.works(salon.staff.assistant, 1..=7, "09:00", "20:00").await;
    assert_eq!(until(&salon, run).await, "11:00");
    let mut chair = salon.seat("Chair 2", "chair", salon.staff.stylist).await;
    let page = chair.get(&format!("/runs/{run}")).await;
    assert!(page.body.contains("qualified hands are here until 11:00"), "{}", page.body);
    salon.works(salon.staff.other_stylist, 1..=7, "10:00", "18:00").await;
    start(&salon, run).await.expect("somebody stays");
}

#[tokio::test]
async fn a_break_and_an_absence_count_like_closing_time() {
    let (salon, _, run) = ready("09:20").await;
    salon.works(salon.staff.stylist, 1..=7, "09:00", "11:00").await;
    salon.works(salon.staff.stylist, 1..=7, "12:00", "20:00").await;
    assert_eq!(until(&salon, run).await, "11:00");
    salon.works(salon.staff.other_stylist, 1..=7, "09:00", "20:00").await;
    let from = tomorrow_at(&salon, "10:30").await;
    sqlx::query("insert into absence (salon_id, person_id, span) values ($1, $2, tstzrange($3, $3 + interval '1 hour'))")
        .bind(salon.id.0)
        .bind(salon.staff.other_stylist.0)
        .bind(from)
        .execute(&salon.owner)
        .await
        .unwrap();
    assert_eq!(until(&salon, run).await, "11:00", "from 10:30 to 11:30 the other is away");
    sqlx::query("delete from absence").execute(&salon.owner).await.unwrap();
    start(&salon, run).await.expect("the other stays over the break");
}

#[tokio::test]
async fn the_next_client_counts_only_while_this_one_wants_a_stylist() {
    let (salon, stage, run) = ready("09:20").await;
    salon.works(salon.staff.stylist, 1..=7, "09:00", "20:00").await;
    let other = salon.client("Bette Orrin").await;
    let book = async |client: i64, from: &str, minutes: i32| {
        let from = tomorrow_at(&salon, from).await;
        let id: i64 = sqlx::query_scalar(
            "insert into booking (salon_id, client_id, purpose, protocol, span, made_by)
             values ($1,$2,'service','curl-retouch', tstzrange($3, $3 + make_interval(mins => $4)), $5) returning booking_id",
        )
        .bind(salon.id.0)
        .bind(client)
        .bind(from)
        .bind(minutes)
        .bind(salon.staff.reception.0)
        .fetch_one(&salon.owner)
        .await
        .unwrap();
        sqlx::query("insert into booking_hands (salon_id, booking_id, part_no, person_id, span) select salon_id, booking_id, 1, $2, span from booking where booking_id = $1")
            .bind(id)
            .bind(salon.staff.stylist.0)
            .execute(&salon.owner)
            .await
            .unwrap();
        id
    };
    // Their own booking takes nobody away; nor does another client while the product works alone.
    book(stage.client.0, "09:00", 60).await;
    // Winding comes about 45 minutes after the first pass begins, before ten.
    book(other.0, "10:40", 120).await;
    let at = until(&salon, run).await;
    assert_eq!(at, "10:40", "winding is not done by then");
    sqlx::query("update booking set state = 'cancelled' where client_id = $1")
        .bind(other.0)
        .execute(&salon.owner)
        .await
        .unwrap();
    start(&salon, run).await.expect("nobody else is booked");
}

#[tokio::test]
async fn where_no_hours_are_entered_for_today_nothing_is_refused_and_it_is_said() {
    let (salon, _, run) = ready("22:10").await;
    let mut chair = salon.seat("Chair 2", "chair", salon.staff.stylist).await;
    let page = chair.get(&format!("/runs/{run}")).await;
    assert!(page.body.contains("Until when qualified hands are here is not known"), "{}", page.body);
    start(&salon, run).await.expect("not known is no reason");
}

#[tokio::test]
async fn a_manager_names_hands_that_stay() {
    let (salon, _, run) = ready("09:20").await;
    salon.works(salon.staff.stylist, 1..=7, "09:00", "11:00").await;
    assert_eq!(until(&salon, run).await, "11:00");
    let path = format!("/runs/{run}");
    let mut chair = salon.seat("Chair 2", "chair", salon.staff.stylist).await;
    let page = chair.get(&path).await;
    assert!(!page.body.contains("Name these hands"));
    let (to, known) = (salon.staff.other_stylist.0.to_string(), page.field("known"));
    let hands = format!("{path}/hands");
    let fields = |once: &'static str| [("once", once), ("known", known.as_str()), ("to", to.as_str())];
    let refused = chair.post(&hands, &fields("0190b6a0-0000-7000-8000-000000000001")).await;
    assert_eq!(refused.status, 422, "{}", refused.body);
    assert!(refused.body.contains("a manager"), "{}", refused.body);
    let mut office = salon.seat("Office", "office", salon.staff.manager).await;
    let page = office.get(&path).await;
    assert!(page.body.contains("Name these hands"));
    let named = office.post(&hands, &fields("0190b6a0-0000-7000-8000-000000000002")).await;
    assert_eq!(named.status, 303, "{}", named.body);
    let page = office.get(&path).await;
    assert!(page.body.contains("A manager named hands that stay."), "{}", page.body);
    start(&salon, run).await.expect("named hands stay");
}
