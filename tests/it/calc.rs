//! `calc::run` from outside: places of bad input, arrays, hostile documents (contract: 3-calc.md).

use rinsebell::calc;
use serde_json::{Value, json};
use std::time::{Duration, Instant};

fn ask(area: &str, document: &Value) -> Value {
    let answer = calc::run(area, document.to_string().as_bytes()).unwrap();
    serde_json::from_str(&answer).unwrap()
}

/// Where the fault of a document lies.
fn at(area: &str, document: &Value) -> String {
    calc::run(area, document.to_string().as_bytes()).unwrap_err().at
}

fn regrowth() -> Value {
    json!({"prior": {"mean_mm_per_day": 0.30, "sd_mm_per_day": 0.08}, "target_mm": 25, "days_since": 60, "least_days": 56,
        "observations": [{"days": 91, "mm": 30, "sd_mm": 2}]})
}

fn strand() -> Value {
    json!({"length_mm": 200, "on": "2025-01-10", "rate_mm_per_day": 0.30, "rate_sd": 0.05, "as_of": "2025-09-01",
        "events": [
            {"on": "2025-01-10", "did": "apply", "family": "sodium-hydroxide", "zone": "root-to-end"},
            {"on": "2025-04-10", "did": "measure", "new_growth_mm": 28, "sd_mm": 2},
            {"on": "2025-04-10", "did": "trim", "mm": 10},
            {"on": "2025-04-10", "did": "apply", "family": "thio", "zone": "new-growth"}],
        "plan": [{"family": "thio", "zone": "new-growth", "straightens": true}, {"family": "thio", "zone": "root-to-end"}]})
}

fn limits() -> Value {
    json!({"place": "eu", "use": "professional", "purpose": "waving-straightening", "ph": 9.2,
        "contents": [{"ingredient": "ammonium-thioglycolate", "percent": 11.0}]})
}

fn exposure() -> Value {
    json!({"now": "2025-04-10T10:20:00Z", "most_minutes": 20, "events": [
        {"at": "2025-04-10T10:00:00Z", "quadrant": "back-right", "did": "start"},
        {"at": "2025-04-10T12:15:00+02:00", "quadrant": "back-right", "did": "rinse"}]})
}

/// The document with one value changed (or added) at a pointer.
fn with(mut document: Value, pointer: &str, value: Value) -> Value {
    let (parent, name) = pointer.rsplit_once('/').unwrap();
    match document.pointer_mut(parent).unwrap() {
        Value::Array(items) => items[name.parse::<usize>().unwrap()] = value,
        parent => parent[name] = value,
    }
    document
}

#[test]
fn an_unknown_area_is_bad_input() {
    let bad = calc::run("tides", b"{}").unwrap_err();
    assert_eq!(bad.at, "");
    assert!(bad.error.contains("tides"));
}

