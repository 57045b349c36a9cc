//! `calc::run` from outside: places of bad input, arrays, hostile documents.

use rinsebell::calc;

#[test]
fn an_unknown_area_is_bad_input() {
    let bad = calc::run("tides", b"{}").unwrap_err();
    assert_eq!(bad.at, "");
    assert!(bad.error.contains("tides"));
}
