//! The waiting list, late clients, days off, and minutes by the client's own hair.

use rinsebell::domain::ids::ClientId;
use time::macros::datetime;
use time::{Duration, OffsetDateTime};

use crate::bookings::{desk_in_may, form_of, search, send};
use crate::support::{Answer, Browser};

async fn put(desk: &mut Browser, client: ClientId, more: &[(&str, &str)]) -> Answer {
    let (once, id) = (rinsebell::secret::new_uuid(), client.to_string());
    let mut fields = vec![("once", once.as_str()), ("client", id.as_str()), ("protocol", "curl-retouch")];
    fields.extend_from_slice(more);
    desk.post("/waiting", &fields).await
}

async fn cancel(desk: &mut Browser, booking: &str, reason: &str) -> Answer {
    let page = desk.get(booking).await;
    let (once, version) = (rinsebell::secret::new_uuid(), page.field("version"));
    desk.post(
        &format!("{booking}/cancellation"),
        &[("once", &once), ("version", &version), ("reason", reason)],
    )
    .await
}

async fn booked_on_thursday(desk: &mut Browser, client: ClientId) -> String {
    let page = desk.get(&search(client)).await;
    let done = send(desk, &form_of(&page, 0)).await;
    assert_eq!(done.status, 303, "{}", done.body);
    done.location
}

#[tokio::test]
async fn a_cancellation_offers_itself_to_whom_it_fits_and_to_nobody_else() {
    // One chair: while the booking stands, its time is nobody else's.
    let salon = desk_in_may(1, 1).await;
    let holder = salon.due_client("Amabel Thorne", "2026-02-26").await;
    let mornings = salon.due_client("Ysolde Marr", "2025-12-20").await;
    let evenings = salon.due_client("Juno Ashby", "2026-02-20").await;
    let silent = salon.due_client("Renske Vale", "2026-02-20").await;
    sqlx::query("update client set no_contact = true where client_id = $1")
        .bind(silent.0)
        .execute(&salon.owner)
        .await
        .unwrap();
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    let booking = booked_on_thursday(&mut desk, holder).await;
    let days = [("from_on", "2026-05-20"), ("until_on", "2026-05-22")];
    let with = |more: &[(&'static str, &'static str)]| [&days[..], more].concat();
    assert_eq!(
        put(
            &mut desk,
            mornings,
            &with(&[("from_at", "09:00"), ("until_at", "12:00"), ("note", "rings the bell")])
        )
        .await
        .status,
        303
    );
    assert_eq!(
        put(&mut desk, evenings, &with(&[("from_at", "17:00"), ("until_at", "18:00")])).await.status,
        303
    );
    assert_eq!(put(&mut desk, silent, &with(&[])).await.status, 303);
    let list = desk.get("/waiting").await.body;
    assert!(list.contains("3 clients wait"), "{list}");
    let at = |name: &str| list.find(name).unwrap_or_else(|| panic!("{name}: {list}"));
    assert!(at("Ysolde Marr") < at("Juno Ashby"), "whom waiting costs most first");
    assert!(!list.contains("Times that came free"));

    assert_eq!(cancel(&mut desk, &booking, "has the flu").await.status, 303);
    let page = desk.get(&booking).await;
    assert!(page.body.contains("Whom this time fits, of those who wait"), "{}", page.body);
    assert!(page.body.contains("Ysolde Marr") && page.body.contains("rings the bell"));
    assert!(!page.body.contains("Juno Ashby") && !page.body.contains("Renske Vale"), "{}", page.body);
    assert!(desk.get("/waiting").await.body.contains("Times that came free"));
    // Taken from there, with the patch-test visit before it; the wish is over.
    let start = page.body.find("action=\"/bookings\"").expect("a form");
    let form = Answer {
        status: 200,
        body: page.body[start..].split("</form>").next().unwrap().into(),
        location: String::new(),
        headers: Default::default(),
    };
    let names = ["once", "client", "protocol", "wanted", "at", "days", "early", "arrives", "start", "print"];
    let fields: Vec<(&str, String)> =
        names.iter().map(|n| (*n, form.field(n).replace("&#38;", "&"))).collect();
    let fields: Vec<(&str, &str)> = fields.iter().map(|(k, v)| (*k, v.as_str())).collect();
    let done = desk.post("/bookings", &fields).await;
    assert_eq!(done.status, 303, "{}", done.body);
    let (client, from): (i64, OffsetDateTime) =
        sqlx::query_as("select client_id, lower(span) from booking where booking_id = $1")
            .bind(done.location_id())
            .fetch_one(&salon.owner)
            .await
            .unwrap();
    assert_eq!((client, from), (mornings.0, datetime!(2026-05-21 08:00 UTC)));
    let how: Vec<String> = sqlx::query_scalar("select ended_how from waiting where ended_at is not null")
        .fetch_all(&salon.owner)
        .await
        .unwrap();
    assert_eq!(how, ["booked"]);
    assert!(desk.get("/waiting").await.body.contains("2 clients wait"));
}

