//! Bounded parsing of JSON text into a [`Tree`]; [`super::typed`] makes typed documents of it.
//!
//! Parsing refuses more than [`MOST_ITEMS`] items in an array, doubled fields and documents with too many
//! values *while* reading, so a hostile document costs no more memory than these bounds. Reading typed documents
//! straight from the text would know neither those bounds nor which of two equal fields came second, and a tagged
//! union would lose the places of what is inside it. Strings without escapes are lent from the text.

use super::BadInput;
use serde::de::{DeserializeSeed, Error as _, MapAccess, SeqAccess, Visitor};
use std::borrow::Cow;
use std::cell::{Cell, RefCell};
use std::fmt;

/// Most items of any array, the outermost included.
pub const MOST_ITEMS: usize = 10_000;
/// Most fields of one object: more than any contract has.
const MOST_FIELDS: usize = 64;
/// Longest name of a field, bytes: a refusal repeats it in its pointer.
const MOST_NAME: usize = 200;
/// Most values of one document of `calc`.
pub(super) const MOST_VALUES: usize = 500_000;

/// One JSON value. Numbers are f64; fields keep their order and occur once.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Tree<'i> {
    /// `null`.
    Null,
    /// `true` or `false`.
    Flag(bool),
    /// Any finite number.
    Number(f64),
    /// A string.
    Text(Cow<'i, str>),
    /// An array.
    List(Vec<Tree<'i>>),
    /// An object.
    Object(Vec<(Cow<'i, str>, Tree<'i>)>),
}

/// One step of the way to a value.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Step {
    /// An item of an array.
    Index(usize),
    /// A field of an object.
    Field(String),
}

/// The RFC 6901 pointer of a way from the root (§3: "~" is written "~0" and "/" is written "~1").
pub(super) fn pointer<'s>(way: impl Iterator<Item = &'s Step>) -> String {
    let mut at = String::new();
    for step in way {
        at.push('/');
        match step {
            Step::Index(i) => at.push_str(&i.to_string()),
            Step::Field(name) => at.push_str(&name.replace('~', "~0").replace('/', "~1")),
        }
    }
    at
}

/// How many values the parser has made of this document and, once it has failed, where: innermost step first, so that
/// what can be read costs nothing for its place.
struct Cursor {
    way: RefCell<Vec<Step>>,
    values: Cell<usize>,
    most_values: usize,
}

impl Cursor {
    fn new(most_values: usize) -> Self {
        Cursor { way: RefCell::default(), values: Cell::new(0), most_values }
    }

    fn pointer(&self) -> String {
        pointer(self.way.borrow().iter().rev())
    }

    /// A fault lies within this step.
    fn within(&self, step: Step) {
        self.way.borrow_mut().push(step);
    }

    fn count<E: serde::de::Error>(&self) -> Result<(), E> {
        self.values.set(self.values.get() + 1);
        let many = self.values.get() > self.most_values;
        if many { Err(E::custom("too many values in one document")) } else { Ok(()) }
    }
}

/// Parses one document of at most so many values.
///
/// # Errors
/// The reason and the place.
pub(super) fn parse(input: &[u8], most_values: usize) -> Result<Tree<'_>, BadInput> {
    let cursor = Cursor::new(most_values);
    let mut parser = serde_json::Deserializer::from_slice(input);
    let parsed = Grow(&cursor).deserialize(&mut parser).and_then(|tree| parser.end().map(|()| tree));
    parsed.map_err(|e| BadInput { error: e.to_string(), at: cursor.pointer() })
}

/// Why an array of documents cannot be read, and where: lines and columns are those of the whole text. Each document
/// is made and dropped again, so that it costs no more memory than one.
pub(super) fn fault(input: &[u8]) -> BadInput {
    let cursor = Cursor::new(MOST_VALUES);
    let mut parser = serde_json::Deserializer::from_slice(input);
    let error = match Outer(&cursor).deserialize(&mut parser).and_then(|()| parser.end()) {
        Err(e) => e.to_string(),
        Ok(()) => "cannot be read".to_owned(),
    };
    BadInput { error, at: cursor.pointer() }
}

struct Outer<'c>(&'c Cursor);

impl<'de> DeserializeSeed<'de> for Outer<'_> {
    type Value = ();
    fn deserialize<D: serde::Deserializer<'de>>(self, d: D) -> Result<(), D::Error> {
        d.deserialize_seq(self)
    }
}

