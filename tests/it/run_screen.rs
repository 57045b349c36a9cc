//! The Run screen through the router: two stations on one run, facts at locked stations, refusals in words.

use rinsebell::domain::protocol::Section;
use rinsebell::domain::run::Happened;

use crate::support::{Salon, Walked, walked_until};

/// The value of a hidden field inside the form that holds `needle`.
fn form_field(body: &str, needle: &str, name: &str) -> String {
    let at = body.find(needle).unwrap_or_else(|| panic!("no {needle} in the page"));
    let start = body[..at].rfind("<form").expect("inside a form");
    let end = body[at..].find("</form>").map_or(body.len(), |e| at + e);
    let form = &body[start..end];
    let at = form.find(&format!("name=\"{name}\"")).unwrap_or_else(|| panic!("no field {name} in {form}"));
    let rest = &form[at..];
    rest[rest.find("value=\"").expect("a value") + 7..].split('"').next().expect("it ends").to_string()
}

#[tokio::test]
async fn two_stations_start_one_step_and_one_sees_what_changed() {
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    let run = salon.start_run(stage.plan, salon.staff.stylist).await.unwrap();
    let mut chair = salon.seat("Chair 2", "chair", salon.staff.stylist).await;
    let mut basin = salon.seat("Basin", "basin", salon.staff.assistant).await;
    let path = format!("/runs/{run}");
    let (a, b) = (chair.get(&path).await, basin.get(&path).await);
    assert_eq!((a.status, b.status), (200, 200));
    let steps = format!("{path}/steps");
    let send = |body: &str| {
        [
            ("once", form_field(body, "Start: Consult and drape", "once")),
            ("known", form_field(body, "Start: Consult and drape", "known")),
            ("step", "receive".to_string()),
            ("do", "start".to_string()),
        ]
    };
    let (fa, fb) = (send(&a.body), send(&b.body));
    let pairs = |f: &'static str, v: &str| (f, v.to_string());
    let _ = pairs;
    let fa: Vec<(&str, &str)> = fa.iter().map(|(k, v)| (*k, v.as_str())).collect();
    let fb: Vec<(&str, &str)> = fb.iter().map(|(k, v)| (*k, v.as_str())).collect();
    let (one, two) = tokio::join!(chair.post(&steps, &fa), basin.post(&steps, &fb));
    let mut statuses = [one.status, two.status];
    statuses.sort_unstable();
    assert_eq!(statuses, [303, 409], "{} {}", one.body.len(), two.body.len());
    let loser = if one.status == 409 { one } else { two };
    assert!(
        loser.body.contains("Somebody was first") && loser.body.contains("was started at another station"),
        "{}",
        loser.body
    );
    // The winner's form sent again is the same answer, and nothing happens twice.
    let again =
        if loser.location.is_empty() { chair.post(&steps, &fa).await } else { basin.post(&steps, &fb).await };
    assert!(matches!(again.status, 303 | 409));
    let starts: i64 =
        sqlx::query_scalar("select count(*) from run_event where run_id = $1 and kind = 'step_started'")
            .bind(run.0)
            .fetch_one(&salon.owner)
            .await
            .unwrap();
    assert_eq!(starts, 1);
}

#[tokio::test]
async fn a_locked_station_taps_facts_and_stops_but_signs_nothing() {
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    let run = salon.start_run(stage.plan, salon.staff.stylist).await.unwrap();
    let mut basin = salon.station("Basin", "basin").await;
    let path = format!("/runs/{run}");
    let page = basin.get(&path).await;
    assert_eq!(page.status, 200);
    assert!(
        page.body.contains("Nerys A.") && !page.body.contains("Amblin"),
        "names shrink on a locked station"
    );
    let sign = basin
        .post(
            &format!("{path}/sign-offs"),
            &[
                ("once", &rinsebell::web::once::key()),
                ("known", "1"),
                ("step", "inspect"),
                ("sign", "scalp:intact"),
            ],
        )
        .await;
    assert_eq!(sign.status, 303);
    assert!(sign.location.starts_with("/sign-in"), "{}", sign.location);
    let stop = basin
        .post(
            &format!("{path}/facts"),
            &[("kind", "stop_recorded"), ("fact_id", &rinsebell::web::once::key())],
        )
        .await;
    assert_eq!(stop.status, 303, "{}", stop.body);
    let page = basin.get(&path).await;
    assert!(
        page.body.contains("Stopped") && page.body.contains("20 minutes at least"),
        "first aid stands on the screen"
    );
}