#[tokio::test]
async fn a_wish_that_is_not_whole_comes_back_and_one_taken_off_is_gone() {
    let salon = desk_in_may(1, 1).await;
    let client = salon.due_client("Juno Ashby", "2026-02-20").await;
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    for bad in [
        [("from_on", "2026-05-20"), ("until_on", "2026-05-19")],
        [("from_at", "10:00"), ("until_at", "09:00")],
        [("from_on", "x"), ("note", "n")],
    ] {
        assert_eq!(put(&mut desk, client, &bad).await.status, 422, "{bad:?}");
    }
    assert_eq!(put(&mut desk, client, &[("until_on", "2026-05-30")]).await.status, 303);
    assert_eq!(
        put(&mut desk, client, &[("until_on", "2026-06-30")]).await.status,
        303,
        "a new wish in place of the old"
    );
    let open: Vec<i64> = sqlx::query_scalar("select waiting_id from waiting where ended_at is null")
        .fetch_all(&salon.owner)
        .await
        .unwrap();
    assert_eq!(open.len(), 1);
    let once = rinsebell::secret::new_uuid();
    let path = format!("/waiting/{}/end", open[0]);
    assert_eq!(desk.post(&path, &[("once", &once)]).await.status, 303);
    let once = rinsebell::secret::new_uuid();
    assert_eq!(desk.post(&path, &[("once", &once)]).await.status, 404, "gone");
    assert!(desk.get("/waiting").await.body.contains("Nobody waits"));
}

/// How long the openings on a page last, minutes: first beginning and end in their words.
fn first_span(page: &str) -> (String, String) {
    let at = page.find("<ol class=\"openings\">").unwrap_or_else(|| panic!("no openings: {page}"));
    let words = page[at..].split("<p>").nth(1).unwrap().split(" with").next().unwrap().to_string();
    let (from, to) = words.split_once(" to ").unwrap();
    (from.into(), to.into())
}

fn minutes(clock: &str) -> i64 {
    let (h, m) = clock.split_once(':').unwrap();
    h.parse::<i64>().unwrap() * 60 + m.parse::<i64>().unwrap()
}

#[tokio::test]
async fn a_late_client_is_offered_what_still_fits_and_chemistry_keeps_its_time() {
    let salon = desk_in_may(3, 1).await;
    let stage = salon.stage().await;
    let client = stage.client.to_string();
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    let late = format!(
        "/openings?client={client}&protocol=curl-retouch&wanted=2026-05-14&at=11:00&days=0&early=yes&arrives=11:10"
    );
    let page = desk.get(&late).await;
    assert_eq!(page.status, 200, "{}", page.body);
    let (from, to) = first_span(&page.body);
    assert!(minutes(&from) >= 11 * 60 + 10, "{from}");
    assert!(page.body.contains("With shorter steps"), "{}", page.body);
    let short = desk.get(&format!("{late}&short=yes")).await.body;
    let (short_from, short_to) = first_span(&short);
    assert_eq!(short_from, from);
    assert!(minutes(&short_to) < minutes(&to), "{short_to} {to}");
    assert!(short.contains("What acts on the hair keeps its time."), "{short}");
    let said = short.split("Shorter: ").nth(1).unwrap().split("</p>").next().unwrap();
    for kept in ["pass", "process", "Rinse", "eutralise", "curl lotion"] {
        assert!(!said.contains(kept), "{kept} is not shortened: {said}");
    }
    // So late that nothing fits today.
    let page = desk.get(&late.replace("arrives=11:10", "arrives=17:30")).await.body;
    assert!(page.contains("no opening in these days"), "{page}");
}

