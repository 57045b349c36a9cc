//! Nobody is called by two at once, in quiet hours or against their wish: at the screens and in the database.

use std::time::Duration;

use rinsebell::domain::call::Quiet;
use rinsebell::domain::ids::ClientId;
use sqlx::{AssertSqlSafe, Connection as _, PgConnection};
use time::Weekday;
use time::macros::datetime;

use crate::support::{Answer, Browser, Salon};

/// Thursday 14 May 2026, 10:00 in Paris.
async fn salon_in_may() -> Salon {
    let salon = Salon::open().await;
    salon.set_clock(datetime!(2026-05-14 08:00 UTC)).await;
    salon
}

async fn take(desk: &mut Browser, client: ClientId) -> Answer {
    let once = rinsebell::secret::new_uuid();
    desk.post(&format!("/clients/{client}/call"), &[("once", &once)]).await
}

async fn note(desk: &mut Browser, client: ClientId, fields: &[(&str, &str)]) -> Answer {
    let once = rinsebell::secret::new_uuid();
    let mut all = vec![("once", once.as_str())];
    all.extend_from_slice(fields);
    desk.post(&format!("/clients/{client}/followups"), &all).await
}

#[tokio::test]
async fn the_second_to_call_is_told_who_has_the_call() {
    let salon = salon_in_may().await;
    let juno = salon.due_client("Juno Ashby", "2026-02-20").await;
    let other = salon.due_client("Ysolde Marr", "2025-12-20").await;
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    let mut office = salon.seat("Office", "office", salon.staff.manager).await;
    let mut news = salon.app.hub.listen();
    let taken = take(&mut desk, juno).await;
    assert_eq!((taken.status, taken.location), (303, format!("/clients/{juno}/followups")), "{}", taken.body);
    let heard = tokio::time::timeout(Duration::from_secs(5), async {
        loop {
            if matches!(news.recv().await, Ok(rinsebell::live::hub::News::Changed { topic, .. }) if topic == "regrowth")
            {
                break;
            }
        }
    });
    heard.await.expect("the other stations hear of it");
    assert!(
        desk.get(&format!("/clients/{juno}/followups")).await.body.contains("This call is yours until 10:15")
    );
    let list = office.get("/regrowth").await.body;
    assert!(list.contains("Joss Ember is calling, until 10:15") && list.contains("Call Ysolde"), "{list}");
    let second = take(&mut office, juno).await;
    assert_eq!(second.status, 409);
    assert!(
        second.body.contains("Joss Ember is calling since 10:00; free again at 10:15"),
        "{}",
        second.body
    );
    let noted = note(&mut office, juno, &[("outcome", "spoke"), ("note", "kept words")]).await;
    assert_eq!(noted.status, 422, "what the second one says came of a call");
    assert!(
        noted.body.contains("Somebody else is calling this client.") && noted.body.contains("kept words")
    );
    // The client who rings by themself is heard whoever has the call.
    let rang = note(&mut office, juno, &[("outcome", "spoke"), ("way", "they-called")]).await;
    assert_eq!(rang.status, 303, "{}", rang.body);
    // Taking another call puts the first one down.
    assert_eq!(take(&mut desk, other).await.status, 303);
    assert_eq!(take(&mut office, juno).await.status, 303, "free again");
    // Noted: put down.
    assert_eq!(note(&mut desk, other, &[("outcome", "no-answer")]).await.status, 303);
    assert!(office.get("/regrowth?group=waiting").await.body.contains("Ysolde Marr"));
    salon.advance(Duration::from_secs(16 * 60)).await;
    let mut desk = salon.seat("Front desk 2", "desk", salon.staff.reception).await;
    assert_eq!(take(&mut desk, juno).await.status, 303, "a forgotten call ends by itself");
}

