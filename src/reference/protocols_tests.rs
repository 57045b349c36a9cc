//! The shipped protocols against the trade, and broken ones against the loader.

use super::*;
use crate::domain::protocol::Clock;

const RETOUCH: &str = include_str!("../../shared/protocols/curl-retouch.toml");
const VIRGIN: &str = include_str!("../../shared/protocols/curl-virgin.toml");

fn retouch() -> Protocol {
    parse("curl-retouch.toml", RETOUCH).expect("a shipped protocol")
}

fn times(protocol: &Protocol, step: &str, clock: Clock) -> Times {
    *protocol.step(&step.into()).and_then(|s| s.times(clock)).expect("a clock of that step")
}

/// Each change takes one protection out and must be named by exactly the fault it makes.
#[test]
fn a_protocol_below_the_floor_is_refused_with_its_reason() {
    let cases = [
        (
            "\"lot\", \"gloves\", \"base\", \"barrier\", \"hair-dry\"",
            "\"lot\", \"base\", \"barrier\", \"hair-dry\"",
            "gloves",
        ),
        ("[\"patch-test\", \"scalp\", \"strand-test\"", "[\"scalp\", \"strand-test\"", "patch-test"),
        ("[\"patch-test\", \"scalp\", \"strand-test\"", "[\"patch-test\", \"strand-test\"", "scalp"),
        ("\"plan\", \"consent\", \"lot\"", "\"consent\", \"lot\"", "plan"),
        ("\"plan\", \"consent\", \"lot\"", "\"plan\", \"consent\"", "lot"),
        ("[\"gloves\", \"eye-protection\", \"scalp\"]", "[\"gloves\", \"scalp\"]", "eye-protection"),
        ("[\"gloves\", \"eye-protection\", \"scalp\"]", "[\"eye-protection\", \"scalp\"]", "gloves"),
        ("rinses = [\"A\"]", "rinses = []", "no later step rinses it off"),
        ("rinses = [\"B\"]", "rinses = []", "no later step rinses it off"),
        (
            "target_min = 10, most_min = 15, source",
            "target_min = 16, most_min = 15, source",
            "beyond the longest",
        ),
        (
            "exposure = { source = \"sheet\" }",
            "exposure = { most_min = 42, source = \"M\" }",
            "product sheet",
        ),
        (
            "exposure = { source = \"sheet\" }",
            "exposure = { most_min = 42, source = \"sheet\" }",
            "starting value",
        ),
        ("code = \"apply-2\"", "code = \"apply-1\"", "two steps carry this code"),
        ("least_weeks = 10", "least_weeks = 13", "weeks go least"),
        (
            "work = \"rinse\"\nrinses = [\"A\"]",
            "work = \"rinse\"\nhold_points = [\"gloves\"]\nrinses = [\"A\"]",
            "rinsing never waits",
        ),
        ("title = \"Trim\"", "title = \"A trim that is entirely safe\"", "without danger"),
        ("least = 10, typical = 15", "least = 16, typical = 15", "least minutes above"),
    ];
    for (from, to, reason) in cases {
        assert!(RETOUCH.contains(from), "{from}");
        let faults = parse("x.toml", &RETOUCH.replacen(from, to, 1)).expect_err(reason);
        assert!(faults.iter().any(|f| f.reason.contains(reason)), "{reason}: {faults:?}");
        assert!(faults.iter().all(|f| f.file == "x.toml" && f.line > 0), "{faults:?}");
    }
}

#[test]
fn a_closing_step_must_follow() {
    let start = RETOUCH.find("[[steps]]\ncode = \"neutralise\"").expect("the step");
    let end = RETOUCH.find("[[steps]]\ncode = \"neutralise-hold\"").expect("the next step");
    let faults =
        parse("x.toml", &format!("{}{}", &RETOUCH[..start], &RETOUCH[end..])).expect_err("open hair");
    assert!(faults.iter().any(|f| f.reason.contains("no closing step follows")), "{faults:?}");
}

#[test]
fn every_unknown_word_and_field_is_reported() {
    let twice =
        RETOUCH.replace("places = [\"basin\"]", "places = [\"bath\"]").replace("\"scalp\"", "\"skull\"");
    let faults = parse("x.toml", &twice).expect_err("unknown words");
    assert!(
        faults.iter().any(|f| f.reason.contains("bath")) && faults.iter().any(|f| f.reason.contains("skull"))
    );
    let field = RETOUCH.replace("optional = true", "maybe = true");
    assert!(parse("x.toml", &field).expect_err("unknown field")[0].reason.contains("maybe"));
    assert!(parse("x.toml", "code = \"\u{0}").is_err());
    let long = RETOUCH.replace("Rinse and blot.", &"a".repeat(401));
    assert!(parse("x.toml", &long).expect_err("too long")[0].reason.contains("401 characters"));
}

