//! Table files and their rows: the standard's own cases, and what spreadsheets and people make of them.

use super::*;
use crate::domain::table_file::{self, Encoding, read};
use proptest::prelude::*;
use time::macros::date;

fn rows(text: &str) -> Vec<Vec<String>> {
    let t = read(text.as_bytes()).unwrap();
    std::iter::once(t.titles).chain(t.rows.into_iter().map(|r| r.cells)).collect()
}

// RFC 4180, section 2: rules 1 to 7 with the examples given there.
#[test]
fn the_examples_of_rfc_4180_read_as_it_says() {
    let two = [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]];
    // Rules 1 and 2: CRLF between records, with or without one at the end.
    assert_eq!(rows("aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n"), two);
    assert_eq!(rows("aaa,bbb,ccc\r\nzzz,yyy,xxx"), two);
    // Rule 5: quoted fields.
    assert_eq!(rows("\"aaa\",\"bbb\",\"ccc\"\r\nzzz,yyy,xxx"), two);
    // Rule 6: a line break inside quotes.
    assert_eq!(
        rows("\"aaa\",\"b\r\nbb\",\"ccc\"\r\nzzz,yyy,xxx"),
        [["aaa", "b\r\nbb", "ccc"], ["zzz", "yyy", "xxx"]]
    );
    // Rule 7: a quote inside quotes is doubled.
    assert_eq!(rows("\"aaa\",\"b\"\"bb\",\"ccc\"")[0], ["aaa", "b\"bb", "ccc"]);
}

#[test]
fn encodings_are_told_by_mark_and_by_what_can_be_read() {
    let text = "name;phone\r\nZoë Ñuñez;123\r\n";
    let le: Vec<u8> =
        [0xFF, 0xFE].into_iter().chain(text.encode_utf16().flat_map(u16::to_le_bytes)).collect();
    let be: Vec<u8> =
        [0xFE, 0xFF].into_iter().chain(text.encode_utf16().flat_map(u16::to_be_bytes)).collect();
    let marked: Vec<u8> = [0xEF, 0xBB, 0xBF].into_iter().chain(text.bytes()).collect();
    // Windows-1252: ë is EB, Ñ D1, ñ F1, € 80 (the encoding's index in the WHATWG Encoding Standard).
    let old = b"name;phone\r\nZo\xeb \xd1u\xf1ez;123\r\n\x80;5\r\n".to_vec();
    for (bytes, encoding) in [
        (text.as_bytes().to_vec(), Encoding::Utf8),
        (marked, Encoding::Utf8),
        (le, Encoding::Utf16),
        (be, Encoding::Utf16),
        (old.clone(), Encoding::Windows1252),
    ] {
        let t = read(&bytes).unwrap();
        assert_eq!((t.encoding, t.delimiter), (encoding, ';'));
        assert_eq!((t.titles[0].as_str(), t.rows[0].cells[0].as_str()), ("name", "Zoë Ñuñez"));
    }
    assert_eq!(read(&old).unwrap().rows[1].cells[0], "€");
    let unmarked: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
    assert!(
        read(&unmarked).is_err()
            && read(b"\xFF\xFEa").is_err()
            && read(b"").is_err()
            && read(b"\r\n\r\n").is_err()
    );
}

#[test]
fn a_broken_line_costs_itself_and_says_where() {
    let t = read(b"name,phone\nAnn,1\n\"Bea,2\nCid,3\n\"Dee\"x,4\nEve,5,6\nFay\n\nGus,7,,\n\"Hal\nline two\",8\nIda,9\n").unwrap();
    let said: Vec<(u32, &str)> = t.rows.iter().map(|r| (r.line, r.cells[0].as_str())).collect();
    assert_eq!(said, [(2, "Ann"), (4, "Cid"), (9, "Gus"), (10, "Hal\nline two"), (12, "Ida")]);
    let broken: Vec<u32> = t.broken.iter().map(|b| b.line).collect();
    assert_eq!(broken, [3, 5, 6, 7]);
    assert!(t.broken[0].why.contains("Something stands") || t.broken[0].why.contains("does not close"));
    assert!(t.broken[2].why.contains("3 cells"));
    let last = read(b"name,phone\nAnn,1\nBea,\"2\n").unwrap();
    assert_eq!((last.rows.len(), last.broken[0].line), (1, 3));
    let wide = format!("name\n{}\nAnn\n", "x".repeat(table_file::CELL_MOST + 1));
    let wide = read(wide.as_bytes()).unwrap();
    assert_eq!((wide.rows.len(), wide.rows[0].line, wide.broken[0].line), (1, 3, 2));
}

#[test]
fn delimiters_are_told_from_the_rows_or_named() {
    for (text, delimiter) in [
        ("a,b\n1,2\n", ','),
        ("a;b\n1,5;2,5\n", ';'),
        ("a\tb\n1\t2\n", '\t'),
        ("name\nAnn\n", ','),
        ("sep=;\r\na;b\r\n1;2\r\n", ';'),
    ] {
        assert_eq!(read(text.as_bytes()).unwrap().delimiter, delimiter, "{text}");
    }
    assert_eq!(read(b"sep=;\r\na;b\r\n1;2\r\n").unwrap().rows[0].line, 3);
}

fn mapping() -> Mapping {
    use Column::*;
    Mapping { columns: vec![Given, Family, BornOn, Phone, Email, Curl, Nothing], days: DayOrder::DayFirst }
}

fn row(cells: [&str; 7]) -> Result<Newcomer, String> {
    let row = Row { line: 2, cells: cells.map(str::to_string).to_vec() };
    read_row(&mapping(), &row, date!(2026 - 05 - 14))
}

