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

/// The same, against a floor of one's own.
///
/// # Errors
/// As `parse`.
pub fn parse_under(floor: &Floor, file_name: &str, text: &str) -> Result<Protocol, Vec<Fault>> {
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
    let mut faults: Vec<Fault> = check::check(&protocol, floor)
        .iter()
        .map(|f| named(lines.of(f.spot, f.field), &f.spot.words(&protocol), &f.reason))
        .collect();
    faults.sort();
    if faults.is_empty() { Ok(protocol) } else { Err(faults) }
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
            mark: mark(&node, "mark"),
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
        look: node.node_if("look", &node.at).map(|l| Look {
            what: l.word("what", LookFor::from_code, LookFor::TestCurl),
            every_min: l.count("every_min"),
            from_min: l.count_if("from_min"),
            mark: mark(&l, "mark"),
        }),
        records: node.word_if("records", TestKind::from_code),
        rods: node.flag("rods"),
        optional: node.flag("optional"),
        hold_points: node.words_if("hold_points", HoldPoint::from_code).unwrap_or_default(),
        phase: read_times(node, "phase"),
        exposure: read_times(node, "exposure"),
        window_min: window.as_ref().map(|w| w.count("most_min")),
        window_mark: window.as_ref().map(|w| mark(w, "source")),
        minutes_typical: minutes.as_ref().map_or(0, |m| m.count("typical")),
        minutes_least: minutes.as_ref().map_or(0, |m| m.count("least")),
        hands: hands.as_ref().map_or(Hands::Any, |h| h.word("who", hands_of, Hands::Any)),
        hands_count: hands.as_ref().map_or(0, |h| h.count("count")),
        places: node.words("places", place_of),
        qualification: node.word_if("qualification", Family::from_code),
    }
}

fn one_letter(word: &str) -> Option<char> {
    let mut letters = word.chars();
    letters.next().filter(|_| letters.next().is_none())
}

fn hands_of(word: &str) -> Option<Hands> {
    [Hands::Nobody, Hands::Stylist, Hands::Assistant, Hands::Any].into_iter().find(|h| h.code() == word)
}

