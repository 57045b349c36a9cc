//! `openings`: starts at which a whole service fits, in a salon given with the question.
//!
//! Decided here, where the contract is silent: hours do not run past midnight (`close` may be
//! `24:00`); a person or kind of place that is named but not listed is bad input; a `taken` is one
//! person or one place, and longer than nothing; what is finer than a millisecond is rounded, for
//! something taken outward. A question that would take too long to search is refused.

mod question;
mod read;

use super::area::Area;
use super::{BadInput, bad};
use crate::calendar::{Zone, in_reach, instant_of_ms};
use crate::domain::booking::{Named, Openings, Search, ms_of, openings};
use question::Question;
use read::{Days, MOST_STARTS, Salon, out_of_reach, patch_visit};
use schemars::JsonSchema;
use serde::Serialize;
use time::Duration;

/// Most steps of one search, of a nanosecond or a few; a salon of 40 for a month takes a thousandth.
const MOST_WORK: u64 = 200_000_000;
/// Steps of one row of hours on one day, looked up in the zone.
const HOURS_WORK: u64 = 60;
/// Steps of naming one pair of hands in an answer.
const HANDS_WORK: u64 = 600;
/// Nobody's local day is shorter than this, but for a day that is skipped.
const SHORTEST_DAY_MS: i64 = 20 * 3_600_000;

pub(super) struct OpeningsOfSalon;

/// Openings, nearest to the wanted instant first, the earlier of two as near.
#[derive(Serialize, JsonSchema)]
pub(super) struct Answer {
    /// The openings found.
    openings: Vec<OpeningAnswer>,
    /// How many starts were looked at (starts).
    searched_starts: usize,
}

/// One start that fits.
#[derive(Serialize, JsonSchema)]
struct OpeningAnswer {
    /// When the service begins, with the zone's offset then.
    start: String,
    /// When it ends, with the zone's offset then.
    end: String,
    /// Who could do each segment that needs hands.
    hands: Vec<HandsAnswer>,
    /// The patch-test visit before it; null when none was asked for.
    patch_test: Option<PatchAnswer>,
}

/// Hands of one segment.
#[derive(Serialize, JsonSchema)]
struct HandsAnswer {
    /// Index of the segment.
    segment: usize,
    /// Somebody who is free and may, by id.
    person: String,
    /// When the segment begins.
    start: String,
    /// When it ends.
    end: String,
}

/// A patch-test visit.
#[derive(Serialize, JsonSchema)]
struct PatchAnswer {
    /// When it begins.
    start: String,
    /// When it ends.
    end: String,
    /// Somebody who is free and may, by id.
    person: String,
}

impl Area for OpeningsOfSalon {
    const NAME: &'static str = "openings";
    const EXAMPLE: &'static str = r#"{"grid_minutes":5,"zone":"Europe/Paris","from":"2026-03-28","days":3,
 "hours":[{"person":"a","weekday":6,"open":"09:00","close":"18:00"}],
 "people":[{"id":"a","may":["thio"]},{"id":"b","may":[]}],
 "places":[{"kind":"chair","count":3},{"kind":"basin","count":1}],
 "taken":[{"person":"a","start":"2026-03-28T10:00:00+01:00","end":"2026-03-28T10:40:00+01:00"},
    {"place":"basin","start":"2026-03-28T13:00:00+01:00","end":"2026-03-28T13:10:00+01:00"}],
 "segments":[{"minutes":40,"hands":{"may":"thio","same_as":null},"places":["chair"]},
    {"minutes":20,"hands":null,"places":["chair"]},
    {"minutes":10,"hands":{"may":null,"same_as":0},"places":["basin"]}],
 "patch_test":null,"wanted":"2026-03-28T12:00:00+01:00","most":5}"#;
    type Question = Question;
    type Answer = Answer;

    fn work(question: &Question) -> Result<u64, BadInput> {
        match work(question, worked_days(question)) {
            much if much > MOST_WORK => {
                Err(bad("", "too large to search: fewer days, people, segments or openings, or a wider grid"))
            }
            work => Ok(work),
        }
    }

    fn dear() -> String {
        format!(
            "One question takes at most {MOST_WORK} steps and {MOST_STARTS} starts. Its steps are people × (segments with \
             hands + 1) × starts / 64; and places named in segments × (64 × kinds of place + 10 × taken + starts / 64); and \
             rows of hours × days × ({HOURS_WORK} + segments), the days being those asked for and as many after them as the \
             service lasts; and taken × (segments with hands + 100); and (people + their qualifications) × 8 × (segments \
             with hands + 1); and openings named × (segments with hands + 1) × ({HANDS_WORK} + 8 × (people + their \
             qualifications))."
        )
    }

    fn answer(question: Question) -> Result<Answer, BadInput> {
        let days = Days::read(&question)?;
        let mut salon = Salon::read(&question)?;
        let chain = salon.read_chain(&question.segments.0)?;
        let patch_test = patch_visit(&question);
        salon.read_taken(question.taken.as_ref().map_or(&[][..], |taken| &taken.0))?;
        let worked_days = worked_days(&question);
        let last = Duration::days(i64::from(days.days.max(worked_days)));
        if !in_reach(days.from.saturating_add(last)) {
            return Err(out_of_reach());
        }
        let hours = salon.read_hours(&question.hours.0)?;
        for (person, hours) in hours {
            salon.people[person].hours.extend(days.zone.hours(days.from, worked_days, &[hours]));
        }
        let found = openings(&Search {
            grid: days.grid,
            people: &salon.people,
            places: &salon.places,
            chain: &chain,
            patch_test: patch_test.as_ref(),
            not_before_ms: None,
            wanted_ms: ms_of(question.wanted.0),
            most: question.most.0 as usize,
        });
        Ok(worded(&found, &salon, &days.zone))
    }
}

