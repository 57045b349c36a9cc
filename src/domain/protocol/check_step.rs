//! The check of one step: its work in sections, and its times.

use super::check::{Check, Spot};
use super::{Chemical, Hands, Heat, HoldPoint, SectionWork, Source, Step, TestKind, Times};
use std::collections::BTreeSet;

impl Check<'_> {
    pub(super) fn step_work(&mut self, i: usize, step: &Step) {
        let at = Spot::Step(i);
        if let Some(order) = &step.order {
            let distinct: BTreeSet<_> = order.iter().collect();
            let fits = step.sections.is_some()
                && !order.is_empty()
                && distinct.len() == order.len()
                && order.iter().all(|s| self.protocol.sections.contains(s));
            self.unless(
                fits,
                at,
                "sections",
                tr!("its own order names sections of the protocol, each once, and it works them"),
            );
        }
        let rinse = step.sections == Some(SectionWork::Rinse);
        self.unless(
            rinse || step.rinses.is_empty(),
            at,
            "rinses",
            tr!("it rinses an application, but is no rinse"),
        );
        if rinse {
            let waits = step.hold_points.is_empty();
            self.unless(waits, at, "hold_points", tr!("rinsing never waits for a hold point"));
            self.unless(!step.is_chemical(), at, "chemical", tr!("a rinse puts nothing on"));
            self.unless(
                step.application.is_none(),
                at,
                "application",
                tr!("a rinse names what it rinses in rinses"),
            );
            self.unless(step.hands != Hands::Nobody, at, "hands", tr!("nobody's hands rinse"));
        }
        let before = self.protocol.steps.iter().take(i).collect::<Vec<_>>();
        for letter in &step.rinses {
            let put_on = before.iter().any(|s| s.application == Some(*letter) && s.is_chemical());
            self.unless(put_on, at, "rinses", tr!("it rinses what no earlier step put on"));
        }
        if step.is_opening() {
            let mixed = |s: &Step| s.mix.as_ref().is_some_and(|m| Some(m.application) == step.application);
            let asks = step.hold_points.contains(&HoldPoint::Mixed);
            let agree = asks == self.protocol.steps.iter().any(mixed);
            self.unless(
                agree,
                at,
                "hold_points",
                tr!("a mixed product waits for mixed, and some step mixes it"),
            );
        }
        if let Some(mix) = &step.mix {
            let distinct: BTreeSet<_> = mix.parts.iter().collect();
            let whole = distinct.len() == mix.parts.len() && mix.parts.len() >= 2;
            self.unless(whole, at, "mix", tr!("a mixture has two parts or more, each once"));
            let known = self.protocol.application(mix.application).is_some();
            self.unless(known, at, "mix", tr!("its application is not listed"));
            let late = before.iter().any(|s| s.application == Some(mix.application));
            self.unless(!late, at, "mix", tr!("it is mixed after it was put on"));
            self.unless(
                step.sections.is_none() && !step.is_chemical(),
                at,
                "mix",
                tr!("mixing is a step of its own"),
            );
        }
        if step.heat != Heat::None {
            let by_sheet = step.phase.is_some_and(|t| t.source == Source::Sheet);
            let on = step.application.is_some();
            self.unless(
                by_sheet && on,
                at,
                "heat",
                tr!("heat lasts as the product sheet says: an application, its phase by the sheet"),
            );
        }
        if let Some(look) = step.look {
            let on = step.application.is_some() && step.rinses.is_empty();
            self.unless(on, at, "look", tr!("a look watches an application at work"));
            let fits = (1..=30).contains(&look.every_min) && look.from_min.is_none_or(|m| m <= 120);
            self.unless(fits, at, "look", tr!("looked at every 1 to 30 minutes, from 120 on at the latest"));
        }
        let curls = self.protocol.steps.iter().any(|s| s.rods);
        let reads = !step.reads_curls() || curls;
        self.unless(reads, at, "look", tr!("a test curl unwinds a rod: no step notes rods"));
        if let Some(test) = step.records {
            let named = if test == TestKind::MetallicSaltTest { "metal" } else { tr!("skin or strand") };
            let plain = !step.is_chemical() && step.application.is_none() && step.sections.is_none();
            self.unless(plain, at, "records", &tr!("a test of {named} is a step of its own", named = named));
        }
        if let Some(SectionWork::Apply { pass }) = step.sections {
            self.unless(
                step.is_chemical(),
                at,
                "work",
                tr!("product is applied by a step that is not chemical"),
            );
            self.unless(pass > 0 && pass <= 9, at, "pass", tr!("passes count from 1"));
            let earlier = SectionWork::Apply { pass: pass.saturating_sub(1) };
            let follows = pass <= 1
                || before.iter().any(|s| s.application == step.application && s.sections == Some(earlier));
            self.unless(follows, at, "pass", tr!("the pass before it is missing"));
            let mine = self.protocol.sections_of(step);
            let again = before.iter().any(|s| {
                s.application == step.application
                    && s.sections == step.sections
                    && self.protocol.sections_of(s).iter().any(|x| mine.contains(x))
            });
            self.unless(!again, at, "pass", tr!("this pass was made before"));
        }
        if step.sections == Some(SectionWork::Smooth) {
            self.unless(!step.is_chemical(), at, "work", tr!("smoothing puts nothing on"));
        }
    }

    /// While product is on, every step but water says whose work it is: its clocks and hold points hang on that.
    pub(super) fn named_at_work(&mut self) {
        let steps = &self.protocol.steps;
        for a in self.protocol.applications.iter().filter(|a| a.chemical == Chemical::Opening) {
            let mine = |s: &Step| s.application == Some(a.letter);
            let Some(first) = steps.iter().position(|s| mine(s) && s.is_opening()) else { continue };
            let end = steps.iter().position(|s| s.rinses.contains(&a.letter)).unwrap_or(steps.len());
            for (i, step) in steps.iter().enumerate().take(end).skip(first) {
                let water = step.sections == Some(SectionWork::Rinse);
                let reason = tr!("product is on: the step names its application");
                self.unless(mine(step) || water, Spot::Step(i), "application", reason);
            }
        }
    }

    pub(super) fn step_times(&mut self, i: usize, step: &Step) {
        let at = Spot::Step(i);
        if let Some(times) = step.phase {
            self.times(at, "phase", &times);
        }
        if let Some(times) = step.exposure {
            self.times(at, "exposure", &times);
            self.unless(
                step.is_opening(),
                at,
                "exposure",
                tr!("an exposure clock begins with an opening step"),
            );
            let first =
                self.protocol.steps.iter().find(|s| s.application == step.application && s.is_opening());
            let begins = first.is_none_or(|f| f.code == step.code);
            self.unless(
                begins,
                at,
                "exposure",
                tr!("an exposure clock stands on the step that touches first"),
            );
            let bounded = times.source == Source::Sheet || times.most_min.is_some();
            self.unless(bounded, at, "exposure", tr!("its exposure clock has no longest time"));
        }
        if let Some(min) = step.window_min {
            self.unless(step.is_opening(), at, "window", tr!("a window is kept by opening steps"));
            self.unless((1..=120).contains(&min), at, "window", tr!("a window has 1 to 120 minutes"));
        }
        let alone = step.hands == Hands::Nobody && step.application.is_some();
        let ends = step.phase.is_some_and(|t| t.source == Source::Sheet || t.most_min.is_some());
        self.unless(
            !alone || ends,
            at,
            "phase",
            tr!("product works alone here: a phase clock with its longest"),
        );
    }

    fn times(&mut self, at: Spot, field: &'static str, times: &Times) {
        let (target, least, most) = (times.target_min, times.least_min, times.most_min);
        let above = |a: Option<u16>, b: Option<u16>| a.zip(b).is_some_and(|(a, b)| a > b);
        if above(target, most) {
            self.fault(at, field, tr!("{field}: the target lies beyond the longest allowed", field = field));
        }
        if above(least, target) || above(least, most) {
            self.fault(
                at,
                field,
                tr!("{field}: the shortest lies beyond the target or the longest allowed", field = field),
            );
        }
        let all = [target, least, most];
        let longest = self.floor.bounds.minutes;
        if all.iter().flatten().any(|m| *m == 0 || *m > longest) {
            self.fault(
                at,
                field,
                tr!("{field}: minutes are 1 to {longest}", field = field, longest = longest),
            );
        }
        let any = all.iter().any(Option::is_some);
        if times.source == Source::Sheet && any {
            self.fault(
                at,
                field,
                tr!("{field}: \"sheet\" is never printed beside a starting value", field = field),
            );
        }
        if times.source != Source::Sheet && !any {
            self.fault(at, field, tr!("{field}: a clock without a figure", field = field));
        }
    }
}
