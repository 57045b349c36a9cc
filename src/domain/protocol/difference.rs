//! What differs between two protocols, in words, in the order of the service.

use super::{Chemical, Protocol, SectionWork, Source, Step, StepCode, Times};
use crate::domain::length;

/// One difference.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Change {
    /// Where: the title of the step, or "Service".
    pub at: String,
    /// The step's code, when it is of a step.
    pub step: Option<StepCode>,
    /// What: "longest allowed", "hold point".
    pub what: String,
    /// As it was; none where something came.
    pub before: Option<String>,
    /// As it is; none where something went.
    pub after: Option<String>,
}

impl Change {
    /// "Cover and process, longest allowed: 15 minutes → 12 minutes".
    pub fn words(&self) -> String {
        let at = format!("{}, {}", self.at, self.what);
        match (&self.before, &self.after) {
            (Some(before), Some(after)) => format!("{at}: {before} → {after}"),
            (None, Some(after)) => tr!("{at} added: {after}", at = at, after = after),
            (Some(before), None) => tr!("{at} taken out: {before}", at = at, before = before),
            (None, None) => at,
        }
    }
}

/// Everything that differs, but for the number of the revision and the floor's ceilings; empty when nothing does.
pub fn between(old: &Protocol, new: &Protocol) -> Vec<Change> {
    let mut all = Vec::new();
    compare(tr!("Service"), None, &of_service(old), &of_service(new), &mut all);
    for a in &new.applications {
        let at = tr!("Application {}", a.letter);
        let before = old.application(a.letter).map(of_application).unwrap_or_default();
        compare(&at, None, &before, &of_application(a), &mut all);
    }
    for a in old.applications.iter().filter(|a| new.application(a.letter).is_none()) {
        compare(&tr!("Application {}", a.letter), None, &of_application(a), &[], &mut all);
    }
    for step in old.steps.iter().filter(|s| new.step(&s.code).is_none()) {
        all.push(whole(step, "step", Some(step.title.clone()), None));
    }
    let stayed = in_order(old, new);
    for (i, step) in new.steps.iter().enumerate() {
        match old.step(&step.code) {
            None => {
                let after = Some(format!("{}{}", step.title, after_of(new, i)));
                all.push(whole(step, "step", None, after));
            }
            Some(before) => {
                if !stayed.contains(&&step.code) {
                    let was = old.index_of(&step.code).map(|at| after_of(old, at));
                    let (was, is) = (was.unwrap_or_default(), after_of(new, i));
                    all.push(whole(step, "place", Some(place(&was)), Some(place(&is))));
                }
                compare(&step.title, Some(&step.code), &of_step(old, before), &of_step(new, step), &mut all);
            }
        }
    }
    all
}

fn place(after: &str) -> String {
    if after.is_empty() { "first".to_owned() } else { after.trim_start_matches(", ").to_owned() }
}

fn after_of(p: &Protocol, at: usize) -> String {
    let before = at.checked_sub(1).and_then(|b| p.steps.get(b));
    before.map_or_else(String::new, |s| tr!(", after “{}”", s.title))
}

fn whole(step: &Step, what: &str, before: Option<String>, after: Option<String>) -> Change {
    Change { at: step.title.clone(), step: Some(step.code.clone()), what: what.to_owned(), before, after }
}

/// The steps of both that keep their order: the longest such row, the others have moved.
fn in_order<'p>(old: &'p Protocol, new: &'p Protocol) -> Vec<&'p StepCode> {
    let a: Vec<_> = old.steps.iter().map(|s| &s.code).collect();
    let b: Vec<_> = new.steps.iter().map(|s| &s.code).collect();
    // longest[i][j]: of a from i and b from j.
    let mut longest = vec![vec![0_usize; b.len() + 1]; a.len() + 1];
    for i in (0..a.len()).rev() {
        for j in (0..b.len()).rev() {
            longest[i][j] = if a[i] == b[j] {
                longest[i + 1][j + 1] + 1
            } else {
                longest[i + 1][j].max(longest[i][j + 1])
            };
        }
    }
    let (mut i, mut j, mut row) = (0, 0, Vec::new());
    while i < a.len() && j < b.len() {
        if a[i] == b[j] {
            row.push(b[j]);
            (i, j) = (i + 1, j + 1);
        } else if longest[i + 1][j] >= longest[i][j + 1] {
            i += 1;
        } else {
            j += 1;
        }
    }
    row
}

