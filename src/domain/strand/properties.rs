//! What must hold on every strand, whatever happened to it.

use super::*;
use crate::domain::chemistry::{Family, Mark, NewUse, Rule, RuleTable, Strength, Verdict};
use crate::reference::Reference;
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
    (family(), 0.0..40.0f64, proptest::sample::select(Known::ALL.to_vec())).prop_map(
        |(family, on_sd_days, known)| Exposure { family, on: START, known, on_sd_days, straightened: None },
    )
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

/// The shipped rules, or those made for these tests.
fn some_table() -> impl Strategy<Value = RuleTable> {
    any::<bool>().prop_map(|shipped| if shipped { Reference::shipped().rules.clone() } else { table() })
}

/// The same hair as if everything had met it so many days earlier, each piece lying where it lies.
fn longer_ago(strand: &Strand, days: i64) -> Strand {
    let mut older = strand.clone();
    for exposure in older.stretches.iter_mut().flat_map(|piece| &mut piece.exposures) {
        exposure.on -= Duration::days(days);
    }
    older
}

fn findings<'t>(strand: &Strand, plan: &[PlannedApplication], table: &'t RuleTable) -> Vec<Finding<'t>> {
    check_plan(strand, plan, table, Health::default()).unwrap()
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
        acts in acts(), plan in plan(), zone in zone(), exposure in exposure(), table in some_table(),
    ) {
        // New growth is what the history leaves bare: putting something there is another plan, not a longer history.
        prop_assume!(zone != Zone::NewGrowth);
        let before = live(&acts);
        let mut after = before.clone();
        after.apply(zone, Exposure { on: before.on(), ..exposure });
        prop_assume!((after.demarcation_mm() - before.demarcation_mm()).abs() < 1e-9);
        prop_assert!(verdict(&after, &plan, &table) >= verdict(&before, &plan, &table));
    }

    #[test]
    fn more_doubt_never_eases_the_verdict(
        acts in acts(), plan in plan(), more in 1.0..4.0f64, table in some_table(),
    ) {
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
    fn a_longer_plan_never_eases_the_verdict(acts in acts(), plan in plan(), table in some_table()) {
        let strand = live(&acts);
        prop_assert!(verdict(&strand, &plan, &table) >= verdict(&strand, &plan[..plan.len() - 1], &table));
    }

    #[test]
    fn findings_lie_on_the_strand_worst_first(acts in acts(), plan in plan(), table in some_table()) {
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
    fn a_sure_trim_is_never_the_smaller_one(acts in acts(), plan in plan(), table in some_table()) {
        for finding in check_plan(&live(&acts), &plan, &table, Health::default()).unwrap() {
            if let (Some(drawn), Some(sure)) = (finding.clears_by_trim_mm, finding.clears_by_trim_sure_mm) {
                prop_assert!(sure >= drawn - 1e-9);
            }
        }
    }

    /// What somebody told or concluded weighs no less than what was recorded here.
    #[test]
    fn hearsay_never_eases_the_verdict(acts in acts(), plan in plan(), table in some_table(), told in any::<bool>()) {
        let (mut sure, mut heard) = (live(&acts), live(&acts));
        for (strand, known) in
            [(&mut sure, Known::Recorded), (&mut heard, if told { Known::Told } else { Known::Inferred })]
        {
            strand.stretches.iter_mut().flat_map(|p| &mut p.exposures).for_each(|e| e.known = known);
        }
        prop_assert!(verdict(&heard, &plan, &table) >= verdict(&sure, &plan, &table));
    }

    #[test]
    fn an_uncleared_metal_test_never_eases_the_verdict(acts in acts(), plan in plan(), table in some_table()) {
        let strand = live(&acts);
        let with = |metal_test| worst_verdict(&check_plan(&strand, &plan, &table, Health { metal_test }).unwrap());
        prop_assert!(with(MetalTest::NotCleared) >= with(MetalTest::NegativeNoSilver));
    }

    /// The trim a finding names clears it: what is left brings no finding of that rule from there on.
    #[test]
    fn the_trim_a_finding_names_clears_it_and_a_millimetre_less_does_not(
        acts in acts(), plan in plan(), table in some_table(),
    ) {
        let strand = live(&acts);
        for finding in findings(&strand, &plan, &table) {
            let Some(least) = finding.clears_by_trim_mm else { continue };
            let sure = finding.clears_by_trim_sure_mm.unwrap_or(0.0);
            let alike = |f: &&Finding<'_>| (f.application, &f.rule.code) == (finding.application, &finding.rule.code);
            for mm in [least, sure.max(least)] {
                let mut cut = strand.clone();
                if cut.trim(mm).is_ok() {
                    let left = findings(&cut, &plan, &table);
                    prop_assert!(left.iter().filter(alike).all(|f| f.to_mm <= finding.from_mm + 1e-6), "{mm} {left:?}");
                }
            }
            // A zone named by number reaches as far as its doubt, further than the piece as drawn: there a smaller trim
            // may do, and the larger one is the stricter answer. Where the eye follows the hair it may not.
            let by_eye = matches!(plan[finding.application].zone, Zone::NewGrowth | Zone::RootToEnd);
            if by_eye && least > 1.0 {
                let mut cut = strand.clone();
                cut.trim(least - 1.0).unwrap();
                let left = findings(&cut, &plan, &table);
                let same = |f: &Finding<'_>| (f.from_mm - finding.from_mm).abs() < 1e-6;
                // When the whole demarcation is cut off no new growth is left to tell: refused as an empty zone.
                let no_zone = |f: &Finding<'_>| f.application == finding.application && f.rule.code == "empty-zone";
                prop_assert!(left.iter().filter(alike).any(same) || left.iter().any(no_zone), "{left:?}");
            }
        }
    }

    /// On its day a wait is over, the day before it is not. One application: what the same plan puts on is always of today.
    #[test]
    fn a_wait_ends_on_its_day_and_not_the_day_before(acts in acts(), plan in plan(), table in some_table()) {
        let strand = live(&acts);
        let plan = &plan[..1];
        for finding in findings(&strand, plan, &table) {
            let Some(until) = finding.until else { continue };
            let days = (until - strand.on()).whole_days();
            let waits = |days: i64| {
                findings(&longer_ago(&strand, days), plan, &table).into_iter().any(|f| {
                    f.rule.code == finding.rule.code && f.verdict == Verdict::Wait
                        && f.from_mm < finding.to_mm && f.to_mm > finding.from_mm
                })
            };
            prop_assert!(days > 0 && waits(days - 1) && !waits(days));
        }
    }

    #[test]
    fn days_gone_by_never_lengthen_a_wait_nor_worsen_the_verdict(
        acts in acts(), plan in plan(), table in some_table(), days in 1i64..200,
    ) {
        let strand = live(&acts);
        let older = longer_ago(&strand, days);
        let longest = |strand: &Strand| findings(strand, &plan, &table).into_iter().filter_map(|f| f.until).max();
        prop_assert!(longest(&older) <= longest(&strand));
        prop_assert!(verdict(&older, &plan, &table) <= verdict(&strand, &plan, &table));
    }
}
