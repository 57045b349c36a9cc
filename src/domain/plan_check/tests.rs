use super::*;
use crate::domain::consult::{HomeColour, Own, Scalp};
use crate::domain::strand::{Exposure, Known};
use crate::reference::Reference;
use proptest::prelude::*;
use time::Date;
use time::macros::date;

const TODAY: Date = date!(2026 - 05 - 14);

fn product(letter: char, straightens: bool, zone: Zone) -> PlannedProduct {
    PlannedProduct {
        letter,
        title: if straightens { "thio straightener" } else { "curl lotion" }.into(),
        product: format!("Product {letter}"),
        family: Family::Thio,
        zone,
        straightens,
        strength: Some(Strength::Mild),
        strength_most: None,
        opening: true,
        skin: Skin::NoReaction,
        strand_test: StrandTest::Passed,
        first: false,
        sheet_missing: vec![],
        sheet_taken: None,
        beyond_law: vec![],
    }
}

fn told() -> Told {
    Told {
        reactions: vec![],
        black_henna: false,
        black_henna_reaction: false,
        scalp: Scalp::Intact,
        scratched_within_3_days: false,
        braids_out_on: None,
        pregnant: false,
        medication: false,
        scalp_treatment: false,
        home_colour: HomeColour::Never,
        silver_in_history: false,
        own: Own::default(),
    }
}

fn felt() -> Felt {
    Felt {
        place: "crown".into(),
        texture: Some(Texture::Medium),
        porosity: Some(Porosity::Normal),
        wet_stretch: Some(WetStretch::Returns),
        ..Felt::default()
    }
}

fn met(family: Family, on: Date) -> Exposure {
    Exposure { family, on, known: Known::Recorded, on_sd_days: 0.0, straightened: None }
}

fn re_formed() -> Strand {
    let mut strand = Strand::new(150.0, date!(2026 - 02 - 01), 0.3, 0.05);
    strand.apply(Zone::RootToEnd, met(Family::Thio, date!(2026 - 02 - 01)));
    strand.grow_to(TODAY).unwrap();
    strand
}

fn retouch() -> Vec<PlannedProduct> {
    vec![product('A', true, Zone::NewGrowth), product('B', false, Zone::RootToEnd)]
}

/// A head with everything well; tests change one thing.
fn head<'a>(strand: &'a Strand, felt: &'a [Felt], told: &'a Told) -> Head<'a> {
    Head {
        strand: Some(strand),
        odd: &[],
        felt,
        told: Some(told),
        circumstance: Circumstance {
            born_on: Some(date!(1990 - 01 - 01)),
            taken_on: TODAY,
            today: TODAY,
            least_age_years: 16,
            metal_cleared: false,
        },
        metal: MetalSeen::NotCleared,
    }
}

fn verdict(plan: &[PlannedProduct], head: &Head<'_>) -> Verdict {
    worst(&check_service(plan, head, &Reference::shipped().rules))
}

#[test]
fn a_retouch_on_a_well_head_is_clear_and_says_what_was_looked_at() {
    let (strand, felt, told) = (re_formed(), [felt()], told());
    let found = check_service(&retouch(), &head(&strand, &felt, &told), &Reference::shipped().rules);
    assert_eq!(worst(&found), Verdict::Clear, "{found:?}");
    assert!(
        found.iter().any(|f| f.rule == "patch-test") && found.iter().any(|f| f.rule == "wet-stretch-returns")
    );
    assert!(retouch().iter().all(|p| !asks_strand_test(p, &found)));
}

