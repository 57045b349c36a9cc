//! The day sheet, also on the days when the clocks change.

use rinsebell::store::bookings::{self, NewBooking};
use time::OffsetDateTime;
use time::macros::datetime;

use crate::support::Salon;

async fn booked(salon: &Salon, name: &str, from: OffsetDateTime, to: OffsetDateTime) {
    let client = salon.client(name).await;
    let mut s = salon.app.begin(salon.id).await.expect("begin");
    let new = NewBooking {
        client,
        purpose: "service",
        protocol: Some("curl-retouch"),
        from,
        to,
        patch_for: None,
        made_by: salon.staff.reception,
        hands: &[(salon.staff.stylist, from, to)],
        places: &[("chair".into(), from, to)],
    };
    bookings::insert(&mut s, &new).await.expect("booked");
    s.commit().await.expect("committed");
}

/// Clocks in Paris go from 02:00 to 03:00 on 29 March 2026 and from 03:00 to 02:00 on 25 October (IANA zone data).
#[tokio::test]
async fn the_sheet_keeps_to_the_wall_clock_when_the_clocks_change() {
    let salon = Salon::open().await;
    salon.set_clock(datetime!(2026-03-28 09:00 UTC)).await;
    salon.open_desk(2, 1).await;
    salon.works(salon.staff.stylist, 7..=7, "00:30", "23:30").await;
    booked(&salon, "Ilka D.", datetime!(2026-03-29 00:00 UTC), datetime!(2026-03-29 02:00 UTC)).await;
    booked(&salon, "Bette O.", datetime!(2026-03-29 21:00 UTC), datetime!(2026-03-29 21:59 UTC)).await;
    booked(&salon, "Una R.", datetime!(2026-03-29 22:30 UTC), datetime!(2026-03-29 23:00 UTC)).await;
    booked(&salon, "Hester Quaye", datetime!(2026-10-25 00:30 UTC), datetime!(2026-10-25 02:30 UTC)).await;
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    let spring = desk.get("/day?on=2026-03-29").await;
    assert_eq!(spring.status, 200);
    assert!(spring.body.contains("01:00 to 04:00"), "two elapsed hours: {}", spring.body);
    assert!(spring.body.contains("23:00 to 23:59") && spring.body.contains("Bette O."));
    assert!(spring.body.contains("00:30 to 23:30"), "the hours are the wall clock's");
    assert!(!spring.body.contains("Una R."), "half past midnight is the next day");
    assert!(desk.get("/day?on=2026-03-30").await.body.contains("00:30 to 01:00"));
    let autumn = desk.get("/day?on=2026-10-25").await.body;
    assert!(autumn.contains("02:30 to 03:30") && autumn.contains("Hester Quaye"), "{autumn}");
}

#[tokio::test]
async fn the_sheet_is_todays_and_a_day_that_is_none_is_refused() {
    let salon = Salon::open().await;
    salon.set_clock(datetime!(2026-05-14 08:00 UTC)).await;
    salon.open_desk(3, 1).await;
    booked(&salon, "Ilka Dorn", datetime!(2026-05-14 12:00 UTC), datetime!(2026-05-14 13:00 UTC)).await;
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    let today = desk.get("/day").await.body;
    assert!(today.contains("Today, Thu 14 May") && today.contains("1 service. No patch test to place."));
    assert!(
        today.contains("14:00 to 15:00") && today.contains("Ilka Dorn") && today.contains("Curl retouch")
    );
    assert!(today.contains("3 here") && today.contains("Mara Quill"));
    let bad = desk.get("/day?on=30+February").await;
    assert_eq!(bad.status, 422);
    assert!(bad.body.contains("30 February"), "what was typed is still there");
    let mut basin = salon.seat("Basin", "basin", salon.staff.assistant).await;
    assert_eq!(basin.get("/day").await.status, 403);
}

#[tokio::test]
async fn a_patch_test_is_to_be_read_from_48_hours_on() {
    let salon = Salon::open().await;
    salon.set_clock(datetime!(2026-05-12 12:00 UTC)).await;
    let stage = salon.stage().await;
    sqlx::query("update skin_test set placed_at = rinsebell_now(), taken_off_at = null, taken_off_by = null, read_at = null, read_by = null, outcome = null")
        .execute(&salon.owner)
        .await
        .expect("placed and not read");
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    assert!(!desk.get("/day?on=2026-05-13").await.body.contains(&format!("/clients/{}\"", stage.client)));
    let day = desk.get("/day?on=2026-05-14").await.body;
    assert!(day.contains("from 14:00") && day.contains("Nerys Amblin"), "{day}");
}

