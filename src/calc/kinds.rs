//! The kinds of value documents are made of: each checks itself when it is read and says the same in the schema.

use super::tree::MOST_ITEMS;
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{Deserialize, Deserializer, Error, Visitor};
use serde::{Serialize, Serializer};
use std::borrow::Cow;
use std::fmt;
use std::marker::PhantomData;

/// Something read from one number or one string.
pub(super) trait Scalar: Sized {
    /// What it must be, in words after "must be".
    const WANTED: &'static str;
    /// What it is in a schema.
    fn schema() -> Schema;
    /// From a number; refused without words when it never is one.
    fn of_number(_: f64) -> Option<Self> {
        None
    }
    /// From a string.
    fn of_text(_: &str) -> Option<Self> {
        None
    }
    /// The refusal of a string, when it has more to say than what is wanted.
    fn refusal(_: &str) -> Option<String> {
        None
    }
}

pub(super) struct ScalarVisitor<T>(pub PhantomData<T>);

impl<T: Scalar> Visitor<'_> for ScalarVisitor<T> {
    type Value = T;
    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(T::WANTED)
    }
    fn visit_f64<E: Error>(self, number: f64) -> Result<T, E> {
        T::of_number(number)
            .filter(|_| number.is_finite())
            .ok_or_else(|| E::custom(format_args!("must be {}", T::WANTED)))
    }
    fn visit_str<E: Error>(self, text: &str) -> Result<T, E> {
        T::of_text(text).ok_or_else(|| match T::refusal(text) {
            Some(words) => E::custom(words),
            None => E::custom(format_args!("must be {}", T::WANTED)),
        })
    }
}

/// Reading and schema of a [`Scalar`].
macro_rules! scalar {
    ($(@[$($generic:tt)*])? $name:ty) => {
        impl<'de, $($($generic)*)?> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
                from.deserialize_any(ScalarVisitor(PhantomData))
            }
        }

        impl<$($($generic)*)?> JsonSchema for $name {
            fn schema_name() -> Cow<'static, str> {
                std::any::type_name::<Self>().into()
            }
            fn inline_schema() -> bool {
                true
            }
            fn json_schema(_: &mut SchemaGenerator) -> Schema {
                <Self as Scalar>::schema()
            }
        }
    };
}

pub(super) use scalar;

/// A finite number.
#[derive(Clone, Copy, Debug)]
pub(super) struct Number(pub f64);

impl Scalar for Number {
    const WANTED: &'static str = "a number";
    fn schema() -> Schema {
        json_schema!({"type": "number"})
    }
    fn of_number(number: f64) -> Option<Self> {
        Some(Number(number))
    }
}
scalar!(Number);

/// A number above 0.
#[derive(Clone, Copy, Debug)]
pub(super) struct Positive(pub f64);

impl Scalar for Positive {
    const WANTED: &'static str = "a number above 0";
    fn schema() -> Schema {
        json_schema!({"type": "number", "exclusiveMinimum": 0})
    }
    fn of_number(number: f64) -> Option<Self> {
        (number > 0.0).then_some(Positive(number))
    }
}
scalar!(Positive);

/// A number of 0 or more.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct NotNegative(pub f64);

impl Scalar for NotNegative {
    const WANTED: &'static str = "a number of 0 or more";
    fn schema() -> Schema {
        json_schema!({"type": "number", "minimum": 0})
    }
    fn of_number(number: f64) -> Option<Self> {
        (number >= 0.0).then_some(NotNegative(number))
    }
}
scalar!(NotNegative);

/// A whole number, ends included.
#[derive(Clone, Copy, Debug)]
pub(super) struct Whole<const LEAST: i64, const MOST: i64>(pub i64);

impl<const LEAST: i64, const MOST: i64> Scalar for Whole<LEAST, MOST> {
    const WANTED: &'static str = "a whole number within its bounds (see --help)";
    fn schema() -> Schema {
        json_schema!({"type": "integer", "minimum": LEAST, "maximum": MOST})
    }
    fn of_number(number: f64) -> Option<Self> {
        let whole = number as i64;
        (whole as f64 == number && (LEAST..=MOST).contains(&whole)).then_some(Whole(whole))
    }
}
scalar!(@[const LEAST: i64, const MOST: i64] Whole<LEAST, MOST>);

