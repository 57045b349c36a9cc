//! Values into a sentence.

use std::fmt::{Display, Write};

/// The sentence with its values: `{}` takes the unnamed ones in their order, `{0}` one by its place, `{name}` one by
/// its name; `{{` and `}}` are braces. A place without a value stays as written: better odd words than none.
#[must_use]
pub fn fill(text: &str, values: &[(&str, &dyn Display)]) -> String {
    let mut said = String::with_capacity(text.len() + 16 * values.len());
    let mut unnamed = values.iter().filter(|(name, _)| name.is_empty());
    let mut rest = text;
    while let Some(at) = rest.find(['{', '}']) {
        said.push_str(&rest[..at]);
        let brace = &rest[at..=at];
        let after = &rest[at + 1..];
        if after.starts_with(brace) {
            said.push_str(brace);
            rest = &after[1..];
            continue;
        }
        let Some(end) = after.find('}').filter(|_| brace == "{") else {
            said.push_str(brace);
            rest = after;
            continue;
        };
        let name = &after[..end];
        let value = if name.is_empty() {
            unnamed.next()
        } else if let Ok(place) = name.parse::<usize>() {
            values.iter().filter(|(name, _)| name.is_empty()).nth(place)
        } else {
            values.iter().find(|(known, _)| *known == name)
        };
        match value {
            Some((_, value)) => write!(said, "{value}").expect("a String takes every word"),
            None => said.push_str(&rest[at..at + end + 2]),
        }
        rest = &after[end + 1..];
    }
    said.push_str(rest);
    said
}
