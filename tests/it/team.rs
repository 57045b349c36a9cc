//! The team screen: people and their secrets, hours, stations, the salon's own rules.

use crate::support::{Answer, Browser, PASSPHRASE, PIN, Salon};

async fn post(b: &mut Browser, page: &str, path: &str, fields: &[(&str, &str)]) -> Answer {
    let shown = b.get(page).await;
    assert_eq!(shown.status, 200, "{page}: {}", shown.body);
    let once = shown.field("once");
    let mut all = vec![("once", once.as_str())];
    all.extend_from_slice(fields);
    b.post(path, &all).await
}

const NEW: &str = "/team/people/new";

#[tokio::test]
async fn a_manager_adds_a_person_who_then_signs_in() {
    let salon = Salon::open().await;
    let mut office = salon.seat("Office", "office", salon.staff.manager).await;
    let fields = [
        ("name", "Nerys Amblin"),
        ("role", "assistant"),
        ("pin", "730155"),
        ("qualified", "thio"),
        ("qualified", "colour"),
    ];
    let added = post(&mut office, NEW, "/team/people", &fields).await;
    assert_eq!(added.status, 303, "{}", added.body);
    let list = office.get("/team").await;
    assert!(list.body.contains("Nerys Amblin") && list.body.contains("colour, thio"), "{}", list.body);
    let mut chair = salon.station("Chair 2", "chair").await;
    let id = added.location_id().to_string();
    let signed = chair.post("/sign-in", &[("person", &id), ("pin", "730155")]).await;
    assert_eq!(signed.status, 303, "{}", signed.body);
    assert_eq!(chair.get("/team").await.status, 403, "an assistant does not keep the team");
}

#[tokio::test]
async fn what_is_wrong_comes_back_with_everything_typed_but_the_secret() {
    let salon = Salon::open().await;
    let mut office = salon.seat("Office", "office", salon.staff.manager).await;
    for (fields, beside) in [
        ([("name", "Nerys Amblin"), ("role", "assistant"), ("pin", "222222")], "pin-error"),
        ([("name", ""), ("role", "assistant"), ("pin", "730155")], "name-error"),
        ([("name", "Nerys Amblin"), ("role", "owner"), ("pin", "730155")], "role-error"),
        ([("name", "Tobias Fenn"), ("role", "stylist"), ("pin", "730155")], "name-error"),
        ([("name", "Ne\u{0}rys"), ("role", "stylist"), ("pin", "730155")], "name-error"),
    ] {
        let again = post(&mut office, NEW, "/team/people", &fields).await;
        assert_eq!(again.status, 422, "{fields:?}");
        assert!(again.body.contains(beside), "{fields:?}: {}", again.body);
        assert!(again.body.contains(&format!("value=\"{}\"", fields[0].1)), "the name is still there");
        assert!(!again.body.contains(fields[2].1), "the secret is not");
    }
    let twice = office.get(NEW).await.field("once");
    let fields = [("once", twice.as_str()), ("name", "Bette Orr"), ("role", "stylist"), ("pin", "730155")];
    let (a, b) = (office.post("/team/people", &fields).await, office.post("/team/people", &fields).await);
    assert_eq!((a.status, b.status, a.location == b.location), (303, 303, true), "sent twice, added once");
}

#[tokio::test]
async fn a_new_pin_opens_a_disabled_sign_in_and_ends_every_session() {
    let salon = Salon::open().await;
    let mut office = salon.seat("Office", "office", salon.staff.manager).await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let tobias = salon.staff.stylist.to_string();
    sqlx::query("update person set disabled_at = rinsebell_now(), failures = 20 where person_id = $1")
        .bind(salon.staff.stylist.0)
        .execute(&salon.owner)
        .await
        .expect("disabled");
    assert!(office.get("/team").await.body.contains("One person cannot sign in"));
    let path = format!("/team/people/{tobias}");
    let reset = post(&mut office, &path, &format!("{path}/pin"), &[("pin", "862044")]).await;
    assert_eq!((reset.status, reset.location.as_str()), (303, path.as_str()), "{}", reset.body);
    let open: i64 =
        sqlx::query_scalar("select count(*) from session where person_id = $1 and ended_at is null")
            .bind(salon.staff.stylist.0)
            .fetch_one(&salon.owner)
            .await
            .expect("counted");
    assert_eq!(open, 0);
    assert_eq!(chair.get("/clients").await.location, "/sign-in?next=/clients");
    assert_eq!(
        chair.post("/sign-in", &[("person", &tobias), ("pin", PIN)]).await.status,
        422,
        "the old PIN is gone"
    );
    salon.advance(std::time::Duration::from_secs(5)).await;
    assert_eq!(chair.post("/sign-in", &[("person", &tobias), ("pin", "862044")]).await.status, 303);
}

