//! Openings found and booked: no two bookings for one pair of hands or one place too many, whoever is quicker.

use rinsebell::domain::ids::{ClientId, PersonId};
use time::macros::datetime;
use time::{Duration, OffsetDateTime};

use crate::support::{Answer, Browser, Salon};

/// Thursday 14 May 2026, 10:00 in Paris.
pub async fn desk_in_may(chairs: i16, basins: i16) -> Salon {
    let salon = Salon::open().await;
    salon.set_clock(datetime!(2026-05-14 08:00 UTC)).await;
    salon.open_desk(chairs, basins).await;
    salon
}

pub fn search(client: ClientId) -> String {
    format!("/openings?client={client}&protocol=curl-retouch&wanted=2026-05-21&at=10:00&days=7")
}

const HIDDEN: [&str; 11] =
    ["once", "client", "protocol", "wanted", "at", "days", "early", "move", "version", "start", "print"];

/// The nth opening's form, as the page has it.
pub fn form_of(page: &Answer, nth: usize) -> Vec<(&'static str, String)> {
    let start =
        page.body.match_indices("action=\"/bookings\"").nth(nth).unwrap_or_else(|| panic!("{}", page.body)).0;
    let form = Answer {
        status: 200,
        body: page.body[start..].split("</form>").next().unwrap().to_string(),
        location: String::new(),
        headers: Default::default(),
    };
    HIDDEN.map(|name| (name, form.field(name).replace("&#38;", "&"))).to_vec()
}

