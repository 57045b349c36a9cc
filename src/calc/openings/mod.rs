//! `openings`: starts at which a whole service fits, in a salon given with the question.
//!
//! Decided here, where the contract is silent: hours do not run past midnight (`close` may be
//! `24:00`); a person or kind of place that is named but not listed is bad input; a `taken` is one
//! person or one place, and longer than nothing; what is finer than a millisecond is rounded, for
//! something taken outward. A question that would take too long to search is refused.

mod read;

use serde::Serialize;
use time::Duration;

use super::{BadInput, Fields, MOST_ITEMS, Node, answer};
use crate::calendar::{Zone, in_reach, instant_of_ms};
use crate::domain::booking::{Chain, Named, Openings, Search, ms_of, openings};
use read::{Days, Salon, read_chain, read_days, read_hours, read_patch_test};

/// Roughly a second of searching, in words of candidate starts looked at.
const MOST_WORK: usize = 500_000_000;
/// Nobody's local day is shorter than this, but for a day that is skipped.
const SHORTEST_DAY_MS: i64 = 20 * 3_600_000;

#[derive(Serialize)]
struct Answer<'a> {
    openings: Vec<OpeningAnswer<'a>>,
    searched_starts: usize,
}

#[derive(Serialize)]
struct OpeningAnswer<'a> {
    start: String,
    end: String,
    hands: Vec<HandsAnswer<'a>>,
    patch_test: Option<PatchAnswer<'a>>,
}

#[derive(Serialize)]
struct HandsAnswer<'a> {
    segment: usize,
    person: &'a str,
    start: String,
    end: String,
}

#[derive(Serialize)]
struct PatchAnswer<'a> {
    start: String,
    end: String,
    person: &'a str,
}

/// Computes one document.
pub(super) fn run(root: Node<'_>) -> Result<String, BadInput> {
    let fields = root.fields(&[
        "grid_minutes",
        "zone",
        "from",
        "days",
        "hours",
        "people",
        "places",
        "taken",
        "segments",
        "patch_test",
        "wanted",
        "most",
    ])?;
    let days = read_days(fields)?;
    let mut salon = Salon::read(fields)?;
    let chain = read_chain(fields.need("segments")?, &salon)?;
    let patch_test = fields.find("patch_test").map(read_patch_test).transpose()?;
    let wanted_ms = ms_of(fields.need("wanted")?.instant()?);
    let most = fields.need("most")?.whole(1..=MOST_ITEMS as i64)? as usize;

    salon.read_taken(fields)?;
    let longest_ms = chain.length_ms().max(patch_test.as_ref().map_or(0, |visit| visit.length_ms));
    let worked_days = days.days + (longest_ms / SHORTEST_DAY_MS) as u32 + 2;
    if !in_reach(days.from.saturating_add(Duration::days(i64::from(worked_days)))) {
        return Err(fields.need("from")?.bad("from must lie in the years 1 to 9998, to the last day"));
    }
    let hours = read_hours(fields.need("hours")?, &salon)?;
    check_work(&fields, &salon, &chain, &days, hours.len() * worked_days as usize)?;
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
        wanted_ms,
        most,
    });
    answer(&worded(&found, &salon, &days.zone))
}

fn worded<'a>(found: &Openings, salon: &Salon<'a>, zone: &Zone) -> Answer<'a> {
    let text = |ms| {
        let at = instant_of_ms(ms).expect("openings lie in days that were checked to be in reach");
        zone.rfc3339(at)
    };
    let hands = |&(segment, Named { person, span }): &(usize, Named)| HandsAnswer {
        segment,
        person: salon.ids[person],
        start: text(span.start_ms()),
        end: text(span.end_ms()),
    };
    let patch = |Named { person, span }: Named| PatchAnswer {
        start: text(span.start_ms()),
        end: text(span.end_ms()),
        person: salon.ids[person],
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

/// Refuses what would keep the machine busy for long.
fn check_work(
    fields: &Fields<'_>,
    salon: &Salon<'_>,
    chain: &Chain,
    days: &Days,
    hours: usize,
) -> Result<(), BadInput> {
    let words = days.grid.starts() / 64 + 1;
    let hands_on: usize = chain.groups().iter().map(Vec::len).sum();
    let occupied: usize = chain.segments().iter().map(|segment| segment.places.len()).sum();
    let taken: usize = salon.places.iter().map(|stock| stock.taken.len()).max().unwrap_or(0);
    let work = [
        salon.people.len().saturating_mul(hands_on + 1).saturating_mul(words),
        occupied.saturating_mul(salon.places.len() + 10 * taken + words),
        hours.saturating_mul(chain.segments().len() + 20),
    ];
    if work.into_iter().fold(0, usize::saturating_add) > MOST_WORK {
        return Err(fields.bad("too large to search: fewer days, people or segments, or a wider grid"));
    }
    Ok(())
}

#[cfg(test)]
mod tests;
