//! Reading input with exact places: bounded parsing into a [`Tree`], then typed reading through [`Node`].
//!
//! Parsing refuses more than [`MOST_ITEMS`] items in an array, doubled fields and documents with too many
//! values *while* reading, so a hostile document costs no more memory than these bounds.
//! A node finds its own pointer only when something is wrong with it.

use super::BadInput;
use serde::de::{DeserializeSeed, Error as _, MapAccess, SeqAccess, Visitor};
use std::cell::RefCell;
use std::fmt;

/// Most items of any array, the outermost included.
pub const MOST_ITEMS: usize = 10_000;
/// Most fields of one object: more than any contract has.
const MOST_FIELDS: usize = 64;
/// Most values of one document.
const MOST_VALUES: usize = 500_000;

/// One JSON value. Numbers are f64; fields keep their order and occur once.
#[derive(Clone, Debug, PartialEq)]
pub enum Tree {
    /// `null`.
    Null,
    /// `true` or `false`.
    Flag(bool),
    /// Any finite number.
    Number(f64),
    /// A string.
    Text(String),
    /// An array.
    List(Vec<Tree>),
    /// An object.
    Object(Vec<(String, Tree)>),
}

enum Step {
    Index(usize),
    Field(String),
}

/// Where the parser stands, and how many values it has made of this document.
#[derive(Default)]
struct Cursor {
    path: RefCell<Vec<Step>>,
    values: RefCell<usize>,
}

impl Cursor {
    fn pointer(&self) -> String {
        let mut at = String::new();
        for step in self.path.borrow().iter() {
            match step {
                Step::Index(i) => push_step(&mut at, &i.to_string()),
                Step::Field(name) => push_step(&mut at, name),
            }
        }
        at
    }

    fn enter(&self, step: Step) {
        self.path.borrow_mut().push(step);
    }

    fn leave(&self) {
        self.path.borrow_mut().pop();
    }

    fn count<E: serde::de::Error>(&self) -> Result<(), E> {
        let mut values = self.values.borrow_mut();
        *values += 1;
        if *values > MOST_VALUES { Err(E::custom("too many values in one document")) } else { Ok(()) }
    }
}

/// Appends one reference token, escaped as RFC 6901 §3 says.
fn push_step(at: &mut String, token: &str) {
    at.push('/');
    at.push_str(&token.replace('~', "~0").replace('/', "~1"));
}

/// What [`each_document`] calls with each document and its index in the outer array, if there is one.
type EachDocument<'f> = dyn FnMut(&Tree, Option<usize>) -> Result<(), BadInput> + 'f;

/// Parses `input` and hands over each document as soon as it is read; `true` when the input is an array.
pub(super) fn each_document(input: &[u8], each: &mut EachDocument<'_>) -> Result<bool, BadInput> {
    let cursor = Cursor::default();
    let mut refused = None;
    let mut parser = serde_json::Deserializer::from_slice(input);
    let seed = Outer { cursor: &cursor, each, refused: &mut refused };
    let parsed = seed.deserialize(&mut parser).and_then(|many| parser.end().map(|()| many));
    match (parsed, refused) {
        (_, Some(bad)) => Err(bad),
        (Ok(many), None) => Ok(many),
        (Err(e), None) => Err(BadInput { error: e.to_string(), at: cursor.pointer() }),
    }
}

struct Outer<'c, 'f, 'g> {
    cursor: &'c Cursor,
    each: &'f mut EachDocument<'g>,
    refused: &'f mut Option<BadInput>,
}

impl<'de> DeserializeSeed<'de> for Outer<'_, '_, '_> {
    type Value = bool;
    fn deserialize<D: serde::Deserializer<'de>>(self, d: D) -> Result<bool, D::Error> {
        d.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Outer<'_, '_, '_> {
    type Value = bool;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("an object, or an array of objects")
    }

    fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<bool, A::Error> {
        let tree = Grow(self.cursor).visit_map(map)?;
        (self.each)(&tree, None).map(|()| false).map_err(|bad| {
            *self.refused = Some(bad);
            A::Error::custom("refused")
        })
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<bool, A::Error> {
        for index in 0.. {
            self.cursor.enter(Step::Index(index));
            *self.cursor.values.borrow_mut() = 0;
            let Some(tree) = seq.next_element_seed(Grow(self.cursor))? else { break };
            if index == MOST_ITEMS {
                return Err(A::Error::custom(format!("over {MOST_ITEMS} items")));
            }
            self.cursor.leave();
            if let Err(bad) = (self.each)(&tree, Some(index)) {
                *self.refused = Some(bad);
                return Err(A::Error::custom("refused"));
            }
        }
        self.cursor.path.borrow_mut().clear();
        Ok(true)
    }
}

