//! Clients: the list, the record, who sees what.

use crate::chair::{consult, new_client, send, take, with};
use crate::support::Salon;

#[tokio::test]
async fn names_in_any_script_and_of_200_characters_are_kept_as_written() {
    let salon = Salon::open().await;
    let mut desk = salon.seat("Desk", "desk", salon.staff.reception).await;
    let long: String = "Ñ".repeat(200);
    for name in ["ندى الحسن", "Ελπίδα", "Nerys <b>A.</b> & \"Co\"", long.as_str()] {
        let id = new_client(&mut desk, name, "1990-05-14").await;
        let page = desk.get(&format!("/clients/{id}")).await;
        assert_eq!(page.status, 200);
        let kept: String = sqlx::query_scalar("select name from client where client_id = $1")
            .bind(id)
            .fetch_one(&salon.owner)
            .await
            .unwrap();
        assert_eq!(kept, name);
        assert!(!page.body.contains("<b>A."), "escaped");
    }
    let found = desk.get("/clients?name=%CE%95%CE%BB").await;
    assert!(found.body.contains("Ελπίδα") && !found.body.contains("ندى"));
}

#[tokio::test]
async fn a_record_with_faults_comes_back_with_all_that_was_typed() {
    let salon = Salon::open().await;
    let mut desk = salon.seat("Desk", "desk", salon.staff.reception).await;
    let typed = [
        ("name", "Nerys\0Amblin"),
        ("born_on", "2199-01-01"),
        ("phone", "+33 1 23"),
        ("email", "nobody"),
        ("usual_person", "9"),
    ];
    let typed: Vec<_> = typed.map(|(k, v)| (k, v.to_string())).to_vec();
    let back = send(&mut desk, "/clients/new", "/clients", &typed).await;
    assert_eq!(back.status, 422);
    for name in ["name", "born_on", "email", "usual_person"] {
        assert!(back.body.contains(&format!("id=\"{name}-error\"")), "{name}: {}", back.body);
    }
    assert!(
        !back.body.contains("id=\"phone-error\"")
            && back.body.contains("+33 1 23")
            && back.body.contains("2199-01-01")
    );
    let long = vec![("name", "x".repeat(201))];
    assert_eq!(send(&mut desk, "/clients/new", "/clients", &long).await.status, 422);
    assert_eq!(
        crate::chair::count(&salon, "select count(*) from client where salon_id > 0 and $1 = 0", 0).await,
        0
    );
}

#[tokio::test]
async fn a_form_sent_twice_enters_one_client_and_a_stale_record_is_told() {
    let salon = Salon::open().await;
    let mut desk = salon.seat("Desk", "desk", salon.staff.reception).await;
    let once = desk.get("/clients/new").await.field("once");
    let fields = [("once", once.as_str()), ("name", "Ilka Dorn")];
    let first = desk.post("/clients", &fields).await;
    let second = desk.post("/clients", &fields).await;
    assert_eq!((first.status, &first.location), (303, &second.location));
    let here = first.location;
    let page = desk.get(&here).await;
    let version = page.field("version");
    let change =
        |phone: &str| with(vec![], &[("name", "Ilka Dorn"), ("version", &version), ("phone", phone)]);
    assert_eq!(send(&mut desk, &here, &here, &change("1")).await.status, 303);
    let stale = send(&mut desk, &here, &here, &change("2")).await;
    assert_eq!(stale.status, 409);
    assert!(stale.body.contains("Ilka Dorn was changed"), "{}", stale.body);
    let phone: String = sqlx::query_scalar("select phone from client").fetch_one(&salon.owner).await.unwrap();
    assert_eq!(phone, "1");
}

#[tokio::test]
async fn the_list_goes_on_by_key_fifty_at_a_time_and_shows_each_client_once() {
    let salon = Salon::open().await;
    sqlx::query("insert into client (salon_id, name) select $1, case when n % 3 = 0 then 'Una_100%' else 'una ' || n end from generate_series(1, 120) n")
        .bind(salon.id.0)
        .execute(&salon.owner)
        .await
        .unwrap();
    sqlx::query("insert into client (salon_id, name) values ($1, 'Bette O.')")
        .bind(salon.id.0)
        .execute(&salon.owner)
        .await
        .unwrap();
    let mut desk = salon.seat("Desk", "desk", salon.staff.reception).await;
    let mut path = "/clients?name=UN".to_string();
    let (mut seen, mut pages) = (std::collections::BTreeSet::new(), 0);
    loop {
        let page = desk.get(&path).await;
        pages += 1;
        let rows: Vec<&str> = page
            .body
            .split("<th scope=\"row\"><a href=\"")
            .skip(1)
            .filter_map(|x| x.split('"').next())
            .collect();
        assert!(rows.len() <= 50);
        for href in rows {
            assert!(seen.insert(href.to_string()), "{href} stands twice");
        }
        let Some(next) = page.body.split("href=\"/clients?name=").nth(1).and_then(|x| x.split('"').next())
        else {
            break;
        };
        path = format!("/clients?name={}", next.replace("&#38;", "&").replace("&amp;", "&"));
    }
    assert_eq!((seen.len(), pages), (120, 3));
    let sign = desk.get("/clients?name=%25").await;
    assert!(
        !sign.body.contains("Una_100") && !sign.body.contains("Bette"),
        "a sign of LIKE stands for nothing"
    );
}