impl<'de> Visitor<'de> for Outer<'_> {
    type Value = ();

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("an array of objects")
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<(), A::Error> {
        for index in 0.. {
            self.0.values.set(0);
            let item = seq.next_element_seed(Grow(self.0)).and_then(|item| match item {
                Some(_) if index == MOST_ITEMS => Err(A::Error::custom(format!("over {MOST_ITEMS} items"))),
                item => Ok(item),
            });
            if item.inspect_err(|_| self.0.within(Step::Index(index)))?.is_none() {
                break;
            }
        }
        Ok(())
    }
}

/// Builds one tree within the bounds.
struct Grow<'c>(&'c Cursor);

impl<'de> DeserializeSeed<'de> for Grow<'_> {
    type Value = Tree<'de>;
    fn deserialize<D: serde::Deserializer<'de>>(self, d: D) -> Result<Tree<'de>, D::Error> {
        self.0.count()?;
        d.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Grow<'_> {
    type Value = Tree<'de>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a JSON value")
    }
    fn visit_unit<E>(self) -> Result<Tree<'de>, E> {
        Ok(Tree::Null)
    }
    fn visit_bool<E>(self, flag: bool) -> Result<Tree<'de>, E> {
        Ok(Tree::Flag(flag))
    }
    fn visit_f64<E>(self, number: f64) -> Result<Tree<'de>, E> {
        Ok(Tree::Number(number))
    }
    fn visit_i64<E>(self, number: i64) -> Result<Tree<'de>, E> {
        Ok(Tree::Number(number as f64))
    }
    fn visit_u64<E>(self, number: u64) -> Result<Tree<'de>, E> {
        Ok(Tree::Number(number as f64))
    }
    fn visit_borrowed_str<E>(self, text: &'de str) -> Result<Tree<'de>, E> {
        Ok(Tree::Text(Cow::Borrowed(text)))
    }
    fn visit_str<E>(self, text: &str) -> Result<Tree<'de>, E> {
        Ok(Tree::Text(Cow::Owned(text.to_owned())))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Tree<'de>, A::Error> {
        let mut items = Vec::new();
        loop {
            let item = seq.next_element_seed(Grow(self.0));
            let Some(item) = item.inspect_err(|_| self.0.within(Step::Index(items.len())))? else { break };
            if items.len() == MOST_ITEMS {
                return Err(A::Error::custom(format!("over {MOST_ITEMS} items")));
            }
            items.push(item);
        }
        Ok(Tree::List(items))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Tree<'de>, A::Error> {
        let mut fields: Vec<(Cow<'de, str>, Tree<'de>)> = Vec::new();
        while let Some(name) = map.next_key_seed(FieldName)? {
            if fields.len() == MOST_FIELDS {
                return Err(A::Error::custom(format!("over {MOST_FIELDS} fields")));
            }
            if name.len() > MOST_NAME {
                return Err(A::Error::custom(format!("a field's name is longer than {MOST_NAME} bytes")));
            }
            let twice = fields.iter().any(|(known, _)| *known == name);
            let value = if twice {
                Err(A::Error::custom(format!("field given twice: {name}")))
            } else {
                map.next_value_seed(Grow(self.0))
            };
            let value = value.inspect_err(|_| self.0.within(Step::Field(name.as_ref().to_owned())))?;
            fields.push((name, value));
        }
        Ok(Tree::Object(fields))
    }
}

/// A field's name, lent where the text has it as it is: serde's own `Cow` always copies.
struct FieldName;

impl<'de> DeserializeSeed<'de> for FieldName {
    type Value = Cow<'de, str>;
    fn deserialize<D: serde::Deserializer<'de>>(self, d: D) -> Result<Cow<'de, str>, D::Error> {
        d.deserialize_str(self)
    }
}

impl<'de> Visitor<'de> for FieldName {
    type Value = Cow<'de, str>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a field's name")
    }
    fn visit_borrowed_str<E>(self, name: &'de str) -> Result<Cow<'de, str>, E> {
        Ok(Cow::Borrowed(name))
    }
    fn visit_str<E>(self, name: &str) -> Result<Cow<'de, str>, E> {
        Ok(Cow::Owned(name.to_owned()))
    }
}
