//! The check of a whole planned service: what the strand says of each application, and what hair as felt, skin,
//! the consult, the law and the product sheets add. Worst first; the worst verdict is the plan's.
//!
//! Doubt and silence make it stricter, never laxer: what was not felt, not read, not entered is a finding.

mod found;
mod hair;
mod skin;
mod strand;

pub use found::{Found, Way, cut_first};
pub use hair::{Felt, Porosity, Texture, WetStretch};

use super::chemistry::family::{Family, coded};
use super::chemistry::{RuleTable, Strength, Verdict};
use super::consult::{self, Circumstance, Sought, Told};
use super::protocol::TestKind;
use super::strand::{MetalTest, Strand, Zone};

coded! {
    /// What is known of the skin under a product; later is worse.
    Skin {
        /// Its sheet asks for no test on skin.
        NotBySheet = "not-by-sheet", "no skin test by the sheet";
        /// Read 48 hours or more after placing: nothing.
        NoReaction = "no-reaction", "no reaction";
        /// Placed, not yet read.
        NotRead = "not-read", "placed, not read";
        /// Too old, or the product's formula changed since.
        Void = "void", "no longer holds";
        /// Never placed.
        Missing = "missing", "not placed";
        /// A reaction is on record, to this product or its family.
        Reaction = "reaction", "a reaction";
    }
}

coded! {
    /// What a test on this client's hair with this product showed; later is worse.
    StrandTest {
        /// Passed within its days, nothing put on since.
        Passed = "passed", "passed";
        /// None, too old, or something was put on since.
        Missing = "missing", "not done";
        /// It broke, felt gummy, did not return or did not form.
        Failed = "failed", "failed";
    }
}

coded! {
    /// The metallic-salt test; later is worse.
    MetalSeen {
        /// Read negative, no silver named, nothing metallic since.
        Negative = "negative", "negative";
        /// Not done, or it cannot clear (silver).
        NotCleared = "not-cleared", "not cleared";
        /// Read positive.
        Positive = "positive", "positive";
    }
}

/// One product planned for one zone, with all that is known of it on this head.
#[derive(Clone, Debug, PartialEq)]
pub struct PlannedProduct {
    /// The application's letter.
    pub letter: char,
    /// What the screen calls it: "curl lotion".
    pub title: String,
    /// The product's name.
    pub product: String,
    /// Its chemistry.
    pub family: Family,
    /// Where it goes.
    pub zone: Zone,
    /// It straightens.
    pub straightens: bool,
    /// Its strength.
    pub strength: Option<Strength>,
    /// The strongest the protocol lets onto such a head; none: what the hair takes.
    pub strength_most: Option<Strength>,
    /// It opens the hair: tested, dispensed, judged; else it closes.
    pub opening: bool,
    /// The skin under it.
    pub skin: Skin,
    /// The strand test with it.
    pub strand_test: StrandTest,
    /// Never put on this client here before.
    pub first: bool,
    /// Clocks of the service that wait for the sheet's figures, in words.
    pub sheet_missing: Vec<String>,
    /// The sheet's minutes this hair takes, in words, where the sheet tells hair apart.
    pub sheet_taken: Option<String>,
    /// What is above the law's limit, in words with the source.
    pub beyond_law: Vec<String>,
}

/// What is known of the head.
#[derive(Clone, Debug)]
pub struct Head<'a> {
    /// The strand on the day; none before what is in the hair was told.
    pub strand: Option<&'a Strand>,
    /// What in the record does not fit together, in words.
    pub odd: &'a [String],
    /// The latest reading of each place.
    pub felt: &'a [Felt],
    /// The consult's answers, with every reaction ever told; none when no consult was taken.
    pub told: Option<&'a Told>,
    /// What the consult's findings rest on.
    pub circumstance: Circumstance,
    /// The metallic-salt test.
    pub metal: MetalSeen,
}

/// Checks a whole service. Worst first, then by letter, then from the scalp.
pub fn check_service(plan: &[PlannedProduct], head: &Head<'_>, rules: &RuleTable) -> Vec<Found> {
    let mut all = Vec::new();
    strand::check(plan, head, rules, &mut all);
    hair::check(plan, head, rules, &mut all);
    skin::check(plan, head, &mut all);
    told(plan, head, &mut all);
    sheets(plan, &mut all);
    bounded(plan, &mut all);
    all.sort_by(|a, b| {
        let from = |f: &Found| f.span_mm.map_or(f64::MAX, |(from, _)| from);
        let order = b.verdict.cmp(&a.verdict).then_with(|| a.letters.cmp(&b.letters));
        order.then(from(a).total_cmp(&from(b)))
    });
    all
}

/// The worst verdict; clear when nothing was found.
pub fn worst(found: &[Found]) -> Verdict {
    found.iter().map(|f| f.verdict).max().unwrap_or(Verdict::Clear)
}

/// True when a strand test of this product comes first: its first time on this client, or a finding asks for
/// one. A finding about a closing product asks for a test with every opening one, through to the neutraliser.
pub fn asks_strand_test(product: &PlannedProduct, found: &[Found]) -> bool {
    let asked = |f: &&Found| {
        f.strand_test && (f.letters.is_empty() || f.letters.contains(product.letter) || f.closing)
    };
    product.opening && (product.first || found.iter().any(|f| asked(&f)))
}

