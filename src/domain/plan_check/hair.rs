//! Hair as felt: the weakest place decides (trade-rules.md, Hair and scalp).

use super::strand::too_strong;
use super::{Found, Head, PlannedProduct, Way};
use crate::domain::chemistry::family::{Group, coded};
use crate::domain::chemistry::{RuleTable, Strength, Verdict};
use crate::domain::protocol::TestKind;
use crate::words;

coded! {
    /// How thick one hair is; earlier is weaker.
    Texture {
        /// Thin.
        Fine = "fine", "fine";
        /// Between.
        Medium = "medium", "medium";
        /// Thick.
        Coarse = "coarse", "coarse";
    }
}

coded! {
    /// How fast hair takes up water; later is weaker.
    Porosity {
        /// Resistant.
        Low = "low", "low";
        /// Neither.
        Normal = "normal", "normal";
        /// Takes everything up at once.
        High = "high", "high";
    }
}

coded! {
    /// What wet hair does when stretched; later is worse.
    WetStretch {
        /// Springs back.
        Returns = "returns", "returns";
        /// Stays long.
        DoesNotReturn = "does-not-return", "does not return";
        /// Breaks.
        Breaks = "breaks", "breaks";
    }
}

/// The latest reading of one place; what was not felt is none.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Felt {
    /// The place, as said: "crown".
    pub place: String,
    /// Texture.
    pub texture: Option<Texture>,
    /// Porosity.
    pub porosity: Option<Porosity>,
    /// Wet stretch.
    pub wet_stretch: Option<WetStretch>,
    /// Broken hairs seen.
    pub breakage: bool,
    /// Lightened, whatever the record says.
    pub lightened: bool,
}

/// The strongest product this hair takes and why, by its weakest place. What nobody has felt takes regular at most.
fn strongest(felt: &[Felt]) -> (Strength, String) {
    let mild = |f: &&Felt| {
        f.texture == Some(Texture::Fine) || f.porosity == Some(Porosity::High) || f.lightened || f.breakage
    };
    if let Some(weak) = felt.iter().find(mild) {
        let what = match weak {
            f if f.lightened => tr!("lightened"),
            f if f.breakage => tr!("breaking"),
            f if f.texture == Some(Texture::Fine) => tr!("fine"),
            _ => tr!("of high porosity"),
        };
        return (
            Strength::Mild,
            tr!("The hair is {what} at the {}: mild strength at most.", weak.place, what = what),
        );
    }
    let coarse = felt.iter().filter_map(|f| f.texture).min() == Some(Texture::Coarse);
    if coarse {
        (Strength::Strong, String::new())
    } else {
        (Strength::Regular, tr!("Strong products are for coarse, resistant hair: regular at most.").into())
    }
}

pub(super) fn check(plan: &[PlannedProduct], head: &Head<'_>, rules: &RuleTable, all: &mut Vec<Found>) {
    for f in head.felt {
        if let Some(bad) = f.wet_stretch.filter(|w| *w != WetStretch::Returns) {
            let does = if bad == WetStretch::Breaks { tr!("breaks") } else { tr!("does not return") };
            all.push(
                Found::new(
                    Verdict::Refuse,
                    "wet-stretch",
                    tr!("Wet hair {does} when stretched, {}", f.place, does = does),
                )
                .why(tr!("Hair that has lost its stretch breaks under any chemical service."))
                .source(tr!("handbook teaching"))
                .way(Way::Words(
                    tr!("Not until it is cut off or has recovered. Today we can trim, treat and set.").into(),
                ))
                .way(Way::Readings(tr!("Feel it again another day").into())),
            );
        }
        if f.breakage {
            all.push(
                Found::new(Verdict::TestFirst, "breakage", tr!("Broken hairs, {}", f.place))
                    .why(tr!("The weakest place sets what the whole head gets."))
                    .source(tr!("common practice, no source"))
                    .tested()
                    .way(Way::Visit(TestKind::StrandTest, tr!("Strand test on that place, passed").into())),
            );
        }
        if f.lightened {
            lightened(plan, f, rules, all);
        }
    }
    let (most, why) = strongest(head.felt);
    for p in plan.iter().filter(|p| p.opening && p.strength.is_some_and(|s| s > most)) {
        all.push(too_strong(p, &why, tr!("handbook teaching"), None));
    }
    let unread = |f: &Felt| f.texture.is_some() && f.porosity.is_some() && f.wet_stretch.is_some();
    if !head.felt.iter().any(unread) {
        all.push(
            Found::new(
                Verdict::Clear,
                "hair-not-felt",
                tr!("Texture, porosity and wet stretch are not all on record"),
            )
            .why(tr!("What was not felt counts as hair that takes regular strength at most."))
            .source(tr!("common practice, no source"))
            .way(Way::Readings(tr!("Feel the hair before the service").into())),
        );
    } else if head.felt.iter().all(|f| f.wet_stretch.is_none_or(|w| w == WetStretch::Returns)) {
        all.push(
            Found::new(
                Verdict::Clear,
                "wet-stretch-returns",
                tr!("Wet stretch returns wherever it was felt"),
            )
            .source(tr!("handbook teaching")),
        );
    }
}

/// The eye knows of lightener the record does not: the same rule holds for all the hair.
fn lightened(plan: &[PlannedProduct], f: &Felt, rules: &RuleTable, all: &mut Vec<Found>) {
    let reforming = plan.iter().any(|p| p.straightens && p.family.group() == Group::Thio);
    for p in plan {
        let Some(rule) = rules.rule(p.family.planned_as(p.straightens), Group::Lightener) else { continue };
        let verdict = if reforming { rule.when_reforming.unwrap_or(rule.verdict) } else { rule.verdict };
        if verdict == Verdict::Clear {
            continue;
        }
        let mut found = Found::new(
            verdict,
            &rule.code,
            tr!("{} meets lightened hair, seen at the {}", p.letter, f.place),
        )
        .of(p)
        .why(words::of(&rule.why))
        .source(words::of(&rule.source));
        found.strand_test = verdict == Verdict::TestFirst;
        found.ways.push(if found.strand_test {
            Way::Visit(TestKind::StrandTest, tr!("Strand test of this product, passed").into())
        } else {
            Way::Words(words::of(&rule.say).into())
        });
        all.push(found);
    }
}
