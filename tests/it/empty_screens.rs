//! A salon on its first day: every screen of it says what will stand there, and leads on to what begins it.

use rinsebell::web::routes::{Open, TABLE};

use crate::support::{Browser, Salon};

const PASSPHRASE: &str = "three calm herons wade";
const PIN: &str = "402917";

/// The screens that have nothing to show on the first day (issue 7).
const EMPTY: [&str; 10] = [
    "/floor",
    "/clients",
    "/shelf",
    "/day",
    "/regrowth",
    "/waiting",
    "/messages",
    "/incidents",
    "/overview",
    "/proof",
];

/// Founded as the first-run page does it, by somebody who works alone; signed in.
async fn first_day() -> (Browser, impl Sized) {
    let (app, owner, database, stop) = Salon::nobody().await;
    let mut browser = Browser::stranger(&app);
    let page = browser.get("/first-run").await;
    assert_eq!(page.status, 200, "{}", page.body);
    let fields = [
        ("salon_name", "Kestrel Row"),
        ("zone", "Europe/Paris"),
        ("place", "eu"),
        ("manager_name", "Ondine Marsh"),
        ("passphrase", PASSPHRASE),
        ("manager_pin", PIN),
        ("station_name", "Chair 1"),
        ("station_kind", "chair"),
    ];
    let begun = browser.post("/first-run", &fields).await;
    assert_eq!(begun.status, 303, "{}", begun.body);
    let who: i64 =
        sqlx::query_scalar("select person_id from person").fetch_one(&owner).await.expect("one person");
    let door = browser.get("/sign-in").await;
    assert!(door.body.contains(" checked"), "where one person works, nobody has to be chosen");
    let signed = browser.post("/sign-in", &[("person", &who.to_string()), ("pin", PIN)]).await;
    assert_eq!(signed.status, 303, "{}", signed.body);
    (browser, (database, stop))
}

fn main_of(body: &str) -> &str {
    let main = body.split("<main").nth(1).expect("a page has a main part");
    main.split("</main>").next().unwrap_or_default()
}

/// Each empty place of a page, up to the end of its element, with what follows it.
fn empties(main: &str) -> Vec<(&str, &str)> {
    let mut found = Vec::new();
    for (at, _) in main.match_indices("class=\"empty\"") {
        let rest = &main[at..];
        let tag = if main[..at].ends_with("<p ") { "</p>" } else { "</div>" };
        let end = rest.find(tag).unwrap_or(rest.len());
        found.push((&rest[..end], &rest[end..]));
    }
    found
}

fn words(html: &str) -> String {
    let mut said = String::new();
    let mut inside = false;
    for c in html.split_once('>').map_or("", |(_, rest)| rest).chars() {
        match c {
            '<' => inside = true,
            '>' => {
                inside = false;
                said.push(' ');
            }
            c if !inside => said.push(c),
            _ => {}
        }
    }
    said.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// What is wrong with the empty places of a page.
fn wrong(path: &str, body: &str) -> Vec<String> {
    let main = main_of(body);
    let teaches = |(place, _): &(&str, &str)| {
        let leads = place.contains("href=\"") || main.contains("<form") || main.contains("class=\"act");
        (words(place).split_whitespace().count() >= 5) && leads
    };
    let bad = empties(main).into_iter().filter(|e| !teaches(e));
    bad.map(|(place, _)| format!("{path}: “{}” leads nowhere or teaches nothing", words(place))).collect()
}

#[tokio::test]
async fn every_empty_screen_of_the_first_day_teaches_and_leads_on() {
    let (mut browser, _salon) = first_day().await;
    let pages = TABLE.iter().flat_map(|lines| lines.iter());
    let plain = |path: &str| {
        !path.contains('{') && !path.ends_with(".csv") && !path.starts_with("/health") && path != "/live"
    };
    let pages: Vec<&str> = pages.filter(|l| l.method == "get" && plain(l.path)).map(|l| l.path).collect();
    let mut faults = Vec::new();
    let mut looked = 0;
    for path in pages {
        let page = browser.get(path).await;
        if page.status != 200 || !page.body.contains("<main") {
            continue;
        }
        looked += 1;
        faults.extend(wrong(path, &page.body));
        let main = main_of(&page.body);
        if !main.contains("href=\"") && !main.contains("<form") {
            faults.push(format!("{path}: a page without a way on"));
        }
        if EMPTY.contains(&path) && empties(main).is_empty() {
            faults.push(format!("{path}: nothing is here, and nothing says so"));
        }
        if path == "/overview" {
            // 4-look.md: empty screens teach. No picture of nothing is drawn.
            assert!(!main.contains("<figure>"), "an empty overview draws nothing");
        }
    }
    assert!(looked > 25, "{looked} pages");
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[tokio::test]
async fn every_page_of_a_client_nobody_has_met_teaches_and_leads_on() {
    let (mut browser, _salon) = first_day().await;
    let form = browser.get("/clients/new").await;
    let once = form.field("once");
    let kept =
        browser.post("/clients", &[("once", &once), ("name", "Nerys Amblin"), ("curl_group", "tight")]).await;
    assert_eq!(kept.status, 303, "{}", kept.body);
    let client = kept.location_id();
    let pages = TABLE.iter().flat_map(|lines| lines.iter());
    let of_client = |l: &&rinsebell::web::routes::Line| {
        l.method == "get"
            && l.path.starts_with("/clients/{id}")
            && !l.path[13..].contains('{')
            && matches!(l.open, Open::To(_))
    };
    let mut faults = Vec::new();
    let mut looked = 0;
    for line in pages.filter(of_client) {
        let path = line.path.replace("{id}", &client.to_string());
        let page = browser.get(&path).await;
        if page.status != 200 || !page.body.contains("<main") {
            continue;
        }
        looked += 1;
        faults.extend(wrong(&path, &page.body));
        let main = main_of(&page.body);
        // The tabs of the client lead everywhere and begin nothing; a copy to take home is a page of its own.
        let own = main.split("</nav>").last().unwrap_or_default();
        let on_screen = page.body.contains("class=\"station\"");
        if on_screen && !own.contains("href=\"") && !own.contains("<form") {
            faults.push(format!("{path}: a page without a way on: {}", words(&format!(">{own}"))));
        }
    }
    assert!(looked > 10, "{looked} pages");
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}
