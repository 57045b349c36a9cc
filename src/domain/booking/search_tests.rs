//! The search against its definition: small cases by hand, and every start tried by brute force.

use proptest::prelude::*;

use super::*;

const MIN: i64 = 60_000;

fn span(start_min: i64, end_min: i64) -> Span {
    Span::new(start_min * MIN, end_min * MIN).unwrap()
}

fn thio() -> Qualification {
    Qualification("thio".to_owned())
}

fn kind(name: &str) -> PlaceKind {
    PlaceKind(name.to_owned())
}

fn worker(may: &[Qualification], hours: &[Span], taken: &[Span]) -> Worker {
    Worker { may: may.to_vec(), hours: hours.to_vec(), taken: taken.to_vec() }
}

fn hands_on(minutes: i64, may: Option<Qualification>, same_as: Option<usize>, place: &str) -> Segment {
    Segment { length_ms: minutes * MIN, hands: Some(Hands { may, same_as }), places: vec![kind(place)] }
}

fn hands_off(minutes: i64, place: &str) -> Segment {
    Segment { length_ms: minutes * MIN, hands: None, places: vec![kind(place)] }
}

fn stock(name: &str, count: usize, taken: &[Span]) -> PlaceStock {
    PlaceStock { kind: kind(name), count, taken: taken.to_vec() }
}

/// A day of 120 minutes at 10 minutes, wanted at its start.
fn search<'a>(people: &'a [Worker], places: &'a [PlaceStock], chain: &'a Chain) -> Search<'a> {
    Search {
        grid: Grid { first_ms: 0, until_ms: 120 * MIN, step_ms: 10 * MIN },
        people,
        places,
        chain,
        patch_test: None,
        not_before_ms: None,
        wanted_ms: 0,
        most: 100,
    }
}

fn starts_min(answer: &Openings) -> Vec<i64> {
    answer.openings.iter().map(|opening| opening.span.start_ms() / MIN).collect()
}

#[test]
fn hands_serve_another_client_while_this_one_processes() {
    // The only stylist is booked from 20 to 30; the service needs her 0–20, not 20–30, and 30–40.
    let chain = Chain::new(vec![
        hands_on(20, Some(thio()), None, "chair"),
        hands_off(10, "chair"),
        hands_on(10, None, Some(0), "basin"),
    ])
    .unwrap();
    let people = [worker(&[thio()], &[span(0, 40)], &[span(20, 30)])];
    let places = [stock("chair", 1, &[]), stock("basin", 1, &[])];
    let answer = openings(&search(&people, &places, &chain));
    assert_eq!(starts_min(&answer), [0]);
    assert_eq!(answer.openings[0].hands[1], (2, Named { person: 0, span: span(30, 40) }));
    assert_eq!(answer.searched_starts, 12);
}

#[test]
fn the_same_person_may_do_two_segments_that_do_not_ask_for_each_other() {
    let chain =
        Chain::new(vec![hands_on(10, None, None, "chair"), hands_on(10, None, None, "chair")]).unwrap();
    let people = [worker(&[], &[span(0, 20)], &[])];
    let places = [stock("chair", 1, &[])];
    assert_eq!(starts_min(&openings(&search(&people, &places, &chain))), [0]);
}

#[test]
fn same_as_needs_one_person_for_both() {
    let tied = |same_as| {
        Chain::new(vec![hands_on(10, None, None, "chair"), hands_on(10, None, same_as, "chair")]).unwrap()
    };
    let people = [worker(&[], &[span(0, 10)], &[]), worker(&[], &[span(10, 20)], &[])];
    let places = [stock("chair", 1, &[])];
    assert_eq!(starts_min(&openings(&search(&people, &places, &tied(None)))), [0]);
    assert_eq!(starts_min(&openings(&search(&people, &places, &tied(Some(0))))), [0; 0]);
}

