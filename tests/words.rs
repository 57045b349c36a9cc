//! Every sentence of the screens has words in every language, and every catalogue says only what is asked for.
//! A missing one is printed as it goes into the catalogue.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

/// A sentence and, where it depends on a number, its form for many.
type Asked = BTreeMap<String, (Option<String>, String)>;

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn files(folder: &Path, endings: &[&str], found: &mut Vec<PathBuf>) {
    let mut entries: Vec<_> = fs::read_dir(folder).expect("a folder of the repository").flatten().collect();
    entries.sort_by_key(fs::DirEntry::path);
    for entry in entries {
        let path = entry.path();
        if path.is_dir() {
            files(&path, endings, found);
        } else if endings.iter().any(|e| path.to_string_lossy().ends_with(e)) {
            found.push(path);
        }
    }
}

/// The string literal this text begins with (after blanks), and what follows it.
fn literal(text: &str) -> Option<(String, &str)> {
    let text = text.trim_start();
    let mut chars = text.strip_prefix('"')?.char_indices().peekable();
    let mut said = String::new();
    while let Some((at, c)) = chars.next() {
        match c {
            '"' => return Some((said, &text[at + 2..])),
            '\\' => match chars.next()?.1 {
                'n' => said.push('\n'),
                't' => said.push('\t'),
                'u' => {
                    let code: String =
                        chars.by_ref().skip(1).map(|(_, c)| c).take_while(|c| *c != '}').collect();
                    said.push(char::from_u32(u32::from_str_radix(&code, 16).ok()?)?);
                }
                '\n' => while chars.next_if(|(_, c)| c.is_whitespace()).is_some() {},
                other => said.push(other),
            },
            c => said.push(c),
        }
    }
    None
}

/// What stands behind each call of this name: `tr!(`, `t(`.
fn calls<'a>(text: &'a str, name: &str) -> Vec<&'a str> {
    let whole = |at: usize| !text[..at].ends_with(|c: char| c.is_alphanumeric() || c == '_' || c == '.');
    text.match_indices(name).filter(|(at, _)| whole(*at)).map(|(at, _)| &text[at + name.len()..]).collect()
}

/// Words as a person reads them: not a code, not a field's name.
fn is_words(text: &str) -> bool {
    let letters: Vec<char> = text.chars().collect();
    let upper = letters.windows(2).any(|w| w[0].is_uppercase() && w[1].is_lowercase());
    upper
        || text.contains(' ')
        || ["years", "days", "to", "minutes", "weeks", "hours", "from"].contains(&text)
}

fn asked_by_screens() -> Asked {
    let mut asked = Asked::new();
    let mut sources = Vec::new();
    files(&root().join("src"), &[".rs"], &mut sources);
    files(&root().join("templates"), &[".html"], &mut sources);
    for path in sources.iter().filter(|p| {
        !p.to_string_lossy().contains("/gallery/")
            && !p.ends_with("words/mod.rs")
            && !p.ends_with("words/tests.rs")
    }) {
        let text = fs::read_to_string(path).expect("a source file");
        let here = path.strip_prefix(root()).expect("in the repository").display().to_string();
        for name in ["tr!(", "mark!("] {
            for (said, _) in calls(&text, name).into_iter().filter_map(literal) {
                asked.entry(said).or_insert_with(|| (None, here.clone()));
            }
        }
        for behind in calls(&text, "trn!(") {
            let Some((one, after)) = behind.find('"').and_then(|at| literal(&behind[at..])) else { continue };
            let many = literal(after.trim_start().trim_start_matches(',')).map(|(many, _)| many);
            asked.insert(one, (many, here.clone()));
        }
        // Labels and hints go into the form macros as they are, and are said there.
        for behind in calls(&text, "call forms::").into_iter().chain(calls(&text, "call f::")) {
            let mut rest = &behind[..behind.find("%}").unwrap_or(0)];
            while let Some(at) = rest.find('"') {
                let Some((said, after)) = literal(&rest[at..]) else { break };
                if is_words(&said) {
                    asked.entry(said).or_insert_with(|| (None, here.clone()));
                }
                rest = after;
            }
        }
        // Values of a coded type: `Fine = "fine", "fine";`.
        for line in text.lines() {
            let Some((_, words)) = line.split_once(" = \"").and_then(|(_, rest)| rest.split_once("\", "))
            else {
                continue;
            };
            if let Some((said, ";")) = literal(words) {
                asked.entry(said).or_insert_with(|| (None, here.clone()));
            }
        }
        // Nouns with their number: count(n, "client", "clients").
        for name in ["count(", "counted("] {
            for behind in calls(&text, name) {
                let inside = &behind[..behind.find(')').unwrap_or(0)];
                let Some((one, after)) = inside.find('"').and_then(|at| literal(&inside[at..])) else {
                    continue;
                };
                let Some((many, _)) = literal(after.trim_start().trim_start_matches(',')) else { continue };
                asked.entry(one).or_insert_with(|| (None, here.clone()));
                asked.entry(many).or_insert_with(|| (None, here.clone()));
            }
        }
    }
    asked
}

/// Keys of the reference files whose texts are read by people.
const READ: [&str; 12] = [
    "title",
    "words",
    "stop_words",
    "cautions",
    "why",
    "say",
    "heading",
    "lines",
    "source",
    "what",
    "use_words",
    "general_words",
];

