//! Rows of contents in a form: an ingredient of the law's table, and its percent.

use crate::domain::chemistry::limits::{Check, LimitTable};
use crate::domain::lot::Content;
use crate::web::form::{Choice, Errors};
use crate::web::typed;

/// Rows of contents a form shows.
const CONTENT_ROWS: usize = 6;
/// Rows a form may send.
const CONTENT_ROWS_MOST: usize = 40;

/// One row.
pub struct ContentRow {
    pub n: usize,
    pub ingredients: Vec<Choice>,
    pub percent: String,
}

fn count(ingredient: &[String]) -> usize {
    CONTENT_ROWS.max(ingredient.len()).min(CONTENT_ROWS_MOST)
}

/// The rows of a form with what was typed into them.
pub fn rows(limits: &LimitTable, ingredient: &[String], percent: &[String]) -> Vec<ContentRow> {
    let words = |code: &str| crate::words::of(&code.replace('-', " ")).to_owned();
    let known: Vec<(String, String)> = std::iter::once((String::new(), tr!("nothing").to_string()))
        .chain(limits.ingredients.iter().map(|i| (i.code.clone(), words(&i.code))))
        .collect();
    let row = |n: usize| {
        let chosen = ingredient.get(n).map_or("", String::as_str);
        ContentRow {
            n,
            ingredients: Choice::list(known.iter().map(|(a, b)| (a.as_str(), b.as_str())), &[chosen]),
            percent: percent.get(n).cloned().unwrap_or_default(),
        }
    };
    (0..count(ingredient)).map(row).collect()
}

/// Reads the rows; empty ones are passed over.
pub fn read(e: &mut Errors, limits: &LimitTable, ingredient: &[String], percent: &[String]) -> Vec<Content> {
    let mut rows = Vec::new();
    for n in 0..count(ingredient) {
        let at = |list: &[String]| list.get(n).map(|x| x.trim().to_string()).unwrap_or_default();
        let (code, percent) = (at(ingredient), at(percent));
        if code.is_empty() && percent.is_empty() {
            continue;
        }
        if limits.find_ingredient(&code).is_none() {
            e.note(format!("ingredient_{n}"), tr!("Choose an ingredient of the list, or empty the row."));
            continue;
        }
        let x = typed::needed_number(
            e,
            &format!("percent_{n}"),
            &percent,
            (0.0, 100.0),
            tr!("percent by weight"),
        );
        rows.push((code, x));
    }
    if rows.iter().map(|r| r.1).sum::<f64>() > 100.0 {
        e.note("percent_0", tr!("Together these are more than 100 %."));
    }
    rows
}

/// Contents in words: "ammonium thioglycolate 9.4 %".
pub fn words(contents: &[Content]) -> String {
    let one = |(code, x): &Content| format!("{} {} %", code.replace('-', " "), typed::shown(*x));
    contents.iter().map(one).collect::<Vec<_>>().join(", ")
}

/// What the law says to one substance.
pub struct LimitLine {
    pub substance: String,
    pub percent: String,
    pub limit: String,
    pub ph: String,
    pub verdict: &'static str,
    pub over: bool,
    pub source: String,
    pub must_say: Vec<String>,
}

fn line(
    substance: &str,
    percent: f64,
    (limit, low, high): (Option<f64>, Option<f64>, Option<f64>),
    within: Option<bool>,
) -> LimitLine {
    let show = typed::shown;
    LimitLine {
        substance: substance.replace('-', " "),
        percent: format!("{} %", show(percent)),
        limit: limit.map_or_else(|| tr!("no figure in law").into(), |x| format!("{} %", show(x))),
        ph: match (low, high) {
            (Some(low), Some(high)) => tr!("{} to {}", show(low), show(high)),
            (None, Some(high)) => tr!("up to {}", show(high)),
            (Some(low), None) => tr!("from {}", show(low)),
            (None, None) => String::new(),
        },
        verdict: match within {
            Some(true) => tr!("within"),
            Some(false) => tr!("not allowed so"),
            None => tr!("not judged"),
        },
        over: within == Some(false),
        source: String::new(),
        must_say: Vec::new(),
    }
}

/// Checks as lines of a table.
pub fn limit_lines(checks: &[Check<'_>]) -> Vec<LimitLine> {
    let one = |c: &Check<'_>| LimitLine {
        source: c.limit.source.clone(),
        must_say: c.must_say().map(str::to_string).collect(),
        ..line(c.counted_as, c.percent, (c.limit.percent, c.limit.ph_low, c.limit.ph_high), c.within)
    };
    checks.iter().map(one).collect()
}

/// The same of what was kept with a lot.
pub fn kept_limit_lines(law: &serde_json::Value) -> Vec<LimitLine> {
    let rows = law.as_array().map(Vec::as_slice).unwrap_or_default();
    rows.iter()
        .filter_map(|c| {
            let figures = (c["limit"].as_f64(), c["ph_low"].as_f64(), c["ph_high"].as_f64());
            Some(LimitLine {
                source: c["source"].as_str().unwrap_or_default().to_string(),
                must_say: texts(&c["must_say"]),
                ..line(c["counted_as"].as_str()?, c["percent"].as_f64()?, figures, c["within"].as_bool())
            })
        })
        .collect()
}

/// The texts of an array.
pub fn texts(list: &serde_json::Value) -> Vec<String> {
    let rows = list.as_array().map(Vec::as_slice).unwrap_or_default();
    rows.iter().filter_map(|x| x.as_str().map(str::to_string)).collect()
}