#[test]
fn the_nearest_comes_first_and_the_earlier_on_a_tie() {
    let chain = Chain::new(vec![hands_on(10, None, None, "chair")]).unwrap();
    let people = [worker(&[], &[span(0, 120)], &[span(60, 70)])];
    let places = [stock("chair", 1, &[])];
    let wanted = Search { wanted_ms: 60 * MIN, most: 4, ..search(&people, &places, &chain) };
    assert_eq!(starts_min(&openings(&wanted)), [50, 70, 40, 80]);
    let floor = Search { not_before_ms: Some(61 * MIN), ..wanted };
    assert_eq!(starts_min(&openings(&floor)), [70, 80, 90, 100]);
}

#[test]
fn the_patch_test_is_the_latest_visit_that_ends_early_enough() {
    let chain = Chain::new(vec![hands_on(20, Some(thio()), None, "chair")]).unwrap();
    let people = [worker(&[thio()], &[span(70, 120)], &[]), worker(&[], &[span(0, 35)], &[span(10, 20)])];
    let places = [stock("chair", 1, &[])];
    let visit = PatchVisit { length_ms: 15 * MIN, least_before_ms: 48 * MIN, may: None };
    let asked = Search { patch_test: Some(&visit), ..search(&people, &places, &chain) };
    let answer = openings(&asked);
    // 20–35 by the second person, then 48 minutes: 83, so the first start is 90.
    assert_eq!(starts_min(&answer), [90, 100]);
    assert_eq!(answer.openings[0].patch_test, Some(Named { person: 1, span: span(20, 35) }));
    // Ending exactly so long before is enough: 35 and 55 make 90.
    let exact = PatchVisit { least_before_ms: 55 * MIN, ..visit.clone() };
    let answer = openings(&Search { patch_test: Some(&exact), ..asked.clone() });
    assert_eq!(starts_min(&answer), [90, 100]);
    assert_eq!(answer.openings[0].patch_test, Some(Named { person: 1, span: span(20, 35) }));
    let never = PatchVisit { may: Some(Qualification("hydroxide".to_owned())), ..visit };
    assert_eq!(openings(&Search { patch_test: Some(&never), ..asked }).openings, []);
}

#[test]
fn places_are_counted_and_two_of_a_kind_are_two() {
    let two = Segment { places: vec![kind("chair"), kind("chair")], ..hands_off(10, "chair") };
    let chain = Chain::new(vec![two]).unwrap();
    let places = [stock("chair", 3, &[span(0, 30), span(20, 40)])];
    let answer = openings(&search(&[], &places, &chain));
    assert_eq!(starts_min(&answer)[..3], [0, 10, 30]);
    assert_eq!(openings(&search(&[], &[], &chain)).openings, []);
}

#[test]
fn an_empty_grid_and_wild_numbers_give_no_opening() {
    let chain = Chain::new(vec![hands_off(10, "chair")]).unwrap();
    let places = [stock("chair", 1, &[])];
    let base = search(&[], &places, &chain);
    let empty = Search { grid: Grid { until_ms: 0, ..base.grid }, ..base.clone() };
    assert_eq!(openings(&empty), Openings { openings: vec![], searched_starts: 0 });
    let far = Search { wanted_ms: i64::MAX, most: 1, ..base.clone() };
    assert_eq!(starts_min(&openings(&far)), [110]);
    let past = Search { wanted_ms: i64::MIN, most: 1, ..base.clone() };
    assert_eq!(starts_min(&openings(&past)), [0]);
    let never = PatchVisit { length_ms: MIN, least_before_ms: i64::MAX, may: None };
    let people = [worker(&[], &[span(0, 120)], &[])];
    assert_eq!(openings(&Search { people: &people, patch_test: Some(&never), ..base }).openings, []);
}

// ---- every start tried, every choice of people tried ----

#[derive(Clone, Debug)]
struct Salon {
    people: Vec<Worker>,
    places: Vec<PlaceStock>,
    segments: Vec<Segment>,
    patch: Option<PatchVisit>,
    wanted_ms: i64,
}

