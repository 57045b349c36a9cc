//! Foresight against every order tried plainly, and what must hold whatever the floor.

use super::oracle::{self, Cost};
use super::*;
use crate::domain::run::sample::{Book, START, at, start};
use proptest::prelude::*;
use time::OffsetDateTime;

fn part(length: i64, hands: u32, basin: bool) -> Part {
    let places = if basin { vec![Place::Basin] } else { Vec::new() };
    Part { length: Duration::minutes(length), hands, places }
}

fn turn(ready: i64, parts: Vec<Part>, latest: Option<i64>) -> Turn {
    let limit = latest.map(|m| Limit { latest_start: at(m), clock: Clock::Exposure });
    let rinse = parts.first().is_some_and(|p| !p.places.is_empty());
    Turn { title: "rinse".into(), ready: at(ready), lag: Duration::ZERO, parts, limit, in_hand: false, rinse }
}

fn rinse(ready: i64, latest: Option<i64>) -> Line {
    Line { turns: vec![turn(ready, vec![part(8, 1, true)], latest)] }
}

fn there(hands: u32, basins: u32) -> There {
    There { hands, places: vec![(Place::Basin, basins)] }
}

fn told(lines: &[Line], there: &There) -> Vec<String> {
    let names = ["Ilka", "Bette", "Nerys", "Una"];
    let name = |l: usize| names[l].to_owned();
    let clock = |i: OffsetDateTime| format!("{}:{:02}", i.hour(), i.minute());
    let say = Say { name: &name, at: &clock };
    let seen = foresee(lines, there);
    let mut told: Vec<String> = seen
        .clashes
        .iter()
        .map(|c| format!("{}: {}", c.title(&say), seen.order_words(c, lines, &say)))
        .collect();
    told.extend(seen.broken_words(lines, &say));
    told
}

#[test]
fn two_rinses_and_one_basin_are_told_once_in_the_order_that_keeps_both() {
    // START is 13:40. Bette comes first by herself; Ilka may not wait so long.
    let lines = [rinse(40, Some(42)), rinse(39, Some(51))];
    assert_eq!(
        told(&lines, &there(2, 1)),
        [
            "Basin wanted twice at 14:20: Ilka first by 14:22, then Bette at 14:28, by 14:31; both keep to their longest allowed"
        ]
    );
    assert!(told(&lines, &there(2, 2)).is_empty());
    assert_eq!(
        told(&lines, &there(1, 2)),
        [
            "Hands wanted twice at 14:20: Ilka first by 14:22, then Bette at 14:28, by 14:31; both keep to their longest allowed"
        ]
    );
}

#[test]
fn where_no_order_keeps_all_it_says_who_is_over_first_by_how_much_and_what_helps() {
    let lines = [rinse(40, Some(42)), rinse(41, Some(43))];
    assert_eq!(
        told(&lines, &there(1, 1)),
        [
            "Basin and hands wanted twice at 14:21: Ilka first by 14:22, then Bette at 14:28, by 14:23; Bette 5 min over the longest allowed",
            "In every order a longest allowed is broken, by 5 min at the least: first Bette’s, from first touch to rinse, by 5 min."
        ],
        "one more of either alone does not help"
    );
    let seen = foresee(&lines, &there(2, 1));
    assert_eq!(seen.helps, [Help { more: Wanted::Place(Place::Basin), worst: Duration::ZERO }]);
    assert!(seen.exact);
}

#[test]
fn what_is_in_hand_stays_and_the_next_waits_for_it() {
    let mut first = rinse(0, None);
    first.turns[0].in_hand = true;
    let lines = [first, rinse(3, Some(6))];
    assert_eq!(
        told(&lines, &there(2, 1))[0],
        "Basin wanted twice at 13:43: Ilka until 13:48, then Bette at 13:48, by 13:46; Bette 2 min over the longest allowed"
    );
}

#[test]
fn a_run_that_is_covered_answers_its_phase_and_its_first_touch() {
    let mut book = Book::applied();
    book.must(12, crate::domain::run::sample::TOBIAS, start("cover"));
    let state = book.state();
    let line = state.line(at(13));
    let titles: Vec<&str> = line.turns.iter().map(|t| t.title.as_str()).collect();
    assert_eq!(titles, ["smooth", "rinse-a", "wind", "rinse-b"]);
    // Cover begun at 12, 15 minutes at most.
    assert_eq!(line.turns[0].limit, Some(Limit { latest_start: at(27), clock: Clock::Phase }));
    // Quadrants touched at 0, 1, 2, 3; 42 at most; a rinse of 5 minutes clears one in 75 seconds: the
    // first is due by 40:45, the last, clear after all 5, by 40:00.
    let latest = at(40);
    assert_eq!(line.turns[1].limit, Some(Limit { latest_start: latest, clock: Clock::Exposure }));
    assert_eq!(line.turns[2].limit, None, "the lotion's time has not begun");
}

