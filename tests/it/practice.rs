//! A practice on a head of yarn: a whole service by an assistant, at the Run screen's own forms, without a row written.

use rinsebell::domain::protocol::Kind;
use rinsebell::reference::Reference;

use crate::protocol_editor::shipped;
use crate::protocol_screens::counts;
use crate::support::{Answer, Browser, Salon};

const SAID: &str = "Practice on a head of yarn: nothing is recorded.";

/// A form of a page: where it is sent, its hidden fields, its first button.
#[derive(Debug)]
struct Shown {
    action: String,
    fields: Vec<(String, String)>,
}

fn attribute(tag: &str, name: &str) -> String {
    let found = tag.split(&format!(" {name}=\"")).nth(1).and_then(|rest| rest.split('"').next());
    found.unwrap_or_default().replace("&#38;", "&").replace("&amp;", "&")
}

/// Every form of the page, in its order; the fields that a first tap would send.
fn forms(body: &str) -> Vec<Shown> {
    let whole = body.split("<form").skip(1).map(|f| f.split("</form>").next().unwrap_or_default());
    whole.map(shown).collect()
}

fn shown(form: &str) -> Shown {
    let mut fields = Vec::new();
    for tag in form.split('<').skip(1) {
        let (name, value) = (attribute(tag, "name"), attribute(tag, "value"));
        if tag.starts_with("input") && !name.is_empty() {
            fields.push((name, value));
        } else if tag.starts_with("select") {
            let of = form.split(&format!("name=\"{name}\"")).nth(1).unwrap_or_default();
            let options = of.split("</select>").next().unwrap_or_default();
            let chosen = options.split("<option").skip(1);
            let chosen = chosen.clone().find(|o| o.contains(" selected")).or_else(|| chosen.clone().next());
            let text = chosen.and_then(|o| o.split('>').nth(1)).and_then(|o| o.split('<').next());
            let value = chosen.filter(|o| o.contains("value=\"")).map(|o| attribute(o, "value"));
            fields.push((name, value.or(text.map(String::from)).unwrap_or_default()));
        }
    }
    let button = form.split("<button").skip(1).find(|b| b.contains(" name=\""));
    if let Some(button) = button {
        fields.push((attribute(button, "name"), attribute(button, "value")));
    }
    Shown { action: attribute(form, "action"), fields }
}

async fn send(seat: &mut Browser, form: &Shown) -> Answer {
    let fields: Vec<(&str, &str)> = form.fields.iter().map(|(n, v)| (n.as_str(), v.as_str())).collect();
    seat.post(&form.action, &fields).await
}

/// Where a link with these words leads.
fn link(body: &str, words: &str) -> Option<String> {
    let links = body.split("<a ").skip(1);
    let found = links
        .filter_map(|a| a.split("</a>").next())
        .find(|a| a.split('>').nth(1).is_some_and(|w| w.starts_with(words)));
    found.map(|a| attribute(&format!(" {a}"), "href"))
}

/// The bar's act, where it is sent rather than leads to a place of the page.
fn main_act(body: &str) -> Option<Shown> {
    let before = body.split("id=\"act\" class=\"act main\" data-key").next()?;
    let form = before.len() < body.len();
    let at = before.rfind("<form").filter(|_| form)?;
    Some(shown(body[at + 5..].split("</form>").next().unwrap_or_default()))
}

/// The page without what is answered already, which is only there to be put right.
fn unanswered(body: &str) -> String {
    let (before, answered) = body.split_once("id=\"answered\"").unwrap_or((body, ""));
    let after = answered.split_once("</section>").map_or("", |(_, rest)| rest);
    let whole = format!("{before}{after}");
    whole
        .split("<form ")
        .enumerate()
        .filter(|(n, form)| *n == 0 || !form.split('>').next().is_some_and(|tag| tag.contains("id=\"held-")))
        .map(|(n, form)| if n == 0 { form.to_owned() } else { format!("<form {form}") })
        .collect()
}