#[test]
fn shipped_protocols_keep_the_trades_times() {
    // trade-rules.md, "Times (defaults of the shipped protocols)", marks as there.
    for text in [RETOUCH, VIRGIN] {
        let p = parse("shipped", text).expect("a shipped protocol");
        // Both passes in a 15 minute window (common practice, no source).
        for step in ["apply-1", "apply-2"] {
            assert_eq!(p.step(&step.into()).and_then(|s| s.window_min), Some(15));
        }
        // Covered 10, at most 15 (CP).
        let cover = times(&p, "cover", Clock::Phase);
        assert_eq!((cover.target_min, cover.most_min), (Some(10), Some(15)));
        // First touch to rinse: the sheet alone.
        assert_eq!(times(&p, "apply-1", Clock::Exposure).source, Source::Sheet);
        // Curl lotion: covered 15, least 10, most 20 (CP); first touch to rinse at most 65 (M).
        let curl = times(&p, "process-curl", Clock::Phase);
        assert_eq!((curl.target_min, curl.least_min, curl.most_min), (Some(15), Some(10), Some(20)));
        assert_eq!(times(&p, "wind", Clock::Exposure).most_min, Some(65));
        // Neutraliser, curl re-forming: from the last rod wet 10, least 10, most 15 (CP).
        let n = times(&p, "neutralise-hold", Clock::Phase);
        assert_eq!((n.target_min, n.least_min, n.most_min), (Some(10), Some(10), Some(15)));
        // Rinse before neutralising 5, least 3 (H); conditioner 10, least 5 (CP).
        let rinse = times(&p, "rinse-lotion", Clock::Phase);
        assert_eq!((rinse.target_min, rinse.least_min), (Some(5), Some(3)));
        let condition = times(&p, "condition", Clock::Phase);
        assert_eq!((condition.target_min, condition.least_min), (Some(10), Some(5)));
        // Retouch 25 mm, 12 weeks, 10 to 20 (CP).
        let r = p.retouch.expect("it comes again");
        assert_eq!((r.target_mm, r.least_weeks, r.middle_weeks, r.latest_weeks), (25.0, 10, 12, 20));
        // Winding holds two pairs of hands, 35 minutes (CP).
        let wind = p.step(&"wind".into()).expect("winding");
        assert_eq!((wind.hands_count, wind.minutes_typical), (2, 35));
        // Both passes of four quadrants in 15 minutes: under 4 minutes a quadrant (common practice, no source).
        let passes: u16 = p
            .steps
            .iter()
            .filter(|s| s.application == Some('A') && s.is_opening())
            .map(|s| s.minutes_typical)
            .sum();
        assert!(passes <= 15 && f64::from(passes) / 4.0 < 4.0);
    }
}

#[test]
fn retouch_treats_new_growth_and_virgin_all_the_hair() {
    // 1-job.md: only the new growth may meet the straightener on a retouch; lotion root to end.
    let zones = |p: &Protocol| p.applications.iter().map(|a| a.zone).collect::<Vec<_>>();
    assert_eq!(zones(&retouch())[..2], [PlannedZone::NewGrowth, PlannedZone::RootToEnd]);
    let virgin = parse("curl-virgin.toml", VIRGIN).expect("a shipped protocol");
    assert_eq!(zones(&virgin)[..2], [PlannedZone::RootToEnd, PlannedZone::RootToEnd]);
}

/// Every service the library promises, and no other.
#[test]
fn shipped_protocols_are_embedded() {
    let codes: Vec<_> =
        super::super::Reference::shipped().protocols.iter().map(|p| p.code.as_str()).collect();
    let promised = [
        "colour-regrowth",
        "curl-coloured",
        "curl-retouch",
        "curl-virgin",
        "gloss",
        "lightener-regrowth",
        "relaxer-guanidine-retouch",
        "relaxer-guanidine-virgin",
        "relaxer-sodium-retouch",
        "relaxer-sodium-virgin",
        "visit-metal-test",
        "visit-patch-test",
        "visit-strand-test",
        "wave-acid",
        "wave-alkaline",
        "wave-partial",
    ];
    assert_eq!(codes, promised);
}

#[test]
fn no_shipped_figure_is_a_salons_own() {
    for (name, text) in super::super::Reference::protocol_texts() {
        assert!(!text.contains("mark = \"S\"") && !text.contains("source = \"S\""), "{name}");
    }
}