#[test]
fn a_wrong_value_is_pointed_at() {
    let cases = [
        (
            "regrowth",
            regrowth(),
            "/target_mm",
            vec![json!(0), json!(-1), json!("25"), json!(true), json!([])],
        ),
        ("regrowth", regrowth(), "/prior/sd_mm_per_day", vec![json!(0), json!(-0.1), json!({})]),
        ("regrowth", regrowth(), "/observations/0/days", vec![json!(0), json!(-91)]),
        ("regrowth", regrowth(), "/observations/0/curl_index", vec![json!(1.5)]),
        ("regrowth", regrowth(), "/days_since", vec![json!(-1)]),
        ("regrowth", regrowth(), "/shade", vec![json!(1), json!(null)]),
        ("regrowth", regrowth(), "/prior/mean_cm_per_month", vec![json!(1)]),
        ("strand", strand(), "/length_mm", vec![json!(-1), json!("200")]),
        ("strand", strand(), "/rate_mm_per_day", vec![json!(0)]),
        ("strand", strand(), "/rate_sd", vec![json!(0), json!(-0.05)]),
        (
            "strand",
            strand(),
            "/on",
            vec![json!("2025-02-30"), json!("10.1.2025"), json!("2025-1-10"), json!(20250110)],
        ),
        ("strand", strand(), "/events/0/on", vec![json!("2025-01-09")]),
        ("strand", strand(), "/events/1/on", vec![json!("2025-01-09")]),
        ("strand", strand(), "/events/0/family", vec![json!("tea"), json!("Thio"), json!(3)]),
        ("strand", strand(), "/events/0/zone", vec![json!("ends"), json!([])]),
        ("strand", strand(), "/events/0/known", vec![json!("guessed")]),
        ("strand", strand(), "/events/0/on_sd_days", vec![json!(-1)]),
        ("strand", strand(), "/events/0/mm", vec![json!(1)]),
        ("strand", strand(), "/events/1/sd_mm", vec![json!(0)]),
        ("strand", strand(), "/events/1/zone", vec![json!("root-to-end")]),
        ("strand", strand(), "/events/2/family", vec![json!("thio"), json!("tea")]),
        ("strand", strand(), "/events/2/sd_mm", vec![json!(1)]),
        ("strand", strand(), "/events/1/new_growth_mm", vec![json!(0), json!(-28)]),
        ("strand", strand(), "/events/2/mm", vec![json!(0), json!(228), json!(1000)]),
        ("strand", strand(), "/events/2/did", vec![json!("cut")]),
        ("strand", strand(), "/as_of", vec![json!("2025-04-09")]),
        ("strand", strand(), "/plan/0/straightens", vec![json!("yes")]),
        ("strand", strand(), "/plan/1/strength", vec![json!("super")]),
        ("limits", limits(), "/place", vec![json!("ch")]),
        ("limits", limits(), "/contents/0/percent", vec![json!(-1), json!("11 %")]),
        ("limits", limits(), "/contents/0/ingredient", vec![json!("soap")]),
        ("limits", limits(), "/ph", vec![json!("9")]),
        ("exposure", exposure(), "/most_minutes", vec![json!(0), json!(-20)]),
        (
            "exposure",
            exposure(),
            "/now",
            vec![json!("2025-04-10T10:20:00"), json!("2025-04-10T10:20:00+02:00[Europe/Paris]")],
        ),
        (
            "exposure",
            exposure(),
            "/events/1/at",
            vec![json!("2025-04-10T09:59:59Z"), json!("2025-04-10T10:20:01Z")],
        ),
        ("exposure", exposure(), "/events/0/did", vec![json!("rinse"), json!("stop")]),
        ("exposure", exposure(), "/events/1/did", vec![json!("start")]),
    ];
    for (area, document, pointer, values) in cases {
        ask(area, &document);
        for value in values {
            let told = at(area, &with(document.clone(), pointer, value.clone()));
            assert_eq!(told, pointer, "{area} {value}");
            let third = json!([document, document, with(document.clone(), pointer, value.clone())]);
            assert_eq!(at(area, &third), format!("/2{pointer}"), "{area} {value}");
        }
    }
}

/// RFC 6901 §3: "~" is written "~0" and "/" is written "~1".
#[test]
fn pointers_are_escaped() {
    let mut document = regrowth();
    document["a~b/c"] = json!(1);
    assert_eq!(at("regrowth", &document), "/a~0b~1c");
    assert_eq!(calc::run("regrowth", b"{\"a~b/c\": }").unwrap_err().at, "/a~0b~1c");
}

/// "null is an absent field" (the help), those of other kinds of event and zone as well.
#[test]
fn null_is_absent_in_events_and_zones_of_any_kind() {
    let other = with(strand(), "/events/2/family", json!(null));
    assert_eq!(ask("strand", &other), ask("strand", &strand()));
    let zone = |zone: Value| ask("strand", &with(strand(), "/plan/0/zone", zone));
    assert_eq!(zone(json!({"ends_from_mm": 20, "from_mm": null})), zone(json!({"ends_from_mm": 20})));
}

/// What is refused as too dear is said where it is asked for, with its figures (issue: help and schema).
#[test]
fn what_is_too_dear_is_said_in_help_and_schema() {
    let flat = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    for area in calc::areas() {
        let schema: Value = serde_json::from_str(&calc::schema(area).unwrap()).unwrap();
        let dear = schema["description"].as_str().unwrap();
        let dear = &dear[dear.find("Too dear is").unwrap()..];
        assert!(flat(&calc::help(Some(area)).unwrap()).contains(&flat(dear)), "{area}");
    }
    assert!(flat(&calc::help(None).unwrap()).contains("Too dear is a call"));
    let refused = |documents: usize| {
        let events = vec![json!({"on": "2025-01-10", "did": "trim", "mm": 0.001}); 5_000];
        let one = with(with(strand(), "/events", json!(events)), "/plan", json!([]));
        calc::run("strand", json!(vec![one; documents]).to_string().as_bytes()).map(drop)
    };
    // 2 × 5,000² steps each, 300,000,000 in all.
    assert_eq!(refused(6), Ok(()));
    let bad = refused(7).unwrap_err();
    assert_eq!((bad.at.as_str(), bad.error.contains("too much")), ("/6", true), "{bad}");
}

