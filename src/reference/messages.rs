//! `messages/*.toml`: the shipped words of messages, by kind and language.

use super::{Files, ReferenceFault, fault};
use crate::domain::message::words::faults;
use crate::domain::message::{Kind, Language};
use serde::Deserialize;
use std::collections::BTreeMap;

/// Subject and body of one kind in one language, places still open.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MessageWords {
    pub subject: String,
    pub body: String,
}

/// All shipped words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MessageTable(BTreeMap<(Language, Kind), MessageWords>);

impl MessageTable {
    /// The shipped words of a kind in a language.
    ///
    /// # Panics
    /// Never: the loader saw every pair.
    #[must_use]
    pub fn of(&self, language: Language, kind: Kind) -> &MessageWords {
        self.0.get(&(language, kind)).expect("the loader refuses a table with a pair missing")
    }
}

pub(super) fn load(files: &Files) -> Result<MessageTable, ReferenceFault> {
    let mut all = BTreeMap::new();
    for language in Language::ALL {
        let file = format!("messages/{}.toml", language.code());
        let mut table: BTreeMap<String, MessageWords> = files.toml(&file)?;
        for kind in Kind::ALL {
            let Some(mut words) = table.remove(kind.code()) else {
                return Err(fault(&file, format!("{} is missing", kind.code())));
            };
            words.body = words.body.trim().to_string();
            let wrong = [faults(kind, &words.subject, false), faults(kind, &words.body, true)].concat();
            if let Some(first) = wrong.first() {
                return Err(fault(&file, format!("{}: {}", kind.code(), first.words(kind))));
            }
            all.insert((language, kind), words);
        }
        if let Some(unknown) = table.keys().next() {
            return Err(fault(&file, format!("{unknown} is no kind of message")));
        }
    }
    Ok(MessageTable(all))
}