#[test]
fn a_row_is_taken_whole_or_refused_with_its_reason() {
    let n = row(["Nerys", " Amblin\r\n", "14.5.1990", "'+44 1632 960001", "n@example.org", "Tight", "\0"])
        .unwrap();
    assert_eq!((n.name.as_str(), n.born_on), ("Nerys Amblin", Some(date!(1990 - 05 - 14))));
    assert_eq!((n.phone.as_str(), n.curl_group), ("+44 1632 960001", Some("tight")));
    for day in ["1990-05-14", "14/05/1990", "1990-05-14 00:00:00", "14-5-1990"] {
        assert_eq!(
            row(["A", "", day, "", "", "", ""]).unwrap().born_on,
            Some(date!(1990 - 05 - 14)),
            "{day}"
        );
    }
    let long = "x".repeat(201);
    for (cells, why) in [
        (["", " ", "", "", "", "", ""], "no name"),
        (["A\0", "", "", "", "", "", ""], "no letter"),
        ([long.as_str(), "", "", "", "", "", ""], "201 characters"),
        (["A", "", "31.2.1990", "", "", "", ""], "no day"),
        (["A", "", "14.5.90", "", "", "", ""], "no day"),
        (["A", "", "1.1.2199", "", "", "", ""], "to come"),
        (["A", "", "", "", "nobody", "", ""], "no address"),
        (["A", "", "", "", "", "3c", ""], "none of"),
    ] {
        assert!(row(cells).unwrap_err().contains(why), "{cells:?}");
    }
}

#[test]
fn columns_and_days_are_guessed_and_a_mapping_names_a_name() {
    use Column::*;
    for (title, column) in [
        ("First name", Given),
        ("Nachname", Family),
        ("Date of birth", BornOn),
        ("Téléphone", Phone),
        ("E-Mail", Email),
        ("Notes", Nothing),
    ] {
        assert_eq!(Column::guess(title), column, "{title}");
    }
    assert_eq!(DayOrder::guess(["1.2.1990", "14.5.1990"].into_iter()), Some(DayOrder::DayFirst));
    assert_eq!(DayOrder::guess(["5/14/1990"].into_iter()), Some(DayOrder::MonthFirst));
    assert_eq!(DayOrder::guess(["1/2/1990", "1990-05-14"].into_iter()), None);
    let of = |columns: &[Column]| {
        Mapping { columns: columns.to_vec(), days: DayOrder::DayFirst }.fault().is_some()
    };
    assert!(
        of(&[Phone]) && of(&[Name, Given]) && of(&[Name, Phone, Phone]) && !of(&[Given, Nothing, Nothing])
    );
    for (column, code, _) in Column::ALL {
        assert_eq!((Column::from_code(code), column.code()), (Some(column), code));
    }
}

#[test]
fn one_person_said_twice_is_one_and_two_of_a_name_are_two() {
    let n = |name: &str, born: Option<Date>, phone: &str| Newcomer {
        name: name.into(),
        born_on: born,
        phone: phone.into(),
        ..Newcomer::default()
    };
    let all = [
        n("Ann Bo", Some(date!(1990 - 01 - 01)), ""),
        n("ann bo", Some(date!(1990 - 01 - 01)), "1"),
        n("Ann Bo", Some(date!(1991 - 01 - 01)), ""),
        n("Cid", None, "+44 1632 960001"),
        n("Cid", None, "01632 960001"),
        n("Cid", None, "01632 960002"),
        n("Cid", None, ""),
    ];
    assert_eq!(said_before(&all), [(1, 0), (4, 3), (6, 3)]);
    assert_eq!(phone_key("0049 (30) 1234-5678").as_deref(), Some("012345678"));
    assert_eq!(phone_key("12345"), None);
}

#[test]
fn a_delimiter_within_quotes_divides_nothing() {
    // Read by semicolons the titles would be no row at all, and what follows two cells wide.
    let t = read(b"\"one\",\"two\",\"three\"\n\"\n;\r;a\",\"\ra\",\";a\"\n").unwrap();
    assert_eq!((t.delimiter, t.rows.len()), (',', 1));
    assert_eq!(t.rows[0].cells, ["\n;\r;a", "\ra", ";a"]);
}

proptest! {
    // The csv crate writes (its own quoting), this reads: an implementation from elsewhere as the oracle.
    #[test]
    fn what_another_writer_writes_is_read_back(
        cells in proptest::collection::vec(proptest::collection::vec("[a-z ,;\"'\r\n\té=]{1,12}", 3), 1..12)
    ) {
        let mut writer = csv::WriterBuilder::new().quote_style(csv::QuoteStyle::Always).from_writer(Vec::new());
        writer.write_record(["one", "two", "three"]).unwrap();
        for row in &cells {
            writer.write_record(row).unwrap();
        }
        let bytes = writer.into_inner().unwrap();
        let t = read(&bytes).unwrap();
        let kept: Vec<Vec<String>> =
            cells.into_iter().filter(|r| r.iter().any(|c| !c.trim().is_empty())).collect();
        prop_assert_eq!(t.rows.into_iter().map(|r| r.cells).collect::<Vec<_>>(), kept);
        prop_assert_eq!(t.broken, vec![]);
    }

    #[test]
    fn no_bytes_break_the_reader(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        if let Ok(t) = read(&bytes) {
            prop_assert!(t.rows.iter().all(|r| r.cells.len() == t.titles.len()));
        }
    }
}
