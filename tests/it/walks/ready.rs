//! Everything before the first step, through the forms: shelf, client, tests, consult, plan, sheet times, start.

use rinsebell::domain::chemistry::Strength;
use rinsebell::domain::chemistry::family::Family;
use rinsebell::domain::protocol::{Chemical, Clock, PlannedApplication, Protocol};
use rinsebell::domain::qualification::Chemistry;
use rinsebell::domain::skin_test::is_never_left_on_skin;

use crate::chair::{consult, new_client, product, send, take, with};
use crate::support::{Browser, Salon};

/// A product of the walk with its one lot.
pub struct Stood {
    pub letter: char,
    pub id: i64,
    pub lot: i64,
    pub family: Family,
    /// Left on skin before the service.
    pub skin: bool,
    pub opening: bool,
}

/// Minutes of a sheet for the walk, invented: target and longest, on the hair and in the step.
const fn minutes(family: Family, straightens: bool) -> [(&'static str, &'static str); 2] {
    match Chemistry::of(family) {
        Chemistry::Hydroxide => [("13", "15"), ("10", "12")],
        Chemistry::Thio if straightens => [("40", "45"), ("12", "15")],
        Chemistry::Thio => [("45", "60"), ("15", "18")],
        _ => [("35", "40"), ("20", "25")],
    }
}

