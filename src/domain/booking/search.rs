//! The search for openings: exact and complete.
//!
//! Complete means: a start is found exactly when *some* choice of people fits all segments. The
//! segments of one booking never overlap in time, so a choice in one segment binds another only
//! through `same_as`. Each group of segments that one person does can therefore be looked at alone:
//! the start fits when every group has somebody free and qualified in all its segments, and every
//! kind of place is left in every segment. No search over assignments is needed.
//!
//! Starts are bits. A free span fits a segment for one run of neighbouring starts, so a person costs
//! a few ranges and word-wise "and" and "or"; nothing is tried start by start.

use super::free::{free_of_person, free_of_places};
use super::question::{Grid, Named, Opening, Openings, PatchVisit, Search, Worker};
use super::segment::{Chain, PlaceKind, Qualification, Span};
use super::starts::Starts;

/// Finds the openings nearest to the wanted instant.
#[must_use]
pub fn openings(search: &Search<'_>) -> Openings {
    let searched_starts = search.grid.starts();
    let nothing = Openings { openings: Vec::new(), searched_starts };
    let free: Vec<Vec<Span>> =
        search.people.iter().map(|worker| free_of_person(&worker.hours, &worker.taken)).collect();
    let Some(mut fits) = starts_with_places(search) else { return nothing };
    for group in search.chain.groups() {
        if fits.is_empty() {
            return nothing;
        }
        fits.keep(&starts_with_hands(search, &free, group));
    }
    let patches = search.patch_test.map(|visit| (visit, starts_of_patch(search, &free, visit)));
    let mut earliest_ms = search.not_before_ms.unwrap_or(i64::MIN);
    if let Some((visit, starts)) = &patches {
        let Some(first) = starts.first_from(0) else { return nothing };
        earliest_ms = earliest_ms
            .max((search.grid.at_ms(first) + visit.length_ms).saturating_add(visit.least_before_ms));
    }
    let openings = nearest(search, &fits, earliest_ms)
        .into_iter()
        .map(|start_ms| Opening {
            span: whole(search.chain, start_ms),
            hands: name_hands(search, &free, start_ms),
            patch_test: patches
                .as_ref()
                .and_then(|(visit, starts)| name_patch(search, &free, visit, starts, start_ms)),
        })
        .collect();
    Openings { openings, searched_starts }
}

fn whole(chain: &Chain, start_ms: i64) -> Span {
    let last = chain.span(chain.segments().len() - 1, start_ms);
    Span::new(start_ms, last.end_ms()).expect("a chain has segments, each longer than 0")
}

/// Adds the starts at which something `offset_ms` in and `length_ms` long lies inside a free span.
fn add_fitting(into: &mut Starts, grid: Grid, free: &[Span], offset_ms: i64, length_ms: i64) {
    for span in free {
        let first_ms = span.start_ms().saturating_sub(offset_ms);
        let last_ms = span.end_ms().saturating_sub(offset_ms + length_ms);
        if last_ms >= first_ms && last_ms >= grid.first_ms {
            into.add(grid.index_from(first_ms), grid.index_from(last_ms.saturating_add(1)));
        }
    }
}

/// Starts at which every segment finds its places; `None` when a kind is not there at all.
fn starts_with_places(search: &Search<'_>) -> Option<Starts> {
    let grid = search.grid;
    let mut fits = Starts::empty(grid.starts());
    fits.add(0, grid.starts());
    let whole = Span::new(grid.first_ms, grid.until_ms.saturating_add(search.chain.length_ms()))?;
    let mut one = Starts::empty(grid.starts());
    // Sorting what is taken is the dear part: once for each kind and number needed.
    let mut known: Vec<(&PlaceKind, usize, Vec<Span>)> = Vec::new();
    for (index, segment) in search.chain.segments().iter().enumerate() {
        for (nth, kind) in segment.places.iter().enumerate() {
            if segment.places[..nth].contains(kind) {
                continue; // counted at its first mention
            }
            let needed = segment.places.iter().filter(|other| *other == kind).count();
            let at = match known.iter().position(|(k, n, _)| *k == kind && *n == needed) {
                Some(at) => at,
                None => {
                    let stock = search.places.iter().find(|stock| stock.kind == *kind)?;
                    known.push((kind, needed, free_of_places(stock.count, needed, &stock.taken, whole)));
                    known.len() - 1
                }
            };
            one.clear();
            add_fitting(&mut one, grid, &known[at].2, search.chain.offset_ms(index), segment.length_ms);
            fits.keep(&one);
        }
    }
    Some(fits)
}