// trade-rules.md, "Hair and scalp" and "Hold points": handbook teaching, common practice as marked there.
#[test]
fn each_thing_that_is_not_well_has_its_verdict() {
    let (strand, well, said) = (re_formed(), [felt()], told());
    let plan = retouch();
    let with = |change: fn(&mut PlannedProduct)| {
        let mut plan = retouch();
        change(&mut plan[0]);
        verdict(&plan, &head(&strand, &well, &said))
    };
    assert_eq!(with(|p| p.skin = Skin::Missing), Verdict::TestFirst);
    assert_eq!(with(|p| p.skin = Skin::Reaction), Verdict::Refuse);
    assert_eq!(with(|p| p.first = true), Verdict::TestFirst);
    assert_eq!(with(|p| p.strand_test = StrandTest::Failed), Verdict::Refuse);
    assert_eq!(with(|p| p.sheet_missing = vec!["x".into()]), Verdict::Wait);
    assert_eq!(with(|p| p.beyond_law = vec!["x".into()]), Verdict::Refuse);
    assert_eq!(with(|p| p.strength = Some(Strength::Regular)), Verdict::Clear);
    assert_eq!(with(|p| p.strength = Some(Strength::Strong)), Verdict::Refuse);
    let on = |felt: Felt| verdict(&plan, &head(&strand, &[felt], &said));
    assert_eq!(on(Felt { wet_stretch: Some(WetStretch::Breaks), ..felt() }), Verdict::Refuse);
    assert_eq!(on(Felt { porosity: Some(Porosity::High), ..felt() }), Verdict::Clear, "mild is planned");
    assert_eq!(on(Felt { breakage: true, ..felt() }), Verdict::TestFirst);
    assert_eq!(on(Felt { lightened: true, ..felt() }), Verdict::Refuse, "a straightener on lightened hair");
    let regular = {
        let mut plan = retouch();
        plan[1].strength = Some(Strength::Regular);
        plan
    };
    let fine = [Felt { texture: Some(Texture::Fine), ..felt() }];
    assert_eq!(verdict(&regular, &head(&strand, &fine, &said)), Verdict::Refuse);
    let coarse = [Felt { texture: Some(Texture::Coarse), ..felt() }];
    let strong = vec![PlannedProduct { strength: Some(Strength::Strong), ..retouch().remove(0) }];
    assert_eq!(verdict(&strong, &head(&strand, &coarse, &said)), Verdict::Clear);
    let nobody = Head { told: None, ..head(&strand, &well, &said) };
    assert_eq!(verdict(&plan, &nobody), Verdict::Wait);
    let unasked = Head { strand: None, ..head(&strand, &well, &said) };
    assert_eq!(verdict(&plan, &unasked), Verdict::Wait);
    let odd = ["A trim is more than the hair.".to_string()];
    let found =
        check_service(&plan, &Head { odd: &odd, ..head(&strand, &well, &said) }, &Reference::shipped().rules);
    assert_eq!(worst(&found), Verdict::TestFirst);
    assert!(
        plan.iter().all(|p| asks_strand_test(p, &found)),
        "a doubtful record asks for a test of each product"
    );
    let positive = Head { metal: MetalSeen::Positive, ..head(&strand, &well, &said) };
    assert_eq!(verdict(&plan, &positive), Verdict::Refuse);
}

#[test]
fn a_closing_product_on_unknown_hair_asks_for_a_test_of_the_opening_ones() {
    let mut strand = re_formed();
    strand.apply(Zone::EndsFrom(120.0), met(Family::Unknown, TODAY));
    let neutraliser = PlannedProduct {
        family: Family::PeroxideNeutraliser,
        opening: false,
        strength: None,
        ..product('C', false, Zone::RootToEnd)
    };
    let plan = vec![product('B', false, Zone::Between(0.0, 60.0)), neutraliser];
    let (felt, told) = ([felt()], told());
    let found = check_service(&plan, &head(&strand, &felt, &told), &Reference::shipped().rules);
    assert!(asks_strand_test(&plan[0], &found) && !asks_strand_test(&plan[1], &found), "{found:?}");
}

#[test]
fn a_service_for_coloured_hair_takes_mild_products_only() {
    // trade-rules.md, hair and scalp: coloured hair, mild strength at most (handbook).
    let (strand, felt, told) = (re_formed(), [felt()], told());
    for (strength, refused) in [(Some(Strength::Mild), false), (Some(Strength::Regular), true), (None, true)]
    {
        let p = PlannedProduct {
            strength,
            strength_most: Some(Strength::Mild),
            ..product('B', false, Zone::RootToEnd)
        };
        let found = check_service(&[p], &head(&strand, &felt, &told), &Reference::shipped().rules);
        assert_eq!(found.iter().any(|f| f.rule == "protocol-strength"), refused, "{strength:?}: {found:?}");
    }
}

/// Of products whose sheet asks for a patch test: the others are tested on hair instead.
fn skins() -> impl Strategy<Value = (Skin, Skin)> {
    (1..Skin::ALL.len(), 1..Skin::ALL.len()).prop_map(|(a, b)| (Skin::ALL[a.min(b)], Skin::ALL[a.max(b)]))
}

