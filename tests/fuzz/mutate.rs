//! Changes to inputs that keep most of their form: fields lost, doubled, swapped, put under another name;
//! numbers and words at the edges; now and then a change of plain bytes. The same seed makes the same change.

use serde_json::{Map, Value, json};

/// A small generator (splitmix64): the same numbers on every machine.
pub struct Dice(pub u64);

impl Dice {
    /// The next number.
    pub fn roll(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A number below `n`; 0 when `n` is 0.
    pub fn below(&mut self, n: usize) -> usize {
        if n == 0 { 0 } else { (self.roll() % n as u64) as usize }
    }

    fn pick<'a, T>(&mut self, of: &'a [T]) -> &'a T {
        &of[self.below(of.len())]
    }
}

const NUMBERS: &[f64] = &[
    0.0,
    -0.0,
    1.0,
    -1.0,
    0.5,
    2.0,
    5.0,
    7.0,
    24.0,
    56.0,
    1440.0,
    9999.0,
    10_001.0,
    1e-9,
    1e9,
    1e15,
    9.007_199_254_740_993e15,
    1.8e19,
    1e100,
    1e154,
    1e160,
    1e300,
    1.7e308,
    -1e308,
    5e-324,
    2.3e-308,
    1e-160,
    1e-12,
    0.3,
    16.0,
    2.5,
    1.5,
];

const WORDS: &[&str] = &[
    "",
    "a",
    "thio",
    "sodium-hydroxide",
    "guanidine-hydroxide",
    "lithium-hydroxide",
    "lightener",
    "metallic-salt",
    "plant-colour",
    "oxidative-colour",
    "peroxide-neutraliser",
    "aldehyde-smoothing",
    "sulfite",
    "unknown",
    "new-growth",
    "root-to-end",
    "apply",
    "measure",
    "trim",
    "recorded",
    "told",
    "inferred",
    "start",
    "rinse",
    "back-right",
    "front-left",
    "eu",
    "uk",
    "us",
    "general",
    "professional",
    "neutralising",
    "waving-straightening",
    "oxidative-colour",
    "ammonium-thioglycolate",
    "hydrogen-peroxide",
    "lead-acetate",
    "S",
    "C",
    "negative-no-silver",
    "2025-01-10",
    "2025-04-10",
    "2024-02-29",
    "0000-01-01",
    "9999-12-31",
    "2025-02-30",
    "+2025-01-10",
    "2025-04-10T10:00:00Z",
    "2025-04-10T10:00:60Z",
    "9999-12-31T23:59:59.999999999Z",
    "0000-01-01T00:00:00+23:59",
    "2026-03-29T02:30:00+01:00",
    "2026-10-25T02:30:00+02:00",
    "2026-03-28T10:00:00.0005-12:00",
    "00:00",
    "24:00",
    "24:01",
    "09:00",
    "Europe/Paris",
    "UTC",
    "Africa/Cairo",
    "America/St_Johns",
    "Pacific/Apia",
    "Antarctica/Troll",
    "chair",
    "basin",
    "~/",
    "\u{0}",
    "\u{1f600}",
    "weiß/~1",
];

const NAMES: &[&str] = &[
    "mm",
    "sd_mm",
    "days",
    "natural_mm",
    "curl_index",
    "curl_index_sd",
    "rate_sd",
    "plan",
    "known",
    "on_sd_days",
    "straightens",
    "strength",
    "metal_test",
    "ends_from_mm",
    "from_mm",
    "to_mm",
    "zone",
    "ph",
    "patch_test",
    "may",
    "same_as",
    "taken",
    "hands",
    "places",
    "person",
    "place",
    "least_days",
    "days_since",
    "a~b/c",
    "",
];

/// A JSON document changed; bytes that are no JSON get plain changes.
pub fn document(input: &[u8], seed: u64) -> Vec<u8> {
    let mut dice = Dice(seed);
    let parsed = serde_json::from_slice::<Value>(input);
    let Ok(mut value) = parsed else { return bytes(input, &mut dice) };
    for _ in 0..=dice.below(4) {
        if dice.below(12) == 0 {
            return bytes(value.to_string().as_bytes(), &mut dice);
        }
        let count = count(&value);
        let donor = nth(&value, &mut dice.below(count)).cloned().unwrap_or(Value::Null);
        let mut at = dice.below(count);
        if let Some(node) = nth_mut(&mut value, &mut at) {
            change(node, donor, &mut dice);
        }
    }
    value.to_string().into_bytes()
}

fn change(node: &mut Value, donor: Value, dice: &mut Dice) {
    match node {
        Value::Object(fields) if dice.below(4) > 0 => change_fields(fields, donor, dice),
        Value::Array(items) if dice.below(4) > 0 => change_items(items, donor, dice),
        Value::Number(number) if dice.below(2) == 0 => {
            let old = number.as_f64().unwrap_or(0.0);
            let factors = [0.5, 0.99, 1.0 + f64::EPSILON, 1.01, 2.0, 10.0, -1.0, 1e10];
            *node = json!(old * dice.pick(&factors));
        }
        Value::String(text) if dice.below(3) == 0 => {
            let mut raw = text.clone().into_bytes();
            if !raw.is_empty() {
                let at = dice.below(raw.len());
                raw[at] = *dice.pick(b"0123456789-+:TZ.ae~/ ");
            }
            *node = json!(String::from_utf8_lossy(&raw));
        }
        _ => {
            *node = match dice.below(9) {
                0 => Value::Null,
                1 => json!(dice.below(2) == 0),
                2..=4 => json!(dice.pick(NUMBERS)),
                5..=6 => json!(dice.pick(WORDS)),
                7 => json!(dice.below(100)),
                _ => donor,
            };
        }
    }
}