pub async fn send(desk: &mut Browser, form: &[(&'static str, String)]) -> Answer {
    let fields: Vec<(&str, &str)> = form.iter().map(|(k, v)| (*k, v.as_str())).collect();
    desk.post("/bookings", &fields).await
}

pub fn value<'a>(form: &'a [(&'static str, String)], name: &str) -> &'a str {
    &form.iter().find(|(k, _)| *k == name).unwrap().1
}

async fn book_first(desk: &mut Browser, client: ClientId) -> Answer {
    let page = desk.get(&search(client)).await;
    let form = form_of(&page, 0);
    let done = send(desk, &form).await;
    assert_eq!(done.status, 303, "{}", done.body);
    done
}

pub type Spans = Vec<(OffsetDateTime, OffsetDateTime)>;

pub async fn live_hands(salon: &Salon, person: PersonId) -> Spans {
    sqlx::query_as(
        "select lower(span), upper(span) from booking_hands where person_id = $1 and live order by 1",
    )
    .bind(person.0)
    .fetch_all(&salon.owner)
    .await
    .unwrap()
}

pub async fn live_places(salon: &Salon, kind: &str) -> Spans {
    sqlx::query_as("select lower(span), upper(span) from booking_place where kind = $1 and live order by 1")
        .bind(kind)
        .fetch_all(&salon.owner)
        .await
        .unwrap()
}

/// The most that overlap at one instant, by sorting beginnings and ends: not how the database counts.
pub fn deepest(spans: &Spans) -> i32 {
    let mut edges: Vec<(OffsetDateTime, i32)> = spans.iter().flat_map(|(a, b)| [(*a, 1), (*b, -1)]).collect();
    edges.sort();
    let mut depth = 0;
    edges
        .iter()
        .map(|(_, step)| {
            depth += step;
            depth
        })
        .max()
        .unwrap_or(0)
}

#[tokio::test]
async fn nobody_is_booked_twice_for_one_service_and_whoever_is_asked_for_opens() {
    let salon = desk_in_may(3, 1).await;
    let client = salon.due_client("Amabel Thorne", "2026-02-26").await;
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    assert!(desk.get(&format!("/clients/{client}")).await.body.contains("Nothing is booked."));
    let page = desk.get(&search(client)).await;
    // Two of a day at most, an hour apart: whoever cannot come that day has another.
    let days: Vec<&str> = page
        .body
        .match_indices("<h2>")
        .map(|(i, _)| &page.body[i + 4..i + 14])
        .filter(|d| d.contains("May"))
        .collect();
    let most = days.iter().map(|d| days.iter().filter(|x| x == &d).count()).max().unwrap_or(0);
    assert!(days.len() >= 4 && most == 2, "{days:?}");
    book_first(&mut desk, client).await;
    assert!(desk.get(&format!("/clients/{client}")).await.body.contains("Thu 21 May, 10:00: Curl retouch"));
    let again = desk.get(&search(client)).await;
    assert!(again.body.contains("Booked already:"), "{}", again.body);
    let last = again.body.match_indices("action=\"/bookings\"").count() - 1;
    let refused = send(&mut desk, &form_of(&again, last)).await;
    assert_eq!(refused.status, 409, "{}", refused.body);
    assert!(refused.body.contains("has the same service booked already"), "{}", refused.body);
    // Somebody asked for: nobody else opens.
    let other = salon.due_client("Bette Orr", "2026-02-26").await;
    let with = |person: PersonId| format!("{}&with={person}", search(other));
    // The manager has no hours here.
    let none = desk.get(&with(salon.staff.manager)).await;
    assert!(!none.body.contains("action=\"/bookings\""), "{}", none.body);
    let page = desk.get(&with(salon.staff.stylist)).await;
    let mut form = form_of(&page, 0);
    form.push(("with", salon.staff.stylist.to_string()));
    assert_eq!(send(&mut desk, &form).await.status, 303);
    assert!(!live_hands(&salon, salon.staff.stylist).await.is_empty());
}

#[tokio::test]
async fn an_opening_is_booked_with_its_patch_test_48_hours_or_more_before() {
    let salon = desk_in_may(3, 1).await;
    let client = salon.due_client("Amabel Thorne", "2026-02-26").await;
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    let page = desk.get(&search(client)).await;
    assert_eq!(page.status, 200, "{}", page.body);
    assert!(page.body.contains("Thu 21 May, 10:00 is nearest"), "{}", page.body);
    assert!(page.body.contains("with Tobias Fenn") && page.body.contains("the usual stylist"));
    let done = send(&mut desk, &form_of(&page, 0)).await;
    assert_eq!(done.status, 303, "{}", done.body);
    let (service, visit): (OffsetDateTime, OffsetDateTime) = sqlx::query_as(
        "select lower(s.span), upper(p.span) from booking s join booking p on p.patch_for = s.booking_id",
    )
    .fetch_one(&salon.owner)
    .await
    .unwrap();
    assert_eq!(service, datetime!(2026-05-21 08:00 UTC));
    // trade-rules.md, hold points: placed 48 h or more before.
    assert!(service - visit >= Duration::hours(48));
    let view = desk.get(&done.location).await;
    assert!(
        view.body.contains("Thu 21 May, 10:00 to") && view.body.contains("Patch test Tue 19 May"),
        "{}",
        view.body
    );
    let regrowth = desk.get("/regrowth?group=promised").await.body;
    assert!(regrowth.contains("<b>Thu 21 May, 10:00</b>"), "{regrowth}");
    let words: (String, i64) =
        sqlx::query_as("select outcome, booking_id from followup").fetch_one(&salon.owner).await.unwrap();
    assert_eq!(words, ("booked".into(), done.location_id()));
    let again = desk.get("/day?on=2026-05-19").await.body;
    assert!(again.contains("Amabel Thorne") && again.contains("1 patch test to place"), "{again}");
}

#[tokio::test]
async fn a_patch_test_that_holds_asks_for_no_visit() {
    let salon = desk_in_may(3, 1).await;
    let stage = salon.stage().await;
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    book_first(&mut desk, stage.client).await;
    let visits: i64 = sqlx::query_scalar("select count(*) from booking where purpose = 'patch-test'")
        .fetch_one(&salon.owner)
        .await
        .unwrap();
    assert_eq!(visits, 0);
    // A changed formula voids it.
    sqlx::query("update product set formula = 2 where product_id = $1")
        .bind(stage.lotion.0)
        .execute(&salon.owner)
        .await
        .unwrap();
    let page = desk.get(&search(stage.client)).await.body;
    assert!(page.contains("a visit for the patch test"), "{page}");
}

#[tokio::test]
async fn two_browsers_want_one_opening_and_one_gets_it() {
    let salon = desk_in_may(3, 1).await;
    let one = salon.due_client("Juno Ashby", "2026-02-20").await;
    let two = salon.due_client("Amabel Thorne", "2026-02-20").await;
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.other_stylist).await;
    let first = form_of(&desk.get(&search(one)).await, 0);
    let second = form_of(&chair.get(&search(two)).await, 0);
    assert_eq!(value(&first, "start"), value(&second, "start"));
    let (a, b) = tokio::join!(send(&mut desk, &first), send(&mut chair, &second));
    let mut statuses = [a.status, b.status];
    statuses.sort();
    assert_eq!(statuses, [303, 409], "{} {}", a.body, b.body);
    let lost = if a.status == 409 { &a } else { &b };
    assert!(lost.body.contains("Taken meanwhile") && lost.body.contains("was taken meanwhile"));
    let fresh = form_of(lost, 0);
    let loser = if a.status == 409 { &mut desk } else { &mut chair };
    assert_eq!(send(loser, &fresh).await.status, 303, "what is shown then can be booked");
    for person in [salon.staff.stylist, salon.staff.other_stylist, salon.staff.assistant] {
        assert!(deepest(&live_hands(&salon, person).await) <= 1);
    }
    assert!(deepest(&live_places(&salon, "basin").await) <= 1);
}

#[tokio::test]
async fn while_one_client_processes_the_same_hands_serve_another() {
    let salon = desk_in_may(3, 2).await;
    let one = salon.due_client("Juno Ashby", "2026-02-20").await;
    let two = salon.due_client("Amabel Thorne", "2026-02-20").await;
    sqlx::query("delete from hours where person_id = $1")
        .bind(salon.staff.other_stylist.0)
        .execute(&salon.owner)
        .await
        .unwrap();
    // One qualified stylist; two more pairs of hands for rinsing and winding.
    let nell = {
        let mut s = salon.app.begin(salon.id).await.unwrap();
        let id = rinsebell::store::people::insert(
            &mut s,
            "Nell Aster",
            rinsebell::domain::access::Role::Assistant,
            None,
            None,
        )
        .await
        .unwrap();
        s.commit().await.unwrap();
        id
    };
    salon.works(nell, 1..=6, "09:00", "18:00").await;
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    book_first(&mut desk, one).await;
    let page = desk.get(&search(two).replace("at=10:00", "at=11:00").replace("days=7", "days=0")).await;
    assert_eq!(send(&mut desk, &form_of(&page, 0)).await.status, 303, "{}", page.body);
    let spans: Spans =
        sqlx::query_as("select lower(span), upper(span) from booking where purpose = 'service' order by 1")
            .fetch_all(&salon.owner)
            .await
            .unwrap();
    assert_eq!(deepest(&spans), 2, "the services overlap: {spans:?}");
    let hands = live_hands(&salon, salon.staff.stylist).await;
    assert_eq!(deepest(&hands), 1, "the stylist's hands never do");
    assert!(hands.iter().filter(|(a, _)| *a >= spans[1].0 && *a < spans[0].1).count() >= 1);
}

#[tokio::test]
async fn cancelling_frees_hands_places_and_the_patch_test_visit() {
    let salon = desk_in_may(3, 1).await;
    let client = salon.due_client("Juno Ashby", "2026-02-20").await;
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    let booked = book_first(&mut desk, client).await;
    let page = desk.get(&booked.location).await;
    let path = format!("{}/cancellation", booked.location);
    let (once, version) = (page.field("once"), "1");
    let none = desk.post(&path, &[("once", &once), ("version", version), ("reason", " ")]).await;
    assert_eq!(none.status, 422);
    let old = desk.post(&path, &[("once", &once), ("version", "7"), ("reason", "ill")]).await;
    assert_eq!(old.status, 409);
    let done = desk.post(&path, &[("once", &once), ("version", version), ("reason", "client is ill")]).await;
    assert_eq!(done.status, 303, "{}", done.body);
    let live: i64 = sqlx::query_scalar("select (select count(*) from booking_hands where live) + (select count(*) from booking_place where live)")
        .fetch_one(&salon.owner)
        .await
        .unwrap();
    assert_eq!(live, 0);
    let states: Vec<String> =
        sqlx::query_scalar("select state from booking").fetch_all(&salon.owner).await.unwrap();
    assert_eq!(states, ["cancelled", "cancelled"]);
    assert!(desk.get(&booked.location).await.body.contains("cancelled (client is ill)"));
    let page = desk.get(&search(client)).await;
    assert!(page.body.contains("Thu 21 May, 10:00 is nearest"), "free again");
}

#[tokio::test]
async fn moving_gives_the_old_one_up_and_takes_the_new_one_or_neither() {
    let salon = desk_in_may(3, 1).await;
    let client = salon.due_client("Juno Ashby", "2026-02-20").await;
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    let booked = book_first(&mut desk, client).await;
    let id = booked.location_id();
    // A quarter of an hour later: free only because the old one is given up.
    let page = desk.get(&format!("{}&move={id}", search(client).replace("at=10:00", "at=10:15"))).await;
    let mut form = form_of(&page, 0);
    assert!(value(&form, "start").starts_with("2026-05-21T10:15"), "{form:?}");
    let stale: Vec<_> =
        form.iter().map(|(k, v)| (*k, if *k == "version" { "9".into() } else { v.clone() })).collect();
    assert_eq!(send(&mut desk, &stale).await.status, 409);
    let state: String = sqlx::query_scalar("select state from booking where booking_id = $1")
        .bind(id)
        .fetch_one(&salon.owner)
        .await
        .unwrap();
    assert_eq!(state, "booked", "the old one stays when the new one is refused");
    for field in &mut form {
        if field.0 == "once" {
            field.1 = page.field("once");
        }
    }
    let moved = send(&mut desk, &form).await;
    assert_eq!(moved.status, 303, "{}", moved.body);
    let states: Vec<(String, Option<String>, OffsetDateTime)> = sqlx::query_as(
        "select state, reason, lower(span) from booking where purpose = 'service' order by booking_id",
    )
    .fetch_all(&salon.owner)
    .await
    .unwrap();
    assert_eq!(states[0].0, "cancelled");
    assert_eq!(states[0].1.as_deref(), Some("moved"));
    assert_eq!((states[1].0.as_str(), states[1].2), ("booked", datetime!(2026-05-21 08:15 UTC)));
}

#[tokio::test]
async fn a_booking_is_kept_or_missed_once_it_has_begun() {
    let salon = desk_in_may(3, 1).await;
    let client = salon.due_client("Juno Ashby", "2026-02-20").await;
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    let booked = book_first(&mut desk, client).await;
    let path = format!("{}/outcome", booked.location);
    let once = desk.get(&booked.location).await.field("once");
    let early = desk.post(&path, &[("once", &once), ("version", "1"), ("outcome", "missed")]).await;
    assert_eq!(early.status, 422);
    salon.set_clock(datetime!(2026-05-21 08:30 UTC)).await;
    let mut desk = salon.seat("Front desk 2", "desk", salon.staff.reception).await;
    let page = desk.get(&booked.location).await;
    assert!(page.body.contains("Kept: the client came"));
    let missed = desk.post(&path, &[("once", &once), ("version", "1"), ("outcome", "missed")]).await;
    assert_eq!(missed.status, 303, "{}", missed.body);
    let service_hands: i64 =
        sqlx::query_scalar("select count(*) from booking_hands where live and booking_id = $1")
            .bind(booked.location_id())
            .fetch_one(&salon.owner)
            .await
            .unwrap();
    assert_eq!(service_hands, 0);
}

#[tokio::test]
async fn nothing_before_the_window_unless_asked() {
    let salon = desk_in_may(3, 1).await;
    let client = salon.due_client("Renske Vale", "2026-03-20").await;
    let due: time::Date =
        sqlx::query_scalar("select early_on from due").fetch_one(&salon.owner).await.unwrap();
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    let page = desk.get(&search(client).replace("days=7", "days=30")).await;
    let start = value(&form_of(&page, 0), "start")[..10].to_string();
    assert!(start >= due.to_string(), "{start} is before {due}");
    assert!(page.body.contains("the due window opens then"));
    let asked = desk.get(&format!("{}&early=yes", search(client))).await;
    assert!(value(&form_of(&asked, 0), "start").starts_with("2026-05-21"));
}

#[tokio::test]
async fn a_wish_that_cannot_be_read_comes_back_and_strangers_are_not_there() {
    let salon = desk_in_may(3, 1).await;
    let client = salon.due_client("Juno Ashby", "2026-02-20").await;
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    for bad in ["wanted=soon", "at=25:00", "days=900", "protocol=tea-rinse", "wanted=2031-01-01"] {
        let page = desk
            .get(
                &format!("/openings?client={client}&protocol=curl-retouch&{bad}")
                    .replace("protocol=curl-retouch&protocol", "protocol"),
            )
            .await;
        assert_eq!(page.status, 422, "{bad}");
    }
    for gone in
        ["/bookings/5", "/bookings/x", "/openings?client=5&protocol=curl-retouch", "/openings?client=x"]
    {
        assert_eq!(desk.get(gone).await.status, 404, "{gone}");
    }
    let mut form = form_of(&desk.get(&search(client)).await, 0);
    for (name, text, status) in [("start", "noon", 400), ("print", "1@2", 409), ("client", "5", 404)] {
        let bad: Vec<_> =
            form.iter().map(|(k, v)| (*k, if *k == name { text.to_string() } else { v.clone() })).collect();
        assert_eq!(send(&mut desk, &bad).await.status, status, "{name}");
    }
    form.retain(|(k, _)| *k != "once");
    assert_eq!(send(&mut desk, &form).await.status, 400);
    let mut basin = salon.seat("Basin", "basin", salon.staff.assistant).await;
    assert_eq!(basin.get(&search(client)).await.status, 403);
}
