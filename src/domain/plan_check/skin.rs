//! Tests on skin and hair, as findings.

use super::{Found, Head, MetalSeen, PlannedProduct, Skin, StrandTest, Way};
use crate::domain::chemistry::Verdict;
use crate::domain::protocol::TestKind;

pub(super) fn check(plan: &[PlannedProduct], head: &Head<'_>, all: &mut Vec<Found>) {
    if head.metal == MetalSeen::Positive && plan.iter().any(|p| p.opening) {
        all.push(
            Found::new(Verdict::Refuse, "salt-test", tr!("The metallic-salt test was positive"))
                .why(tr!("Metal in the hair heats under thio, peroxide and lightener."))
                .source(tr!("handbook teaching"))
                .way(Way::Words(
                    tr!("Not until what met it is cut off. Today we can trim, treat and set.").into(),
                ))
                .way(Way::Visit(TestKind::MetallicSaltTest, tr!("Test again once it is cut").into())),
        );
    }
    for p in plan.iter().filter(|p| p.opening) {
        skin(p, all);
        hair(p, all);
    }
}

fn skin(p: &PlannedProduct, all: &mut Vec<Found>) {
    let (verdict, title, why, way) = match p.skin {
        Skin::NoReaction => (Verdict::Clear, tr!("Patch test read: no reaction"), "", None),
        Skin::NotBySheet => (
            Verdict::Clear,
            tr!("No skin test by its sheet"),
            tr!("It is never left on skin: the strand test and the scalp decide."),
            None,
        ),
        Skin::NotRead => (
            Verdict::TestFirst,
            tr!("Patch test placed, not read"),
            tr!("Read in the chair 48 hours or more after placing."),
            Some(Way::Tests(tr!("Read the patch test").into())),
        ),
        Skin::Void => (
            Verdict::TestFirst,
            tr!("Its patch test no longer holds"),
            tr!("Too old, or the product's formula or name has changed since."),
            Some(Way::Visit(TestKind::PatchTest, tr!("Place a patch test").into())),
        ),
        Skin::Missing => (
            Verdict::TestFirst,
            tr!("No patch test"),
            tr!("Placed 48 hours or more before, read in the chair."),
            Some(Way::Visit(TestKind::PatchTest, tr!("Place a patch test").into())),
        ),
        Skin::Reaction => (
            Verdict::Refuse,
            tr!("A reaction is on record"),
            tr!("A reaction to this product or its family. Nobody may override it."),
            None,
        ),
    };
    let mut found = Found::new(verdict, "patch-test", format!("{}: {title}", p.product))
        .of(p)
        .why(why)
        .source(tr!("published; validity by the salon's policy"));
    found.ways.extend(way);
    all.push(found);
}

fn hair(p: &PlannedProduct, all: &mut Vec<Found>) {
    let never_on_skin = p.skin == Skin::NotBySheet;
    let found = match p.strand_test {
        StrandTest::Failed => {
            Found::new(Verdict::Refuse, "strand-test", tr!("{}: the strand test failed", p.product))
                .why(tr!("On this hair it would break, or not hold."))
                .way(Way::Words(
                    tr!("Today we can trim, treat and set. A milder product wants its own test.").into(),
                ))
                .way(Way::Visit(TestKind::StrandTest, tr!("Test again once the worst of it is cut").into()))
        }
        StrandTest::Missing | StrandTest::Passed if p.first || never_on_skin => {
            let why = if p.first {
                tr!(
                    "Its first time on this client: a strand test on the worst place and a sound one, through neutraliser, dried."
                )
            } else {
                tr!("Where skin is not tested the hair is: the worst place and a sound one, dried.")
            };
            let title =
                if p.first { tr!("first time on this hair") } else { tr!("strand test instead of skin") };
            Found::new(Verdict::TestFirst, "strand-test", format!("{}: {title}", p.product))
                .why(why)
                .tested()
                .way(Way::Visit(TestKind::StrandTest, tr!("Strand test of this product, passed").into()))
        }
        StrandTest::Missing | StrandTest::Passed => return,
    };
    all.push(found.of(p).source(tr!("common practice; 14 days from memory")));
}