fn change_fields(fields: &mut Map<String, Value>, donor: Value, dice: &mut Dice) {
    let names: Vec<String> = fields.keys().cloned().collect();
    let name = if names.is_empty() { String::new() } else { dice.pick(&names).clone() };
    match dice.below(4) {
        0 => {
            fields.remove(&name);
        }
        1 => {
            fields.insert((*dice.pick(NAMES)).to_owned(), donor);
        }
        2 => {
            fields.insert((*dice.pick(NAMES)).to_owned(), json!(dice.pick(NUMBERS)));
        }
        _ => {
            fields.insert(name, donor);
        }
    }
}

fn change_items(items: &mut Vec<Value>, donor: Value, dice: &mut Dice) {
    let at = dice.below(items.len());
    match dice.below(6) {
        0 if !items.is_empty() => {
            items.remove(at);
        }
        1 if !items.is_empty() => items.push(items[at].clone()),
        2 if items.len() > 1 => {
            let other = dice.below(items.len());
            items.swap(at, other);
        }
        3 if !items.is_empty() && items.len() < 200 => {
            let again = items.clone();
            items.extend(again);
        }
        4 => items.truncate(at),
        _ => items.push(donor),
    }
}

fn count(value: &Value) -> usize {
    1 + match value {
        Value::Array(items) => items.iter().map(count).sum(),
        Value::Object(fields) => fields.values().map(count).sum(),
        _ => 0,
    }
}

fn nth<'a>(value: &'a Value, n: &mut usize) -> Option<&'a Value> {
    if *n == 0 {
        return Some(value);
    }
    *n -= 1;
    match value {
        Value::Array(items) => items.iter().find_map(|item| nth(item, n)),
        Value::Object(fields) => fields.values().find_map(|item| nth(item, n)),
        _ => None,
    }
}

fn nth_mut<'a>(value: &'a mut Value, n: &mut usize) -> Option<&'a mut Value> {
    if *n == 0 {
        return Some(value);
    }
    *n -= 1;
    match value {
        Value::Array(items) => items.iter_mut().find_map(|item| nth_mut(item, n)),
        Value::Object(fields) => fields.values_mut().find_map(|item| nth_mut(item, n)),
        _ => None,
    }
}

/// A protocol file changed line by line, word by word.
pub fn protocol(input: &[u8], seed: u64) -> Vec<u8> {
    let mut dice = Dice(seed);
    let Ok(text) = std::str::from_utf8(input) else { return bytes(input, &mut dice) };
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    for _ in 0..=dice.below(3) {
        if lines.is_empty() || dice.below(16) == 0 {
            return bytes(lines.join("\n").as_bytes(), &mut dice);
        }
        let (at, other) = (dice.below(lines.len()), dice.below(lines.len()));
        match dice.below(7) {
            0 => drop(lines.remove(at)),
            1 => lines.insert(at, lines[other].clone()),
            2 => lines.swap(at, other),
            3 => drop(lines.drain(at.min(other)..at.max(other).min(at.min(other) + 20))),
            _ => lines[at] = word_changed(&lines[at], &lines[other], &mut dice),
        }
    }
    lines.join("\n").into_bytes()
}

/// One quoted word or one number of a line put in place by one of another line or of the lists.
fn word_changed(line: &str, other: &str, dice: &mut Dice) -> String {
    let words: Vec<&str> = other.split('"').skip(1).step_by(2).collect();
    let mut parts: Vec<String> = line.split('"').map(str::to_owned).collect();
    if parts.len() > 2 && dice.below(3) > 0 {
        let quoted = 1 + 2 * dice.below(parts.len() / 2);
        parts[quoted] = match words.is_empty() {
            true => dice.pick(WORDS).replace(['"', '\\', '\0'], ""),
            false => (*dice.pick(&words)).to_owned(),
        };
        return parts.join("\"");
    }
    let numbers = [
        "0", "1", "-1", "2", "10", "15", "16", "65", "66", "240", "241", "255", "256", "65535", "65536",
        "nan", "inf", "1e400",
    ];
    match line.find(|c: char| c.is_ascii_digit()) {
        Some(from) => {
            let len =
                line[from..].find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(line.len() - from);
            format!("{}{}{}", &line[..from], dice.pick(&numbers), &line[from + len..])
        }
        None => line.replacen("true", "false", 1),
    }
}

fn bytes(input: &[u8], dice: &mut Dice) -> Vec<u8> {
    let mut raw = input.to_vec();
    let at = dice.below(raw.len() + 1);
    match dice.below(5) {
        0 => raw.truncate(at),
        1 if at < raw.len() => raw[at] ^= 1 << dice.below(8),
        2 if at < raw.len() => drop(raw.remove(at)),
        3 => {
            let tokens: &[&[u8]] = &[
                b"[",
                b"]",
                b"{",
                b"}",
                b",",
                b":",
                b"\"",
                b"null",
                b"1e999",
                b"-",
                b"\xff",
                b"\\u0000",
                b"\\ud800",
                b"[[[[[[[[",
            ];
            raw.splice(at..at, dice.pick(tokens).iter().copied());
        }
        _ => {
            let to = (at + 1 + dice.below(16)).min(raw.len());
            let piece = raw[at..to].to_vec();
            raw.splice(at..at, piece);
        }
    }
    raw
}
