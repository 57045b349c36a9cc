//! Element strings: application identifiers and their data, with brackets or as scanners send them.

use time::Date;

use super::gtin::check_digit;
use super::{Gtin, ScanFault, day};

/// What stands for FNC1 between elements in data that was read: the control character GS.
pub const FNC1: char = '\u{1d}';

/// Characters scanners are set to type for FNC1 where a keyboard has no GS; none of them may stand in data
/// (the set of 82 characters leaves them out). GS1's own tools write `^`.
const TYPED_FOR_FNC1: [char; 4] = ['^', '|', '~', '\u{241d}'];

/// The elements a salon reads from goods.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Elements {
    /// (01), or (02) of goods inside: the number of goods.
    pub gtin: Option<Gtin>,
    /// (10): the lot.
    pub lot: Option<String>,
    /// (11): made on.
    pub made_on: Option<Date>,
    /// (15): best before.
    pub best_before: Option<Date>,
    /// (17): not to be used after.
    pub use_by: Option<Date>,
    /// (21): serial number.
    pub serial: Option<String>,
    /// (30) or (37): how many pieces.
    pub count: Option<u32>,
    /// (310n): net weight in grams.
    pub net_grams: Option<f64>,
    /// (320n) or (356n): net weight in grams, printed in pounds or troy ounces.
    pub net_grams_by_pound: Option<f64>,
}

/// Grams of an international pound, exactly (the yard and pound agreement of 1959).
const POUND_GRAMS: f64 = 453.592_37;
/// Grams of a troy ounce, exactly: 480 grains of which a pound has 7000.
const TROY_OUNCE_GRAMS: f64 = POUND_GRAMS * 480.0 / 7000.0;

impl Elements {
    /// The last day goods may be used: the earlier of best before and use by.
    pub fn last_day(&self) -> Option<Date> {
        match (self.best_before, self.use_by) {
            (Some(a), Some(b)) => Some(a.min(b)),
            (a, b) => a.or(b),
        }
    }

    /// Net grams, where a weight is printed; kilograms before pounds. It is the weight of the whole trade item: where a
    /// count of pieces is printed as well (30), it is how many lie in it, and nothing is multiplied (General
    /// Specifications, "Variable count" and "Trade measures": both complete one item's identification).
    pub fn grams(&self) -> Option<f64> {
        self.net_grams.or(self.net_grams_by_pound)
    }
}

/// How the data of an identifier is made.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Spec {
    /// Digits of the identifier itself.
    ai: usize,
    /// Fewest characters of data.
    least: usize,
    /// Most.
    most: usize,
    /// Digits only.
    digits: bool,
    /// Of predefined length: no FNC1 need follow.
    predefined: bool,
}

const fn fixed(ai: usize, length: usize) -> Option<Spec> {
    Some(Spec { ai, least: length, most: length, digits: true, predefined: true })
}

const fn text(ai: usize, most: usize) -> Option<Spec> {
    Some(Spec { ai, least: 1, most, digits: false, predefined: false })
}

const fn count(ai: usize, most: usize) -> Option<Spec> {
    Some(Spec { ai, least: 1, most, digits: true, predefined: false })
}

/// The identifier at the start of `data` (the Syntax Dictionary's rows that can stand on goods).
fn spec(data: &str) -> Option<Spec> {
    let head = |n: usize| data.get(..n).and_then(|x| x.parse::<u32>().ok()).filter(|_| digits(&data[..n]));
    match head(2)? {
        0 => fixed(2, 18),
        1 | 2 => fixed(2, 14),
        11 | 12 | 13 | 15 | 16 | 17 => fixed(2, 6),
        20 => fixed(2, 2),
        10 | 21 | 22 => text(2, 20),
        30 | 37 => count(2, 8),
        90 => text(2, 30),
        91..=99 => text(2, 90),
        23..=25 => match head(3)? {
            235 => text(3, 28),
            240 | 241 | 250 | 251 => text(3, 30),
            242 => count(3, 6),
            243 => text(3, 20),
            _ => None,
        },
        // Measures: the fourth digit says how many decimals, 0 to 5.
        31..=36 if head(4)? % 10 <= 5 => match head(3)? {
            310..=316 | 320..=337 | 340..=357 | 360..=369 => fixed(4, 6),
            _ => None,
        },
        41 if head(3)? <= 417 => fixed(3, 13),
        _ => None,
    }
}

fn digits(text: &str) -> bool {
    !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit())
}

/// The set of 82 characters an element may be printed in (ISO/IEC 646, General Specifications figure 7.11-1).
fn printable(c: char) -> bool {
    c.is_ascii_alphanumeric() || "!\"%&'()*+,-./:;<=>?_".contains(c)
}

/// `(01)…` with brackets, as people read it.
pub(super) fn is_bracketed(data: &str) -> bool {
    bracket_at(data, 0).is_some()
}

/// An identifier in brackets at a place; where its data begins.
fn bracket_at(data: &str, at: usize) -> Option<(&str, usize)> {
    let rest = data.get(at..)?.strip_prefix('(')?;
    let end = rest.find(')')?;
    (matches!(end, 2..=4) && digits(&rest[..end])).then(|| (&rest[..end], at + end + 2))
}