#[tokio::test]
async fn the_last_manager_stays_and_a_passphrase_is_a_managers() {
    let salon = Salon::open().await;
    let mut office = salon.seat("Office", "office", salon.staff.manager).await;
    let me = format!("/team/people/{}", salon.staff.manager);
    let less = post(&mut office, &me, &me, &[("name", "Ondine Marsh"), ("role", "stylist")]).await;
    assert!(less.status == 422 && less.body.contains("last manager"), "{}", less.body);
    let gone = post(&mut office, &me, &format!("{me}/presence"), &[("here", "no")]).await;
    assert!(gone.status == 422 && gone.body.contains("last manager"), "{}", gone.body);
    let priya = format!("/team/people/{}", salon.staff.other_stylist);
    let early =
        post(&mut office, &priya, &format!("{priya}/passphrase"), &[("passphrase", PASSPHRASE)]).await;
    assert_eq!(early.status, 422);
    let up = post(
        &mut office,
        &priya,
        &priya,
        &[("name", "Priya Lund"), ("role", "manager"), ("qualified", "thio")],
    )
    .await;
    assert_eq!(up.status, 303, "{}", up.body);
    let phrase =
        post(&mut office, &priya, &format!("{priya}/passphrase"), &[("passphrase", PASSPHRASE)]).await;
    assert_eq!(phrase.status, 303, "{}", phrase.body);
    let mut home = Browser::stranger(&salon.app);
    let away = home.post("/sign-in", &[("name", "Priya Lund"), ("passphrase", PASSPHRASE)]).await;
    assert_eq!(away.status, 303, "{}", away.body);
    assert_eq!(home.get("/team").await.status, 200);
    let now = post(&mut office, &me, &format!("{me}/presence"), &[("here", "no")]).await;
    assert_eq!(now.status, 303, "two managers: one may leave");
    assert_ne!(office.get("/team").await.status, 200, "and is signed out");
}

#[tokio::test]
async fn of_two_managers_who_remove_one_another_one_stays() {
    let salon = Salon::open().await;
    let other = salon.staff.other_stylist;
    sqlx::query("update person set role = 'manager' where person_id = $1")
        .bind(other.0)
        .execute(&salon.owner)
        .await
        .expect("two");
    let mut one = salon.seat("Office", "office", salon.staff.manager).await;
    let mut two = salon.seat("Desk", "desk", other).await;
    let (a, b) = (format!("/team/people/{other}"), format!("/team/people/{}", salon.staff.manager));
    let (ka, kb) = (one.get(&a).await.field("once"), two.get(&b).await.field("once"));
    let (fa, fb) = ([("once", ka.as_str()), ("here", "no")], [("once", kb.as_str()), ("here", "no")]);
    let (pa, pb) = (format!("{a}/presence"), format!("{b}/presence"));
    tokio::join!(one.post(&pa, &fa), two.post(&pb, &fb));
    let left: i64 =
        sqlx::query_scalar("select count(*) from person where role = 'manager' and left_at is null")
            .fetch_one(&salon.owner)
            .await
            .expect("counted");
    assert_eq!(left, 1);
}

#[tokio::test]
async fn hours_are_kept_as_typed_and_refused_beside_their_day() {
    let salon = Salon::open().await;
    let mut office = salon.seat("Office", "office", salon.staff.manager).await;
    let path = format!("/team/people/{}", salon.staff.stylist);
    let keep = format!("{path}/hours");
    let bad = post(&mut office, &path, &keep, &[("monday", "09:00-17:00"), ("tuesday", "from nine")]).await;
    assert!(
        bad.status == 422 && bad.body.contains("tuesday-error") && bad.body.contains("from nine"),
        "{}",
        bad.body
    );
    let good =
        post(&mut office, &path, &keep, &[("monday", "09:00-12:30, 13:30-18:00"), ("sunday", "20:00–24:00")])
            .await;
    assert_eq!(good.status, 303, "{}", good.body);
    let shown = office.get(&path).await;
    assert_eq!(shown.field("monday"), "09:00–12:30, 13:30–18:00");
    assert_eq!(shown.field("sunday"), "20:00–24:00");
    let foreign = office.post("/team/people/999999/hours", &[("monday", "")]).await;
    assert_eq!(foreign.status, 404);
}

