//! Lengths of hair as people write and read them: kept and calculated in millimetres, said in millimetres or inches.
//!
//! An inch is 25.4 mm, exactly: the international yard and pound agreement of 1959 (0.9144 m a yard, of 36 inches),
//! kept by ISO 31-1:1992, annex A, and ISO 80000-3 after it.
//!
//! Inches are said as a ruler shows them, in sixteenths (1.6 mm): finer than a ruler on wet hair is right
//! (± 2 mm), and what people say. What was written in tenths of an inch is said in tenths again. Nothing is rounded
//! before it is kept, so that what was written in either is what is read again. Estimates are said in whole
//! millimetres. What a person sees changes nothing that is decided.

use crate::words::{Unit, measuring};

/// Millimetres of one inch (exact by definition).
pub const MM_PER_INCH: f64 = 25.4;

/// Parts of an inch on a ruler.
const PARTS: i64 = 16;

/// Closer than this to a tenth of an inch it was written as one, mm: two decimals of a millimetre are kept.
const WRITTEN_MM: f64 = 0.006;

/// Between a whole number and its fraction no line is broken: "1" on one line and "1/2" on the next are read as two.
const NO_BREAK: char = '\u{a0}';

/// Most characters of a length: nobody writes more.
const MOST_LETTERS: usize = 30;

/// How long; never negative, never not a number.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Length {
    mm: f64,
}

impl Length {
    /// From millimetres; `None` for what is no length.
    #[must_use]
    pub fn of_mm(mm: f64) -> Option<Length> {
        (mm.is_finite() && mm >= 0.0).then_some(Length { mm })
    }

    /// Millimetres.
    #[must_use]
    pub fn mm(self) -> f64 {
        self.mm
    }

    /// Reads "12", "12 mm", "1,5 cm", "0.5 in", "1/2 in", "½ in", "1 1/2\"": a number without a unit is in `unit`.
    /// `None` when it is no length.
    #[must_use]
    pub fn read(text: &str, unit: Unit) -> Option<Length> {
        if text.chars().count() > MOST_LETTERS {
            return None;
        }
        let text = text.trim().to_lowercase();
        let end = text.rfind(|c: char| c.is_ascii_digit() || VULGAR.iter().any(|v| v.0 == c))?;
        let end = end + text[end..].chars().next().map_or(0, char::len_utf8);
        let (number, symbol) = text.split_at(end);
        let each_mm = match symbol.trim() {
            "" => match unit {
                Unit::Mm => 1.0,
                Unit::Inch => MM_PER_INCH,
            },
            "mm" | "mm." => 1.0,
            "cm" | "cm." => 10.0,
            "in" | "in." | "inch" | "inches" | "\"" | "″" | "”" | "''" | "pulg" | "pulg." | "pulgada"
            | "pulgadas" => MM_PER_INCH,
            _ => return None,
        };
        Length::of_mm(number_of(number)? * each_mm)
    }

    /// In this unit, without its symbol, in words for a screen: whole millimetres, or inches.
    #[must_use]
    pub fn figure(self, unit: Unit) -> String {
        match unit {
            Unit::Mm => format!("{:.0}", self.mm),
            Unit::Inch => self.inches(NO_BREAK),
        }
    }

    /// As a field shows it: what was written, in this unit, to be sent again.
    #[must_use]
    pub fn written(self, unit: Unit) -> String {
        match unit {
            Unit::Mm => {
                let text = format!("{:.2}", self.mm);
                text.trim_end_matches('0').trim_end_matches('.').to_string()
            }
            Unit::Inch => self.inches(' '),
        }
    }

    fn inches(self, between: char) -> String {
        let tenths = (self.mm / MM_PER_INCH * 10.0).round();
        let parts = (self.mm / MM_PER_INCH * PARTS as f64).round();
        let off = |count: f64, of: f64| (self.mm - count * MM_PER_INCH / of).abs();
        if off(tenths, 10.0) < WRITTEN_MM && off(parts, PARTS as f64) >= WRITTEN_MM {
            return format!("{:.1}", tenths / 10.0);
        }
        // At most some thousands of parts.
        let parts = parts as i64;
        let (whole, mut left, mut of) = (parts / PARTS, parts % PARTS, PARTS);
        while left > 0 && left % 2 == 0 {
            (left, of) = (left / 2, of / 2);
        }
        match (whole, left) {
            (_, 0) => whole.to_string(),
            (0, _) => format!("{left}/{of}"),
            _ => format!("{whole}{between}{left}/{of}"),
        }
    }
}

/// Fractions that are one character.
const VULGAR: [(char, f64); 9] = [
    ('½', 0.5),
    ('¼', 0.25),
    ('¾', 0.75),
    ('⅛', 0.125),
    ('⅜', 0.375),
    ('⅝', 0.625),
    ('⅞', 0.875),
    ('⅓', 1.0 / 3.0),
    ('⅔', 2.0 / 3.0),
];

