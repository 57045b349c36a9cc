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
    let said = format!("/regrowth?noted={juno}");
    assert_eq!((done.status, &done.location), (303, &said), "{}", done.body);
    assert!(desk.get(&said).await.body.contains("Noted: Juno Ashby, message left."));
    note(&mut desk, ysolde, &[("outcome", "no-contact-wanted")]).await;
    let page = desk.get("/regrowth").await.body;
    assert!(page.contains("<h1>One to reach today</h1>") && !page.contains("Juno Ashby"), "{page}");
    let waiting = desk.get("/regrowth?group=waiting").await.body;
    assert!(waiting.contains("Juno Ashby") && waiting.contains("14 May: message left"), "{waiting}");
    assert!(waiting.contains("Joss Ember: rings back") && !waiting.contains("Ysolde Marr"));
    let held = desk.get("/regrowth?group=held").await.body;
    assert!(held.contains("Ysolde Marr") && held.contains("Change the wish"), "{held}");

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
    assert!(desk.get("/regrowth").await.body.contains("Nobody to reach today"));
    let page = desk.get("/regrowth?group=held").await.body;
    assert!(page.contains("later, from 2 Jun"), "{page}");
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
    let page = desk.get("/regrowth?group=held").await.body;
    assert!(page.contains("a stylist looks first"), "{page}");
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
    assert!(chair.get("/regrowth?group=held").await.body.contains("plan refused"));
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
    let (mut next, mut pages, mut seen) =
        (String::from("/regrowth"), Vec::new(), std::collections::BTreeSet::new());
    while !next.is_empty() {
        let page = desk.get(&next).await;
        assert_eq!(page.status, 200);
        pages.push(page.body.matches("aria-label=\"window ").count());
        seen.extend(
            page.body.split("href=\"/clients/").skip(1).map(|l| l.split('"').next().unwrap().to_string()),
        );
        let link = page.body.split("href=\"").find(|l| l.starts_with("/regrowth?after=")).map(str::to_string);
        next = link.map_or_else(String::new, |l| l.split('"').next().unwrap().to_string());
    }
    assert_eq!(pages, [50, 50, 50, 50, 30]);
    assert_eq!(seen.len(), 230, "each once");
    for bad in ["after=soon", "after=1_NaN_3", "group=soonish", "service=x", "person=x", "curl=x"] {
        assert_eq!(desk.get(&format!("/regrowth?{bad}")).await.status, 422, "{bad}");
    }
}

async fn due_row(salon: &Salon, client: ClientId, last_on: &str, rate_mm: f32) {
    // Dates that a seven-year-old could check: the window opens at ten weeks, the latest week is the twentieth.
    sqlx::query(
        "insert into due (salon_id, client_id, protocol, last_on, target_mm, rate_mm, rate_sd, early_on, middle_on, late_on, least_on, latest_on)
         select $1, $2, 'curl-retouch', d, 25, $4, 0.05, d + 70, d + 80, d + 90, d + 70, d + 140 from (select $3::text::date as d) x",
    )
    .bind(salon.id.0)
    .bind(client.0)
    .bind(last_on)
    .bind(rate_mm)
    .execute(&salon.owner)
    .await
    .expect("due");
}

