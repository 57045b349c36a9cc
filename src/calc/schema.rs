//! One JSON Schema (draft 2020-12) an area, generated from the types of its question and answer.

use super::area::{self, Area};
use super::{BadInput, MOST_ITEMS};
use schemars::generate::SchemaSettings;
use schemars::transform::RecursiveTransform;
use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde_json::{Map, Value, json};

/// The dialect.
const DIALECT: &str = "https://json-schema.org/draft/2020-12/schema";

/// The whole schema: a question or an array of them at the root, the answers under `$defs/Answers`, what bad input
/// gets under `$defs/Refusal`.
pub(super) fn of<A: Area>() -> Value {
    let settings = SchemaSettings::draft2020_12().with_transform(RecursiveTransform(plain));
    let mut asked = settings.clone().for_deserialize().into_generator();
    let mut answered = settings.for_serialize().into_generator();
    let question = one_or_many::<A::Question>(&mut asked);
    let answers = one_or_many::<A::Answer>(&mut answered);
    let _ = answered.subschema_for::<BadInput>();
    let mut definitions: Map<String, Value> = asked.take_definitions(true);
    definitions.extend(answered.take_definitions(true));
    let about = definitions["Question"]["description"].as_str().unwrap_or_default().to_owned();
    definitions.insert("Answers".into(), answers);
    let described = [about, area::dear(), A::dear()].join(" ");
    let example: Value = serde_json::from_str(A::EXAMPLE).expect("a test answers the example of every area");
    let mut root = json!({
        "$schema": DIALECT,
        "title": format!("rinsebell calc {}", A::NAME),
        "description": described,
        "examples": [example],
        "$defs": definitions,
    });
    root["anyOf"] = question["anyOf"].clone();
    root
}

fn one_or_many<T: JsonSchema>(generator: &mut SchemaGenerator) -> Value {
    let one = generator.subschema_for::<T>();
    json!({"anyOf": [one, {"type": "array", "items": one, "maxItems": MOST_ITEMS}]})
}

/// Leaves out what only names the machine's types ("double", "uint").
fn plain(schema: &mut Schema) {
    let machine =
        |format: &str| format.starts_with("uint") || format.starts_with("int") || format == "double";
    if schema.get("format").and_then(Value::as_str).is_some_and(machine) {
        schema.remove("format");
    }
}
