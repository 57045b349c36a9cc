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
    fields.extend(selected(&shown.body, &["hands", "sections"]));
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

/// What is chosen in each select of these names, in the order of the page.
fn selected(body: &str, names: &[&str]) -> Vec<(String, String)> {
    let mut all = Vec::new();
    for select in body.split("<select ").skip(1) {
        let tag = select.split('>').next().expect("a tag");
        let name = tag.split("name=\"").nth(1).and_then(|n| n.split('"').next()).expect("a name");
        let options = select.split("</select>").next().expect("closed");
        let chosen = options
            .split("<option value=\"")
            .skip(1)
            .find(|o| o.split('>').next().is_some_and(|tag| tag.contains("selected")));
        if names.contains(&name) {
            let code = chosen.and_then(|o| o.split('"').next()).unwrap_or_default();
            all.push((name.to_string(), code.to_string()));
        }
    }
    all
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
    let publication = "/protocols/curl-retouch/publication";
    let offered = office.get(publication).await;
    assert!(offered.body.contains("never above 15") && !offered.body.contains(">Publish</button>"));
    // Sent all the same, it is refused.
    let (once, version) = (rinsebell::secret::new_uuid(), page.field("version"));
    let sent = [("once", once.as_str()), ("version", version.as_str()), ("why", "Longer is better.")];
    let no = office.post(publication, &sent).await;
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
    let told = office.post(&path, &old).await;
    assert_eq!(told.status, 409);
    // What was typed stands in the form, what was saved meanwhile beside it, and nothing is kept yet.
    assert!(told.body.contains("value=\"Cover it\""), "{}", told.body);
    assert!(told.body.contains("<del>Cover well</del>") && told.body.contains("<ins>Cover it</ins>"));
    let draft = "/protocols/curl-retouch/draft";
    assert!(office.get(draft).await.body.contains("Cover well"));
    // Kept again with what the page holds by now, it is in force over the other.
    let mut again: Vec<(&str, &str)> =
        old.iter().filter(|(n, _)| !["once", "version"].contains(n)).copied().collect();
    let (once, version) = (told.field("once"), told.field("version"));
    again.extend([("once", once.as_str()), ("version", version.as_str())]);
    assert_eq!(office.post(&path, &again).await.status, 303);
    assert!(office.get(draft).await.body.contains("Cover it"));
    // The same of the service as a whole.
    let (_, mut whole) = service_fields(&mut office).await;
    assert_eq!(send_step(&mut office, "cover", &[("title", "Cover well again")]).await.status, 303);
    put(&mut whole, "title", "Our own retouch");
    let told = office.post(draft, &pairs(&whole)).await;
    assert_eq!(told.status, 409);
    assert!(
        told.body.contains("value=\"Our own retouch\"") && told.body.contains("<ins>Our own retouch</ins>")
    );
    // Thrown away meanwhile: the words stand there to be copied.
    let gone = post(&mut office, draft, "/protocols/curl-retouch/draft/removal", &[]).await;
    assert_eq!(gone.status, 303);
    for (at, fields) in [(path.as_str(), old.clone()), (draft, pairs(&whole))] {
        let fresh = rinsebell::secret::new_uuid();
        let mut fields: Vec<(&str, &str)> = fields.into_iter().filter(|(n, _)| *n != "once").collect();
        fields.push(("once", fresh.as_str()));
        let told = office.post(at, &fields).await;
        assert_eq!(told.status, 409, "{}", told.body);
        let words = if at == draft { "Our own retouch" } else { "Cover it" };
        assert!(told.body.contains(&format!(">{words}</textarea>")), "{}", told.body);
    }
}

fn pairs(fields: &[(String, String)]) -> Vec<(&str, &str)> {
    fields.iter().map(|(a, b)| (a.as_str(), b.as_str())).collect()
}

fn put(fields: &mut Vec<(String, String)>, name: &str, value: &str) {
    fields.retain(|(n, _)| n != name);
    fields.push((name.into(), value.into()));
}

/// The page of the draft, and the fields of the service as a whole as it holds them.
async fn service_fields(b: &mut Browser) -> (Answer, Vec<(String, String)>) {
    let shown = b.get("/protocols/curl-retouch/draft").await;
    let at = shown.body.find("id=\"service\"").expect("the form");
    let mut form = Answer { body: shown.body[at..].to_string(), ..shown };
    form.body.truncate(form.body.find("</form>").expect("it ends"));
    let mut fields: Vec<(String, String)> = Vec::new();
    for name in ["once", "version", "title", "target_mm", "least_weeks", "middle_weeks", "latest_weeks"] {
        fields.push((name.into(), form.field(name)));
    }
    for part in form.body.split("name=\"application\" value=\"").skip(1) {
        fields.push(("application".into(), part.split('"').next().expect("a value").into()));
    }
    fields.extend(selected(&form.body, &["strength", "sections"]));
    let text = form.body.split("id=\"stop_words\"").nth(1).and_then(|t| t.split('>').nth(1)).expect("words");
    fields.push(("stop_words".into(), text.split("</textarea").next().unwrap_or(text).into()));
    (form, fields)
}

async fn send_service(b: &mut Browser, changed: &[(&str, &str)]) -> Answer {
    let (_, mut fields) = service_fields(b).await;
    for (name, value) in changed {
        put(&mut fields, name, value);
    }
    b.post("/protocols/curl-retouch/draft", &pairs(&fields)).await
}