#[tokio::test]
async fn what_stands_in_leave_or_a_closed_day_is_to_be_moved_and_the_evening_says_what_is_open() {
    let salon = Salon::open().await;
    salon.set_clock(datetime!(2026-05-14 08:00 UTC)).await;
    salon.open_desk(3, 1).await;
    booked(&salon, "Ilka Dorn", datetime!(2026-05-14 12:00 UTC), datetime!(2026-05-14 13:00 UTC)).await;
    booked(&salon, "Bette Orr", datetime!(2026-05-15 12:00 UTC), datetime!(2026-05-15 13:00 UTC)).await;
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    let calm = desk.get("/day?on=2026-05-15").await.body;
    assert!(!calm.contains("to move") && !calm.contains("Before you lock up"), "{calm}");
    let mut office = salon.seat("Office", "office", salon.staff.manager).await;
    let page = office.get("/team/days-off").await;
    let leave = office
        .post(
            "/team/leave",
            &[
                ("once", &rinsebell::secret::new_uuid()),
                ("person", &salon.staff.stylist.to_string()),
                ("from_on", "2026-05-15"),
                ("until_on", "2026-05-15"),
            ],
        )
        .await;
    assert_eq!((page.status, leave.status), (200, 303), "{}", leave.body);
    let off = office.get("/team/days-off").await.body;
    assert!(off.contains("1 booking to move") && off.contains("Bette Orr"), "{off}");
    let day = desk.get("/day?on=2026-05-15").await.body;
    assert!(day.contains("1 booking to move") && day.contains("is away"), "{day}");
    let closed = office
        .post(
            "/team/closed-days",
            &[("once", &rinsebell::secret::new_uuid()), ("on", "2026-05-15"), ("why", "Ascension")],
        )
        .await;
    assert_eq!(closed.status, 303, "{}", closed.body);
    let day = desk.get("/day?on=2026-05-15").await.body;
    assert!(day.contains("The salon is closed: Ascension.") && day.contains("the salon is closed"), "{day}");
    assert!(!desk.get("/day").await.body.contains("is closed"), "the day before is open");
    // A shorter day: only what reaches past its end is to be moved. That day stands there, so it is opened again first.
    let shorter = |closes: &'static str| {
        [("on", "2026-05-15"), ("why", "Fair"), ("opens", ""), ("closes", closes), ("once", "")]
            .map(|(k, v)| (k, if k == "once" { rinsebell::secret::new_uuid() } else { v.to_owned() }))
    };
    for (closes, status) in
        [("15:00", 422), ("open", 303), ("14:00", 303), ("open", 303), ("15:00", 303), ("00:00", 422)]
    {
        let fields = shorter(closes);
        let fields: Vec<(&str, &str)> = fields.iter().map(|(k, v)| (*k, v.as_str())).collect();
        let path = if closes == "open" { "/team/closed-days/end" } else { "/team/closed-days" };
        let said = office.post(path, &fields).await;
        assert_eq!(said.status, status, "{closes}: {}", said.body);
        let day = desk.get("/day?on=2026-05-15").await.body;
        match (closes, status) {
            // 14:00 to 15:00 by the salon's clock.
            ("14:00", _) => assert!(
                day.contains("The salon closes at 14:00: Fair.") && day.contains("the salon is closed"),
                "{day}"
            ),
            ("15:00", 303) => {
                assert!(!day.contains("the salon is closed") && day.contains("is away"), "{day}")
            }
            _ => {}
        }
    }
    assert!(office.get("/team/days-off").await.body.contains("Fri 15 May. The salon closes at 15:00: Fair."));
    // The evening: of whom nobody said whether they came.
    assert!(desk.get("/day").await.body.contains("of everybody booked so far it is said whether they came"));
    salon.set_clock(datetime!(2026-05-14 19:00 UTC)).await;
    let mut late = salon.seat("Late desk", "desk", salon.staff.reception).await;
    let evening = late.get("/day").await.body;
    assert!(
        evening.contains("Did they come? Nobody has said") && evening.contains("Ilka Dorn, booked 14:00"),
        "{evening}"
    );
}
