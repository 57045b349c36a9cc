//! Differences against what a reader of both would write down.

use super::*;
use crate::domain::protocol::edit::{Shift, StepChange};
use crate::domain::protocol::{HoldPoint, Mark};
use crate::reference::Reference;

fn retouch() -> Protocol {
    Reference::shipped().protocol("curl-retouch").expect("shipped").clone()
}

fn words(old: &Protocol, new: &Protocol) -> Vec<String> {
    between(old, new).iter().map(Change::words).collect()
}

fn change(p: &mut Protocol, code: &str, f: impl FnOnce(&mut StepChange)) {
    let at = p.index_of(&code.into()).expect("that step");
    let mut c = StepChange::of(&p.steps[at]);
    f(&mut c);
    p.steps[at].change(c);
}

#[test]
fn nothing_differs_from_itself_whatever_its_number() {
    for p in &Reference::shipped().protocols {
        let mut next = p.clone();
        next.revision += 1;
        next.applications.iter_mut().for_each(|a| a.exposure_ceiling = None);
        assert_eq!(words(p, &next), Vec::<String>::new());
    }
}

#[test]
fn figures_hold_points_and_words_are_told_step_by_step() {
    let (old, mut new) = (retouch(), retouch());
    change(&mut new, "cover", |c| {
        c.phase.most_min = Some(12);
        c.hold_points.push(HoldPoint::Barrier);
    });
    change(&mut new, "receive", |c| c.minutes_typical = 20);
    let told = words(&old, &new);
    assert_eq!(
        told,
        [
            "Consult and drape, usual minutes in the book: 15 minutes → 20 minutes",
            "Cover and process, hold point added: Barrier",
            "Cover and process, longest allowed: 15 minutes → 12 minutes",
            "Cover and process, where these times come from: common practice, no source → this salon's own",
        ]
    );
}

#[test]
fn steps_that_came_went_or_moved_are_named_once() {
    let (old, mut new) = (retouch(), retouch());
    assert!(new.drop_step(&"trim".into()));
    new.add_step(&"dry".into(), &"section".into()).expect("added");
    assert!(new.shift_step(&"dispense".into(), Shift::Earlier));
    let told = words(&old, &new);
    assert_eq!(
        told,
        [
            "Trim, step taken out: Trim",
            "Four quadrants, step added: Four quadrants, after “Dry with the cool dryer”",
            "Base over scalp and hairline, place: after “Four quadrants” → after “Gloves on, dispense”",
        ]
    );
    // Backwards it is the same said the other way round.
    assert_eq!(words(&new, &old).len(), told.len());
}

#[test]
fn a_sentence_less_at_a_stop_is_told_and_so_is_another_order() {
    let (old, mut new) = (retouch(), retouch());
    new.stop_words.swap(0, 1);
    assert_eq!(words(&old, &new).len(), 1, "{:?}", words(&old, &new));
    new.stop_words.remove(0);
    assert!(words(&old, &new)[0].starts_with("Service, sentence said at a stop taken out: Eye"));
}

/// Whatever single thing is changed, something is told: each change below is to one field of the types.
#[test]
fn no_change_goes_untold() {
    let old = retouch();
    type Edit = Box<dyn Fn(&mut Protocol)>;
    let changes: Vec<(&str, Edit)> = vec![
        ("title", Box::new(|p| p.title.push('x'))),
        ("head", Box::new(|p| p.head = crate::domain::protocol::Head::Any)),
        ("retouch", Box::new(|p| p.retouch = None)),
        ("weeks", Box::new(|p| p.retouch.as_mut().expect("it comes again").middle_weeks += 1)),
        ("sections", Box::new(|p| p.sections.reverse())),
        ("application", Box::new(|p| p.applications[1].title.push('x'))),
        ("zone", Box::new(|p| p.applications[0].zone = crate::domain::protocol::PlannedZone::RootToEnd)),
        (
            "strength",
            Box::new(|p| p.applications[0].strength_most = Some(crate::domain::chemistry::Strength::Mild)),
        ),
        ("optional", Box::new(|p| p.steps[0].optional = true)),
        ("rods", Box::new(|p| p.steps[0].rods = true)),
        ("rinses", Box::new(|p| p.steps[11].rinses.clear())),
        ("window", Box::new(|p| p.steps[7].window_min = Some(14))),
        ("window mark", Box::new(|p| p.steps[7].window_mark = Some(Mark::Salon))),
        ("qualification", Box::new(|p| p.steps[7].qualification = None)),
        ("caution mark", Box::new(|p| p.steps[7].cautions[0].mark = Mark::Memory)),
        ("look", Box::new(|p| p.steps[12].look.as_mut().expect("watched").every_min = 3)),
        ("exposure", Box::new(|p| p.steps[12].exposure.as_mut().expect("a clock").most_min = Some(60))),
        ("places", Box::new(|p| p.steps[0].places.push(crate::domain::protocol::Place::Hood))),
        ("hands", Box::new(|p| p.steps[0].hands_count = 2)),
        ("least", Box::new(|p| p.steps[0].minutes_least = 1)),
        ("order", Box::new(|p| p.steps[7].order = Some(p.sections.clone()))),
        ("application of a step", Box::new(|p| p.steps[9].application = None)),
    ];
    for (what, change) in changes {
        let mut new = old.clone();
        change(&mut new);
        assert_ne!(new, old, "{what}");
        assert!(!words(&old, &new).is_empty(), "{what}");
    }
}
