//! Protocols: `shared/protocols/*.toml` into checked domain protocols, every fault with file, line and reason.

use std::collections::BTreeMap;
use std::fmt;

use super::spanned::{Node, Page, peek};
use super::{Files, ReferenceFault, fault};
use crate::domain::chemistry::Strength;
use crate::domain::chemistry::family::Family;
use crate::domain::protocol::check::{self, Spot};
use crate::domain::protocol::{
    Caution, Chemical, Floor, Hands, Head, Heat, HoldPoint, Kind, Look, LookFor, Mark, Mix, MixPart, Place,
    PlannedApplication, PlannedZone, Protocol, Retouch, Section, SectionWork, Source, Step, StepCode,
    TestKind, Times,
};
use toml::de::DeTable;

/// Something wrong with a protocol's file.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Fault {
    /// The file, as it was named.
    pub file: String,
    /// The line, from 1.
    pub line: u32,
    /// What it stands in: "step apply-1".
    pub at: String,
    /// Why, in a sentence.
    pub reason: String,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}: {}: {}", self.file, self.line, self.at, self.reason)
    }
}

/// Every protocol below `protocols/`, by code.
///
/// # Errors
/// Every fault of every file, in one message.
pub fn load(files: &Files, floor: &Floor) -> Result<Vec<Protocol>, ReferenceFault> {
    let texts = files
        .in_folder("protocols")
        .filter(|(name, _)| name.ends_with(".toml"))
        .map(|(name, bytes)| (name, std::str::from_utf8(bytes).map_err(|e| e.to_string())));
    load_texts(floor, texts).map_err(|faults| {
        let lines: Vec<_> = faults.iter().map(ToString::to_string).collect();
        fault("protocols", lines.join("; "))
    })
}

/// Protocols from texts, each under the name of its file.
///
/// # Errors
/// Every fault of every text; two files of one code among them.
pub fn load_texts<'t>(
    floor: &Floor,
    texts: impl Iterator<Item = (&'t str, Result<&'t str, String>)>,
) -> Result<Vec<Protocol>, Vec<Fault>> {
    let mut protocols: BTreeMap<String, Protocol> = BTreeMap::new();
    let mut faults = Vec::new();
    for (name, text) in texts {
        let text = text.map_err(|reason| vec![whole_file(name, reason)]);
        match text.and_then(|text| parse_under(floor, name, text)) {
            Ok(protocol) => {
                if let Some(first) = protocols.insert(protocol.code.clone(), protocol) {
                    faults.push(whole_file(name, format!("another file carries the code {}", first.code)));
                }
            }
            Err(found) => faults.extend(found),
        }
    }
    if faults.is_empty() { Ok(protocols.into_values().collect()) } else { Err(faults) }
}

fn whole_file(name: &str, reason: String) -> Fault {
    Fault { file: name.to_owned(), line: 1, at: "file".to_owned(), reason }
}

/// Reads one file and checks it against the floor of safety.
///
/// # Errors
/// Every fault at once, in the order of the lines.
pub fn parse(file_name: &str, text: &str) -> Result<Protocol, Vec<Fault>> {
    parse_under(super::floor::shipped(), file_name, text)
}

/// Reads a revision that a salon has saved. It was held to the floor of its day, by the domain and by the
/// database; today's floor decides what is saved today, and its ceilings hold in every run.
///
/// # Errors
/// Every fault, when it is no protocol any more.
pub fn parse_stored(name: &str, text: &str) -> Result<Protocol, Vec<Fault>> {
    let shipped = super::floor::shipped();
    let bounds_alone = Floor { bounds: shipped.bounds, rows: Vec::new() };
    let mut protocol = parse_under(&bounds_alone, name, text)?;
    shipped.cap(&mut protocol);
    Ok(protocol)
}

/// The same, against a floor of one's own.
///
/// # Errors
/// As `parse`.
pub fn parse_under(floor: &Floor, file_name: &str, text: &str) -> Result<Protocol, Vec<Fault>> {
    let (mut protocol, lines) = read_lines(file_name, text)?;
    let mut faults: Vec<Fault> = check::check(&protocol, floor)
        .into_iter()
        .map(|f| Fault {
            file: file_name.to_owned(),
            line: lines.of(f.spot, f.field),
            at: f.spot.words(&protocol),
            reason: f.reason,
        })
        .collect();
    faults.sort();
    if !faults.is_empty() {
        return Err(faults);
    }
    floor.cap(&mut protocol);
    Ok(protocol)
}

