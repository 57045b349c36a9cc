//! `--from`: clients and their intervals as one JSON document, so that the same computation can be checked from outside.

use super::report::Group;
use crate::calc::{self, BadInput};
use crate::domain::growth::{Lesson, Observation, Rate};
use crate::reference::Reference;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::io::Read;
use std::path::Path;

/// Longest document read, bytes.
const MOST_BYTES: u64 = 64 << 20;

/// Most values of a document: forty intervals each of 10,000 clients.
const MOST_VALUES: usize = 2_000_000;

fn bad(at: impl Into<String>, error: impl Into<String>) -> BadInput {
    BadInput { error: error.into(), at: at.into() }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Document {
    clients: Vec<Client>,
    #[serde(default)]
    published: BTreeMap<String, Published>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Client {
    curl: String,
    intervals: Vec<Interval>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Interval {
    days: f64,
    mm: f64,
    sd_mm: f64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Published {
    mean_mm_per_day: f64,
    sd_mm_per_day: f64,
}

/// Reads a file (`-`: standard input) and learns from it, curl by curl in order of their codes.
pub fn read(file: &Path) -> Result<Vec<Group>, BadInput> {
    let mut text = Vec::new();
    let read = if file == Path::new("-") {
        std::io::stdin().lock().take(MOST_BYTES + 1).read_to_end(&mut text)
    } else {
        std::fs::File::open(file).and_then(|open| open.take(MOST_BYTES + 1).read_to_end(&mut text))
    };
    match read {
        Err(e) => Err(bad("", format!("{} cannot be read: {e}", file.display()))),
        Ok(n) if n as u64 > MOST_BYTES => Err(bad("", format!("over {MOST_BYTES} bytes"))),
        Ok(_) => learn(&text),
    }
}

fn learn(text: &[u8]) -> Result<Vec<Group>, BadInput> {
    let document: Document = calc::read_document(text, MOST_VALUES)?;
    let growth = &Reference::shipped().growth;
    let mut curls: BTreeMap<String, Vec<Vec<Observation>>> = BTreeMap::new();
    for (i, client) in document.clients.into_iter().enumerate() {
        if !document.published.contains_key(&client.curl) && growth.find_start(&client.curl).is_none() {
            let error = format!("no published prior for curl {}: give one in /published", client.curl);
            return Err(bad(format!("/clients/{i}/curl"), error));
        }
        let seen = intervals(&format!("/clients/{i}/intervals"), client.intervals)?;
        curls.entry(client.curl).or_default().push(seen);
    }
    let mut groups = Vec::new();
    for (curl, clients) in curls {
        let (published, source) = match document.published.get(&curl) {
            Some(given) => (rate(&curl, given)?, None),
            None => {
                let start = growth.find_start(&curl).expect("every curl was looked up above");
                (start.rate, Some(start.source.clone()))
            }
        };
        groups.push(Group { curl, source, lesson: Lesson::learn(published, &clients) });
    }
    Ok(groups)
}

fn intervals(at: &str, given: Vec<Interval>) -> Result<Vec<Observation>, BadInput> {
    let read = |(n, i): (usize, Interval)| {
        for (name, value) in [("days", i.days), ("mm", i.mm), ("sd_mm", i.sd_mm)] {
            // Bounds far beyond any hair keep every square and sum a number.
            if !(1e-6..=1e6).contains(&value) {
                return Err(bad(format!("{at}/{n}/{name}"), "from 0.000001 to 1000000"));
            }
        }
        Ok(Observation { days: i.days, mm: i.mm, sd_mm: i.sd_mm })
    };
    given.into_iter().enumerate().map(read).collect()
}

fn rate(curl: &str, given: &Published) -> Result<Rate, BadInput> {
    let fields = [("mean_mm_per_day", given.mean_mm_per_day), ("sd_mm_per_day", given.sd_mm_per_day)];
    for (name, value) in fields {
        if !(1e-6..=1e3).contains(&value) {
            // A curl's code may hold what a pointer escapes.
            let curl = curl.replace('~', "~0").replace('/', "~1");
            return Err(bad(format!("/published/{curl}/{name}"), "from 0.000001 to 1000"));
        }
    }
    Ok(Rate { mean: given.mean_mm_per_day, sd: given.sd_mm_per_day })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fault_is_named_with_its_place() {
        let at = |text: &str| learn(text.as_bytes()).err().map(|bad| bad.at);
        let client = |curl: &str, interval: &str| {
            format!(
                r#"{{"clients":[{{"curl":"tight","intervals":[]}},{{"curl":"{curl}","intervals":[{interval}]}}]}}"#
            )
        };
        let good = r#"{"days":91,"mm":30,"sd_mm":2}"#;
        assert_eq!(at(&client("tight", good)), None);
        assert_eq!(at(&client("spiral", good)).as_deref(), Some("/clients/1/curl"));
        let still = r#"{"days":91,"mm":30,"sd_mm":0}"#;
        assert_eq!(at(&client("tight", still)).as_deref(), Some("/clients/1/intervals/0/sd_mm"));
        assert_eq!(at("[]").as_deref(), Some(""));
        let word = r#"{"days":91,"mm":"thirty","sd_mm":2}"#;
        assert_eq!(at(&client("tight", word)).as_deref(), Some("/clients/1/intervals/0/mm"));
        let prior = r#"{"clients":[{"curl":"a/b","intervals":[]}],"published":{"a/b":{"mean_mm_per_day":0.3,"sd_mm_per_day":-1}}}"#;
        assert_eq!(at(prior).as_deref(), Some("/published/a~1b/sd_mm_per_day"));
    }
}
