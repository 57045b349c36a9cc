//! Calendar feeds: who makes and takes back which, what they tell, and what they never tell.

use axum::body::Body;
use axum::http::{Request, header};
use rinsebell::domain::ids::ClientId;
use time::macros::datetime;

use crate::support::{Answer, Browser, Salon};

async fn salon_in_may() -> Salon {
    let salon = Salon::open().await;
    salon.set_clock(datetime!(2026-05-14 08:00 UTC)).await;
    salon.open_desk(3, 2).await;
    salon
}

/// A service on 18 May, 10:00 to 12:30 in Paris: the stylist's hands with a pause, the assistant's at the basin.
async fn booked(salon: &Salon, client: ClientId) -> i64 {
    let id: i64 = sqlx::query_scalar(
        "insert into booking (salon_id, client_id, purpose, protocol, span, made_by, made_at)
         values ($1, $2, 'service', 'curl-retouch', '[2026-05-18 08:00Z, 2026-05-18 10:30Z)', $3, '2026-05-13 09:00Z') returning booking_id",
    )
    .bind(salon.id.0)
    .bind(client.0)
    .bind(salon.staff.reception.0)
    .fetch_one(&salon.owner)
    .await
    .expect("booked");
    for (part, person, span) in [
        (0, salon.staff.stylist, "[2026-05-18 08:00Z, 2026-05-18 08:40Z)"),
        (1, salon.staff.stylist, "[2026-05-18 08:40Z, 2026-05-18 09:00Z)"),
        (2, salon.staff.assistant, "[2026-05-18 09:20Z, 2026-05-18 09:30Z)"),
        (3, salon.staff.stylist, "[2026-05-18 09:30Z, 2026-05-18 10:30Z)"),
    ] {
        sqlx::query("insert into booking_hands (salon_id, booking_id, part_no, person_id, span) values ($1, $2, $3, $4, $5::text::tstzrange)")
            .bind(salon.id.0)
            .bind(id)
            .bind(part)
            .bind(person.0)
            .bind(span)
            .execute(&salon.owner)
            .await
            .expect("hands");
    }
    sqlx::query("insert into booking_place (salon_id, booking_id, part_no, kind, span) values ($1, $2, 0, 'basin', '[2026-05-18 09:20Z, 2026-05-18 09:30Z)')")
        .bind(salon.id.0)
        .bind(id)
        .execute(&salon.owner)
        .await
        .expect("a place");
    id
}

async fn made(browser: &mut Browser, of: &str) -> Answer {
    let once = browser.get("/calendar").await.field("once");
    browser.post("/calendar", &[("once", &once), ("of", of)]).await
}

/// The path of the link that a page shows.
fn link(answer: &Answer) -> String {
    assert_eq!(answer.status, 200, "{}", answer.body);
    let at = answer.body.find("/feeds/").unwrap_or_else(|| panic!("no link in {}", answer.body));
    answer.body[at..].split('"').next().unwrap().to_string()
}

async fn fetch(salon: &Salon, path: &str, tag: Option<&str>) -> Answer {
    let mut request = Request::get(path);
    if let Some(tag) = tag {
        request = request.header(header::IF_NONE_MATCH, tag);
    }
    Browser::stranger(&salon.app).send(request.body(Body::empty()).unwrap()).await
}

#[tokio::test]
async fn a_feed_tells_when_hands_are_taken_and_neither_names_nor_chemistry() {
    let salon = salon_in_may().await;
    let client = salon.client("Nerys Amblin").await;
    let booking = booked(&salon, client).await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let shown = made(&mut chair, &format!("person-{}", salon.staff.stylist)).await;
    assert!(shown.body.contains("Copy this link now"));
    let path = link(&shown);
    assert!(!chair.get("/calendar").await.body.contains("/feeds/"), "shown once");
    let feed = fetch(&salon, &path, None).await;
    assert_eq!(feed.status, 200);
    assert_eq!(feed.headers[header::CONTENT_TYPE], "text/calendar; charset=utf-8");
    let unfolded = feed.body.replace("\r\n ", "");
    assert_eq!(unfolded.matches("BEGIN:VEVENT").count(), 2, "{unfolded}");
    for line in [
        "DTSTART:20260518T080000Z\r\nDTEND:20260518T090000Z",
        "DTSTART:20260518T093000Z\r\nDTEND:20260518T103000Z",
        "DTSTAMP:20260513T090000Z",
        "SUMMARY:Busy\\, N. A.",
        "NAME:Tobias\\, Kestrel Row",
    ] {
        assert!(unfolded.contains(line), "{line} in {unfolded}");
    }
    let lower = feed.body.to_lowercase();
    for word in [
        "nerys",
        "amblin",
        "curl",
        "retouch",
        "patch",
        "fenn",
        "thio",
        &client.to_string(),
        &booking.to_string(),
    ] {
        assert!(!lower.contains(word), "{word}: {lower}");
    }
    // The same again is not sent again; after a cancellation it is another.
    let tag = feed.headers[header::ETAG].to_str().unwrap().to_string();
    let again = fetch(&salon, &path, Some(&tag)).await;
    assert_eq!((again.status, again.body.as_str()), (304, ""));
    assert_eq!(fetch(&salon, &path, Some("\"other\"")).await.status, 200);
    sqlx::query("update booking set state = 'cancelled', reason = 'ill' where booking_id = $1")
        .bind(booking)
        .execute(&salon.owner)
        .await
        .unwrap();
    let empty = fetch(&salon, &path, Some(&tag)).await;
    assert_eq!(empty.status, 200);
    assert!(!empty.body.contains("VEVENT") && empty.body.contains("BEGIN:VFREEBUSY"), "{}", empty.body);
}