#[tokio::test]
async fn of_two_who_call_at_the_same_instant_one_does() {
    let salon = salon_in_may().await;
    let juno = salon.due_client("Juno Ashby", "2026-02-20").await;
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    let mut office = salon.seat("Office", "office", salon.staff.manager).await;
    for round in 0..5 {
        let (a, b) = tokio::join!(take(&mut desk, juno), take(&mut office, juno));
        let mut both = [a.status, b.status];
        both.sort_unstable();
        assert_eq!(both, [303, 409], "round {round}");
        let live: i64 = sqlx::query_scalar("select count(*) from call_claim where span @> rinsebell_now()")
            .fetch_one(&salon.owner)
            .await
            .unwrap();
        assert_eq!(live, 1);
        for browser in [&mut desk, &mut office] {
            let once = rinsebell::secret::new_uuid();
            browser.post(&format!("/clients/{juno}/call/end"), &[("once", &once)]).await;
        }
    }
}

#[tokio::test]
async fn in_quiet_hours_nobody_is_called_and_what_began_before_is_noted() {
    let salon = salon_in_may().await;
    let juno = salon.due_client("Juno Ashby", "2026-02-20").await;
    salon.set_clock(datetime!(2026-05-14 18:58 UTC)).await;
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    assert_eq!(take(&mut desk, juno).await.status, 303, "20:58 in Paris");
    salon.set_clock(datetime!(2026-05-14 19:02 UTC)).await;
    let mut office = salon.seat("Office", "office", salon.staff.manager).await;
    let list = office.get("/regrowth").await.body;
    assert!(list.contains("Quiet hours: nobody is called from 21:00 to 08:00."), "{list}");
    let noted = note(&mut desk, juno, &[("outcome", "no-answer")]).await;
    assert_eq!(
        (noted.status, noted.location.as_str()),
        (303, format!("/regrowth?noted={juno}").as_str()),
        "begun in time"
    );
    let late = take(&mut office, juno).await;
    assert_eq!(late.status, 422);
    assert!(late.body.contains("quiet hours"), "{}", late.body);
    let late = note(&mut office, juno, &[("outcome", "spoke")]).await;
    assert_eq!(late.status, 422, "a call in quiet hours is not noted as made");
    assert_eq!(note(&mut office, juno, &[("outcome", "spoke"), ("way", "they-called")]).await.status, 303);
}

#[tokio::test]
async fn a_next_step_needs_its_day_and_is_shown() {
    let salon = salon_in_may().await;
    let juno = salon.due_client("Juno Ashby", "2026-02-20").await;
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    let none =
        note(&mut desk, juno, &[("outcome", "spoke"), ("next_step", "test"), ("note", "mornings")]).await;
    assert_eq!(none.status, 422);
    assert!(none.body.contains("Write the day for the next step.") && none.body.contains("mornings"));
    let fields = [("outcome", "spoke"), ("next_step", "test"), ("next_on", "2026-05-18")];
    assert_eq!(note(&mut desk, juno, &fields).await.status, 303);
    let waiting = desk.get("/regrowth?group=waiting").await.body;
    assert!(waiting.contains("14 May: spoke; place or read a test 18 May"), "{waiting}");
    salon.set_clock(datetime!(2026-05-18 08:00 UTC)).await;
    let mut desk = salon.seat("Front desk 2", "desk", salon.staff.reception).await;
    assert!(desk.get("/regrowth").await.body.contains("Juno Ashby"), "its day has come");
}

#[tokio::test]
async fn who_lapsed_lately_is_still_called_and_the_row_says_for_how_long() {
    let salon = salon_in_may().await;
    // Twenty weeks after 20 October is 9 March: 66 days past, eight weeks and more. After 16 September: 100 days past.
    salon.due_client("Ysolde Marr", "2025-10-20").await;
    salon.due_client("Long Gone", "2025-09-16").await;
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    let now = desk.get("/regrowth").await.body;
    let why = "66 days past the latest week, so lapsed: called until 1 Jun for a last try";
    assert!(now.contains(why) && now.contains("Call Ysolde"), "{now}");
    assert!(!now.contains("Long Gone") && now.contains("Nothing noted yet today."), "{now}");
    let lapsed = desk.get("/regrowth?group=lapsed").await.body;
    assert!(lapsed.contains("Ysolde Marr") && lapsed.contains("Long Gone"), "{lapsed}");
    salon.set_clock(datetime!(2026-06-02 08:00 UTC)).await;
    let mut desk = salon.seat("Front desk 2", "desk", salon.staff.reception).await;
    assert!(!desk.get("/regrowth").await.body.contains("Ysolde Marr"), "four weeks are over");
}

