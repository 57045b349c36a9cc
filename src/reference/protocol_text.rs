//! A protocol written out as a file that reads back equal: what an editor saves. One writer, so that no screen
//! edits text.

use std::fmt::Write as _;

use crate::domain::protocol::{
    Chemical, Heat, Kind, Mark, PlannedApplication, Protocol, SectionWork, Source, Step, Times,
};

/// The file's text. Reading it (`protocols::read`) gives the same protocol but for the ceilings, which are the
/// floor's and written in no file.
pub fn write(protocol: &Protocol) -> String {
    let p = protocol;
    let mut out = Out(String::new());
    out.text("code", &p.code);
    out.text("title", &p.title);
    out.plain("revision", p.revision);
    out.text("family", p.family.code());
    if p.kind != Kind::Service {
        out.text("kind", p.kind.code());
    }
    out.text("head", p.head.code());
    if !p.sections.is_empty() {
        out.texts("sections", p.sections.iter().map(|s| s.code()));
    }
    out.texts("stop_words", p.stop_words.iter().map(String::as_str));
    if let Some(r) = &p.retouch {
        out.0.push_str("\n[retouch]\n");
        // A whole number keeps its point: the field is a length, not a count.
        out.plain("target_mm", format!("{:?}", r.target_mm));
        out.plain("least_weeks", r.least_weeks);
        out.plain("middle_weeks", r.middle_weeks);
        out.plain("latest_weeks", r.latest_weeks);
        out.text("mark", r.mark.code());
    }
    for a in &p.applications {
        application(&mut out, a);
    }
    for s in &p.steps {
        step(&mut out, s);
    }
    out.0
}

/// Lines of a file.
struct Out(String);

impl Out {
    fn plain(&mut self, key: &str, value: impl std::fmt::Display) {
        // Writing to a string cannot fail.
        let _ = writeln!(self.0, "{key} = {value}");
    }

    fn text(&mut self, key: &str, value: &str) {
        self.plain(key, quoted(value));
    }

    fn texts<'t>(&mut self, key: &str, values: impl Iterator<Item = &'t str>) {
        let all: Vec<String> = values.map(quoted).collect();
        self.plain(key, format!("[{}]", all.join(", ")));
    }

    fn flag(&mut self, key: &str, yes: bool) {
        if yes {
            self.plain(key, true);
        }
    }

    fn times(&mut self, key: &str, times: &Times) {
        let source = match times.source {
            Source::Sheet => "sheet",
            Source::Default { mark } => mark.code(),
        };
        let figures =
            [("target_min", times.target_min), ("least_min", times.least_min), ("most_min", times.most_min)];
        let figures = figures.into_iter().filter_map(|(k, m)| Some(format!("{k} = {}", m?)));
        let all: Vec<String> = figures.chain([format!("source = {}", quoted(source))]).collect();
        self.plain(key, format!("{{ {} }}", all.join(", ")));
    }
}

/// A basic string of TOML 1.0: quotes, backslashes and control characters escaped.
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            c if c.is_control() => {
                let _ = write!(out, "\\u{:04X}", u32::from(c));
            }
            c => out.push(c),
        }
    }
    out.push('"');
    out
}

fn marked(words: &str, mark: Mark) -> String {
    format!("{{ words = {}, mark = {} }}", quoted(words), quoted(mark.code()))
}

fn application(out: &mut Out, a: &PlannedApplication) {
    out.0.push_str("\n[[applications]]\n");
    out.text("letter", &a.letter.to_string());
    out.text("title", &a.title);
    out.text("family", a.family.code());
    out.text("zone", a.zone.code());
    out.flag("straightens", a.straightens);
    if let Some(most) = a.strength_most {
        out.text("strength_most", most.code());
    }
    out.text("chemical", a.chemical.code());
    out.texts("steps", a.steps.iter().map(|s| s.as_str()));
}

fn step(out: &mut Out, s: &Step) {
    out.0.push_str("\n[[steps]]\n");
    out.text("code", s.code.as_str());
    out.text("title", &s.title);
    out.text("words", &s.words);
    if !s.cautions.is_empty() {
        let all: Vec<String> = s.cautions.iter().map(|c| marked(&c.words, c.mark)).collect();
        out.plain("cautions", format!("[{}]", all.join(", ")));
    }
    work(out, s);
    out.flag("optional", s.optional);
    if !s.hold_points.is_empty() {
        out.texts("hold_points", s.hold_points.iter().map(|p| p.code()));
    }
    for (key, times) in [("phase", &s.phase), ("exposure", &s.exposure)] {
        if let Some(times) = times {
            out.times(key, times);
        }
    }
    match (s.window_min, s.window_mark) {
        (Some(min), Some(mark)) => {
            out.plain("window", format!("{{ most_min = {min}, source = {} }}", quoted(mark.code())));
        }
        (Some(min), None) => out.plain("window_min", min),
        (None, _) => {}
    }
    out.plain("minutes", format!("{{ least = {}, typical = {} }}", s.minutes_least, s.minutes_typical));
    out.plain("hands", format!("{{ who = {}, count = {} }}", quoted(s.hands.code()), s.hands_count));
    out.texts("places", s.places.iter().map(|p| p.code()));
    if let Some(family) = s.qualification {
        out.text("qualification", family.code());
    }
}

