//! Every row of the floor held against a protocol.

use super::check::{Check, Spot};
use super::floor::{Ask, Closer, Row, Subject, neutralises};
use super::{
    Hands, Head, Heat, HoldPoint, Kind, Look, Mix, PlannedApplication, PlannedZone, Protocol, Section,
    SectionWork, Source, Step, Times,
};
use crate::domain::chemistry::family::Group;
use std::collections::BTreeSet;

/// Holds every row; the faults go into the check.
pub(super) fn check(check: &mut Check<'_>) {
    let (protocol, floor) = (check.protocol, check.floor);
    for row in &floor.rows {
        // A test visit puts nothing on, and somebody may react all the same.
        if let (Ask::StopWords(words), Kind::TestVisit) = (&row.asks, protocol.kind) {
            stop_words(check, row, protocol, words);
        }
        for (i, a) in protocol.applications.iter().enumerate() {
            if row.subjects.iter().any(|s| s.is(protocol, a)) {
                Held { check, protocol, row, a, at: Spot::Application(i) }.application();
            }
        }
        if row.subjects.contains(&Subject::Closing) {
            for (i, step) in protocol.steps.iter().enumerate().filter(|(_, s)| s.is_closing()) {
                closing(check, row, i, step);
            }
        }
    }
}

fn say(check: &mut Check<'_>, row: &Row, spot: Spot, field: &'static str, reason: &str) {
    check.fault(spot, field, format!("{reason} ({}: {} {})", row.id, row.why, row.mark.words()));
}

/// Closing steps are held one by one: a normalising shampoo belongs to no application.
fn closing(check: &mut Check<'_>, row: &Row, i: usize, step: &Step) {
    match &row.asks {
        Ask::HoldPoint(point) => waits(check, row, Spot::Step(i), step, *point),
        Ask::NotOptional if step.optional => {
            say(check, row, Spot::Step(i), "optional", tr!("it is not left out"));
        }
        _ => {}
    }
}

fn waits(check: &mut Check<'_>, row: &Row, spot: Spot, step: &Step, point: HoldPoint) {
    if !step.hold_points.contains(&point) {
        let reason = tr!("it may not start without the hold point {}", point.code());
        say(check, row, spot, "hold_points", &reason);
    }
}

/// One row held against one application.
struct Held<'c, 'p> {
    check: &'c mut Check<'p>,
    protocol: &'p Protocol,
    row: &'p Row,
    a: &'p PlannedApplication,
    at: Spot,
}

