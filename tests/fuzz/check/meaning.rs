//! What every answer must mean, area by area: cheap relations between an answer, its question and itself.

use serde_json::Value;
use time::OffsetDateTime;
use time::format_description::well_known::Rfc3339;

/// The relations of one answered document.
pub fn holds(area: &str, asked: &Value, answer: &Value) {
    match area {
        "regrowth" => regrowth(asked, answer),
        "strand" => strand(asked, answer),
        "limits" => limits(asked, answer),
        "rods" => rods(answer),
        "exposure" => exposure(asked, answer),
        "openings" => openings(asked, answer),
        "amounts" => amounts(answer),
        _ => assert!(answer.is_object() || answer.is_array()),
    }
}

/// A number; JSON writes what is not finite as null, so null fails here.
fn number(of: &Value, name: &str) -> f64 {
    of[name].as_f64().unwrap_or_else(|| panic!("{name} is no number in {of}"))
}

fn list<'a>(of: &'a Value, name: &str) -> &'a [Value] {
    of[name].as_array().map_or(&[], Vec::as_slice)
}

fn words<'a>(of: &'a Value, name: &str) -> &'a str {
    of[name].as_str().unwrap_or_else(|| panic!("{name} is no word in {of}"))
}

fn regrowth(asked: &Value, answer: &Value) {
    assert!(number(&answer["rate"], "mean_mm_per_day") > 0.0);
    assert!(number(&answer["rate"], "sd_mm_per_day") > 0.0);
    let since = asked["days_since"].as_f64();
    assert_eq!(since.is_some(), answer["now"].is_object());
    assert_eq!(since.is_some(), answer["chance_due"].is_number());
    let least = asked["least_days"].as_f64().unwrap_or(0.0);
    if let Some(since) = since {
        let now = &answer["now"];
        let (low, mean, high) = (number(now, "low_mm"), number(now, "mean_mm"), number(now, "high_mm"));
        assert!(low <= mean && mean <= high, "{now}");
        let chance = number(answer, "chance_due");
        assert!((0.0..=1.0).contains(&chance));
        assert!(chance == 0.0 || (since >= least && since > 0.0));
    }
    let due = &answer["due_in_days"];
    let days: Vec<f64> = ["early", "middle", "late"].iter().filter_map(|name| due[name].as_f64()).collect();
    assert!(due["early"].is_number() && due["middle"].is_number(), "{due}");
    assert!(days.windows(2).all(|pair| pair[0] <= pair[1]), "{due}");
    assert!(days.iter().all(|day| *day >= least && *day >= 0.0));
    let questioned: Vec<u64> = list(answer, "questioned").iter().filter_map(Value::as_u64).collect();
    assert!(questioned.windows(2).all(|pair| pair[0] < pair[1]));
    assert!(questioned.iter().all(|index| (*index as usize) < list(asked, "observations").len()));
}

const WORST_FIRST: [&str; 4] = ["refuse", "wait", "test-first", "clear"];

fn rank(verdict: &str) -> usize {
    WORST_FIRST.iter().position(|word| *word == verdict).unwrap_or_else(|| panic!("verdict {verdict:?}"))
}

fn strand(asked: &Value, answer: &Value) {
    let length = number(answer, "length_mm");
    let pieces = list(answer, "pieces");
    let mut edge = 0.0;
    for piece in pieces {
        assert_eq!(number(piece, "from_mm"), edge, "a gap");
        let to = number(piece, "to_mm");
        assert!(to > edge, "an empty piece");
        edge = to;
    }
    assert_eq!(edge, length, "pieces end with the strand");
    assert!(pieces.windows(2).all(|pair| pair[0]["exposures"] != pair[1]["exposures"]), "neighbours alike");
    let marks = list(answer, "demarcations");
    for mark in marks {
        let at = number(mark, "at_mm");
        assert!(at > 0.0 && at < length && number(mark, "sd_mm") >= 0.0, "{mark}");
    }
    let bare = pieces.len() > 1 && list(&pieces[0], "exposures").is_empty();
    let new_growth = if bare { number(&pieces[0], "to_mm") } else { 0.0 };
    assert_eq!(number(answer, "demarcation_mm"), new_growth);
    findings(asked, answer, length);
}

fn findings(asked: &Value, answer: &Value, length: f64) {
    let findings = list(answer, "findings");
    let keys: Vec<(usize, u64, f64)> = findings
        .iter()
        .map(|f| {
            (rank(words(f, "verdict")), f["application"].as_u64().expect("an index"), number(f, "from_mm"))
        })
        .collect();
    assert!(keys.windows(2).all(|pair| pair[0] <= pair[1]), "findings out of order");
    assert_eq!(rank(words(answer, "verdict")), keys.first().map_or(3, |key| key.0));
    for finding in findings {
        let (from, to) = (number(finding, "from_mm"), number(finding, "to_mm"));
        assert!(rank(words(finding, "verdict")) < 3, "a clear finding");
        assert!((finding["application"].as_u64().expect("an index") as usize) < list(asked, "plan").len());
        let empty = words(finding, "rule") == "empty-zone";
        assert!(0.0 <= from && from <= to && (empty || (from < to && to <= length)), "{finding}");
        assert!(!words(finding, "why").is_empty() && !words(finding, "source").is_empty());
        match finding["clears_by_trim_mm"].as_f64() {
            Some(trim) => {
                assert_eq!(trim, length - from);
                assert!(
                    finding["clears_by_trim_sure_mm"].as_f64().is_none_or(|sure| sure >= trim),
                    "{finding}"
                );
            }
            None => assert!(from < 1e-6 || empty, "{finding}"),
        }
        assert!(finding["until"].is_null() || words(finding, "verdict") == "wait", "{finding}");
    }
}