/// The salon's own title and weeks are on the book, the day sheet and Regrowth; a service offered no more is in no opening.
#[tokio::test]
async fn weeks_sections_and_strengths_are_the_salons_own_and_known_wherever_it_is_named() {
    let salon = crate::bookings::desk_in_may(2, 1).await;
    shipped(&salon).await;
    let client = salon.due_client("Juno Ashby", "2026-02-20").await;
    let other = salon.due_client("Ysolde Marr", "2026-01-10").await;
    let mut office = salon.seat("Office", "office", salon.staff.manager).await;
    let one = "/protocols/curl-retouch";
    let began = post(&mut office, one, "/protocols/curl-retouch/drafts", &[("start", "current")]).await;
    assert_eq!(began.status, 303);
    // Sent as it stands, nothing changes.
    assert_eq!(send_service(&mut office, &[]).await.status, 303);
    let draft = "/protocols/curl-retouch/draft";
    assert!(office.get(draft).await.body.contains("Nothing changed yet"));
    // Weeks out of order, a quadrant left out: kept, and said.
    let odd = [("least_weeks", "30"), ("sections", "back-left")];
    assert_eq!(send_service(&mut office, &odd).await.status, 303);
    let page = office.get(draft).await;
    assert!(page.body.contains("weeks go least, middle, latest"), "{}", page.body);
    assert!(page.body.contains("a quadrant is left out"), "{}", page.body);
    assert_eq!(send_service(&mut office, &[("target_mm", "twenty")]).await.status, 422);
    let (_, mut fields) = service_fields(&mut office).await;
    for (name, value) in
        [("title", "Heron retouch"), ("least_weeks", "14"), ("middle_weeks", "15"), ("latest_weeks", "22")]
    {
        put(&mut fields, name, value);
    }
    for name in ["sections", "strength"] {
        fields.retain(|(n, _)| n != name);
    }
    let order = ["back-left", "back-right", "front-right", "front-left"];
    fields.extend(order.map(|s| ("sections".to_string(), s.to_string())));
    fields.extend(["mild", ""].map(|s| ("strength".to_string(), s.to_string())));
    let kept = office.post(draft, &pairs(&fields)).await;
    assert_eq!(kept.status, 303, "{}", kept.body);
    let sent = publish(&mut office, &[("why", "Our weeks, our order.")]).await;
    assert_eq!(sent.status, 303, "{}", sent.body);
    let mut s = scoped(&salon, salon.id).await;
    let own =
        rinsebell::flow::protocols::in_force(&mut s, &salon.app, CODE).await.expect("read").expect("there");
    s.commit().await.expect("committed");
    let sections: Vec<&str> = own.sections.iter().map(|x| x.code()).collect();
    assert_eq!(sections, order);
    let strengths: Vec<_> = own.applications.iter().map(|a| a.strength_most.map(|x| x.code())).collect();
    assert_eq!(strengths, [Some("mild"), None, None]);
    let again = own.retouch.expect("it comes again");
    assert_eq!((again.least_weeks, again.middle_weeks, again.latest_weeks), (14, 15, 22));
    // 14 and 22 weeks after 20 February and 10 January 2026, by a calendar.
    let dues: Vec<(time::Date, time::Date)> =
        sqlx::query_as("select least_on, latest_on from due where client_id = any($1) order by client_id")
            .bind(vec![client.0, other.0])
            .fetch_all(&salon.owner)
            .await
            .expect("read");
    use time::macros::date;
    assert_eq!(
        dues,
        [(date!(2026 - 05 - 29), date!(2026 - 07 - 24)), (date!(2026 - 04 - 18), date!(2026 - 06 - 13))]
    );
    let due = salon.refresh_due(client).await.expect("due");
    assert_eq!((due.least_on, due.latest_on), dues[0], "worked out anew it is the same");
    let mut desk = salon.seat("Desk", "desk", salon.staff.reception).await;
    let search = format!("/openings?client={client}&protocol={CODE}&wanted=2026-06-04&at=10:00&days=7");
    let found = desk.get(&search).await;
    assert!(found.body.contains("Heron retouch:"), "{}", found.body);
    let form = crate::bookings::form_of(&found, 0);
    let start = crate::bookings::value(&form, "start").to_string();
    let booked = crate::bookings::send(&mut desk, &form).await;
    assert_eq!(booked.status, 303, "{}", booked.body);
    for path in [
        &booked.location,
        "/regrowth",
        &format!("/day?on={}", &start[..10]),
        &format!("/clients/{other}/followups"),
    ] {
        let page = desk.get(path).await;
        assert!(
            page.body.contains("Heron retouch") && !page.body.contains("Curl retouch"),
            "{path}: {}",
            page.body
        );
    }
    let fields = [("seen", "1001"), ("offered", "no"), ("why", "Nobody asks for it.")];
    assert_eq!(post(&mut office, one, "/protocols/curl-retouch/retirement", &fields).await.status, 303);
    let page = desk.get(&format!("/openings?client={other}")).await;
    assert!(!page.body.contains(&format!("value=\"{CODE}\"")), "not among the services: {}", page.body);
    let page = desk.get(&format!("/openings?client={other}&protocol={CODE}&wanted=2026-06-04")).await;
    assert!(page.body.contains("offers this service no more"), "{}", page.body);
    assert!(!page.body.contains("action=\"/bookings\""));
    assert!(desk.get(&booked.location).await.body.contains("Heron retouch"), "what is booked keeps its name");
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
pub async fn counts(salon: &Salon) -> BTreeMap<String, i64> {
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
