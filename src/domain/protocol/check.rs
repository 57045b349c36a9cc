//! The check of a protocol: that it is whole and says one thing, then every row of the floor of safety.

use super::check_floor;
use super::floor::Floor;
use super::{Chemical, Hands, Kind, PlannedApplication, Protocol, Retouch, SectionSet, Step};
use crate::domain::chemistry::family::Family;
use std::collections::BTreeSet;

/// What a fault speaks of, by its place in the protocol.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Spot {
    /// The whole.
    Protocol,
    /// When it is due again.
    Retouch,
    /// An application, by its place in the list.
    Application(usize),
    /// A step, by its place in the order.
    Step(usize),
}

impl Spot {
    /// "step apply-1".
    pub fn words(self, protocol: &Protocol) -> String {
        match self {
            Spot::Protocol => tr!("protocol").to_owned(),
            Spot::Retouch => tr!("retouch").to_owned(),
            Spot::Application(i) => {
                let letter = protocol.applications.get(i).map_or('?', |a| a.letter);
                tr!("application {letter}", letter = letter)
            }
            Spot::Step(i) => {
                let code = protocol.steps.get(i).map_or("?", |s| s.code.as_str());
                tr!("step {code}", code = code)
            }
        }
    }
}

/// Something wrong with a protocol, said with its place and reason.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// Where.
    pub spot: Spot,
    /// The field it is about; empty for the whole of it.
    pub field: &'static str,
    /// Why, in a sentence.
    pub reason: String,
}

/// Every fault at once; empty means that the protocol may be used.
///
/// The order of steps is the order of the list: there is no other, so nothing can be unreachable or go in a
/// circle; what would (a rinse before its product, a second pass before the first) is its own fault.
pub fn check(protocol: &Protocol, floor: &Floor) -> Vec<Fault> {
    let mut check = Check { protocol, floor, faults: Vec::new() };
    check.whole();
    check.section_list();
    if let Some(retouch) = &protocol.retouch {
        check.retouch(retouch);
    }
    for (i, application) in protocol.applications.iter().enumerate() {
        check.application(i, application);
    }
    for (i, step) in protocol.steps.iter().enumerate() {
        check.step(i, step);
        check.step_work(i, step);
        check.step_times(i, step);
        match step.chemical {
            Chemical::Opening => check.opening(i, step),
            Chemical::Closing => check.closing(i, step),
            Chemical::None => check.plain(i, step),
        }
    }
    check.named_at_work();
    check_floor::check(&mut check);
    check.faults
}

pub(super) struct Check<'a> {
    pub(super) protocol: &'a Protocol,
    pub(super) floor: &'a Floor,
    faults: Vec<Fault>,
}

