//! The floor of safety: no protocol is run that lacks what protects a person.

use super::{Chemical, Hands, HoldPoint, PlannedApplication, Protocol, SectionWork, Source, Step, Times};
use crate::domain::chemistry::family::Family;
use std::collections::BTreeSet;

/// Longest title, characters.
pub const TITLE_MOST_CHARS: usize = 60;
/// Longest instruction, characters: read at arm's length.
pub const WORDS_MOST_CHARS: usize = 400;
/// Longest caution, characters.
pub const CAUTION_MOST_CHARS: usize = 240;
/// Most steps.
pub const STEPS_MOST: usize = 60;
/// Longest a step or a clock may be, minutes.
pub const MINUTES_MOST: u16 = 240;

/// What an opening step never starts without.
pub const OPENING_FLOOR: [HoldPoint; 6] = [
    HoldPoint::PatchTest,
    HoldPoint::Scalp,
    HoldPoint::Plan,
    HoldPoint::Consent,
    HoldPoint::Lot,
    HoldPoint::Gloves,
];
/// What a closing step asks for.
pub const CLOSING_FLOOR: [HoldPoint; 2] = [HoldPoint::Gloves, HoldPoint::EyeProtection];

/// Something wrong with a protocol, said with its place and reason.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// Where: "step apply-1", "application A", "protocol".
    pub at: String,
    /// Why, in a sentence.
    pub reason: String,
}

/// Every fault at once; empty means that the protocol may be used.
pub fn check(protocol: &Protocol) -> Vec<Fault> {
    let mut check = Check { protocol, faults: Vec::new() };
    check.whole();
    check.retouch();
    for application in &protocol.applications {
        check.application(application);
    }
    for (index, step) in protocol.steps.iter().enumerate() {
        check.step(index, step);
        match step.chemical {
            Chemical::Opening => check.opening(index, step),
            Chemical::Closing => check.closing(step),
            Chemical::None => {}
        }
        check.sections(index, step);
    }
    check.faults
}

/// Hair opened by these falls apart unless it is closed: neutraliser, normalising shampoo.
fn asks_closing(family: Family) -> bool {
    matches!(
        family,
        Family::Thio
            | Family::ThioEster
            | Family::Sulfite
            | Family::Cysteine
            | Family::SodiumHydroxide
            | Family::PotassiumHydroxide
            | Family::LithiumHydroxide
            | Family::GuanidineHydroxide
    )
}

fn is_hydroxide(family: Family) -> bool {
    matches!(
        family,
        Family::SodiumHydroxide
            | Family::PotassiumHydroxide
            | Family::LithiumHydroxide
            | Family::GuanidineHydroxide
    )
}

struct Check<'a> {
    protocol: &'a Protocol,
    faults: Vec<Fault>,
}

