//! From a [`Tree`] to a typed document, with the exact place of whatever is wrong.
//!
//! What serde's derived readers ask for is answered in the ways of the contract: `null` is an absent field, whether
//! the field is needed or not, but an unknown field stays unknown with `null` in it; an object is never read from an
//! array; an enum is read from a string.

use super::BadInput;
use super::tree::{Step, Tree, pointer};
use serde::de::value::StrDeserializer;
use serde::de::{self, DeserializeOwned, DeserializeSeed, Deserializer, IntoDeserializer, Visitor};
use std::borrow::Cow;
use std::fmt;

/// Longest piece of the input repeated in a message, characters.
const MOST_REPEATED: usize = 60;

/// What was wrong, and the way to it, innermost step first.
#[derive(Debug)]
pub(super) struct Fault {
    error: String,
    way: Vec<Step>,
}

impl Fault {
    fn new(error: impl Into<String>) -> Self {
        Fault { error: error.into(), way: Vec::new() }
    }

    fn inside(mut self, step: Step) -> Self {
        self.way.push(step);
        self
    }
}

/// A piece of the input for a message: cut when it is long.
pub(super) fn repeated(text: &str) -> String {
    match text.char_indices().nth(MOST_REPEATED) {
        Some((end, _)) => format!("{}…", &text[..end]),
        None => text.to_owned(),
    }
}

/// Reads a typed document.
pub(super) fn read<T: DeserializeOwned>(tree: Tree<'_>) -> Result<T, BadInput> {
    T::deserialize(tree).map_err(|fault| BadInput { at: pointer(fault.way.iter().rev()), error: fault.error })
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.error)
    }
}

impl std::error::Error for Fault {}

impl de::Error for Fault {
    fn custom<T: fmt::Display>(error: T) -> Self {
        Fault::new(error.to_string())
    }
    fn invalid_type(_: de::Unexpected<'_>, wanted: &dyn de::Expected) -> Self {
        Fault::new(format!("must be {wanted}"))
    }
    fn invalid_value(_: de::Unexpected<'_>, wanted: &dyn de::Expected) -> Self {
        Fault::new(format!("must be {wanted}"))
    }
    fn unknown_variant(_: &str, known: &'static [&'static str]) -> Self {
        Fault::new(format!("must be one of {}", known.join(", ")))
    }
    fn unknown_field(name: &str, known: &'static [&'static str]) -> Self {
        let error = format!("unknown field {}; known are {}", repeated(name), known.join(", "));
        Fault::new(error).inside(Step::Field(name.to_owned()))
    }
    fn missing_field(name: &'static str) -> Self {
        Fault::new(format!("{name} is missing"))
    }
}

impl<'de> Deserializer<'de> for Tree<'de> {
    type Error = Fault;

    fn deserialize_any<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Fault> {
        match self {
            Tree::Null => visitor.visit_unit(),
            Tree::Flag(flag) => visitor.visit_bool(flag),
            Tree::Number(number) => visitor.visit_f64(number),
            Tree::Text(Cow::Borrowed(text)) => visitor.visit_borrowed_str(text),
            Tree::Text(Cow::Owned(text)) => visitor.visit_string(text),
            Tree::List(items) => visitor.visit_seq(Items { items: items.into_iter(), next: 0 }),
            Tree::Object(fields) => visitor.visit_map(Fields::new(fields, &[])),
        }
    }

    fn deserialize_option<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Fault> {
        if matches!(self, Tree::Null) { visitor.visit_none() } else { visitor.visit_some(self) }
    }

    fn deserialize_newtype_struct<V: Visitor<'de>>(self, _: &str, visitor: V) -> Result<V::Value, Fault> {
        visitor.visit_newtype_struct(self)
    }

    fn deserialize_bool<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Fault> {
        match self {
            Tree::Flag(flag) => visitor.visit_bool(flag),
            _ => Err(Fault::new("must be true or false")),
        }
    }

    fn deserialize_string<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Fault> {
        match self {
            Tree::Text(_) => self.deserialize_any(visitor),
            _ => Err(Fault::new("must be a string")),
        }
    }

    fn deserialize_seq<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Fault> {
        match self {
            Tree::List(items) => visitor.visit_seq(Items { items: items.into_iter(), next: 0 }),
            _ => Err(Fault::new("must be an array")),
        }
    }

    fn deserialize_struct<V: Visitor<'de>>(
        self,
        _: &str,
        known: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, Fault> {
        match self {
            Tree::Object(fields) => visitor.visit_map(Fields::new(fields, known)),
            _ => Err(Fault::new("must be an object")),
        }
    }

    fn deserialize_enum<V: Visitor<'de>>(
        self,
        _: &str,
        _: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, Fault> {
        match self {
            Tree::Text(code) => visitor.visit_enum(code.into_deserializer()),
            _ => Err(Fault::new("must be a string")),
        }
    }

    serde::forward_to_deserialize_any! {
        i8 i16 i32 i64 i128 u8 u16 u32 u64 u128 f32 f64 char str bytes byte_buf unit unit_struct tuple tuple_struct map
        identifier ignored_any
    }
}

struct Items<'de> {
    items: std::vec::IntoIter<Tree<'de>>,
    next: usize,
}

impl<'de> de::SeqAccess<'de> for Items<'de> {
    type Error = Fault;
    fn next_element_seed<T: DeserializeSeed<'de>>(&mut self, seed: T) -> Result<Option<T::Value>, Fault> {
        let Some(item) = self.items.next() else { return Ok(None) };
        let index = self.next;
        self.next += 1;
        seed.deserialize(item).map(Some).map_err(|fault| fault.inside(Step::Index(index)))
    }
    fn size_hint(&self) -> Option<usize> {
        Some(self.items.len())
    }
}

struct Fields<'de> {
    fields: std::vec::IntoIter<(Cow<'de, str>, Tree<'de>)>,
    /// Fields that are absent when they are `null`.
    known: &'static [&'static str],
    under_way: Option<(Cow<'de, str>, Tree<'de>)>,
}

impl<'de> Fields<'de> {
    fn new(fields: Vec<(Cow<'de, str>, Tree<'de>)>, known: &'static [&'static str]) -> Self {
        Fields { fields: fields.into_iter(), known, under_way: None }
    }
}

impl<'de> de::MapAccess<'de> for Fields<'de> {
    type Error = Fault;

    fn next_key_seed<K: DeserializeSeed<'de>>(&mut self, seed: K) -> Result<Option<K::Value>, Fault> {
        let known = self.known;
        let absent = |(name, value): &(Cow<'_, str>, Tree<'_>)| {
            matches!(value, Tree::Null) && known.contains(&name.as_ref())
        };
        let Some(field) = self.fields.find(|field| !absent(field)) else { return Ok(None) };
        let name = seed.deserialize(StrDeserializer::<Fault>::new(&field.0))?;
        self.under_way = Some(field);
        Ok(Some(name))
    }

    fn next_value_seed<V: DeserializeSeed<'de>>(&mut self, seed: V) -> Result<V::Value, Fault> {
        let field = self.under_way.take();
        let (name, value) = field.ok_or_else(|| Fault::new("a value is asked for before its name"))?;
        seed.deserialize(value).map_err(|fault| fault.inside(Step::Field(name.into_owned())))
    }
}
