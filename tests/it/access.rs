//! The access matrix: every route of the table, asked by everybody who may come. A new route is asked as soon as
//! it stands in the table; a path parameter nobody has a sample for fails here.

use axum::body::Body;
use axum::http::{Request, header};
use rinsebell::domain::access::{Act, Role, may};
use rinsebell::domain::ids::{PersonId, SalonId};
use rinsebell::flow;
use rinsebell::store::stations;
use rinsebell::web::routes::{Line, Open, TABLE};
use tower::ServiceExt as _;

use crate::attack::stage::{House, Stage};
use crate::support::{Browser, PIN};

/// What a path parameter stands for: the path up to it, and whose id it is.
const SAMPLES: [(&str, &str); 24] = [
    ("/proof/runs/{id}/photos/{no}", "booking"),
    ("/incidents/{id}/photos/{no}", "booking"),
    // No file of ours waits.
    ("/clients/import/{id}", "booking"),
    ("/incidents/{id}", "booking"),
    // No link of ours: a stranger is told that there is nothing.
    ("/c/{salon}", "client"),
    ("/c/{salon}/{token}", "client"),
    ("/messages/{id}", "booking"),
    ("/waiting/{id}", "station"),
    ("/calendar/{id}", "station"),
    ("/feeds/{key}", "station"),
    ("/clients/{id}/tests/skin/{test}", "skin_test"),
    ("/clients/{id}/tests/hair/{test}", "skin_test"),
    ("/clients/{id}", "client"),
    ("/runs/{id}", "run"),
    ("/bookings/{id}", "booking"),
    ("/plans/{id}", "plan"),
    ("/shelf/products/{id}", "product"),
    ("/shelf/lots/{id}", "lot"),
    ("/proof/{id}", "run"),
    ("/proof/runs/{id}", "run"),
    ("/team/people/{id}", "stylist"),
    ("/team/stations/{id}", "station"),
    ("/protocols/{code}", "protocol"),
    ("/practice/{code}", "protocol"),
];

/// A shipped protocol that the other house never had: paths name protocols by code, not by number.
const PROTOCOL: &str = "curl-retouch";

/// The path of a line with the sample ids in it; a parameter without a sample fails.
fn sample(path: &str, ids: &[(&str, i64)]) -> String {
    let mut done = String::new();
    let mut rest = path;
    while let Some(end) = rest.find('}') {
        let upto = &path[..path.len() - rest.len() + end + 1];
        let known = SAMPLES.iter().find(|(p, _)| *p == upto);
        let (_, name) =
            known.unwrap_or_else(|| panic!("no sample for {upto}: add one to SAMPLES in tests/it/access.rs"));
        let start = rest.find('{').expect("a parameter opens before it closes");
        done += &rest[..start];
        let id = ids.iter().find(|(n, _)| n == name).unwrap_or_else(|| panic!("no id of a {name}"));
        done += &if *name == "protocol" && id.1 == 0 { PROTOCOL.to_string() } else { id.1.to_string() };
        rest = &rest[end + 1..];
    }
    done + rest
}

/// Not there yet (the run is under way, no strand test has a photo), or asked with a form that names no plan, no
/// station and no step.
const NOT_YET: [&str; 20] = [
    "/proof/runs/{id}/photos/{no}",
    "/proof/runs/{id}/photos/{no}/erasure",
    "/incidents/{id}/photos",
    "/incidents/{id}/photos/{no}",
    "/incidents/{id}/photos/{no}/erasure",
    "/clients/import/{id}",
    "/clients/import/{id}/trial",
    "/clients/import/{id}/refused.csv",
    "/incidents/{id}",
    "/incidents/{id}/accounts",
    "/incidents/{id}/report",
    "/messages/{id}/stop",
    "/waiting/{id}/end",
    "/calendar/{id}/revocation",
    "/protocols/{code}/draft/step",
    "/runs/{id}/aftercare",
    "/runs",
    "/runs/{id}/armings",
    "/clients/{id}/tests/hair/{test}/photo",
    "/clients/{id}/tests/hair/{test}/erasure",
];

/// Who asks.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Viewer {
    Stranger,
    Locked,
    In(Role),
    Foreign,
}

/// What came back, in classes.
#[derive(Debug, PartialEq)]
enum Class {
    /// Shown the way to pairing (or told so where a script asks).
    ToWelcome,
    /// Shown the way to the PIN.
    ToPin,
    Forbidden,
    NotFound,
    /// Anything the route itself answers.
    Answered(u16),
    Broken(u16),
}