impl MetalSeen {
    fn cleared(self) -> MetalTest {
        match self {
            MetalSeen::Negative => MetalTest::NegativeNoSilver,
            MetalSeen::NotCleared | MetalSeen::Positive => MetalTest::NotCleared,
        }
    }
}

/// What the consult says, as findings of the plan.
fn told(plan: &[PlannedProduct], head: &Head<'_>, all: &mut Vec<Found>) {
    let Some(told) = head.told else {
        all.push(
            Found::new(Verdict::Wait, "no-consult", tr!("No consult is on record"))
                .why(tr!("Allergies, scalp, medication and what is in the hair are asked before anything is planned."))
                .source(tr!("trade-rules: common practice, no source"))
                .way(Way::Consult(tr!("Read the consult with the client").into())),
        );
        return;
    };
    own_questions(plan, told, all);
    let families: Vec<Family> = plan.iter().filter(|p| p.opening).map(|p| p.family).collect();
    for f in consult::findings(told, &head.circumstance, &families) {
        let verdict = match f.weight {
            consult::Weight::Advise => Verdict::Clear,
            consult::Weight::Test => Verdict::TestFirst,
            consult::Weight::Wait => Verdict::Wait,
            consult::Weight::Refuse => Verdict::Refuse,
        };
        let letters = plan.iter().filter(|p| f.family == Some(p.family)).map(|p| p.letter).collect();
        let way = match f.rule {
            "age-not-known" => Way::Record(f.way_out),
            "metal-told" => Way::Visit(TestKind::MetallicSaltTest, f.way_out),
            _ if verdict == Verdict::TestFirst => Way::Visit(TestKind::StrandTest, f.way_out),
            _ => Way::Words(f.way_out),
        };
        let mut found = Found::new(verdict, f.rule, f.words).source(f.source).way(way);
        found.strand_test = verdict == Verdict::TestFirst;
        (found.letters, found.until) = (letters, f.until);
        all.push(found);
    }
}

/// A service whose own questions the consult left out: said, for whoever reads the plan.
fn own_questions(plan: &[PlannedProduct], told: &Told, all: &mut Vec<Found>) {
    let kinds = plan.iter().filter(|p| p.opening).filter_map(|p| Sought::of(p.family, p.straightens));
    // A curl service asks for its lotion too.
    let curls = kinds.clone().any(|k| k == Sought::Curl);
    let mut left: Vec<Sought> =
        kinds.filter(|k| !(curls && *k == Sought::Wave)).filter(|k| !told.own.asked_for(*k)).collect();
    left.sort_unstable();
    left.dedup();
    for kind in left {
        all.push(
            Found::new(
                Verdict::Clear,
                "own-questions",
                tr!("The consult was not read for this: {}", kind.words()),
            )
            .why(tr!("This kind of service has questions of its own."))
            .source(tr!("common practice, no source"))
            .way(Way::Questions(kind, tr!("Ask them").into())),
        );
    }
}

/// The protocol's own bound on strength; a strength that is not known counts as strong.
fn bounded(plan: &[PlannedProduct], all: &mut Vec<Found>) {
    for p in plan.iter().filter(|p| p.opening) {
        let Some(most) = p.strength_most.filter(|m| p.strength.unwrap_or(Strength::Strong) > *m) else {
            continue;
        };
        let words = tr!("{} is too strong for this service: {} at most", p.product, most.words());
        all.push(
            Found::new(Verdict::Refuse, "protocol-strength", words)
                .of(p)
                .why(tr!("The service is written for hair that takes no more."))
                .source(tr!("handbook teaching"))
                .way(Way::Shelf(tr!("Choose a milder product").into())),
        );
    }
}

/// The law's limits and the sheets' minutes.
fn sheets(plan: &[PlannedProduct], all: &mut Vec<Found>) {
    for p in plan {
        for breach in &p.beyond_law {
            all.push(
                Found::new(Verdict::Refuse, "law-limit", tr!("{} is beyond the law's limit", p.product))
                    .of(p)
                    .why(breach)
                    .source("law")
                    .way(Way::Shelf(tr!("Choose another product, or mend its contents on the Shelf").into())),
            );
        }
        if let Some(taken) = &p.sheet_taken {
            all.push(
                Found::new(Verdict::Clear, "sheet-hair", format!("{}: {taken}", p.product))
                    .of(p)
                    .why(tr!(
                        "The sheet tells hair apart; the weakest place felt sets the time of the whole head."
                    ))
                    .source(tr!("product sheet")),
            );
        }
        if !p.sheet_missing.is_empty() {
            all.push(
                Found::new(
                    Verdict::Wait,
                    "sheet-time",
                    tr!("{}: no start until the sheet's time is entered", p.product),
                )
                .of(p)
                .why(tr!("The product's own sheet sets {}.", p.sheet_missing.join(" and ")))
                .source(tr!("product sheet"))
                .way(Way::Shelf(tr!("Enter it on the Shelf").into())),
            );
        }
    }
}

#[cfg(test)]
mod tests;