fn limits(asked: &Value, answer: &Value) {
    let checks = list(answer, "checks");
    // What the law sums is one check: never more of them than ingredients named.
    let mut named: Vec<&str> = list(asked, "contents").iter().map(|one| words(one, "ingredient")).collect();
    named.sort_unstable();
    named.dedup();
    assert!(checks.len() <= named.len(), "{} checks of {} ingredients", checks.len(), named.len());
    for check in checks {
        let percent = number(check, "percent");
        assert!(percent >= 0.0 && !words(check, "source").is_empty());
        if let (Some(most), Some(true)) = (check["limit_percent"].as_f64(), check["within"].as_bool()) {
            assert!(percent <= most, "{check}");
        }
        assert!(check["limit_percent"].is_number() || !check["within"].as_bool().unwrap_or(false), "{check}");
        assert!(list(check, "must_say").iter().all(|say| say.as_str().is_some_and(|say| !say.is_empty())));
    }
}

fn rods(answer: &Value) {
    assert!(number(answer, "largest_rod_for_s_mm") > 0.0);
    if answer["rod_mm"].is_null() {
        assert!(["turns", "forms", "rods", "end_papers"].iter().all(|name| answer[name].is_null()));
        return;
    }
    let turns = number(answer, "turns");
    let forms = if turns >= 2.5 {
        "S"
    } else if turns >= 1.5 {
        "C"
    } else {
        "less than C"
    };
    assert_eq!(words(answer, "forms"), forms);
    let rods = answer["rods"].as_u64().expect("a count");
    assert_eq!(answer["end_papers"].as_u64(), Some(2 * rods));
}

fn exposure(asked: &Value, answer: &Value) {
    let minutes: Vec<f64> = list(answer, "quadrants").iter().map(|q| number(q, "minutes")).collect();
    assert!(minutes.iter().all(|m| *m >= 0.0));
    if minutes.is_empty() {
        assert!(answer["longest_minutes"].is_null() && answer["spread_minutes"].is_null());
        return;
    }
    let (longest, shortest) = (number(answer, "longest_minutes"), number(answer, "shortest_minutes"));
    assert_eq!(longest, minutes.iter().copied().fold(0.0, f64::max));
    assert_eq!(shortest, minutes.iter().copied().fold(f64::INFINITY, f64::min));
    assert!((number(answer, "spread_minutes") - (longest - shortest)).abs() <= 1e-9 * longest);
    assert_eq!(answer["over_most"].as_bool(), Some(longest > number(asked, "most_minutes")));
}

fn at(of: &Value, name: &str) -> OffsetDateTime {
    OffsetDateTime::parse(words(of, name), &Rfc3339).unwrap_or_else(|e| panic!("{name} of {of}: {e}"))
}

fn openings(asked: &Value, answer: &Value) {
    let found = list(answer, "openings");
    let wanted = at(asked, "wanted");
    assert!(found.len() as f64 <= number(asked, "most"));
    assert!(found.len() as u64 <= answer["searched_starts"].as_u64().expect("a count"));
    let order: Vec<_> = found
        .iter()
        .map(|opening| {
            let start = at(opening, "start");
            // Milliseconds: what is finer in `wanted` is rounded.
            ((start - wanted).whole_milliseconds().abs(), start)
        })
        .collect();
    assert!(
        order.windows(2).all(|pair| pair[0].0 <= pair[1].0 + 1 && pair[0].1 != pair[1].1),
        "out of order"
    );
    let segments = list(asked, "segments");
    for opening in found {
        let (start, end) = (at(opening, "start"), at(opening, "end"));
        assert!(start < end);
        let hands = list(opening, "hands");
        assert_eq!(hands.len(), segments.iter().filter(|segment| segment["hands"].is_object()).count());
        for pair in hands.windows(2) {
            assert!(
                pair[0]["segment"].as_u64() < pair[1]["segment"].as_u64()
                    && at(&pair[0], "end") <= at(&pair[1], "start")
            );
        }
        assert!(hands.iter().all(|one| start <= at(one, "start") && at(one, "end") <= end));
        let visit = &asked["patch_test"];
        assert_eq!(visit.is_object(), opening["patch_test"].is_object());
        if visit.is_object() {
            let before = (start - at(&opening["patch_test"], "end")).as_seconds_f64() / 3600.0;
            assert!(before >= number(visit, "least_hours_before") - 1e-6, "{before} hours before");
        }
    }
}

fn amounts(answer: &Value) {
    let product = number(answer, "product_grams");
    assert!(number(answer, "hair_grams") >= 0.0);
    assert!(number(answer, "low_grams") <= product && product <= number(answer, "high_grams"));
}
