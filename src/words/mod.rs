//! The languages of the screens. Every sentence stands in English where it is said, inside [`tr!`]; the other
//! languages are catalogues in gettext's PO format, in `shared/words/LANGUAGE/`, keyed by the English.
//!
//! Which language is spoken is the one thing that is ambient: a request is served [`in_language`] of whoever sits
//! at the station, and everything said meanwhile is said in it. It changes words, never a decision: nothing
//! compares, stores as a code or sends to another program what came out of here. What goes on record in words is
//! said [`plainly`], in English, so that a record has one language. What a length is said in ([`measuring`]) is ambient
//! in the same way, and on record it is millimetres.

/// Says a sentence in the language spoken. `tr!("Lock")` is a `&'static str`; with values it is a `String`:
/// `tr!("{} of {}", done, all)`, `tr!("{name}: rinse now", name = who)`.
#[macro_export]
macro_rules! tr {
    ($text:literal $(,)?) => { $crate::words::lit($text) };
    ($text:literal, $($values:tt)+) => { $crate::tr_values!($crate::words::lit($text); []; $($values)+) };
}

/// Marks words that are said elsewhere, by [`words::of`](crate::words::of): tables of constants.
#[macro_export]
macro_rules! mark {
    ($text:literal) => {
        $text
    };
}

/// Says a sentence that depends on a number: `trn!(n, "{n} visit", "{n} visits")`; `{n}` is the number. More values
/// follow as in [`tr!`].
#[macro_export]
macro_rules! trn {
    ($n:expr, $one:literal, $many:literal $(,)?) => {{
        let n = $n;
        $crate::words::fill($crate::words::by_number(u64::try_from(n).unwrap_or(u64::MAX), $one, $many), &[("n", &n)])
    }};
    ($n:expr, $one:literal, $many:literal, $($values:tt)+) => {{
        let n = $n;
        $crate::tr_values!($crate::words::by_number(u64::try_from(n).unwrap_or(u64::MAX), $one, $many); [("n", &n as &dyn ::std::fmt::Display)]; $($values)+)
    }};
}

/// Gathers the values of [`tr!`]: named ones under their names, the others in their order.
#[doc(hidden)]
#[macro_export]
macro_rules! tr_values {
    ($text:expr; [$($done:expr),*]; $(,)?) => { $crate::words::fill($text, &[$($done),*]) };
    ($text:expr; [$($done:expr),*]; $name:ident = $value:expr $(, $($more:tt)*)?) => {
        $crate::tr_values!($text; [$($done,)* (stringify!($name), &$value as &dyn ::std::fmt::Display)]; $($($more)*)?)
    };
    ($text:expr; [$($done:expr),*]; $value:expr $(, $($more:tt)*)?) => {
        $crate::tr_values!($text; [$($done,)* ("", &$value as &dyn ::std::fmt::Display)]; $($($more)*)?)
    };
}

mod catalogue;
mod fill;
mod spoken;
mod values;

pub use fill::fill;
pub use spoken::{
    InLanguage, Language, Unit, in_language, in_language_and_unit, measure_in, measuring, only_in_language,
    plainly, speak, speaking, with, with_unit,
};
pub use values::VALUES;

/// The words of this literal in the language spoken; the literal itself where the catalogue lacks it.
#[must_use]
pub fn lit(text: &'static str) -> &'static str {
    catalogue::find(speaking(), text).unwrap_or(text)
}

/// Words that stand in no literal: a protocol's text, a table's. A salon's own words are in no catalogue and
/// stay as they were typed.
#[must_use]
pub fn of(text: &str) -> &str {
    catalogue::find(speaking(), text).unwrap_or(text)
}

/// The English plural in -s of a code that is a noun ("chair"), in the language spoken.
#[must_use]
pub fn of_many(noun: &str) -> String {
    of(&format!("{noun}s")).to_owned()
}

/// One of two literals by number, as [`trn!`] says it.
#[must_use]
pub fn by_number(n: u64, one: &'static str, many: &'static str) -> &'static str {
    catalogue::find_number(speaking(), n, one).unwrap_or(if n == 1 { one } else { many })
}

/// What a page's script says, for a language that is not English: English to words, as JSON. Empty for English.
#[must_use]
pub fn for_script() -> &'static str {
    catalogue::for_script(speaking())
}

#[cfg(test)]
mod tests;
