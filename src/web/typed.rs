//! What was typed, read into values: each reader notes what is wrong beside its field and gives back
//! what it understood. Nothing here cuts a text short in silence.

use time::{Date, Month};

use crate::domain::length::{self, Length};
use crate::web::form::Errors;
use crate::words::{self, Unit};

/// Characters no line of a form may hold: controls (a NUL is refused by the database), line breaks too.
fn is_control(c: char, lines: bool) -> bool {
    c.is_control() && !(lines && matches!(c, '\n' | '\r' | '\t'))
}

fn checked(e: &mut Errors, name: &str, raw: &str, most: usize, lines: bool) -> String {
    let text = raw.trim();
    let length = text.chars().count();
    if text.chars().any(|c| is_control(c, lines)) {
        e.note(name, "There is a character in this that is no letter, digit or sign. Type it again.");
    } else if length > most {
        e.note(name, format!("At most {most} characters fit here; this has {length}."));
    }
    text.to_string()
}

/// One line, at most `most` characters, may be empty. Trimmed.
pub fn line(e: &mut Errors, name: &str, raw: &str, most: usize) -> String {
    checked(e, name, raw, most, false)
}

/// One line that must be there; `words` say what to write.
pub fn needed(e: &mut Errors, name: &str, raw: &str, most: usize, words: &str) -> String {
    let text = checked(e, name, raw, most, false);
    if text.is_empty() {
        e.note(name, words);
    }
    text
}

/// Several lines, may be empty.
pub fn lines(e: &mut Errors, name: &str, raw: &str, most: usize) -> String {
    checked(e, name, raw, most, true)
}

/// A number between two edges (both included), comma or point; nothing typed is `None`.
pub fn number(e: &mut Errors, name: &str, raw: &str, (least, most): (f64, f64), what: &str) -> Option<f64> {
    let text = raw.trim();
    if text.is_empty() {
        return None;
    }
    let plain = text.len() <= 20 && text.chars().all(|c| c.is_ascii_digit() || matches!(c, '.' | ','));
    let value = text.replace(',', ".").parse::<f64>().ok().filter(|v| plain && v.is_finite());
    match value {
        Some(v) if (least..=most).contains(&v) => Some(v),
        _ => {
            e.note(name, format!("Write {what}, a number from {least} to {most}."));
            None
        }
    }
}

/// A number that must be there.
pub fn needed_number(e: &mut Errors, name: &str, raw: &str, edges: (f64, f64), what: &str) -> f64 {
    if raw.trim().is_empty() {
        e.note(name, format!("Write {what}, a number from {} to {}.", edges.0, edges.1));
        return edges.0;
    }
    number(e, name, raw, edges, what).unwrap_or(edges.0)
}

/// From here on lengths are read and said as on the form that was sent: its bare numbers were written in the unit it
/// was shown in, whoever sits here by now. A form that says none is taken as shown in the unit set.
pub fn measure_as_sent(unit: &str) {
    if let Some(unit) = Unit::of_symbol(unit) {
        words::measure_in(unit);
    }
}

/// A length between two edges (mm, both included), in mm; a bare number is in the unit set; nothing typed is `None`.
pub fn length(e: &mut Errors, name: &str, raw: &str, (least, most): (f64, f64), what: &str) -> Option<f64> {
    if raw.trim().is_empty() {
        return None;
    }
    let read = Length::read(raw, words::measuring()).map(Length::mm);
    let mm = read.filter(|mm| (least..=most).contains(mm));
    if mm.is_none() {
        note_length(e, name, (least, most), what);
    }
    mm
}

/// A length that must be there.
pub fn needed_length(e: &mut Errors, name: &str, raw: &str, edges: (f64, f64), what: &str) -> f64 {
    if raw.trim().is_empty() {
        note_length(e, name, edges, what);
    }
    length(e, name, raw, edges, what).unwrap_or(edges.0)
}

fn note_length(e: &mut Errors, name: &str, (least, most): (f64, f64), what: &str) {
    let (least, most) = (length::figure(length::cut(least)), length::said(most));
    let example = match words::measuring() {
        Unit::Mm => "12, 12 mm, 1.5 cm, 1/2 in",
        Unit::Inch => "1/2, 0.5, 1/2 in, 12 mm",
    };
    e.note(
        name,
        tr!(
            "Write {what}, from {least} to {most}, such as {example}.",
            what = what,
            least = least,
            most = most,
            example = example
        ),
    );
}

/// The unit beside a field of a length, with what is measured: "{} stretched" is "mm stretched".
pub fn unit_words(what: &str) -> String {
    words::fill(words::of(what), &[("", &words::measuring().symbol())])
}

