//! Checks of the scanner's reader against the standard's own examples. Each names its source:
//! - *Syntax Engine*: GS1's Barcode Syntax Resource, `gs1-syntax-engine`, the unit tests of its scan data
//!   (`src/c-lib`, "generateScanData"): what a scanner sends for `^011231231231233310ABC123^99TESTING`.
//! - *Linter*: GS1's `gs1-syntax-dictionary`, `src/lint_yymmd0.c` with its unit tests (year 21 there).
//! - *Dictionary*: `gs1-syntax-dictionary.txt`, the rows of the identifiers.
//! - *GS1 Sweden*, *GS1 India*: their pages on computing a check digit, with worked examples.
//! - *Writer*: the manual of an open barcode writer (postscriptbarcode, "GS1 Application Identifier Standard Format"),
//!   one message in its two forms.

use proptest::prelude::*;
use time::macros::date;

use super::*;

const TODAY: Date = date!(2026 - 11 - 25);

fn elements(raw: &str) -> Elements {
    match read(raw, TODAY) {
        Ok(Scan::Elements(e)) => e,
        other => panic!("{raw:?}: {other:?}"),
    }
}

fn fault(raw: &str) -> ScanFault {
    read(raw, TODAY).expect_err(raw)
}

// Syntax Engine: one message through every symbology that carries elements, FNC1 sent as GS.
#[test]
fn what_scanners_send_is_read_in_every_symbology() {
    for id in ["]Q3", "]d2", "]e0", "]C1", "]J1"] {
        let sent = format!("{id}011231231231233310ABC123\u{1d}99TESTING");
        let e = elements(&sent);
        assert_eq!(e.gtin.map(|g| g.digits().to_string()).as_deref(), Some("12312312312333"), "{id}");
        assert_eq!(e.lot.as_deref(), Some("ABC123"), "{id}");
        // A trailing separator is sent by some and changes nothing.
        assert_eq!(elements(&format!("{sent}\u{1d}")).lot.as_deref(), Some("ABC123"));
    }
    // Predefined length: no separator before the next element.
    let composite = elements("]e0011231231231233310ABC123\u{1d}1199122598COMPOSITE\u{1d}97XYZ");
    assert_eq!(composite.made_on, Some(date!(1999 - 12 - 25)));
    // Not element strings: ]Q1, ]d1 say plain data.
    assert_eq!(read("]Q1TESTING", TODAY), Ok(Scan::Code("TESTING".into())));
    assert_eq!(read("]d1^TESTING", TODAY), Ok(Scan::Code("^TESTING".into())));
}

// Writer: `(01)09521234543213(17)100101(10)123ABC(21)1234567890`, expiring 1 January 2010, and what an application
// receives for it.
#[test]
fn brackets_and_raw_say_the_same() {
    let read_by_people = elements("(01)09521234543213(17)100101(10)123ABC(21)1234567890");
    assert_eq!(read_by_people.use_by, Some(date!(2010 - 01 - 01)));
    assert_eq!(read_by_people.serial.as_deref(), Some("1234567890"));
    for separator in ["\u{1d}", "^", "|", "~", "\u{241d}"] {
        for front in ["]C1", "]d2", "", "\u{1d}"] {
            let raw = format!("{front}01095212345432131710010110123ABC{separator}211234567890\r\n");
            assert_eq!(elements(&raw), read_by_people, "{raw:?}");
        }
    }
    // A bracket that belongs to a lot code stays in it.
    assert_eq!(elements("(01)09521234543213(10)A(7)B").lot.as_deref(), Some("A(7)B"));
}

// GS1 Sweden: 730001100001 → 7. GS1 India: 890400021003 → 7. Syntax Engine: 1231231231233 → 3.
#[test]
fn check_digits_are_those_of_the_worked_examples() {
    for number in ["7300011000017", "8904000210037", "12312312312333", "09521234543213", "09506000134352"] {
        assert!(Gtin::read(number).is_ok(), "{number}");
        // Every other last digit is refused: mod 10 finds any single wrong digit.
        for wrong in 1..10u8 {
            let (front, last) = number.split_at(number.len() - 1);
            let other = (last.as_bytes()[0] - b'0' + wrong) % 10;
            assert!(matches!(Gtin::read(&format!("{front}{other}")), Err(ScanFault::CheckDigit { .. })));
        }
    }
    assert_eq!(Gtin::read("7300011000017").unwrap().digits(), "07300011000017");
    assert!(matches!(Gtin::read("123456789"), Err(ScanFault::Length { .. })));
    assert!(matches!(Gtin::read("0000000000000"), Err(ScanFault::CheckDigit { .. })));
    assert_eq!(fault("]C10112312312312334"), ScanFault::CheckDigit { digits: "12312312312334".into() });
}