#[tokio::test]
async fn a_refused_start_names_every_reason_with_its_way_out() {
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    let run = salon.start_run(stage.plan, salon.staff.stylist).await.unwrap();
    let mut chair = salon.seat("Chair 2", "chair", salon.staff.stylist).await;
    let path = format!("/runs/{run}");
    let known = form_field(&chair.get(&path).await.body, "Start: Consult and drape", "known");
    let refused = chair
        .post(
            &format!("{path}/steps"),
            &[
                ("once", &rinsebell::web::once::key()),
                ("known", &known),
                ("step", "apply-1"),
                ("do", "start"),
            ],
        )
        .await;
    assert_eq!(refused.status, 422);
    for words in ["Not yet", "Scalp: not answered", "Gloves: not answered", "Look, then tap what you see"] {
        assert!(refused.body.contains(words), "{words}");
    }
}

#[tokio::test]
async fn a_mistaken_tap_is_taken_back_and_both_stay_on_record() {
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    let who = salon.staff.stylist;
    let run = salon.start_run(stage.plan, who).await.unwrap();
    salon
        .fact(
            run,
            41,
            Happened::SectionStarted { step: "apply-1".into(), section: Section::BackLeft, pass: 1 },
        )
        .await
        .unwrap();
    let mut chair = salon.seat("Chair 2", "chair", who).await;
    let path = format!("/runs/{run}");
    let page = chair.get(&path).await;
    let id = form_field(&page.body, "Take back", "taken_back");
    let answer = chair
        .post(
            &format!("{path}/facts"),
            &[
                ("kind", "fact_withdrawn"),
                ("taken_back", &id),
                ("fact_id", &rinsebell::web::once::key()),
                ("reason", "tapped by mistake"),
            ],
        )
        .await;
    assert_eq!(answer.status, 303, "{}", answer.body);
    let kinds: Vec<String> = sqlx::query_scalar("select kind from run_event where run_id = $1 order by seq")
        .bind(run.0)
        .fetch_all(&salon.owner)
        .await
        .unwrap();
    assert!(kinds.contains(&"section_started".to_string()) && kinds.contains(&"fact_withdrawn".to_string()));
    let after = salon
        .fact(run, 42, Happened::StingReported { place: rinsebell::domain::run::HeadPlace::Nape })
        .await
        .unwrap();
    assert!(!after.state().product_on(), "the taken-back touch counts no more");
}

#[tokio::test]
async fn a_run_of_nobody_is_not_there_and_odd_bytes_are_understood_as_such() {
    let salon = Salon::open().await;
    let mut chair = salon.seat("Chair 2", "chair", salon.staff.stylist).await;
    for path in ["/runs/999999", "/runs/abc", "/runs/-1", "/runs/99999999999999999999"] {
        assert_eq!(chair.get(path).await.status, 404, "{path}");
    }
    let stage = salon.stage().await;
    let run = salon.start_run(stage.plan, salon.staff.stylist).await.unwrap();
    for (kind, extra) in
        [("dance", "x"), ("section_started", "\u{0}"), ("trimmed", "NaN"), ("trimmed", "1e400")]
    {
        let answer = chair
            .post(
                &format!("/runs/{run}/facts"),
                &[
                    ("kind", kind),
                    ("fact_id", &rinsebell::web::once::key()),
                    ("mm", extra),
                    ("section", extra),
                    ("step", extra),
                    ("pass", "1"),
                ],
            )
            .await;
        assert!(
            (400..500).contains(&answer.status),
            "{kind} {extra:?}: {} {}",
            answer.status,
            answer.location
        );
    }
}