/// A day as a date field sends it (`2026-05-14`, ISO 8601); none when nothing was typed.
pub fn day(e: &mut Errors, name: &str, raw: &str) -> Option<Date> {
    let text = raw.trim();
    if text.is_empty() {
        return None;
    }
    let day = read_day(text);
    if day.is_none() {
        e.note(name, "Write a day of the calendar as year-month-day, such as 2026-05-14.");
    }
    day
}

fn read_day(text: &str) -> Option<Date> {
    let mut parts = text.split('-');
    let mut next = |width: usize| {
        parts
            .next()
            .filter(|p| p.len() == width && p.bytes().all(|b| b.is_ascii_digit()))?
            .parse::<u16>()
            .ok()
    };
    let (year, month, day) = (next(4)?, next(2)?, next(2)?);
    if parts.next().is_some() || !(1900..=2200).contains(&year) {
        return None;
    }
    let month = Month::try_from(u8::try_from(month).ok()?).ok()?;
    Date::from_calendar_date(i32::from(year), month, u8::try_from(day).ok()?).ok()
}

/// A day that is not after today.
pub fn past_day(e: &mut Errors, name: &str, raw: &str, today: Date) -> Option<Date> {
    let day = day(e, name, raw)?;
    if day > today {
        e.note(name, "This day is still to come. Write one that has been.");
        return None;
    }
    Some(day)
}

/// A wall-clock time as a time field sends it, in minutes after 00:00.
pub fn minute(e: &mut Errors, name: &str, raw: &str) -> u16 {
    let parts = raw.trim().split_once(':');
    let two = |part: &str, most: u16| {
        (part.len() == 2 && part.bytes().all(|b| b.is_ascii_digit()))
            .then(|| part.parse::<u16>().ok())
            .flatten()
            .filter(|n| *n <= most)
    };
    match parts.and_then(|(h, m)| Some(two(h, 23)? * 60 + two(m, 59)?)) {
        Some(minute) => minute,
        None => {
            e.note(name, "Write a time of the day as hours and minutes, such as 10:00.");
            0
        }
    }
}

/// One of few values; `words` are noted when none fits.
pub fn code<T>(
    e: &mut Errors,
    name: &str,
    raw: &str,
    read: impl Fn(&str) -> Option<T>,
    words: &str,
) -> Option<T> {
    let value = read(raw);
    if value.is_none() {
        e.note(name, words);
    }
    value
}

/// Yes or no as value buttons send it; neither chosen is noted.
pub fn yes_no(e: &mut Errors, name: &str, raw: &str, words: &str) -> bool {
    match raw {
        "yes" => true,
        "no" => false,
        _ => {
            e.note(name, words);
            false
        }
    }
}

/// A number as shown in a field: no needless zeros.
pub fn shown(value: f64) -> String {
    let text = format!("{value:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_time_of_the_day_is_two_digits_and_two() {
        let mut errors = Errors::none();
        assert_eq!(minute(&mut errors, "at", " 09:30 "), 570);
        assert!(errors.is_empty());
        for bad in ["", "9:30", "24:00", "10:60", "+1:00", "10:00:00", "ten"] {
            minute(&mut errors, "at", bad);
        }
        assert_eq!(errors.0.len(), 7);
    }

    #[test]
    fn a_text_is_refused_for_its_length_or_a_nul_and_never_cut() {
        let mut e = Errors::none();
        assert_eq!(line(&mut e, "a", "  Нерис  ", 5), "Нерис");
        assert!(e.is_empty());
        line(&mut e, "a", "Nerys\0", 50);
        line(&mut e, "b", "abcdef", 5);
        lines(&mut e, "c", "two\nlines", 20);
        line(&mut e, "d", "two\nlines", 20);
        assert_eq!(e.0.iter().map(|x| x.name.as_str()).collect::<Vec<_>>(), ["a", "b", "d"]);
    }

    #[test]
    fn a_number_takes_comma_or_point_and_nothing_else() {
        let mut e = Errors::none();
        assert_eq!(number(&mut e, "n", "12,5", (0.0, 100.0), "mm"), Some(12.5));
        assert_eq!(number(&mut e, "n", "", (0.0, 100.0), "mm"), None);
        assert!(e.is_empty());
        for bad in ["NaN", "inf", "1e3", "-1", "101", "1.2.3", "0x10", "٣"] {
            assert_eq!(number(&mut e, "n", bad, (0.0, 100.0), "mm"), None, "{bad}");
        }
        assert_eq!(e.0.len(), 8);
    }

    #[test]
    fn a_day_is_one_of_the_calendar() {
        let mut e = Errors::none();
        assert!(day(&mut e, "d", "2024-02-29").is_some() && day(&mut e, "d", "").is_none() && e.is_empty());
        for bad in
            ["2023-02-29", "2024-13-01", "24-01-01", "2024-1-1", "0001-01-01", "2024-01-01x", "9999-01-01"]
        {
            assert_eq!(day(&mut e, "d", bad), None, "{bad}");
        }
        assert_eq!(e.0.len(), 7);
    }
}
