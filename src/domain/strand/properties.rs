//! What must hold on every strand, whatever happened to it.

use super::*;
use crate::domain::chemistry::{Family, Mark, NewUse, Rule, RuleTable, Strength, Verdict};
use proptest::collection::vec;
use proptest::prelude::*;
use time::macros::date;
use time::{Date, Duration};

const START: Date = date!(2024 - 01 - 01);

#[derive(Clone, Debug)]
enum Act {
    Grow(i64),
    Apply(Zone, Exposure),
    Trim(f64),
    Measure(f64),
}

fn family() -> impl Strategy<Value = Family> {
    proptest::sample::select(Family::ALL.to_vec())
}

fn zone() -> impl Strategy<Value = Zone> {
    prop_oneof![
        Just(Zone::NewGrowth),
        Just(Zone::RootToEnd),
        (0.0..250.0).prop_map(Zone::EndsFrom),
        (0.0..250.0, 0.0..120.0).prop_map(|(from, long)| Zone::Between(from, from + long)),
    ]
}

fn exposure() -> impl Strategy<Value = Exposure> {
    (family(), 0.0..40.0f64).prop_map(|(family, on_sd_days)| Exposure {
        family,
        on: START,
        known: Known::Recorded,
        on_sd_days,
    })
}

fn act() -> impl Strategy<Value = Act> {
    prop_oneof![
        (0i64..120).prop_map(Act::Grow),
        (zone(), exposure()).prop_map(|(zone, exposure)| Act::Apply(zone, exposure)),
        (0.1..80.0).prop_map(Act::Trim),
        (0.5..60.0).prop_map(Act::Measure),
    ]
}

/// A refused act changes nothing but may have been tried.
fn live(acts: &[Act]) -> Strand {
    let mut strand = Strand::new(150.0, START, 0.3, 0.05);
    for act in acts {
        match act {
            Act::Grow(days) => strand.grow_to(strand.on() + Duration::days(*days)).unwrap(),
            Act::Apply(zone, exposure) => strand.apply(*zone, Exposure { on: strand.on(), ..*exposure }),
            Act::Trim(mm) => drop(strand.trim(*mm)),
            Act::Measure(mm) => drop(strand.measure(*mm, 2.0)),
        }
    }
    strand
}

fn acts() -> impl Strategy<Value = Vec<Act>> {
    vec(act(), 0..12)
}

/// A table in which newer chemistry is judged by simple arithmetic: enough to exercise the check itself.
fn table() -> RuleTable {
    let rule = |code: &str, verdict, wait_days| Rule {
        code: code.into(),
        verdict,
        wait_days,
        mild_at_most: false,
        when_reforming: None,
        when_metal_tested: None,
        mark: Mark::CommonPractice,
        source: "made for this test".into(),
        why: "made for this test".into(),
        say: "made for this test".into(),
    };
    let verdicts = [Verdict::Clear, Verdict::TestFirst, Verdict::Refuse];
    let mut pairs = std::collections::BTreeMap::new();
    for (i, new) in NewUse::ALL.into_iter().enumerate() {
        for (j, old) in crate::domain::chemistry::Group::ALL.into_iter().enumerate() {
            let verdict = verdicts[(i + 2 * j) % 3];
            let wait = if verdict == Verdict::Refuse { 0 } else { ((i * j) % 3) as u16 * 7 };
            pairs.insert((new, old), rule(&format!("{}-on-{}", new.code(), old.code()), verdict, wait));
        }
    }
    RuleTable {
        pairs,
        unknown_pair: rule("unknown-pair", Verdict::Refuse, 0),
        empty_zone: rule("empty-zone", Verdict::Refuse, 0),
        beside_other: rule("beside", Verdict::Refuse, 0),
        beside_hydroxide: rule("beside", Verdict::TestFirst, 0),
    }
}

fn plan() -> impl Strategy<Value = Vec<PlannedApplication>> {
    let one = (family(), zone(), any::<bool>()).prop_map(|(family, zone, straightens)| PlannedApplication {
        family,
        zone,
        straightens,
        strength: Some(Strength::Regular),
    });
    vec(one, 1..4)
}

fn verdict(strand: &Strand, plan: &[PlannedApplication], table: &RuleTable) -> Verdict {
    worst_verdict(&check_plan(strand, plan, table, Health::default()).unwrap())
}

/// The history at every millimetre, tip to scalp would do as well: two strands alike here are alike.
fn sampled(strand: &Strand) -> Vec<Vec<Exposure>> {
    let at = |mm: f64| strand.pieces().find(|p| p.to_mm > mm).map(|p| p.exposures.to_vec());
    (0..2000).map_while(|i| at(f64::from(i) + 0.37)).collect()
}