fn some_spans(most: usize) -> impl Strategy<Value = Vec<Span>> {
    prop::collection::vec((0_i64..26, 1_i64..8).prop_map(|(at, len)| span(at * 5, (at + len) * 5)), 0..most)
}

fn some_may() -> impl Strategy<Value = Option<Qualification>> {
    prop::sample::select(vec![None, Some(thio()), Some(Qualification("lye".to_owned()))])
}

fn some_worker() -> impl Strategy<Value = Worker> {
    (prop::collection::vec(some_may(), 0..3), some_spans(5), some_spans(3))
        .prop_map(|(may, hours, taken)| Worker { may: may.into_iter().flatten().collect(), hours, taken })
}

fn some_segments() -> impl Strategy<Value = Vec<Segment>> {
    let one = (1_i64..5, any::<bool>(), some_may(), any::<prop::sample::Index>(), 0_usize..4, 0_usize..3);
    prop::collection::vec(one, 1..5).prop_map(|list| {
        let mut segments: Vec<Segment> = Vec::new();
        for (steps, on, may, tie, tied, place) in list {
            let hands_on: Vec<usize> = (0..segments.len()).filter(|i| segments[*i].hands.is_some()).collect();
            let same_as = (tied < 2 && !hands_on.is_empty()).then(|| hands_on[tie.index(hands_on.len())]);
            let places = [vec![], vec![kind("chair")], vec![kind("basin"), kind("chair")]][place].clone();
            let hands = on.then_some(Hands { may, same_as });
            segments.push(Segment { length_ms: steps * 5 * MIN, hands, places });
        }
        segments
    })
}

fn some_salon() -> impl Strategy<Value = Salon> {
    let patch = prop::option::of((1_i64..4, 0_i64..8, some_may())).prop_map(|patch| {
        patch.map(|(len, before, may)| PatchVisit {
            length_ms: len * 5 * MIN,
            least_before_ms: before * 5 * MIN,
            may,
        })
    });
    (
        prop::collection::vec(some_worker(), 0..4),
        (1_usize..3, some_spans(4), 1_usize..3, some_spans(4)),
        some_segments(),
        patch,
        -20_i64..150,
    )
        .prop_map(|(people, (chairs, chair_taken, basins, basin_taken), segments, patch, wanted)| {
            Salon {
                people,
                places: vec![stock("chair", chairs, &chair_taken), stock("basin", basins, &basin_taken)],
                segments,
                patch,
                wanted_ms: wanted * MIN,
            }
        })
}

/// Free by the definition, minute by minute: works throughout, nothing taken overlaps.
fn is_free(worker: &Worker, may: Option<&Qualification>, needed: Span) -> bool {
    let works = (needed.start_ms()..needed.end_ms()).step_by(MIN as usize).all(|at| {
        let minute = Span::new(at, at + MIN).unwrap();
        worker.hours.iter().any(|hours| hours.covers(minute))
    });
    works
        && !worker.taken.iter().any(|taken| taken.overlaps(needed))
        && may.is_none_or(|may| worker.may.contains(may))
}

fn has_places(places: &[PlaceStock], segment: &Segment, needed: Span) -> bool {
    segment.places.iter().all(|kind| {
        let stock = places.iter().find(|stock| stock.kind == *kind).unwrap();
        (needed.start_ms()..needed.end_ms()).step_by(MIN as usize).all(|at| {
            let minute = Span::new(at, at + MIN).unwrap();
            stock.taken.iter().filter(|taken| taken.overlaps(minute)).count() < stock.count
        })
    })
}