/// What a hand would do next on this page: the bowl, a hold point that waits, a reading, the main act.
fn next(body: &str) -> Option<Shown> {
    let body = &unanswered(body);
    let all = forms(body);
    let to = |path: &'static str| move |f: &&Shown| f.action.contains(path);
    let has = |name: &'static str| move |f: &&Shown| f.fields.iter().any(|(n, _)| n == name);
    let waits = |f: &&Shown| has("sign")(f);
    let kind = |k: &'static str| move |f: &&Shown| f.fields.iter().any(|(n, v)| n == "kind" && v == k);
    let bowl = all.iter().find(|f| to("/lots")(f) && !body.contains("id=\"more-bowl\""));
    let index = |f: &Shown| all.iter().position(|other| std::ptr::eq(other, f));
    let leads = body.contains("id=\"act\" class=\"act main\" href=");
    let chosen = bowl
        .and_then(index)
        .or_else(|| all.iter().find(waits).and_then(index))
        .or_else(|| all.iter().find(|f| kind("rods_noted")(f)).and_then(index))
        .or_else(|| {
            let mut read = all.iter().filter(|_| leads);
            read.find(|f| kind("test_curl_read")(f) || kind("progress_read")(f)).and_then(index)
        });
    match chosen {
        Some(at) => all.into_iter().nth(at),
        None => main_act(body),
    }
}

#[tokio::test]
async fn an_assistant_practises_a_whole_service_and_no_row_of_any_table_changes() {
    let salon = Salon::open().await;
    shipped(&salon).await;
    let mut basin = salon.seat("Basin", "basin", salon.staff.assistant).await;
    let before = counts(&salon).await;
    let list = basin.get("/practice").await;
    assert_eq!(list.status, 200, "{}", list.body);
    let services = Reference::shipped().protocols.iter().filter(|p| p.kind == Kind::Service).count();
    assert_eq!(list.body.matches("href=\"/practice/").count(), services, "every service and nothing else");
    let mut path = "/practice/curl-retouch".to_string();
    let (mut acts, mut ended, mut bells, mut refused) = (0, false, 0, 0);
    let mut waited = String::new();
    while acts < 500 {
        let page = basin.get(&path).await;
        assert_eq!(page.status, 200, "{path}\n{}", page.body);
        assert!(page.body.contains(SAID) && page.body.contains("Head of yarn"), "{path}");
        assert!(!page.body.contains("\"/runs/"), "nothing leads to a real service: {path}");
        bells += usize::from(page.body.contains("data-bell=\""));
        if page.body.contains("Practise it again") {
            ended = true;
            break;
        }
        // A hand that learns waits for what a step takes, once for each.
        let headline =
            page.body.split("<h1").nth(1).and_then(|h| h.split("</h1>").next()).unwrap_or_default();
        if let Some(on) = link(&page.body, "On until the step").filter(|_| headline != waited) {
            waited = headline.to_owned();
            path = on;
            continue;
        }
        if refused == 0
            && page.body.contains("name=\"sign\"")
            && let Some(early) = main_act(&page.body)
        {
            // Too early: the rules of a real service say so, and the page is a practice still.
            let answer = send(&mut basin, &early).await;
            assert_eq!(answer.status, 422, "{early:?}\n{}", answer.body);
            assert!(
                answer.body.contains(SAID) && answer.body.contains("class=\"refusal\""),
                "{}",
                answer.body
            );
            refused += 1;
        }
        let Some(form) = next(&page.body) else {
            // Asked whether to go on early: a hand that learns keeps working.
            assert!(page.body.contains("href=\"#early\""), "nothing to do at {path}\n{}", page.body);
            path = link(&page.body, "Two minutes on").expect("the clock is put on");
            acts += 1;
            continue;
        };
        let form = soaked(form);
        let answer = send(&mut basin, &form).await;
        acts += 1;
        if answer.status == 303 {
            path = answer.location;
            continue;
        }
        assert_eq!(answer.status, 422, "{form:?}\n{}", answer.body);
        assert!(
            answer.body.contains(SAID) && answer.body.contains("class=\"refusal\""),
            "a refusal says why"
        );
        refused += 1;
        let on = link(&answer.body, "On until the step").or_else(|| link(&answer.body, "Ten minutes on"));
        path = on.unwrap_or_else(|| panic!("{form:?}\n{}", answer.body));
    }
    assert!(ended, "it comes to its end: {acts} acts, {path}");
    assert!(acts > 60, "a whole service is more than {acts} acts");
    assert!(bells > 0 && refused > 0, "{bells} pages with a bell, {refused} refusals");
    assert_eq!(counts(&salon).await, before, "no row of any table changed");
}

/// A curl that is not there yet is read as a firm S by this hand, so that it may rinse.
fn soaked(mut form: Shown) -> Shown {
    for (name, value) in &mut form.fields {
        if name == "reading" {
            *value = value.replace("first:none", "first:s").replace(":not-yet", ":reached");
        }
    }
    form
}