/// Minutes, fractions allowed, from a millisecond to a year.
#[derive(Clone, Copy, Debug)]
pub(super) struct Minutes {
    /// The same in whole milliseconds.
    pub ms: i64,
}

/// The longest segment, patch-test visit and grid step, minutes: a year.
const LONGEST_MIN: f64 = 366.0 * 24.0 * 60.0;
/// Milliseconds of a minute.
pub(super) const MINUTE_MS: f64 = 60_000.0;

impl Scalar for Minutes {
    const WANTED: &'static str = "minutes, from a millisecond to a year";
    fn schema() -> Schema {
        json_schema!({"type": "number", "exclusiveMinimum": 0, "maximum": LONGEST_MIN})
    }
    fn of_number(minutes: f64) -> Option<Self> {
        let ms = (minutes * MINUTE_MS).round();
        (ms >= 1.0 && minutes <= LONGEST_MIN).then_some(Minutes { ms: ms as i64 })
    }
}
scalar!(Minutes);

/// A string that is not empty.
#[derive(Clone, Debug)]
pub(super) struct Name(pub String);

impl Scalar for Name {
    const WANTED: &'static str = "a string that is not empty";
    fn schema() -> Schema {
        json_schema!({"type": "string", "minLength": 1})
    }
    fn of_text(text: &str) -> Option<Self> {
        (!text.is_empty()).then(|| Name(text.to_owned()))
    }
}
scalar!(Name);

/// A day.
#[derive(Clone, Copy, Debug)]
pub(super) struct Day(pub time::Date);

impl Scalar for Day {
    const WANTED: &'static str = "a day as YYYY-MM-DD";
    fn schema() -> Schema {
        json_schema!({"type": "string", "format": "date", "pattern": "^[0-9]{4}-[0-9]{2}-[0-9]{2}$"})
    }
    fn of_text(text: &str) -> Option<Self> {
        let [y3, y2, y1, y0, b'-', m1, m0, b'-', d1, d0] = *text.as_bytes() else { return None };
        let number = |digits: &[u8]| {
            let digit = |digit: &u8| digit.is_ascii_digit().then(|| u16::from(digit - b'0'));
            digits.iter().try_fold(0, |number, one| Some(10 * number + digit(one)?))
        };
        let month = time::Month::try_from(number(&[m1, m0])? as u8).ok()?;
        let year = i32::from(number(&[y3, y2, y1, y0])?);
        time::Date::from_calendar_date(year, month, number(&[d1, d0])? as u8).ok().map(Day)
    }
}
scalar!(Day);

impl Serialize for Day {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let (year, month, day) = self.0.to_calendar_date();
        // Answers are full of days: ten bytes at once, where a year has four digits.
        let Some(year) = u16::try_from(year).ok().filter(|year| *year <= 9_999) else {
            return to.collect_str(&self.0);
        };
        let digit = |number: u16, unit: u16| b'0' + (number / unit % 10) as u8;
        let (month, day) = (u16::from(u8::from(month)), u16::from(day));
        let text = [
            digit(year, 1_000),
            digit(year, 100),
            digit(year, 10),
            digit(year, 1),
            b'-',
            digit(month, 10),
            digit(month, 1),
            b'-',
            digit(day, 10),
            digit(day, 1),
        ];
        match std::str::from_utf8(&text) {
            Ok(text) => to.serialize_str(text),
            Err(_) => to.collect_str(&self.0),
        }
    }
}

/// An instant with its offset, without a bracketed zone name.
#[derive(Clone, Copy, Debug)]
pub(super) struct Instant(pub time::OffsetDateTime);

