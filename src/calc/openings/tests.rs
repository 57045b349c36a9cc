//! The contract's own example, daylight saving seen from outside, and refusals at their place.

use serde_json::{Value, json};

use super::super::run;

fn ask(input: &Value) -> Result<Value, String> {
    let text = run("openings", input.to_string().as_bytes()).map_err(|bad| bad.at)?;
    Ok(serde_json::from_str(&text).unwrap())
}

fn contract() -> Value {
    json!({"grid_minutes": 5, "zone": "Europe/Paris", "from": "2026-03-28", "days": 3,
        "hours": [{"person": "a", "weekday": 6, "open": "09:00", "close": "18:00"}],
        "people": [{"id": "a", "may": ["thio"]}, {"id": "b", "may": []}],
        "places": [{"kind": "chair", "count": 3}, {"kind": "basin", "count": 1}],
        "taken": [{"person": "a", "start": "2026-03-28T10:00:00+01:00", "end": "2026-03-28T10:40:00+01:00"},
            {"place": "basin", "start": "2026-03-28T13:00:00+01:00", "end": "2026-03-28T13:10:00+01:00"}],
        "segments": [{"minutes": 40, "hands": {"may": "thio", "same_as": null}, "places": ["chair"]},
            {"minutes": 20, "hands": null, "places": ["chair"]},
            {"minutes": 10, "hands": {"may": null, "same_as": 0}, "places": ["basin"]}],
        "patch_test": null, "wanted": "2026-03-28T12:00:00+01:00", "most": 5})
}

#[test]
fn the_example_of_the_contract_is_answered() {
    let answer = ask(&contract()).unwrap();
    // Three local days over a change of the clock: 71 hours of 12 starts.
    assert_eq!(answer["searched_starts"], 71 * 12);
    let starts: Vec<&str> =
        answer["openings"].as_array().unwrap().iter().map(|o| o["start"].as_str().unwrap()).collect();
    // 11:55, 12:00 and 12:05 would need the basin while it is taken.
    let expected = ["11:50", "12:10", "11:45", "12:15", "11:40"];
    assert_eq!(starts, expected.map(|t| format!("2026-03-28T{t}:00+01:00")));
    let first = &answer["openings"][0];
    assert_eq!(first["patch_test"], Value::Null);
    assert_eq!(
        first["hands"],
        json!([
            {"segment": 0, "person": "a", "start": "2026-03-28T11:50:00+01:00", "end": "2026-03-28T12:30:00+01:00"},
            {"segment": 2, "person": "a", "start": "2026-03-28T12:50:00+01:00", "end": "2026-03-28T13:00:00+01:00"}
        ])
    );
}

#[test]
fn the_patch_test_counts_elapsed_hours_over_a_change_of_the_clock() {
    let mut input = contract();
    input["taken"] = Value::Null;
    input["hours"] = json!([{"person": "a", "weekday": 6, "open": "09:00", "close": "18:00"},
        {"person": "a", "weekday": 1, "open": "09:00", "close": "18:00"}]);
    input["patch_test"] = json!({"minutes": 15, "least_hours_before": 48, "may": null});
    input["wanted"] = json!("2026-03-30T09:00:00+02:00");
    input["most"] = json!(1);
    let answer = ask(&input).unwrap();
    // Saturday 09:15 +01:00 plus 48 elapsed hours is Monday 10:15 +02:00.
    assert_eq!(answer["openings"][0]["start"], "2026-03-30T10:15:00+02:00");
    assert_eq!(
        answer["openings"][0]["patch_test"],
        json!({"start": "2026-03-28T09:00:00+01:00", "end": "2026-03-28T09:15:00+01:00", "person": "a"})
    );
}

#[test]
fn hours_that_touch_at_midnight_are_one_stretch() {
    let mut input = contract();
    input["taken"] = Value::Null;
    input["days"] = json!(1);
    input["hours"] = json!([{"person": "a", "weekday": 6, "open": "23:00", "close": "24:00"},
        {"person": "a", "weekday": 7, "open": "00:00", "close": "01:00"}]);
    input["wanted"] = json!("2026-03-29T00:00:00+01:00");
    let answer = ask(&input).unwrap();
    // Starts are those of Saturday alone; the last may end at 01:00.
    assert_eq!(answer["openings"][0]["start"], "2026-03-28T23:50:00+01:00");
    assert_eq!(answer["openings"][0]["end"], "2026-03-29T01:00:00+01:00");
}

#[test]
fn bad_input_is_refused_at_its_place() {
    let cases = [
        ("/grid_minutes", json!(0)),
        ("/zone", json!("Europe/Nowhere")),
        ("/from", json!("2026-3-28")),
        ("/from", json!("9999-01-01")),
        ("/days", json!(0)),
        ("/days", json!(1.5)),
        ("/hours/0/person", json!("z")),
        ("/hours/0/weekday", json!(8)),
        ("/hours/0/open", json!("9:00")),
        ("/hours/0/close", json!("08:00")),
        ("/hours/0/close", json!("24:01")),
        ("/people/1/id", json!("a")),
        ("/people/0/may/0", json!(5)),
        ("/places/1/kind", json!("chair")),
        ("/places/0/count", json!(0)),
        ("/taken/0/person", json!("z")),
        ("/taken/1/place", json!("hood")),
        ("/taken/0/end", json!("2026-03-28T10:00:00+01:00")),
        ("/taken/0/start", json!("2026-03-28T10:00:00+01:00[Europe/Paris]")),
        ("/taken/0/start", json!("2026-03-28T10:00:00")),
        ("/segments", json!([])),
        ("/segments/0/minutes", json!(-5)),
        ("/segments/2/hands/same_as", json!(2)),
        ("/segments/2/hands/same_as", json!(1)),
        ("/segments/2/places/0", json!("hood")),
        ("/patch_test", json!(15)),
        ("/wanted", json!("noon")),
        ("/most", json!(0)),
    ];
    for (at, value) in cases {
        let mut input = contract();
        *input.pointer_mut(at).unwrap_or_else(|| panic!("{at}")) = value.clone();
        assert_eq!(ask(&input), Err(at.to_owned()), "{value}");
    }
    let mut both = contract();
    both["taken"][0]["place"] = json!("basin");
    assert_eq!(ask(&both), Err("/taken/0".to_owned()));
    let mut unknown = contract();
    unknown["segments"][0]["colour"] = json!(1);
    assert_eq!(ask(&unknown), Err("/segments/0/colour".to_owned()));
}

#[test]
fn a_question_too_large_is_refused_not_endured() {
    let mut input = contract();
    input["grid_minutes"] = json!(0.01);
    input["days"] = json!(3000);
    assert_eq!(ask(&input), Err("/days".to_owned()));
    let mut input = contract();
    input["segments"] =
        (0..50).map(|_| json!({"minutes": 5, "hands": {"may": "thio"}, "places": ["chair"]})).collect();
    input["days"] = json!(3000);
    input["people"] = (0..9900)
        .map(|n| json!({"id": n.to_string(), "may": ["thio"]}))
        .chain([json!({"id": "a"})])
        .collect();
    assert_eq!(ask(&input), Err(String::new()));
}

#[test]
fn the_last_years_of_the_calendar_are_answered() {
    let mut input = contract();
    input["from"] = json!("9998-12-01");
    input["taken"] = Value::Null;
    assert!(ask(&input).unwrap()["openings"].as_array().unwrap().iter().all(|o| o["start"].is_string()));
}