impl<'p> Held<'_, 'p> {
    fn say(&mut self, spot: Spot, field: &'static str, reason: &str) {
        say(self.check, self.row, spot, field, reason);
    }

    /// The steps that put it on.
    fn puts_on(&self) -> Vec<(usize, &'p Step)> {
        let steps = self.protocol.steps.iter().enumerate();
        steps.filter(|(_, s)| s.application == Some(self.a.letter) && s.is_chemical()).collect()
    }

    /// The steps it is at work in.
    fn at_work(&self) -> Vec<(usize, &'p Step)> {
        let steps = self.protocol.steps.iter().enumerate();
        steps.filter(|(_, s)| s.application == Some(self.a.letter)).collect()
    }

    /// The first step after it went on that rinses it.
    fn rinse(&self) -> Option<usize> {
        let last = self.puts_on().last()?.0;
        let later = self.protocol.steps.iter().enumerate().skip(last + 1);
        later.into_iter().find(|(_, s)| s.rinses.contains(&self.a.letter)).map(|(i, _)| i)
    }

    fn application(mut self) {
        match &self.row.asks {
            Ask::HoldPoint(point) if self.a.chemical == super::Chemical::Opening => {
                for (i, step) in self.puts_on() {
                    waits(self.check, self.row, Spot::Step(i), step, *point);
                }
            }
            Ask::FirstHoldPoint(point) => {
                if let Some((i, step)) = self.puts_on().first() {
                    waits(self.check, self.row, Spot::Step(*i), step, *point);
                }
            }
            Ask::AtWorkHoldPoint(point) => {
                for (i, step) in self.at_work().into_iter().filter(|(_, s)| s.hands != Hands::Nobody) {
                    waits(self.check, self.row, Spot::Step(i), step, *point);
                }
            }
            Ask::StylistHands | Ask::Qualified | Ask::NotOptional => self.people(),
            Ask::Rinsed => self.rinsed(),
            Ask::ClosedBy(closer) => self.closed_by(*closer),
            Ask::RinseLeast(least) => self.rinse_least(*least),
            Ask::ExposureFromSheet | Ask::ExposureMost(_) => self.exposure(),
            Ask::PhaseMost(_) | Ask::PhaseLeast(_) | Ask::WindowMost(_) => self.phases(),
            Ask::NoHeat => self.no_heat(),
            Ask::LastSection(section) => self.last_section(*section),
            Ask::BackFirst => self.back_first(),
            Ask::NewGrowth(_) | Ask::NotRootToEnd(_) | Ask::StrengthMost(..) => self.head(),
            Ask::Mixed => self.mixed(),
            Ask::Watched(..) => self.watched(),
            Ask::NeverWith(group) => self.never_with(*group),
            Ask::StopWords(words) => stop_words(self.check, self.row, self.protocol, words),
            Ask::HoldPoint(_) => {}
        }
    }

    fn people(&mut self) {
        for (i, step) in self.puts_on() {
            let spot = Spot::Step(i);
            match self.row.asks {
                Ask::StylistHands if step.hands != Hands::Stylist => {
                    self.say(spot, "hands", tr!("a stylist's hands put it on"));
                }
                Ask::Qualified if step.qualification.is_none() => {
                    self.say(spot, "qualification", tr!("it asks for no qualification"));
                }
                Ask::Qualified if step.qualification.map(group) != Some(group(self.a.family)) => {
                    self.say(spot, "qualification", tr!("it asks for a qualification in another chemistry"));
                }
                Ask::NotOptional if step.optional => self.say(spot, "optional", tr!("it is not left out")),
                _ => {}
            }
        }
    }

    fn rinsed(&mut self) {
        let Some(last) = self.puts_on().last().map(|(i, _)| *i) else { return };
        let letter = self.a.letter;
        let later = self.protocol.steps.iter().skip(last + 1).filter(|s| s.rinses.contains(&letter));
        let rinsed: BTreeSet<Section> = later.flat_map(|s| self.protocol.sections_of(s)).copied().collect();
        let touched = self.protocol.sections_touched(letter);
        if self.rinse().is_none() {
            self.say(Spot::Step(last), "application", tr!("no later step rinses it off"));
        } else if touched.iter().any(|s| !rinsed.contains(s)) {
            self.say(Spot::Step(last), "application", tr!("its rinse leaves out a section that it touched"));
        }
    }

    fn closed_by(&mut self, closer: Closer) {
        let steps = &self.protocol.steps;
        let is = |s: &Step| match closer {
            Closer::Neutraliser => s.family.is_some_and(neutralises),
            Closer::NormalisingShampoo => s.normalises,
        };
        let Some(last) = self.puts_on().last().map(|(i, _)| *i) else { return };
        let closings: Vec<_> = steps.iter().enumerate().filter(|(_, s)| s.is_closing()).collect();
        for (i, _) in closings.iter().filter(|(_, s)| !is(s)) {
            let reason = tr!("{} is closed by {}", self.a.family.words(), closer.words());
            self.say(Spot::Step(*i), "family", &reason);
        }
        let rinse = self.rinse();
        let closed = closings.iter().rfind(|(_, s)| is(s)).map(|(i, _)| *i);
        if rinse.zip(closed).is_none_or(|(r, c)| r >= c) {
            let reason = tr!("no closing step follows its rinse: {}", closer.words());
            self.say(Spot::Step(last), "application", &reason);
        }
        if let Some(c) = closed.filter(|_| closer == Closer::Neutraliser) {
            let letter = steps[c].application;
            let off = steps.iter().skip(c + 1).any(|s| s.rinses.iter().any(|l| Some(*l) == letter));
            if !off {
                self.say(Spot::Step(c), "application", tr!("no later step rinses the neutraliser off"));
            }
        }
    }

    /// The last rinse of it before its neutraliser.
    fn rinse_least(&mut self, least: u16) {
        let Some(rinse) = self.rinse() else { return };
        let long = self.protocol.steps[rinse].phase.and_then(|t| t.least_min).is_some_and(|m| m >= least);
        if !long {
            let reason = tr!("rinsed at least {least} minutes before the neutraliser", least = least);
            self.say(Spot::Step(rinse), "phase", &reason);
        }
    }

    fn exposure(&mut self) {
        let clocks = self.at_work().into_iter().filter_map(|(i, s)| Some((i, s.exposure?)));
        for (i, times) in clocks.collect::<Vec<_>>() {
            match self.row.asks {
                Ask::ExposureFromSheet if times.source != Source::Sheet => {
                    self.say(
                        Spot::Step(i),
                        "exposure",
                        tr!("its longest time must come from the product sheet"),
                    );
                }
                Ask::ExposureMost(most) => self.most(Spot::Step(i), "exposure", &times, most),
                _ => {}
            }
        }
    }

    fn most(&mut self, spot: Spot, field: &'static str, times: &Times, most: u16) {
        if times.source == Source::Sheet {
            return;
        }
        let from =
            if field == "phase" { tr!("from the step's start") } else { tr!("from first touch to rinse") };
        match times.most_min {
            Some(m) if m <= most => {}
            Some(m) => self.say(
                spot,
                field,
                &tr!("{from}: {m} minutes, never above {most}", from = from, m = m, most = most),
            ),
            None => self.say(
                spot,
                field,
                &tr!("{from}: its longest is missing, never above {most}", from = from, most = most),
            ),
        }
    }

    fn phases(&mut self) {
        match self.row.asks {
            Ask::PhaseMost(most) => {
                for (i, step) in self.at_work() {
                    if let Some(times) = step.phase {
                        self.most(Spot::Step(i), "phase", &times, most);
                    }
                }
            }
            Ask::PhaseLeast(least) => {
                let works =
                    |(_, s): &(usize, &Step)| s.phase.and_then(|t| t.least_min).is_some_and(|m| m >= least);
                if !self.at_work().iter().any(works) {
                    let last = self.at_work().last().map_or(self.at, |(i, _)| Spot::Step(*i));
                    self.say(
                        last,
                        "phase",
                        &tr!("it works {least} minutes at least, in a phase of its own", least = least),
                    );
                }
            }
            Ask::WindowMost(most) => {
                for (i, step) in self.puts_on() {
                    if step.window_min.is_none_or(|m| m > most) {
                        self.say(
                            Spot::Step(i),
                            "window",
                            &tr!("its passes are done within {most} minutes", most = most),
                        );
                    }
                }
                let minutes: u16 = self.puts_on().iter().map(|(_, s)| s.minutes_typical).sum();
                if minutes > most {
                    let reason = tr!(
                        "its passes usually take {minutes} minutes, the window is {most}",
                        minutes = minutes,
                        most = most
                    );
                    self.say(self.at, "steps", &reason);
                }
            }
            _ => {}
        }
    }

    fn no_heat(&mut self) {
        let Some(first) = self.puts_on().first().map(|(i, _)| *i) else { return };
        let end = self.rinse().unwrap_or(self.protocol.steps.len());
        for i in first..end {
            if self.protocol.steps[i].heat != Heat::None {
                self.say(Spot::Step(i), "heat", &tr!("no heat while {} is on", self.a.family.words()));
            }
        }
    }

    /// Sections in the order of their first touch.
    fn touched_in_order(&self) -> Vec<Section> {
        let mut order: Vec<Section> = Vec::new();
        for (_, step) in self.puts_on() {
            let Some(SectionWork::Apply { .. }) = step.sections else { continue };
            for section in self.protocol.sections_of(step) {
                if !order.contains(section) {
                    order.push(*section);
                }
            }
        }
        order
    }

    fn first_step(&self) -> Spot {
        self.puts_on().first().map_or(self.at, |(i, _)| Spot::Step(*i))
    }

    fn last_section(&mut self, section: Section) {
        if self.touched_in_order().last() != Some(&section) {
            let reason = tr!("{}: a section of its own, touched last", section.words());
            self.say(self.first_step(), "sections", &reason);
        }
    }

    fn back_first(&mut self) {
        let order = self.touched_in_order();
        let front = |s: &Section| !s.is_back() && *s != Section::Hairline;
        let first_front = order.iter().position(front).unwrap_or(order.len());
        let back_after = order.iter().skip(first_front).any(|s| s.is_back());
        if back_after || !order.iter().any(|s| s.is_back()) {
            self.say(self.first_step(), "sections", tr!("back sections first"));
        }
    }

    fn head(&mut self) {
        let head = self.protocol.head;
        match self.row.asks {
            Ask::NewGrowth(h) if h == head && self.a.zone != PlannedZone::NewGrowth => {
                self.say(self.at, "zone", tr!("on a retouch it goes on the new growth only"));
            }
            Ask::NotRootToEnd(h) if h == head && self.a.zone == PlannedZone::RootToEnd => {
                let reason =
                    tr!("root to end asks for a head that has not met it: head = \"virgin\" or \"coloured\"");
                self.say(self.at, "zone", reason);
            }
            Ask::StrengthMost(h, strength)
                if h == head && self.a.strength_most.is_none_or(|s| s > strength) =>
            {
                let reason = tr!("{} strength at most on {}", strength.words(), Head::words(head));
                self.say(self.at, "strength_most", &reason);
            }
            _ => {}
        }
    }

    fn mixed(&mut self) {
        let mine = |m: &Mix| m.application == self.a.letter;
        let mixes = self.protocol.steps.iter().any(|s| s.mix.as_ref().is_some_and(mine));
        if !mixes {
            self.say(self.at, "steps", tr!("no step mixes it for this head"));
        }
        for (i, step) in self.puts_on() {
            waits(self.check, self.row, Spot::Step(i), step, HoldPoint::Mixed);
        }
    }

    fn watched(&mut self) {
        let Ask::Watched(what, every, from) = self.row.asks else { return };
        let fits = |l: Look| l.what == what && l.every_min <= every && l.first_min() <= from;
        // A run is belled by the first look it finds: no other may stand before it.
        let looks: Vec<_> = self.at_work().into_iter().filter_map(|(i, s)| Some((i, s.look?))).collect();
        let faulty = looks.iter().find(|(_, l)| !fits(*l)).map(|(i, _)| Spot::Step(*i));
        if let Some(spot) = faulty.or_else(|| looks.is_empty().then_some(self.at)) {
            let reason = tr!(
                "watched every {every} minutes or oftener, from {from} minutes on at the latest: {}",
                what.words(),
                every = every,
                from = from
            );
            self.say(spot, "look", &reason);
        }
    }

    fn never_with(&mut self, group: Group) {
        let with = |a: &&PlannedApplication| a.family.group() == group;
        if self.protocol.applications.iter().any(|a| with(&a)) {
            self.say(self.at, "family", &tr!("never in one protocol with {}", group.words()));
        }
    }
}

/// Some sentence holds all these words.
fn stop_words(check: &mut Check<'_>, row: &Row, protocol: &Protocol, words: &[String]) {
    let holds = |sentence: &String| {
        let sentence = sentence.to_lowercase();
        words.iter().all(|w| sentence.contains(&w.to_lowercase()))
    };
    if !protocol.stop_words.iter().any(holds) {
        let reason = tr!("stop words: no sentence says {}", words.join(", "));
        say(check, row, Spot::Protocol, "stop_words", &reason);
    }
}

fn group(family: crate::domain::chemistry::family::Family) -> Group {
    family.group()
}
