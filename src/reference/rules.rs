//! `tables/rules.toml`: what may meet what.

use super::{Files, ReferenceFault, fault};
use crate::domain::chemistry::{Group, Mark, NewUse, Rule, RuleTable, Verdict};
use serde::Deserialize;
use std::collections::BTreeMap;

const FILE: &str = "tables/rules.toml";

#[derive(Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
struct Table {
    rule: Vec<Row>,
    unknown_pair: Words,
    empty_zone: Words,
    beside_other: Words,
    beside_hydroxide: Words,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Row {
    new: String,
    old: String,
    verdict: String,
    #[serde(default)]
    wait_days: u16,
    #[serde(default)]
    mild: bool,
    when_reforming: Option<String>,
    when_metal_tested: Option<String>,
    mark: String,
    source: String,
    #[serde(default)]
    why: String,
    #[serde(default)]
    say: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Words {
    verdict: String,
    mark: String,
    source: String,
    why: String,
    say: String,
}

pub(super) fn load(files: &Files) -> Result<RuleTable, ReferenceFault> {
    let table: Table = files.toml(FILE)?;
    let mut pairs = BTreeMap::new();
    for row in table.rule {
        let pair = format!("{} on {}", row.new, row.old);
        let new = code(&row.new, NewUse::from_code)?;
        let old = code(&row.old, Group::from_code)?;
        if old == Group::Neutraliser {
            return Err(fault(FILE, format!("{pair}: earlier neutralisers bring no rule")));
        }
        if pairs.insert((new, old), row.rule()?).is_some() {
            return Err(fault(FILE, format!("{pair}: given twice")));
        }
    }
    Ok(RuleTable {
        pairs,
        unknown_pair: table.unknown_pair.rule("unknown-pair")?,
        empty_zone: table.empty_zone.rule("empty-zone")?,
        beside_other: table.beside_other.rule("beside")?,
        beside_hydroxide: table.beside_hydroxide.rule("beside")?,
    })
}

fn code<T>(text: &str, from_code: impl Fn(&str) -> Option<T>) -> Result<T, ReferenceFault> {
    from_code(text).ok_or_else(|| fault(FILE, format!("unknown code {text}")))
}

impl Row {
    fn rule(self) -> Result<Rule, ReferenceFault> {
        let optional =
            |text: &Option<String>| text.as_deref().map(|t| code(t, Verdict::from_code)).transpose();
        let rule = Rule {
            code: format!("{}-on-{}", self.new, self.old),
            verdict: code(&self.verdict, Verdict::from_code)?,
            wait_days: self.wait_days,
            mild_at_most: self.mild,
            when_reforming: optional(&self.when_reforming)?,
            when_metal_tested: optional(&self.when_metal_tested)?,
            mark: code(&self.mark, Mark::from_code)?,
            source: self.source,
            why: self.why,
            say: self.say,
        };
        rule.checked()
    }
}

impl Words {
    fn rule(self, name: &str) -> Result<Rule, ReferenceFault> {
        let rule = Rule {
            code: name.to_owned(),
            verdict: code(&self.verdict, Verdict::from_code)?,
            wait_days: 0,
            mild_at_most: false,
            when_reforming: None,
            when_metal_tested: None,
            mark: code(&self.mark, Mark::from_code)?,
            source: self.source,
            why: self.why,
            say: self.say,
        };
        rule.checked()
    }
}

impl Rule {
    /// A wait is a number of days, never a bare word; a refusal does not wait; whoever is stopped is told why.
    fn checked(self) -> Result<Rule, ReferenceFault> {
        let broken = |error: &str| Err(fault(FILE, format!("{}: {error}", self.code)));
        if self.verdict == Verdict::Wait {
            return broken("a wait is written as wait_days");
        }
        if self.verdict == Verdict::Refuse && self.wait_days > 0 {
            return broken("a refusal has no wait");
        }
        if (self.verdict != Verdict::Clear || self.wait_days > 0)
            && (self.why.is_empty() || self.say.is_empty())
        {
            return broken("says neither why nor what then");
        }
        if self.when_reforming.is_some_and(|v| v < self.verdict) {
            return broken("curl re-forming never eases a rule");
        }
        Ok(self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reference::Reference;
    use Verdict::*;

    fn cell(new: NewUse, old: Group) -> (Verdict, u16) {
        let rule = &Reference::shipped().rules.pairs[&(new, old)];
        (rule.verdict, rule.wait_days)
    }

    /// The table of trade-rules.md, "What may meet what", written out again cell by cell.
    #[test]
    fn the_table_is_the_trade_table() {
        let (r, t, c) = ((Refuse, 0), (TestFirst, 0), (Clear, 0));
        let olds = [
            Group::Thio,
            Group::Hydroxide,
            Group::OxidativeColour,
            Group::DirectDye,
            Group::Lightener,
            Group::MetallicSalt,
            Group::PlantColour,
            Group::AldehydeSmoothing,
            Group::Unknown,
        ];
        let rows = [
            (NewUse::ThioStraightening, [r, r, (TestFirst, 7), c, r, r, t, t, r]),
            (NewUse::ThioWaving, [c, r, (TestFirst, 7), c, t, r, t, t, t]),
            (NewUse::ThioEster, [c, r, t, c, t, r, t, t, t]),
            (NewUse::Hydroxide, [r, r, (TestFirst, 14), t, r, r, r, t, r]),
            (NewUse::OxidativeColour, [(Clear, 7), (Clear, 14), c, c, c, r, t, c, t]),
            (NewUse::Lightener, [(TestFirst, 14), r, t, c, t, r, r, t, r]),
            (NewUse::Neutraliser, [c, r, c, c, c, r, c, c, t]),
            (NewUse::DirectDye, [c, c, c, c, c, r, c, c, t]),
        ];
        for (new, cells) in rows {
            for (old, expected) in olds.iter().zip(cells) {
                assert_eq!(cell(new, *old), expected, "{} on {}", new.code(), old.code());
            }
        }
        assert_eq!(Reference::shipped().rules.pairs.len(), rows.len() * olds.len());
    }

    #[test]
    fn only_metal_turns_by_a_test_and_only_waving_turns_by_reforming() {
        for ((new, old), rule) in &Reference::shipped().rules.pairs {
            assert_eq!(rule.when_metal_tested.is_some(), *old == Group::MetallicSalt);
            let turns = (*new, *old) == (NewUse::ThioWaving, Group::Lightener);
            assert_eq!(rule.when_reforming, turns.then_some(Refuse));
        }
    }

    #[test]
    fn a_broken_row_is_named() {
        let rule = Rule { wait_days: 7, ..Reference::shipped().rules.unknown_pair.clone() };
        assert!(rule.checked().unwrap_err().error.contains("a refusal has no wait"));
    }
}
