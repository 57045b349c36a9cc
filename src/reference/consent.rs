//! `tables/consent.toml`: the words a client or a guardian signs.

use super::{Files, ReferenceFault, fault};
use crate::words;
use serde::Deserialize;

const FILE: &str = "tables/consent.toml";
const PLACES: [&str; 4] = ["salon", "client", "day", "emergency_number"];

/// Words with places for values, for each signer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ConsentTable {
    client: String,
    guardian: String,
}

/// What stands in the places of the words.
#[derive(Clone, Copy, Debug)]
pub struct ConsentValues<'a> {
    /// The salon's name.
    pub salon: &'a str,
    /// The client's name.
    pub client: &'a str,
    /// The day in words.
    pub day: &'a str,
    /// The number to call.
    pub emergency_number: &'a str,
}

impl ConsentTable {
    /// The exact words to show and keep. A value is put in once and never read as a place itself.
    pub fn words(&self, by_guardian: bool, values: &ConsentValues<'_>) -> String {
        let template = words::of(if by_guardian { &self.guardian } else { &self.client });
        let mut words = String::new();
        let mut rest = template.trim();
        while let Some((before, after)) = rest.split_once('{') {
            words.push_str(before);
            // The loader saw that every brace closes round a known place.
            let (place, after) = after.split_once('}').unwrap_or(("", after));
            words.push_str(match place {
                "salon" => values.salon,
                "client" => values.client,
                "day" => values.day,
                "emergency_number" => values.emergency_number,
                _ => "",
            });
            rest = after;
        }
        words.push_str(rest);
        words
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Table {
    consent: Vec<Row>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Row {
    signer: String,
    words: String,
}

pub(super) fn load(files: &Files) -> Result<ConsentTable, ReferenceFault> {
    let table: Table = files.toml(FILE)?;
    let find = |signer: &str| {
        let mut rows = table.consent.iter().filter(|row| row.signer == signer);
        match (rows.next(), rows.next()) {
            (Some(row), None) => Ok(row.words.clone()),
            _ => Err(fault(FILE, format!("exactly one text for the {signer} is wanted"))),
        }
    };
    for row in &table.consent {
        let mut rest = row.words.as_str();
        while let Some((_, after)) = rest.split_once('{') {
            match after.split_once('}') {
                Some((place, after)) if PLACES.contains(&place) => rest = after,
                _ => {
                    return Err(fault(
                        FILE,
                        format!("a place in the words for the {} is not known", row.signer),
                    ));
                }
            }
        }
        // The database keeps 8000 characters; names of 200 and 80 have to fit beside the words.
        if row.words.chars().count() > 6000 {
            return Err(fault(FILE, "at most 6000 characters"));
        }
    }
    Ok(ConsentTable { client: find("client")?, guardian: find("guardian")? })
}

#[cfg(test)]
mod tests {
    use crate::reference::Reference;
    use crate::reference::consent::ConsentValues;

    #[test]
    fn every_place_is_filled_and_a_name_is_no_template() {
        let values = ConsentValues {
            salon: "Kestrel Row",
            client: "{salon} Nerys",
            day: "Thu 14 May",
            emergency_number: "112",
        };
        for by_guardian in [false, true] {
            let words = Reference::shipped().consent.words(by_guardian, &values);
            assert!(
                words.contains("{salon} Nerys") && words.contains("at Kestrel Row, Thu 14 May"),
                "{words}"
            );
            assert!(!words.contains("{client}") && words.contains("112"));
            assert!(!words.to_lowercase().contains("safe"), "the program never says safe");
        }
    }
}
