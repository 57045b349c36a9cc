//! A protocol read as a document: each step with its words, times, hands and hold points.

use crate::domain::protocol::check::{Fault, Spot};
use crate::domain::protocol::{Chemical, Protocol, SectionWork, Source, Step, Times};
use crate::domain::words::capital;

/// A step as it is read.
pub struct StepDocument {
    pub number: usize,
    pub code: String,
    pub title: String,
    pub words: String,
    /// Sentences with how far each can be trusted.
    pub cautions: Vec<String>,
    /// What it does to the hair; empty where nothing goes on.
    pub chemical: String,
    /// Label and value, in reading order.
    pub facts: Vec<(&'static str, String)>,
    /// What keeps the protocol from being published, of this step.
    pub faults: Vec<String>,
}

/// Every step in order, with its faults.
pub fn steps(protocol: &Protocol, faults: &[Fault]) -> Vec<StepDocument> {
    protocol.steps.iter().enumerate().map(|(i, s)| step(protocol, i, s, faults)).collect()
}

/// Faults that are of no step: of the whole, of an application, of when it is due.
pub fn whole_faults(protocol: &Protocol, faults: &[Fault]) -> Vec<String> {
    let of_whole = faults.iter().filter(|f| !matches!(f.spot, Spot::Step(_)));
    of_whole.map(|f| format!("{}: {}", spot_words(protocol, f.spot), f.reason)).collect()
}

/// What a fault speaks of, as the page names it: a step by its title.
pub fn spot_words(protocol: &Protocol, spot: Spot) -> String {
    match spot {
        Spot::Step(i) => {
            protocol.steps.get(i).map_or_else(|| spot.words(protocol), |s| format!("“{}”", s.title))
        }
        _ => capital(&spot.words(protocol)),
    }
}

fn step(protocol: &Protocol, i: usize, s: &Step, faults: &[Fault]) -> StepDocument {
    let title_of = |letter| protocol.application(letter).map_or_else(String::new, |a| a.title.clone());
    let mut facts: Vec<(&'static str, String)> = Vec::new();
    let mut fact = |label, value: String| {
        if !value.is_empty() {
            facts.push((label, value));
        }
    };
    let hands = if s.hands_count > 1 { tr!(", {} pairs", s.hands_count) } else { String::new() };
    fact(tr!("Hands"), format!("{}{hands}", s.hands.words()));
    fact(tr!("Where"), s.places.iter().map(|p| p.code()).collect::<Vec<_>>().join(", "));
    fact(tr!("In the book"), tr!("about {} minutes, {} at least", s.minutes_typical, s.minutes_least));
    fact(tr!("Waits for"), s.hold_points.iter().map(|h| h.title()).collect::<Vec<_>>().join(", "));
    fact(tr!("From the step’s start"), s.phase.map(times_words).unwrap_or_default());
    fact(tr!("From first touch to rinse"), s.exposure.map(times_words).unwrap_or_default());
    let window = s.window_min.map(|m| tr!("{m} minutes{}", marked(s.window_mark.map(|m| m.words())), m = m));
    fact(tr!("All passes within"), window.unwrap_or_default());
    let look = s.look.map(|l| {
        let from = l.from_min.map(|m| tr!(", from {m} on", m = m)).unwrap_or_default();
        tr!(
            "{}, every {} minutes{from}{}",
            l.what.words(),
            l.every_min,
            marked(Some(l.mark.words())),
            from = from
        )
    });
    fact(tr!("Watched"), look.unwrap_or_default());
    fact(tr!("Sections"), work_words(protocol, s));
    let rinses: Vec<_> = s.rinses.iter().map(|l| title_of(*l)).collect();
    fact(tr!("Rinses off"), rinses.join(", "));
    let mix = s.mix.as_ref().map(|m| m.parts.iter().map(|p| p.words()).collect::<Vec<_>>().join(" and "));
    fact(tr!("Mixes"), mix.unwrap_or_default());
    fact(tr!("Puts on record"), s.records.map(|r| r.words().to_owned()).unwrap_or_default());
    fact(tr!("May be left out"), if s.optional { tr!("yes").to_owned() } else { String::new() });
    let product = s.application.map(title_of).unwrap_or_default();
    StepDocument {
        number: i + 1,
        code: s.code.to_string(),
        title: s.title.clone(),
        words: s.words.clone(),
        cautions: s.cautions.iter().map(|c| format!("{} ({})", c.words, c.mark.words())).collect(),
        chemical: match s.chemical {
            Chemical::Opening => tr!("Opens the hair: {product}", product = product),
            Chemical::Closing if s.normalises => tr!("Closes the hair: normalising shampoo").to_owned(),
            Chemical::Closing => tr!("Closes the hair: {product}", product = product),
            Chemical::None if product.is_empty() => String::new(),
            Chemical::None => tr!("At work: {product}", product = product),
        },
        facts,
        faults: of_step(i, faults).map(|f| f.reason.clone()).collect(),
    }
}

/// The faults of one step.
pub fn of_step(i: usize, faults: &[Fault]) -> impl Iterator<Item = &Fault> {
    faults.iter().filter(move |f| f.spot == Spot::Step(i))
}

fn work_words(protocol: &Protocol, s: &Step) -> String {
    let Some(work) = s.sections else { return String::new() };
    let order: Vec<_> = protocol.sections_of(s).iter().map(|x| x.words()).collect();
    let how = match work {
        SectionWork::Apply { pass } => tr!("pass {pass}", pass = pass),
        SectionWork::Smooth => tr!("smoothed").to_owned(),
        SectionWork::Rinse => tr!("rinsed").to_owned(),
    };
    format!("{how}: {}", order.join(", "))
}

fn marked(mark: Option<&str>) -> String {
    mark.map(|m| format!(" ({m})")).unwrap_or_default()
}

fn times_words(t: Times) -> String {
    let Source::Default { mark } = t.source else { return tr!("as the product sheet says").to_owned() };
    let figures =
        [(tr!("target"), t.target_min), (tr!("shortest"), t.least_min), (tr!("longest allowed"), t.most_min)];
    let said = figures.into_iter().filter_map(|(w, m)| Some(tr!("{w} {} minutes", m?, w = w)));
    format!("{}{}", said.collect::<Vec<_>>().join(", "), marked(Some(mark.words())))
}