fn may(worker: &Worker, asked: Option<&Qualification>) -> bool {
    asked.is_none_or(|asked| worker.may.contains(asked))
}

fn may_all(search: &Search<'_>, worker: &Worker, group: &[usize]) -> bool {
    group.iter().all(|index| {
        let hands = search.chain.segments()[*index].hands.as_ref();
        may(worker, hands.and_then(|hands| hands.may.as_ref()))
    })
}

/// Starts at which somebody is qualified and free in all segments of the group.
fn starts_with_hands(search: &Search<'_>, free: &[Vec<Span>], group: &[usize]) -> Starts {
    let len = search.grid.starts();
    let mut anybody = Starts::empty(len);
    let (mut person, mut one) = (Starts::empty(len), Starts::empty(len));
    for (worker, free) in search.people.iter().zip(free) {
        if !may_all(search, worker, group) {
            continue;
        }
        for (nth, index) in group.iter().enumerate() {
            let into = if nth == 0 { &mut person } else { &mut one };
            into.clear();
            let length_ms = search.chain.segments()[*index].length_ms;
            add_fitting(into, search.grid, free, search.chain.offset_ms(*index), length_ms);
            if nth > 0 {
                person.keep(&one);
            }
        }
        anybody.join(&person);
    }
    anybody
}

fn starts_of_patch(search: &Search<'_>, free: &[Vec<Span>], visit: &PatchVisit) -> Starts {
    let mut starts = Starts::empty(search.grid.starts());
    for (worker, free) in search.people.iter().zip(free) {
        if may(worker, visit.may.as_ref()) {
            add_fitting(&mut starts, search.grid, free, 0, visit.length_ms);
        }
    }
    starts
}

/// The fitting starts from `earliest_ms` on, nearest to the wanted instant first, earlier on a tie.
fn nearest(search: &Search<'_>, fits: &Starts, earliest_ms: i64) -> Vec<i64> {
    let grid = search.grid;
    let distance = |index: usize| (i128::from(grid.at_ms(index)) - i128::from(search.wanted_ms)).abs();
    let floor = grid.index_from(earliest_ms);
    let middle = grid.index_from(search.wanted_ms).max(floor);
    let mut after = fits.first_from(middle);
    let mut before = fits.last_before(middle).filter(|index| *index >= floor);
    let mut found = Vec::new();
    while found.len() < search.most {
        let take_before = match (before, after) {
            (None, None) => break,
            (Some(before), Some(after)) => distance(before) <= distance(after),
            (before, _) => before.is_some(),
        };
        let taken = if take_before { &mut before } else { &mut after };
        let Some(index) = *taken else { break };
        found.push(grid.at_ms(index));
        *taken = if take_before {
            fits.last_before(index).filter(|index| *index >= floor)
        } else {
            fits.first_from(index + 1)
        };
    }
    found
}

/// Whether one of the sorted, disjoint spans covers the whole of `needed`.
fn is_free(free: &[Span], needed: Span) -> bool {
    let after = free.partition_point(|span| span.start_ms() <= needed.start_ms());
    after > 0 && free[after - 1].covers(needed)
}

fn name_hands(search: &Search<'_>, free: &[Vec<Span>], start_ms: i64) -> Vec<(usize, Named)> {
    let chain = search.chain;
    let mut hands = Vec::new();
    for group in chain.groups() {
        let person = search.people.iter().zip(free).position(|(worker, free)| {
            may_all(search, worker, group)
                && group.iter().all(|index| is_free(free, chain.span(*index, start_ms)))
        });
        let person = person.expect("the start was kept because somebody fits every group");
        hands.extend(group.iter().map(|&i| (i, Named { person, span: chain.span(i, start_ms) })));
    }
    hands.sort_unstable_by_key(|(segment, _)| *segment);
    hands
}

fn name_patch(
    search: &Search<'_>,
    free: &[Vec<Span>],
    visit: &PatchVisit,
    starts: &Starts,
    start_ms: i64,
) -> Option<Named> {
    let latest_ms = start_ms.saturating_sub(visit.least_before_ms).saturating_sub(visit.length_ms);
    let index = starts.last_before(search.grid.index_from(latest_ms.saturating_add(1)))?;
    let at_ms = search.grid.at_ms(index);
    let span = Span::new(at_ms, at_ms + visit.length_ms)?;
    let person = search
        .people
        .iter()
        .zip(free)
        .position(|(worker, free)| may(worker, visit.may.as_ref()) && is_free(free, span))?;
    Some(Named { person, span })
}