/// "12", "1.5", "1,5", "1/2", "1 1/2", "1-1/2", "½", "1½", "1 ½".
fn number_of(text: &str) -> Option<f64> {
    if let Some((at, c)) = text.char_indices().next_back()
        && let Some((_, part)) = VULGAR.iter().find(|v| v.0 == c)
    {
        let before = text[..at].trim();
        return if before.is_empty() { Some(*part) } else { Some(whole(before)? + part) };
    }
    let text = text.replace('⁄', "/");
    let Some((over, under)) = text.split_once('/') else { return decimal(text.trim()) };
    let under = whole(under.trim()).filter(|n| *n > 0.0)?;
    let over = over.trim();
    let (full, over) = match over.rsplit_once(|c: char| c.is_whitespace() || c == '-') {
        Some((full, over)) => (whole(full.trim())?, over),
        None => (0.0, over),
    };
    // A fraction is less than one where a whole number stands before it.
    let over = whole(over)?;
    (full == 0.0 || over < under).then_some(full + over / under)
}

fn whole(text: &str) -> Option<f64> {
    (!text.is_empty() && text.bytes().all(|b| b.is_ascii_digit())).then(|| text.parse().ok()).flatten()
}

fn decimal(text: &str) -> Option<f64> {
    let plain = text.chars().all(|c| c.is_ascii_digit() || matches!(c, '.' | ','));
    text.replace(',', ".").parse().ok().filter(|_| plain)
}

/// A negative difference or a gap of no length is said as none.
fn at_least_none(mm: f64) -> Length {
    Length { mm: if mm.is_finite() { mm.max(0.0) } else { 0.0 } }
}

/// A length in the unit wished, with its symbol: "23 mm", "7/8 in".
#[must_use]
pub fn said(mm: f64) -> String {
    format!("{} {}", figure(mm), measuring().symbol())
}

/// The same without the symbol, where a sentence says it once.
#[must_use]
pub fn figure(mm: f64) -> String {
    at_least_none(mm).figure(measuring())
}

/// A length as it was written, in the unit wished, with its symbol: "12.5 mm".
#[must_use]
pub fn as_written(mm: f64) -> String {
    let unit = measuring();
    let figure = at_least_none(mm).written(unit).replace(' ', &NO_BREAK.to_string());
    format!("{figure} {}", unit.symbol())
}

/// The shortest cut of the unit wished that is no shorter than this, mm: a cut named to a client is never said
/// shorter than what it takes.
#[must_use]
pub fn cut(mm: f64) -> f64 {
    let step = match measuring() {
        Unit::Mm => 1.0,
        Unit::Inch => MM_PER_INCH / PARTS as f64,
    };
    // What calculating loses is no reason for another step.
    ((mm - 1e-6) / step).ceil().max(0.0) * step
}

/// How much a day, in the unit wished, without its symbol.
#[must_use]
pub fn rate(mm_a_day: f64) -> String {
    match measuring() {
        Unit::Mm => format!("{mm_a_day:.2}"),
        Unit::Inch => format!("{:.3}", mm_a_day / MM_PER_INCH),
    }
}

/// A length as a field shows it, in the unit wished.
#[must_use]
pub fn written(mm: f64) -> String {
    at_least_none(mm).written(measuring())
}

