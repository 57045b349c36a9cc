//! Who is due, in what order they are reached, and what reception may know of it.

use rinsebell::domain::ids::ClientId;
use time::macros::{date, datetime};

use crate::support::{Browser, Salon};

/// Thursday 14 May 2026, 10:00 in Paris.
async fn salon_in_may() -> Salon {
    let salon = Salon::open().await;
    salon.set_clock(datetime!(2026-05-14 08:00 UTC)).await;
    salon
}

async fn note(desk: &mut Browser, client: ClientId, fields: &[(&str, &str)]) -> crate::support::Answer {
    let path = format!("/clients/{client}/followups");
    let once = desk.get(&path).await.field("once");
    let mut all = vec![("once", once.as_str())];
    all.extend_from_slice(fields);
    desk.post(&path, &all).await
}

/// By hand from the formulas of the design (Δ_p = T/(μ − σ·Φ⁻¹(p))), Φ⁻¹(0.9) = 1.2815515655 from a printed table.
/// Prior 0.280 ± 0.050 mm a day: Int J Dermatol 2005;44 Suppl 1:6-9. Target 25 mm, 10 and 20 weeks: common practice, no source.
#[tokio::test]
async fn an_unmeasured_client_is_due_by_the_published_rate() {
    let salon = salon_in_may().await;
    let client = salon.client("Amabel Thorne").await;
    assert_eq!(salon.refresh_due(client).await, None, "nothing was done on this head");
    salon.strand_event(client, "2026-02-26", "apply", None).await;
    let due = salon.refresh_due(client).await.expect("due");
    assert_eq!(due.protocol, "curl-retouch");
    // 25/0.34408 = 72.66; 25/0.28 = 89.29; 25/0.21592 = 115.78; each day begun counts.
    assert_eq!(due.early_on, date!(2026 - 05 - 10));
    assert_eq!(due.middle_on, date!(2026 - 05 - 27));
    assert_eq!(due.late_on, Some(date!(2026 - 06 - 22)));
    assert_eq!((due.least_on, due.latest_on), (date!(2026 - 05 - 07), date!(2026 - 07 - 16)));
}

/// precision = 1/0.05² + 91²/2² = 2470.25; mean = (0.28·400 + 91·30/4)/2470.25 = 0.321627; sd = 0.020120.
#[tokio::test]
async fn a_measurement_moves_the_window_and_narrows_it() {
    let salon = salon_in_may().await;
    let client = salon.client("Coralie Beck").await;
    salon.strand_event(client, "2025-11-27", "apply", None).await;
    salon.strand_event(client, "2026-02-26", "measure", Some(30.0)).await;
    salon.strand_event(client, "2026-02-26", "apply", None).await;
    let due = salon.refresh_due(client).await.expect("due");
    assert!((due.rate_mm - 0.321_627).abs() < 1e-5 && (due.rate_sd - 0.020_120).abs() < 1e-5);
    // 25/0.347412 = 71.96; 25/0.321627 = 77.73; 25/0.295842 = 84.50.
    assert_eq!(due.early_on, date!(2026 - 05 - 09));
    assert_eq!(due.middle_on, date!(2026 - 05 - 15));
    assert_eq!(due.late_on, Some(date!(2026 - 05 - 22)));
}

#[tokio::test]
async fn the_list_says_how_many_to_reach_and_moves_whoever_was_reached() {
    let salon = salon_in_may().await;
    let ysolde = salon.due_client("Ysolde Marr", "2025-12-20").await;
    let juno = salon.due_client("Juno Ashby", "2026-02-20").await;
    salon.due_client("Amabel Thorne", "2026-02-26").await;
    salon.due_client("Renske Vale", "2026-05-02").await;
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    let page = desk.get("/regrowth").await;
    assert_eq!(page.status, 200, "{}", page.body);
    assert!(page.body.contains("<h1>Three to reach today</h1>"), "{}", page.body);
    assert!(page.body.contains("5 days past the latest week"), "20 weeks after 20 December is 9 May");
    assert!(
        page.body.contains("Call Ysolde")
            && page.body.contains("almost surely")
            && page.body.contains("maybe")
    );
    assert!(!page.body.contains("Renske"), "her window opens in July");

    let done = note(&mut desk, juno, &[("outcome", "message-left"), ("note", "rings back")]).await;
    assert_eq!((done.status, done.location.as_str()), (303, "/regrowth"), "{}", done.body);
    note(&mut desk, ysolde, &[("outcome", "no-contact-wanted")]).await;
    let page = desk.get("/regrowth").await.body;
    assert!(page.contains("<h1>One to reach today</h1>"), "{page}");
    let at = |what: &str| page.find(what).unwrap_or_else(|| panic!("no {what} in {page}"));
    assert!(at("Waiting for an answer") < at("Juno Ashby") && at("Juno Ashby") < at("Held back"));
    assert!(at("Held back") < at("Change the wish"));
    assert!(page.contains("14 May: message left") && page.contains("Joss Ember: rings back"));

    // A message is left four days, then it is tried again.
    salon.set_clock(datetime!(2026-05-18 08:00 UTC)).await;
    let mut desk = salon.seat("Front desk 2", "desk", salon.staff.reception).await;
    assert!(desk.get("/regrowth").await.body.contains("Two to reach today"));
    note(&mut desk, ysolde, &[("outcome", "contact-again")]).await;
    assert!(desk.get("/regrowth").await.body.contains("Three to reach today"));
}