#[tokio::test]
async fn the_floor_stands_on_a_locked_station() {
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    salon.start_run(stage.plan, salon.staff.stylist).await.unwrap();
    let mut wall = salon.station("Wall", "wall").await;
    let floor = wall.get("/floor").await;
    assert_eq!(floor.status, 200);
    assert!(floor.body.contains("Nerys A.") && floor.body.contains("data-mode=\"wall\""));
    assert!(!floor.body.contains("Amblin"));
}

#[tokio::test]
async fn on_to_the_basin_opens_that_run_there_without_a_pin_and_nothing_else() {
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    let run = salon.start_run(stage.plan, salon.staff.stylist).await.unwrap();
    let mut chair = salon.seat("Chair 2", "chair", salon.staff.stylist).await;
    let mut basin = salon.station("Basin", "basin").await;
    let path = format!("/runs/{run}");
    let known = form_field(&chair.get(&path).await.body, "Start: Consult and drape", "known");
    let once = rinsebell::web::once::key();
    let station = basin.station.to_string();
    let armed = chair
        .post(&format!("{path}/armings"), &[("once", &once), ("known", &known), ("station", &station)])
        .await;
    assert_eq!(armed.status, 303, "{}", armed.body);
    let once = rinsebell::web::once::key();
    let signed = basin
        .post(
            &format!("{path}/sign-offs"),
            &[("once", &once), ("known", "99"), ("step", "cleanse"), ("sign", "draping:towel-and-cape-dry")],
        )
        .await;
    assert_eq!((signed.status, signed.location.as_str()), (303, path.as_str()), "{}", signed.body);
    let by: i64 = sqlx::query_scalar("select by from run_event where run_id = $1 and hold_point = 'draping'")
        .bind(run.0)
        .fetch_one(&salon.owner)
        .await
        .unwrap();
    assert_eq!(by, salon.staff.stylist.0, "signed in the name of who moved with the client");
    let elsewhere = basin.get("/clients").await;
    assert!(elsewhere.location.starts_with("/sign-in"), "{} {}", elsewhere.status, elsewhere.location);
    salon.advance(std::time::Duration::from_secs(660)).await;
    let late = basin
        .post(
            &format!("{path}/sign-offs"),
            &[
                ("once", &rinsebell::web::once::key()),
                ("known", "99"),
                ("step", "cleanse"),
                ("sign", "draping:wet"),
            ],
        )
        .await;
    assert!(
        late.location.starts_with("/sign-in"),
        "ten minutes, then the PIN: {} {}",
        late.status,
        late.location
    );
}

#[tokio::test]
async fn every_page_forbids_what_it_does_not_need() {
    let salon = Salon::open().await;
    let mut chair = salon.seat("Chair 2", "chair", salon.staff.stylist).await;
    for path in ["/floor", "/clients", "/nowhere"] {
        let answer = chair.get(path).await;
        let csp = answer.headers["content-security-policy"].to_str().unwrap();
        // Content Security Policy Level 3 (W3C): starting from nothing, no inline, no eval.
        assert!(csp.starts_with("default-src 'none'") && !csp.contains("unsafe"), "{csp}");
        assert!(csp.contains("frame-ancestors 'none'") && csp.contains("form-action 'self'"));
        assert_eq!(answer.headers["x-content-type-options"], "nosniff");
        assert!(!answer.body.contains("style=\"") && !answer.body.contains("onclick"), "{path}");
    }
}

