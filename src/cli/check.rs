//! `rinsebell check`: recomputes what can be proved and says what is wrong.

use crate::check;
use crate::cluster::{self, StartFault};
use crate::config::PlaceArgs;
use crate::domain::protocol::{Mark, Protocol, Source};
use crate::reference::Reference;
use crate::reference::protocols::{self, Fault};
use std::path::Path;
use std::process::ExitCode;
use std::time::Duration;

/// `check protocols [DIR]`: a line per protocol and exit 0, or a line per fault and exit 1.
pub fn protocols(dir: Option<&Path>) -> ExitCode {
    let (lines, sound) = match texts(dir).map(|texts| protocol_lines(&texts)) {
        Ok(report) => report,
        Err(why) => {
            eprintln!("rinsebell: {why}");
            return ExitCode::FAILURE;
        }
    };
    for line in &lines {
        println!("{line}");
    }
    if sound {
        return ExitCode::SUCCESS;
    }
    eprintln!("rinsebell: {} in these protocols.", count(lines.len()));
    ExitCode::FAILURE
}

fn count(faults: usize) -> String {
    if faults == 1 { "One fault".to_owned() } else { format!("{faults} faults") }
}

/// Files with their texts, by name; a text that is not UTF-8 keeps the reason in its place.
type Texts = Vec<(String, Result<String, String>)>;

fn texts(dir: Option<&Path>) -> Result<Texts, String> {
    let Some(dir) = dir else {
        let shipped = Reference::protocol_texts();
        return Ok(shipped.map(|(name, text)| (name.to_owned(), Ok(text.to_owned()))).collect());
    };
    let unread = |e: std::io::Error| format!("{} cannot be read: {e}", dir.display());
    let mut texts = Texts::new();
    for entry in std::fs::read_dir(dir).map_err(unread)? {
        let path = entry.map_err(unread)?.path();
        if path.extension().is_some_and(|e| e == "toml") {
            let bytes =
                std::fs::read(&path).map_err(|e| format!("{} cannot be read: {e}", path.display()))?;
            let text = String::from_utf8(bytes).map_err(|e| e.to_string());
            texts.push((path.display().to_string(), text));
        }
    }
    texts.sort();
    if texts.is_empty() { Err(format!("{} holds no protocol (*.toml).", dir.display())) } else { Ok(texts) }
}

/// What is printed, and whether nothing is wrong.
fn protocol_lines(texts: &Texts) -> (Vec<String>, bool) {
    let named = texts.iter().map(|(name, text)| (name.as_str(), text.as_deref().map_err(Clone::clone)));
    match protocols::load_texts(crate::reference::floor::shipped(), named) {
        Ok(found) => {
            let line = |p: &Protocol| {
                format!(
                    "{} revision {}: {}, {} steps, {} texts; times: {}",
                    p.code,
                    p.revision,
                    p.kind.words(),
                    p.steps.len(),
                    p.texts().len(),
                    by_source(p)
                )
            };
            (found.iter().map(line).collect(), true)
        }
        Err(faults) => (faults.iter().map(Fault::to_string).collect(), false),
    }
}

/// How many of a protocol's times (clocks, windows, looks, when it is due again) rest on what.
fn by_source(p: &Protocol) -> String {
    let mut marks: Vec<Option<Mark>> = Vec::new();
    for step in &p.steps {
        for times in [step.phase, step.exposure].into_iter().flatten() {
            marks.push(match times.source {
                Source::Sheet => None,
                Source::Default { mark } => Some(mark),
            });
        }
        marks.extend(step.window_mark.map(Some));
        marks.extend(step.look.map(|l| Some(l.mark)));
    }
    marks.extend(p.retouch.map(|r| Some(r.mark)));
    let all = Mark::ALL.into_iter().map(Some).chain([None]);
    let told = all.filter_map(|mark| {
        let n = marks.iter().filter(|m| **m == mark).count();
        (n > 0).then(|| format!("{n} {}", mark.map_or("product sheet", Mark::words)))
    });
    let told: Vec<String> = told.collect();
    if told.is_empty() { "none".to_owned() } else { told.join("; ") }
}

/// Prints one line for each thing that is wrong; exit 1 when there is any.
pub async fn main(place: &PlaceArgs) -> Result<(), StartFault> {
    let place = place.check()?;
    let opened = cluster::open(&place.data, place.external.as_ref()).await?;
    let report = check::run(&opened.owner).await;
    opened.guard.stop(Duration::from_secs(5)).await?;
    let report = report?;
    for line in &report.findings {
        println!("{line}");
    }
    match report.wrong {
        0 => {
            println!("nothing wrong: {} runs, {} events", report.runs, report.events);
            Ok(())
        }
        1 => Err(StartFault::Other("One thing is wrong.".to_owned())),
        many if many > report.findings.len() => Err(StartFault::Other(format!(
            "{many} things are wrong; the first {} are listed.",
            report.findings.len()
        ))),
        many => Err(StartFault::Other(format!("{many} things are wrong."))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shipped_protocols_are_a_line_each() {
        let (lines, sound) = protocol_lines(&texts(None).expect("embedded"));
        assert!(sound && lines.len() == Reference::shipped().protocols.len(), "{lines:?}");
        assert!(lines.iter().any(|l| l.starts_with("curl-retouch revision ")), "{lines:?}");
        // trade-rules.md, Times: a relaxer's minutes on the hair are the sheet's; conditioner is common practice, and so
        // is when it is due; the comb-back press of three steps is handbook teaching.
        let relaxer = lines.iter().find(|l| l.starts_with("relaxer-sodium-virgin ")).expect("shipped");
        let times = "times: 3 handbook teaching; 2 common practice, no source; 1 product sheet";
        assert!(relaxer.ends_with(times), "{relaxer}");
    }

    #[test]
    fn every_fault_of_every_file_is_listed_with_file_line_and_reason() {
        let retouch = Reference::text("protocols/curl-retouch.toml").expect("shipped");
        let no_gloves =
            retouch.replacen("\"eye-protection\", ", "", 1).replacen("minutes = {", "minuets = {", 1);
        let no_rinse = retouch.replacen("rinses = [\"A\"]", "rinses = []", 1).replacen("\"lot\", ", "", 1);
        let texts = vec![("a.toml".to_owned(), Ok(no_gloves)), ("b.toml".to_owned(), Ok(no_rinse))];
        let (lines, sound) = protocol_lines(&texts);
        assert!(!sound);
        let line_of = |text: &str, part: &str| {
            text.lines().position(|l| l.contains(part)).map(|i| i + 1).expect("that line")
        };
        let minuets = line_of(texts[0].1.as_ref().expect("text"), "minuets");
        let has = |start: &str, part: &str| lines.iter().any(|l| l.starts_with(start) && l.contains(part));
        assert!(has(&format!("a.toml:{minuets}: step receive: "), "minuets"), "{lines:?}");
        assert!(has("a.toml:", "minutes is missing"), "{lines:?}");
        assert!(has("b.toml:", "no later step rinses it off"), "{lines:?}");
        assert!(has("b.toml:", "hold point lot"), "{lines:?}");
    }
}
