//! The house's order, read from the sources: who may use whom, what is banned where, how long a file is.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// Files under a folder with one of these endings, as paths from the root.
fn files(folder: &str, endings: &[&str]) -> Vec<String> {
    let mut found = Vec::new();
    let mut folders = vec![root().join(folder)];
    while let Some(at) = folders.pop() {
        let Ok(entries) = std::fs::read_dir(&at) else { continue };
        for entry in entries {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                folders.push(path);
            } else if endings.iter().any(|e| path.to_string_lossy().ends_with(e)) {
                let path = path.strip_prefix(root()).expect("below the root").to_string_lossy().into_owned();
                found.push(path);
            }
        }
    }
    found.sort();
    found
}

fn read(path: &str) -> String {
    std::fs::read_to_string(root().join(path)).unwrap_or_else(|e| panic!("{path}: {e}"))
}

/// A source without its comments and without its test module at the end.
fn code(path: &str) -> String {
    let text = read(path);
    let own = text
        .split("#[cfg(test)]\nmod tests {")
        .next()
        .unwrap_or_default()
        .split("#[cfg(test)]\npub mod tests {")
        .next()
        .unwrap_or_default();
    own.lines()
        .map(|l| l.split_once("//").map_or(l, |(a, _)| if a.ends_with(':') { l } else { a }))
        .collect::<Vec<_>>()
        .join("\n")
}

/// Test code inside `src`: files that are compiled under `cfg(test)` only.
fn is_test(path: &str) -> bool {
    let name = path.rsplit('/').next().unwrap_or_default();
    path.contains("/gallery/")
        || path.contains("/tests/")
        || name == "throwaway.rs"
        || name.ends_with("_tests.rs")
        || name.starts_with("tests_")
        || name == "properties.rs"
        || (name == "tests.rs" && path != "src/web/tests.rs")
}

fn none(wrong: Vec<String>) {
    assert!(wrong.is_empty(), "{} found:\n{}", wrong.len(), wrong.join("\n"));
}

/// A layer and what it may use (DEVELOPERS.md, the map). What is not listed starts the program and may use all.
const ARROWS: [(&str, &[&str]); 11] = [
    ("words", &["words", "tr_values"]),
    ("domain", &["domain", "words"]),
    ("reference", &["reference", "words", "domain"]),
    ("calendar", &["calendar", "words", "domain"]),
    ("store", &["store", "words", "domain"]),
    ("flow", &["flow", "words", "store", "reference", "domain", "calendar", "secret", "app"]),
    ("live", &["live", "domain", "store"]),
    ("mail", &["mail", "words", "domain"]),
    (
        "web",
        &[
            "web",
            "words",
            "flow",
            "store",
            "reference",
            "domain",
            "calendar",
            "secret",
            "app",
            "live",
            "demo",
        ],
    ),
    ("work", &["work", "words", "flow", "store", "reference", "domain", "calendar", "secret", "mail", "app"]),
    ("calc", &["calc", "words", "reference", "domain", "calendar"]),
];

#[test]
fn layers_use_only_what_lies_below() {
    let mut wrong = Vec::new();
    for (layer, may) in ARROWS {
        let mut own = files(&format!("src/{layer}"), &[".rs"]);
        let alone = format!("src/{layer}.rs");
        own.extend(root().join(&alone).exists().then_some(alone));
        for path in own.iter().filter(|p| !is_test(p)) {
            let text = code(path);
            for (at, _) in text.match_indices("crate::") {
                let used: String =
                    text[at + 7..].chars().take_while(|c| c.is_ascii_alphanumeric() || *c == '_').collect();
                if !used.is_empty() && !may.contains(&used.as_str()) {
                    wrong.push(format!("{path}: {layer} uses {used}"));
                }
            }
            // `use crate::{a, b}` hides names from the check above.
            if text.contains("use crate::{") && layer != "web" {
                wrong.push(format!("{path}: name each module in a use of its own"));
            }
        }
    }
    none(wrong);
}

/// Words banned in a folder, with the files that may.
const BANNED: [(&str, &[&str], &[&str]); 7] = [
    (
        "src",
        &[
            "OffsetDateTime::now_utc",
            "OffsetDateTime::now_local",
            "Utc::now",
            "Timestamp::now(",
            "Zoned::now(",
        ],
        &[],
    ),
    // Certificates and the stamp of a backup file live outside any database.
    ("src", &["SystemTime::now"], &["src/serve/authority.rs", "src/backup/dump.rs"]),
    (
        "src/domain",
        &[
            "async fn",
            "tokio",
            "sqlx",
            "serde",
            "std::env",
            "std::fs",
            "std::net",
            "std::io",
            "HashMap",
            "HashSet",
            "SystemTime",
            "Instant::now",
            "getrandom",
            "println!",
        ],
        &[],
    ),
    ("src/web", &["sqlx::query", "begin_with", ".execute(", "fetch_one(&"], &["src/web/health.rs"]),
    ("src/flow", &["sqlx::query", "axum"], &[]),
    ("src", &["todo!", "unimplemented!", "dbg!(", "#[ignore"], &[]),
    (
        "src/store",
        &["format!(\"select", "format!(\"insert", "format!(\"update", "AssertSqlSafe"],
        &["src/store/demo.rs", "src/store/invent.rs"],
    ),
];

#[test]
fn banned_words_stand_nowhere() {
    let mut wrong = Vec::new();
    for (folder, words, may) in BANNED {
        for path in files(folder, &[".rs"]).iter().filter(|p| !is_test(p) && !may.contains(&p.as_str())) {
            let text = code(path);
            for word in words.iter().filter(|w| text.contains(**w)) {
                wrong.push(format!("{path}: {word}"));
            }
        }
    }
    none(wrong);
}