// Linter: which days pass and which do not, leap years among them; day 00 passes and is the last of the month
// (General Specifications, AI 11 to 17).
#[test]
fn days_are_those_the_linter_passes() {
    let read = |digits: &str| day("17", digits, date!(2021 - 06 - 01)).ok();
    for fine in [
        "000606", "250606", "500606", "750606", "990606", "200131", "200229", "240229", "000229", "040229",
        "960229",
    ] {
        assert!(read(fine).is_some(), "{fine}");
    }
    for wrong in [
        "200010", "201310", "209910", "200132", "200230", "200431", "210229", "220229", "230229", "240230",
        "000230",
    ] {
        assert!(read(wrong).is_none(), "{wrong}");
    }
    assert_eq!(read("200600"), Some(date!(2020 - 06 - 30)));
    assert_eq!(read("240200"), Some(date!(2024 - 02 - 29)));
    assert_eq!(read("230200"), Some(date!(2023 - 02 - 28)));
    // Linter: 51 or more ahead is the century before, 50 or more behind the one after.
    assert_eq!(read("710101").map(Date::year), Some(2071));
    assert_eq!(read("720101").map(Date::year), Some(1972));
    let late = |digits: &str| day("17", digits, date!(2080 - 06 - 01)).map(Date::year);
    assert_eq!((late("300101"), late("310101"), late("800101")), (Ok(2130), Ok(2031), Ok(2080)));
}

// Dictionary: 3100-3105 (kg), 3200-3205 (lb), 3560-3565 (troy oz) are six digits, the fourth digit of the identifier the
// decimals; 30 up to eight digits. GS1 Denmark, page of AI 30: (3100)000035 is 35 kg, (3103)000035 is 0.035 kg.
#[test]
fn weight_makes_grams_and_a_count_multiplies_nothing() {
    let weight = |raw: &str| elements(&format!("(01)09521234543213{raw}")).grams();
    assert_eq!(weight("(3100)000035"), Some(35_000.0));
    assert_eq!(weight("(3103)000035"), Some(35.0));
    for (decimals, grams) in [(0, 450e3), (1, 45e3), (2, 4.5e3), (3, 450.0), (4, 45.0), (5, 4.5)] {
        let read = weight(&format!("(310{decimals})000450")).expect("a weight");
        assert!((read - grams).abs() < 1e-9, "{decimals}: {read}");
        // No separator need follow: six digits, then the next element.
        let raw = elements(&format!("]C10109521234543213310{decimals}00045017270331"));
        assert!(raw.use_by.is_some() && (raw.grams().expect("a weight") - grams).abs() < 1e-9);
    }
    for decimals in 6..10 {
        assert!(matches!(fault(&format!("]C10109521234543213310{decimals}000450")), ScanFault::UnknownAi(_)));
    }
    assert!(matches!(fault("(01)09521234543213(3103)45"), ScanFault::Length { ai, got: 2 } if ai == "3103"));
    // General Specifications, "Variable count: AI (30)": the items contained in the item that was weighed.
    let e = elements("(01)09521234543213(3103)000450(30)6");
    assert_eq!((e.count, e.grams()), (Some(6), Some(450.0)));
    // 1 lb is 453.59237 g, 1 oz troy 31.1034768 g (NIST Handbook 44, appendix C; from memory).
    assert!((weight("(3202)000100").expect("a pound") - 453.592_37).abs() < 1e-9);
    assert!((weight("(3561)000010").expect("an ounce") - 31.103_476_8).abs() < 1e-9);
    // Both printed on one label: kilograms count, and their rounding is no contradiction.
    assert_eq!(weight("(3202)000099(3103)000450"), Some(450.0));
    assert_eq!(elements("]C101095212345432133105012345").net_grams, Some(123.45));
}

// Dictionary: 10 is up to twenty characters of set 82 (X..20).
#[test]
fn a_lot_has_one_to_twenty_characters_of_the_standards_set() {
    let set = "!\"%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz";
    assert_eq!(set.chars().count(), 82);
    for c in set.chars() {
        let raw = format!("]C110A{c}9");
        assert_eq!(elements(&raw).lot.as_deref(), Some(format!("A{c}9").as_str()), "{c:?}");
    }
    for c in (' '..='~').filter(|c| !set.contains(*c) && !"^|~".contains(*c)) {
        assert_eq!(fault(&format!("]C110A{c}9")), ScanFault::Character { ai: "10".into() }, "{c:?}");
    }
    assert_eq!(elements(&format!("]C110{}", "A".repeat(20))).lot.map(|l| l.len()), Some(20));
    for (length, raw) in [(21, format!("]C110{}", "A".repeat(21))), (0, "]C110".to_string())] {
        assert!(matches!(fault(&raw), ScanFault::Length { ai, got } if ai == "10" && got == length), "{raw}");
    }
}