/// Builds one tree within the bounds.
struct Grow<'c>(&'c Cursor);

impl<'de> DeserializeSeed<'de> for Grow<'_> {
    type Value = Tree;
    fn deserialize<D: serde::Deserializer<'de>>(self, d: D) -> Result<Tree, D::Error> {
        self.0.count()?;
        d.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Grow<'_> {
    type Value = Tree;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a JSON value")
    }
    fn visit_unit<E>(self) -> Result<Tree, E> {
        Ok(Tree::Null)
    }
    fn visit_bool<E>(self, flag: bool) -> Result<Tree, E> {
        Ok(Tree::Flag(flag))
    }
    fn visit_f64<E>(self, number: f64) -> Result<Tree, E> {
        Ok(Tree::Number(number))
    }
    fn visit_i64<E>(self, number: i64) -> Result<Tree, E> {
        Ok(Tree::Number(number as f64))
    }
    fn visit_u64<E>(self, number: u64) -> Result<Tree, E> {
        Ok(Tree::Number(number as f64))
    }
    fn visit_str<E>(self, text: &str) -> Result<Tree, E> {
        Ok(Tree::Text(text.to_owned()))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Tree, A::Error> {
        let mut items = Vec::new();
        loop {
            self.0.enter(Step::Index(items.len()));
            let item = seq.next_element_seed(Grow(self.0))?;
            self.0.leave();
            let Some(item) = item else { break };
            if items.len() == MOST_ITEMS {
                return Err(A::Error::custom(format!("over {MOST_ITEMS} items")));
            }
            items.push(item);
        }
        Ok(Tree::List(items))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Tree, A::Error> {
        let mut fields: Vec<(String, Tree)> = Vec::new();
        while let Some(name) = map.next_key::<String>()? {
            if fields.len() == MOST_FIELDS {
                return Err(A::Error::custom(format!("over {MOST_FIELDS} fields")));
            }
            self.0.enter(Step::Field(name.clone()));
            if fields.iter().any(|(known, _)| *known == name) {
                return Err(A::Error::custom(format!("field given twice: {name}")));
            }
            let value = map.next_value_seed(Grow(self.0))?;
            self.0.leave();
            fields.push((name, value));
        }
        Ok(Tree::Object(fields))
    }
}

/// A value and the document it belongs to; every reader answers [`BadInput`] with the value's own pointer.
#[derive(Clone, Copy, Debug)]
pub struct Node<'a> {
    root: &'a Tree,
    here: &'a Tree,
}

impl<'a> Node<'a> {
    /// The whole document.
    pub fn root(tree: &'a Tree) -> Self {
        Node { root: tree, here: tree }
    }