/// The order of the page against the domain's own, over many clients: the database turns pages by the same key.
#[tokio::test]
async fn the_list_is_in_the_order_of_the_domain_and_says_why() {
    use rinsebell::domain::due::{CALLED_DAYS, LAPSED_DAYS, Urgency, View};
    use rinsebell::flow::due_list::{Question, read_page};
    let salon = salon_in_may().await;
    salon.open_desk(3, 2).await;
    for n in 0..120_i64 {
        let client = salon.client(&format!("Client {n}")).await;
        let last = date!(2026 - 05 - 14) - time::Duration::days(60 + (n * 37) % 150);
        due_row(&salon, client, &last.to_string(), 0.2 + (n * 13 % 20) as f32 / 100.0).await;
    }
    let mut s = salon.app.begin(salon.id).await.expect("begin");
    let zone = rinsebell::calendar::Zone::find("Europe/Paris").unwrap();
    let mut asked = Question {
        view: View::Now,
        usual: None,
        assigned: None,
        protocol: None,
        curl: None,
        text: "",
        after: None,
    };
    let mut all: Vec<Urgency> = Vec::new();
    loop {
        let page = read_page(&mut s, &salon.app, &zone, 183, &asked).await.expect("a page");
        for listed in &page.rows {
            assert_eq!(listed.urgency.key(), (listed.row.rank, listed.row.key, listed.row.due.client_id));
            assert!(listed.row.free_on > date!(2026 - 05 - 13) && listed.row.free_on < date!(2026 - 06 - 05));
            assert!(listed.urgency.past_days <= CALLED_DAYS);
            all.push(listed.urgency);
        }
        asked.after = page.next;
        if page.next.is_none() {
            break;
        }
    }
    assert!(all.len() > 60, "{}", all.len());
    assert!(all.is_sorted(), "the database orders as the domain does");
    assert!(all.iter().any(|u| u.past_days > LAPSED_DAYS), "lapsed lately");
    assert!(all.iter().any(|u| u.past_days > 0) && all.iter().any(|u| u.past_days == 0));
    s.commit().await.expect("read");
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    let page = desk.get("/regrowth").await.body;
    assert!(page.contains("past the latest week: the line of demarcation gets weaker"), "{page}");
    let last = desk.get("/regrowth?after=1_-3_0").await.body;
    assert!(last.contains("the next free chair ("), "{last}");
}

#[tokio::test]
async fn the_address_bar_narrows_the_list() {
    let salon = salon_in_may().await;
    let ysolde = salon.due_client("Ysolde Marr", "2025-12-20").await;
    let juno = salon.due_client("Juno Ashby", "2026-02-20").await;
    salon.due_client("Amabel Thorne_50%", "2025-10-01").await;
    sqlx::query("update client set curl_group = 'loose', usual_person_id = $2, phone = '+33 1 7000 42' where client_id = $1")
        .bind(juno.0)
        .bind(salon.staff.other_stylist.0)
        .execute(&salon.owner)
        .await
        .unwrap();
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    let mut names = async |query: &str| -> Vec<&'static str> {
        let page = desk.get(&format!("/regrowth?{query}")).await;
        assert_eq!(page.status, 200, "{query}: {}", page.body);
        assert!(!page.body.contains("&#60;svg"), "a picture is drawn, not spelled: {}", page.body);
        ["Ysolde", "Juno", "Amabel"].into_iter().filter(|n| page.body.contains(*n)).collect()
    };
    assert_eq!(names("").await, ["Ysolde", "Juno"], "Amabel is lapsed: 18 Feb was the latest week");
    assert_eq!(names("group=lapsed").await, ["Amabel"]);
    assert_eq!(names("group=overdue").await, ["Ysolde"]);
    assert_eq!(names("group=early").await, ["Juno"]);
    assert_eq!(names("group=blocked").await, ["Ysolde", "Juno", "Amabel"], "no consult, no patch test");
    for empty in ["group=late", "group=promised", "service=gloss", "whose=me"] {
        assert_eq!(names(empty).await, [""; 0], "{empty}");
    }
    assert_eq!(names("curl=loose").await, ["Juno"]);
    assert_eq!(names(&format!("person={}", salon.staff.stylist)).await, ["Ysolde"]);
    assert_eq!(names("text=ash").await, ["Juno"]);
    assert_eq!(names("text=ysol").await, ["Ysolde"]);
    assert_eq!(names("text=7000").await, ["Juno"]);
    assert_eq!(names("text=s").await, [""; 0], "words begin with it, letters inside do not count");
    assert_eq!(names("group=lapsed&text=thorne_50%25").await, ["Amabel"]);
    assert_eq!(names("text=%25").await, [""; 0], "a sign of a pattern is taken as itself");
    // Assigned.
    let mut manager = salon.seat("Office", "office", salon.staff.manager).await;
    let path = format!("/clients/{ysolde}/assignment");
    let once = manager.get(&format!("/clients/{ysolde}/followups")).await.field("once");
    let to = salon.staff.reception.to_string();
    assert_eq!(manager.post(&path, &[("once", &once), ("person", &to)]).await.status, 303);
    assert_eq!(names("whose=me").await, ["Ysolde"]);
    assert_eq!(names("whose=nobody").await, ["Juno"]);
    let once = manager.get(&format!("/clients/{ysolde}/followups")).await.field("once");
    let basin = salon.staff.assistant.to_string();
    let no = manager.post(&path, &[("once", &once), ("person", &basin)]).await;
    assert_eq!(no.status, 422, "an assistant does not follow up");
}