#[test]
fn zones_are_read_exactly() {
    let zone = |zone: Value| with(strand(), "/plan/0/zone", zone);
    assert_eq!(at("strand", &zone(json!({"from_mm": 20, "to_mm": 10}))), "/plan/0/zone/to_mm");
    assert_eq!(at("strand", &zone(json!({"from_mm": -1, "to_mm": 10}))), "/plan/0/zone/from_mm");
    assert_eq!(at("strand", &zone(json!({"ends_from_mm": 20, "to_mm": 10}))), "/plan/0/zone/to_mm");
    assert_eq!(at("strand", &zone(json!({"from_mm": 20}))), "/plan/0/zone");
    assert_eq!(at("strand", &zone(json!({}))), "/plan/0/zone");
    assert_eq!(
        ask("strand", &zone(json!({"from_mm": 0, "to_mm": 9999})))["findings"][1]["to_mm"],
        json!(261.2)
    );
}

#[test]
fn new_growth_is_measured_only_where_there_is_some() {
    let measure = json!({"on": "2025-01-10", "did": "measure", "new_growth_mm": 28, "sd_mm": 2});
    let treated = json!({"on": "2025-01-10", "did": "apply", "family": "thio", "zone": "root-to-end"});
    assert_eq!(at("strand", &with(strand(), "/events", json!([measure]))), "/events/0");
    assert_eq!(at("strand", &with(strand(), "/events", json!([treated, measure]))), "/events/1");
}

#[test]
fn absent_and_null_are_one() {
    let mut without = regrowth();
    for field in ["observations", "days_since", "least_days"] {
        without.as_object_mut().unwrap().remove(field);
    }
    let nulls = json!({"prior": without["prior"], "target_mm": 25, "observations": null, "days_since": null, "least_days": null});
    assert_eq!(ask("regrowth", &without), ask("regrowth", &nulls));
    assert_eq!(ask("regrowth", &without)["now"], Value::Null);
    assert_eq!(at("regrowth", &with(regrowth(), "/target_mm", Value::Null)), "");
    assert_eq!(at("regrowth", &with(regrowth(), "/observations/0/mm", Value::Null)), "/observations/0");
}

#[test]
fn an_array_is_answered_item_by_item() {
    assert_eq!(ask("limits", &json!([])), json!([]));
    let one = ask("limits", &limits());
    assert_eq!(ask("limits", &json!([limits(), limits()])), json!([one, one]));
    assert_eq!(at("limits", &json!([limits(), 3])), "/1");
    assert_eq!(at("limits", &json!([[limits()]])), "/0");
    assert_eq!(at("limits", &json!(3)), "");
}

#[test]
fn broken_json_is_pointed_at() {
    let told = |text: &str| calc::run("exposure", text.as_bytes()).unwrap_err().at;
    assert_eq!(told(""), "");
    assert_eq!(told("{\"now\": }"), "/now");
    assert_eq!(told("{\"events\": [{}, {\"at\": nan}]}"), "/events/1/at");
    assert_eq!(told("{\"most_minutes\": 1e999}"), "/most_minutes");
    assert_eq!(told("{\"now\": 1, \"now\": 1}"), "/now");
    assert_eq!(told("[{\"now\": 1e999}]"), "/0/now");
    assert_eq!(told("{} {}"), "");
    assert_eq!(calc::run("exposure", b"{\"now\": \"\xff\"}").unwrap_err().at, "/now");
}

#[test]
fn ten_thousand_items_are_read_and_one_more_is_not() {
    let observations = |n: usize| {
        with(regrowth(), "/observations", json!(vec![json!({"days": 91, "mm": 30, "sd_mm": 2}); n]))
    };
    assert_eq!(ask("regrowth", &observations(10_000))["questioned"], json!([]));
    assert_eq!(at("regrowth", &observations(10_001)), "/observations");
    assert_eq!(ask("regrowth", &json!(vec![regrowth(); 10_000])).as_array().unwrap().len(), 10_000);
    assert_eq!(at("regrowth", &json!(vec![regrowth(); 10_001])), "/10000");
}