/// No brackets and no symbology said, and yet elements: a separator stands in it, or it begins with a number of goods
/// whose check digit holds and goes on.
pub(super) fn looks_raw(data: &str) -> bool {
    let first = data.trim_start_matches(is_fnc1);
    let numbered = first.len() >= 16
        && first.is_char_boundary(16)
        && first.starts_with("01")
        && Gtin::read(&first[2..16]).is_ok();
    numbered || (data.contains(is_fnc1) && spec(first).is_some())
}

fn is_fnc1(c: char) -> bool {
    c == FNC1 || TYPED_FOR_FNC1.contains(&c)
}

/// Reads `(01)…(17)…(10)…`.
pub(super) fn bracketed(data: &str, today: Date) -> Result<Elements, ScanFault> {
    let mut found = Elements::default();
    let mut at = 0;
    while at < data.len() {
        let Some((ai, from)) = bracket_at(data, at) else {
            return Err(ScanFault::UnknownAi(data[at..].into()));
        };
        // A bracket may stand in data; one with two to four digits begins another element, known here or not: an unknown
        // one is told, never taken for a part of the lot before it.
        let next =
            data[from..].match_indices('(').map(|(i, _)| from + i).find(|i| bracket_at(data, *i).is_some());
        let to = next.unwrap_or(data.len());
        let Some(known) = spec(ai).filter(|s| s.ai == ai.len()) else {
            return Err(ScanFault::UnknownAi(data[at..].into()));
        };
        take(&mut found, ai, data[from..to].trim_end(), known, today)?;
        at = to;
    }
    Ok(found)
}

/// Reads elements one after another, separated by FNC1 where their length is not predefined.
pub(super) fn raw(data: &str, today: Date) -> Result<Elements, ScanFault> {
    let mut found = Elements::default();
    for group in data.split(is_fnc1) {
        let mut rest = group;
        while !rest.is_empty() {
            let Some(known) = spec(rest).filter(|s| rest.len() >= s.ai) else {
                return Err(ScanFault::UnknownAi(rest.into()));
            };
            let (ai, after) = rest.split_at(known.ai);
            let end = if known.predefined { known.most.min(after.len()) } else { after.len() };
            if !after.is_char_boundary(end) {
                return Err(ScanFault::Character { ai: ai.into() });
            }
            take(&mut found, ai, &after[..end], known, today)?;
            rest = &after[end..];
        }
    }
    Ok(found)
}

fn take(found: &mut Elements, ai: &str, data: &str, known: Spec, today: Date) -> Result<(), ScanFault> {
    let got = data.chars().count();
    if !(known.least..=known.most).contains(&got) {
        return Err(ScanFault::Length { ai: ai.into(), got });
    }
    if known.digits && !digits(data) {
        return Err(ScanFault::NotDigits { ai: ai.into() });
    }
    if !data.chars().all(printable) {
        return Err(ScanFault::Character { ai: ai.into() });
    }
    // (00), (01), (02) and the numbers of places end with a check digit.
    if matches!(&ai[..2], "00" | "01" | "02" | "41") && known.predefined {
        let (number, last) = data.split_at(data.len() - 1);
        if last != check_digit(number).to_string() {
            return Err(ScanFault::CheckDigit { digits: data.into() });
        }
    }
    let twice = || ScanFault::Twice { ai: ai.into() };
    match ai {
        "01" | "02" => set(&mut found.gtin, Gtin::read(data)?).map_err(|()| twice()),
        "10" => set(&mut found.lot, data.to_string()).map_err(|()| twice()),
        "11" => set(&mut found.made_on, day(ai, data, today)?).map_err(|()| twice()),
        "15" => set(&mut found.best_before, day(ai, data, today)?).map_err(|()| twice()),
        "17" => set(&mut found.use_by, day(ai, data, today)?).map_err(|()| twice()),
        "12" | "13" | "16" => day(ai, data, today).map(|_| ()),
        "21" => set(&mut found.serial, data.to_string()).map_err(|()| twice()),
        // Eight digits at most.
        "30" | "37" => set(&mut found.count, data.parse().unwrap_or(u32::MAX)).map_err(|()| twice()),
        _ if matches!(&ai[..ai.len().min(3)], "310" | "320" | "356") => {
            let decimals = i32::from(ai.as_bytes()[3] - b'0');
            let figure: f64 = data.parse().map_err(|_| ScanFault::NotDigits { ai: ai.into() })?;
            let (place, unit) = match &ai[..3] {
                "310" => (&mut found.net_grams, 1000.0),
                "320" => (&mut found.net_grams_by_pound, POUND_GRAMS),
                _ => (&mut found.net_grams_by_pound, TROY_OUNCE_GRAMS),
            };
            set(place, figure * unit / 10f64.powi(decimals)).map_err(|()| twice())
        }
        _ => Ok(()),
    }
}

/// Sets what is not set; the same again is fine, another is not.
fn set<T: PartialEq>(place: &mut Option<T>, value: T) -> Result<(), ()> {
    match place {
        Some(known) if *known != value => Err(()),
        _ => {
            *place = Some(value);
            Ok(())
        }
    }
}