#[tokio::test]
async fn a_note_that_is_not_whole_comes_back_with_everything_typed() {
    let salon = salon_in_may().await;
    let client = salon.due_client("Juno Ashby", "2026-02-20").await;
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    let none = note(&mut desk, client, &[("note", "a word")]).await;
    assert_eq!(none.status, 422);
    assert!(none.body.contains("a word") && none.body.contains("Choose what came of it."));
    for next_on in ["", "2026-05-14", "2029-01-01", "31 May"] {
        let later =
            note(&mut desk, client, &[("outcome", "later"), ("next_on", next_on), ("note", "kept")]).await;
        assert_eq!(later.status, 422, "{next_on}");
        assert!(later.body.contains("kept"));
    }
    let long = "w".repeat(501);
    assert_eq!(note(&mut desk, client, &[("outcome", "spoke"), ("note", &long)]).await.status, 422);
    assert_eq!(
        note(&mut desk, client, &[("outcome", "booked")]).await.status,
        422,
        "only a booking says booked"
    );
    let later = note(&mut desk, client, &[("outcome", "later"), ("next_on", "2026-06-02")]).await;
    assert_eq!(later.status, 303);
    let page = desk.get("/regrowth").await.body;
    assert!(page.contains("later, from 2 Jun") && page.contains("Nobody to reach today"), "{page}");
}

#[tokio::test]
async fn a_note_sent_twice_is_kept_once() {
    let salon = salon_in_may().await;
    let client = salon.due_client("Juno Ashby", "2026-02-20").await;
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    let path = format!("/clients/{client}/followups");
    let once = desk.get(&path).await.field("once");
    for _ in 0..2 {
        assert_eq!(desk.post(&path, &[("once", &once), ("outcome", "no-answer")]).await.status, 303);
    }
    let kept: i64 =
        sqlx::query_scalar("select count(*) from followup").fetch_one(&salon.owner).await.unwrap();
    assert_eq!(kept, 1);
}

#[tokio::test]
async fn reception_learns_that_a_stylist_looks_first_and_not_what_was_found() {
    // The stage is set around the clock's own today.
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    salon.refresh_due(stage.client).await.expect("due");
    sqlx::query("update plan set verdict = 'refuse' where salon_id = $1")
        .bind(salon.id.0)
        .execute(&salon.owner)
        .await
        .expect("refused");
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    let page = desk.get("/regrowth").await.body;
    assert!(page.contains("Held back") && page.contains("a stylist looks first"), "{page}");
    let main = &page[page.find("<main").unwrap()..];
    for word in ["thio", "hydroxide", "refused", "reacted", "lotion", "consult?"] {
        assert!(!main.contains(word), "{word}");
    }
    let openings = desk.get(&format!("/openings?client={}&protocol=curl-retouch", stage.client)).await.body;
    assert!(
        openings.contains("A stylist looks at this client") && !openings.contains("refused."),
        "{openings}"
    );
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    assert!(chair.get("/regrowth").await.body.contains("plan refused"));
}

#[tokio::test]
async fn who_may_not_follow_up_is_told_so_and_strangers_are_not_there() {
    let salon = salon_in_may().await;
    let client = salon.due_client("Juno Ashby", "2026-02-20").await;
    let mut basin = salon.seat("Basin", "basin", salon.staff.assistant).await;
    assert_eq!(basin.get("/regrowth").await.status, 403);
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    for id in ["7", "x", "99999999999999999999"] {
        assert_eq!(desk.get(&format!("/clients/{id}/followups")).await.status, 404, "{id}");
    }
    let other = salon.second().await;
    let theirs: i64 =
        sqlx::query_scalar("insert into client (salon_id, name) values ($1, 'Una R.') returning client_id")
            .bind(other.0)
            .fetch_one(&salon.owner)
            .await
            .unwrap();
    assert_eq!(desk.get(&format!("/clients/{theirs}/followups")).await.status, 404);
    let fields = [("once", "2b9a1f0e-7c35-4d18-9a60-1f2e3d4c5b6a"), ("outcome", "spoke")];
    assert_eq!(desk.post(&format!("/clients/{theirs}/followups"), &fields).await.status, 404);
    assert_eq!(desk.get(&format!("/clients/{client}/followups")).await.status, 200);
}

#[tokio::test]
async fn a_long_list_is_turned_over_by_deadline() {
    let salon = salon_in_may().await;
    sqlx::query(
        "with c as (insert into client (salon_id, name) select $1, 'Client ' || n from generate_series(1, 230) n returning client_id)
         insert into due (salon_id, client_id, protocol, last_on, target_mm, rate_mm, rate_sd, early_on, middle_on, late_on, least_on, latest_on)
         select $1, client_id, 'curl-retouch', '2026-02-20', 25, 0.28, 0.05, '2026-05-04', '2026-05-21', '2026-06-16', '2026-05-01', '2026-07-10' from c",
    )
    .bind(salon.id.0)
    .execute(&salon.owner)
    .await
    .expect("many");
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    let first = desk.get("/regrowth").await.body;
    assert_eq!(first.matches("aria-label=\"window ").count(), 200);
    let link = first.split("href=\"").find(|l| l.starts_with("/regrowth?after=")).expect("a second page");
    let link = link.split('"').next().unwrap().replace("&amp;", "&").replace("&#38;", "&");
    let second = desk.get(&link).await.body;
    assert_eq!(second.matches("aria-label=\"window ").count(), 30);
    assert_eq!(desk.get("/regrowth?after=soon&after_id=1").await.status, 400);
}
