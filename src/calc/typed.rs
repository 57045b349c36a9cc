//! From a [`Tree`] to a typed document, with the exact place of whatever is wrong.
//!
//! What serde's derived readers ask for is answered in the ways of the contract: `null` is an absent field, whether
//! the field is needed or not, but an unknown field stays unknown with `null` in it; an object is never read from an
//! array; an enum named `by FIELD` is an object whose `FIELD` says which variant it is (serde's own tagged enums
//! would copy the object and forget the places in it).

use super::BadInput;
use super::tree::{Step, Tree, pointer};
use serde::de::value::{StrDeserializer, StringDeserializer};
use serde::de::{self, DeserializeOwned, DeserializeSeed, Deserializer, IntoDeserializer, Visitor};
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
pub(super) fn read<T: DeserializeOwned>(tree: Tree) -> Result<T, BadInput> {
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

impl<'de> Deserializer<'de> for Tree {
    type Error = Fault;

    fn deserialize_any<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Fault> {
        match self {
            Tree::Null => visitor.visit_unit(),
            Tree::Flag(flag) => visitor.visit_bool(flag),
            Tree::Number(number) => visitor.visit_f64(number),
            Tree::Text(text) => visitor.visit_string(text),
            Tree::List(items) => visitor.visit_seq(Items { items: items.into_iter(), next: 0 }),
            Tree::Object(fields) => visitor.visit_map(Fields::new(fields, &[])),
        }
    }

    fn deserialize_option<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Fault> {
        if self == Tree::Null { visitor.visit_none() } else { visitor.visit_some(self) }
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
            Tree::Text(text) => visitor.visit_string(text),
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
        name: &str,
        _: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, Fault> {
        let Some(tag) = name.strip_prefix("by ") else {
            return match self {
                Tree::Text(code) => visitor.visit_enum(code.into_deserializer()),
                _ => Err(Fault::new("must be a string")),
            };
        };
        let Tree::Object(mut fields) = self else { return Err(Fault::new("must be an object")) };
        let at = fields.iter().position(|(known, value)| known == tag && *value != Tree::Null);
        let Some(at) = at else { return Err(Fault::new(format!("{tag} is missing"))) };
        let (tag, value) = fields.remove(at);
        visitor.visit_enum(Tagged { tag, value, fields })
    }

    serde::forward_to_deserialize_any! {
        i8 i16 i32 i64 i128 u8 u16 u32 u64 u128 f32 f64 char str bytes byte_buf unit unit_struct tuple tuple_struct map
        identifier ignored_any
    }
}

struct Items {
    items: std::vec::IntoIter<Tree>,
    next: usize,
}

impl<'de> de::SeqAccess<'de> for Items {
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

struct Fields {
    fields: std::vec::IntoIter<(String, Tree)>,
    /// Fields that are absent when they are `null`.
    known: &'static [&'static str],
    under_way: Option<(String, Tree)>,
}

impl Fields {
    fn new(fields: Vec<(String, Tree)>, known: &'static [&'static str]) -> Self {
        Fields { fields: fields.into_iter(), known, under_way: None }
    }
}

impl<'de> de::MapAccess<'de> for Fields {
    type Error = Fault;

    fn next_key_seed<K: DeserializeSeed<'de>>(&mut self, seed: K) -> Result<Option<K::Value>, Fault> {
        let known = self.known;
        let absent = |(name, value): &(String, Tree)| *value == Tree::Null && known.contains(&name.as_str());
        let Some(field) = self.fields.find(|field| !absent(field)) else { return Ok(None) };
        let name = seed.deserialize(StrDeserializer::<Fault>::new(&field.0))?;
        self.under_way = Some(field);
        Ok(Some(name))
    }

    fn next_value_seed<V: DeserializeSeed<'de>>(&mut self, seed: V) -> Result<V::Value, Fault> {
        let field = self.under_way.take();
        let (name, value) = field.ok_or_else(|| Fault::new("a value is asked for before its name"))?;
        seed.deserialize(value).map_err(|fault| fault.inside(Step::Field(name)))
    }
}

/// An object that one of its fields makes a variant of.
struct Tagged {
    tag: String,
    value: Tree,
    fields: Vec<(String, Tree)>,
}

impl<'de> de::EnumAccess<'de> for Tagged {
    type Error = Fault;
    type Variant = Rest;

    fn variant_seed<V: DeserializeSeed<'de>>(self, seed: V) -> Result<(V::Value, Rest), Fault> {
        let variant = match self.value {
            Tree::Text(code) => seed.deserialize(StringDeserializer::<Fault>::new(code)),
            _ => Err(Fault::new("must be a string")),
        };
        let variant = variant.map_err(|fault| fault.inside(Step::Field(self.tag)))?;
        Ok((variant, Rest(self.fields)))
    }
}

/// The fields of a variant.
struct Rest(Vec<(String, Tree)>);

impl<'de> de::VariantAccess<'de> for Rest {
    type Error = Fault;

    fn struct_variant<V: Visitor<'de>>(
        self,
        known: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, Fault> {
        visitor.visit_map(Fields::new(self.0, known))
    }
    fn unit_variant(self) -> Result<(), Fault> {
        match self.0.into_iter().next() {
            Some((name, _)) => Err(de::Error::unknown_field(&name, &[])),
            None => Ok(()),
        }
    }
    fn newtype_variant_seed<T: DeserializeSeed<'de>>(self, seed: T) -> Result<T::Value, Fault> {
        seed.deserialize(Tree::Object(self.0))
    }
    fn tuple_variant<V: Visitor<'de>>(self, _: usize, visitor: V) -> Result<V::Value, Fault> {
        Err(de::Error::invalid_type(de::Unexpected::Map, &visitor))
    }
}