fn class(status: u16, location: &str) -> Class {
    match status {
        303 if location.starts_with("/welcome") => Class::ToWelcome,
        401 => Class::ToWelcome,
        303 if location.starts_with("/sign-in?next") => Class::ToPin,
        403 => Class::Forbidden,
        404 => Class::NotFound,
        500.. => Class::Broken(status),
        other => Class::Answered(other),
    }
}

/// Whether this answer fits; the words say what was expected.
fn expected(line: &Line, viewer: Viewer, params: bool) -> (&'static str, fn(&Class) -> bool) {
    let answered: (&'static str, fn(&Class) -> bool) = ("the route's own answer", |c| {
        matches!(c, Class::Answered(_) | Class::NotFound | Class::ToWelcome | Class::ToPin)
    });
    let strictly: (&'static str, fn(&Class) -> bool) = if NOT_YET.contains(&line.path) {
        ("the route's own answer, nothing yet", |c| matches!(c, Class::Answered(_) | Class::NotFound))
    } else {
        ("the route's own answer", |c| matches!(c, Class::Answered(_)))
    };
    let forbidden: (&'static str, fn(&Class) -> bool) = ("forbidden", |c| *c == Class::Forbidden);
    // A form that makes no sense is told so before anything is looked up; ids are not told apart by it.
    let hidden: (&'static str, fn(&Class) -> bool) = if line.method == "get" {
        ("not found", |c| *c == Class::NotFound)
    } else {
        ("not found, or not understood", |c| matches!(c, Class::NotFound | Class::Answered(400)))
    };
    let role = match viewer {
        Viewer::In(role) => Some(role),
        Viewer::Foreign => Some(Role::Manager),
        _ => None,
    };
    match (line.open, viewer, role) {
        (Open::All, _, _) => answered,
        (_, Viewer::Stranger, _) => ("to pairing", |c| *c == Class::ToWelcome),
        (Open::Station, Viewer::Foreign, _) | (Open::Person, Viewer::Foreign, _) if params => hidden,
        (Open::Station, Viewer::Locked, _) => {
            ("its own answer, or the PIN", |c| matches!(c, Class::Answered(_) | Class::ToPin))
        }
        (Open::Station, _, _) => strictly,
        (_, Viewer::Locked, _) => ("to the PIN", |c| *c == Class::ToPin),
        (Open::Person, _, _) if NOT_YET.contains(&line.path) => {
            ("its own answer, nothing there, or forbidden", |c| {
                matches!(c, Class::Answered(_) | Class::NotFound | Class::Forbidden)
            })
        }
        (Open::Person, _, _) => ("its own answer, or forbidden by the run's own rule", |c| {
            matches!(c, Class::Answered(_) | Class::Forbidden)
        }),
        (Open::To(act), Viewer::Foreign, _) if params && may(Role::Manager, act) => hidden,
        (Open::To(act), _, Some(role)) if may(role, act) => strictly,
        (Open::To(_), _, _) => forbidden,
    }
}

/// The head of an answer; bodies may be streams without an end.
async fn ask(browser: &Browser, line: &Line, path: &str) -> Class {
    let request = match line.method {
        "get" => Request::get(path).body(Body::empty()),
        _ => Request::post(path)
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .header("sec-fetch-site", "same-origin")
            .body(Body::from(format!("once={}", rinsebell::secret::new_uuid()))),
    };
    let mut request = request.expect("a request");
    request.headers_mut().insert(header::COOKIE, browser.cookie_line().parse().expect("a header"));
    let response = browser.router().oneshot(request).await.expect("the router answers");
    let location = response.headers().get(header::LOCATION).and_then(|l| l.to_str().ok()).unwrap_or_default();
    class(response.status().as_u16(), location)
}

/// One of everything a path may name: a head in the chair with its run under way, the rest from the house.
async fn ids(stage: &Stage) -> Vec<(&'static str, i64)> {
    let (salon, house) = (&stage.salon, stage.house);
    // The houses' own runs follow no shipped protocol: over before anybody looks.
    sqlx::query("update run set ended_at = rinsebell_now(), ended_how = 'left' where ended_at is null")
        .execute(&salon.owner)
        .await
        .expect("over");
    let ready = salon.stage().await;
    let run = salon.start_run(ready.plan, salon.staff.stylist).await.expect("a run under way");
    let skin_test: i64 = sqlx::query_scalar("select max(skin_test_id) from skin_test where client_id = $1")
        .bind(ready.client.0)
        .fetch_one(&salon.owner)
        .await
        .expect("a test");
    vec![
        ("client", ready.client.0),
        ("run", run.0),
        ("plan", ready.plan.0),
        ("product", ready.straightener.0),
        ("lot", ready.straightener_lot.0),
        ("skin_test", skin_test),
        ("booking", house.id("booking")),
        ("stylist", house.id("stylist")),
        ("station", house.id("station")),
        ("protocol", 0),
    ]
}