    /// The value itself.
    pub fn tree(&self) -> &'a Tree {
        self.here
    }

    /// A refusal that points at this value.
    pub fn bad(&self, error: impl Into<String>) -> BadInput {
        let mut at = Vec::new();
        find(self.root, self.here, &mut at);
        let mut pointer = String::new();
        at.iter().rev().for_each(|token| push_step(&mut pointer, token));
        BadInput { error: error.into(), at: pointer }
    }

    /// An object whose fields are all among `names`.
    pub fn fields(&self, names: &[&str]) -> Result<Fields<'a>, BadInput> {
        let Tree::Object(fields) = self.here else { return Err(self.bad("not an object")) };
        for (name, value) in fields {
            if !names.contains(&name.as_str()) {
                let known = names.join(", ");
                let unknown = Node { root: self.root, here: value };
                return Err(unknown.bad(format!("unknown field {name}; known are {known}")));
            }
        }
        Ok(Fields { node: *self, fields })
    }

    /// The items of an array.
    pub fn list(&self) -> Result<impl ExactSizeIterator<Item = Node<'a>> + use<'a>, BadInput> {
        let root = self.root;
        match self.here {
            Tree::List(items) => Ok(items.iter().map(move |here| Node { root, here })),
            _ => Err(self.bad("not an array")),
        }
    }

    /// A string.
    pub fn text(&self) -> Result<&'a str, BadInput> {
        match self.here {
            Tree::Text(text) => Ok(text),
            _ => Err(self.bad("not a string")),
        }
    }

    /// `true` or `false`.
    pub fn flag(&self) -> Result<bool, BadInput> {
        match self.here {
            Tree::Flag(flag) => Ok(*flag),
            _ => Err(self.bad("not true or false")),
        }
    }

    /// Any finite number.
    pub fn number(&self) -> Result<f64, BadInput> {
        match self.here {
            Tree::Number(number) if number.is_finite() => Ok(*number),
            _ => Err(self.bad("not a number")),
        }
    }

    /// A number above 0.
    pub fn positive(&self) -> Result<f64, BadInput> {
        let number = self.number()?;
        if number > 0.0 { Ok(number) } else { Err(self.bad("must be above 0")) }
    }

    /// A number of 0 or more.
    pub fn not_negative(&self) -> Result<f64, BadInput> {
        let number = self.number()?;
        if number >= 0.0 { Ok(number) } else { Err(self.bad("must be 0 or more")) }
    }

    /// A whole number within `range`, ends included.
    pub fn whole(&self, range: std::ops::RangeInclusive<i64>) -> Result<i64, BadInput> {
        let number = self.number()?;
        let whole = number as i64;
        if whole as f64 != number || !range.contains(&whole) {
            return Err(self.bad(format!(
                "must be a whole number from {} to {}",
                range.start(),
                range.end()
            )));
        }
        Ok(whole)
    }

    /// A day, `YYYY-MM-DD`.
    pub fn day(&self) -> Result<time::Date, BadInput> {
        let format = time::macros::format_description!("[year]-[month]-[day]");
        let text = self.text()?;
        let plain = text.len() == 10 && text.as_bytes()[0].is_ascii_digit();
        time::Date::parse(text, &format)
            .ok()
            .filter(|_| plain)
            .ok_or_else(|| self.bad("not a day as YYYY-MM-DD"))
    }

    /// An instant, RFC 3339 with its offset.
    pub fn instant(&self) -> Result<time::OffsetDateTime, BadInput> {
        time::OffsetDateTime::parse(self.text()?, &time::format_description::well_known::Rfc3339)
            .map_err(|_| self.bad("not an instant as RFC 3339 with an offset"))
    }

    /// One of the named values.
    pub fn one_of<T: Copy>(&self, values: &[(&str, T)]) -> Result<T, BadInput> {
        let text = self.text()?;
        match values.iter().find(|(name, _)| *name == text) {
            Some((_, value)) => Ok(*value),
            None => {
                let known = values.iter().map(|(name, _)| *name).collect::<Vec<_>>().join(", ");
                Err(self.bad(format!("must be one of {known}")))
            }
        }
    }
}

/// The fields of one object; `null` counts as absent.
#[derive(Clone, Copy, Debug)]
pub struct Fields<'a> {
    node: Node<'a>,
    fields: &'a [(String, Tree)],
}

impl<'a> Fields<'a> {
    /// An optional field.
    pub fn find(&self, name: &str) -> Option<Node<'a>> {
        let (_, here) = self.fields.iter().find(|(known, _)| known == name)?;
        if *here == Tree::Null { None } else { Some(Node { root: self.node.root, here }) }
    }

    /// A field that must be there; its absence points at the object.
    pub fn need(&self, name: &str) -> Result<Node<'a>, BadInput> {
        self.find(name).ok_or_else(|| self.node.bad(format!("{name} is missing")))
    }

    /// A refusal that points at the object.
    pub fn bad(&self, error: impl Into<String>) -> BadInput {
        self.node.bad(error)
    }
}

/// Looks for `wanted` by address and writes the way to it, innermost token first.
fn find(from: &Tree, wanted: &Tree, at: &mut Vec<String>) -> bool {
    if std::ptr::eq(from, wanted) {
        return true;
    }
    match from {
        Tree::List(items) => items.iter().enumerate().any(|(i, item)| {
            let found = find(item, wanted, at);
            found.then(|| at.push(i.to_string()));
            found
        }),
        Tree::Object(fields) => fields.iter().any(|(name, value)| {
            let found = find(value, wanted, at);
            found.then(|| at.push(name.clone()));
            found
        }),
        _ => false,
    }
}