/// One thing said of a service or a step. `many`: one of several, each there or not.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Said {
    what: &'static str,
    value: String,
    many: bool,
}

#[derive(Default)]
struct All(Vec<Said>);

impl All {
    fn one(&mut self, what: &'static str, value: impl Into<String>) {
        let value = value.into();
        if !value.is_empty() {
            self.0.push(Said { what, value, many: false });
        }
    }

    fn each(&mut self, what: &'static str, values: impl Iterator<Item = String>) {
        self.0.extend(values.map(|value| Said { what, value, many: true }));
    }

    fn minutes(&mut self, what: &'static str, minutes: Option<u16>) {
        self.one(what, minutes.map(minutes_words).unwrap_or_default());
    }

    fn flag(&mut self, what: &'static str, yes: bool) {
        self.one(what, if yes { tr!("yes") } else { tr!("no") });
    }
}

fn minutes_words(m: u16) -> String {
    if m == 1 { tr!("1 minute").to_owned() } else { tr!("{m} minutes", m = m) }
}

fn compare(at: &str, step: Option<&StepCode>, old: &[Said], new: &[Said], all: &mut Vec<Change>) {
    let mut push = |what: &str, before: Option<&String>, after: Option<&String>| {
        all.push(Change {
            at: at.to_owned(),
            step: step.cloned(),
            what: what.to_owned(),
            before: before.cloned(),
            after: after.cloned(),
        });
    };
    for was in old {
        if was.many {
            if !new.contains(was) {
                push(was.what, Some(&was.value), None);
            }
        } else if !new.iter().any(|n| n.what == was.what) {
            push(was.what, Some(&was.value), None);
        }
    }
    for is in new {
        let was = old.iter().find(|o| o.what == is.what && (!is.many || o.value == is.value));
        match was {
            None => push(is.what, None, Some(&is.value)),
            Some(was) if was.value != is.value => push(is.what, Some(&was.value), Some(&is.value)),
            Some(_) => {}
        }
    }
    // The same sentences in another order, or one said twice.
    let row = |said: &[Said], what| -> Vec<String> {
        said.iter().filter(|s| s.many && s.what == what).map(|s| s.value.clone()).collect()
    };
    let mut kinds: Vec<&str> = old.iter().chain(new).filter(|s| s.many).map(|s| s.what).collect();
    kinds.dedup();
    for what in kinds {
        let (was, is) = (row(old, what), row(new, what));
        let same_set = was.iter().all(|x| is.contains(x)) && is.iter().all(|x| was.contains(x));
        let told = all.iter().any(|c| c.at == at && c.what == tr!("order of each {what}", what = what));
        if same_set && was != is && !told {
            all.push(Change {
                at: at.to_owned(),
                step: step.cloned(),
                what: tr!("order of each {what}", what = what),
                before: Some(was.join("; ")),
                after: Some(is.join("; ")),
            });
        }
    }
}

fn of_service(p: &Protocol) -> Vec<Said> {
    let mut all = All::default();
    all.one("title", &*p.title);
    all.one("code", &*p.code);
    all.one("chemistry", p.family.words());
    all.one("kind", p.kind.words());
    all.one(tr!("written for"), p.head.words());
    if let Some(r) = &p.retouch {
        all.one(tr!("new growth to treat again"), tr!("{} stretched", length::as_written(r.target_mm)));
        all.one(tr!("weeks between services, shortest"), r.least_weeks.to_string());
        all.one(tr!("weeks between services, usual"), r.middle_weeks.to_string());
        all.one(tr!("weeks between services, latest"), r.latest_weeks.to_string());
        all.one(tr!("where these weeks come from"), r.mark.words());
    }
    all.one(tr!("sections in order"), p.sections.iter().map(|s| s.words()).collect::<Vec<_>>().join(", "));
    all.each(tr!("sentence said at a stop"), p.stop_words.iter().cloned());
    all.0
}

