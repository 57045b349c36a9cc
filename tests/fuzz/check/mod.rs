//! What must hold for every input, whoever made it: used by the fuzz targets and by the replay in `cargo test`.

mod meaning;

use rinsebell::calc::{self, BadInput};
use rinsebell::domain::protocol::check;
use rinsebell::reference::Reference;
use rinsebell::reference::protocols;
use serde_json::Value;
use std::time::{Duration, Instant};

/// No input of a fuzzer's size may take longer; generous, for builds without optimisation on a busy machine.
const LONGEST: Duration = Duration::from_secs(5);

/// One input of `rinsebell calc AREA`.
///
/// # Panics
/// When anything that must hold does not.
pub fn area(area: &str, input: &[u8]) {
    let began = Instant::now();
    let first = calc::run(area, input);
    assert!(began.elapsed() < LONGEST, "took {:?}", began.elapsed());
    assert!(first == calc::run(area, input), "the same input twice, two answers");
    let document = serde_json::from_slice::<Value>(input).ok();
    match &first {
        Ok(text) => {
            let answer: Value = serde_json::from_str(text).expect("an answer is JSON");
            let document = document.as_ref().expect("only JSON is answered");
            match (document, &answer) {
                (Value::Array(documents), Value::Array(answers)) => {
                    assert_eq!(documents.len(), answers.len(), "one answer a document");
                    documents.iter().zip(answers).for_each(|(d, a)| meaning::holds(area, d, a));
                }
                _ => meaning::holds(area, document, &answer),
            }
        }
        Err(bad) => refusal(bad, document.as_ref()),
    }
    if document.as_ref().is_some_and(Value::is_object) {
        twice(area, input, &first);
    }
}

/// A refusal says why, and where by an RFC 6901 pointer into the input, or to a field missing from a value in it.
fn refusal(bad: &BadInput, document: Option<&Value>) {
    assert!(!bad.error.trim().is_empty(), "a refusal without a reason");
    let at = bad.at.as_str();
    assert!(at.is_empty() || at.starts_with('/'), "no pointer: {at:?}");
    let tildes_escaped = at.split('~').skip(1).all(|rest| rest.starts_with(['0', '1']));
    assert!(tildes_escaped, "an unescaped tilde: {at:?}");
    let Some(document) = document else { return };
    if bad.error.starts_with("field given twice") {
        return; // RFC 6901 names no place where names are doubled: the reader here keeps the last one only
    }
    let parent = at.rsplit_once('/').map_or("", |(parent, _)| parent);
    let found = document.pointer(at).is_some() || document.pointer(parent).is_some_and(Value::is_object);
    assert!(found, "{at:?} leads nowhere: {}", bad.error);
}

/// `[doc, doc]` answers `[a, a]`, and is refused where its first document is.
fn twice(area: &str, input: &[u8], once: &Result<String, BadInput>) {
    let both = [b"[", input, b",", input, b"]"].concat();
    if serde_json::from_slice::<Value>(&both).is_err() {
        return; // one level too deep for the parser
    }
    match (calc::run(area, &both), once) {
        (Ok(pair), Ok(alone)) => {
            assert!(pair == format!("[{alone},{alone}]"), "a pair is answered otherwise")
        }
        (Err(bad), Err(alone)) => {
            assert_eq!(bad.at, format!("/0{}", alone.at), "a pair is refused elsewhere");
            // The parser names the column too, and that differs by the bracket.
            let words = |bad: &BadInput| bad.error.split(" at line ").next().map(str::to_owned);
            assert_eq!(words(&bad), words(alone), "a pair is refused with other words");
        }
        // Twice the work may be more than one call may cost.
        (Err(bad), Ok(_)) if bad.error.contains("too large") || bad.error.contains("too much") => {}
        (pair, alone) => panic!("alone {alone:?}, as a pair {pair:?}"),
    }
}

/// One protocol file: faults with place and reason, or a protocol that keeps the floor of safety.
///
/// # Panics
/// When it is neither.
pub fn protocol(input: &[u8]) {
    let Ok(text) = std::str::from_utf8(input) else { return };
    let began = Instant::now();
    let first = protocols::parse("x.toml", text);
    assert!(began.elapsed() < LONGEST, "took {:?}", began.elapsed());
    let second = protocols::parse("x.toml", text);
    assert_eq!(format!("{first:?}"), format!("{second:?}"), "the same file twice, two answers");
    match first {
        Ok(protocol) => {
            let faults = check::check(&protocol, &Reference::shipped().floor);
            assert!(faults.is_empty(), "loaded below the floor: {faults:?}");
            let target = protocol.retouch.as_ref().map_or(1.0, |retouch| retouch.target_mm);
            assert!(target.is_finite(), "a target that is no number");
        }
        Err(faults) => {
            assert!(!faults.is_empty(), "refused without a fault");
            let lines = text.lines().count().max(1);
            for fault in faults {
                assert_eq!(fault.file, "x.toml");
                let line = fault.line as usize;
                assert!(1 <= line && line <= lines + 1, "a fault beyond the file: {fault:?}");
                assert!(!fault.at.trim().is_empty(), "a fault without its place: {fault:?}");
                assert!(!fault.reason.trim().is_empty(), "a fault without its reason: {fault:?}");
            }
        }
    }
}