#[test]
fn a_rinse_begun_at_the_latest_start_breaks_nothing_on_record() {
    let mut book = Book::applied();
    book.must(12, crate::domain::run::sample::TOBIAS, start("cover"));
    let latest = book.state().line(at(13)).turns[1].limit.expect("a limit").latest_start;
    let frame = book.frame.clone();
    let sections = frame.sections().to_vec();
    let begin = (latest - START).whole_minutes();
    book.must(begin, crate::domain::run::sample::MARA, start("rinse-a"));
    for (section, nth) in sections.into_iter().zip(1..) {
        let clear = crate::domain::run::Happened::SectionRinsed {
            step: "rinse-a".into(),
            section: Some(section),
            clear: true,
        };
        // Whole minutes: the quarter of 5 minutes rounded up.
        let min = begin + (nth * 5 + 3) / 4;
        book.fact(min, min, clear);
    }
    let over = book.state().breaches(at(60));
    assert!(!over.iter().any(|b| format!("{b:?}").starts_with("MostPassed")), "{over:?}");
}

#[test]
fn a_stopped_run_is_rinsed_now() {
    let mut book = Book::applied();
    book.fact(12, 12, crate::domain::run::Happened::StopRecorded);
    let line = book.state().line(at(14));
    assert_eq!(line.turns.len(), 1);
    // It waits for no place in an order: the others go after it.
    let turn = &line.turns[0];
    assert_eq!((turn.rinse, turn.in_hand, turn.ready), (true, true, at(14)));
}

/// The target is 37 and the longest 42; what is seen at 20 asks for the basin at 20, not at 30 after smoothing.
#[test]
fn a_test_curl_or_a_look_that_says_rinse_asks_for_the_basin_now() {
    use crate::domain::protocol::{LookFor, Section};
    use crate::domain::run::{CurlReading, Happened, Progress, Rod};
    let look =
        |reading| Happened::ProgressRead { look: LookFor::TestCurl, section: Section::BackLeft, reading };
    let curl = |reading| Happened::TestCurlRead { rod: Rod::Weakest, reading };
    let turns = |read: Happened| {
        let mut book = Book::applied();
        book.must(12, crate::domain::run::sample::TOBIAS, start("cover"));
        book.fact(20, 20, read);
        book.state().line(at(20)).turns
    };
    let now = Turn {
        title: "rinse-a".into(),
        ready: at(20),
        lag: Duration::ZERO,
        parts: vec![part(5, 1, true)],
        limit: Some(Limit { latest_start: at(20), clock: Clock::Exposure }),
        in_hand: false,
        rinse: true,
    };
    for said in [look(Progress::Reached), look(Progress::Over), curl(CurlReading::S), curl(CurlReading::Over)]
    {
        assert_eq!(turns(said.clone()), std::slice::from_ref(&now), "{said:?}");
    }
    for not_yet in [look(Progress::NotYet), curl(CurlReading::C)] {
        let turns = turns(not_yet.clone());
        assert_eq!(turns[0].title, "smooth", "{not_yet:?}");
        assert!(turns.len() > 1);
    }
}

/// Smoothing, rinsing and winding of two heads: the basin is wanted twice, a chair by nobody.
#[test]
fn a_client_in_a_chair_needs_no_new_one() {
    let mut book = Book::applied();
    book.must(12, crate::domain::run::sample::TOBIAS, start("cover"));
    let line = book.state().line(at(13));
    let places: Vec<Place> =
        line.turns.iter().flat_map(|t| &t.parts).flat_map(|p| &p.places).copied().collect();
    assert_eq!(places, [Place::Basin, Place::Basin]);
    let chairs = There { hands: 9, places: vec![(Place::Chair, 1), (Place::Basin, 2)] };
    let seen = foresee(&[line.clone(), line], &chairs);
    assert_eq!((seen.clashes, seen.harm), (Vec::new(), Harm::default()));
}

#[test]
fn more_runs_than_are_searched_get_an_order_that_says_it_is_not_every_one() {
    let lines: Vec<Line> = (0..12).map(|i| rinse(40 + i, Some(60 - i))).collect();
    let seen = foresee(&lines, &there(2, 1));
    assert_eq!(seen.serves.len(), 12);
    assert!(!seen.exact);
}