/// Reads one file without checking it: for an editor that shows what is wrong beside what was meant.
///
/// # Errors
/// Every fault that keeps it from being read.
pub fn read(file_name: &str, text: &str) -> Result<Protocol, Vec<Fault>> {
    read_lines(file_name, text).map(|(protocol, _)| protocol)
}

fn read_lines(file_name: &str, text: &str) -> Result<(Protocol, Lines), Vec<Fault>> {
    let named = |line, at: &str, reason: &str| Fault {
        file: file_name.to_owned(),
        line,
        at: at.to_owned(),
        reason: reason.to_owned(),
    };
    let page = Page::new(text);
    let (table, broken) = DeTable::parse_recoverable(text);
    if !broken.is_empty() {
        let line = |e: &toml::de::Error| e.span().map_or(1, |s| page.line(s.start));
        return Err(broken.iter().map(|e| named(line(e), "file", e.message())).collect());
    }
    let (protocol, lines) = {
        let root = Node::root(&page, table.get_ref(), "protocol");
        let mut lines = Lines::default();
        lines.note(Spot::Protocol, &root);
        (read_protocol(&root, &mut lines), lines)
    };
    let unread = page.into_faults();
    if !unread.is_empty() {
        return Err(unread.iter().map(|f| named(f.line, &f.at, &f.reason)).collect());
    }
    Ok((protocol, lines))
}

/// Where everything stands, so that a fault of the whole points at its line.
#[derive(Default)]
struct Lines(BTreeMap<(Spot, String), u32>);

impl Lines {
    fn note(&mut self, spot: Spot, node: &Node<'_>) {
        self.0.insert((spot, String::new()), node.line);
        for (field, line) in node.lines() {
            self.0.insert((spot, field.to_owned()), line);
        }
    }

    fn of(&self, spot: Spot, field: &str) -> u32 {
        let at = |field: &str| self.0.get(&(spot, field.to_owned())).copied();
        at(field).or_else(|| at("")).unwrap_or(1)
    }
}

fn read_protocol(root: &Node<'_>, lines: &mut Lines) -> Protocol {
    let retouch = root.node_if("retouch", "retouch").map(|node| {
        lines.note(Spot::Retouch, &node);
        Retouch {
            target_mm: node.number("target_mm"),
            least_weeks: node.count("least_weeks"),
            middle_weeks: node.count("middle_weeks"),
            latest_weeks: node.count("latest_weeks"),
            // Revisions of before bore no mark; their figures were common practice.
            mark: node.word_if("mark", Mark::from_code).unwrap_or(Mark::CommonPractice),
        }
    });
    let applications = root.nodes("applications", |t| format!("application {}", peek(t, "letter")));
    let steps = root.nodes("steps", |t| format!("step {}", peek(t, "code")));
    Protocol {
        code: root.text("code"),
        title: root.text("title"),
        revision: root.count("revision"),
        family: root.word("family", Family::from_code, Family::Unknown),
        kind: root.word_if("kind", Kind::from_code).unwrap_or(Kind::Service),
        head: root.word_if("head", Head::from_code).unwrap_or(Head::Any),
        retouch,
        applications: (0..)
            .zip(&applications)
            .map(|(i, node)| {
                lines.note(Spot::Application(i), node);
                read_application(node)
            })
            .collect(),
        sections: root.words_if("sections", Section::from_code).unwrap_or_default(),
        steps: (0..)
            .zip(&steps)
            .map(|(i, node)| {
                lines.note(Spot::Step(i), node);
                read_step(node)
            })
            .collect(),
        stop_words: root.words("stop_words", |w| Some(w.to_owned())),
    }
}

fn mark(node: &Node<'_>, key: &'static str) -> Mark {
    node.word(key, Mark::from_code, Mark::Memory)
}

fn read_application(node: &Node<'_>) -> PlannedApplication {
    let zones = [PlannedZone::NewGrowth, PlannedZone::RootToEnd];
    PlannedApplication {
        letter: node.letter_if("letter").unwrap_or_else(|| {
            node.fault("letter", "letter: one of A to Z");
            '?'
        }),
        title: node.text("title"),
        family: node.word("family", Family::from_code, Family::Unknown),
        zone: node.word("zone", |w| zones.into_iter().find(|z| z.code() == w), PlannedZone::RootToEnd),
        straightens: node.flag("straightens"),
        strength_most: node.word_if("strength_most", Strength::from_code),
        exposure_ceiling: None,
        chemical: node.word("chemical", chemical, Chemical::None),
        steps: node.words("steps", |w| Some(StepCode::from(w))),
    }
}