proptest! {
    #[test]
    fn pieces_are_ordered_gapless_and_cover_the_strand(acts in acts()) {
        let strand = live(&acts);
        let mut from = 0.0;
        for piece in strand.pieces() {
            prop_assert_eq!(piece.from_mm, from);
            prop_assert!(piece.to_mm > piece.from_mm);
            from = piece.to_mm;
        }
        prop_assert_eq!(from, strand.length_mm());
        for (near, far) in strand.pieces().zip(strand.pieces().skip(1)) {
            prop_assert_ne!(near.exposures, far.exposures);
        }
        prop_assert!(strand.demarcations().all(|(_, sd)| sd.is_finite()));
    }

    #[test]
    fn trimming_then_growing_is_growing_then_trimming(acts in acts(), mm in 0.1..60.0f64, days in 0i64..200) {
        let (mut one, mut other) = (live(&acts), live(&acts));
        if one.trim(mm).is_ok() {
            let later = one.on() + Duration::days(days);
            one.grow_to(later).unwrap();
            other.grow_to(later).unwrap();
            other.trim(mm).unwrap();
            prop_assert!((one.length_mm() - other.length_mm()).abs() < 1e-9);
            prop_assert_eq!(sampled(&one), sampled(&other));
            let (a, b): (Vec<_>, Vec<_>) = (one.demarcations().collect(), other.demarcations().collect());
            prop_assert_eq!(a.len(), b.len());
            for (x, y) in a.iter().zip(&b) {
                prop_assert!((x.0 - y.0).abs() < 1e-9 && (x.1 - y.1).abs() < 1e-9);
            }
        }
    }

    #[test]
    fn growing_never_changes_an_exposure(acts in acts(), days in 1i64..300) {
        let before = live(&acts);
        let mut after = before.clone();
        after.grow_to(before.on() + Duration::days(days)).unwrap();
        let histories = |s: &Strand| {
            s.pieces().map(|p| p.exposures.to_vec()).filter(|e| !e.is_empty()).collect::<Vec<_>>()
        };
        prop_assert_eq!(histories(&before), histories(&after));
    }

    #[test]
    fn applying_twice_adds_exactly_two(acts in acts(), exposure in exposure(), mm in 0.0..140.0f64) {
        let before = live(&acts);
        let mut after = before.clone();
        after.apply(Zone::EndsFrom(mm), exposure);
        after.apply(Zone::EndsFrom(mm), exposure);
        for (i, (old, new)) in sampled(&before).iter().zip(&sampled(&after)).enumerate() {
            let place = i as f64 + 0.37;
            if (place - mm).abs() > 1e-6 {
                let added = if place > mm { 2 } else { 0 };
                prop_assert_eq!(new.len(), old.len() + added);
                prop_assert_eq!(&new[..old.len()], &old[..]);
            }
        }
    }

    #[test]
    fn only_a_trim_loses_history(acts in acts()) {
        let mut tried = Vec::new();
        let mut carried = 0;
        for act in acts {
            let trims = matches!(act, Act::Trim(_));
            tried.push(act);
            let families: std::collections::BTreeSet<Family> =
                live(&tried).pieces().flat_map(|p| p.exposures).map(|e| e.family).collect();
            prop_assert!(trims || families.len() >= carried);
            carried = families.len();
        }
    }

    #[test]
    fn a_longer_history_never_eases_the_verdict(
        acts in acts(), plan in plan(), zone in zone(), exposure in exposure(),
    ) {
        // New growth is what the history leaves bare: putting something there is another plan, not a longer history.
        prop_assume!(zone != Zone::NewGrowth);
        let table = table();
        let before = live(&acts);
        let mut after = before.clone();
        after.apply(zone, Exposure { on: before.on(), ..exposure });
        prop_assume!((after.demarcation_mm() - before.demarcation_mm()).abs() < 1e-9);
        prop_assert!(verdict(&after, &plan, &table) >= verdict(&before, &plan, &table));
    }

    #[test]
    fn more_doubt_never_eases_the_verdict(acts in acts(), plan in plan(), more in 1.0..4.0f64) {
        let table = table();
        let before = live(&acts);
        let mut after = before.clone();
        after.rate_sd *= more;
        for piece in &mut after.stretches {
            piece.end.laid_mm2 *= more;
            piece.exposures.iter_mut().for_each(|e| e.on_sd_days *= more);
        }
        prop_assert!(verdict(&after, &plan, &table) >= verdict(&before, &plan, &table));
    }

    #[test]
    fn a_longer_plan_never_eases_the_verdict(acts in acts(), plan in plan()) {
        let table = table();
        let strand = live(&acts);
        prop_assert!(verdict(&strand, &plan, &table) >= verdict(&strand, &plan[..plan.len() - 1], &table));
    }

    #[test]
    fn findings_lie_on_the_strand_worst_first(acts in acts(), plan in plan()) {
        let table = table();
        let strand = live(&acts);
        let findings = check_plan(&strand, &plan, &table, Health::default()).unwrap();
        for finding in &findings {
            prop_assert!(finding.from_mm >= 0.0 && finding.to_mm <= strand.length_mm() + 1e-9);
            prop_assert!(finding.from_mm < finding.to_mm || finding.rule.code == "empty-zone");
            prop_assert_eq!(finding.until.is_some(), finding.verdict == Verdict::Wait);
            prop_assert!(finding.until.is_none_or(|day| day > strand.on()));
        }
        prop_assert!(findings.windows(2).all(|w| w[0].verdict >= w[1].verdict));
    }

    #[test]
    fn a_sure_trim_is_never_the_smaller_one(acts in acts(), plan in plan()) {
        let table = table();
        for finding in check_plan(&live(&acts), &plan, &table, Health::default()).unwrap() {
            if let (Some(drawn), Some(sure)) = (finding.clears_by_trim_mm, finding.clears_by_trim_sure_mm) {
                prop_assert!(sure >= drawn - 1e-9);
            }
        }
    }
}
