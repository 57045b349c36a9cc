//! What may meet what: one rule for each pair of a planned use and an earlier group, kept as data.

use super::family::{Group, NewUse, coded};
use std::collections::BTreeMap;

coded! {
    /// What the plan check says of a planned application; later is worse, the worst wins.
    Verdict {
        /// Nothing stands against it.
        Clear = "clear", "clear";
        /// A strand test (or metallic-salt test) has to pass first.
        TestFirst = "test-first", "test first";
        /// Not before a date.
        Wait = "wait", "wait";
        /// Not at all on this hair.
        Refuse = "refuse", "refuse";
    }
}

coded! {
    /// How strong a product is, in the trade's words; later is stronger.
    Strength {
        /// For fine, porous or coloured hair.
        Mild = "mild", "mild";
        /// For medium hair of normal porosity.
        Regular = "regular", "regular";
        /// For coarse, resistant hair.
        Strong = "strong", "strong";
    }
}

coded! {
    /// How well a rule is known (the marks of the reference data).
    Mark {
        /// A legal text.
        Law = "L", "law";
        /// A published source.
        Published = "P", "published";
        /// Taught by handbooks; course copies were read.
        Handbook = "H", "handbook teaching";
        /// Handbook teaching and common practice.
        HandbookAndPractice = "H/CP", "handbook teaching and common practice";
        /// Common practice without a source.
        CommonPractice = "CP", "common practice, no source";
        /// Common practice, also told on consumer pages.
        CommonPracticeAndPages = "CP/C", "common practice, no source";
        /// From memory, no text read.
        Memory = "M", "from memory, no source read";
    }
}

/// One rule. Words come from the reference data; the plan check adds where and until when.
#[derive(Clone, Debug, PartialEq)]
pub struct Rule {
    /// The rule's code, as findings name it.
    pub code: String,
    /// The verdict (after the wait, if there is one).
    pub verdict: Verdict,
    /// Days that must lie between; 0 is no wait. Never with a verdict of refuse.
    pub wait_days: u16,
    /// Only a mild strength may be used.
    pub mild_at_most: bool,
    /// The verdict when the same plan also straightens with a thio product (curl re-forming), if it differs.
    pub when_reforming: Option<Verdict>,
    /// The verdict once a metallic-salt test read negative and the history names no silver, if it differs.
    pub when_metal_tested: Option<Verdict>,
    /// How well it is known.
    pub mark: Mark,
    /// Where it comes from, in words.
    pub source: String,
    /// Why, in a sentence for the person at the chair.
    pub why: String,
    /// What can be said or done instead, or what clears it.
    pub say: String,
}

/// The whole table, checked by the loader: no pair twice, no refusal with a wait.
#[derive(Clone, Debug, PartialEq)]
pub struct RuleTable {
    /// Rule of each pair; a pair that is not here is [`RuleTable::unknown_pair`].
    pub pairs: BTreeMap<(NewUse, Group), Rule>,
    /// Refuse: a pair nobody gave a rule for.
    pub unknown_pair: Rule,
    /// Refuse: the planned zone holds no hair.
    pub empty_zone: Rule,
    /// Refuse: thio new growth beside hydroxide lengths, or the other way round.
    pub beside_other: Rule,
    /// Test first: one hydroxide's new growth beside another hydroxide's lengths.
    pub beside_hydroxide: Rule,
}

impl RuleTable {
    /// The rule for putting `new` on hair that met `old`; `None` when `old` brings no rule at all.
    pub fn rule(&self, new: Option<NewUse>, old: Group) -> Option<&Rule> {
        if old == Group::Neutraliser {
            return None;
        }
        Some(new.and_then(|new| self.pairs.get(&(new, old))).unwrap_or(&self.unknown_pair))
    }
}
