//! The screens of a salon's own protocols: changed step by step, published, rehearsed without a trace.

use std::collections::BTreeMap;

use rinsebell::reference::Reference;
use rinsebell::store::protocols;

use crate::protocol_editor::{CODE, scoped, shipped};
use crate::support::{Answer, Browser, Salon};

pub async fn post(b: &mut Browser, page: &str, path: &str, fields: &[(&str, &str)]) -> Answer {
    let shown = b.get(page).await;
    assert_eq!(shown.status, 200, "{page}: {}", shown.body);
    let once = shown.field("once");
    let version =
        if shown.body.contains("name=\"version\"") { shown.field("version") } else { String::new() };
    let mut all = vec![("once", once.as_str()), ("version", version.as_str())];
    all.extend_from_slice(fields);
    b.post(path, &all).await
}

pub async fn publish(b: &mut Browser, fields: &[(&str, &str)]) -> Answer {
    let path = "/protocols/curl-retouch/publication";
    post(b, path, path, fields).await
}

/// Fields of the step form as the page holds them, one changed.
async fn step_fields(
    b: &mut Browser,
    code: &str,
    changed: &[(&str, &str)],
) -> (String, Vec<(String, String)>) {
    let page = format!("/protocols/{CODE}/draft/step?of={code}");
    let shown = b.get(&page).await;
    assert_eq!(shown.status, 200, "{}", shown.body);
    let mut fields: Vec<(String, String)> = Vec::new();
    for name in ["once", "version", "of", "title", "minutes_typical", "minutes_least", "hands_count"] {
        fields.push((name.into(), shown.field(name)));
    }
    for name in ["phase_target", "phase_least", "phase_most"] {
        if shown.body.contains(&format!("name=\"{name}\"")) {
            fields.push((name.into(), shown.field(name)));
        }
    }
    let area = |name: &str| {
        let at = shown.body.find(&format!("<textarea id=\"{name}\"")).expect("the field");
        let text = &shown.body[at..];
        text[text.find('>').expect("opened") + 1..text.find("</textarea>").expect("closed")].to_string()
    };
    for name in ["words", "cautions"] {
        fields.push((name.into(), area(name)));
    }
    for part in shown.body.split("<option value=\"").skip(1) {
        if part.split('>').next().is_some_and(|tag| tag.contains("selected")) {
            fields.push(("hands".into(), part.split('"').next().expect("a code").into()));
        }
    }
    for part in shown.body.split("<input type=\"checkbox\" name=\"").skip(1) {
        let tag = part.split('>').next().expect("a tag");
        if tag.contains("checked") {
            let mut texts = tag.split('"');
            let name = texts.next().expect("a name");
            let value = texts.nth(1).expect("a value");
            fields.push((name.into(), value.into()));
        }
    }
    for (name, value) in changed {
        fields.retain(|(n, _)| n != name);
        fields.push(((*name).into(), (*value).into()));
    }
    (format!("/protocols/{CODE}/draft/step"), fields)
}

async fn send_step(b: &mut Browser, code: &str, changed: &[(&str, &str)]) -> Answer {
    let (path, fields) = step_fields(b, code, changed).await;
    let fields: Vec<(&str, &str)> = fields.iter().map(|(a, b)| (a.as_str(), b.as_str())).collect();
    b.post(&path, &fields).await
}

