//! The colours hold their contrast, light and dark.

use std::collections::BTreeMap;

/// Contrast of two colours, WCAG 2.2 (relative luminance with sRGB's curve; definitions from memory).
fn contrast(one: &str, other: &str) -> f64 {
    let (one, other) = (luminance(one), luminance(other));
    (one.max(other) + 0.05) / (one.min(other) + 0.05)
}

fn luminance(hex: &str) -> f64 {
    let hex = if hex.len() == 4 {
        hex[1..].chars().flat_map(|digit| [digit, digit]).collect()
    } else {
        hex[1..].to_string()
    };
    let part = |at: usize| {
        let value = f64::from(u8::from_str_radix(&hex[at..at + 2], 16).unwrap()) / 255.0;
        if value <= 0.04045 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) }
    };
    0.2126 * part(0) + 0.7152 * part(2) + 0.0722 * part(4)
}

/// Every `--name: value` in a block of the sheet.
fn declared(block: &str) -> BTreeMap<String, String> {
    block
        .split(';')
        .filter_map(|line| line.split_once("--").map(|(_, rest)| rest).and_then(|rest| rest.split_once(": ")))
        .map(|(name, value)| (name.trim().to_string(), value.trim().to_string()))
        .collect()
}

/// The meanings of one theme, as hex.
fn meanings(selector: &str) -> BTreeMap<String, String> {
    let sheet = include_str!("../../../static/css/tokens.css");
    let sheet: String =
        sheet.split("/*").map(|part| part.split_once("*/").map_or(part, |(_, rest)| rest)).collect();
    let block = |selector: &str| {
        sheet
            .split(selector)
            .nth(1)
            .unwrap()
            .split_once('{')
            .unwrap()
            .1
            .split_once('}')
            .unwrap()
            .0
            .to_string()
    };
    // Raw values lie in the very first block; "--a-1: x; --b-2: y" on one line are split by ";" alike.
    let raw = declared(&block(":root"));
    declared(&block(selector))
        .into_iter()
        .filter_map(|(name, value)| {
            let value = value
                .strip_prefix("var(--")
                .map_or(value.clone(), |rest| raw[rest.trim_end_matches(')')].clone());
            value.starts_with('#').then_some((name, value))
        })
        .collect()
}

#[test]
fn contrast_is_aa_everywhere_and_aaa_for_clocks() {
    // WCAG 2.2, 1.4.3 and 1.4.6 (from memory): 4.5 for text, 3 for large text and marks; AAA 7, large 4.5.
    for selector in [":root, [data-theme=\"light\"]", "[data-theme=\"dark\"] {"] {
        let colour =
            if selector.ends_with('{') { meanings("\n[data-theme=\"dark\"]") } else { meanings(selector) };
        let of = |name: &str| colour.get(name).unwrap_or_else(|| panic!("{selector}: no {name}")).as_str();
        for (text, ground, least) in [
            ("text", "surface", 7.0),          // clocks
            ("surface", "text", 7.0),          // clocks of a row that rings
            ("on-danger", "danger-fill", 4.5), // clocks over the longest allowed are large: AAA 4.5
            ("text", "field", 7.0),
            ("text", "tone", 7.0), // clock of the quadrant in hand
            ("text-2", "surface", 4.5),
            ("text-2", "field", 4.5),
            ("now", "surface", 4.5),
            ("now", "field", 4.5),
            ("on-now", "now", 4.5),
            ("danger", "surface", 4.5),
        ] {
            let reached = contrast(of(text), of(ground));
            assert!(reached >= least, "{selector}: {text} on {ground} is {reached:.2}, not {least}");
        }
    }
}

#[test]
fn black_on_white_is_21() {
    // WCAG 2.2: the range is 1 to 21 (from memory).
    assert!((contrast("#000", "#ffffff") - 21.0).abs() < 1e-9);
    assert!((contrast("#777", "#777777") - 1.0).abs() < 1e-9);
}
