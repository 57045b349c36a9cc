//! The shipped services against the trade's own times, orders and tests.
//!
//! Source of every figure: trade-rules.md, "Times (defaults of the shipped protocols)" and "How the other
//! services differ", with the mark named beside it; figures marked C or M are teaching and memory, never law.

use super::Reference;
use crate::domain::chemistry::family::Family;
use crate::domain::protocol::{
    Clock, Head, Heat, HoldPoint, Kind, PlannedZone, Protocol, Section, SectionWork, Source, Times,
};

fn shipped(code: &str) -> &'static Protocol {
    Reference::shipped().protocol(code).expect("a shipped protocol")
}

fn clock(code: &str, step: &str, clock: Clock) -> Times {
    *shipped(code).step(&step.into()).and_then(|s| s.times(clock)).expect("a clock of that step")
}

fn figures(t: Times) -> (Option<u16>, Option<u16>, Option<u16>) {
    (t.target_min, t.least_min, t.most_min)
}

const WAVES: [&str; 3] = ["wave-alkaline", "wave-acid", "wave-partial"];
const RELAXERS: [&str; 4] = [
    "relaxer-sodium-virgin",
    "relaxer-sodium-retouch",
    "relaxer-guanidine-virgin",
    "relaxer-guanidine-retouch",
];
const COLOURS: [&str; 3] = ["colour-regrowth", "lightener-regrowth", "gloss"];

#[test]
fn a_wave_is_rinsed_five_minutes_and_neutralised_five() {
    for code in WAVES {
        // Rinse before neutralising: 5, least 3 (H). Conventional wave: neutraliser 5, least 5, most 10 (H).
        assert_eq!(figures(clock(code, "rinse-lotion", Clock::Phase)), (Some(5), Some(3), None), "{code}");
        assert_eq!(
            figures(clock(code, "neutralise-hold", Clock::Phase)),
            (Some(5), Some(5), Some(10)),
            "{code}"
        );
        // "Processing by the sheet with test curls" (H): no figure of ours.
        assert_eq!(clock(code, "process", Clock::Phase).source, Source::Sheet, "{code}");
        let process = shipped(code).step(&"process".into()).expect("a step");
        assert!(process.look.is_some_and(|l| l.every_min <= 5), "{code}");
    }
    // "Acid wave: as that, with heat by the sheet" (H); the others without.
    for code in WAVES {
        let hot = shipped(code).steps.iter().any(|s| s.heat != Heat::None);
        assert_eq!(hot, code == "wave-acid", "{code}");
    }
    // Nine blocks (common practice, no source); a partial wave names some of them.
    assert_eq!(shipped("wave-alkaline").sections.len(), 9);
    assert!(shipped("wave-partial").sections.len() < 9);
}

/// The ceiling: application and smoothing together at most 15 minutes from first touch (C), to the rinse. A section whose
/// first pass nobody taps, as the hairline's, counts from the first touch of all: it is clear in time as well.
#[test]
fn a_relaxers_usual_minutes_have_the_whole_head_clear_in_time() {
    for code in RELAXERS {
        let on = shipped(code).steps.iter().filter(|s| s.application == Some('A') || s.rinses.contains(&'A'));
        let usual: Vec<u16> = on.map(|s| s.minutes_typical).collect();
        assert_eq!(usual.len(), 4, "{code}: two passes, smoothing, the rinse");
        assert!(usual.iter().sum::<u16>() <= 15, "{code}: {usual:?}");
    }
}

#[test]
fn a_relaxer_takes_every_minute_from_its_sheet() {
    for code in RELAXERS {
        let p = shipped(code);
        // "C: unsafe as a rule, so the product sheet must be entered before a run".
        assert_eq!(clock(code, "apply-1", Clock::Exposure).source, Source::Sheet, "{code}");
        // Application and smoothing together at most 15 from first touch (C).
        let by_hand =
            ["apply-1", "apply-2", "smooth"].map(|s| p.step(&s.into()).expect("a step").minutes_typical);
        assert!(by_hand.iter().sum::<u16>() <= 15, "{code}");
        // "hairline and any fragile place last" (H).
        let last = p.step(&"apply-2".into()).expect("a step");
        assert_eq!(p.sections_of(last).last(), Some(&Section::Hairline), "{code}");
        let first = p.step(&"apply-1".into()).expect("a step");
        assert!(!p.sections_of(first).contains(&Section::Hairline), "{code}");
        // "hair dry and not washed before" (H): nothing is washed before the product is on.
        let on = p.index_of(&"apply-1".into()).expect("a step");
        assert!(p.steps[..on].iter().all(|s| s.code.as_str() != "cleanse"), "{code}");
        assert!(first.hold_points.contains(&HoldPoint::HairDry), "{code}");
        // "no heat, no cap" (H); "normalising shampoo … rinse, repeat" (H); "no peroxide neutraliser" (H).
        assert!(p.steps.iter().all(|s| s.heat == Heat::None), "{code}");
        assert_eq!(p.steps.iter().filter(|s| s.normalises).count(), 2, "{code}");
        assert!(p.applications.iter().all(|a| a.letter == 'A'), "{code}");
        // Guanidine: "activator and cream mixed for this head" (H).
        let mixes = p.steps.iter().any(|s| s.mix.is_some());
        assert_eq!(mixes, code.contains("guanidine"), "{code}");
        // Retouch: 10 weeks, 8 to 16 (P 2-3 months; trade 6-12 weeks).
        let again = p.retouch.expect("it comes again");
        assert_eq!((again.middle_weeks, again.least_weeks, again.latest_weeks), (10, 8, 16), "{code}");
    }
}

