//! The schemas in `shared/schemas/` are those of the types; help and examples are told from the same.

use rinsebell::calc;
use serde_json::Value;

#[test]
fn the_schemas_in_shared_are_current() {
    let stale: Vec<String> = calc::areas()
        .filter(|area| {
            let file = format!("{}/shared/schemas/{area}.json", env!("CARGO_MANIFEST_DIR"));
            std::fs::read_to_string(file).ok() != Some(calc::schema(area).unwrap() + "\n")
        })
        .map(|area| format!("rinsebell calc {area} --schema > shared/schemas/{area}.json"))
        .collect();
    assert!(
        stale.is_empty(),
        "schemas are not those of the types any more; renew them:\n{}",
        stale.join("\n")
    );
}

#[test]
fn every_example_is_answered_alone_and_in_an_array() {
    assert_eq!(calc::areas().count(), 7);
    for area in calc::areas() {
        let example = calc::example(area).unwrap();
        let one: Value = serde_json::from_str(&calc::run(area, example.as_bytes()).unwrap()).unwrap();
        let two = calc::run(area, format!("[{example},{example}]").as_bytes()).unwrap();
        assert_eq!(serde_json::from_str::<Value>(&two).unwrap(), serde_json::json!([one, one]), "{area}");
    }
}

/// Every property of every object of a schema.
fn properties<'s>(schema: &'s Value, found: &mut Vec<(&'s String, &'s Value)>) {
    match schema {
        Value::Object(fields) => {
            if let Some(Value::Object(own)) = fields.get("properties") {
                found.extend(own.iter());
            }
            fields.values().for_each(|inner| properties(inner, found));
        }
        Value::Array(items) => items.iter().for_each(|inner| properties(inner, found)),
        _ => {}
    }
}

#[test]
fn every_field_is_described_with_its_unit_and_told_in_the_help() {
    for area in calc::areas() {
        let schema: Value = serde_json::from_str(&calc::schema(area).unwrap()).unwrap();
        let help = calc::help(Some(area)).unwrap();
        assert!(help.contains("--example"), "{help}");
        let mut found = Vec::new();
        properties(&schema["$defs"], &mut found);
        assert!(found.len() > 8, "{area}");
        for (name, field) in found {
            // Requirements between fields and the tag of a union say nothing of their own.
            if field.get("const").is_some()
                || field.as_object().is_some_and(|own| own.len() == 1 && own.contains_key("type"))
            {
                continue;
            }
            let about =
                field["description"].as_str().unwrap_or_else(|| panic!("{area}: {name} has no description"));
            let unit = ["_mm", "_minutes", "_grams", "_days", "_mm_per_day", "_cm2", "_um", "_percent"];
            if unit.iter().any(|unit| name.ends_with(unit)) {
                assert!(about.contains('('), "{area}: {name} has no unit: {about}");
            }
            let told = help.split_whitespace().any(|word| word.trim_end_matches('*') == name);
            assert!(told || ["error", "at"].contains(&name.as_str()), "{area}: {name} is not in the help");
        }
    }
    let all = calc::help(None).unwrap();
    assert!(calc::areas().all(|area| all.lines().any(|line| line.trim_start().starts_with(area))), "{all}");
    assert!(
        calc::help(Some("tides")).is_err()
            && calc::schema("tides").is_err()
            && calc::example("tides").is_err()
    );
}