async fn foreign_manager(stage: &Stage, other: House) -> Browser {
    let (salon, app) = (SalonId(other.0), &stage.salon.app);
    let manager = PersonId(other.id("manager"));
    sqlx::query("update person set pin_hash = (select pin_hash from person where person_id = $1) where salon_id = $2 and person_id = $3")
        .bind(stage.salon.staff.manager.0)
        .bind(other.0)
        .bind(manager.0)
        .execute(&stage.salon.owner)
        .await
        .expect("the same PIN");
    let mut s = app.begin(salon).await.expect("begin");
    let station = stations::insert(&mut s, "Desk 1", "desk").await.expect("a station");
    s.commit().await.expect("committed");
    let token = flow::sign_in::pair_station(app, salon, station).await.expect("paired");
    let mut browser = Browser::new(app, format!("rinsebell_station={salon}.{token}"), station);
    let signed = browser.post("/sign-in", &[("person", &manager.to_string()), ("pin", PIN)]).await;
    assert_eq!(signed.status, 303, "{}", signed.body);
    browser
}

#[tokio::test]
async fn every_route_answers_everybody_as_the_role_table_says() {
    let (stage, other) = Stage::with_stranger().await;
    let (salon, staff) = (&stage.salon, stage.salon.staff);
    let ids = ids(&stage).await;
    let unknown: Vec<(&str, i64)> = ids.iter().map(|(name, _)| (*name, 987_654_321)).collect();
    let viewers = [
        (Viewer::Stranger, Browser::stranger(&salon.app)),
        (Viewer::Locked, salon.station("Wall", "wall").await),
        (Viewer::In(Role::Reception), salon.seat("Desk", "desk", staff.reception).await),
        (Viewer::In(Role::Assistant), salon.seat("Basin", "basin", staff.assistant).await),
        (Viewer::In(Role::Stylist), salon.seat("Chair", "chair", staff.stylist).await),
        (Viewer::In(Role::Manager), salon.seat("Office", "office", staff.manager).await),
        (Viewer::Foreign, foreign_manager(&stage, other).await),
    ];
    let mut wrong = Vec::new();
    let mut asked = 0;
    for line in TABLE.iter().flat_map(|lines| lines.iter()) {
        // Locking ends the sign-in the other lines need; tests/it/sign_in.rs walks it.
        if (line.method, line.path) == ("post", "/lock") {
            continue;
        }
        let path = sample(line.path, &ids);
        let nowhere = sample(line.path, &unknown);
        for (viewer, browser) in &viewers {
            let got = ask(browser, line, &path).await;
            let (words, fits) = expected(line, *viewer, line.path.contains('{'));
            asked += 1;
            if *viewer == Viewer::Foreign && path != nowhere {
                let unknown = ask(browser, line, &nowhere).await;
                if unknown != got {
                    wrong
                        .push(format!("{} {}: foreign {got:?}, unknown {unknown:?}", line.method, line.path));
                }
            }
            if !fits(&got) {
                wrong.push(format!(
                    "{} {} {:?} by {viewer:?}: {got:?}, expected {words}",
                    line.method, line.path, line.open
                ));
            }
        }
    }
    assert!(asked > 100, "{asked} asked");
    assert!(wrong.is_empty(), "{} of {asked}:\n{}", wrong.len(), wrong.join("\n"));
}

#[test]
fn every_route_stands_once_in_the_table_and_reception_opens_no_health() {
    let mut seen = std::collections::BTreeSet::new();
    for line in TABLE.iter().flat_map(|lines| lines.iter()) {
        assert!(seen.insert((line.method, line.path)), "{} {} twice", line.method, line.path);
        let health = ["/consult", "/consent", "/tests", "/strand", "/plan", "/readings"]
            .iter()
            .any(|p| line.path.starts_with("/clients/") && line.path.contains(p));
        if health {
            let Open::To(act) = line.open else {
                panic!("{} {} is health: {:?}", line.method, line.path, line.open)
            };
            assert!(!may(Role::Reception, act) && act != Act::SeeClients, "{} {}", line.method, line.path);
        }
    }
}