#[tokio::test]
async fn a_manager_changes_a_copy_step_by_step_at_the_screen() {
    let salon = Salon::open().await;
    shipped(&salon).await;
    let mut office = salon.seat("Office", "office", salon.staff.manager).await;
    let (one, draft) = ("/protocols/curl-retouch", "/protocols/curl-retouch/draft");
    assert_eq!(office.get(draft).await.status, 404, "nothing begun");
    assert_eq!(
        post(&mut office, one, "/protocols/curl-retouch/drafts", &[("start", "current")]).await.status,
        303
    );
    // Sent as it stands, nothing changes.
    assert_eq!(send_step(&mut office, "cover", &[]).await.status, 303);
    let page = office.get(draft).await;
    assert!(page.body.contains("Nothing changed yet"), "{}", page.body);
    // A number that cannot be read comes back as typed.
    let again = send_step(&mut office, "cover", &[("phase_most", "twelve"), ("title", "Cover, ours")]).await;
    assert_eq!(again.status, 422);
    assert!(again.body.contains("value=\"twelve\"") && again.body.contains("value=\"Cover, ours\""));
    assert!(again.body.contains("phase_most-error"));
    // Below the floor: kept, and said beside the step and its field.
    let kept = send_step(&mut office, "cover", &[("phase_most", "45")]).await;
    assert_eq!(kept.status, 303, "{}", kept.body);
    let shown = office.get(&kept.location).await;
    assert!(shown.body.contains("value=\"45\"") && shown.body.contains("never above 15"), "{}", shown.body);
    let page = office.get(draft).await;
    assert!(page.body.contains("1 thing to mend") && page.body.contains("never above 15"), "{}", page.body);
    let no = publish(&mut office, &[("why", "Longer is better.")]).await;
    assert_eq!(no.status, 422, "{}", no.body);
    assert!(no.body.contains("never above 15") && no.body.contains("Longer is better."));
    assert_eq!(send_step(&mut office, "cover", &[("phase_most", "12")]).await.status, 303);
    // A step more, moved and taken out again.
    let order = "/protocols/curl-retouch/draft/order";
    let add = [("do", "add"), ("step", "dry"), ("like", "section")];
    assert_eq!(post(&mut office, draft, order, &add).await.status, 303);
    assert!(office.get(draft).await.body.contains("id=\"step-own-1\""));
    assert_eq!(post(&mut office, draft, order, &[("do", "earlier"), ("step", "own-1")]).await.status, 303);
    assert_eq!(post(&mut office, draft, order, &[("do", "drop"), ("step", "own-1")]).await.status, 303);
    assert!(!office.get(draft).await.body.contains("id=\"step-own-1\""));
    // Without a reason nothing is published.
    let no = publish(&mut office, &[("why", " ")]).await;
    assert_eq!(no.status, 422);
    assert!(no.body.contains("why-error"));
    let sent = publish(&mut office, &[("why", "Our cream works faster.")]).await;
    assert_eq!((sent.status, sent.location.as_str()), (303, one), "{}", sent.body);
    let page = office.get(one).await;
    assert!(
        page.body.contains("Our cream works faster.") && page.body.contains("<ins>12 minutes</ins>"),
        "{}",
        page.body
    );
    assert_eq!(office.get(draft).await.status, 404, "the draft is used up");
    // Taken out of what is offered, with a reason, and back.
    let retire = "/protocols/curl-retouch/retirement";
    let fields = [("seen", "1001"), ("offered", "no"), ("why", "Nobody asks for it.")];
    assert_eq!(post(&mut office, one, retire, &fields).await.status, 303);
    let mut s = scoped(&salon, salon.id).await;
    assert!(protocols::list_newest(&mut s).await.expect("listed").iter().all(|r| r.protocol != CODE));
    s.commit().await.expect("committed");
    let fields = [("seen", "1001"), ("offered", "yes"), ("why", "They ask again.")];
    assert_eq!(post(&mut office, one, retire, &fields).await.status, 409, "1002 is in force by now");
    let fields = [("seen", "1002"), ("offered", "yes"), ("why", "They ask again.")];
    assert_eq!(post(&mut office, one, retire, &fields).await.status, 303);
}

#[tokio::test]
async fn a_save_over_what_somebody_else_saved_is_told() {
    let salon = Salon::open().await;
    shipped(&salon).await;
    let mut office = salon.seat("Office", "office", salon.staff.manager).await;
    let begin = "/protocols/curl-retouch/drafts";
    assert_eq!(
        post(&mut office, "/protocols/curl-retouch", begin, &[("start", "current")]).await.status,
        303
    );
    let (path, old) = step_fields(&mut office, "cover", &[("title", "Cover it")]).await;
    assert_eq!(send_step(&mut office, "cover", &[("title", "Cover well")]).await.status, 303);
    let old: Vec<(&str, &str)> = old.iter().map(|(a, b)| (a.as_str(), b.as_str())).collect();
    assert_eq!(office.post(&path, &old).await.status, 409);
    assert!(office.get("/protocols/curl-retouch/draft").await.body.contains("Cover well"));
}