#[tokio::test]
async fn no_opening_lies_in_a_closed_day_or_in_leave() {
    let salon = desk_in_may(3, 1).await;
    let stage = salon.stage().await;
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    let mut office = salon.seat("Office", "office", salon.staff.manager).await;
    let on = |day: &str| {
        format!(
            "/openings?client={}&protocol=curl-retouch&wanted={day}&at=10:00&days=0&early=yes",
            stage.client
        )
    };
    assert!(desk.get(&on("2026-05-21")).await.body.contains("Thu 21 May, 10:00 is nearest"));
    let once = rinsebell::secret::new_uuid();
    let closed = office
        .post("/team/closed-days", &[("once", &once), ("on", "2026-05-21"), ("why", "Ascension")])
        .await;
    assert_eq!(closed.status, 303, "{}", closed.body);
    assert!(desk.get(&on("2026-05-21")).await.body.contains("no opening in these days"));
    assert!(office.get("/team/days-off").await.body.contains("Thu 21 May: Ascension"));
    let once = rinsebell::secret::new_uuid();
    assert_eq!(
        office.post("/team/closed-days/end", &[("once", &once), ("on", "2026-05-21")]).await.status,
        303
    );
    assert!(desk.get(&on("2026-05-21")).await.body.contains("is nearest"));
    // A shorter day: what ends before noon is offered, what does not is not.
    let once = rinsebell::secret::new_uuid();
    let shorter = [("once", once.as_str()), ("on", "2026-05-21"), ("closes", "12:00"), ("why", "Fair")];
    assert_eq!(office.post("/team/closed-days", &shorter).await.status, 303);
    assert!(desk.get(&on("2026-05-21")).await.body.contains("no opening in these days"));
    let once = rinsebell::secret::new_uuid();
    let again = [("once", once.as_str()), ("on", "2026-05-21")];
    assert_eq!(office.post("/team/closed-days/end", &again).await.status, 303);
    // Leave of both stylists, noted with a booking in it.
    let booking = desk.get(&on("2026-05-22")).await;
    assert_eq!(send(&mut desk, &form_of(&booking, 0)).await.status, 303);
    for person in [salon.staff.stylist, salon.staff.other_stylist] {
        let (once, id) = (rinsebell::secret::new_uuid(), person.to_string());
        let fields = [
            ("once", once.as_str()),
            ("person", id.as_str()),
            ("from_on", "2026-05-22"),
            ("until_on", "2026-05-24"),
        ];
        assert_eq!(office.post("/team/leave", &fields).await.status, 303);
    }
    let page = office.get("/team/days-off").await.body;
    assert!(page.contains("Fri 22 May to Sun 24 May") && page.contains("1 booking to move"), "{page}");
    assert!(desk.get(&on("2026-05-23")).await.body.contains("no opening in these days"));
    for bad in [
        [("on", ""), ("why", "x")],
        [("on", "2026-05-01"), ("why", "x")],
        [("on", "2026-05-21"), ("why", " ")],
    ] {
        let once = rinsebell::secret::new_uuid();
        let no = office.post("/team/closed-days", &[&[("once", once.as_str())][..], &bad[..]].concat()).await;
        assert_eq!(no.status, 422, "{bad:?}");
    }
}

#[tokio::test]
async fn thick_long_hair_is_planned_longer() {
    let salon = desk_in_may(3, 1).await;
    let stage = salon.stage().await;
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    let usual = desk.get(&search(stage.client)).await.body;
    let span = |page: &str| {
        let (from, to) = first_span(page);
        Duration::minutes(minutes(&to) - minutes(&from))
    };
    let before = span(&usual);
    sqlx::query("insert into hair_reading (salon_id, client_id, place, taken_by, density) values ($1, $2, 'whole', $3, 'thick')")
        .bind(salon.id.0)
        .bind(stage.client.0)
        .bind(salon.staff.stylist.0)
        .execute(&salon.owner)
        .await
        .unwrap();
    sqlx::query("update strand set length_mm = 420 where client_id = $1")
        .bind(stage.client.0)
        .execute(&salon.owner)
        .await
        .unwrap();
    let thick = desk.get(&search(stage.client)).await.body;
    assert!(thick.contains("own hair: thick, 4"), "{thick}");
    assert!(span(&thick) > before, "{} {before}", span(&thick));
}
