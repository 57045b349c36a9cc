//! Protocols: `shared/protocols/*.toml` into checked domain protocols, every fault reported.

use super::{Files, ReferenceFault, fault};
use crate::domain::chemistry::family::Family;
use crate::domain::protocol::check::{self, Fault};
use crate::domain::protocol::{
    Caution, Chemical, Hands, HoldPoint, Mark, Place, PlannedApplication, PlannedZone, Protocol, Retouch,
    Section, SectionWork, Source, Step, StepCode, Times,
};
use serde::Deserialize;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ProtocolFile {
    code: String,
    title: String,
    revision: u32,
    family: String,
    sections: Vec<String>,
    stop_words: Vec<String>,
    retouch: RetouchFile,
    applications: Vec<ApplicationFile>,
    steps: Vec<StepFile>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RetouchFile {
    target_mm: f64,
    least_weeks: u16,
    middle_weeks: u16,
    latest_weeks: u16,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ApplicationFile {
    letter: char,
    title: String,
    family: String,
    zone: String,
    straightens: bool,
    chemical: String,
    steps: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct StepFile {
    code: String,
    title: String,
    words: String,
    #[serde(default)]
    cautions: Vec<CautionFile>,
    chemical: Option<String>,
    family: Option<String>,
    application: Option<char>,
    work: Option<String>,
    pass: Option<u8>,
    #[serde(default)]
    rinses: Vec<char>,
    #[serde(default)]
    test_curl: bool,
    #[serde(default)]
    rods: bool,
    #[serde(default)]
    optional: bool,
    #[serde(default)]
    hold_points: Vec<String>,
    phase: Option<TimesFile>,
    exposure: Option<TimesFile>,
    window_min: Option<u16>,
    minutes: MinutesFile,
    hands: HandsFile,
    places: Vec<String>,
    qualification: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct CautionFile {
    words: String,
    mark: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct TimesFile {
    target_min: Option<u16>,
    least_min: Option<u16>,
    most_min: Option<u16>,
    source: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct MinutesFile {
    least: u16,
    typical: u16,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct HandsFile {
    who: String,
    count: u8,
}

/// Every protocol below `protocols/`, by code.
///
/// # Errors
/// Every fault of every file, in one message.
pub fn load(files: &Files) -> Result<Vec<Protocol>, ReferenceFault> {
    let mut protocols: Vec<Protocol> = Vec::new();
    let mut faults = Vec::new();
    for (name, bytes) in files.in_folder("protocols").filter(|(name, _)| name.ends_with(".toml")) {
        match std::str::from_utf8(bytes)
            .map_err(|e| vec![Fault { at: name.to_owned(), reason: e.to_string() }])
        {
            Ok(text) => match parse(name, text) {
                Ok(protocol) => protocols.push(protocol),
                Err(found) => faults.extend(found),
            },
            Err(found) => faults.extend(found),
        }
    }
    protocols.sort_by(|a, b| a.code.cmp(&b.code));
    for pair in protocols.windows(2).filter(|p| p[0].code == p[1].code) {
        let reason = format!("two files carry the code {}", pair[0].code);
        faults.push(Fault { at: "protocols".into(), reason });
    }
    if faults.is_empty() {
        return Ok(protocols);
    }
    let lines: Vec<_> = faults.iter().map(|f| format!("{}: {}", f.at, f.reason)).collect();
    Err(fault("protocols", lines.join("; ")))
}

/// Reads one file and checks it against the floor of safety.
///
/// # Errors
/// Every fault at once, each with the file's name and a reason.
pub fn parse(file_name: &str, text: &str) -> Result<Protocol, Vec<Fault>> {
    let named = |fault: Fault| Fault { at: format!("{file_name}, {}", fault.at), reason: fault.reason };
    let file: ProtocolFile = toml::from_str(text).map_err(|error| {
        vec![Fault { at: file_name.to_owned(), reason: error.to_string().trim().to_owned() }]
    })?;
    let mut reader = Reader { faults: Vec::new() };
    let protocol = reader.protocol(file);
    let mut faults = reader.faults;
    if faults.is_empty() {
        faults = check::check(&protocol);
    }
    if faults.is_empty() { Ok(protocol) } else { Err(faults.into_iter().map(named).collect()) }
}

/// Turns words of the file into values, noting every word it does not know. A value that stands in
/// for an unknown word is never seen: any fault refuses the file.
struct Reader {
    faults: Vec<Fault>,
}

impl Reader {
    fn known<T>(&mut self, at: &str, what: &str, word: &str, found: Option<T>, stand_in: T) -> T {
        found.unwrap_or_else(|| {
            let reason = format!("{what} is not known: {word:?}");
            self.faults.push(Fault { at: at.to_owned(), reason });
            stand_in
        })
    }

    fn protocol(&mut self, file: ProtocolFile) -> Protocol {
        Protocol {
            family: self.family("protocol", &file.family),
            sections: file.sections.iter().map(|s| self.section(s)).collect(),
            applications: file.applications.into_iter().map(|a| self.application(a)).collect(),
            steps: file.steps.into_iter().map(|s| self.step(s)).collect(),
            retouch: Retouch {
                target_mm: file.retouch.target_mm,
                least_weeks: file.retouch.least_weeks,
                middle_weeks: file.retouch.middle_weeks,
                latest_weeks: file.retouch.latest_weeks,
            },
            code: file.code,
            title: file.title,
            revision: file.revision,
            stop_words: file.stop_words,
        }
    }

    fn family(&mut self, at: &str, word: &str) -> Family {
        self.known(at, "family", word, Family::from_code(word), Family::Unknown)
    }

    fn section(&mut self, word: &str) -> Section {
        self.known("protocol", "section", word, Section::from_code(word), Section::BackRight)
    }

    fn chemical(&mut self, at: &str, word: &str) -> Chemical {
        let all = [Chemical::None, Chemical::Opening, Chemical::Closing];
        let found = all.into_iter().find(|c| c.code() == word);
        self.known(at, "chemical", word, found, Chemical::None)
    }

    fn application(&mut self, file: ApplicationFile) -> PlannedApplication {
        let at = format!("application {}", file.letter);
        let zones = [PlannedZone::NewGrowth, PlannedZone::RootToEnd];
        let zone = zones.into_iter().find(|z| z.code() == file.zone);
        PlannedApplication {
            letter: file.letter,
            family: self.family(&at, &file.family),
            zone: self.known(&at, "zone", &file.zone, zone, PlannedZone::RootToEnd),
            straightens: file.straightens,
            chemical: self.chemical(&at, &file.chemical),
            steps: file.steps.into_iter().map(StepCode).collect(),
            title: file.title,
        }
    }

    fn step(&mut self, file: StepFile) -> Step {
        let at = format!("step {}", file.code);
        Step {
            cautions: file.cautions.into_iter().map(|c| self.caution(&at, c)).collect(),
            chemical: file.chemical.as_deref().map_or(Chemical::None, |c| self.chemical(&at, c)),
            family: file.family.as_deref().map(|f| self.family(&at, f)),
            sections: self.work(&at, file.work.as_deref(), file.pass),
            hold_points: file
                .hold_points
                .iter()
                .map(|p| self.known(&at, "hold point", p, HoldPoint::from_code(p), HoldPoint::Scalp))
                .collect(),
            phase: file.phase.map(|t| self.times(&at, &t)),
            exposure: file.exposure.map(|t| self.times(&at, &t)),
            hands: self.hands(&at, &file.hands.who),
            places: file.places.iter().map(|p| self.place(&at, p)).collect(),
            qualification: file.qualification.as_deref().map(|f| self.family(&at, f)),
            code: StepCode(file.code),
            title: file.title,
            words: file.words,
            application: file.application,
            rinses: file.rinses,
            test_curl: file.test_curl,
            rods: file.rods,
            optional: file.optional,
            window_min: file.window_min,
            minutes_typical: file.minutes.typical,
            minutes_least: file.minutes.least,
            hands_count: file.hands.count,
        }
    }

    fn caution(&mut self, at: &str, file: CautionFile) -> Caution {
        Caution { mark: self.mark(at, &file.mark), words: file.words }
    }

    fn mark(&mut self, at: &str, word: &str) -> Mark {
        self.known(at, "mark", word, Mark::from_code(word), Mark::Memory)
    }

    fn times(&mut self, at: &str, file: &TimesFile) -> Times {
        let source = match file.source.as_str() {
            "sheet" => Source::Sheet,
            mark => Source::Default { mark: self.mark(at, mark) },
        };
        Times { target_min: file.target_min, least_min: file.least_min, most_min: file.most_min, source }
    }

    fn work(&mut self, at: &str, work: Option<&str>, pass: Option<u8>) -> Option<SectionWork> {
        match (work, pass) {
            (None, None) => None,
            (Some("apply"), Some(pass)) => Some(SectionWork::Apply { pass }),
            (Some("smooth"), None) => Some(SectionWork::Smooth),
            (Some("rinse"), None) => Some(SectionWork::Rinse),
            (work, pass) => {
                let reason = format!(
                    "work {work:?} with pass {pass:?}: apply asks for a pass, smooth and rinse for none"
                );
                self.faults.push(Fault { at: at.to_owned(), reason });
                None
            }
        }
    }

    fn hands(&mut self, at: &str, word: &str) -> Hands {
        let all = [Hands::Nobody, Hands::Stylist, Hands::Assistant, Hands::Any];
        self.known(at, "hands", word, all.into_iter().find(|h| h.code() == word), Hands::Any)
    }

    fn place(&mut self, at: &str, word: &str) -> Place {
        let all = [Place::Chair, Place::Basin, Place::Hood];
        self.known(at, "place", word, all.into_iter().find(|p| p.code() == word), Place::Chair)
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
            assert!(faults.iter().all(|f| f.at.starts_with("x.toml")), "{faults:?}");
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
            assert_eq!(
                (p.retouch.target_mm, p.retouch.least_weeks, p.retouch.middle_weeks, p.retouch.latest_weeks),
                (25.0, 10, 12, 20)
            );
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

    #[test]
    fn shipped_protocols_are_embedded() {
        let codes: Vec<_> =
            super::super::Reference::shipped().protocols.iter().map(|p| p.code.as_str()).collect();
        assert_eq!(codes, ["curl-retouch", "curl-virgin"]);
    }
}