#[tokio::test]
async fn a_name_is_found_by_any_words_of_it_in_any_order_without_accents() {
    let salon = Salon::open().await;
    let mut desk = salon.seat("Desk", "desk", salon.staff.reception).await;
    let names = [
        "Vane, Ferris",
        "Nguyễn Thị Hoa",
        "Đặng Łucja",
        "Orla O’Brien-Sørby",
        "José María Peña",
        "Vanessa Ferro",
    ];
    for name in names {
        new_client(&mut desk, name, "1990-05-14").await;
    }
    // A decomposed spelling (Unicode, UAX 15) is the same name.
    new_client(&mut desk, "Rene\u{301}e Vale", "1990-05-14").await;
    for (asked, found) in [
        ("vane ferris", &["Vane, Ferris"][..]),
        ("Ferris Vane", &["Vane, Ferris"]),
        ("Vane, Ferris", &["Vane, Ferris"]),
        ("fer va", &["Vane, Ferris", "Vanessa Ferro"]),
        ("nguyen", &["Nguyễn Thị Hoa"]),
        ("NGUYỄN", &["Nguyễn Thị Hoa"]),
        ("hoa thi", &["Nguyễn Thị Hoa"]),
        ("dang luc", &["Đặng Łucja"]),
        ("obrien", &["Orla O’Brien-Sørby"]),
        ("O'Brien sorby", &["Orla O’Brien-Sørby"]),
        ("pena jose", &["José María Peña"]),
        ("renée", &["Rene\u{301}e Vale"]),
        ("renee v", &["Rene\u{301}e Vale"]),
        ("errIs", &[]),
        ("vane ferris x", &[]),
    ] {
        let page = desk.get(&format!("/clients?name={}", percent(asked))).await;
        let seen: Vec<&str> = names
            .into_iter()
            .chain(["Rene\u{301}e Vale"])
            .filter(|n| page.body.contains(&format!(">{n}<")))
            .collect();
        assert_eq!(seen, found, "{asked}: {}", page.body);
        // Where a booking begins the same is found.
        let openings = desk.get(&format!("/openings?name={}", percent(asked))).await;
        assert!(found.iter().all(|n| openings.body.contains(n)), "{asked}: {}", openings.body);
    }
    // A new name is found from now on, the old no more; the words go with the person.
    let words = "select count(*) from client_name_word where client_id = (select client_id from client where name like 'Vane,%')";
    sqlx::query("update client set name = 'Vane, Perpetua' where name = 'Vane, Ferris'")
        .execute(&salon.owner)
        .await
        .unwrap();
    let page = desk.get("/clients?name=ferris").await;
    assert!(!page.body.contains("Vane, "), "{}", page.body);
    assert!(desk.get("/clients?name=perp").await.body.contains("Vane, Perpetua"));
    sqlx::query("update client set erased_at = rinsebell_now() where name = 'Vane, Perpetua'")
        .execute(&salon.owner)
        .await
        .unwrap();
    let left: i64 = sqlx::query_scalar(words).fetch_one(&salon.owner).await.unwrap();
    assert_eq!(left, 0);
}

fn percent(text: &str) -> String {
    text.bytes().map(|b| format!("%{b:02X}")).collect()
}

#[tokio::test]
async fn reception_sees_the_record_alone_and_a_stranger_nothing() {
    let salon = Salon::open().await;
    let mut desk = salon.seat("Desk", "desk", salon.staff.reception).await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let id = new_client(&mut chair, "Una Rook", "1990-05-14").await;
    assert_eq!(take(&mut chair, id, &with(consult(), &[("words", "itches at night")])).await.status, 303);
    let base = format!("/clients/{id}");
    let record = desk.get(&base).await;
    assert!(record.status == 200 && !record.body.contains("/consult") && !record.body.contains("/tests"));
    assert!(!record.body.contains("curl_index"));
    for part in ["consult", "consent", "readings", "tests"] {
        let page = desk.get(&format!("{base}/{part}")).await;
        assert_eq!(page.status, 403, "{part}");
        assert!(!page.body.contains("itches"));
        assert_eq!(chair.get(&format!("{base}/{part}")).await.status, 200, "{part}");
        for unknown in ["/clients/999999", "/clients/0", "/clients/abc", "/clients/99999999999999999999"] {
            assert_eq!(chair.get(&format!("{unknown}/{part}")).await.status, 404, "{unknown}/{part}");
        }
    }
    // What reception may not see it does not wipe either.
    let page = desk.get(&base).await;
    let fields = with(vec![], &[("name", "Una Rook"), ("version", &page.field("version"))]);
    assert_eq!(send(&mut desk, &base, &base, &fields).await.status, 303);
    let curl: Option<String> =
        sqlx::query_scalar("select curl_group from client").fetch_one(&salon.owner).await.unwrap();
    assert_eq!(curl.as_deref(), Some("tight"));
}

#[tokio::test]
async fn another_salons_client_is_not_there() {
    let salon = Salon::open().await;
    let other = salon.second().await;
    let foreign: i64 = sqlx::query_scalar(
        "insert into client (salon_id, name) values ($1, 'Hester Quaye') returning client_id",
    )
    .bind(other.0)
    .fetch_one(&salon.owner)
    .await
    .unwrap();
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    for part in ["", "/consult", "/consent", "/readings", "/tests"] {
        assert_eq!(chair.get(&format!("/clients/{foreign}{part}")).await.status, 404, "{part}");
    }
    let once = chair.get("/clients/new").await.field("once");
    let post =
        chair.post(&format!("/clients/{foreign}"), &[("once", &once), ("name", "x"), ("version", "1")]).await;
    assert_eq!(post.status, 404);
    assert!(!chair.get("/clients?name=hester").await.body.contains("Quaye"));
}