/// What a field was understood as, in both units, the one wished first: "1/2 in = 12.7 mm". Empty for what is
/// no length, and where a bare number in millimetres needs no explaining.
#[must_use]
pub fn understood(text: &str) -> String {
    let unit = measuring();
    let Some(length) = Length::read(text, unit) else { return String::new() };
    let [mm, inch] = Unit::CHOICES.map(|u| format!("{} {}", length.written(u), u.symbol()));
    match unit {
        Unit::Mm if length.written(unit) == text.trim() => String::new(),
        Unit::Mm => format!("{mm} = {inch}"),
        Unit::Inch => format!("{inch} = {mm}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn mm(text: &str, unit: Unit) -> Option<f64> {
        Length::read(text, unit).map(Length::mm)
    }

    /// The agreement of 1959: a yard of 36 inches is 914.4 mm.
    #[test]
    fn thirty_six_inches_are_the_yard_of_1959() {
        assert_eq!(mm("36 in", Unit::Mm), Some(914.4));
        assert_eq!(mm("36", Unit::Inch), Some(914.4));
    }

    #[test]
    fn every_way_of_writing_is_read_whichever_unit_is_set() {
        for unit in Unit::CHOICES {
            for (text, is) in [
                ("12 mm", 12.0),
                ("12mm", 12.0),
                ("0.5 in", 12.7),
                ("0,5 in", 12.7),
                (".5 in", 12.7),
                ("1/2 in", 12.7),
                ("1⁄2 in", 12.7),
                ("½ in", 12.7),
                ("½\"", 12.7),
                ("1½ inches", 38.1),
                ("1 ½ in.", 38.1),
                ("1 1/2 IN", 38.1),
                ("1\u{a0}1/2\u{a0}in", 38.1),
                ("1-1/2″", 38.1),
                ("3/16 pulg.", 4.7625),
                ("1,5 cm", 15.0),
                ("1.5cm", 15.0),
            ] {
                let read = mm(text, unit);
                assert!(read.is_some_and(|mm| (mm - is).abs() < 1e-9), "{text}: {read:?}, not {is}");
            }
        }
        assert_eq!((mm("12", Unit::Mm), mm("12", Unit::Inch)), (Some(12.0), Some(12.0 * 25.4)));
    }

    #[test]
    fn nonsense_is_no_length() {
        for text in [
            "",
            " ",
            "mm",
            "in",
            "-1",
            "-1/2 in",
            "1/0 in",
            "1/2/3",
            "1 3/2 in",
            "NaN",
            "inf",
            "1e3",
            "0x10",
            "٣",
            "12 m",
            "12 ft",
            "12 mm 3",
            "1.2.3",
            "1 2",
            "½½",
            "1.5 1/2 in",
            "1/2 1/2",
            "12 inc",
            "/2",
            "1/",
            "1--1/2",
            "1234567890123456789012345678901",
        ] {
            for unit in Unit::CHOICES {
                assert_eq!(mm(text, unit), None, "{text:?}");
            }
        }
    }

    #[test]
    fn inches_are_said_as_a_ruler_shows_them() {
        let inches = |mm| Length { mm }.figure(Unit::Inch);
        for (mm, words) in [
            (0.0, "0"),
            (0.5, "0"),
            (1.0, "1/16"),
            (12.7, "1/2"),
            (23.0, "7/8"),
            (25.4, "1"),
            (38.1, "1\u{a0}1/2"),
            (96.0, "3\u{a0}3/4"),
            (7.62, "0.3"),
            (914.4, "36"),
        ] {
            assert_eq!(inches(mm), words, "{mm} mm");
        }
        assert_eq!(Length { mm: 23.4 }.figure(Unit::Mm), "23", "an estimate is not said finer");
        assert_eq!(Length { mm: 12.5 }.written(Unit::Mm), "12.5");
    }

    #[test]
    fn what_was_understood_is_said_in_both() {
        use crate::words::with_unit;
        assert_eq!(understood("12"), "");
        assert_eq!(understood("1/2 in"), "12.7 mm = 1/2 in");
        assert_eq!(with_unit(Unit::Inch, || understood("12 mm")), "1/2 in = 12 mm");
        assert_eq!(with_unit(Unit::Inch, || understood("½")), "1/2 in = 12.7 mm");
        assert_eq!(understood("long"), "");
        assert_eq!(crate::words::plainly(|| with_unit(Unit::Inch, || said(12.7))), "1/2 in");
        assert_eq!(with_unit(Unit::Inch, || crate::words::plainly(|| said(12.7))), "13 mm");
    }

    #[test]
    fn a_cut_is_never_said_shorter_than_it_takes() {
        use crate::words::with_unit;
        assert_eq!((cut(52.0), cut(52.01)), (52.0, 53.0));
        with_unit(Unit::Inch, || {
            for mm in (1..4000).map(|n| f64::from(n) * 0.37) {
                let said = Length::read(&said(cut(mm)), Unit::Mm).unwrap().mm();
                assert!(said >= mm - 1e-5 && said < mm + 1.6, "{mm} mm is said as {said}");
            }
        });
    }

    proptest! {
        /// Written, kept (in the column's four bytes), shown, written again: the same.
        #[test]
        fn an_inch_value_is_shown_again_as_it_was_written(count in 0u32..960, tenths in any::<bool>()) {
            let text = if tenths { format!("{:.1}", f64::from(count) / 10.0) } else { format!("{count}/16") };
            let first = Length::read(&text, Unit::Inch).unwrap();
            let kept = f64::from(first.mm() as f32);
            prop_assert!((kept - first.mm()).abs() < 2e-4);
            let shown = Length::of_mm(kept).unwrap().written(Unit::Inch);
            let again = Length::read(&shown, Unit::Inch).unwrap();
            prop_assert!((again.mm() - first.mm()).abs() < 1e-9, "{text} became {shown}");
            prop_assert_eq!(again.written(Unit::Inch), shown);
        }

        /// Millimetres said as inches are never off by more than half of what a ruler shows.
        #[test]
        fn what_is_said_is_as_near_as_a_ruler(mm in 0.0..2500.0f64) {
            let said = Length::of_mm(mm).unwrap().written(Unit::Inch);
            let off = (Length::read(&said, Unit::Inch).unwrap().mm() - mm).abs();
            prop_assert!(off <= MM_PER_INCH / 32.0 + 1e-9, "{mm} mm is said as {said}");
        }

        #[test]
        fn any_text_is_read_or_refused(text in "\\PC{0,40}") {
            let read = Length::read(&text, Unit::Inch);
            prop_assert!(read.is_none_or(|l| l.mm().is_finite() && l.mm() >= 0.0));
        }
    }
}
