//! `tables/aftercare.toml`: what a client takes home.

use super::{Files, ReferenceFault, fault};
use crate::words;
use serde::Deserialize;

const FILE: &str = "tables/aftercare.toml";
const PLACES: [&str; 3] = ["window", "latest", "emergency_number"];
const CHEMISTRIES: [&str; 6] = ["thio", "hydroxide", "colour", "lightener", "other", "any"];
const ENDINGS: [&str; 2] = ["finished", "stopped"];

/// Parts of the sheet, in order.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AftercareTable {
    parts: Vec<Part>,
}

#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
struct Part {
    heading: String,
    after: Vec<String>,
    how: Vec<String>,
    lines: Vec<String>,
}

/// What stands in the places of the words.
#[derive(Clone, Copy, Debug, Default)]
pub struct AftercareValues<'a> {
    /// The window of the next service in words; empty when none is known.
    pub window: &'a str,
    /// The latest day in words; empty when none is known.
    pub latest: &'a str,
    /// The number to call.
    pub emergency_number: &'a str,
}

impl AftercareValues<'_> {
    /// The line with its places filled; none when a place has nothing to say.
    fn fill(&self, line: &str) -> Option<String> {
        let mut filled = line.to_owned();
        for (place, value) in [
            ("{window}", self.window),
            ("{latest}", self.latest),
            ("{emergency_number}", self.emergency_number),
        ] {
            if line.contains(place) {
                if value.is_empty() {
                    return None;
                }
                filled = filled.replace(place, value);
            }
        }
        Some(filled)
    }
}

impl AftercareTable {
    /// Headings with their lines for a head that met these chemistries, in a service that was finished or was not.
    pub fn parts(
        &self,
        chemistries: &[&str],
        finished: bool,
        values: &AftercareValues<'_>,
    ) -> Vec<(String, Vec<String>)> {
        let how = ENDINGS[usize::from(!finished)];
        let applies = |p: &&Part| {
            p.how.iter().any(|h| h == how)
                && p.after.iter().any(|a| a == "any" || chemistries.contains(&a.as_str()))
        };
        let filled =
            |p: &Part| -> Vec<String> { p.lines.iter().filter_map(|l| values.fill(words::of(l))).collect() };
        self.parts
            .iter()
            .filter(applies)
            .map(|p| (words::of(&p.heading).to_owned(), filled(p)))
            .filter(|(_, lines)| !lines.is_empty())
            .collect()
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Table {
    part: Vec<Part>,
}

pub(super) fn load(files: &Files) -> Result<AftercareTable, ReferenceFault> {
    let table: Table = files.toml(FILE)?;
    for part in &table.part {
        let bad = |what: &str| Err(fault(FILE, format!("“{}”: {what}", part.heading)));
        if part.heading.trim().is_empty() || part.lines.is_empty() {
            return bad("a part has a heading and lines");
        }
        if !part.after.iter().all(|a| CHEMISTRIES.contains(&a.as_str())) || part.after.is_empty() {
            return bad("`after` names a chemistry nobody knows");
        }
        if !part.how.iter().all(|h| ENDINGS.contains(&h.as_str())) || part.how.is_empty() {
            return bad("`how` is finished or stopped");
        }
        for line in &part.lines {
            let mut rest = line.as_str();
            while let Some((_, after)) = rest.split_once('{') {
                match after.split_once('}') {
                    Some((place, after)) if PLACES.contains(&place) => rest = after,
                    _ => return bad("a place in its words is not known"),
                }
            }
        }
    }
    // The database keeps 8000 characters; the lots used and the values have to fit beside the words.
    let length: usize = table.part.iter().flat_map(|p| &p.lines).map(|l| l.chars().count()).sum();
    if length > 5000 {
        return Err(fault(FILE, "at most 5000 characters"));
    }
    Ok(AftercareTable { parts: table.part })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reference::Reference;

    fn all(chemistries: &[&str], finished: bool, values: &AftercareValues<'_>) -> String {
        let parts = Reference::shipped().aftercare.parts(chemistries, finished, values);
        parts.into_iter().map(|(heading, lines)| format!("{heading}\n{}\n", lines.join("\n"))).collect()
    }

    // trade-rules.md, "Moments the tool must have words for" (common practice, no source; 48 h no wash C):
    // 48 h no wash, no ties; moisturiser daily; ring for itch, sore, breakage; wash every one to two weeks;
    // colour 7 days or more, own visit, own patch test 48 h before; back in about three months.
    #[test]
    fn a_finished_curl_service_has_the_words_of_the_trade() {
        let values = AftercareValues { window: "10 to 24 Feb", latest: "7 Apr", emergency_number: "112" };
        let words = all(&["thio", "other"], true, &values);
        for part in [
            "48 hours without a wash",
            "No ties",
            "Moisturiser daily",
            "every one to two weeks",
            "Itch, soreness or breakage: ring us",
            "a week or more",
            "patch test 48 hours before",
            "about three months",
            "10 to 24 Feb",
            "7 Apr",
            "112",
        ] {
            assert!(words.contains(part), "{part} is missing in {words}");
        }
        assert!(!words.contains('{') && !words.to_lowercase().contains("safe"), "{words}");
    }

    #[test]
    fn what_is_not_known_is_left_out_and_a_stop_has_its_own_words() {
        let values = AftercareValues { emergency_number: "112", ..AftercareValues::default() };
        let words = all(&["thio"], true, &values);
        assert!(!words.contains("By what your hair has shown") && words.contains("about three months"));
        let stopped = all(&["thio"], false, &values);
        assert!(stopped.contains("see a doctor") && !stopped.contains("three months"), "{stopped}");
        assert!(all(&["hydroxide"], true, &values).contains("no scratching"));
    }
}
