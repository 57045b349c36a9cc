//! Tests on skin and hair, as findings.

use super::{Found, Head, MetalSeen, PlannedProduct, Skin, StrandTest, Way};
use crate::domain::chemistry::Verdict;
use crate::domain::protocol::TestKind;

pub(super) fn check(plan: &[PlannedProduct], head: &Head<'_>, all: &mut Vec<Found>) {
    if head.metal == MetalSeen::Positive && plan.iter().any(|p| p.opening) {
        all.push(
            Found::new(Verdict::Refuse, "salt-test", "The metallic-salt test was positive")
                .why("Metal in the hair heats under thio, peroxide and lightener.")
                .source("handbook teaching")
                .way(Way::Words("Not until what met it is cut off. Today we can trim, treat and set.".into()))
                .way(Way::Visit(TestKind::MetallicSaltTest, "Test again once it is cut".into())),
        );
    }
    for p in plan.iter().filter(|p| p.opening) {
        skin(p, all);
        hair(p, all);
    }
}

fn skin(p: &PlannedProduct, all: &mut Vec<Found>) {
    let (verdict, title, why, way) = match p.skin {
        Skin::NoReaction => (Verdict::Clear, "Patch test read: no reaction", "", None),
        Skin::NotBySheet => (
            Verdict::Clear,
            "No skin test by its sheet",
            "It is never left on skin: the strand test and the scalp decide.",
            None,
        ),
        Skin::NotRead => (
            Verdict::TestFirst,
            "Patch test placed, not read",
            "Read in the chair 48 hours or more after placing.",
            Some(Way::Tests("Read the patch test".into())),
        ),
        Skin::Void => (
            Verdict::TestFirst,
            "Its patch test no longer holds",
            "Too old, or the product's formula or name has changed since.",
            Some(Way::Visit(TestKind::PatchTest, "Place a patch test".into())),
        ),
        Skin::Missing => (
            Verdict::TestFirst,
            "No patch test",
            "Placed 48 hours or more before, read in the chair.",
            Some(Way::Visit(TestKind::PatchTest, "Place a patch test".into())),
        ),
        Skin::Reaction => (
            Verdict::Refuse,
            "A reaction is on record",
            "A reaction to this product or its family. Nobody may override it.",
            None,
        ),
    };
    let mut found = Found::new(verdict, "patch-test", format!("{}: {title}", p.product))
        .of(p)
        .why(why)
        .source("published; validity by the salon's policy");
    found.ways.extend(way);
    all.push(found);
}

fn hair(p: &PlannedProduct, all: &mut Vec<Found>) {
    let never_on_skin = p.skin == Skin::NotBySheet;
    let found = match p.strand_test {
        StrandTest::Failed => {
            Found::new(Verdict::Refuse, "strand-test", format!("{}: the strand test failed", p.product))
                .why("On this hair it would break, or not hold.")
                .way(Way::Words(
                    "Today we can trim, treat and set. A milder product wants its own test.".into(),
                ))
                .way(Way::Visit(TestKind::StrandTest, "Test again once the worst of it is cut".into()))
        }
        StrandTest::Missing | StrandTest::Passed if p.first || never_on_skin => {
            let why = if p.first {
                "Its first time on this client: a strand test on the worst place and a sound one, through neutraliser, dried."
            } else {
                "Where skin is not tested the hair is: the worst place and a sound one, dried."
            };
            let title = if p.first { "first time on this hair" } else { "strand test instead of skin" };
            Found::new(Verdict::TestFirst, "strand-test", format!("{}: {title}", p.product))
                .why(why)
                .tested()
                .way(Way::Visit(TestKind::StrandTest, "Strand test of this product, passed".into()))
        }
        StrandTest::Missing | StrandTest::Passed => return,
    };
    all.push(found.of(p).source("common practice; 14 days from memory"));
}