#[tokio::test]
async fn the_clock_is_put_on_a_bell_rings_and_a_tap_is_taken_back() {
    let salon = Salon::open().await;
    shipped(&salon).await;
    let mut chair = salon.seat("Chair", "chair", salon.staff.stylist).await;
    let before = counts(&salon).await;
    let mut path = "/practice/curl-retouch".to_string();
    // To the first pass, its first quadrant touched.
    for _ in 0..80 {
        let page = chair.get(&path).await;
        if page.body.contains("back right touched, pass 1") {
            break;
        }
        let answer = send(&mut chair, &soaked(next(&page.body).expect("something to do"))).await;
        path = if answer.status == 303 {
            answer.location
        } else {
            link(&answer.body, "Ten minutes on").expect("a link")
        };
    }
    let touched = chair.get(&path).await;
    assert!(touched.body.contains("back right touched, pass 1"), "{path}");
    // Two minutes on, by the practice's own clock.
    let clock =
        |body: &str| body.split("it stands at ").nth(1).and_then(|rest| rest.get(..5)).map(String::from);
    let on = link(&touched.body, "Two minutes on").expect("a link");
    let later = chair.get(&on).await;
    assert_ne!(clock(&later.body), clock(&touched.body));
    // 3-calc.md: the longest allowed rings whatever the target says; ten minutes nine times are past any of it.
    let mut over = on.clone();
    for _ in 0..9 {
        over = link(&chair.get(&over).await.body, "Ten minutes on").expect("a link");
    }
    let rings = chair.get(&over).await;
    assert!(rings.body.contains(":most:") && rings.body.contains("longest allowed"), "{}", rings.body);
    assert!(rings.body.contains("data-bell-words=\"Head of yarn: "), "the bell is a head of yarn's");
    // Taken back, it is as it was; so is one act back.
    let undo = forms(&touched.body);
    let undo = undo.iter().find(|f| f.fields.iter().any(|(n, v)| n == "kind" && v == "fact_withdrawn"));
    let answer = send(&mut chair, undo.expect("the last tap may be taken back")).await;
    assert_eq!(answer.status, 303, "{}", answer.body);
    let without = chair.get(&answer.location).await;
    assert!(!without.body.contains("back right touched, pass 1</td>"), "taken back");
    let back = chair.get(&link(&touched.body, "One act back").expect("a link")).await;
    assert!(!back.body.contains("back right touched, pass 1"));
    assert_eq!(counts(&salon).await, before, "no row of any table changed");
}

#[tokio::test]
async fn whatever_an_address_says_it_is_a_practice() {
    let salon = Salon::open().await;
    shipped(&salon).await;
    let mut chair = salon.seat("Chair", "chair", salon.staff.stylist).await;
    let now = time::OffsetDateTime::now_utc().unix_timestamp();
    for query in
        ["from=-5&ahead=x&did=9", "from=99999999999999999&ahead=-4", "ahead=999999999&from=1&did=~~~"]
    {
        let page = chair.get(&format!("/practice/curl-retouch?{query}")).await;
        assert_eq!(page.status, 200, "{query}");
        assert!(page.body.contains(SAID), "{query}");
    }
    let made_up = chair.get(&format!("/practice/curl-retouch?from={now}&ahead=0&did=5s:7~6e")).await;
    assert!(made_up.body.contains("stands where it was still allowed"), "{}", made_up.body);
    let long = format!("/practice/curl-retouch?from={now}&did={}", "0q~".repeat(6000));
    assert_eq!(chair.get(&long).await.status, 200);
    assert_eq!(chair.get("/practice/no-such").await.status, 404);
    // A test visit records a test, and a head of yarn has no skin.
    assert_eq!(chair.get("/practice/visit-patch-test").await.status, 404);
    let mut desk = salon.seat("Desk", "desk", salon.staff.reception).await;
    assert_eq!(desk.get("/practice").await.status, 403, "who gives no service practises none");
    for path in ["/floor", "/practice/curl-retouch?from=1"] {
        let page = chair.get(path).await;
        assert!(page.body.contains("href=\"/practice\""), "{path} leads to the practice");
    }
    let mut office = salon.seat("Office", "office", salon.staff.manager).await;
    assert!(office.get("/team").await.body.contains("Practise on a head of yarn"));
}