/// Tries every person in every segment, one after the other, going back when stuck.
fn some_choice_fits(salon: &Salon, chain: &Chain, start_ms: i64, chosen: &mut Vec<Option<usize>>) -> bool {
    let Some(segment) = salon.segments.get(chosen.len()) else { return true };
    let needed = chain.span(chosen.len(), start_ms);
    if !has_places(&salon.places, segment, needed) {
        return false;
    }
    let candidates: Vec<Option<usize>> = match &segment.hands {
        None => vec![None],
        Some(hands) => (0..salon.people.len())
            .filter(|person| hands.same_as.is_none_or(|same| chosen[same] == Some(*person)))
            .filter(|person| is_free(&salon.people[*person], hands.may.as_ref(), needed))
            .map(Some)
            .collect(),
    };
    candidates.into_iter().any(|candidate| {
        chosen.push(candidate);
        let fits = some_choice_fits(salon, chain, start_ms, chosen);
        chosen.pop();
        fits
    })
}

fn by_brute_force(salon: &Salon, chain: &Chain, grid: Grid) -> Vec<(i64, Option<i64>)> {
    let patch_before = |start_ms: i64, visit: &PatchVisit| {
        (0..grid.starts()).map(|index| grid.at_ms(index)).rfind(|at| {
            let end_ms = at + visit.length_ms;
            let span = Span::new(*at, end_ms).unwrap();
            end_ms + visit.least_before_ms <= start_ms
                && salon.people.iter().any(|worker| is_free(worker, visit.may.as_ref(), span))
        })
    };
    let mut found = Vec::new();
    for start_ms in (0..grid.starts()).map(|index| grid.at_ms(index)) {
        let patch = salon.patch.as_ref().map(|visit| patch_before(start_ms, visit));
        if patch != Some(None) && some_choice_fits(salon, chain, start_ms, &mut Vec::new()) {
            found.push((start_ms, patch.flatten()));
        }
    }
    found.sort_by_key(|(start_ms, _)| ((start_ms - salon.wanted_ms).abs(), *start_ms));
    found
}

