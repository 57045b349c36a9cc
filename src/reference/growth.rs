//! `tables/growth.toml`: published growth by group, and what the salon starts from by curl.

use super::{Files, ReferenceFault, fault};
use crate::domain::growth::Rate;
use serde::Deserialize;
use std::collections::BTreeMap;

const FILE: &str = "tables/growth.toml";

/// Published means, and where a client nobody has measured starts.
#[derive(Clone, Debug, PartialEq)]
pub struct GrowthTable {
    /// Every published row.
    pub means: Vec<PublishedMean>,
    starts: BTreeMap<String, usize>,
}

/// One published mean.
#[derive(Clone, Debug, PartialEq)]
pub struct PublishedMean {
    /// Code.
    pub group: String,
    /// Words for a screen.
    pub words: String,
    /// Curl it is used for: tight, loose, straight.
    pub curl: String,
    /// Mean and spread between persons.
    pub rate: Rate,
    /// Persons measured, where the abstract says.
    pub persons: Option<u32>,
    /// The study.
    pub source: String,
}

impl GrowthTable {
    /// What to start from for a curl ("tight", "loose", "straight").
    pub fn find_start(&self, curl: &str) -> Option<&PublishedMean> {
        self.starts.get(curl).map(|index| &self.means[*index])
    }

    /// The row each curl starts from, in order of the curls' codes.
    pub fn starts(&self) -> impl Iterator<Item = &PublishedMean> {
        self.starts.values().map(|index| &self.means[*index])
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Table {
    mean: Vec<Row>,
    start: BTreeMap<String, String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Row {
    group: String,
    words: String,
    curl: String,
    persons: Option<u32>,
    um_per_day: f64,
    sd_um_per_day: f64,
    source: String,
}

pub(super) fn load(files: &Files) -> Result<GrowthTable, ReferenceFault> {
    let table: Table = files.toml(FILE)?;
    let means: Vec<PublishedMean> = table.mean.into_iter().map(Row::checked).collect::<Result<_, _>>()?;
    let mut starts = BTreeMap::new();
    for (curl, group) in table.start {
        let index = means
            .iter()
            .position(|mean| mean.group == group && mean.curl == curl)
            .ok_or_else(|| fault(FILE, format!("no row {group} for curl {curl}")))?;
        starts.insert(curl, index);
    }
    Ok(GrowthTable { means, starts })
}

impl Row {
    fn checked(self) -> Result<PublishedMean, ReferenceFault> {
        if !(self.um_per_day > 0.0 && self.sd_um_per_day > 0.0 && self.sd_um_per_day < self.um_per_day) {
            return Err(fault(FILE, format!("{}: mean and sd are above 0, sd below mean", self.group)));
        }
        Ok(PublishedMean {
            rate: Rate { mean: self.um_per_day / 1000.0, sd: self.sd_um_per_day / 1000.0 },
            group: self.group,
            words: self.words,
            curl: self.curl,
            persons: self.persons,
            source: self.source,
        })
    }
}

#[cfg(test)]
mod tests {
    use crate::reference::Reference;

    #[test]
    fn every_curl_has_a_start() {
        let growth = &Reference::shipped().growth;
        for curl in ["tight", "loose", "straight"] {
            assert_eq!(growth.find_start(curl).unwrap().curl, curl);
        }
        assert_eq!(growth.find_start("spiral"), None);
    }

    /// trade-rules.md, Check values: 25 mm of a curl retouch is reached at about three months (published means 23–25 mm).
    #[test]
    fn published_means_reach_a_retouch_in_three_months() {
        let tight = Reference::shipped().growth.means.iter().filter(|mean| mean.curl == "tight");
        for mean in tight {
            let grown = mean.rate.growth(91.0).mean;
            assert!((22.5..26.0).contains(&grown), "{}: {grown}", mean.group);
        }
    }
}