fn fields(pairs: &[(&'static str, &str)]) -> Vec<(&'static str, String)> {
    pairs.iter().map(|(k, v)| (*k, (*v).to_string())).collect()
}

fn use_of(a: &PlannedApplication) -> &'static str {
    match (a.chemical, a.family) {
        (Chemical::Closing, _) => "neutraliser",
        (_, Family::Lightener) => "lightener",
        (_, Family::OxidativeColour | Family::DirectDye) => "colour",
        _ if a.straightens => "straightener",
        _ => "lotion",
    }
}

/// What the lot form asks to have read on the label, ticked as read.
fn label_words(page: &str) -> Vec<(&'static str, String)> {
    page.split("name=\"seen\"")
        .skip(1)
        .filter_map(|rest| rest.split("value=\"").nth(1)?.split('"').next())
        .map(|w| ("seen", w.replace("&#39;", "'").replace("&#38;", "&")))
        .collect()
}

/// One product and lot for every application, entered on the Shelf.
pub async fn stock(at: &mut Browser, protocol: &Protocol) -> Vec<Stood> {
    let mut shelf = Vec::new();
    for a in &protocol.applications {
        let skin = a.chemical == Chemical::Opening && !is_never_left_on_skin(a.family);
        let name = format!("Kestrel {} {}", a.title, a.letter);
        let strength = a.strength_most.unwrap_or(Strength::Regular).code();
        let record = with(
            product(),
            &[
                ("name", name.as_str()),
                ("family", a.family.code()),
                ("use_as", use_of(a)),
                ("strength", strength),
                ("base", "not-said"),
                ("skin_test", if is_never_left_on_skin(a.family) { "none-by-sheet" } else { "patch" }),
            ],
        );
        let made = send(at, "/shelf/products/new", "/shelf/products", &record).await;
        assert_eq!(made.status, 303, "{}: {}", a.title, words_of(&made.body));
        let page = made.location.clone();
        let form = format!("{page}/lots/new");
        let mut lot = fields(&[("code", "L-1"), ("received_on", "2026-01-05"), ("received_grams", "500")]);
        lot.extend(label_words(&at.get(&form).await.body));
        let booked = send(at, &form, &format!("{page}/lots"), &lot).await;
        assert_eq!(booked.status, 303, "{}: {}", a.title, words_of(&booked.body));
        let shown = at.get(&page).await;
        let lot = shown.body.split("/shelf/lots/").nth(1).expect("the lot is listed");
        let lot = lot.split('"').next().and_then(|x| x.parse().ok()).expect("its number");
        let opening = a.chemical == Chemical::Opening;
        shelf.push(Stood { letter: a.letter, id: made.location_id(), lot, family: a.family, skin, opening });
    }
    shelf
}

/// A grown-up client.
pub async fn client(at: &mut Browser) -> i64 {
    new_client(at, "Nerys Amblin", "1990-05-14").await
}

/// A patch test of every product that may be left on skin.
pub async fn place_skin_tests(at: &mut Browser, client: i64, shelf: &[Stood]) {
    let here = format!("/clients/{client}/tests");
    for p in shelf.iter().filter(|p| p.opening) {
        let placing = [("lot", format!("{}-{}", p.id, p.lot)), ("place", "behind-left-ear".into())];
        let placed = send(at, &here, &format!("{here}/skin"), &placing).await;
        assert_eq!(
            placed.status,
            if p.skin { 303 } else { 422 },
            "{}: {}",
            p.family.words(),
            words_of(&placed.body)
        );
    }
}

/// Taken off and read two days later: no reaction.
pub async fn read_skin_tests(salon: &Salon, at: &mut Browser, client: i64) {
    let here = format!("/clients/{client}/tests");
    let placed: Vec<i64> = sqlx::query_scalar("select skin_test_id from skin_test where client_id = $1")
        .bind(client)
        .fetch_all(&salon.owner)
        .await
        .expect("read");
    for test in placed {
        let off = send(at, &here, &format!("{here}/skin/{test}/removal"), &[]).await;
        assert_eq!(off.status, 303, "{}", words_of(&off.body));
        let fine = fields(&[("outcome", "no-reaction")]);
        let read = send(at, &here, &format!("{here}/skin/{test}/reading"), &fine).await;
        assert_eq!(read.status, 303, "{}", words_of(&read.body));
    }
}

/// A local day, so many days ago.
pub async fn days_ago(salon: &Salon, days: i32) -> String {
    sqlx::query_scalar("select to_char(rinsebell_now() - make_interval(days => $1), 'YYYY-MM-DD')")
        .bind(days)
        .fetch_one(&salon.owner)
        .await
        .expect("a day")
}

/// The consult read aloud, the words signed, hair felt. What the hair met is told from `met.1` mm to the ends, 100 days ago.
pub async fn consult_and_consent(
    salon: &Salon,
    at: &mut Browser,
    client: i64,
    met: Option<(&'static str, &'static str)>,
) {
    let then = days_ago(salon, 100).await;
    let mut told = consult();
    if let Some((family, from)) = met {
        told = with(
            told,
            &[("row_family", family), ("row_from", from), ("row_to", ""), ("row_on", &then), ("row_sd", "")],
        );
    }
    let kept = take(at, client, &told).await;
    assert_eq!(kept.status, 303, "{}", words_of(&kept.body));
    let here = format!("/clients/{client}/consent");
    let shown = at.get(&here).await.field("shown");
    let signed = [("shown", shown), ("signature_typed", "Nerys Amblin".into())];
    let signed = send(at, &here, &here, &signed).await;
    assert_eq!(signed.status, 303, "{}", words_of(&signed.body));
}

/// New growth of the whole head by ruler, stretched, mm.
pub async fn measure(at: &mut Browser, client: i64, mm: &'static str) {
    let here = format!("/clients/{client}/readings");
    let reading = fields(&[
        ("place", "whole"),
        ("new_growth_mm", mm),
        ("read_as", "stretched"),
        ("read_by", "ruler"),
        ("texture", "medium"),
        ("porosity", "normal"),
        ("wet_stretch", "returns"),
    ]);
    let kept = send(at, &here, &here, &reading).await;
    assert_eq!(kept.status, 303, "{}", words_of(&kept.body));
}

/// A strand test of every product that opens the hair, passed at the worst place.
pub async fn strand_tests(at: &mut Browser, client: i64, shelf: &[Stood]) {
    let here = format!("/clients/{client}/tests");
    for p in shelf.iter().filter(|p| p.opening) {
        let test = [
            ("strand_product", format!("{}-{}", p.id, p.lot)),
            ("strand_place", "worst-place".into()),
            ("strand_minutes", "30".into()),
            ("curl_formed", "yes".into()),
            ("wet_stretch", "returns".into()),
            ("gummy", "no".into()),
        ];
        let kept = send(at, &here, &format!("{here}/strand"), &test).await;
        assert_eq!(kept.status, 303, "{}", words_of(&kept.body));
    }
}

/// The plan as the form proposes it, one product an application; the id.
pub async fn plan(at: &mut Browser, client: i64, protocol: &Protocol, shelf: &[Stood]) -> i64 {
    let form = format!("/clients/{client}/plan?protocol={}", protocol.code);
    let asked = at.get(&form).await;
    assert_eq!(asked.status, 200, "{}", words_of(&asked.body));
    let mut sent =
        vec![("protocol".to_string(), protocol.code.clone()), ("once".into(), asked.field("once"))];
    for p in shelf {
        assert!(asked.body.contains(&format!("value=\"{}\"", p.id)), "{} is offered", p.family.words());
        sent.push((format!("product_{}", p.letter), p.id.to_string()));
    }
    let sent: Vec<(&str, &str)> = sent.iter().map(|(k, v)| (k.as_str(), v.as_str())).collect();
    let made = at.post(&format!("/clients/{client}/plans"), &sent).await;
    assert_eq!(made.status, 303, "{}", words_of(&made.body));
    made.location_id()
}

async fn try_start(at: &mut Browser, plan: i64) -> crate::support::Answer {
    let once = rinsebell::web::once::key();
    at.post("/runs", &[("once", &once), ("plan", &plan.to_string()), ("chair", "Chair 1")]).await
}

/// No figure from the product sheet, no start: the plan says why, and so does the refusal.
pub async fn refused_without_sheet_times(
    at: &mut Browser,
    client: i64,
    protocol: &Protocol,
    shelf: &[Stood],
) {
    if protocol.sheet_clocks().next().is_none() {
        return;
    }
    let plan = plan(at, client, protocol, shelf).await;
    let why = "no start until the sheet&#39;s time is entered";
    let page = at.get(&format!("/plans/{plan}")).await;
    assert!(page.body.contains(why), "{}: {}", protocol.code, words_of(&page.body));
    assert!(!page.body.contains("Start the service"), "{}", protocol.code);
    let no = try_start(at, plan).await;
    assert_eq!(no.status, 422, "{} started without its sheet's time", protocol.code);
    assert!(no.body.contains(why), "{}: {}", protocol.code, words_of(&no.body));
}

/// The sheet's minutes, entered on the product's page.
pub async fn enter_sheet_times(at: &mut Browser, protocol: &Protocol, shelf: &[Stood]) {
    for p in shelf.iter().filter(|p| p.opening) {
        let a = protocol.application(p.letter).expect("its application");
        let page = format!("/shelf/products/{}", p.id);
        let asks = |clock: Clock| {
            protocol.steps.iter().any(|s| s.application == Some(p.letter) && s.times(clock).is_some())
        };
        let figures = minutes(a.family, a.straightens);
        for (clock, (target, most)) in [Clock::Exposure, Clock::Phase].into_iter().zip(figures) {
            if !asks(clock) {
                continue;
            }
            let from = if clock == Clock::Exposure { "first-touch" } else { "cover" };
            let sheet = [
                ("clock", clock.code().to_string()),
                ("target_min", target.into()),
                ("least_min", String::new()),
                ("most_min", most.into()),
                ("counts_from", from.into()),
            ];
            let kept = send(at, &page, &format!("{page}/times"), &sheet).await;
            assert_eq!(kept.status, 303, "{}", words_of(&kept.body));
        }
    }
}

/// Starts it from the plan; the run's id.
pub async fn start(at: &mut Browser, plan: i64) -> i64 {
    let started = try_start(at, plan).await;
    assert_eq!(started.status, 303, "{}", words_of(&started.body));
    started.location_id()
}

/// A page without its tags: what a failure prints.
pub fn words_of(page: &str) -> String {
    let mut words = String::new();
    let mut inside = false;
    for c in page.chars() {
        match c {
            '<' => inside = true,
            '>' => {
                inside = false;
                words.push(' ');
            }
            _ if !inside => words.push(c),
            _ => {}
        }
    }
    words.split_whitespace().collect::<Vec<_>>().join(" ")
}