#[test]
fn nothing_is_unwrapped_and_every_expect_says_why_it_holds() {
    let mut wrong = Vec::new();
    for path in files("src", &[".rs"]).iter().filter(|p| !is_test(p)) {
        let text = code(path);
        if text.contains(".unwrap()") {
            wrong.push(format!("{path}: .unwrap()"));
        }
        for (at, _) in text.match_indices(".expect(") {
            let words = text[at + 8..].trim_start();
            let said = words.starts_with('"') && words[1..].find('"').is_some_and(|n| n >= 10);
            if !said {
                wrong.push(format!(
                    "{path}: an expect without its invariant: {}",
                    words.chars().take(40).collect::<String>()
                ));
            }
        }
    }
    none(wrong);
}

#[test]
fn templates_hold_no_style_no_script_and_trust_nothing_typed() {
    let mut wrong = Vec::new();
    for path in files("templates", &[".html", ".svg", ".txt"]) {
        let text = read(&path);
        let low = text.to_ascii_lowercase();
        for word in
            ["style=\"", "style='", "<style", "javascript:", "|safe", "| safe", "escape none", "autoescape"]
        {
            if low.contains(word) {
                wrong.push(format!("{path}: {word}"));
            }
        }
        for (at, _) in low.match_indices("<script") {
            if !low[at..].split('>').next().unwrap_or_default().contains("src=") {
                wrong.push(format!("{path}: script in the page"));
            }
        }
        for (at, _) in low.match_indices(" on") {
            let name: String = low[at + 1..].chars().take_while(char::is_ascii_alphabetic).collect();
            if low[at + 1 + name.len()..].starts_with("=\"") && name.len() > 3 {
                wrong.push(format!("{path}: handler {name}"));
            }
        }
        // Facts are named by their own fact_id: sent twice, recorded once.
        for (at, _) in low.match_indices("<form") {
            let tag = low[at..].split('>').next().unwrap_or_default();
            let body = low[at..].split("</form>").next().unwrap_or_default();
            let alone =
                ["/sign-in", "/pair", "/first-run", "/lock", "/language", "/length-unit", "/demo/station"]
                    .iter()
                    .any(|p| tag.contains(&format!("action=\"{p}\"")));
            if tag.contains("method=\"post\"")
                && !alone
                && !tag.contains("data-fact")
                && !body.contains("once")
            {
                wrong.push(format!("{path}: a form without its once key: {tag}"));
            }
        }
    }
    none(wrong);
}

/// Most lines of a file (the aim is 300).
const LINES_MOST: usize = 450;

#[test]
fn no_file_is_too_long() {
    let mut wrong = Vec::new();
    let mut paths = files("src", &[".rs"]);
    paths.extend(files("tests", &[".rs", ".py"]));
    paths.extend(files("static", &[".css", ".js"]));
    paths.extend(files("templates", &[".html"]));
    paths.extend(files("migrations", &[".sql"]));
    for path in paths {
        let lines = read(&path).lines().count();
        if lines > LINES_MOST {
            wrong.push(format!("{path}: {lines} lines, at most {LINES_MOST}"));
        }
    }
    none(wrong);
}

#[test]
fn the_documents_name_only_what_is_there() {
    let mut wrong = Vec::new();
    for document in ["README.md", "DEVELOPERS.md"] {
        let path = root().join(document);
        let Ok(text) = std::fs::read_to_string(&path) else { continue };
        if document == "DEVELOPERS.md" && text.lines().count() > 300 {
            wrong.push(format!("{document}: {} lines, at most 300", text.lines().count()));
        }
        let quoted = text.split('`').skip(1).step_by(2);
        let linked = text.split("](").skip(1).filter_map(|t| t.split(')').next());
        for name in quoted.chain(linked) {
            let name = name.split('#').next().unwrap_or_default();
            let starts =
                ["src/", "tests/", "templates/", "static/", "migrations/", "shared/", "docs/", ".ci/"]
                    .iter()
                    .any(|f| name.starts_with(f));
            let plain = name.chars().all(|c| c.is_ascii_alphanumeric() || "/._-".contains(c));
            if starts && plain && !name.contains("NOUN") && !Path::new(&root().join(name)).exists() {
                wrong.push(format!("{document}: {name} is not there"));
            }
        }
    }
    none(wrong);
}

#[test]
fn migrations_are_numbered_without_a_gap() {
    let names = files("migrations", &[".sql"]);
    let numbers: BTreeSet<usize> =
        names.iter().filter_map(|n| n.trim_start_matches("migrations/").get(..4)?.parse().ok()).collect();
    assert!(names.len() >= 10, "{names:?}");
    assert_eq!(numbers.len(), names.len(), "one number, one file: {names:?}");
    assert_eq!(numbers, (1..=names.len()).collect(), "{names:?}");
}

#[test]
fn nothing_is_put_off() {
    let mut wrong = Vec::new();
    let mut paths = Vec::new();
    for folder in ["src", "templates", "static", "migrations", "shared", "tests"] {
        paths.extend(files(folder, &[".rs", ".html", ".css", ".js", ".sql", ".toml", ".md", ".py", ".json"]));
    }
    // What a fuzzer found is bytes, not text.
    let written = |p: &&String| *p != "tests/tidy.rs" && !p.starts_with("tests/fuzz/corpus/");
    for path in paths.iter().filter(written) {
        let text = read(path);
        for word in ["TODO", "FIXME", "XXX"] {
            if text.contains(word) {
                wrong.push(format!("{path}: {word}"));
            }
        }
    }
    none(wrong);
}