fn chemical(word: &str) -> Option<Chemical> {
    [Chemical::None, Chemical::Opening, Chemical::Closing].into_iter().find(|c| c.code() == word)
}

fn read_step(node: &Node<'_>) -> Step {
    let hands = node.node_if("hands", &node.at);
    let minutes = node.node_if("minutes", &node.at);
    let window = node.node_if("window", &node.at);
    for (key, found) in [("hands", hands.is_some()), ("minutes", minutes.is_some())] {
        if !found && !node.has(key) {
            node.fault(key, format!("{key} is missing"));
        }
    }
    Step {
        code: StepCode(node.text("code")),
        title: node.text("title"),
        words: node.text("words"),
        cautions: node
            .nodes("cautions", |_| node.at.clone())
            .iter()
            .map(|c| Caution { words: c.text("words"), mark: mark(c, "mark") })
            .collect(),
        chemical: node.word_if("chemical", chemical).unwrap_or(Chemical::None),
        family: node.word_if("family", Family::from_code),
        normalises: node.flag("normalises"),
        application: node.letter_if("application"),
        sections: read_work(node),
        order: node.words_if("sections", Section::from_code),
        rinses: node.words_if("rinses", one_letter).unwrap_or_default(),
        mix: node.node_if("mix", &node.at).map(|m| Mix {
            application: m.letter_if("for").unwrap_or_else(|| {
                m.fault("for", "for is missing: the letter of the application it is mixed for");
                '?'
            }),
            parts: m.words("parts", MixPart::from_code),
        }),
        heat: node.word_if("heat", Heat::from_code).unwrap_or(Heat::None),
        look: node
            .node_if("look", &node.at)
            .map(|l| Look {
                what: l.word("what", LookFor::from_code, LookFor::TestCurl),
                every_min: l.count("every_min"),
                from_min: l.count_if("from_min"),
                mark: mark(&l, "mark"),
            })
            .or_else(|| node.flag("test_curl").then_some(CURLS_OF_BEFORE)),
        records: node.word_if("records", TestKind::from_code),
        rods: node.flag("rods"),
        optional: node.flag("optional"),
        hold_points: node.words_if("hold_points", HoldPoint::from_code).unwrap_or_default(),
        phase: read_times(node, "phase"),
        exposure: read_times(node, "exposure"),
        window_min: window.as_ref().map(|w| w.count("most_min")).or_else(|| node.count_if("window_min")),
        window_mark: window.as_ref().map(|w| mark(w, "source")),
        minutes_typical: minutes.as_ref().map_or(0, |m| m.count("typical")),
        minutes_least: minutes.as_ref().map_or(0, |m| m.count("least")),
        hands: hands.as_ref().map_or(Hands::Any, |h| h.word("who", Hands::from_code, Hands::Any)),
        hands_count: hands.as_ref().map_or(0, |h| h.count("count")),
        places: node.words("places", Place::from_code),
        qualification: node.word_if("qualification", Family::from_code),
    }
}

/// What `test_curl = true` of earlier revisions meant.
const CURLS_OF_BEFORE: Look =
    Look { what: LookFor::TestCurl, every_min: 2, from_min: None, mark: Mark::CommonPractice };

fn one_letter(word: &str) -> Option<char> {
    let mut letters = word.chars();
    letters.next().filter(|_| letters.next().is_none())
}

fn read_times(node: &Node<'_>, key: &'static str) -> Option<Times> {
    let times = node.node_if(key, &node.at)?;
    let source = |word: &str| match word {
        "sheet" => Some(Source::Sheet),
        mark => Mark::from_code(mark).map(|mark| Source::Default { mark }),
    };
    Some(Times {
        target_min: times.count_if("target_min"),
        least_min: times.count_if("least_min"),
        most_min: times.count_if("most_min"),
        source: times.word("source", source, Source::Sheet),
    })
}

fn read_work(node: &Node<'_>) -> Option<SectionWork> {
    let (work, pass) = (node.text_if("work"), node.count_if("pass"));
    match (work.as_deref(), pass) {
        (None, None) => None,
        (Some("apply"), Some(pass)) => Some(SectionWork::Apply { pass }),
        (Some("smooth"), None) => Some(SectionWork::Smooth),
        (Some("rinse"), None) => Some(SectionWork::Rinse),
        (work, pass) => {
            let reason =
                format!("work {work:?} with pass {pass:?}: apply asks for a pass, smooth and rinse for none");
            node.fault("work", reason);
            None
        }
    }
}

#[cfg(test)]
#[path = "protocols_tests.rs"]
mod tests;
