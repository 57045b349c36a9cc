//! Where `calc` says a fault lies, for every value of a full document of each area (contract: 3-calc.md, RFC 6901).

use rinsebell::calc;
use serde_json::{Value, json};

/// A document with every field in it, and the fields that may be left out.
fn full() -> Vec<(&'static str, Value, &'static [&'static str])> {
    vec![
        (
            "regrowth",
            json!({"prior": {"mean_mm_per_day": 0.30, "sd_mm_per_day": 0.08}, "target_mm": 25, "days_since": 60,
                "least_days": 56, "observations": [{"days": 91, "mm": 30, "sd_mm": 2},
                {"days": 80, "natural_mm": 16, "curl_index": 1.5, "curl_index_sd": 0.1, "sd_mm": 1}]}),
            &["observations", "days_since", "least_days", "curl_index_sd"],
        ),
        (
            "strand",
            json!({"length_mm": 200, "on": "2025-01-10", "rate_mm_per_day": 0.30, "rate_sd": 0.05, "as_of": "2025-09-01",
                "events": [
                    {"on": "2025-01-10", "did": "apply", "family": "sodium-hydroxide", "zone": "root-to-end",
                        "known": "told", "on_sd_days": 20},
                    {"on": "2025-04-10", "did": "measure", "new_growth_mm": 28, "sd_mm": 2},
                    {"on": "2025-04-10", "did": "trim", "mm": 10},
                    {"on": "2025-04-10", "did": "apply", "family": "thio", "zone": {"from_mm": 0, "to_mm": 20}},
                    {"on": "2025-04-10", "did": "apply", "family": "direct-dye", "zone": {"ends_from_mm": 90}}],
                "plan": [{"family": "thio", "zone": "new-growth", "straightens": true, "strength": "mild"},
                    {"family": "thio", "zone": {"from_mm": 5, "to_mm": 30}}, {"family": "thio", "zone": {"ends_from_mm": 9}}],
                "metal_test": "not-cleared"}),
            &["rate_sd", "plan", "known", "on_sd_days", "straightens", "strength", "metal_test"],
        ),
        (
            "limits",
            json!({"place": "eu", "use": "professional", "purpose": "waving-straightening", "ph": 9.2,
                "contents": [{"ingredient": "ammonium-thioglycolate", "percent": 11.0}]}),
            &["ph"],
        ),
        (
            "rods",
            json!({"section_mm": 120, "wanted": "S", "rod_mm": 12, "rod_length_mm": 80, "scalp_cm2": 600}),
            &["rod_mm"],
        ),
        (
            "exposure",
            json!({"now": "2025-04-10T10:20:00Z", "most_minutes": 20, "events": [
                {"at": "2025-04-10T10:00:00Z", "quadrant": "back-right", "did": "start"},
                {"at": "2025-04-10T12:15:00+02:00", "quadrant": "back-right", "did": "rinse"}]}),
            &[],
        ),
        (
            "openings",
            json!({"grid_minutes": 5, "zone": "Europe/Paris", "from": "2026-03-28", "days": 3,
                "hours": [{"person": "a", "weekday": 6, "open": "09:00", "close": "18:00"}],
                "people": [{"id": "a", "may": ["thio"]}, {"id": "b", "may": []}],
                "places": [{"kind": "chair", "count": 3}, {"kind": "basin", "count": 1}],
                "taken": [{"person": "a", "start": "2026-03-28T10:00:00+01:00", "end": "2026-03-28T10:40:00+01:00"},
                    {"place": "basin", "start": "2026-03-28T13:00:00+01:00", "end": "2026-03-28T13:10:00+01:00"}],
                "segments": [{"minutes": 40, "hands": {"may": "thio", "same_as": null}, "places": ["chair"]},
                    {"minutes": 20, "hands": null, "places": ["chair"]},
                    {"minutes": 10, "hands": {"may": null, "same_as": 0}, "places": ["basin"]}],
                "patch_test": {"minutes": 15, "least_hours_before": 48, "may": "thio"},
                "wanted": "2026-03-28T12:00:00+01:00", "most": 5}),
            &["taken", "patch_test", "may", "same_as", "hands", "places"],
        ),
        (
            "amounts",
            json!({"hairs_per_cm2": 190, "scalp_cm2": 600, "diameter_um": 70, "zone_mm": 25, "product_to_hair": 3.0}),
            &[],
        ),
    ]
}

/// Pointers of all values below the root.
fn pointers(value: &Value, here: &str, found: &mut Vec<String>) {
    let mut child = |name: String, value: &Value| {
        let at = format!("{here}/{name}");
        found.push(at.clone());
        pointers(value, &at, found);
    };
    match value {
        Value::Array(items) => items.iter().enumerate().for_each(|(i, v)| child(i.to_string(), v)),
        Value::Object(fields) => fields.iter().for_each(|(name, v)| child(name.clone(), v)),
        _ => {}
    }
}

/// Where the fault of a text lies, alone and as the third of three documents.
fn at(area: &str, sound: &Value, text: &str) -> Option<String> {
    let bad = calc::run(area, text.as_bytes()).err()?;
    assert!(!bad.error.is_empty() && bad.error.len() < 400, "{}", bad.error);
    let third = format!("[{sound},{sound},{text}]");
    assert_eq!(calc::run(area, third.as_bytes()).unwrap_err().at, format!("/2{}", bad.at), "{area} {text}");
    Some(bad.at)
}

/// One change at a time, at every value: (area, sound document, pointer, changed text, where the fault must lie).
fn every(change: impl Fn(&mut Value, &str) -> Option<String>) -> Vec<(&'static str, Value, String, String)> {
    let mut cases = Vec::new();
    for (area, sound, _) in full() {
        calc::run(area, sound.to_string().as_bytes()).unwrap();
        let mut found = Vec::new();
        pointers(&sound, "", &mut found);
        for pointer in found {
            let mut document = sound.clone();
            if let Some(text) = change(&mut document, &pointer) {
                cases.push((area, sound.clone(), pointer, text));
            }
        }
    }
    cases
}

#[test]
fn a_value_of_another_kind_is_pointed_at() {
    let cases = every(|document, pointer| {
        let value = document.pointer_mut(pointer).unwrap();
        *value = match value {
            Value::Number(_) | Value::Bool(_) => json!("x"),
            Value::String(_) | Value::Object(_) => json!(5),
            Value::Array(_) => json!({}),
            Value::Null => json!([]),
        };
        Some(document.to_string())
    });
    assert!(cases.len() > 150, "{}", cases.len());
    for (area, sound, pointer, text) in cases {
        assert_eq!(at(area, &sound, &text), Some(pointer), "{area} {text}");
    }
}

#[test]
fn a_number_beyond_reckoning_is_pointed_at() {
    let cases = every(|document, pointer| {
        let value = document.pointer_mut(pointer)?;
        *value = json!("@@");
        Some(document.to_string().replace("\"@@\"", "1e999"))
    });
    for (area, sound, pointer, text) in cases {
        assert_eq!(at(area, &sound, &text), Some(pointer), "{area} {text}");
    }
}

#[test]
fn a_doubled_field_is_pointed_at() {
    let cases = every(|document, pointer| {
        let (parent, name) = pointer.rsplit_once('/')?;
        let fields = document.pointer_mut(parent)?.as_object_mut()?;
        // "@" sorts before every letter: the doubling is met first, the field itself is the second.
        fields.insert("@@".into(), fields[name].clone());
        Some(document.to_string().replace("\"@@\"", &format!("{name:?}")))
    });
    for (area, sound, pointer, text) in cases {
        assert_eq!(at(area, &sound, &text), Some(pointer), "{area} {text}");
    }
}

#[test]
fn an_unknown_field_is_pointed_at_wherever_it_stands() {
    for unknown in [json!(1), Value::Null, json!({"a": []})] {
        let cases = every(|document, pointer| {
            document.pointer_mut(pointer)?.as_object_mut()?.insert("zest".into(), unknown.clone());
            Some(document.to_string())
        });
        for (area, sound, pointer, text) in cases {
            assert_eq!(at(area, &sound, &text), Some(format!("{pointer}/zest")), "{area} {text}");
        }
    }
}

#[test]
fn what_is_missing_or_null_points_at_what_it_is_missing_from() {
    for null in [true, false] {
        let cases = every(|document, pointer| {
            let (parent, name) = pointer.rsplit_once('/')?;
            let fields = document.pointer_mut(parent)?.as_object_mut()?;
            if null {
                fields.insert(name.into(), Value::Null);
            } else {
                fields.remove(name);
            }
            Some(document.to_string())
        });
        for (area, sound, pointer, text) in cases {
            let (parent, name) = pointer.rsplit_once('/').unwrap();
            let optional = full().into_iter().find(|(known, ..)| *known == area).unwrap().2;
            if !optional.contains(&name) || pointer == "/places" {
                assert_eq!(at(area, &sound, &text), Some(parent.to_owned()), "{area} {text}");
            }
        }
    }
}

#[test]
fn of_several_faults_the_first_document_is_named() {
    for (area, sound, _) in full() {
        let mut documents = vec![sound.to_string(); 700];
        documents[650] = "{\"a\": }".into();
        documents[3] = "{\"zest\": 1}".into();
        let first = calc::run(area, format!("[{}]", documents.join(",")).as_bytes()).unwrap_err();
        assert_eq!(first.at, "/3/zest", "{area}");
        documents[3] = sound.to_string();
        let broken = calc::run(area, format!("[{}]", documents.join(",")).as_bytes()).unwrap_err();
        assert_eq!(broken.at, "/650/a", "{area}");
    }
}
