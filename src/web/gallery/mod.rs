//! Renders every part and picture once with sample words, checks what all must hold to, and writes
//! the pages to `target/gallery/` so that they can be opened in a browser and looked at.

mod contrast;
mod floor_pictures;
mod parts;
mod pictures;
mod strand_pictures;

use std::path::{Path, PathBuf};

use crate::web::assets::Assets;
use crate::web::shell::{ScreenLink, Shell, Theme};

/// 14 May 2026, 13:50:02 UTC: the drawings' moment.
pub const NOW_MS: i64 = 1_778_766_602_000;

/// A frame as a station sees it.
pub fn shell() -> Shell {
    Shell {
        screens: ScreenLink::line(
            &[
                ("Floor", "/floor"),
                ("Day sheet", "/day-sheet"),
                ("Regrowth", "/regrowth"),
                ("Shelf", "/shelf"),
            ],
            "/floor",
        ),
        zone: "Europe/Berlin".into(),
        where_line: "Basin station · Mara Quill".into(),
        where_href: "/lock".into(),
        where_act: "Lock".into(),
        topics: vec!["floor".into()],
        live: true,
        ..Shell::plain("Kestrel Row", NOW_MS)
    }
}

fn folder() -> PathBuf {
    let target = std::env::var_os("CARGO_TARGET_DIR")
        .map_or_else(|| Path::new(env!("CARGO_MANIFEST_DIR")).join("target"), PathBuf::from);
    target.join("gallery")
}

/// Checks a page against the content security policy and its own links, then writes it.
pub fn show(name: &str, page: &str) {
    holds_to_the_policy(name, page);
    for (theme, suffix) in [(Theme::Light, ""), (Theme::Dark, "-dark")] {
        let page = page
            .replace("<html lang=\"en\"", &format!("<html lang=\"en\"{}", theme.attribute()))
            .replace(&format!("{}/", Assets.url("css").trim_end_matches("/css")), "static/");
        let folder = folder();
        std::fs::create_dir_all(&folder).unwrap();
        let link = folder.join("static");
        if !link.exists() {
            // Two tests may race here: the loser finds the link made.
            let _ = std::os::unix::fs::symlink(Path::new(env!("CARGO_MANIFEST_DIR")).join("static"), &link);
        }
        std::fs::write(folder.join(format!("{name}{suffix}.html")), page).unwrap();
    }
}

/// No inline style, script or handler; every id once; every reference to an id answered.
/// The policy: `default-src 'none'; style-src 'self'; script-src 'self'` (CSP level 3, from memory).
pub fn holds_to_the_policy(name: &str, page: &str) {
    assert!(!page.contains(" style=") && !page.contains("<style"), "{name}: inline style");
    for tag in page.split("<script").skip(1) {
        assert!(tag.split('>').next().unwrap().contains(" src="), "{name}: inline script");
    }
    let attributes = attributes(page);
    for (key, _) in &attributes {
        assert!(!key.starts_with("on"), "{name}: inline handler {key}");
    }
    let mut ids: Vec<&str> =
        attributes.iter().filter(|(key, _)| *key == "id").map(|(_, value)| *value).collect();
    ids.sort_unstable();
    for pair in ids.windows(2) {
        assert_ne!(pair[0], pair[1], "{name}: id twice");
    }
    for (key, value) in &attributes {
        if matches!(*key, "for" | "aria-describedby" | "aria-labelledby" | "aria-controls") {
            for id in value.split_whitespace() {
                assert!(ids.binary_search(&id).is_ok(), "{name}: {key} names {id}, which is not there");
            }
        }
        if *key == "fill"
            && let Some(id) = value.strip_prefix("url(#").and_then(|rest| rest.strip_suffix(')'))
        {
            assert!(ids.binary_search(&id).is_ok(), "{name}: pattern {id} is not there");
        }
    }
}

/// Every `key="value"` inside a tag.
fn attributes(page: &str) -> Vec<(&str, &str)> {
    let mut found = Vec::new();
    for tag in page.split('<').skip(1) {
        let mut rest = tag;
        while let Some(at) = rest.find("=\"") {
            let key = rest[..at].rsplit(char::is_whitespace).next().unwrap_or_default();
            let Some(end) = rest[at + 2..].find('"') else { break };
            found.push((key, &rest[at + 2..at + 2 + end]));
            rest = &rest[at + 3 + end..];
        }
    }
    found
}

/// Every template of the crate, whatever screen it is for.
#[test]
fn no_template_needs_more_than_the_policy_allows() {
    let mut folders = vec![Path::new(env!("CARGO_MANIFEST_DIR")).join("templates")];
    let mut seen = 0;
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
                continue;
            }
            let name = path.display().to_string();
            let text = std::fs::read_to_string(&path).unwrap();
            seen += 1;
            assert!(!text.contains(" style=") && !text.contains("<style"), "{name}: inline style");
            assert!(!text.contains("javascript:"), "{name}: script in an address");
            assert!(
                !text.contains("src=\"http") && !text.contains("href=\"http"),
                "{name}: a file from elsewhere"
            );
            for tag in text.split("<script").skip(1) {
                assert!(tag.split('>').next().unwrap().contains(" src="), "{name}: inline script");
            }
            for (key, _) in attributes(&text) {
                assert!(!key.starts_with("on"), "{name}: inline handler {key}");
            }
        }
    }
    assert!(seen >= 7, "only {seen} templates seen");
}