impl Check<'_> {
    fn fault(&mut self, at: &str, reason: impl Into<String>) {
        self.faults.push(Fault { at: at.to_owned(), reason: reason.into() });
    }

    fn unless(&mut self, holds: bool, at: &str, reason: &str) {
        if !holds {
            self.fault(at, reason);
        }
    }

    fn text(&mut self, at: &str, what: &str, text: &str, most: usize) {
        let length = text.chars().count();
        if text.trim().is_empty() {
            self.fault(at, format!("{what} is empty"));
        } else if length > most {
            self.fault(
                at,
                format!("{what} has {length} characters, at most {most} are read at arm's length"),
            );
        }
        let says_safe = text
            .split(|c: char| !c.is_alphanumeric())
            .any(|w| w.eq_ignore_ascii_case("safe") || w.eq_ignore_ascii_case("safely"));
        if says_safe {
            self.fault(
                at,
                format!("{what} says that something is without danger; say what to look at instead"),
            );
        }
    }

    fn code(&mut self, at: &str, code: &str) {
        let plain = code.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-');
        if code.is_empty() || code.len() > 40 || !plain {
            self.fault(at, format!("code {code:?}: 1 to 40 of a to z, 0 to 9 and hyphen"));
        }
    }

    fn whole(&mut self) {
        let p = self.protocol;
        self.code("protocol", &p.code);
        self.text("protocol", "title", &p.title, TITLE_MOST_CHARS);
        self.unless(p.family != Family::Unknown, "protocol", "family unknown");
        self.unless(p.revision > 0, "protocol", "revisions count from 1");
        self.unless(!p.steps.is_empty(), "protocol", "it has no steps");
        self.unless(p.steps.len() <= STEPS_MOST, "protocol", "it has more than 60 steps");
        self.unless(
            !p.stop_words.is_empty(),
            "protocol",
            "stop words are missing: what is said when anybody stops",
        );
        for words in &p.stop_words {
            self.text("stop words", "a sentence", words, WORDS_MOST_CHARS);
        }
        let mut codes = BTreeSet::new();
        for step in p.steps.iter().filter(|s| !codes.insert(s.code.clone())) {
            self.fault(&format!("step {}", step.code), "two steps carry this code");
        }
        let mut letters = BTreeSet::new();
        for a in p.applications.iter().filter(|a| !letters.insert(a.letter)) {
            self.fault(&format!("application {}", a.letter), "two applications carry this letter");
        }
        let distinct: BTreeSet<_> = p.sections.iter().collect();
        self.unless(!p.sections.is_empty(), "sections", "no quadrant is worked");
        self.unless(distinct.len() == p.sections.len(), "sections", "a quadrant stands twice in the order");
    }

    fn retouch(&mut self) {
        let r = self.protocol.retouch;
        let target_fits = r.target_mm > 0.0 && r.target_mm <= 300.0;
        self.unless(target_fits, "retouch", "target_mm: more than 0, at most 300 mm of stretched hair");
        let ordered = r.least_weeks <= r.middle_weeks && r.middle_weeks <= r.latest_weeks;
        self.unless(ordered && r.least_weeks > 0, "retouch", "weeks go least, middle, latest, from 1");
    }

    fn application(&mut self, a: &PlannedApplication) {
        let at = format!("application {}", a.letter);
        self.unless(a.letter.is_ascii_uppercase(), &at, "the letter is one of A to Z");
        self.text(&at, "title", &a.title, TITLE_MOST_CHARS);
        self.unless(a.family != Family::Unknown, &at, "family unknown");
        self.unless(a.chemical != Chemical::None, &at, "an application opens or closes");
        let steps: Vec<_> = self
            .protocol
            .steps
            .iter()
            .filter(|s| s.application == Some(a.letter) && s.is_chemical())
            .map(|s| &s.code)
            .collect();
        self.unless(!steps.is_empty(), &at, "no step puts it on");
        self.unless(
            steps.iter().copied().eq(&a.steps),
            &at,
            "its steps are not those that put it on, in order",
        );
        if a.chemical != Chemical::Opening {
            return;
        }
        let exposure = self.protocol.exposure_step(a.letter).and_then(|s| s.exposure);
        let Some(times) = exposure else {
            self.fault(&at, "no exposure clock runs: from first touch to rinse");
            return;
        };
        // trade-rules.md, times: straightening and hydroxide have no starting value; no figure, no start.
        if (a.straightens || is_hydroxide(a.family)) && times.source != Source::Sheet {
            self.fault(&at, "its longest time must come from the product sheet");
        }
        if times.source != Source::Sheet && times.most_min.is_none() {
            self.fault(&at, "its exposure clock has no longest time");
        }
    }

    fn step(&mut self, index: usize, step: &Step) {
        let at = format!("step {}", step.code);
        self.code(&at, step.code.as_str());
        self.text(&at, "title", &step.title, TITLE_MOST_CHARS);
        self.text(&at, "words", &step.words, WORDS_MOST_CHARS);
        for caution in &step.cautions {
            self.text(&at, "a caution", &caution.words, CAUTION_MOST_CHARS);
        }
        let distinct: BTreeSet<_> = step.hold_points.iter().collect();
        self.unless(distinct.len() == step.hold_points.len(), &at, "a hold point stands twice");
        self.unless(step.minutes_least <= step.minutes_typical, &at, "least minutes above typical ones");
        let fits = (1..=MINUTES_MOST).contains(&step.minutes_typical);
        self.unless(fits, &at, "typical minutes: 1 to 240");
        let nobody = step.hands == Hands::Nobody;
        self.unless(nobody == (step.hands_count == 0), &at, "hands and their count do not agree");
        self.unless(!step.places.is_empty(), &at, "no place");
        self.unless(!(nobody && step.is_chemical()), &at, "nobody's hands put product on");
        for (name, times) in [("phase", step.phase), ("exposure", step.exposure)] {
            if let Some(times) = times {
                self.times(&at, name, &times);
            }
        }
        if let Some(letter) = step.application {
            let known = self.protocol.application(letter).is_some();
            self.unless(known, &at, "its application is not listed");
        }
        self.unless(
            step.exposure.is_none() || step.is_opening(),
            &at,
            "an exposure clock begins with an opening step",
        );
        self.unless(step.window_min.is_none() || step.is_opening(), &at, "a window is kept by opening steps");
        self.rinses(&at, index, step);
    }

    fn rinses(&mut self, at: &str, index: usize, step: &Step) {
        let rinse = step.sections == Some(SectionWork::Rinse);
        self.unless(rinse || step.rinses.is_empty(), at, "it rinses an application, but is no rinse");
        if rinse {
            self.unless(step.hold_points.is_empty(), at, "rinsing never waits for a hold point");
            self.unless(!step.is_chemical(), at, "a rinse puts nothing on");
        }
        for letter in &step.rinses {
            let before = self.protocol.steps.iter().take(index).any(|s| s.application == Some(*letter));
            self.unless(before, at, "it rinses what no earlier step put on");
        }
    }

    fn times(&mut self, at: &str, name: &str, times: &Times) {
        let (target, least, most) = (times.target_min, times.least_min, times.most_min);
        let above = |a: Option<u16>, b: Option<u16>| a.zip(b).is_some_and(|(a, b)| a > b);
        if above(target, most) {
            self.fault(at, format!("{name}: the target lies beyond the longest allowed"));
        }
        if above(least, target) || above(least, most) {
            self.fault(at, format!("{name}: the shortest lies beyond the target or the longest allowed"));
        }
        let all = [target, least, most];
        if all.iter().flatten().any(|m| *m == 0 || *m > MINUTES_MOST) {
            self.fault(at, format!("{name}: minutes are 1 to 240"));
        }
        let any = all.iter().any(Option::is_some);
        if times.source == Source::Sheet && any {
            self.fault(at, format!("{name}: \"sheet\" is never printed beside a starting value"));
        }
        if times.source != Source::Sheet && !any {
            self.fault(at, format!("{name}: a clock without a figure"));
        }
    }

    fn lacks(&mut self, at: &str, step: &Step, floor: &[HoldPoint]) {
        for point in floor.iter().filter(|p| !step.hold_points.contains(p)) {
            self.fault(at, format!("it may not start without the hold point {}", point.code()));
        }
    }

    fn opening(&mut self, index: usize, step: &Step) {
        let at = format!("step {}", step.code);
        self.lacks(&at, step, &OPENING_FLOOR);
        self.unless(step.hands == Hands::Stylist, &at, "a stylist's hands put an opening product on");
        self.unless(step.qualification.is_some(), &at, "it asks for no qualification");
        self.unless(!step.optional, &at, "an opening step is not optional");
        let Some((family, letter)) = step.family.zip(step.application) else {
            self.fault(&at, "an opening step names its family and its application");
            return;
        };
        if let Some(a) = self.protocol.application(letter) {
            let agrees = a.family == family && a.chemical == Chemical::Opening;
            self.unless(agrees, &at, "family or kind differ from its application's");
            if a.straightens || is_hydroxide(family) {
                self.lacks(&at, step, &[HoldPoint::Base]);
            }
        }
        let later = self.protocol.steps.get(index + 1..).unwrap_or_default();
        let rinsed = later.iter().position(|s| s.rinses.contains(&letter));
        let closed = later.iter().rposition(Step::is_closing);
        self.unless(rinsed.is_some(), &at, "no later step rinses it off");
        if asks_closing(family) {
            let in_order = rinsed.zip(closed).is_some_and(|(r, c)| r < c);
            self.unless(
                in_order,
                &at,
                "no closing step follows its rinse: neutraliser or normalising shampoo",
            );
        }
    }

    fn closing(&mut self, step: &Step) {
        let at = format!("step {}", step.code);
        self.lacks(&at, step, &CLOSING_FLOOR);
        self.unless(step.family.is_some(), &at, "a closing step names its family");
        self.unless(!step.optional, &at, "a closing step is not optional");
        let of_closing = |l| self.protocol.application(l).is_some_and(|a| a.chemical == Chemical::Closing);
        let agrees = step.application.is_none_or(of_closing);
        self.unless(agrees, &at, "its application does not close");
    }

    fn sections(&mut self, index: usize, step: &Step) {
        let at = format!("step {}", step.code);
        let Some(SectionWork::Apply { pass }) = step.sections else { return };
        self.unless(step.is_chemical(), &at, "product is applied by a step that is not chemical");
        self.unless(pass > 0, &at, "passes count from 1");
        let before = SectionWork::Apply { pass: pass.saturating_sub(1) };
        let follows = pass <= 1
            || self
                .protocol
                .steps
                .iter()
                .take(index)
                .any(|s| s.application == step.application && s.sections == Some(before));
        self.unless(follows, &at, "the pass before it is missing");
    }
}
