//! `rinsebell calc AREA`: every computation as one JSON document in, one out; no clock, no database.
//!
//! One file an area: a typed question, a typed answer, the way from one to the other. The documentation of those types
//! is the one source of the JSON Schema ([`schema`]) and of the help ([`help`]). An array in gives an array out, item
//! by item, with both cores; the first bad item fails the whole.

mod amounts;
mod area;
mod codes;
mod documents;
mod exposure;
mod help;
mod kinds;
mod limits;
mod openings;
mod regrowth;
mod rods;
mod schema;
mod strand;
mod tree;
mod typed;

use area::{Answers, Area, Stop};
use documents::{Cut, Document};
use schemars::JsonSchema;
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::Value;
use std::fmt;

pub use tree::MOST_ITEMS;

/// Why an input was not computed, and where: `at` is an RFC 6901 pointer into the input.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[schemars(rename = "Refusal")]
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

fn bad(at: impl Into<String>, error: impl Into<String>) -> BadInput {
    BadInput { error: error.into(), at: at.into() }
}

/// One line of the dispatch.
struct Entry {
    name: &'static str,
    example: &'static str,
    schema: fn() -> Value,
    dear: fn() -> String,
    answer_next: fn(&mut Answers, &[Document<'_>]) -> Result<(), Stop>,
}

const fn entry<A: Area>() -> Entry {
    Entry {
        name: A::NAME,
        example: A::EXAMPLE,
        schema: schema::of::<A>,
        dear: A::dear,
        answer_next: area::answer_next::<A>,
    }
}

/// Every area. To add one: a file here, a line there.
const AREAS: [Entry; 7] = [
    entry::<regrowth::Regrowth>(),
    entry::<strand::StrandHistory>(),
    entry::<limits::Limits>(),
    entry::<rods::Rods>(),
    entry::<exposure::Exposure>(),
    entry::<openings::OpeningsOfSalon>(),
    entry::<amounts::Amounts>(),
];

/// The names of all areas, in the order of the table.
pub fn areas() -> impl Iterator<Item = &'static str> {
    AREAS.iter().map(|entry| entry.name)
}

fn find(area: &str) -> Result<&'static Entry, BadInput> {
    let known = || areas().collect::<Vec<_>>().join(", ");
    AREAS
        .iter()
        .find(|entry| entry.name == area)
        .ok_or_else(|| bad("", format!("no such area: {}; there are {}", typed::repeated(area), known())))
}

/// A document the area answers.
///
/// # Errors
/// [`BadInput`] for an unknown area.
pub fn example(area: &str) -> Result<&'static str, BadInput> {
    find(area).map(|entry| entry.example)
}

/// The area's JSON Schema (draft 2020-12): the input at its root, the answer under `$defs/Answers`.
///
/// # Errors
/// [`BadInput`] for an unknown area.
pub fn schema(area: &str) -> Result<String, BadInput> {
    serde_json::to_string_pretty(&(find(area)?.schema)()).map_err(|e| bad("", e.to_string()))
}

/// What `--help` prints: the areas, or the fields of one.
///
/// # Errors
/// [`BadInput`] for an unknown area.
pub fn help(area: Option<&str>) -> Result<String, BadInput> {
    match area {
        None => Ok(help::of_all(AREAS.iter().map(|entry| (entry.name, (entry.schema)())))),
        Some(area) => find(area).map(|entry| help::of_one(entry.name, &(entry.schema)(), &(entry.dear)())),
    }
}

/// Computes one document, or an array of them.
///
/// # Errors
/// [`BadInput`] for an unknown area, broken JSON, or anything the area refuses; of several faults the first one.
pub fn run(area: &str, input: &[u8]) -> Result<String, BadInput> {
    let answer_next = find(area)?.answer_next;
    let cut = Cut::new(input);
    let mut answers = Answers::new(input.len(), cut.many);
    for row in cut.rows() {
        answer_next(&mut answers, row).map_err(|stop| match stop {
            Stop::Refused(bad) => bad,
            // Read anew from the start for its place in the whole text.
            Stop::Unread(_) if cut.many => tree::fault(input),
            Stop::Unread(bad) => bad,
        })?;
    }
    // A fault of the array comes after all that stands before it.
    if cut.broken {
        return Err(tree::fault(input));
    }
    Ok(answers.into_text())
}

/// Reads one typed document of at most `most_values` JSON values, with the exact place of what is wrong in it.
///
/// # Errors
/// [`BadInput`] for broken JSON, or what the type refuses.
pub fn read_document<T: DeserializeOwned>(input: &[u8], most_values: usize) -> Result<T, BadInput> {
    typed::read(tree::parse(input, most_values)?)
}

/// The JSON text of an answer; numbers are the shortest that read back as the same f64.
///
/// # Errors
/// [`BadInput`] at the whole document when a type cannot be written as JSON.
pub fn answer<T: Serialize>(value: &T) -> Result<String, BadInput> {
    serde_json::to_string(value).map_err(|e| bad("", e.to_string()))
}