impl Check<'_> {
    pub(super) fn fault(&mut self, spot: Spot, field: &'static str, reason: impl Into<String>) {
        self.faults.push(Fault { spot, field, reason: reason.into() });
    }

    pub(super) fn unless(&mut self, holds: bool, spot: Spot, field: &'static str, reason: &str) {
        if !holds {
            self.fault(spot, field, reason);
        }
    }

    fn text(&mut self, spot: Spot, field: &'static str, text: &str, most: u16) {
        let length = text.chars().count();
        if text.trim().is_empty() {
            self.fault(spot, field, tr!("{field}: a text is empty", field = field));
        } else if length > usize::from(most) {
            let reason = tr!(
                "{field}: {length} characters, at most {most} are read at arm's length",
                field = field,
                length = length,
                most = most
            );
            self.fault(spot, field, reason);
        }
        if text.chars().any(char::is_control) {
            self.fault(
                spot,
                field,
                tr!("{field}: a text is one line, without control characters", field = field),
            );
        }
        let says_safe = text
            .split(|c: char| !c.is_alphanumeric())
            .any(|w| w.eq_ignore_ascii_case("safe") || w.eq_ignore_ascii_case("safely"));
        if says_safe {
            let reason = tr!(
                "{field} says that something is without danger; say what to look at instead",
                field = field
            );
            self.fault(spot, field, reason);
        }
    }

    fn code(&mut self, spot: Spot, code: &str) {
        let plain = code.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-');
        if code.is_empty() || code.len() > 40 || !plain {
            self.fault(spot, "code", format!("code {code:?}: 1 to 40 of a to z, 0 to 9 and hyphen"));
        }
    }

    fn whole(&mut self) {
        let p = self.protocol;
        let (at, bounds) = (Spot::Protocol, self.floor.bounds);
        self.code(at, &p.code);
        self.text(at, "title", &p.title, bounds.title_chars);
        self.unless(p.family != Family::Unknown, at, "family", tr!("family unknown"));
        self.unless(p.revision > 0, at, "revision", tr!("revisions count from 1"));
        self.unless(!p.steps.is_empty(), at, "steps", tr!("it has no steps"));
        if p.steps.len() > usize::from(bounds.steps) {
            self.fault(at, "steps", tr!("it has more than {} steps", bounds.steps));
        }
        let missing = tr!("stop words are missing: what is said when anybody stops");
        self.unless(!p.stop_words.is_empty(), at, "stop_words", missing);
        for words in &p.stop_words {
            self.text(at, "stop_words", words, bounds.words_chars);
        }
        let mut codes = BTreeSet::new();
        for (i, step) in p.steps.iter().enumerate() {
            self.unless(codes.insert(&step.code), Spot::Step(i), "code", tr!("two steps carry this code"));
        }
        let mut letters = BTreeSet::new();
        for (i, a) in p.applications.iter().enumerate() {
            let first = letters.insert(a.letter);
            self.unless(first, Spot::Application(i), "letter", tr!("two applications carry this letter"));
        }
        let opens = p.applications.iter().any(|a| a.chemical == Chemical::Opening);
        let records = p.steps.iter().any(|s| s.records.is_some());
        let of_family = |a: &PlannedApplication| a.chemical == Chemical::Opening && a.family == p.family;
        let due_by = p.kind == Kind::TestVisit || p.applications.iter().any(of_family);
        self.unless(due_by, at, "family", tr!("its family is not that of anything it puts on"));
        match p.kind {
            Kind::Service => {
                self.unless(
                    opens,
                    at,
                    "applications",
                    tr!("a service puts something on; a test visit says so"),
                );
            }
            Kind::TestVisit => {
                self.unless(
                    p.applications.is_empty(),
                    at,
                    "kind",
                    tr!("a test visit puts nothing on the head"),
                );
                self.unless(
                    p.retouch.is_none(),
                    at,
                    "kind",
                    tr!("a test visit does not come again by growth"),
                );
                self.unless(records, at, "kind", tr!("a test visit records a test"));
            }
        }
    }

    fn section_list(&mut self) {
        let p = self.protocol;
        let at = Spot::Protocol;
        let distinct: BTreeSet<_> = p.sections.iter().collect();
        let some = p.kind == Kind::TestVisit || !p.sections.is_empty();
        self.unless(some, at, "sections", tr!("no section is worked"));
        self.unless(
            distinct.len() == p.sections.len(),
            at,
            "sections",
            tr!("a section stands twice in the order"),
        );
        let of = |set| p.sections.iter().any(|s| s.set() == set);
        let both = of(SectionSet::Quadrants) && of(SectionSet::Blocks);
        self.unless(!both, at, "sections", tr!("quadrants and blocks part the same hair twice: one set"));
        let quadrants = p.sections.iter().filter(|s| s.set() == SectionSet::Quadrants).count();
        let whole = quadrants == 0 || quadrants == 4;
        self.unless(whole, at, "sections", tr!("a quadrant is left out: it would be worked and not timed"));
        let alone = of(SectionSet::Edge) && p.sections.len() == 1;
        self.unless(!alone, at, "sections", tr!("the hairline stands beside quadrants or blocks"));
    }

    fn retouch(&mut self, r: &Retouch) {
        let at = Spot::Retouch;
        let target_fits = r.target_mm > 0.0 && r.target_mm <= 300.0;
        self.unless(
            target_fits,
            at,
            "target_mm",
            tr!("target_mm: more than 0, at most 300 mm of stretched hair"),
        );
        let ordered = r.least_weeks <= r.middle_weeks && r.middle_weeks <= r.latest_weeks;
        let fits = ordered && r.least_weeks > 0 && r.latest_weeks <= 104;
        self.unless(fits, at, "least_weeks", tr!("weeks go least, middle, latest, from 1 to 104"));
    }

    fn application(&mut self, i: usize, a: &PlannedApplication) {
        let at = Spot::Application(i);
        self.unless(a.letter.is_ascii_uppercase(), at, "letter", tr!("the letter is one of A to Z"));
        self.text(at, "title", &a.title, self.floor.bounds.title_chars);
        self.unless(a.family != Family::Unknown, at, "family", tr!("family unknown"));
        let given = a.family.planned_as(false).is_some();
        self.unless(given, at, "family", tr!("this chemistry is not given here"));
        self.unless(a.chemical != Chemical::None, at, "chemical", tr!("an application opens or closes"));
        let waves = a.family.planned_as(true) == a.family.planned_as(false);
        let fits = !(a.straightens && waves) || super::floor::is_hydroxide(a.family);
        self.unless(fits, at, "straightens", tr!("only thio, sulfite, cysteine and hydroxide straighten"));
        let opens = a.chemical == Chemical::Opening;
        self.unless(
            opens != super::floor::neutralises(a.family),
            at,
            "family",
            tr!("a neutraliser closes, what opens is none"),
        );
        let bound = a.strength_most.is_none() || opens;
        self.unless(bound, at, "strength_most", tr!("strength is bounded for what opens"));
        let steps: Vec<_> = self
            .protocol
            .steps
            .iter()
            .filter(|s| s.application == Some(a.letter) && s.is_chemical())
            .map(|s| &s.code)
            .collect();
        self.unless(!steps.is_empty(), at, "steps", tr!("no step puts it on"));
        let listed = steps.iter().copied().eq(&a.steps);
        self.unless(listed, at, "steps", tr!("its steps are not those that put it on, in order"));
        let clocks = self.protocol.steps.iter().filter(|s| s.application == Some(a.letter));
        let clocks = clocks.filter(|s| s.exposure.is_some()).count();
        if opens {
            self.unless(clocks > 0, at, "", tr!("no exposure clock runs: from first touch to rinse"));
        }
        self.unless(clocks <= 1, at, "", tr!("two exposure clocks run for it"));
    }

    fn step(&mut self, i: usize, step: &Step) {
        let (at, bounds) = (Spot::Step(i), self.floor.bounds);
        self.code(at, step.code.as_str());
        self.text(at, "title", &step.title, bounds.title_chars);
        self.text(at, "words", &step.words, bounds.words_chars);
        for caution in &step.cautions {
            self.text(at, "cautions", &caution.words, bounds.caution_chars);
        }
        let distinct: BTreeSet<_> = step.hold_points.iter().collect();
        let once = distinct.len() == step.hold_points.len();
        self.unless(once, at, "hold_points", tr!("a hold point stands twice"));
        let ordered = step.minutes_least <= step.minutes_typical;
        self.unless(ordered, at, "minutes", tr!("least minutes above typical ones"));
        let fits = (1..=bounds.minutes).contains(&step.minutes_typical);
        if !fits {
            self.fault(at, "minutes", tr!("typical minutes: 1 to {}", bounds.minutes));
        }
        let nobody = step.hands == Hands::Nobody;
        let agree = nobody == (step.hands_count == 0) && step.hands_count <= 6;
        self.unless(agree, at, "hands", tr!("hands and their count do not agree"));
        self.unless(!step.places.is_empty(), at, "places", tr!("no place"));
        let held = !(nobody && step.is_chemical());
        self.unless(held, at, "hands", tr!("nobody's hands put product on"));
        if let Some(letter) = step.application {
            let known = self.protocol.application(letter).is_some();
            self.unless(known, at, "application", tr!("its application is not listed"));
        }
    }

    fn opening(&mut self, i: usize, step: &Step) {
        let at = Spot::Step(i);
        self.unless(!step.normalises, at, "normalises", tr!("a normalising shampoo closes"));
        let Some((family, letter)) = step.family.zip(step.application) else {
            self.fault(at, "family", tr!("an opening step names its family and its application"));
            return;
        };
        if let Some(a) = self.protocol.application(letter) {
            let agrees = a.family == family && a.chemical == Chemical::Opening;
            self.unless(agrees, at, "family", tr!("family or kind differ from its application's"));
        }
        let rinsed = self.protocol.steps.iter().take(i).any(|s| s.rinses.contains(&letter));
        self.unless(!rinsed, at, "application", tr!("it goes on again after its rinse: a new application"));
    }

    fn closing(&mut self, i: usize, step: &Step) {
        let at = Spot::Step(i);
        let one = step.family.is_some() != step.normalises;
        self.unless(
            one,
            at,
            "family",
            tr!("a closing step names its neutraliser, or says that it normalises"),
        );
        let of_closing =
            |a: &PlannedApplication| a.chemical == Chemical::Closing && Some(a.family) == step.family;
        let agrees = match step.application {
            Some(l) => self.protocol.application(l).is_some_and(of_closing),
            None => step.normalises,
        };
        self.unless(agrees, at, "application", tr!("its application does not close, or is another family's"));
        let first = self.protocol.steps.iter().position(Step::is_opening);
        self.unless(first.is_some_and(|f| f < i), at, "chemical", tr!("it closes what nothing opened"));
    }

    fn plain(&mut self, i: usize, step: &Step) {
        let at = Spot::Step(i);
        let named = step.family.is_none() && !step.normalises && step.qualification.is_none();
        self.unless(named, at, "chemical", tr!("it names a chemistry, but is neither opening nor closing"));
        self.unless(step.window_min.is_none(), at, "window", tr!("a window is kept by opening steps"));
        let protects = !step.hold_points.is_empty()
            || step.application.is_some()
            || step.sections.is_some()
            || step.mix.is_some()
            || step.records.is_some();
        self.unless(
            !(step.optional && protects),
            at,
            "optional",
            tr!("a step that protects is not left out"),
        );
    }
}
