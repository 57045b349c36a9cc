//! The catalogues, read once.

use std::collections::HashMap;
use std::sync::LazyLock;

use include_dir::{Dir, include_dir};

use super::spoken::Language;

static SPANISH: Dir<'static> = include_dir!("$CARGO_MANIFEST_DIR/shared/words/es");

/// One language: by English, the words for each number form (one form where number plays no part).
pub(super) struct Catalogue {
    words: HashMap<String, Vec<String>>,
    script: String,
}

/// A catalogue that cannot be read leaves its language without words: a service in hand goes on in English. Tests read
/// it whole, so nobody should ever see that.
static ES: LazyLock<Catalogue> = LazyLock::new(|| {
    Catalogue::read(&SPANISH).unwrap_or_else(|fault| {
        tracing::error!(fault, "the Spanish words cannot be read");
        Catalogue { words: HashMap::new(), script: String::new() }
    })
});
static PSEUDO: LazyLock<Catalogue> = LazyLock::new(|| ES.pseudo());

/// The file whose words go to the page's scripts.
const SCRIPT: &str = "script.po";

impl Catalogue {
    /// Reads every PO file of a folder.
    ///
    /// # Errors
    /// A file that is no PO, a message that is told twice differently, a message without words, another rule of
    /// number than "one, and all others".
    pub(super) fn read(folder: &'static Dir<'static>) -> Result<Catalogue, String> {
        let mut read = Catalogue { words: HashMap::new(), script: String::new() };
        let mut for_script = serde_json::Map::new();
        for file in folder.files() {
            let name = file.path().display().to_string();
            let po =
                polib::po_file::parse_from_reader(file.contents()).map_err(|e| format!("{name}: {e:?}"))?;
            let rules = &po.metadata.plural_rules;
            if rules.nplurals != 2 || rules.expr.replace([' ', '(', ')'], "") != "n!=1" {
                return Err(format!("{name}: another rule of number than n != 1"));
            }
            for message in po.messages() {
                let forms = if message.is_plural() {
                    message.msgstr_plural().map_err(|_| format!("{name}: {}", message.msgid()))?.clone()
                } else {
                    vec![message.msgstr().map_err(|_| format!("{name}: {}", message.msgid()))?.to_owned()]
                };
                if forms.iter().any(String::is_empty) || message.is_fuzzy() {
                    return Err(format!("{name}: no words yet for “{}”", message.msgid()));
                }
                if name == SCRIPT {
                    for_script.insert(message.msgid().to_owned(), forms[0].clone().into());
                }
                if let Some(before) = read.words.insert(message.msgid().to_owned(), forms.clone())
                    && before != forms
                {
                    return Err(format!("{name}: “{}” is told twice, differently", message.msgid()));
                }
            }
        }
        read.script = serde_json::Value::Object(for_script).to_string();
        Ok(read)
    }

    /// The same messages, in English that shows it was asked for.
    fn pseudo(&self) -> Catalogue {
        let words = self
            .words
            .iter()
            .map(|(english, forms)| (english.clone(), vec![pseudo(english); forms.len()]))
            .collect();
        let script = serde_json::from_str::<serde_json::Map<String, serde_json::Value>>(&self.script)
            .unwrap_or_default()
            .into_iter()
            .map(|(english, _)| (english.clone(), pseudo(&english).into()))
            .collect();
        Catalogue { words, script: serde_json::Value::Object(script).to_string() }
    }

    /// Every English sentence it has words for.
    #[cfg(test)]
    pub(super) fn words(&self) -> &HashMap<String, Vec<String>> {
        &self.words
    }
}

/// Accents on letters outside places for values and tags, a third longer, in brackets.
fn pseudo(english: &str) -> String {
    let mut inside = 0_u32;
    let mut said: String = english
        .chars()
        .map(|c| {
            match c {
                '{' | '<' => inside += 1,
                '}' | '>' => inside = inside.saturating_sub(1),
                _ => {}
            }
            if inside > 0 { c } else { accented(c) }
        })
        .collect();
    said.push_str(&"~".repeat(english.chars().count() / 3));
    format!("[{said}]")
}

fn accented(c: char) -> char {
    match c {
        'a' => 'á',
        'e' => 'é',
        'i' => 'í',
        'o' => 'ö',
        'u' => 'ú',
        'n' => 'ñ',
        's' => 'š',
        'c' => 'ç',
        'A' => 'Á',
        'E' => 'É',
        'I' => 'Í',
        'O' => 'Ö',
        'U' => 'Ú',
        'N' => 'Ñ',
        'S' => 'Š',
        'C' => 'Ç',
        other => other,
    }
}

fn of(language: Language) -> Option<&'static Catalogue> {
    match language {
        Language::English => None,
        Language::Spanish => Some(&ES),
        Language::Pseudo => Some(&PSEUDO),
    }
}

pub(super) fn find(language: Language, text: &str) -> Option<&'static str> {
    of(language)?.words.get(text).and_then(|forms| forms.first()).map(String::as_str)
}

pub(super) fn find_number(language: Language, n: u64, one: &str) -> Option<&'static str> {
    of(language)?.words.get(one)?.get(usize::from(n != 1)).map(String::as_str)
}

pub(super) fn for_script(language: Language) -> &'static str {
    of(language).map_or("", |catalogue| catalogue.script.as_str())
}

#[cfg(test)]
pub(super) fn spanish() -> Result<Catalogue, String> {
    Catalogue::read(&SPANISH)
}