/// What it does to the hair.
fn work(out: &mut Out, s: &Step) {
    if s.chemical != Chemical::None {
        out.text("chemical", s.chemical.code());
    }
    if let Some(family) = s.family {
        out.text("family", family.code());
    }
    out.flag("normalises", s.normalises);
    if let Some(letter) = s.application {
        out.text("application", &letter.to_string());
    }
    match s.sections {
        None => {}
        Some(SectionWork::Apply { pass }) => {
            out.text("work", "apply");
            out.plain("pass", pass);
        }
        Some(SectionWork::Smooth) => out.text("work", "smooth"),
        Some(SectionWork::Rinse) => out.text("work", "rinse"),
    }
    if let Some(order) = &s.order {
        out.texts("sections", order.iter().map(|x| x.code()));
    }
    if !s.rinses.is_empty() {
        let letters: Vec<String> = s.rinses.iter().map(char::to_string).collect();
        out.texts("rinses", letters.iter().map(String::as_str));
    }
    if let Some(mix) = &s.mix {
        let parts: Vec<String> = mix.parts.iter().map(|p| quoted(p.code())).collect();
        let letter = quoted(&mix.application.to_string());
        out.plain("mix", format!("{{ for = {letter}, parts = [{}] }}", parts.join(", ")));
    }
    if s.heat != Heat::None {
        out.text("heat", s.heat.code());
    }
    if let Some(look) = s.look {
        let from = look.from_min.map(|m| format!("from_min = {m}, ")).unwrap_or_default();
        let (what, mark) = (quoted(look.what.code()), quoted(look.mark.code()));
        out.plain(
            "look",
            format!("{{ what = {what}, every_min = {}, {from}mark = {mark} }}", look.every_min),
        );
    }
    if let Some(test) = s.records {
        out.text("records", test.code());
    }
    out.flag("rods", s.rods);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reference::{Reference, protocols};
    use proptest::prelude::*;

    #[test]
    fn every_shipped_protocol_reads_back_equal() {
        let all = &Reference::shipped().protocols;
        assert!(all.len() >= 16);
        for protocol in all {
            let text = write(protocol);
            let back = protocols::parse("back.toml", &text).unwrap_or_else(|f| panic!("{text}\n{f:?}"));
            assert_eq!(back, *protocol, "{}", protocol.code);
            assert_eq!(write(&back), text, "written again it is the same");
        }
    }

    #[test]
    fn what_is_written_is_toml_as_another_reader_reads_it() {
        // TOML 1.0, "Basic strings": https://toml.io/en/v1.0.0#string, read by the toml crate's own value type.
        for protocol in &Reference::shipped().protocols {
            let value: toml::Table = toml::from_str(&write(protocol)).expect("TOML");
            assert_eq!(value["steps"].as_array().map(Vec::len), Some(protocol.steps.len()));
            let words = value["steps"][0]["words"].as_str();
            assert_eq!(words, Some(protocol.steps[0].words.as_str()));
        }
    }

    proptest! {
        #[test]
        fn any_text_and_any_figure_reads_back(
            title in ".*", words in any::<String>(), stop in any::<String>(),
            which in 0usize..16, target in prop::option::of(any::<u16>()), least in prop::option::of(any::<u16>()),
            most in prop::option::of(any::<u16>()), typical in any::<u16>(), mark in 0usize..7, optional in any::<bool>(),
        ) {
            let mut p = Reference::shipped().protocols[which].clone();
            p.title = title;
            p.stop_words.push(stop);
            let source = Source::Default { mark: Mark::ALL[mark] };
            for s in &mut p.steps {
                s.words.clone_from(&words);
                s.optional = optional;
                s.minutes_typical = typical;
                s.phase = Some(Times { target_min: target, least_min: least, most_min: most, source });
            }
            let back = protocols::read("back.toml", &write(&p)).expect("it reads");
            for a in &mut p.applications {
                a.exposure_ceiling = None;
            }
            prop_assert_eq!(back, p);
        }
    }
}