#[test]
fn numbers_beyond_reckoning_are_bad_input() {
    let prior = json!({"mean_mm_per_day": 1e308, "sd_mm_per_day": 1e-308});
    assert_eq!(at("regrowth", &with(regrowth(), "/prior", prior)), "");
    assert_eq!(at("strand", &with(strand(), "/length_mm", json!(1e308))), "/length_mm");
    assert_eq!(at("strand", &with(strand(), "/rate_mm_per_day", json!(1e308))), "/rate_mm_per_day");
    assert_eq!(at("strand", &with(strand(), "/events/1/sd_mm", json!(1e200))), "");
    let contents =
        json!([{"ingredient": "ammonia", "percent": 1e308}, {"ingredient": "ammonia", "percent": 1e308}]);
    assert_eq!(at("limits", &with(limits(), "/contents", contents)), "");
}

/// A metallic-salt refusal turns to test first only by the negative test with no silver in the history
/// (trade-rules.md, below the table).
#[test]
fn a_negative_metal_test_turns_a_refusal_into_a_strand_test() {
    let metal =
        json!([{"on": "2025-01-10", "did": "apply", "family": "metallic-salt", "zone": "root-to-end"}]);
    let document = with(strand(), "/events", metal);
    assert_eq!(ask("strand", &document)["verdict"], "refuse");
    let tested = with(document.clone(), "/metal_test", json!("negative-no-silver"));
    assert_eq!(ask("strand", &tested)["verdict"], "test-first");
    assert_eq!(at("strand", &with(document, "/metal_test", json!("negative"))), "/metal_test");
}

/// Hostile documents of about 10 MB: an answer or a refusal, soon. The limit is the contract's second times what an
/// unoptimised build costs; memory is bounded by the reader's own counts. All areas share the reader.
#[test]
fn hostile_documents_are_answered_or_refused_soon() {
    const SIZE: usize = 10_000_000;
    let repeat =
        |head: &str, unit: &str, tail: &str| format!("{head}{}{tail}", unit.repeat(SIZE / unit.len()));
    let spread = |head: &str, unit: &str, tail: &str, count: usize| {
        let row = vec![unit; 9_999].join(",");
        format!("{head}{}{tail}", vec![format!("[{row}]"); count].join(","))
    };
    let day = |n: usize| (time::Date::MIN + time::Duration::days(4_000_000 + n as i64)).to_string();
    let applied = |n: usize, zone: &str| {
        // Bare hair has no new growth: something has to lie behind it first.
        let event = |i: usize| {
            let zone = if i == 0 { "root-to-end" } else { zone };
            json!({"on": day(i), "did": "apply", "family": "thio", "zone": zone})
        };
        let events: Vec<Value> = (0..n).map(event).collect();
        with(with(with(strand(), "/events", json!(events)), "/on", json!(day(0))), "/as_of", json!(day(n)))
    };
    let plan = json!(
        (0..9_999)
            .map(|i| json!({"family": "thio", "zone": {"from_mm": i as f64 / 60.0, "to_mm": 200}}))
            .collect::<Vec<_>>()
    );
    let documents = [
        repeat("", "[", ""),
        repeat("", "{\"a\":", ""),
        repeat("{\"a\":\"", "x", "\"}"),
        repeat("{\"a\":[", "0,", "0]}"),
        repeat("[", "{},", "{}]"),
        repeat("{\"a\":[", "[0],", "0]}"),
        repeat("{", "\"a\":0,", "\"b\":0}"),
        repeat("{\"a\":", "9", "}"),
        repeat("{\"a\":\"", "\\u0000", "\"}"),
        spread("{\"a\":[", "{\"b\":0}", "]}", 125),
        spread("{\"a\":[", "[0]", "]}", 250),
        spread("[", "[]", "]", 330),
        format!("{{{}\"z\":0}}", (0..700_000).map(|i| format!("\"k{i}\":0,")).collect::<String>()),
        applied(10_000, "root-to-end").to_string(),
        applied(10_000, "new-growth").to_string(),
        with(applied(3_000, "new-growth"), "/plan", plan.clone()).to_string(),
        with(strand(), "/plan", plan).to_string(),
    ];
    for (index, document) in documents.iter().enumerate() {
        let begun = Instant::now();
        let answered = calc::run("strand", document.as_bytes());
        let took = begun.elapsed();
        // One of them is honest: 10,000 events of new growth.
        assert_eq!(answered.is_ok(), index == 14, "document {index}: {:?}", answered.err());
        println!("{index}: {took:?} for {} bytes", document.len());
        assert!(took < Duration::from_secs(5), "document {index} took {took:?}");
    }
}

