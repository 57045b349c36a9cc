//! `rinsebell calc AREA`: every computation as one JSON document in, one out; no clock, no database.
//!
//! One file an area. An area is a function from a checked tree to the JSON of its answer; [`AREAS`] is the
//! whole dispatch. An array in gives an array out, item by item; a bad item fails the whole.

mod amounts;
mod exposure;
mod limits;
mod openings;
mod read;
mod regrowth;
mod rods;
mod strand;

use std::fmt;

pub use read::{Fields, MOST_ITEMS, Node, Tree};
use serde::Serialize;

/// Why an input was not computed, and where: `at` is an RFC 6901 pointer into the input.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct BadInput {
    /// One sentence a person can act on.
    pub error: String,
    /// Pointer to the offending value ("" is the whole document).
    pub at: String,
}

impl fmt::Display for BadInput {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} (at \"{}\")", self.error, self.at)
    }
}

impl std::error::Error for BadInput {}

/// One area: reads the document's root, computes, answers with JSON text (see [`answer`]).
pub type Area = fn(Node<'_>) -> Result<String, BadInput>;

/// Every area by name. To add one: a file here, a line there.
const AREAS: &[(&str, Area)] = &[
    ("regrowth", regrowth::run),
    ("strand", strand::run),
    ("limits", limits::run),
    ("rods", rods::run),
    ("exposure", exposure::run),
    ("openings", openings::run),
    ("amounts", amounts::run),
];

/// All answers of one call together stay under this many bytes, so that no small input asks for a huge answer.
const MOST_ANSWER_BYTES: usize = 32 << 20;

/// The names of all areas, in the order of the table.
pub fn areas() -> impl Iterator<Item = &'static str> {
    AREAS.iter().map(|(name, _)| *name)
}

/// Computes one document, or an array of them.
///
/// # Errors
/// [`BadInput`] for an unknown area, broken JSON, or anything the area refuses.
pub fn run(area: &str, input: &[u8]) -> Result<String, BadInput> {
    let Some((_, compute)) = AREAS.iter().find(|(name, _)| *name == area) else {
        return Err(BadInput { error: format!("no such area: {area}"), at: String::new() });
    };
    let mut out = String::new();
    let many = read::each_document(input, &mut |tree, index| {
        let prefixed = |bad: BadInput| match index {
            Some(i) => BadInput { at: format!("/{i}{}", bad.at), ..bad },
            None => bad,
        };
        let text = compute(Node::root(tree)).map_err(prefixed)?;
        if out.len() + text.len() > MOST_ANSWER_BYTES {
            return Err(prefixed(BadInput {
                error: "the answer would be too large".into(),
                at: String::new(),
            }));
        }
        if index.is_some_and(|i| i > 0) {
            out.push(',');
        }
        out.push_str(&text);
        Ok(())
    })?;
    Ok(if many { format!("[{out}]") } else { out })
}

/// The JSON text of an answer; numbers are the shortest that read back as the same f64.
///
/// # Errors
/// [`BadInput`] at the whole document when a type cannot be written as JSON.
pub fn answer<T: Serialize>(value: &T) -> Result<String, BadInput> {
    serde_json::to_string(value).map_err(|e| BadInput { error: e.to_string(), at: String::new() })
}