fn asked_by_tables() -> Asked {
    fn walk(value: &toml::Value, key: &str, here: &str, asked: &mut Asked) {
        match value {
            toml::Value::Table(table) => table.iter().for_each(|(k, v)| walk(v, k, here, asked)),
            toml::Value::Array(list) => list.iter().for_each(|v| walk(v, key, here, asked)),
            toml::Value::String(said) if READ.contains(&key) && is_words(said) => {
                asked.entry(said.clone()).or_insert_with(|| (None, here.to_owned()));
            }
            _ => {}
        }
    }
    let mut sources = Vec::new();
    files(&root().join("shared/protocols"), &[".toml"], &mut sources);
    sources.extend(
        ["consent", "aftercare", "rules", "floor", "limits"]
            .map(|t| root().join(format!("shared/tables/{t}.toml"))),
    );
    let mut asked = Asked::new();
    for path in sources {
        let text = fs::read_to_string(&path).expect("a table");
        let here = path.strip_prefix(root()).expect("in the repository").display().to_string();
        walk(&text.parse::<toml::Table>().expect("TOML").into(), "", &here, &mut asked);
    }
    asked
}

fn asked_by_scripts() -> Asked {
    let mut sources = Vec::new();
    files(&root().join("static/js"), &[".js"], &mut sources);
    let mut asked = Asked::new();
    for path in sources {
        let text = fs::read_to_string(&path).expect("a script");
        for (said, _) in calls(&text, "t(").into_iter().filter_map(literal) {
            asked.entry(said).or_insert_with(|| (None, path.display().to_string()));
        }
    }
    asked
}

fn catalogue(names: &[&str]) -> BTreeMap<String, Vec<String>> {
    let mut told = BTreeMap::new();
    for name in names {
        let path = root().join("shared/words/es").join(name);
        let file = fs::File::open(&path).expect("a catalogue");
        for message in polib::po_file::parse_from_reader(file).expect("a PO file").messages() {
            let forms = if message.is_plural() {
                message.msgstr_plural().expect("forms").clone()
            } else {
                vec![message.msgstr().expect("words").to_owned()]
            };
            assert!(
                told.insert(message.msgid().to_owned(), forms).is_none(),
                "{name}: twice “{}”",
                message.msgid()
            );
        }
    }
    told
}

fn quoted(text: &str) -> String {
    format!(
        "\"{}\"",
        text.replace('\\', "\\\\").replace('"', "\\\"").replace('\n', "\\n").replace('\t', "\\t")
    )
}

/// Places for values of a sentence: names as a set, unnamed ones by how many.
fn places(text: &str) -> (BTreeSet<String>, usize) {
    let (mut names, mut unnamed, mut numbered) = (BTreeSet::new(), 0, BTreeSet::new());
    let text = text.replace("{{", "").replace("}}", "");
    for (at, _) in text.match_indices('{') {
        let inside = text[at + 1..].split('}').next().unwrap_or("");
        if inside.is_empty() {
            unnamed += 1;
        } else if inside.parse::<usize>().is_ok() {
            numbered.insert(inside.to_owned());
        } else {
            names.insert(inside.to_owned());
        }
    }
    (names, unnamed + numbered.len())
}

fn compare(asked: &Asked, told: &BTreeMap<String, Vec<String>>) {
    let mut missing = String::new();
    for (english, (many, here)) in asked {
        let forms = if many.is_some() { 2 } else { 1 };
        if told.get(english).is_some_and(|t| t.len() >= forms && t.iter().all(|w| !w.is_empty())) {
            continue;
        }
        missing += &format!("#: {here}\nmsgid {}\n", quoted(english));
        match many {
            Some(many) => {
                missing += &format!("msgid_plural {}\nmsgstr[0] \"\"\nmsgstr[1] \"\"\n\n", quoted(many))
            }
            None => missing += "msgstr \"\"\n\n",
        }
    }
    assert!(missing.is_empty(), "no words yet for:\n\n{missing}");
    let stale: Vec<&String> = told.keys().filter(|k| !asked.contains_key(*k)).collect();
    assert!(stale.is_empty(), "said nowhere any more: {stale:#?}");
    let odd: Vec<String> = told
        .iter()
        .flat_map(|(english, forms)| forms.iter().map(move |form| (english, form)))
        .filter(|(english, form)| places(english) != places(form))
        .map(|(english, form)| format!("{english} | {form}"))
        .collect();
    assert!(odd.is_empty(), "values would be lost: {odd:#?}");
}

#[test]
fn every_sentence_has_spanish_words() {
    let mut asked = asked_by_tables();
    asked.extend(asked_by_screens());
    assert!(asked.len() > 2_500, "the search finds what is said: {}", asked.len());
    compare(&asked, &catalogue(&["screens.po", "rules.po", "protocols.po"]));
}

#[test]
fn every_sentence_of_the_scripts_has_spanish_words() {
    let asked = asked_by_scripts();
    assert!(asked.len() > 20, "the search finds what is said: {}", asked.len());
    compare(&asked, &catalogue(&["script.po"]));
}

#[test]
fn the_search_reads_what_stands_in_a_source() {
    assert_eq!(literal(" \"a \\\"b\\\" \\u{a0}c\\\n   d\" rest"), Some(("a \"b\" \u{a0}cd".into(), " rest")));
    assert_eq!(calls("tr!(1) xtr!(2) a.tr!(3)", "tr!(").len(), 1);
    assert_eq!(places("{} of {name}, {{x}}"), (BTreeSet::from(["name".to_owned()]), 1));
}