fn place_of(word: &str) -> Option<Place> {
    [Place::Chair, Place::Basin, Place::Hood].into_iter().find(|p| p.code() == word)
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
mod tests {
    use super::*;
    use crate::domain::protocol::Clock;

    const RETOUCH: &str = include_str!("../../shared/protocols/curl-retouch.toml");
    const VIRGIN: &str = include_str!("../../shared/protocols/curl-virgin.toml");

    fn retouch() -> Protocol {
        parse("curl-retouch.toml", RETOUCH).expect("a shipped protocol")
    }

    fn times(protocol: &Protocol, step: &str, clock: Clock) -> Times {
        *protocol.step(&step.into()).and_then(|s| s.times(clock)).expect("a clock of that step")
    }

    /// Each change takes one protection out and must be named by exactly the fault it makes.
    #[test]
    fn a_protocol_below_the_floor_is_refused_with_its_reason() {
        let cases = [
            (
                "\"lot\", \"gloves\", \"base\", \"barrier\", \"hair-dry\"",
                "\"lot\", \"base\", \"barrier\", \"hair-dry\"",
                "gloves",
            ),
            ("[\"patch-test\", \"scalp\", \"strand-test\"", "[\"scalp\", \"strand-test\"", "patch-test"),
            ("[\"patch-test\", \"scalp\", \"strand-test\"", "[\"patch-test\", \"strand-test\"", "scalp"),
            ("\"plan\", \"consent\", \"lot\"", "\"consent\", \"lot\"", "plan"),
            ("\"plan\", \"consent\", \"lot\"", "\"plan\", \"consent\"", "lot"),
            ("[\"gloves\", \"eye-protection\", \"scalp\"]", "[\"gloves\", \"scalp\"]", "eye-protection"),
            ("[\"gloves\", \"eye-protection\", \"scalp\"]", "[\"eye-protection\", \"scalp\"]", "gloves"),
            ("rinses = [\"A\"]", "rinses = []", "no later step rinses it off"),
            ("rinses = [\"B\"]", "rinses = []", "no later step rinses it off"),
            (
                "target_min = 10, most_min = 15, source",
                "target_min = 16, most_min = 15, source",
                "beyond the longest",
            ),
            (
                "exposure = { source = \"sheet\" }",
                "exposure = { most_min = 42, source = \"M\" }",
                "product sheet",
            ),
            (
                "exposure = { source = \"sheet\" }",
                "exposure = { most_min = 42, source = \"sheet\" }",
                "starting value",
            ),
            ("code = \"apply-2\"", "code = \"apply-1\"", "two steps carry this code"),
            ("least_weeks = 10", "least_weeks = 13", "weeks go least"),
            (
                "work = \"rinse\"\nrinses = [\"A\"]",
                "work = \"rinse\"\nhold_points = [\"gloves\"]\nrinses = [\"A\"]",
                "rinsing never waits",
            ),
            ("title = \"Trim\"", "title = \"A trim that is entirely safe\"", "without danger"),
            ("least = 10, typical = 15", "least = 16, typical = 15", "least minutes above"),
        ];
        for (from, to, reason) in cases {
            assert!(RETOUCH.contains(from), "{from}");
            let faults = parse("x.toml", &RETOUCH.replacen(from, to, 1)).expect_err(reason);
            assert!(faults.iter().any(|f| f.reason.contains(reason)), "{reason}: {faults:?}");
            assert!(faults.iter().all(|f| f.file == "x.toml" && f.line > 0), "{faults:?}");
        }
    }

    #[test]
    fn a_closing_step_must_follow() {
        let start = RETOUCH.find("[[steps]]\ncode = \"neutralise\"").expect("the step");
        let end = RETOUCH.find("[[steps]]\ncode = \"neutralise-hold\"").expect("the next step");
        let faults =
            parse("x.toml", &format!("{}{}", &RETOUCH[..start], &RETOUCH[end..])).expect_err("open hair");
        assert!(faults.iter().any(|f| f.reason.contains("no closing step follows")), "{faults:?}");
    }

    #[test]
    fn every_unknown_word_and_field_is_reported() {
        let twice =
            RETOUCH.replace("places = [\"basin\"]", "places = [\"bath\"]").replace("\"scalp\"", "\"skull\"");
        let faults = parse("x.toml", &twice).expect_err("unknown words");
        assert!(
            faults.iter().any(|f| f.reason.contains("bath"))
                && faults.iter().any(|f| f.reason.contains("skull"))
        );
        let field = RETOUCH.replace("optional = true", "maybe = true");
        assert!(parse("x.toml", &field).expect_err("unknown field")[0].reason.contains("maybe"));
        assert!(parse("x.toml", "code = \"\u{0}").is_err());
        let long = RETOUCH.replace("Rinse and blot.", &"a".repeat(401));
        assert!(parse("x.toml", &long).expect_err("too long")[0].reason.contains("401 characters"));
    }

    #[test]
    fn shipped_protocols_keep_the_trades_times() {
        // trade-rules.md, "Times (defaults of the shipped protocols)", marks as there.
        for text in [RETOUCH, VIRGIN] {
            let p = parse("shipped", text).expect("a shipped protocol");
            // Both passes in a 15 minute window (common practice, no source).
            for step in ["apply-1", "apply-2"] {
                assert_eq!(p.step(&step.into()).and_then(|s| s.window_min), Some(15));
            }
            // Covered 10, at most 15 (CP).
            let cover = times(&p, "cover", Clock::Phase);
            assert_eq!((cover.target_min, cover.most_min), (Some(10), Some(15)));
            // First touch to rinse: the sheet alone.
            assert_eq!(times(&p, "apply-1", Clock::Exposure).source, Source::Sheet);
            // Curl lotion: covered 15, least 10, most 20 (CP); first touch to rinse at most 65 (M).
            let curl = times(&p, "process-curl", Clock::Phase);
            assert_eq!((curl.target_min, curl.least_min, curl.most_min), (Some(15), Some(10), Some(20)));
            assert_eq!(times(&p, "wind", Clock::Exposure).most_min, Some(65));
            // Neutraliser, curl re-forming: from the last rod wet 10, least 10, most 15 (CP).
            let n = times(&p, "neutralise-hold", Clock::Phase);
            assert_eq!((n.target_min, n.least_min, n.most_min), (Some(10), Some(10), Some(15)));
            // Rinse before neutralising 5, least 3 (H); conditioner 10, least 5 (CP).
            let rinse = times(&p, "rinse-lotion", Clock::Phase);
            assert_eq!((rinse.target_min, rinse.least_min), (Some(5), Some(3)));
            let condition = times(&p, "condition", Clock::Phase);
            assert_eq!((condition.target_min, condition.least_min), (Some(10), Some(5)));
            // Retouch 25 mm, 12 weeks, 10 to 20 (CP).
            let r = p.retouch.expect("it comes again");
            assert_eq!((r.target_mm, r.least_weeks, r.middle_weeks, r.latest_weeks), (25.0, 10, 12, 20));
            // Winding holds two pairs of hands, 35 minutes (CP).
            let wind = p.step(&"wind".into()).expect("winding");
            assert_eq!((wind.hands_count, wind.minutes_typical), (2, 35));
            // Both passes of four quadrants in 15 minutes: under 4 minutes a quadrant (common practice, no source).
            let passes: u16 = p
                .steps
                .iter()
                .filter(|s| s.application == Some('A') && s.is_opening())
                .map(|s| s.minutes_typical)
                .sum();
            assert!(passes <= 15 && f64::from(passes) / 4.0 < 4.0);
        }
    }

    #[test]
    fn retouch_treats_new_growth_and_virgin_all_the_hair() {
        // 1-job.md: only the new growth may meet the straightener on a retouch; lotion root to end.
        let zones = |p: &Protocol| p.applications.iter().map(|a| a.zone).collect::<Vec<_>>();
        assert_eq!(zones(&retouch())[..2], [PlannedZone::NewGrowth, PlannedZone::RootToEnd]);
        let virgin = parse("curl-virgin.toml", VIRGIN).expect("a shipped protocol");
        assert_eq!(zones(&virgin)[..2], [PlannedZone::RootToEnd, PlannedZone::RootToEnd]);
    }

    /// Every service the library promises, and no other.
    #[test]
    fn shipped_protocols_are_embedded() {
        let codes: Vec<_> =
            super::super::Reference::shipped().protocols.iter().map(|p| p.code.as_str()).collect();
        assert_eq!(
            codes,
            [
                "colour-regrowth",
                "curl-coloured",
                "curl-retouch",
                "curl-virgin",
                "gloss",
                "lightener-regrowth",
                "relaxer-guanidine-retouch",
                "relaxer-guanidine-virgin",
                "relaxer-sodium-retouch",
                "relaxer-sodium-virgin",
                "visit-metal-test",
                "visit-patch-test",
                "visit-strand-test",
                "wave-acid",
                "wave-alkaline",
                "wave-partial",
            ]
        );
    }
}
