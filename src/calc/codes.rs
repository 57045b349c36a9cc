//! Values of the domain that documents name by their codes.

use super::kinds::{Scalar, ScalarVisitor, scalar};
use super::typed::repeated;
use crate::domain::chemistry::limits::{Hands, Place, Purpose};
use crate::domain::chemistry::{Family, Mark, Strength, Verdict};
use crate::domain::strand::{Known, Settling};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{Deserialize, Deserializer};
use serde::{Serialize, Serializer};
use std::borrow::Cow;
use std::marker::PhantomData;

/// A value of the domain that has a code.
pub(super) trait Code: Copy + 'static {
    /// Every value.
    fn all() -> &'static [Self];
    /// Its code.
    fn code(self) -> &'static str;
}

macro_rules! codes {
    ($($name:ty),+) => {
        $(impl Code for $name {
            fn all() -> &'static [Self] {
                &<$name>::ALL
            }
            fn code(self) -> &'static str {
                <$name>::code(self)
            }
        })+
    };
}
codes!(Family, Known, Strength, Verdict, Mark, Settling, Place, Hands, Purpose);

/// A value of the domain, by its code.
#[derive(Clone, Copy, Debug)]
pub(super) struct Coded<T>(pub T);

impl<T: Code> Coded<T> {
    fn codes() -> Vec<&'static str> {
        T::all().iter().map(|value| value.code()).collect()
    }
}

impl<T: Code> Scalar for Coded<T> {
    const WANTED: &'static str = "one of the codes as a string (see --help)";
    fn schema() -> Schema {
        json_schema!({"type": "string", "enum": Self::codes()})
    }
    fn of_text(text: &str) -> Option<Self> {
        T::all().iter().find(|value| value.code() == text).copied().map(Coded)
    }
    fn refusal(text: &str) -> Option<String> {
        Some(format!("{} is not one of {}", repeated(text), Self::codes().join(", ")))
    }
}
scalar!(@[T: Code] Coded<T>);

impl<T: Code> Serialize for Coded<T> {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(self.0.code())
    }
}
