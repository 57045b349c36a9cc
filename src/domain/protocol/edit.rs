//! A salon's changes to its copy of a protocol. Nothing here judges: `check` says what is wrong with what came out,
//! and what is wrong is kept as a draft, never published.

use super::{
    Caution, Chemical, Hands, HoldPoint, Mark, Place, Protocol, Retouch, Section, Source, Step, StepCode,
    Times,
};
use crate::domain::chemistry::Strength;

/// Which way a step goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shift {
    /// One earlier.
    Earlier,
    /// One later.
    Later,
}

/// The three figures of a clock, whole minutes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ClockFigures {
    /// When it is meant to end.
    pub target_min: Option<u16>,
    /// Never sooner.
    pub least_min: Option<u16>,
    /// Never longer.
    pub most_min: Option<u16>,
}

impl From<Times> for ClockFigures {
    fn from(t: Times) -> Self {
        ClockFigures { target_min: t.target_min, least_min: t.least_min, most_min: t.most_min }
    }
}

/// Everything of a step that a salon may set; what the step does to the hair stays as it is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StepChange {
    /// A few words: the headline.
    pub title: String,
    /// What is done, as said in the chair.
    pub words: String,
    /// Read beside the step, one sentence each.
    pub cautions: Vec<String>,
    /// What it waits for.
    pub hold_points: Vec<HoldPoint>,
    /// From the step's start; the product sheet's clocks stay the sheet's.
    pub phase: ClockFigures,
    /// From first touch to rinse, where the step has such a clock.
    pub exposure: ClockFigures,
    /// Minutes for all passes, where the step has a window.
    pub window_min: Option<u16>,
    /// Minutes from look to look, and to the first one, where something is watched.
    pub look: Option<(u16, Option<u16>)>,
    /// Minutes for the book.
    pub minutes_typical: u16,
    /// The fewest it takes.
    pub minutes_least: u16,
    /// Whose hands.
    pub hands: Hands,
    /// How many pairs.
    pub hands_count: u8,
    /// Where.
    pub places: Vec<Place>,
    /// Its own sections in their order, where it works by sections; none: as the service has them.
    pub order: Option<Vec<Section>>,
    /// May be left out.
    pub optional: bool,
}

/// Everything of a service as a whole that a salon may set; its chemistry stays as it is.
#[derive(Clone, Debug, PartialEq)]
pub struct ServiceChange {
    /// As said to a client.
    pub title: String,
    /// What each product is called, in their order.
    pub applications: Vec<String>,
    /// The strongest that may be planned, one for each product that opens the hair, in their order.
    pub strengths: Vec<Option<Strength>>,
    /// When it is due again, where growth decides that.
    pub retouch: Option<Retouch>,
    /// Sections in the order they are worked.
    pub sections: Vec<Section>,
    /// Said when anybody stops the service.
    pub stop_words: Vec<String>,
}

impl StepChange {
    /// The step as it stands.
    pub fn of(step: &Step) -> StepChange {
        StepChange {
            title: step.title.clone(),
            words: step.words.clone(),
            cautions: step.cautions.iter().map(|c| c.words.clone()).collect(),
            hold_points: step.hold_points.clone(),
            phase: step.phase.map(Into::into).unwrap_or_default(),
            exposure: step.exposure.map(Into::into).unwrap_or_default(),
            window_min: step.window_min,
            look: step.look.map(|l| (l.every_min, l.from_min)),
            minutes_typical: step.minutes_typical,
            minutes_least: step.minutes_least,
            hands: step.hands,
            hands_count: step.hands_count,
            places: step.places.clone(),
            order: step.order.clone(),
            optional: step.optional,
        }
    }
}

/// A clock with a salon's figures. Unchanged figures keep their mark; changed ones are the salon's own.
fn with_figures(times: Option<Times>, figures: ClockFigures) -> Option<Times> {
    match times {
        Some(t) if t.source == Source::Sheet || ClockFigures::from(t) == figures => Some(t),
        _ if figures == ClockFigures::default() => None,
        _ => Some(Times {
            target_min: figures.target_min,
            least_min: figures.least_min,
            most_min: figures.most_min,
            source: Source::Default { mark: Mark::Salon },
        }),
    }
}