/// A finding names the test that would settle it, also one that has to wait first (2-domain.md, Plan check).
#[test]
fn a_finding_says_which_test_settles_it() {
    let met = |family: &str, on: &str, planned: &str| {
        let events = json!([{"on": on, "did": "apply", "family": family, "zone": "root-to-end"}]);
        let plan = json!([{"family": planned, "zone": "root-to-end", "straightens": true}]);
        let document =
            with(with(with(strand(), "/events", events), "/plan", plan), "/as_of", json!("2025-03-01"));
        let first = ask("strand", &document)["findings"][0].clone();
        (first["rule"].clone(), first["verdict"].clone(), first["then"].clone(), first["settled_by"].clone())
    };
    let (_, verdict, then, test) = met("oxidative-colour", "2025-02-27", "thio");
    assert_eq!((verdict, then, test), (json!("wait"), json!("test-first"), json!("strand-test")));
    let (_, verdict, then, test) = met("oxidative-colour", "2025-01-10", "thio");
    assert_eq!((verdict, then, test), (json!("test-first"), Value::Null, json!("strand-test")));
    let (_, verdict, _, test) = met("metallic-salt", "2025-01-10", "thio");
    assert_eq!((verdict, test), (json!("refuse"), json!("metallic-salt-test")));
    let (_, verdict, _, test) = met("sodium-hydroxide", "2025-01-10", "thio");
    assert_eq!((verdict, test), (json!("refuse"), Value::Null));
    // No row for a planned plant colour: never clear.
    let (rule, verdict, _, test) = met("thio", "2025-01-10", "plant-colour");
    assert_eq!((rule, verdict, test), (json!("unknown-pair"), json!("refuse"), Value::Null));
}

/// What law says nothing about is said so (issue: limits per lot).
#[test]
fn silence_of_the_law_is_told() {
    // Annex III limits sulfites in colour and in waving or straightening alone (entry 99); ammonia everywhere (entry 4).
    let contents = json!([{"ingredient": "sulfite-as-so2", "percent": 1.0}, {"ingredient": "ammonia", "percent": 2.0},
        {"ingredient": "sulfite-as-so2", "percent": 2.0}]);
    let answer =
        ask("limits", &with(with(limits(), "/contents", contents), "/purpose", json!("neutralising")));
    assert_eq!(answer["checks"].as_array().unwrap().len(), 1);
    assert_eq!(answer["checks"][0]["as"], "ammonia");
    let silent = answer["unlimited"].as_array().unwrap();
    assert_eq!(
        (silent.len(), &silent[0]["as"], &silent[0]["percent"]),
        (1, &json!("sulfite-as-so2"), &json!(3.0))
    );
    assert!(silent[0]["says"].as_str().unwrap().contains("neutralising"));
    assert_eq!(ask("limits", &limits())["unlimited"], json!([]));
}

/// A call made from inside a pool must not wait for that pool.
#[test]
fn a_call_from_inside_a_pool_of_one_is_answered() {
    let pool = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
    let many = json!(vec![regrowth(); 2_000]).to_string();
    let inside = pool.install(|| calc::run("regrowth", many.as_bytes())).unwrap();
    assert_eq!(inside, calc::run("regrowth", many.as_bytes()).unwrap());
}

/// Which document makes the answer too large does not hang on how many hands compute.
#[test]
fn an_answer_too_large_is_named_at_one_place() {
    let named = "thioglycolic-acid glyceryl-thioglycolate sodium-hydroxide calcium-hydroxide-with-guanidine sulfite-as-so2 \
        hydrogen-peroxide ammonia formaldehyde silver-nitrate lead-acetate potassium-bromate";
    let content = |name| json!({"ingredient": name, "percent": 1.0});
    let contents: Vec<Value> = named.split_whitespace().map(content).collect();
    let lot = with(with(limits(), "/contents", json!(contents)), "/place", json!("uk"));
    let many = json!(vec![lot.clone(); 10_000]).to_string();
    let one = calc::run("limits", lot.to_string().as_bytes()).unwrap().len() + 1;
    let pool = |hands| rayon::ThreadPoolBuilder::new().num_threads(hands).build().unwrap();
    let at = |hands| pool(hands).install(|| calc::run("limits", many.as_bytes())).map(|text| text.len());
    match at(1) {
        // Too small to be refused would prove nothing.
        Ok(len) => panic!("{len} bytes, {one} each"),
        Err(bad) => {
            assert!(bad.error.contains("too large"), "{bad}");
            for hands in [2, 5] {
                assert_eq!(at(hands).unwrap_err(), bad);
            }
        }
    }
}