fn worded(found: &Openings, salon: &Salon<'_>, zone: &Zone) -> Answer {
    let text = |ms| {
        let at = instant_of_ms(ms).expect("openings lie in days that were checked to be in reach");
        zone.rfc3339(at)
    };
    let hands = |&(segment, Named { person, span }): &(usize, Named)| HandsAnswer {
        segment,
        person: salon.ids[person].to_owned(),
        start: text(span.start_ms()),
        end: text(span.end_ms()),
    };
    let patch = |Named { person, span }: Named| PatchAnswer {
        start: text(span.start_ms()),
        end: text(span.end_ms()),
        person: salon.ids[person].to_owned(),
    };
    let openings = found
        .openings
        .iter()
        .map(|opening| OpeningAnswer {
            start: text(opening.span.start_ms()),
            end: text(opening.span.end_ms()),
            hands: opening.hands.iter().map(hands).collect(),
            patch_test: opening.patch_test.map(patch),
        })
        .collect();
    Answer { openings, searched_starts: found.searched_starts }
}

/// Local days whose hours may matter: the days asked for and as long after them as the service or its visit takes.
fn worked_days(question: &Question) -> u32 {
    let service_ms = question.segments.0.iter().fold(0_i64, |sum, s| sum.saturating_add(s.minutes.ms));
    let longest_ms = service_ms.max(question.patch_test.as_ref().map_or(0, |visit| visit.minutes.ms));
    question.days.0 as u32 + u32::try_from(longest_ms / SHORTEST_DAY_MS).unwrap_or(u32::MAX / 2) + 2
}

/// How long the search takes at most, in steps of a nanosecond or a few.
fn work(question: &Question, worked_days: u32) -> u64 {
    let sum = |counts: &mut dyn Iterator<Item = usize>| counts.fold(0_u64, |sum, n| sum + n as u64);
    let length = |list: Option<usize>| list.unwrap_or(0);
    let people = question.people.0.len() as u64;
    // A qualification is compared with all of somebody's.
    let may = sum(&mut question.people.0.iter().map(|p| length(p.may.as_ref().map(|may| may.0.len()))));
    let asked = people + may;
    let segments = question.segments.0.len() as u64;
    let hands_on = question.segments.0.iter().filter(|segment| segment.hands.is_some()).count() as u64;
    let occupied =
        sum(&mut question.segments.0.iter().map(|s| length(s.places.as_ref().map(|places| places.0.len()))));
    let taken = length(question.taken.as_ref().map(|taken| taken.0.len())) as u64;
    let starts = (question.days.0 as u64 * 25 * 3_600_000) / question.grid_minutes.ms as u64 + 1;
    let words = starts / 64 + 1;
    let spans = (question.hours.0.len() as u64).saturating_mul(u64::from(worked_days));
    let named = (question.most.0 as u64).min(starts);
    let steps = [
        people.saturating_mul(hands_on + 1).saturating_mul(words),
        asked.saturating_mul(8 * (hands_on + 1)),
        occupied.saturating_mul(64 * question.places.0.len() as u64 + 10 * taken + words),
        spans.saturating_mul(HOURS_WORK + segments),
        taken.saturating_mul(hands_on + 100),
        named.saturating_mul(hands_on + 1).saturating_mul(HANDS_WORK + 8 * asked),
    ];
    steps.into_iter().fold(0, u64::saturating_add)
}

#[cfg(test)]
mod tests;
