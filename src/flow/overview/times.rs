//! Times kept: what the taps of each service say, folded as the Run folds them.

use std::collections::BTreeMap;

use time::OffsetDateTime;

use super::readable;

use crate::app::App;
use crate::domain::overview::Timed;
use crate::domain::protocol::{Protocol, Section};
use crate::domain::run::exposure::{self, Touch, TouchKind};
use crate::flow::runs::protocol;
use crate::store::overview::taps::{self, GivenRun, OpeningStep, Tap};
use crate::store::{Scoped, Stored};

/// A service with the times of each of its applications.
#[derive(Clone, Debug)]
pub struct Given {
    /// Which service.
    pub run: GivenRun,
    /// By application; those whose clock has no longest allowed are left out.
    pub timed: Vec<Timed>,
}

/// Services of a stretch of time with their times.
#[derive(Clone, Debug)]
pub struct Past {
    /// Newest first.
    pub given: Vec<Given>,
    /// There are more, older ones, and they were left out.
    pub cut: bool,
}

/// The times of services begun in a stretch of time and ended, of one person when asked.
///
/// # Errors
/// Those of the store.
pub async fn past(
    s: &mut Scoped,
    app: &App,
    (from, to): (OffsetDateTime, OffsetDateTime),
    by: Option<i64>,
) -> Stored<Past> {
    let runs = taps::list_runs(s, from, to, by).await?;
    let cut = runs.len() as i64 >= taps::MOST_RUNS;
    let ids: Vec<i64> = runs.iter().map(|r| r.run_id).collect();
    let steps = taps::list_opening_steps(s, &ids).await?;
    let mut codes: Vec<String> = steps.iter().map(|step| step.code.clone()).collect();
    codes.sort_unstable();
    codes.dedup();
    let taps = taps::list_taps(s, &ids, &codes).await?;
    let mut protocols: BTreeMap<(String, i32), Option<Protocol>> = BTreeMap::new();
    let mut given = Vec::with_capacity(runs.len());
    for run in runs {
        let key = (run.protocol.clone(), run.revision);
        if !protocols.contains_key(&key) {
            let found = readable(protocol(s, app, &run.protocol, run.revision).await)?;
            protocols.insert(key.clone(), found);
        }
        let timed = match protocols.get(&key) {
            Some(Some(protocol)) => timed(
                protocol,
                of_run(&steps, run.run_id, |x| x.run_id),
                of_run(&taps, run.run_id, |x| x.run_id),
            ),
            _ => Vec::new(),
        };
        given.push(Given { run, timed });
    }
    Ok(Past { given, cut })
}

/// The rows of one service among rows in the order of services.
fn of_run<T>(rows: &[T], run: i64, id: impl Fn(&T) -> i64) -> &[T] {
    let from = rows.partition_point(|x| id(x) < run);
    let to = rows.partition_point(|x| id(x) <= run);
    &rows[from..to]
}

fn timed(protocol: &Protocol, steps: &[OpeningStep], taps: &[Tap]) -> Vec<Timed> {
    let mut all = Vec::new();
    let mut letters: Vec<&str> = steps.iter().map(|step| step.application.as_str()).collect();
    letters.dedup();
    for letter in letters {
        let mine: Vec<&OpeningStep> = steps.iter().filter(|step| step.application == letter).collect();
        let clock = mine.iter().find_map(|step| Some((step.target_min?, step.most_min?)));
        let (Some((target, most)), Some(letter)) = (clock, letter.chars().next()) else { continue };
        let of_mine = |tap: &&Tap| mine.iter().any(|step| Some(step.code.as_str()) == tap.step.as_deref());
        let starts = taps.iter().filter(|t| t.kind == "step_started").filter(of_mine);
        let started = starts.clone().map(|t| t.happened_at).min();
        let mut touches: Vec<Touch> = starts
            .map(|t| Touch { at: t.happened_at, seq: i64::from(t.seq), what: TouchKind::Begun })
            .collect();
        touches.extend(taps.iter().filter(|t| t.kind == "section_rinsed" || of_mine(t)).filter_map(touch));
        let sections = protocol.sections_touched(letter);
        let Some(exposure) = exposure::fold(letter, &sections, started, &touches) else { continue };
        // What was never rinsed has no time: the client left with it, and that is on record elsewhere.
        let closed = exposure.sections.iter().filter(|section| !section.is_open());
        let sections = closed
            .map(|section| {
                section.spells.iter().filter_map(|p| Some(p.end? - p.start)).sum::<time::Duration>()
            })
            .collect();
        all.push(Timed { target_min: f64::from(target), most_min: f64::from(most), sections });
    }
    all
}

fn touch(tap: &Tap) -> Option<Touch> {
    let section = tap.section.as_deref().and_then(Section::from_code);
    let what = match tap.kind.as_str() {
        "section_started" => TouchKind::Start { section: section?, pass: u8::try_from(tap.pass?).ok()? },
        "section_rinsed" => TouchKind::Rinse { section, clear: tap.clear? },
        _ => return None,
    };
    Some(Touch { at: tap.happened_at, seq: i64::from(tap.seq), what })
}