#[tokio::test]
async fn a_booking_cancelled_since_is_not_the_last_word_any_more() {
    let salon = crate::bookings::desk_in_may(2, 1).await;
    let juno = salon.due_client("Juno Ashby", "2026-02-19").await;
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    let id = crate::messages::book(&mut desk, juno).await;
    assert!(desk.get("/regrowth").await.body.contains("Noted today: one booking."));
    let page = desk.get(&format!("/bookings/{id}")).await;
    let form =
        [("once", page.field("once")), ("version", page.field("version")), ("reason", "stylist ill".into())];
    let form: Vec<(&str, &str)> = form.iter().map(|(k, v)| (*k, v.as_str())).collect();
    assert_eq!(desk.post(&format!("/bookings/{id}/cancellation"), &form).await.status, 303);
    let list = desk.get("/regrowth").await.body;
    assert!(list.contains("14 May: booked, cancelled since"), "{list}");
}

/// What the database says no with, as the app's own role.
pub async fn says(app: &mut PgConnection, sql: String) -> String {
    match sqlx::raw_sql(AssertSqlSafe(sql)).execute(app).await {
        Ok(done) => format!("done {}", done.rows_affected()),
        Err(sqlx::Error::Database(e)) => match e.constraint() {
            Some(rule) => rule.to_string(),
            None => format!("{} {}", e.code().unwrap_or_default(), e.message()),
        },
        Err(e) => panic!("{e}"),
    }
}

pub async fn app(salon: &Salon) -> PgConnection {
    let mut app = PgConnection::connect_with(&salon.database.app).await.expect("the app's role");
    sqlx::query("select set_config('rinsebell.salon', $1, false)")
        .bind(salon.id.0.to_string())
        .execute(&mut app)
        .await
        .expect("set");
    app
}

#[tokio::test]
async fn the_database_refuses_a_call_that_the_screens_would_not_make() {
    let salon = salon_in_may().await;
    let (s, joss, ondine) = (salon.id, salon.staff.reception, salon.staff.manager);
    let juno = salon.due_client("Juno Ashby", "2026-02-20").await;
    let shy = salon.due_client("Ysolde Marr", "2025-12-20").await;
    sqlx::query("update client set no_contact = true where client_id = $1")
        .bind(shy.0)
        .execute(&salon.owner)
        .await
        .unwrap();
    let mut app = app(&salon).await;
    let claim = |client, by| {
        format!(
            "insert into call_claim (salon_id, client_id, by, span) values ({s}, {client}, {by}, '[2020-01-01, 2020-01-02)')"
        )
    };
    let said = |client, by, way: &str| {
        format!(
            "insert into followup (salon_id, client_id, by, outcome, way) values ({s}, {client}, {by}, 'no-answer', '{way}')"
        )
    };
    assert_eq!(says(&mut app, claim(shy, joss)).await, "RB014 call:no-contact");
    assert_eq!(says(&mut app, said(shy, joss, "we-called")).await, "RB014 call:no-contact");
    assert_eq!(says(&mut app, said(shy, joss, "they-called")).await, "done 1");
    assert_eq!(says(&mut app, claim(juno, joss)).await, "done 1", "its instants are the database's own");
    assert_eq!(says(&mut app, claim(juno, ondine)).await, "call_claim_one_caller");
    assert_eq!(says(&mut app, claim(juno, joss)).await, "call_claim_one_caller");
    assert_eq!(says(&mut app, said(juno, ondine, "we-called")).await, "RB014 call:held");
    assert_eq!(says(&mut app, said(juno, joss, "we-called")).await, "done 1");
    // Never longer, whatever is asked.
    let longer = format!(
        "update call_claim set span = tstzrange(lower(span), lower(span) + interval '14 minutes 59 seconds') where salon_id = {s}"
    );
    assert_eq!(says(&mut app, longer).await, "done 1");
    let over: bool = sqlx::query_scalar("select not span @> rinsebell_now() from call_claim")
        .fetch_one(&salon.owner)
        .await
        .unwrap();
    assert!(over, "a change of a call can only end it");
    assert!(
        says(&mut app, format!("update call_claim set by = {ondine} where salon_id = {s}"))
            .await
            .starts_with("42501")
    );
    assert!(
        says(&mut app, format!("delete from call_claim where salon_id = {s}")).await.starts_with("42501")
    );
    salon.set_clock(datetime!(2026-05-14 20:00 UTC)).await;
    assert_eq!(says(&mut app, claim(juno, joss)).await, "RB014 call:quiet");
    assert_eq!(says(&mut app, said(juno, joss, "we-called")).await, "RB014 call:quiet");
    // Another salon's client, person and row.
    let other = salon.second().await;
    let theirs: i64 =
        sqlx::query_scalar("insert into client (salon_id, name) values ($1, 'Una R.') returning client_id")
            .bind(other.0)
            .fetch_one(&salon.owner)
            .await
            .unwrap();
    salon.set_clock(datetime!(2026-05-14 10:00 UTC)).await;
    let no = says(&mut app, claim(ClientId(theirs), ondine)).await;
    assert_eq!(no, "call_claim_salon_id_client_id_fkey");
    let across = says(
        &mut app,
        format!("insert into due_assignment (salon_id, client_id, by) values ({other}, {theirs}, {ondine})"),
    )
    .await;
    assert!(across.starts_with("42501"), "{across}");
}

