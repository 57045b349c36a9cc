//! What was held up and what somebody answered for; incidents.

use crate::domain::overview::Week;
use crate::domain::protocol::HoldPoint;
use crate::flow::overview::{Frame, WEEKS};
use crate::store::overview as store;
use crate::store::{Scoped, Stored};
use crate::web::incident_report::kind_words;
use crate::web::overview::figure::{Cell, Figure, Row, keys, short_day, week_cells};
use crate::web::picture::lying::{Lies, Lying, LyingRow};
use crate::web::picture::weeks::{Fill, WeekBars};

/// What may stand beside the hold points: code, words, and whether somebody answered for going on.
const BESIDE: [(&str, &str, bool); 5] = [
    ("plan-refused", mark!("Plan refused"), false),
    ("hands-named", mark!("Hands named by a manager"), true),
    ("stop-closed", mark!("Stop ended, for a reason"), true),
    ("consult-reason", mark!("Gone on where a physician was advised"), true),
    ("lot-released", mark!("Lot let out of quarantine"), true),
];

/// The words of what was held up, and whether somebody answered for going on; none for what there is not.
pub fn held_words(what: &str) -> Option<(&'static str, bool)> {
    let beside = BESIDE
        .iter()
        .find(|(code, ..)| *code == what)
        .map(|(_, words, over)| (crate::words::of(words), *over));
    beside.or_else(|| HoldPoint::from_code(what).map(|point| (point.title(), false)))
}

/// Hold points that said no, and what was let go on all the same.
pub async fn holds(s: &mut Scoped, frame: &Frame) -> Stored<Figure> {
    let (from, to) = frame.past_span();
    let counts = store::count_held(s, from, to).await?;
    let mut found: Vec<(String, &'static str, bool, u64)> = counts
        .into_iter()
        .filter_map(|c| {
            let (words, over) = held_words(&c.what)?;
            Some((c.what, words, over, u64::try_from(c.count).unwrap_or(0)))
        })
        .collect();
    found.sort_by(|a, b| (a.2, b.3, a.1).cmp(&(b.2, a.3, b.1)));
    let sum = |over: bool| found.iter().filter(|f| f.2 == over).map(|f| f.3).sum::<u64>();
    let (no, over) = (sum(false), sum(true));
    let sentence = match (no, over) {
        (0, 0) => tr!("Nothing was held up in these weeks.").to_string(),
        _ => trn!(
            no,
            "Something said no {n} time; somebody answered for going on: {over}.",
            "Something said no {n} times; somebody answered for going on: {over}.",
            over = over
        ),
    };
    let kind = |over: bool| if over { tr!("went on, answered for") } else { tr!("said no") };
    let picture = Lying {
        rows: found
            .iter()
            .map(|(_, words, over, n)| LyingRow {
                name: (*words).to_string(),
                words: n.to_string(),
                lies: Lies::Bar(if *over { Fill::Slant } else { Fill::Solid }, *n as f64),
            })
            .collect(),
        against: (0.0, String::new()),
        label: sentence.clone(),
    };
    Ok(Figure {
        name: "holds",
        heading: tr!("Held up, and gone on"),
        about: tr!("Hold points and plans that said no in this week and the eleven before it; then what a person answered for by name: \
                a failed scalp or a reaction is never among it, nobody may go on over those.")
            .into(),
        picture: (!found.is_empty()).then(|| picture.draw()),
        sentence,
        keys: keys(&[(Fill::Solid, tr!("said no")), (Fill::Slant, tr!("went on, answered for"))]),
        columns: vec![tr!("What"), tr!("How"), tr!("Times")],
        rows: found
            .iter()
            .map(|(code, words, over, n)| Row {
                cells: vec![Cell::of(words), Cell::of(kind(*over)), Cell::of(n)],
                href: format!("/overview/holds/rows?what={code}"),
            })
            .collect(),
    })
}

/// Incidents as they stand, in the order of the columns.
const KINDS: [&str; 6] =
    ["stop-and-rinse", "sting", "over-processed", "most-time-passed", "late-breach", "other"];

/// Incidents by week.
pub async fn incidents(s: &mut Scoped, frame: &Frame) -> Stored<Figure> {
    let (from, to) = frame.past_span();
    let counts = store::count_incidents(s, frame.zone.name(), from, to).await?;
    let weeks: Vec<Week> = frame.past().collect();
    let of = |week: Week, kind: &str| -> u64 {
        let found = counts.iter().find(|c| c.monday == week.monday() && c.what == kind);
        found.map_or(0, |c| u64::try_from(c.count).unwrap_or(0))
    };
    let sum = |kind: &str| weeks.iter().map(|w| of(*w, kind)).sum::<u64>();
    let all: u64 = KINDS.iter().map(|k| sum(k)).sum();
    let named: Vec<String> = KINDS
        .iter()
        .filter(|k| sum(k) > 0)
        .map(|k| format!("{} {}", sum(k), kind_words(k).to_lowercase()))
        .collect();
    let sentence = match all {
        0 => tr!("No incident was opened in these weeks.").to_string(),
        _ => trn!(all, "{n} incident was opened: {}.", "{n} incidents were opened: {}.", named.join(", ")),
    };
    let rows = weeks.iter().map(|week| {
        let mut cells = week_cells(*week);
        let n: u64 = KINDS.iter().map(|k| of(*week, k)).sum();
        cells.push(Cell::of(n));
        cells.extend(KINDS.iter().map(|k| Cell::of(of(*week, k))));
        Row {
            cells,
            href: if n > 0 { format!("/overview/incidents/rows?week={week}") } else { String::new() },
        }
    });
    let (stops, stings) = (|w| of(w, KINDS[0]) as f64, |w| of(w, KINDS[1]) as f64);
    Ok(Figure {
        name: "incidents",
        heading: tr!("Incidents"),
        about: tr!("By the week they were opened, this one and the eleven before it.").into(),
        picture: (all > 0).then(|| {
            WeekBars {
                weeks: weeks.iter().map(|w| short_day(w.monday())).collect(),
                today: Some(WEEKS - 1),
                parts: weeks
                    .iter()
                    .map(|w| {
                        let rest: u64 = KINDS[2..].iter().map(|k| of(*w, k)).sum();
                        vec![(Fill::Danger, stops(*w)), (Fill::Slant, stings(*w)), (Fill::Blank, rest as f64)]
                    })
                    .collect(),
                unit: "incidents",
                label: sentence.clone(),
            }
            .draw()
        }),
        sentence,
        keys: keys(&[
            (Fill::Danger, tr!("stop and rinse")),
            (Fill::Slant, tr!("it stings")),
            (Fill::Blank, tr!("all others")),
        ]),
        columns: vec![
            tr!("Week"),
            tr!("Begins"),
            tr!("Incidents"),
            tr!("Stop and rinse"),
            tr!("It stings"),
            tr!("Over-processed"),
            tr!("Longest allowed passed"),
            tr!("Known late"),
            tr!("Told afterwards"),
        ],
        rows: rows.collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_hold_point_has_words_and_what_there_is_not_has_none() {
        for point in HoldPoint::ALL {
            assert!(BESIDE.iter().all(|(code, ..)| *code != point.code()), "{point:?}");
            assert_eq!(held_words(point.code()), Some((point.title(), false)));
        }
        assert_eq!(held_words("lot-released").map(|w| w.1), Some(true));
        assert_eq!(held_words("'; select"), None);
    }
}