impl Step {
    /// Takes a change in.
    pub fn change(&mut self, change: StepChange) {
        let known = std::mem::take(&mut self.cautions);
        let mark_of = |words: &str| known.iter().find(|c| c.words == words).map_or(Mark::Salon, |c| c.mark);
        self.cautions = change
            .cautions
            .into_iter()
            .map(|words| {
                let mark = mark_of(&words);
                Caution { words, mark }
            })
            .collect();
        self.title = change.title;
        self.words = change.words;
        self.hold_points = change.hold_points;
        self.phase = with_figures(self.phase, change.phase);
        if self.exposure.is_some() {
            self.exposure = with_figures(self.exposure, change.exposure);
        }
        if self.window_min.is_some() && self.window_min != change.window_min {
            self.window_min = change.window_min;
            self.window_mark = change.window_min.map(|_| Mark::Salon);
        }
        if let (Some(look), Some((every, from))) = (&mut self.look, change.look)
            && (look.every_min, look.from_min) != (every, from)
        {
            look.every_min = every;
            look.from_min = from;
            look.mark = Mark::Salon;
        }
        self.minutes_typical = change.minutes_typical;
        self.minutes_least = change.minutes_least;
        self.hands = change.hands;
        self.hands_count = change.hands_count;
        self.places = change.places;
        if self.sections.is_some() {
            self.order = change.order;
        }
        self.optional = change.optional;
    }

    /// Nothing goes on, nothing is rinsed, mixed, watched or put on record in it: it may be copied and carries no
    /// application of its own.
    pub fn is_plain(&self) -> bool {
        self.chemical == Chemical::None
            && self.sections.is_none()
            && self.rinses.is_empty()
            && self.mix.is_none()
            && self.records.is_none()
            && self.look.is_none()
            && !self.rods
    }
}

impl Protocol {
    /// Takes a change of the whole in. Unchanged figures keep their mark; changed ones are the salon's own.
    pub fn change(&mut self, change: ServiceChange) {
        self.title = change.title;
        for (a, title) in self.applications.iter_mut().zip(change.applications) {
            a.title = title;
        }
        let opening = self.applications.iter_mut().filter(|a| a.chemical == Chemical::Opening);
        for (a, strength) in opening.zip(change.strengths) {
            a.strength_most = strength;
        }
        if let (Some(kept), Some(new)) = (&mut self.retouch, change.retouch) {
            let new = Retouch { mark: kept.mark, ..new };
            if *kept != new {
                *kept = Retouch { mark: Mark::Salon, ..new };
            }
        }
        self.sections = change.sections;
        self.stop_words = change.stop_words;
    }

    /// Moves a step one place; false at the end of the list, or when there is no such step.
    pub fn shift_step(&mut self, code: &StepCode, shift: Shift) -> bool {
        let Some(at) = self.index_of(code) else { return false };
        let to = match shift {
            Shift::Earlier => at.checked_sub(1),
            Shift::Later => Some(at + 1).filter(|to| *to < self.steps.len()),
        };
        let Some(to) = to else { return false };
        self.steps.swap(at, to);
        self.realign();
        true
    }

    /// Takes a step out; false when there is none such.
    pub fn drop_step(&mut self, code: &StepCode) -> bool {
        let Some(at) = self.index_of(code) else { return false };
        self.steps.remove(at);
        self.realign();
        true
    }

    /// Puts a new step after another: a copy of a plain one, under a code of its own. None when either is missing,
    /// or the one to copy does something to the hair.
    pub fn add_step(&mut self, after: &StepCode, like: &StepCode) -> Option<StepCode> {
        let at = self.index_of(after)? + 1;
        let mut step = self.step(like).filter(|s| s.is_plain())?.clone();
        let free = |n: &usize| self.index_of(&StepCode(format!("own-{n}"))).is_none();
        // One more code than steps: one is free.
        let n = (1..=self.steps.len() + 1).find(free)?;
        step.code = StepCode(format!("own-{n}"));
        step.application = None;
        let code = step.code.clone();
        self.steps.insert(at, step);
        self.realign();
        Some(code)
    }

    /// The opening application on the hair while a step is done: touched before it and not rinsed yet.
    fn on_at(&self, at: usize) -> Option<char> {
        let before = self.steps.get(..at)?;
        let opened = before.iter().rev().filter(|s| s.is_opening()).find_map(|s| s.application)?;
        (!before.iter().any(|s| s.rinses.contains(&opened))).then_some(opened)
    }