/// Small floors in whole minutes.
fn floors() -> impl Strategy<Value = (Vec<Line>, There)> {
    let part = (1..9_i64, 0..3_u32, any::<bool>())
        .prop_filter("it wants something", |(_, h, b)| *h > 0 || *b)
        .prop_map(|(l, h, b)| part(l, h, b));
    let turn = (0..25_i64, prop::collection::vec(part, 1..3), prop::option::of(0..20_i64), 0..4_i64);
    let line = (prop::collection::vec(turn, 1..3), any::<bool>()).prop_map(|(turns, in_hand)| {
        let mut line = Line::default();
        let mut from = 0;
        for (nth, (wait, parts, slack, lag)) in turns.into_iter().enumerate() {
            let lag = if nth > 0 { lag } else { 0 };
            let ready = if nth > 0 { from + lag } else { wait };
            let mut t = self::turn(ready, parts, slack.map(|s| ready + s));
            t.lag = Duration::minutes(lag);
            t.in_hand = nth == 0 && in_hand && ready < 5;
            if t.in_hand {
                t.ready = START;
                t.limit = None;
            }
            from = (t.ready - START).whole_minutes()
                + t.parts.iter().map(|p| p.length.whole_minutes()).sum::<i64>();
            line.turns.push(t);
        }
        line
    });
    (prop::collection::vec(line, 1..5), 1..3_u32, 1..3_u32).prop_map(|(l, h, b)| (l, there(h, b)))
}

fn cost_of(harm: &Harm) -> Cost {
    (harm.worst.whole_minutes(), harm.total.whole_minutes(), harm.moved, harm.waited.whole_minutes())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn no_order_tried_plainly_is_better_nor_worse((lines, there) in floors()) {
        let seen = foresee(&lines, &there);
        let plain = oracle::plain(&lines, &there, START);
        prop_assert!(seen.exact);
        prop_assert_eq!(cost_of(&seen.harm), oracle::best(&plain, &there));
    }

    #[test]
    fn the_order_given_keeps_what_it_claims((lines, there) in floors()) {
        let seen = foresee(&lines, &there);
        let plain = oracle::plain(&lines, &there, START);
        let mut starts: Vec<Vec<i64>> = lines.iter().map(|l| {
            l.turns.iter().filter(|t| t.in_hand).map(|t| (t.ready - START).whole_minutes()).collect()
        }).collect();
        for serve in &seen.serves {
            starts[serve.line].push((serve.start - START).whole_minutes());
        }
        prop_assert_eq!(oracle::cost(&plain, &starts), cost_of(&seen.harm));
        for (line, turns) in plain.iter().enumerate() {
            for (nth, turn) in turns.iter().enumerate() {
                prop_assert!(turn.in_hand || starts[line][nth] >= turn.ready);
                if nth > 0 {
                    let ended = starts[line][nth - 1] + turns[nth - 1].takes.len() as i64;
                    prop_assert!(starts[line][nth] >= ended + turn.lag);
                }
            }
        }
        // Whoever is moved finds hands and places free of all others.
        let counts: Vec<u32> = [there.hands].into_iter().chain(there.places.iter().map(|p| p.1)).collect();
        for minute in 0..400_i64 {
            let mut used = vec![0; counts.len()];
            let mut fixed = vec![0; counts.len()];
            for (line, turns) in plain.iter().enumerate() {
                for (nth, turn) in turns.iter().enumerate() {
                    let into = usize::try_from(minute - starts[line][nth]).ok();
                    if let Some(need) = into.and_then(|i| turn.takes.get(i)) {
                        for (i, n) in need.iter().enumerate() {
                            used[i] += n;
                            fixed[i] += if turn.in_hand { *n } else { 0 };
                        }
                    }
                }
            }
            for i in 0..counts.len() {
                prop_assert!(used[i] <= counts[i] || used[i] == fixed[i], "minute {}", minute);
            }
        }
    }

    #[test]
    fn one_more_never_makes_it_worse((lines, there) in floors()) {
        let harm = |t: &There| { let h = foresee(&lines, t).harm; (h.worst, h.total) };
        let before = harm(&there);
        let hands = There { hands: there.hands + 1, ..there.clone() };
        let basins = There { places: vec![(Place::Basin, there.places[0].1 + 1)], ..there.clone() };
        prop_assert!(harm(&hands) <= before, "hands");
        prop_assert!(harm(&basins) <= before, "basins");
        for help in foresee(&lines, &there).helps {
            prop_assert!(help.worst <= before.0);
        }
    }

    #[test]
    fn a_clash_is_told_once_and_only_where_there_is_one((lines, there) in floors()) {
        let seen = foresee(&lines, &there);
        let mut turns: Vec<usize> = seen.clashes.iter().flat_map(|c| c.order.clone()).collect();
        let told = turns.len();
        turns.sort_unstable();
        turns.dedup();
        prop_assert_eq!(turns.len(), told);
        if seen.clashes.is_empty() {
            prop_assert_eq!(seen.harm.waited, Duration::ZERO);
        }
    }
}