#[tokio::test]
async fn a_station_is_paired_by_a_code_shown_once_or_by_this_browser_and_revoked() {
    let salon = Salon::open().await;
    let mut office = salon.seat("Office", "office", salon.staff.manager).await;
    let added =
        post(&mut office, "/team/stations/new", "/team/stations", &[("name", "Basin 1"), ("kind", "basin")])
            .await;
    assert_eq!(added.status, 303, "{}", added.body);
    let path = added.location.clone();
    let once = office.get(&path).await.field("once");
    let pairing = format!("{path}/pairing");
    let shown = office.post(&pairing, &[("once", &once)]).await;
    assert_eq!(shown.status, 200);
    let code: String =
        shown.body.split("class=\"figures\">").nth(1).expect("a code").chars().take(9).collect();
    assert_eq!(office.post(&pairing, &[("once", &once)]).await.status, 303, "shown once");
    assert!(!office.get(&path).await.body.contains(&code));
    let mut basin = Browser::stranger(&salon.app);
    assert_eq!(basin.post("/pair", &[("code", &code)]).await.status, 303);
    assert_eq!(basin.get("/sign-in").await.status, 200);
    assert_eq!(Browser::stranger(&salon.app).post("/pair", &[("code", &code)]).await.status, 422, "used up");
    let revoked = post(&mut office, &path, &format!("{path}/revocation"), &[]).await;
    assert_eq!(revoked.status, 303);
    assert_eq!(basin.get("/lock").await.location, "/welcome", "a stranger again");
    let late = post(&mut office, &path, &pairing, &[]).await;
    let code: String =
        late.body.split("class=\"figures\">").nth(1).expect("a code").chars().take(9).collect();
    salon.advance(std::time::Duration::from_secs(601)).await;
    assert_eq!(basin.post("/pair", &[("code", &code)]).await.status, 422, "ten minutes");
}

#[tokio::test]
async fn this_browser_becomes_another_station_and_is_signed_out() {
    let salon = Salon::open().await;
    let mut office = salon.seat("Office", "office", salon.staff.manager).await;
    let added =
        post(&mut office, "/team/stations/new", "/team/stations", &[("name", "Chair 7"), ("kind", "chair")])
            .await;
    let path = added.location.clone();
    let paired = post(&mut office, &path, &format!("{path}/browser"), &[]).await;
    assert_eq!((paired.status, paired.location.as_str()), (303, "/sign-in"));
    let sign_in = office.get("/sign-in").await;
    assert!(sign_in.body.contains("Chair 7"), "{}", sign_in.body);
    assert_eq!(office.get("/team").await.location, "/sign-in?next=/team");
}

#[tokio::test]
async fn the_salons_own_rules_are_kept_within_their_edges() {
    let salon = Salon::open().await;
    let mut office = salon.seat("Office", "office", salon.staff.manager).await;
    let with = |field: &'static str, value: &'static str| {
        let mut all = vec![
            ("name", "Kestrel Row"),
            ("zone", "Europe/Lisbon"),
            ("place", "eu"),
            ("emergency_number", "112"),
            ("eye_wash_place", "left of the second basin"),
            ("least_age", "16"),
            ("patch_valid_days", "90"),
            ("chairs", "4"),
            ("basins", "2"),
            ("hoods", "0"),
            ("quiet_from", "20:30"),
            ("quiet_until", "08:30"),
            ("quiet_weekdays", "7"),
        ];
        for pair in all.iter_mut().filter(|p| p.0 == field) {
            pair.1 = value;
        }
        all
    };
    for (field, value) in [
        ("zone", "Mars/Olympus"),
        ("place", "moon"),
        ("least_age", "-1"),
        ("patch_valid_days", "184"),
        ("basins", "two"),
        ("quiet_from", "late"),
        ("quiet_until", "25:00"),
        ("name", ""),
    ] {
        let bad = post(&mut office, "/team/salon", "/team/salon", &with(field, value)).await;
        assert!(bad.status == 422 && bad.body.contains(&format!("{field}-error")), "{field}: {}", bad.body);
        assert!(bad.body.contains("left of the second basin"), "what was typed is still there");
    }
    let good = post(&mut office, "/team/salon", "/team/salon", &with("", "")).await;
    assert_eq!((good.status, good.location.as_str()), (303, "/team"), "{}", good.body);
    let shown = office.get("/team/salon").await;
    assert_eq!(
        (shown.field("zone"), shown.field("basins"), shown.field("patch_valid_days")),
        ("Europe/Lisbon".into(), "2".into(), "90".into())
    );
}