    /// What follows from the order alone: an application lists the steps that put it on; a plain step done while
    /// product is on names that product, and hands then wear gloves.
    fn realign(&mut self) {
        for a in &mut self.applications {
            let puts_on = |s: &&Step| s.application == Some(a.letter) && s.is_chemical();
            a.steps = self.steps.iter().filter(puts_on).map(|s| s.code.clone()).collect();
        }
        for at in 0..self.steps.len() {
            let on = self.on_at(at);
            let opens = |letter| self.application(letter).is_none_or(|a| a.chemical == Chemical::Opening);
            let step = &self.steps[at];
            if !step.is_plain() || !step.application.is_none_or(opens) || step.application == on {
                continue;
            }
            let step = &mut self.steps[at];
            step.application = on;
            let bare = step.hands != Hands::Nobody && !step.hold_points.contains(&HoldPoint::Gloves);
            if on.is_some() && bare {
                step.hold_points.push(HoldPoint::Gloves);
            }
        }
    }

    /// The steps a new one may be a copy of.
    pub fn plain_steps(&self) -> impl Iterator<Item = &Step> {
        self.steps.iter().filter(|s| s.is_plain())
    }
}

#[cfg(test)]
mod tests {
    use super::super::check::check;
    use super::*;
    use crate::reference::Reference;

    fn retouch() -> Protocol {
        Reference::shipped().protocol("curl-retouch").expect("shipped").clone()
    }

    fn faults(p: &Protocol) -> Vec<String> {
        check(p, &Reference::shipped().floor).into_iter().map(|f| f.reason).collect()
    }

    #[test]
    fn a_step_taken_as_it_stands_changes_nothing() {
        for protocol in &Reference::shipped().protocols {
            for step in &protocol.steps {
                let mut same = step.clone();
                same.change(StepChange::of(step));
                assert_eq!(same, *step, "{} {}", protocol.code, step.code);
            }
        }
    }

    #[test]
    fn a_changed_figure_is_the_salons_own_and_the_sheets_clock_stays_the_sheets() {
        let mut p = retouch();
        let cover = p.index_of(&"cover".into()).expect("cover");
        let mut change = StepChange::of(&p.steps[cover]);
        change.phase.most_min = Some(12);
        change.cautions.push("Look at the hairline.".into());
        p.steps[cover].change(change);
        let phase = p.steps[cover].phase.expect("a clock");
        assert_eq!(
            (phase.most_min, phase.source),
            (Some(12), Source::Default { mark: Mark::Salon }),
            "nobody's but the salon's figure"
        );
        let marks: Vec<_> = p.steps[cover].cautions.iter().map(|c| c.mark).collect();
        assert_eq!(marks, [Mark::CommonPractice, Mark::Salon]);
        let apply = p.index_of(&"apply-1".into()).expect("apply-1");
        let mut change = StepChange::of(&p.steps[apply]);
        change.exposure.most_min = Some(40);
        p.steps[apply].change(change);
        assert_eq!(p.steps[apply].exposure.map(|t| (t.source, t.most_min)), Some((Source::Sheet, None)));
        assert_eq!(faults(&p), Vec::<String>::new());
    }

    #[test]
    fn a_new_step_while_product_is_on_names_it_and_asks_for_gloves() {
        let mut p = retouch();
        let code = p.add_step(&"apply-2".into(), &"section".into()).expect("added");
        let step = p.step(&code).expect("there");
        assert_eq!((step.application, step.code.as_str()), (Some('A'), "own-1"));
        assert!(step.hold_points.contains(&HoldPoint::Gloves));
        assert_eq!(faults(&p), Vec::<String>::new(), "so it keeps the floor");
        let late = p.add_step(&"condition".into(), &"section".into()).expect("added");
        assert_eq!(p.step(&late).map(|s| s.application), Some(None), "nothing is on there");
        assert_eq!(late.as_str(), "own-2");
        assert!(p.add_step(&"cover".into(), &"wind".into()).is_none(), "what opens the hair is not copied");
        assert!(p.drop_step(&code) && p.drop_step(&late));
        assert_eq!(p, retouch());
    }

    #[test]
    fn a_protecting_step_may_be_dropped_from_a_draft_and_is_missed_by_the_floor() {
        let mut p = retouch();
        assert!(p.drop_step(&"rinse-straightener".into()));
        assert!(faults(&p).iter().any(|f| f.contains("no later step rinses it off")), "{:?}", faults(&p));
        let mut p = retouch();
        assert!(p.shift_step(&"apply-1".into(), Shift::Later));
        assert!(faults(&p).iter().any(|f| f.contains("the pass before it is missing")));
        assert!(p.shift_step(&"apply-1".into(), Shift::Earlier));
        assert_eq!(p, retouch(), "back again it is as before");
        assert!(
            !p.shift_step(&"receive".into(), Shift::Earlier)
                && !p.shift_step(&"nowhere".into(), Shift::Later)
        );
    }
}