#[tokio::test]
async fn nobody_but_a_manager_sees_or_changes_protocols() {
    let salon = Salon::open().await;
    shipped(&salon).await;
    for (name, person) in
        [("Chair 1", salon.staff.stylist), ("Basin", salon.staff.assistant), ("Desk", salon.staff.reception)]
    {
        let mut seat = salon.seat(name, "chair", person).await;
        for path in ["/protocols", "/protocols/curl-retouch", "/protocols/curl-retouch/rehearsal"] {
            assert_eq!(seat.get(path).await.status, 403, "{name} {path}");
        }
        let once = rinsebell::secret::new_uuid();
        let fields = [("once", once.as_str()), ("start", "current")];
        assert_eq!(seat.post("/protocols/curl-retouch/drafts", &fields).await.status, 403, "{name}");
        assert!(!seat.get("/floor").await.body.contains("/protocols"), "{name} is offered no such screen");
    }
    let drafts: i64 = sqlx::query_scalar("select count(*) from protocol_draft")
        .fetch_one(&salon.owner)
        .await
        .expect("counted");
    assert_eq!(drafts, 0);
    let mut office = salon.seat("Office", "office", salon.staff.manager).await;
    assert_eq!(office.get("/protocols/no-such").await.status, 404);
    assert!(office.get("/floor").await.body.contains("href=\"/protocols\""));
}

/// Rows of every table of the schema.
async fn counts(salon: &Salon) -> BTreeMap<String, i64> {
    let tables: Vec<String> = sqlx::query_scalar(
        "select relname::text from pg_class where relkind = 'r' and relnamespace = 'public'::regnamespace",
    )
    .fetch_all(&salon.owner)
    .await
    .expect("tables");
    let mut all = BTreeMap::new();
    for table in tables {
        let sql = format!(
            "select count(*), coalesce(sum(hashtext(t::text)::bigint), 0)::bigint from \"{table}\" t"
        );
        let (count, sum): (i64, i64) =
            sqlx::query_as(sqlx::AssertSqlSafe(sql)).fetch_one(&salon.owner).await.expect("counted");
        // Being at a station is noted by every page; it is no record of a service.
        if table != "session" {
            all.insert(table, count.wrapping_mul(31).wrapping_add(sum));
        }
    }
    all
}

#[tokio::test]
async fn a_rehearsal_walks_every_step_and_records_nothing() {
    let salon = Salon::open().await;
    shipped(&salon).await;
    let mut office = salon.seat("Office", "office", salon.staff.manager).await;
    let before = counts(&salon).await;
    let mut path = "/protocols/curl-retouch/rehearsal".to_string();
    let (mut pages, mut ended) = (0, false);
    let titles: Vec<String> =
        Reference::shipped().protocol(CODE).expect("shipped").steps.iter().map(|s| s.title.clone()).collect();
    let mut seen = vec![false; titles.len()];
    while pages < 400 {
        let page = office.get(&path).await;
        assert_eq!(page.status, 200, "{path}");
        assert!(page.body.contains("Rehearsal: nothing is recorded"), "{path}");
        for (i, title) in titles.iter().enumerate() {
            seen[i] |=
                page.body.contains(&format!("<h1>{title}")) || page.body.contains(&format!("Begun: {title}"));
        }
        pages += 1;
        let Some(at) = page.body.find("data-rehearsal-next=\"") else {
            ended = page.body.contains("<h1>Finished");
            break;
        };
        let next = page.body[at + 21..].split('"').next().expect("an address").replace("&#38;", "&");
        path = next.replace("&amp;", "&");
    }
    assert!(ended, "it comes to its end after {pages} pages: {path}");
    let missed: Vec<_> = titles.iter().zip(&seen).filter(|(_, s)| !**s).map(|(t, _)| t).collect();
    assert!(missed.is_empty(), "every step is walked, not so {missed:?}");
    assert_eq!(counts(&salon).await, before, "no row of any table changed");
    let bad = office.get("/protocols/curl-retouch/rehearsal?acts=99999999&from=-5").await;
    assert_eq!(bad.status, 200, "whatever the address says, it is a rehearsal");
}