proptest! {
    /// A test that reads worse never eases the verdict.
    #[test]
    fn a_worse_test_never_eases((good, bad) in skins(), first in any::<bool>(), at in 0..3usize, to in 0..3usize,
        metal in 0..3usize, worse_metal in 0..3usize, salt in any::<bool>()) {
        let (felt, told) = ([felt()], told());
        let mut strand = re_formed();
        if salt {
            strand.apply(Zone::EndsFrom(90.0), met(Family::MetallicSalt, TODAY));
        }
        let plan = |skin, test: usize| {
            let mut plan = retouch();
            plan[1] = PlannedProduct { skin, strand_test: StrandTest::ALL[test], first, ..plan[1].clone() };
            plan
        };
        let of = |metal: usize| Head { metal: MetalSeen::ALL[metal], ..head(&strand, &felt, &told) };
        let well = verdict(&plan(good, at.min(to)), &of(metal.min(worse_metal)));
        prop_assert!(verdict(&plan(bad, at.max(to)), &of(metal.max(worse_metal))) >= well);
    }

    /// More history never eases it.
    #[test]
    fn a_longer_history_never_eases(family in 0..Family::ALL.len(), from in 0.0..140.0f64, days in 0i64..60) {
        let (felt, told) = ([felt()], told());
        let strand = re_formed();
        let before = verdict(&retouch(), &head(&strand, &felt, &told));
        let mut longer = strand.clone();
        // What was put on the ends alone: the root stays new growth.
        let on = TODAY - time::Duration::days(days);
        longer.apply(Zone::EndsFrom(from.max(strand.demarcation_mm())), met(Family::ALL[family], on));
        prop_assert!(verdict(&retouch(), &head(&longer, &felt, &told)) >= before);
    }

    /// Weaker hair never eases it, whatever the products' strength.
    #[test]
    fn weaker_hair_never_eases(strength in 0..3usize, t in 0..3usize, t2 in 0..3usize, p in 0..3usize, p2 in 0..3usize,
        w in 0..3usize, w2 in 0..3usize, b in any::<bool>(), l in any::<bool>()) {
        let (strand, told) = (re_formed(), told());
        let plan: Vec<_> = retouch().into_iter()
            .map(|x| PlannedProduct { strength: Some(Strength::ALL[strength]), ..x }).collect();
        let hair = |t: usize, p: usize, w: usize, b, l| [Felt {
            texture: Some(Texture::ALL[t]), porosity: Some(Porosity::ALL[p]), wet_stretch: Some(WetStretch::ALL[w]),
            breakage: b, lightened: l, ..felt()
        }];
        let sound = hair(t.max(t2), p.min(p2), w.min(w2), false, false);
        let weak = hair(t.min(t2), p.max(p2), w.max(w2), b, l);
        prop_assert!(verdict(&plan, &head(&strand, &weak, &told)) >= verdict(&plan, &head(&strand, &sound, &told)));
    }

    /// Nor does weaker hair at one place of several, a stronger product, or a place read beside the others as weak as any.
    #[test]
    fn one_weaker_place_or_a_stronger_product_never_eases(
        places in prop::collection::vec((0..3usize, 0..3usize, 0..3usize, any::<bool>(), any::<bool>()), 1..4),
        which in any::<prop::sample::Index>(), step in 0..5usize, strength in 0..3usize, stronger in 0..3usize,
    ) {
        let (strand, told) = (re_formed(), told());
        let plan = |strength: usize| -> Vec<_> {
            retouch().into_iter().map(|x| PlannedProduct { strength: Some(Strength::ALL[strength]), ..x }).collect()
        };
        let hair = |(t, p, w, b, l): (usize, usize, usize, bool, bool)| Felt {
            texture: Some(Texture::ALL[t]), porosity: Some(Porosity::ALL[p]), wet_stretch: Some(WetStretch::ALL[w]),
            breakage: b, lightened: l, ..felt()
        };
        let sound: Vec<Felt> = places.iter().copied().map(hair).collect();
        let mut weak = places.clone();
        let at = which.index(weak.len());
        let (t, p, w, b, l) = &mut weak[at];
        match step {
            0 => *t = t.saturating_sub(1),
            1 => *p = (*p + 1).min(2),
            2 => *w = (*w + 1).min(2),
            3 => *b = true,
            _ => *l = true,
        }
        let weak: Vec<Felt> = weak.into_iter().map(hair).collect();
        let before = verdict(&plan(strength), &head(&strand, &sound, &told));
        prop_assert!(verdict(&plan(strength), &head(&strand, &weak, &told)) >= before);
        prop_assert!(verdict(&plan(strength.max(stronger)), &head(&strand, &sound, &told)) >= before);
        let more: Vec<Felt> = sound.iter().cloned().chain([weak[at].clone()]).collect();
        prop_assert!(verdict(&plan(strength), &head(&strand, &more, &told)) >= before);
    }
}