fn of_application(a: &super::PlannedApplication) -> Vec<Said> {
    let mut all = All::default();
    all.one("called", &*a.title);
    all.one("chemistry", a.family.words());
    all.one("zone", a.zone.code().replace('-', " "));
    all.flag("straightens", a.straightens);
    all.one(tr!("strongest allowed"), a.strength_most.map(|s| s.words()).unwrap_or_default());
    all.one(tr!("what it does"), chemical_words(a.chemical));
    all.one(tr!("put on in"), a.steps.iter().map(|s| s.as_str()).collect::<Vec<_>>().join(", "));
    all.0
}

fn chemical_words(chemical: Chemical) -> &'static str {
    match chemical {
        Chemical::None => tr!("nothing goes on"),
        Chemical::Opening => tr!("opens the hair"),
        Chemical::Closing => tr!("closes the hair"),
    }
}

fn of_step(p: &Protocol, s: &Step) -> Vec<Said> {
    let mut all = All::default();
    all.one("title", &*s.title);
    all.one("words", &*s.words);
    all.each("caution", s.cautions.iter().map(|c| format!("{} ({})", c.words, c.mark.words())));
    all.one(tr!("what it does"), chemical_words(s.chemical));
    all.one("chemistry", s.family.map(|f| f.words()).unwrap_or_default());
    all.flag(tr!("normalising shampoo"), s.normalises);
    all.one(tr!("product at work"), s.application.map(String::from).unwrap_or_default());
    all.one(
        "work",
        match s.sections {
            None => String::new(),
            Some(SectionWork::Apply { pass }) => tr!("product goes on, pass {pass}", pass = pass),
            Some(SectionWork::Smooth) => "smoothed".to_owned(),
            Some(SectionWork::Rinse) => "rinsed".to_owned(),
        },
    );
    let own = s.order.as_ref().map(|_| p.sections_of(s).iter().map(|x| x.words()).collect::<Vec<_>>());
    all.one(tr!("its own sections"), own.map(|o| o.join(", ")).unwrap_or_default());
    all.each("rinses", s.rinses.iter().map(char::to_string));
    if let Some(mix) = &s.mix {
        let parts: Vec<_> = mix.parts.iter().map(|x| x.words()).collect();
        all.one("mixed", tr!("{} for {}", parts.join(", "), mix.application));
    }
    all.one("heat", s.heat.words());
    if let Some(l) = &s.look {
        all.one("watched", l.what.words());
        all.minutes(tr!("look again after"), Some(l.every_min));
        all.minutes(tr!("first look after"), l.from_min);
        all.one(tr!("where these looks come from"), l.mark.words());
    }
    all.one(tr!("puts on record"), s.records.map(|r| r.words()).unwrap_or_default());
    all.flag(tr!("rods are noted"), s.rods);
    all.flag(tr!("may be left out"), s.optional);
    all.each(tr!("hold point"), s.hold_points.iter().map(|h| h.title().to_owned()));
    clock(
        &mut all,
        s.phase,
        ["target", "shortest", tr!("longest allowed"), tr!("where these times come from")],
    );
    let from_touch = [
        tr!("target from first touch to rinse"),
        tr!("shortest from first touch to rinse"),
        tr!("longest allowed from first touch to rinse"),
        tr!("where the times from first touch come from"),
    ];
    clock(&mut all, s.exposure, from_touch);
    all.minutes(tr!("window for all passes"), s.window_min);
    all.one(tr!("where the window comes from"), s.window_mark.map(|m| m.words()).unwrap_or_default());
    all.minutes(tr!("usual minutes in the book"), Some(s.minutes_typical));
    all.minutes(tr!("fewest minutes in the book"), Some(s.minutes_least));
    all.one("hands", format!("{}, {}", s.hands.words(), s.hands_count));
    all.each("place", s.places.iter().map(|x| x.code().to_owned()));
    all.one(tr!("asks for a qualification in"), s.qualification.map(|f| f.words()).unwrap_or_default());
    all.0
}

fn clock(all: &mut All, times: Option<Times>, [target, least, most, source]: [&'static str; 4]) {
    let Some(t) = times else { return };
    all.minutes(target, t.target_min);
    all.minutes(least, t.least_min);
    all.minutes(most, t.most_min);
    all.one(
        source,
        match t.source {
            Source::Sheet => tr!("the product sheet"),
            Source::Default { mark } => mark.words(),
        },
    );
}

#[cfg(test)]
#[path = "difference_tests.rs"]
mod tests;
