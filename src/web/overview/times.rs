//! Times kept by week, and how far first and last quadrant lay apart by person.

use std::collections::BTreeMap;

use crate::domain::overview::{Quartiles, Times, Week, share};
use crate::flow::overview::times::Past;
use crate::flow::overview::{Frame, WEEKS};
use crate::web::overview::figure::{Cell, Figure, Row, keys, percent, short_day, week_cells};
use crate::web::picture::lying::{Lies, Lying, LyingRow};
use crate::web::picture::weeks::{Fill, WeekBars};

const FILLS: [(Fill, &str); 3] = [
    (Fill::Tone, mark!("rinsed by the target")),
    (Fill::Blank, mark!("after it, within the longest allowed")),
    (Fill::Danger, mark!("past the longest allowed")),
];

fn cut_words(past: &Past) -> &'static str {
    if past.cut { tr!(" There were more services than are counted here: these are the newest.") } else { "" }
}

/// Quadrants rinsed in time, by week.
pub fn kept(past: &Past, frame: &Frame) -> Figure {
    let weeks: Vec<Week> = frame.past().collect();
    let mut by_week = vec![Times::default(); weeks.len()];
    for given in &past.given {
        let week = Week::of(frame.zone.day_of(given.run.started_at));
        let at = usize::try_from(week.since(weeks[0])).ok().and_then(|n| by_week.get_mut(n));
        if let Some(sum) = at {
            given.timed.iter().for_each(|t| sum.add(t.times()));
        }
    }
    let mut all = Times::default();
    by_week.iter().for_each(|t| all.add(*t));
    let sentence = match share(all.kept(), all.all()) {
        None => tr!("No quadrant was timed in these weeks.").to_string(),
        Some(part) => trn!(
            all.all(),
            "Of {n} quadrant timed, {} % were rinsed within the longest allowed, {} by the target; on for longer: {}.",
            "Of {n} quadrants timed, {} % were rinsed within the longest allowed, {} by the target; on for longer: {}.",
            // Not rounded up to all of them while one was not.
            (part * 1000.0).floor() / 10.0,
            percent(all.by_target as f64 / all.all() as f64),
            all.past_most
        ),
    };
    let rows = weeks.iter().zip(&by_week).map(|(week, t)| {
        let mut cells = week_cells(*week);
        cells.extend([t.all(), t.by_target, t.by_most, t.past_most].map(Cell::of));
        cells.push(Cell::share(share(t.by_target, t.all())));
        cells.push(Cell::share(share(t.kept(), t.all())));
        Row {
            cells,
            href: if t.all() > 0 { format!("/overview/times/rows?week={week}") } else { String::new() },
        }
    });
    Figure {
        name: "times",
        heading: tr!("Times kept"),
        about: tr!(
            "Every quadrant that met a product that opens the hair and was rinsed, from its first touch, in services that ended.{}",
            cut_words(past)
        ),
        picture: (all.all() > 0).then(|| {
            WeekBars {
                weeks: weeks.iter().map(|w| short_day(w.monday())).collect(),
                today: Some(WEEKS - 1),
                parts: by_week
                    .iter()
                    .map(|t| {
                        let n = [t.by_target, t.by_most, t.past_most];
                        FILLS.iter().zip(n).map(|((fill, _), n)| (*fill, n as f64)).collect()
                    })
                    .collect(),
                unit: "quadrants",
                label: sentence.clone(),
            }
            .draw()
        }),
        sentence,
        keys: keys(&FILLS),
        columns: vec![
            tr!("Week"),
            tr!("Begins"),
            tr!("Quadrants"),
            tr!("By the target"),
            tr!("Within the longest allowed"),
            tr!("On for longer"),
            tr!("Share by the target"),
            tr!("Share within the longest"),
        ],
        rows: rows.collect(),
    }
}

/// First to last quadrant, by the person who began the service.
pub fn apart(past: &Past) -> Figure {
    let mut people: BTreeMap<(&str, i64), Vec<f64>> = BTreeMap::new();
    for given in &past.given {
        let mine = people.entry((given.run.by_name.as_str(), given.run.by)).or_default();
        mine.extend(given.timed.iter().filter_map(|t| t.apart_min()));
    }
    let found: Vec<(&str, i64, Quartiles, usize)> = people
        .iter()
        .filter_map(|((name, id), values)| Some((*name, *id, Quartiles::of(values)?, values.len())))
        .collect();
    let everybody: Vec<f64> = people.values().flatten().copied().collect();
    let sentence = match Quartiles::of(&everybody) {
        None => tr!("No application with two quadrants was timed in these weeks.").to_string(),
        Some(q) => trn!(
            everybody.len(),
            "Of {n} application half lie between {} and {} minutes from the shortest quadrant to the longest, the middle one at {}.",
            "Of {n} applications half lie between {} and {} minutes from the shortest quadrant to the longest, the middle one at {}.",
            format_args!("{:.1}", q.low),
            format_args!("{:.1}", q.high),
            format_args!("{:.1}", q.median)
        ),
    };
    let rows = found.iter().map(|(name, id, q, n)| Row {
        cells: vec![
            Cell::of(name),
            Cell::of(n),
            Cell::minutes(Some(q.low)),
            Cell::minutes(Some(q.median)),
            Cell::minutes(Some(q.high)),
        ],
        href: format!("/overview/spread/rows?person={id}"),
    });
    let picture = Lying {
        rows: found
            .iter()
            .map(|(name, _, q, _)| LyingRow {
                name: (*name).to_string(),
                words: tr!(
                    "{} min, {} to {}",
                    format_args!("{:.1}", q.median),
                    format_args!("{:.1}", q.low),
                    format_args!("{:.1}", q.high)
                ),
                lies: Lies::Box { low: q.low, middle: q.median, high: q.high },
            })
            .collect(),
        against: (0.0, String::new()),
        label: sentence.clone(),
    };
    Figure {
        name: "spread",
        heading: tr!("First to last"),
        about: tr!(
            "Minutes from the shortest to the longest quadrant of one application, by who began the service. Box: half of them, \
             stroke: the middle one.{}",
            cut_words(past)
        ),
        picture: (!found.is_empty()).then(|| picture.draw()),
        sentence,
        keys: Vec::new(),
        columns: vec![
            tr!("Person"),
            tr!("Applications"),
            tr!("A quarter below"),
            tr!("Half below"),
            tr!("Three quarters below"),
        ],
        rows: rows.collect(),
    }
}
