//! What was kept without contact, what two stations told of one place, the last tap taken back, bells answered anywhere.

use std::time::Duration;

use time::format_description::well_known::Rfc3339;

use crate::support::{Answer, Browser, Walked, walked_until};

/// A tap as a station sends it, so many seconds after it happened.
async fn told_late(
    at: &mut Browser,
    path: &str,
    now: time::OffsetDateTime,
    late_s: i64,
    more: &[(&str, &str)],
) -> Answer {
    let happened = (now - time::Duration::seconds(late_s)).format(&Rfc3339).unwrap();
    let name = rinsebell::secret::new_uuid();
    let mut form = vec![("fact_id", name.as_str()), ("happened_at", happened.as_str())];
    form.extend_from_slice(more);
    at.post(&format!("{path}/facts"), &form).await
}

const TOUCH: [(&str, &str); 4] =
    [("kind", "section_started"), ("step", "apply-1"), ("section", "front-left"), ("pass", "1")];

#[tokio::test]
async fn what_was_kept_is_marked_and_two_stations_that_differ_are_said() {
    let Walked { salon, run, who, .. } = walked_until("apply-1").await;
    let path = format!("/runs/{run}");
    let mut chair = salon.seat("Chair 2", "chair", who).await;
    let mut basin = salon.station("Basin", "basin").await;
    salon.advance(Duration::from_secs(120)).await;
    let mut s = salon.app.begin(salon.id).await.unwrap();
    let now = s.now().await.unwrap();
    s.commit().await.unwrap();
    let first = told_late(&mut chair, &path, now, 60, &TOUCH).await;
    let second = told_late(&mut basin, &path, now, 40, &TOUCH).await;
    assert_eq!((first.status, second.status), (303, 303), "{} {}", first.body, second.body);
    let page = chair.get(&path).await.body;
    for words in [
        "Front left, pass 1, was told by two stations",
        "at Chair 2 (kept there, told at",
        "at Basin (kept there, told at",
        "Both are on record; the earlier counts.",
        ": kept at Basin, told at ",
        "Take back: front left touched, pass 1",
        // Carried unseen until contact is lost.
        "Without contact: rinsing and closing go on",
        "closing-gloves:nitrile-new-pair-intact",
        "closing-eye-protection:cotton-bib-towel",
        "Begin without contact: ",
    ] {
        assert!(page.contains(words), "{words} in {page}");
    }
    // Taken back, it differs from nothing any more; told at once, it was never kept.
    // The sign-off book says the same, of the record itself.
    let book = chair.get(&format!("/proof/runs/{run}")).await.body;
    for words in ["Told apart by two stations", "Front left, pass 1, was told by two stations"] {
        assert!(book.contains(words), "{words} in {book}");
    }
    let taken: String =
        sqlx::query_scalar("select fact_id::text from run_event where run_id = $1 order by seq desc limit 1")
            .bind(run.0)
            .fetch_one(&salon.owner)
            .await
            .unwrap();
    let back = [("kind", "fact_withdrawn"), ("taken_back", taken.as_str()), ("reason", "tapped by mistake")];
    assert_eq!(told_late(&mut basin, &path, now, 0, &back).await.status, 303);
    let page = chair.get(&path).await.body;
    assert!(!page.contains("was told by two stations"), "{page}");
    let book = chair.get(&format!("/proof/runs/{run}")).await.body;
    assert!(!book.contains("Told apart by two stations"), "{book}");
}

#[tokio::test]
async fn a_bell_names_where_and_who_and_any_station_answers_it() {
    let Walked { salon, run, who, .. } = walked_until("apply-1").await;
    let path = format!("/runs/{run}");
    let mut chair = salon.seat("Chair 2", "chair", who).await;
    let mut basin = salon.station("Basin", "basin").await;
    let mut wall = salon.station("Wall", "wall").await;
    // The stage's sheet asks for 37 minutes from first touch: one to go.
    let mut rung = String::new();
    for _ in 0..40 {
        salon.advance(Duration::from_secs(60)).await;
        rung = basin.get("/floor").await.body;
        if rung.contains("one minute to go") {
            break;
        }
    }
    for words in [
        "one minute to go",
        "Nearest station: ",
        "In charge: Tobias",
        ":soon:exposure:",
        "any heat, any sting?",
    ] {
        assert!(rung.contains(words), "{words} in {rung}");
    }
    let seen = wall.get("/floor").await.body;
    assert!(seen.contains("In charge: Tobias") && !seen.contains("any heat, any sting?"), "{seen}");
    let form = &rung[rung.find("data-fact=\"bell_answered\"").expect("a form")..];
    let value = |name: &str| {
        let at = form.find(&format!("name=\"{name}\" value=\"")).expect("a field");
        form[at..].split("value=\"").nth(1).unwrap().split('"').next().unwrap().to_string()
    };
    let (step, clock, name) = (value("step"), value("clock"), value("fact_id"));
    let answer = [
        ("kind", "bell_answered"),
        ("step", step.as_str()),
        ("clock", clock.as_str()),
        ("comfort", "no"),
        ("fact_id", name.as_str()),
    ];
    assert_eq!(basin.post(&format!("{path}/facts"), &answer).await.status, 303);
    for page in [chair.get(&path).await.body, wall.get("/floor").await.body] {
        assert!(page.contains("Bell answered at Basin, ") && page.contains("no heat, no sting"), "{page}");
        assert!(!page.contains("data-bell="), "{page}");
    }
}