fn ask(salon: &Salon, chain: &Chain) -> Openings {
    openings(&Search {
        patch_test: salon.patch.as_ref(),
        wanted_ms: salon.wanted_ms,
        ..search(&salon.people, &salon.places, chain)
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn exactly_the_openings_of_brute_force_are_found(salon in some_salon()) {
        let chain = Chain::new(salon.segments.clone()).unwrap();
        let grid = Grid { first_ms: 0, until_ms: 120 * MIN, step_ms: 10 * MIN };
        let found: Vec<_> = ask(&salon, &chain)
            .openings
            .iter()
            .map(|o| (o.span.start_ms(), o.patch_test.map(|named| named.span.start_ms())))
            .collect();
        prop_assert_eq!(found, by_brute_force(&salon, &chain, grid));
    }

    #[test]
    fn an_opening_overlaps_nothing_taken_and_its_hands_may_do_it(salon in some_salon()) {
        let chain = Chain::new(salon.segments.clone()).unwrap();
        for opening in ask(&salon, &chain).openings {
            let start_ms = opening.span.start_ms();
            let mut named = vec![None; salon.segments.len()];
            for (index, Named { person, span }) in &opening.hands {
                prop_assert_eq!(*span, chain.span(*index, start_ms));
                named[*index] = Some(*person);
            }
            for (index, segment) in salon.segments.iter().enumerate() {
                let needed = chain.span(index, start_ms);
                prop_assert!(has_places(&salon.places, segment, needed));
                prop_assert_eq!(segment.hands.is_some(), named[index].is_some());
                if let (Some(hands), Some(person)) = (&segment.hands, named[index]) {
                    prop_assert!(is_free(&salon.people[person], hands.may.as_ref(), needed));
                    prop_assert!(hands.same_as.is_none_or(|same| named[same] == Some(person)));
                }
            }
            if let (Some(visit), Some(patch)) = (&salon.patch, opening.patch_test) {
                prop_assert!(is_free(&salon.people[patch.person], visit.may.as_ref(), patch.span));
                prop_assert!(patch.span.end_ms() + visit.least_before_ms <= start_ms);
            }
        }
    }

    #[test]
    fn adding_somebody_never_removes_an_opening(salon in some_salon(), more in some_worker()) {
        let chain = Chain::new(salon.segments.clone()).unwrap();
        let before = ask(&salon, &chain);
        let mut larger = salon;
        larger.people.push(more);
        let after = starts_min(&ask(&larger, &chain));
        prop_assert!(starts_min(&before).iter().all(|start| after.contains(start)));
    }

    #[test]
    fn more_room_of_any_kind_never_removes_an_opening(
        salon in some_salon(), kind in 0..6_usize, which in any::<prop::sample::Index>(), hours in some_spans(3),
    ) {
        let chain = Chain::new(salon.segments.clone()).unwrap();
        let before = ask(&salon, &chain);
        let mut larger = salon.clone();
        let (person, place) = (which.index(salon.people.len().max(1)), which.index(salon.places.len()));
        match (kind, larger.people.get_mut(person)) {
            (0, Some(person)) => person.hours.extend(hours),
            (1, Some(person)) => drop(person.taken.pop()),
            (2, Some(person)) => person.may.push(thio()),
            (3, _) => larger.places[place].count += 1,
            (4, _) => drop(larger.places[place].taken.pop()),
            (5, _) => larger.patch = larger.patch.map(|p| PatchVisit { least_before_ms: p.least_before_ms / 2, ..p }),
            _ => {}
        }
        let after = starts_min(&ask(&larger, &chain));
        prop_assert!(starts_min(&before).iter().all(|start| after.contains(start)));
    }
}

/// The size the screens ask for: 30 days, 40 people, 6 segments, every 5 minutes, a full calendar.
#[test]
fn a_month_with_forty_people_is_searched_at_once() {
    const DAY: i64 = 24 * 60;
    let day = |d: i64, from: i64, to: i64| span(d * DAY + from, d * DAY + to);
    let people: Vec<Worker> = (0..40)
        .map(|p| {
            let hours: Vec<Span> = (0..32).flat_map(|d| [day(d, 540, 780), day(d, 820, 1080)]).collect();
            let taken: Vec<Span> = (0..32)
                // Every fifth has room left in the afternoon.
                .flat_map(|d| {
                    (0..if p % 5 == 0 { 3 } else { 6 })
                        .map(move |n| day(d, 545 + n * 85 + p, 585 + n * 85 + p))
                })
                .collect();
            worker(&[thio()], &hours, &taken)
        })
        .collect();
    let chairs: Vec<Span> = people.iter().flat_map(|worker| worker.taken.clone()).collect();
    let places = [stock("chair", 45, &chairs), stock("basin", 4, &chairs[..500])];
    let chain = Chain::new(vec![
        hands_on(25, Some(thio()), None, "chair"),
        hands_off(15, "chair"),
        hands_on(10, None, None, "basin"),
        hands_on(40, Some(thio()), Some(0), "chair"),
        hands_off(20, "chair"),
        hands_on(15, None, None, "basin"),
    ])
    .unwrap();
    let visit = PatchVisit { length_ms: 15 * MIN, least_before_ms: 48 * 60 * MIN, may: None };
    let asked = Search {
        grid: Grid { first_ms: 0, until_ms: 30 * DAY * MIN, step_ms: 5 * MIN },
        patch_test: Some(&visit),
        wanted_ms: 15 * DAY * MIN,
        most: 20,
        ..search(&people, &places, &chain)
    };
    // Processor time of the best of several, so that a busy machine does not decide the test.
    let best = (0..7)
        .map(|_| {
            let began = std::time::Instant::now();
            let answer = openings(&asked);
            assert_eq!(answer.searched_starts, 8640);
            assert_eq!(answer.openings.len(), 20);
            began.elapsed()
        })
        .min()
        .unwrap();
    println!("a month with forty people: {best:?}");
    // Unoptimised, beside other tests; the benches hold the optimised search to milliseconds.
    assert!(best < std::time::Duration::from_millis(200), "{best:?}");
}