#[test]
fn the_earlier_of_two_last_days_counts() {
    let both = elements("(01)09521234543213(15)270300(17)270210");
    assert_eq!(both.last_day(), Some(date!(2027 - 02 - 10)), "the earlier day counts");
}

#[test]
fn numbers_alone_and_lot_codes_alone() {
    let number = |raw: &str| match read(raw, TODAY) {
        Ok(Scan::Gtin { gtin, .. }) => gtin.digits().to_string(),
        other => panic!("{raw}: {other:?}"),
    };
    // EAN-13, EAN-8 and UPC-A; invented, check digits reckoned by hand.
    assert_eq!(number("9506000134352"), "09506000134352");
    assert_eq!(number("]E09506000134352\r"), "09506000134352");
    assert_eq!(number("036000291452"), "00036000291452");
    assert_eq!(number("]E495040004"), "00000095040004");
    for plain in ["KR-2201", "20260114", "9506000134353", "0109521234543210", "L(1)7"] {
        assert_eq!(read(plain, TODAY), Ok(Scan::Code(plain.into())), "a lot may be called so");
    }
    assert_eq!(fault("]E09506000134353"), ScanFault::CheckDigit { digits: "9506000134353".into() });
}

#[test]
fn what_cannot_be_read_is_said() {
    assert_eq!(fault(" \r\n"), ScanFault::Empty);
    assert_eq!(fault("]C1"), ScanFault::Empty);
    assert_eq!(fault(&"9".repeat(400)), ScanFault::TooLong);
    assert_eq!(fault("(01)09521234543213(8005)000365"), ScanFault::UnknownAi("(8005)000365".into()));
    assert_eq!(fault("]C101095212345432138005000365"), ScanFault::UnknownAi("8005000365".into()));
    assert_eq!(fault("]C10109521"), ScanFault::Length { ai: "01".into(), got: 5 });
    // The separator was left out: the lot swallows the rest and is too long.
    assert!(
        matches!(fault("]C1010952123454321310ABC123XYZ17270331219988776655"), ScanFault::Length { ai, .. } if ai == "10")
    );
    assert_eq!(fault("(17)27AB31"), ScanFault::NotDigits { ai: "17".into() });
    assert_eq!(fault("(17)271331"), ScanFault::NoDay { ai: "17".into(), digits: "271331".into() });
    assert_eq!(fault("]C110ABC\u{1d}10ABD"), ScanFault::Twice { ai: "10".into() });
    assert_eq!(elements("]C110ABC\u{1d}10ABC").lot.as_deref(), Some("ABC"));
    assert_eq!(fault("(10)LÄNGE"), ScanFault::Character { ai: "10".into() });
    assert_eq!(fault("]C110LÄNGE"), ScanFault::Character { ai: "10".into() });
    for f in ["", "(8005)1", "(17)271331", "]E04"].map(fault) {
        assert!(f.words().len() > 20, "{f:?} says what to do");
    }
}

proptest! {
    // Nothing typed makes the reader fall over, whatever the keyboard sends.
    #[test]
    fn anything_is_read_or_refused(raw in "\\PC{0,60}", front in prop::sample::select(vec!["", "]C1", "(01)", "(10)", "01", "\u{1d}10"])) {
        let _ = read(&format!("{front}{raw}"), TODAY);
    }

    // What is written by the rules is read back, brackets or not.
    #[test]
    fn written_by_the_rules_it_is_read_back(
        front in "[0-9]{13}", lot in "[A-Z0-9./_-]{1,20}", serial in "[A-Za-z0-9]{1,20}", dd in 1u8..=28, mm in 1u8..=12, yy in 0u8..=70,
    ) {
        prop_assume!(front.bytes().any(|b| b != b'0'));
        let gtin = format!("{front}{}", gtin::check_digit(&front));
        let date = format!("{yy:02}{mm:02}{dd:02}");
        let brackets = elements(&format!("(01){gtin}(10){lot}(17){date}(21){serial}"));
        let raw = elements(&format!("]d201{gtin}10{lot}\u{1d}17{date}21{serial}"));
        prop_assert_eq!(&brackets, &raw);
        prop_assert_eq!(raw.lot, Some(lot));
        prop_assert_eq!(raw.gtin.map(|g| g.digits().to_string()), Some(gtin));
        prop_assert!(raw.use_by.is_some_and(|d| d.day() == dd && u8::from(d.month()) == mm));
    }
}