/// "On to the basin" while somebody else works there: nobody's name changes by itself.
#[tokio::test]
async fn a_run_handed_on_to_a_busy_station_asks_whose_name_the_taps_bear() {
    for (whose, theirs) in [("theirs", true), ("mine", false)] {
        let salon = Salon::open().await;
        let stage = salon.stage().await;
        let run = salon.start_run(stage.plan, salon.staff.stylist).await.unwrap();
        let mut chair = salon.seat("Chair 2", "chair", salon.staff.stylist).await;
        let mut basin = salon.seat("Basin", "basin", salon.staff.assistant).await;
        let path = format!("/runs/{run}");
        let known = form_field(&chair.get(&path).await.body, "Start: Consult and drape", "known");
        let station = basin.station.to_string();
        let once = rinsebell::web::once::key();
        let fields = [("once", once.as_str()), ("known", known.as_str()), ("station", station.as_str())];
        assert_eq!(chair.post(&format!("{path}/armings"), &fields).await.status, 303);
        for page in ["/floor", path.as_str()] {
            let asked = basin.get(page).await;
            assert!(asked.body.contains("Whose name do the taps bear?"), "{page}");
        }
        let signs = |once: String| {
            [
                ("once", once),
                ("known", "99".to_string()),
                ("step", "cleanse".to_string()),
                ("sign", "draping:towel-and-cape-dry".to_string()),
            ]
        };
        let mut by = Vec::new();
        for settled in [false, true] {
            if settled {
                let answer = basin
                    .post(
                        &format!("{path}/names"),
                        &[("once", rinsebell::web::once::key().as_str()), ("whose", whose)],
                    )
                    .await;
                assert_eq!((answer.status, answer.location.as_str()), (303, path.as_str()));
                let page = basin.get(&path).await;
                assert!(!page.body.contains("Whose name do the taps bear?"));
            }
            let fields = signs(rinsebell::web::once::key());
            let fields: Vec<(&str, &str)> = fields.iter().map(|(a, b)| (*a, b.as_str())).collect();
            assert_eq!(basin.post(&format!("{path}/sign-offs"), &fields).await.status, 303);
            let who: i64 = sqlx::query_scalar(
                "select by from run_event where run_id = $1 and hold_point = 'draping' order by seq desc limit 1",
            )
            .bind(run.0)
            .fetch_one(&salon.owner)
            .await
            .unwrap();
            by.push(who);
        }
        let (assistant, stylist) = (salon.staff.assistant.0, salon.staff.stylist.0);
        assert_eq!(by, [assistant, if theirs { stylist } else { assistant }], "{whose}");
    }
}

/// A head over its longest allowed is told at every station, first, by when it passed.
#[tokio::test]
async fn the_loudest_alarm_stands_on_every_screen_and_an_overdue_head_waits_for_nobody() {
    let Walked { salon, run, who } = walked_until("apply-2").await;
    salon.advance(std::time::Duration::from_secs(90 * 60)).await;
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    let page = desk.get("/day").await;
    assert!(
        page.body.contains(&format!("data-part=\"/alarm?of={}\"", salon.staff.reception)),
        "every screen of a station asks"
    );
    let alarm = desk.get("/alarm").await;
    assert!(
        alarm.body.contains("longest allowed, rinse now") && alarm.body.contains("data-bell="),
        "{}",
        alarm.body
    );
    let beside = desk.get(&format!("/alarm?but={run}")).await;
    assert!(!beside.body.contains("data-bell="), "its own screen says it itself: {}", beside.body);
    let floor = desk.get("/floor").await.body;
    assert!(floor.contains("min ago") && floor.contains("rinse now, at any basin"), "{floor}");
    assert!(!floor.contains("Next bell, in"), "what has passed is no bell ahead");
    // Stopped: louder still, and nothing is foreseen but water.
    salon.fact(run, 800, Happened::StopRecorded).await.unwrap();
    let floor = desk.get("/floor").await.body;
    assert!(floor.contains("class=\"aid\"") && floor.contains("stopped: water on now"), "{floor}");
    assert!(!floor.contains("wind with curl lotion"), "nothing is drawn as if it went on");
    let clear = Happened::SectionRinsed { step: "rinse-straightener".into(), section: None, clear: true };
    salon.fact(run, 801, clear).await.unwrap();
    let floor = desk.get("/floor").await.body;
    assert!(floor.contains("Stopped: keep the water running. Water until"), "{floor}");
    let early = rinsebell::domain::run::Command::ReadStop { whole: true, early: false };
    assert!(salon.act(run, who, early).await.is_err(), "twenty minutes first");
}