/// The database's quiet hours against the domain's, each quarter of an hour of two weeks with a clock change in them.
#[tokio::test]
async fn quiet_hours_are_the_same_in_the_database_and_the_domain() {
    let salon = Salon::open().await;
    let zone = rinsebell::calendar::Zone::find("Europe/Paris").unwrap();
    for (from, until, days) in [(21, 8, vec![]), (12, 14, vec![7_i16]), (9, 9, vec![1, 3]), (0, 23, vec![])] {
        sqlx::query("update salon set quiet_from = make_time($2, 0, 0), quiet_until = make_time($3, 0, 0), quiet_weekdays = $4 where salon_id = $1")
            .bind(salon.id.0)
            .bind(from)
            .bind(until)
            .bind(&days)
            .execute(&salon.owner)
            .await
            .unwrap();
        let quiet = Quiet {
            from_min: from as u16 * 60,
            until_min: until as u16 * 60,
            weekdays: days.iter().map(|n| Weekday::Monday.nth_next(*n as u8 - 1)).collect(),
        };
        let rows: Vec<(time::OffsetDateTime, bool)> = sqlx::query_as(
            "select at, rinsebell_quiet($1, at) from generate_series('2026-03-22 00:07:31Z'::timestamptz, '2026-04-05', '15 minutes') at",
        )
        .bind(salon.id.0)
        .fetch_all(&salon.owner)
        .await
        .unwrap();
        assert_eq!(rows.len(), 1344);
        for (at, held) in rows {
            assert_eq!(
                rinsebell::flow::calls::is_quiet(&zone, &quiet, at),
                held,
                "{at} {from} {until} {days:?}"
            );
        }
    }
}

#[tokio::test]
async fn a_manager_sets_the_quiet_hours() {
    let salon = salon_in_may().await;
    let mut office = salon.seat("Office", "office", salon.staff.manager).await;
    let page = office.get("/team/salon").await;
    let once = page.field("once");
    let mut fields = vec![("once", once.as_str()), ("quiet_weekdays", "7"), ("quiet_weekdays", "4")];
    let kept: Vec<(&str, String)> = [
        "name",
        "zone",
        "emergency_number",
        "eye_wash_place",
        "least_age",
        "patch_valid_days",
        "chairs",
        "basins",
        "hoods",
    ]
    .into_iter()
    .map(|name| (name, page.field(name)))
    .collect();
    fields.extend(kept.iter().map(|(name, value)| (*name, value.as_str())));
    fields.extend([("place", "eu"), ("quiet_from", "20:00"), ("quiet_until", "9:00")]);
    let wrong = office.post("/team/salon", &fields).await;
    assert_eq!(wrong.status, 422, "9:00 is no time as fields send it");
    fields.pop();
    fields.push(("quiet_until", "09:30"));
    let done = office.post("/team/salon", &fields).await;
    assert_eq!(done.status, 303, "{}", done.body);
    let list = office.get("/regrowth").await.body;
    assert!(
        list.contains("Quiet hours: nobody is called from 20:00 to 09:30, on Thursdays and Sundays."),
        "it is Thursday: {list}"
    );
}
