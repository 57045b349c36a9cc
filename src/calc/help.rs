//! `rinsebell calc --help` and `rinsebell calc AREA --help`, told from the schemas.

use super::tree::MOST_VALUES;
use super::{MOST_ITEMS, area};
use serde_json::{Map, Value};

/// Columns of a terminal.
const WIDTH: usize = 100;
/// Where descriptions begin.
const COLUMN: usize = 30;

/// Every area with a line about it.
pub(super) fn of_all(areas: impl Iterator<Item = (&'static str, Value)>) -> String {
    let mut out = String::from(
        "rinsebell calc AREA: one JSON document on standard input, its answer on standard output\n\nAreas\n",
    );
    for (name, schema) in areas {
        entry(&mut out, &format!("  {name}"), about(&schema));
    }
    out.push_str("\nOptions\n");
    for (option, about) in [
        ("  AREA --help", "Its fields with their units."),
        ("  AREA --example", "A document it answers: rinsebell calc AREA --example | rinsebell calc AREA"),
        (
            "  AREA --schema",
            "Its JSON Schema, draft 2020-12: the input at the root, the answer under $defs/Answers.",
        ),
    ] {
        entry(&mut out, option, about);
    }
    out + &rules("The help of an area says what it counts.")
}

/// The first words about an area.
fn about(schema: &Value) -> &str {
    schema["$defs"]["Question"]["description"].as_str().unwrap_or_default()
}

/// The fields of one area; `dear` says what it counts.
pub(super) fn of_one(name: &str, schema: &Value, dear: &str) -> String {
    let mut out = format!("rinsebell calc {name}\n");
    wrap(&mut out, about(schema), 0);
    out += &format!("\n  rinsebell calc {name} --example | rinsebell calc {name}\n");
    let defs = &schema["$defs"];
    for (title, part) in [("Question (* is needed)", "Question"), ("Answer", "Answer")] {
        out += &format!("\n{title}\n");
        fields(&mut out, defs, &defs[part], 1, part == "Question");
    }
    out + &rules(dear)
}

fn rules(dear: &str) -> String {
    let mut out = String::from("\nBad input\n");
    wrap(
        &mut out,
        &format!(
            "An array in gives an array out. Exit 2 with {{\"error\", \"at\"}} on standard error, where \"at\" is a JSON \
             pointer: an unknown or doubled field, a value of another kind, over {MOST_ITEMS} items in an array, over \
             {MOST_VALUES} values in a document, or too dear a call. null is an absent field. Numbers are unrounded."
        ),
        2,
    );
    out.push_str("\nToo dear\n");
    wrap(&mut out, &[&area::dear(), dear].join(" "), 2);
    out
}

/// The fields of an object, needed ones first; of a union, those of each kind.
fn fields(out: &mut String, defs: &Value, schema: &Value, depth: usize, marks: bool) {
    let schema = followed(defs, schema);
    let needed: Vec<&str> =
        schema["required"].as_array().into_iter().flatten().filter_map(Value::as_str).collect();
    let none = Map::new();
    let properties = schema["properties"].as_object().unwrap_or(&none);
    let rest = properties.keys().map(String::as_str).filter(|name| !needed.contains(name));
    for name in needed.iter().copied().chain(rest) {
        let field = &properties[name];
        let mark = if marks && needed.contains(&name) { "*" } else { "" };
        let head = format!("{}{name}{mark}", "  ".repeat(depth));
        let inner = inner(defs, field);
        let about = field["description"].as_str().or(followed(defs, field)["description"].as_str());
        let kind = kind(defs, field);
        entry(
            out,
            &head,
            &[about.unwrap_or_default(), kind.as_str()].join(if kind.is_empty() { "" } else { " " }),
        );
        fields(out, defs, inner, depth + 1, marks);
    }
    // Requirements between fields are told in words; kinds of object are shown one by one.
    let kinds = schema["oneOf"].as_array().or(schema["anyOf"].as_array());
    for kind in kinds.into_iter().flatten().filter(|kind| properties.is_empty() && kind["type"] == "object") {
        entry(
            out,
            &format!("{}either", "  ".repeat(depth)),
            kind["description"].as_str().unwrap_or_default(),
        );
        fields(out, defs, kind, depth + 1, marks);
    }
}

/// What a reference, or the not-null half of an optional field, says.
fn followed<'s>(defs: &'s Value, schema: &'s Value) -> &'s Value {
    if let Some(name) = schema["$ref"].as_str().and_then(|target| target.strip_prefix("#/$defs/")) {
        return &defs[name];
    }
    let optional = schema["anyOf"].as_array().filter(|both| both.iter().any(|half| half["type"] == "null"));
    match optional.and_then(|both| both.iter().find(|half| half["type"] != "null")) {
        Some(half) => followed(defs, half),
        None => schema,
    }
}

/// What is inside a field: the items of a list, or the field itself.
fn inner<'s>(defs: &'s Value, field: &'s Value) -> &'s Value {
    let field = followed(defs, field);
    if field["items"].is_null() { field } else { inner(defs, &field["items"]) }
}

/// Its kind in words, in square brackets.
fn kind(defs: &Value, field: &Value) -> String {
    let field = followed(defs, field);
    let codes = |field: &Value| {
        let all = field["enum"].as_array().or(field["items"]["enum"].as_array());
        all.map(|all| all.iter().filter_map(Value::as_str).collect::<Vec<_>>().join(", "))
    };
    if let Some(codes) = codes(field) {
        return format!("[{codes}]");
    }
    if let Some(code) = field["const"].as_str() {
        return format!("[{code}]");
    }
    let is = |name: &str| field["type"] == name || field["type"][0] == name;
    let words = match field["format"].as_str() {
        Some("date") => "day, YYYY-MM-DD".to_owned(),
        Some("date-time") => "instant, RFC 3339 with offset".to_owned(),
        _ if is("array") => match field["maxItems"].as_u64() {
            Some(most) => format!("list of at most {most}"),
            None => "list".to_owned(),
        },
        _ if is("boolean") => "true or false".to_owned(),
        _ if is("integer") || is("number") => bounds(field),
        _ => return String::new(),
    };
    if words.is_empty() { words } else { format!("[{words}]") }
}

fn bounds(field: &Value) -> String {
    let number = |name: &str| field[name].as_f64();
    let whole = if field["type"] == "integer" { "whole, " } else { "" };
    match (number("exclusiveMinimum"), number("minimum"), number("maximum")) {
        (_, Some(least), Some(most)) => format!("{whole}{least} to {most}"),
        (Some(above), _, Some(most)) => format!("above {above}, to {most}"),
        (Some(above), ..) => format!("above {above}"),
        (_, Some(least), _) => format!("{least} or more"),
        _ => String::new(),
    }
}

/// A name and, from a column on, what is said about it.
fn entry(out: &mut String, head: &str, about: &str) {
    let gap = COLUMN.saturating_sub(head.chars().count());
    if gap == 0 && !about.is_empty() {
        out.push_str(head);
        out.push('\n');
        return wrap(out, about, COLUMN);
    }
    let mut rest = String::new();
    wrap(&mut rest, about, COLUMN);
    out.push_str(head);
    out.push_str(&rest.get(head.chars().count()..).map_or("\n".into(), str::to_owned));
}

/// Lines of words, each begun with so many spaces.
fn wrap(out: &mut String, text: &str, indent: usize) {
    let mut line = " ".repeat(indent);
    for word in text.split_whitespace() {
        if line.chars().count() + 1 + word.chars().count() > WIDTH && line.trim() != "" {
            out.push_str(line.trim_end());
            out.push('\n');
            line = " ".repeat(indent);
        }
        line.push_str(word);
        line.push(' ');
    }
    if line.trim() != "" {
        out.push_str(line.trim_end());
        out.push('\n');
    }
}
