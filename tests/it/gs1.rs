//! What a scanner types, against a general barcode library. The file of cases is made and read over by
//! `tests/outside/test_gs1.py` (PyPI biip 5.2.0); here the program is asked for the same answers.

use rinsebell::domain::gs1::{self, Scan};
use serde_json::Value;
use time::macros::date;

#[test]
fn element_strings_are_read_as_a_general_library_reads_them() {
    let cases: Vec<Value> =
        serde_json::from_str(include_str!("../outside/gs1_cases.json")).expect("a list of cases");
    assert_eq!(cases.len(), 600);
    let day = |v: &Value, d: Option<time::Date>| {
        assert_eq!(v.as_str().map(str::to_string), d.map(|d| d.to_string()));
    };
    for case in &cases {
        let raw = case["raw"].as_str().expect("a text");
        let expected = &case["answer"];
        match gs1::read(raw, date!(2026 - 11 - 25)) {
            Err(why) => assert!(expected.is_null(), "{raw:?}: {why:?}, the library reads {expected}"),
            Ok(Scan::Elements(e)) => {
                assert!(!expected.is_null(), "{raw:?}: {e:?}, the library refuses");
                assert_eq!(expected["gtin"].as_str(), e.gtin.as_ref().map(|g| g.digits()), "{raw:?}");
                assert_eq!(expected["lot"].as_str(), e.lot.as_deref(), "{raw:?}");
                assert_eq!(expected["serial"].as_str(), e.serial.as_deref(), "{raw:?}");
                assert_eq!(expected["count"].as_u64(), e.count.map(u64::from), "{raw:?}");
                day(&expected["made_on"], e.made_on);
                day(&expected["best_before"], e.best_before);
                day(&expected["use_by"], e.use_by);
                match (expected["net_grams"].as_f64(), e.net_grams) {
                    (Some(a), Some(b)) => assert!((a - b).abs() <= 1e-9 * a, "{raw:?}: {a} {b}"),
                    (a, b) => assert_eq!(a, b, "{raw:?}"),
                }
            }
            Ok(other) => panic!("{raw:?}: {other:?}"),
        }
    }
}
