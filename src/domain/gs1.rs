//! What a wedge scanner types, read: a GS1 element string, a number of goods, or a plain code.
//!
//! Source: GS1 General Specifications (element strings, check digits, the century of a date) in the form of GS1's own
//! Barcode Syntax Resource: the Syntax Dictionary (`gs1-syntax-dictionary.txt`: which application identifiers there are,
//! their lengths, which need no FNC1 after them) and its reference linters. Only identifiers that can stand on goods of a
//! salon are read; any other is named, never guessed over: a wrong length would read the rest of the code wrong.
//! No crate on the registry both knows the table and checks digits and days; the one that splits element strings guesses
//! at identifiers it does not know.

use time::{Date, Month};

mod elements;
mod gtin;

pub use elements::{Elements, FNC1};
pub use gtin::Gtin;

/// Longest text taken from a scanner, in characters (a GS1 symbol holds far less than this).
pub const SCAN_MOST_CHARS: usize = 300;

/// What was scanned.
#[derive(Clone, Debug, PartialEq)]
pub enum Scan {
    /// An element string.
    Elements(Elements),
    /// A number of goods alone (EAN-8, UPC-A, EAN-13 or 14 digits). `typed` is what was read: digits may also be
    /// somebody's lot code.
    Gtin {
        /// The number in 14 digits.
        gtin: Gtin,
        /// As it was read.
        typed: String,
    },
    /// Anything else: taken as a lot code as printed.
    Code(String),
}

/// Why a scan cannot be read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ScanFault {
    /// Nothing was scanned.
    Empty,
    /// More than [`SCAN_MOST_CHARS`].
    TooLong,
    /// An application identifier that is not read here; the text from it on.
    UnknownAi(String),
    /// An element with too few or too many characters, or none.
    Length {
        /// Which identifier.
        ai: String,
        /// How long it was.
        got: usize,
    },
    /// Something but digits where digits stand.
    NotDigits {
        /// Which identifier.
        ai: String,
    },
    /// The check digit does not hold.
    CheckDigit {
        /// The digits as read.
        digits: String,
    },
    /// No day of the calendar.
    NoDay {
        /// Which identifier.
        ai: String,
        /// The six digits.
        digits: String,
    },
    /// A character outside the set a code is printed in.
    Character {
        /// Which identifier.
        ai: String,
    },
    /// One identifier twice, with two values.
    Twice {
        /// Which.
        ai: String,
    },
}

impl ScanFault {
    /// What is wrong and what to do.
    pub fn words(&self) -> String {
        match self {
            ScanFault::Empty => "Nothing was read. Scan again, or type the lot code.".into(),
            ScanFault::TooLong => {
                "This is longer than a code on goods can be. Scan one code at a time.".into()
            }
            ScanFault::UnknownAi(rest) => format!(
                "The code carries a part that is not read here, from “{}” on. Type the lot code as printed.",
                rest.chars().take(8).collect::<String>()
            ),
            ScanFault::Length { ai, got } => format!(
                "The part ({ai}) has {got} characters, which cannot be. If the scanner leaves out the separator \
                 (FNC1), set it to send one; or type the lot code."
            ),
            ScanFault::NotDigits { ai } => format!("The part ({ai}) is not all digits. Scan again."),
            ScanFault::CheckDigit { digits } => {
                format!("The check digit of {digits} does not hold: one digit is wrong. Scan again.")
            }
            ScanFault::NoDay { ai, digits } => {
                format!(
                    "The part ({ai}) says {digits}, which is no day (year, month, day). Type the date as printed."
                )
            }
            ScanFault::Character { ai } => {
                format!(
                    "The part ({ai}) has a character no code is printed with. Type the lot code as printed."
                )
            }
            ScanFault::Twice { ai } => {
                format!("The part ({ai}) stands twice and differs. Scan one code at a time.")
            }
        }
    }
}

/// Reads what a scanner typed on `today` (the day decides the century of a date).
///
/// # Errors
/// What cannot be read, in words.
pub fn read(raw: &str, today: Date) -> Result<Scan, ScanFault> {
    // A wedge ends with Enter; some begin or end with blanks or a byte-order mark.
    let text = raw.trim_matches(|c: char| c == '\u{feff}' || c == '\r' || c == '\n' || c == ' ' || c == '\t');
    if text.is_empty() {
        return Err(ScanFault::Empty);
    }
    if text.chars().count() > SCAN_MOST_CHARS {
        return Err(ScanFault::TooLong);
    }
    let (symbology, data) = split_symbology(text);
    if data.is_empty() {
        return Err(ScanFault::Empty);
    }
    match symbology {
        Some(id) if ELEMENT_SYMBOLOGIES.contains(&id) => elements::raw(data, today).map(Scan::Elements),
        // EAN/UPC: the symbol holds nothing but a number.
        Some("E0" | "E4") => number(data).ok_or_else(|| ScanFault::CheckDigit { digits: data.into() }),
        Some(_) => Ok(plain(data)),
        None if elements::is_bracketed(data) => elements::bracketed(data, today).map(Scan::Elements),
        None if elements::looks_raw(data) => elements::raw(data, today).map(Scan::Elements),
        None => Ok(plain(data)),
    }
}

/// Symbologies that say "element string": GS1-128, GS1 DataBar and Composite, GS1 DataMatrix, GS1 QR, GS1 DotCode.
const ELEMENT_SYMBOLOGIES: [&str; 5] = ["C1", "e0", "d2", "Q3", "J1"];

/// `]cm…`: an AIM symbology identifier and the data after it (ISO/IEC 15424).
fn split_symbology(text: &str) -> (Option<&str>, &str) {
    let is_id = text.starts_with(']')
        && text.len() >= 3
        && text.as_bytes()[1].is_ascii_alphabetic()
        && text.as_bytes()[2].is_ascii_alphanumeric();
    if is_id { (Some(&text[1..3]), &text[3..]) } else { (None, text) }
}

fn number(data: &str) -> Option<Scan> {
    let gtin = Gtin::read(data).ok()?;
    Some(Scan::Gtin { gtin, typed: data.to_string() })
}

fn plain(data: &str) -> Scan {
    number(data).unwrap_or_else(|| Scan::Code(data.to_string()))
}

/// Six digits as a day. Day 00 is the last of the month; the century is the one that brings the year nearest to
/// `today`, from 49 years back to 50 ahead (General Specifications, "Determination of century in dates").
fn day(ai: &str, digits: &str, today: Date) -> Result<Date, ScanFault> {
    let wrong = || ScanFault::NoDay { ai: ai.into(), digits: digits.into() };
    let two = |at: usize| digits.get(at..at + 2).and_then(|x| x.parse::<i32>().ok());
    let (Some(yy), Some(mm), Some(dd)) = (two(0), two(2), two(4)) else { return Err(wrong()) };
    let (century, now) = (today.year().div_euclid(100), today.year().rem_euclid(100));
    let year = yy
        + 100
            * match yy - now {
                51.. => century - 1,
                -49.. => century,
                _ => century + 1,
            };
    let month = u8::try_from(mm).ok().and_then(|m| Month::try_from(m).ok()).ok_or_else(wrong)?;
    let day = if dd == 0 { month.length(year) } else { u8::try_from(dd).map_err(|_| wrong())? };
    Date::from_calendar_date(year, month, day).map_err(|_| wrong())
}

#[cfg(test)]
#[path = "gs1_tests.rs"]
mod tests;