impl Scalar for Instant {
    const WANTED: &'static str = "an instant as RFC 3339 with an offset";
    fn schema() -> Schema {
        let pattern = "^[0-9]{4}-[0-9]{2}-[0-9]{2}[Tt ][0-9]{2}:[0-9]{2}:[0-9]{2}(\\.[0-9]+)?([Zz]|[+-][0-9]{2}:[0-9]{2})$";
        json_schema!({"type": "string", "format": "date-time", "pattern": pattern})
    }
    fn of_text(text: &str) -> Option<Self> {
        let format = &time::format_description::well_known::Rfc3339;
        time::OffsetDateTime::parse(text, format).ok().map(Instant)
    }
}
scalar!(Instant);

/// A time of day, 00:00 to 24:00, as minutes.
#[derive(Clone, Copy, Debug)]
pub(super) struct ClockTime(pub u16);

impl Scalar for ClockTime {
    const WANTED: &'static str = "a time of day as HH:MM, 00:00 to 24:00";
    fn schema() -> Schema {
        json_schema!({"type": "string", "pattern": "^(([01][0-9]|2[0-3]):[0-5][0-9]|24:00)$"})
    }
    fn of_text(text: &str) -> Option<Self> {
        let two = |part: &str| {
            let digits = part.len() == 2 && part.bytes().all(|b| b.is_ascii_digit());
            digits.then(|| part.parse::<u16>().ok()).flatten()
        };
        let (hour, minute) = text.split_once(':').and_then(|(h, m)| Some((two(h)?, two(m)?)))?;
        (minute < 60 && hour * 60 + minute <= 24 * 60).then_some(ClockTime(hour * 60 + minute))
    }
}
scalar!(ClockTime);

/// An array of bounded length.
#[derive(Clone, Debug)]
pub(super) struct Items<T, const LEAST: usize = 0, const MOST: usize = MOST_ITEMS>(pub Vec<T>);

impl<T, const LEAST: usize, const MOST: usize> Default for Items<T, LEAST, MOST> {
    fn default() -> Self {
        Items(Vec::new())
    }
}

impl<'de, T: Deserialize<'de>, const LEAST: usize, const MOST: usize> Deserialize<'de>
    for Items<T, LEAST, MOST>
{
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let items = Vec::<T>::deserialize(from)?;
        match items.len() {
            few if few < LEAST => Err(D::Error::custom(format_args!("must have {LEAST} items or more"))),
            many if many > MOST => Err(D::Error::custom(format_args!("over {MOST} items"))),
            _ => Ok(Items(items)),
        }
    }
}

impl<T: JsonSchema, const LEAST: usize, const MOST: usize> JsonSchema for Items<T, LEAST, MOST> {
    fn schema_name() -> Cow<'static, str> {
        format!("ListOf{}", T::schema_name()).into()
    }
    fn inline_schema() -> bool {
        true
    }
    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let mut schema =
            json_schema!({"type": "array", "items": generator.subschema_for::<T>(), "maxItems": MOST});
        if LEAST > 0 {
            schema.insert("minItems".into(), LEAST.into());
        }
        schema
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use time::macros::format_description;

    proptest! {
        /// Against the reader and the writer of the time crate.
        #[test]
        fn days_are_read_as_the_time_crate_reads_them(text in "[0-9]{4}-[01][0-9]-[0-3][0-9]|[-0-9]{9,11}|\\PC{10}") {
            let theirs = time::Date::parse(&text, format_description!("[year]-[month]-[day]")).ok();
            let plain = text.len() == 10 && text.starts_with(|first: char| first.is_ascii_digit());
            prop_assert_eq!(Day::of_text(&text).map(|day| day.0), theirs.filter(|_| plain));
        }

        #[test]
        fn days_are_written_as_the_time_crate_writes_them(
            day in time::Date::MIN.to_julian_day()..=time::Date::MAX.to_julian_day()
        ) {
            let day = time::Date::from_julian_day(day).unwrap();
            prop_assert_eq!(serde_json::to_string(&Day(day)).unwrap(), format!("\"{day}\""));
        }
    }
}