#[test]
fn colour_and_lightener_stay_on_the_regrowth() {
    for code in ["colour-regrowth", "lightener-regrowth"] {
        // "new growth only, the line of the last colour not overlapped" (handbook teaching).
        assert!(shipped(code).applications.iter().all(|a| a.zone == PlannedZone::NewGrowth), "{code}");
        // Retouch colour: 6 weeks, 4 to 10 (CP).
        let again = shipped(code).retouch.expect("it comes again");
        assert_eq!((again.middle_weeks, again.least_weeks, again.latest_weeks), (6, 4, 10), "{code}");
    }
    for code in COLOURS {
        assert_eq!(clock(code, "apply", Clock::Exposure).source, Source::Sheet, "{code}");
        assert!(shipped(code).steps.iter().all(|s| s.heat == Heat::None), "{code}");
        // Dry, unwashed hair for colour and lightener on regrowth (handbook teaching).
        let p = shipped(code);
        let on = p.index_of(&"apply".into()).expect("a step");
        assert!(p.steps[..on].iter().all(|s| s.sections != Some(SectionWork::Rinse)), "{code}");
    }
    // "lightener watched every few minutes" (handbook teaching), by back sections first (common practice).
    let apply = shipped("lightener-regrowth").step(&"apply".into()).expect("a step");
    assert!(apply.look.is_some_and(|l| l.every_min <= 5));
    assert!(shipped("lightener-regrowth").sections[..2].iter().all(|s| s.is_back()));
}

#[test]
fn coloured_hair_is_treated_mildly() {
    let p = shipped("curl-coloured");
    assert_eq!(p.head, Head::Coloured);
    // High porosity, fine hair, coloured hair: mild strength at most (H).
    let opening = p.applications.iter().filter(|a| a.letter != 'C');
    assert!(opening.into_iter().all(|a| a.strength_most.is_some_and(|s| s.code() == "mild")));
    // "fine/porous/treated check at 5, max 15" (published.md §5, C).
    let t = clock("curl-coloured", "process-curl", Clock::Phase);
    assert_eq!((t.least_min, t.most_min), (Some(5), Some(15)));
}

#[test]
fn test_visits_put_nothing_on_the_head() {
    for code in ["visit-strand-test", "visit-patch-test", "visit-metal-test"] {
        let p = shipped(code);
        assert_eq!(p.kind, Kind::TestVisit, "{code}");
        assert!(p.applications.is_empty() && p.steps.iter().any(|s| s.records.is_some()), "{code}");
    }
    // "strands 30 min" (published.md §5, metallic-salt test, E/C).
    assert_eq!(figures(clock("visit-metal-test", "soak", Clock::Phase)), (Some(30), Some(30), None));
}

#[test]
fn each_chemistry_is_kept_up_by_its_own_retouch() {
    // trade-rules.md: another hydroxide beside it is tested first; a wave names no interval there.
    let kept_up = |family| Reference::shipped().retouch_of(family).map(|p| p.code.as_str());
    assert_eq!(kept_up(Family::Thio), Some("curl-retouch"));
    assert_eq!(kept_up(Family::SodiumHydroxide), Some("relaxer-sodium-retouch"));
    assert_eq!(kept_up(Family::GuanidineHydroxide), Some("relaxer-guanidine-retouch"));
    assert_eq!(kept_up(Family::PotassiumHydroxide), Some("relaxer-sodium-retouch"));
    assert_eq!(kept_up(Family::OxidativeColour), Some("colour-regrowth"));
    assert_eq!(kept_up(Family::Lightener), Some("lightener-regrowth"));
    assert_eq!(kept_up(Family::DirectDye), None);
    for code in WAVES.iter().chain(&["gloss"]) {
        assert_eq!(shipped(code).retouch, None, "{code}");
    }
}