#[tokio::test]
async fn a_stations_feed_tells_of_its_kind_of_place_and_only_a_manager_makes_it() {
    let salon = salon_in_may().await;
    let client = salon.client("Nerys Amblin").await;
    booked(&salon, client).await;
    let basin = salon.station("Basin", "basin").await.station;
    let mut office = salon.seat("Office", "office", salon.staff.manager).await;
    let path = link(&made(&mut office, &format!("station-{basin}")).await);
    let feed = fetch(&salon, &path, None).await.body;
    assert!(feed.contains("DTSTART:20260518T092000Z\r\nDTEND:20260518T093000Z"), "{feed}");
    let own = format!("station-{}", office.station);
    let desk = link(&made(&mut office, &own).await);
    let feed = fetch(&salon, &desk, None).await.body;
    assert!(feed.contains("DTSTART:20260518T080000Z\r\nDTEND:20260518T103000Z"), "{feed}");
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    for of in [
        format!("station-{basin}"),
        format!("person-{}", salon.staff.other_stylist),
        "person-x".into(),
        String::new(),
    ] {
        let no = made(&mut chair, &of).await;
        assert_eq!(no.status, 422, "{of}");
        assert!(no.body.contains("Choose whose calendar it is."));
    }
}

#[tokio::test]
async fn a_link_taken_back_opens_nothing_and_nobody_takes_back_anothers() {
    let salon = salon_in_may().await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let path = link(&made(&mut chair, &format!("person-{}", salon.staff.stylist)).await);
    let id: i64 = sqlx::query_scalar("select calendar_feed_id from calendar_feed")
        .fetch_one(&salon.owner)
        .await
        .unwrap();
    let kept: Vec<u8> =
        sqlx::query_scalar("select token_hash from calendar_feed").fetch_one(&salon.owner).await.unwrap();
    assert!(!kept.windows(8).any(|w| path.as_bytes().windows(8).any(|p| p == w)), "kept as a hash");
    let back = format!("/calendar/{id}/revocation");
    let mut other = salon.seat("Chair 2", "chair", salon.staff.other_stylist).await;
    assert!(!other.get("/calendar").await.body.contains("Tobias Fenn"), "others' links are not shown");
    let once = rinsebell::secret::new_uuid();
    assert_eq!(other.post(&back, &[("once", &once)]).await.status, 404);
    assert_eq!(fetch(&salon, &path, None).await.status, 200);
    let once = rinsebell::secret::new_uuid();
    assert_eq!(chair.post(&back, &[("once", &once)]).await.status, 303);
    assert_eq!(fetch(&salon, &path, None).await.status, 404);
    // Who has left is told of no more.
    let mut office = salon.seat("Office", "office", salon.staff.manager).await;
    let path = link(&made(&mut office, &format!("person-{}", salon.staff.other_stylist)).await);
    assert_eq!(fetch(&salon, &path, None).await.status, 200);
    sqlx::query("update person set left_at = rinsebell_now() where person_id = $1")
        .bind(salon.staff.other_stylist.0)
        .execute(&salon.owner)
        .await
        .unwrap();
    assert_eq!(fetch(&salon, &path, None).await.status, 404);
    // Guessed, cut, another salon's.
    let second = salon.second().await;
    let token = path.rsplit('.').nth(1).unwrap();
    for bad in [
        format!("/feeds/{second}.{token}.ics"),
        format!("/feeds/{}.{}.ics", salon.id, "A".repeat(43)),
        "/feeds/x".into(),
    ] {
        assert_eq!(fetch(&salon, &bad, None).await.status, 404, "{bad}");
    }
}
