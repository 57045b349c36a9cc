//! What two stations told of one place, neither knowing of the other: one of them had no contact. Both stand on
//! record, the fold takes them by their instants, and the screens say so, because one of the two may be a mistake.

use super::event::{Event, EventKind, Happened};
use super::state::State;
use super::value::Instant;
use crate::domain::ids::StationId;
use crate::domain::protocol::{Section, StepCode};
use crate::domain::words::capital;

/// Most pairs that are said: more of them are read in the record itself.
pub const PAIRS_MOST: usize = 12;

/// So many kept facts are looked at, the latest ones: a record may be long.
const KEPT_LOOKED_AT: usize = 200;

/// One of the two.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Told {
    /// When it happened, by its station.
    pub at: Instant,
    /// Where it was tapped.
    pub station: StationId,
    /// When it came in, where it was kept first.
    pub came: Option<Instant>,
}

/// What the two say.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Pair {
    /// The same touch, at two instants.
    Touched {
        /// Where.
        section: Section,
        /// In which pass.
        pass: u8,
    },
    /// The same water, at two instants.
    Water {
        /// Where; the whole head when absent.
        section: Option<Section>,
        /// It runs clear (else: water on).
        clear: bool,
    },
    /// Product after water: the first says water, the second a touch.
    Crossed {
        /// Where product was put on.
        section: Section,
    },
}

/// Two facts of two stations about one place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ToldApart {
    /// What they say.
    pub pair: Pair,
    /// The earlier by instant.
    pub first: Told,
    /// The later.
    pub second: Told,
}

/// A fact about a place of the head.
struct Place<'e> {
    event: &'e Event,
    what: What<'e>,
}

#[derive(PartialEq)]
enum What<'e> {
    Touch { step: &'e StepCode, section: Section, pass: u8 },
    Water { step: &'e StepCode, section: Option<Section>, clear: bool },
}

impl State<'_> {
    /// Every pair, by the earlier instant; none of what was taken back. `events` are the ones this state was folded of.
    pub fn told_apart(&self, events: &[Event]) -> Vec<ToldApart> {
        let stands = |e: &&Event| !self.is_taken_back(e);
        let places: Vec<Place<'_>> = events.iter().filter(stands).filter_map(Place::of).collect();
        let mut found: Vec<ToldApart> = Vec::new();
        for kept in places.iter().rev().filter(|p| p.event.was_kept()).take(KEPT_LOOKED_AT) {
            for other in places.iter().filter(|o| o.event.station != kept.event.station) {
                let both_kept_seen = other.event.was_kept() && other.event.seq > kept.event.seq;
                if both_kept_seen || !unaware(kept.event, other.event) {
                    continue;
                }
                let pair = pair_of(kept, other);
                found.extend(pair.filter(|new| !found.iter().any(|old| old.pair == new.pair)));
                if found.len() >= PAIRS_MOST {
                    break;
                }
            }
        }
        found.sort_by_key(|p| (p.first.at, p.second.at));
        found.truncate(PAIRS_MOST);
        found
    }
}

/// Neither was on record when the other happened.
fn unaware(a: &Event, b: &Event) -> bool {
    a.happened_at < b.recorded_at && b.happened_at < a.recorded_at
}

impl<'e> Place<'e> {
    fn of(event: &'e Event) -> Option<Self> {
        let EventKind::Happened(happened) = &event.kind else { return None };
        let what = match happened {
            Happened::SectionStarted { step, section, pass } => {
                What::Touch { step, section: *section, pass: *pass }
            }
            Happened::SectionRinsed { step, section, clear } => {
                What::Water { step, section: *section, clear: *clear }
            }
            _ => return None,
        };
        Some(Place { event, what })
    }

    fn told(&self) -> Told {
        let e = self.event;
        Told { at: e.happened_at, station: e.station, came: e.was_kept().then_some(e.recorded_at) }
    }
}

fn pair_of(a: &Place<'_>, b: &Place<'_>) -> Option<ToldApart> {
    let (first, second) = if (a.event.happened_at, a.event.seq) <= (b.event.happened_at, b.event.seq) {
        (a, b)
    } else {
        (b, a)
    };
    let pair = match (&first.what, &second.what) {
        (What::Touch { section, pass, .. }, same) if first.what == *same => {
            Pair::Touched { section: *section, pass: *pass }
        }
        (What::Water { section, clear, .. }, same) if first.what == *same => {
            Pair::Water { section: *section, clear: *clear }
        }
        (What::Water { section: wet, .. }, What::Touch { section, .. })
            if wet.is_none_or(|w| w == *section) =>
        {
            Pair::Crossed { section: *section }
        }
        _ => return None,
    };
    Some(ToldApart { pair, first: first.told(), second: second.told() })
}

impl ToldApart {
    /// What the screens say. `at` writes an instant in the salon's own time, `station` names a station.
    pub fn words(&self, at: &dyn Fn(Instant) -> String, station: &dyn Fn(StationId) -> String) -> String {
        let told = |t: &Told| match t.came {
            Some(came) => {
                tr!("{} at {} (kept there, told at {})", at(t.at), station(t.station), at(came))
            }
            None => tr!("{} at {}", at(t.at), station(t.station)),
        };
        let (first, second) = (told(&self.first), told(&self.second));
        match &self.pair {
            Pair::Touched { section, pass } => tr!(
                "{}, pass {pass}, was told by two stations: {first}, and {second}. Both are on record; the earlier counts.",
                capital(section.words()),
                pass = pass,
                first = first,
                second = second
            ),
            Pair::Water { section, clear: true } => tr!(
                "{} running clear was told by two stations: {first}, and {second}. Both are on record; the earlier counts.",
                capital(section.map_or("whole head", Section::words)),
                first = first,
                second = second
            ),
            Pair::Water { section, clear: false } => tr!(
                "Water on {} was told by two stations: {first}, and {second}. Both are on record; the earlier counts.",
                section.map_or("the whole head", Section::words),
                first = first,
                second = second
            ),
            Pair::Crossed { section } => tr!(
                "{}: water {first}, and product {second}, neither station knowing of the other. Both are on record; take back what is wrong.",
                capital(section.words()),
                first = first,
                second = second
            ),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::sample::{Book, at};
    use super::*;
    use crate::domain::run::value::FactId;

    /// A fact as it stands on record: minute it happened, minute it was told.
    fn event(seq: i64, station: i64, (happened, told): (i64, i64), kind: Happened) -> Event {
        Event {
            seq,
            recorded_at: at(told),
            happened_at: at(happened),
            by: None,
            station: StationId(station),
            fact_id: Some(FactId(9_000 + seq.unsigned_abs() as u128)),
            kind: EventKind::Happened(kind),
        }
    }

    fn touch(section: Section) -> Happened {
        Happened::SectionStarted { step: "apply-1".into(), section, pass: 1 }
    }

    fn water(section: Option<Section>) -> Happened {
        Happened::SectionRinsed { step: "rinse-a".into(), section, clear: true }
    }

    fn pairs(more: Vec<Event>) -> Vec<ToldApart> {
        let mut book = Book::ready();
        let last = book.events.iter().map(|e| e.seq).max().unwrap_or(0);
        book.events.extend(more.into_iter().map(|e| Event { seq: last + e.seq, ..e }));
        book.state().told_apart(&book.events)
    }

    #[test]
    fn one_quadrant_kept_at_two_stations_is_said_once_and_the_earlier_counts() {
        let found = pairs(vec![
            event(1, 501, (3, 30), touch(Section::BackLeft)),
            event(2, 502, (5, 31), touch(Section::BackLeft)),
        ]);
        assert_eq!(found.len(), 1);
        let words = found[0].words(&|i| (i - at(0)).whole_minutes().to_string(), &|s| {
            if s.0 == 501 { "Chair 1".into() } else { "Basin".into() }
        });
        assert_eq!(
            words,
            "Back left, pass 1, was told by two stations: 3 at Chair 1 (kept there, told at 30), and 5 at Basin \
             (kept there, told at 31). Both are on record; the earlier counts."
        );
    }

    #[test]
    fn a_kept_fact_beside_one_told_at_once_is_said() {
        let found = pairs(vec![
            event(1, 502, (5, 5), touch(Section::BackLeft)),
            event(2, 501, (3, 30), touch(Section::BackLeft)),
        ]);
        assert_eq!(found.len(), 1);
        assert_eq!((found[0].first.station, found[0].second.came), (StationId(501), None));
    }

    #[test]
    fn product_after_the_water_of_another_station_is_said() {
        let found = pairs(vec![
            event(1, 502, (6, 30), water(None)),
            event(2, 501, (7, 31), touch(Section::FrontLeft)),
        ]);
        assert_eq!(
            found.iter().map(|f| f.pair.clone()).collect::<Vec<_>>(),
            [Pair::Crossed { section: Section::FrontLeft }]
        );
    }

    #[test]
    fn what_follows_or_is_known_or_is_one_stations_is_nothing_to_say() {
        // Product, then water: an ordinary service, though both were kept.
        assert_eq!(
            pairs(vec![
                event(1, 501, (3, 60), touch(Section::BackLeft)),
                event(2, 502, (40, 61), water(None))
            ]),
            []
        );
        // The second station knew of the first.
        let known = vec![
            event(1, 501, (3, 4), touch(Section::BackLeft)),
            event(2, 502, (5, 30), touch(Section::BackLeft)),
        ];
        assert_eq!(pairs(known), []);
        // One station alone, and two told at once.
        let alone = |station| {
            vec![
                event(1, 501, (3, 30), touch(Section::BackLeft)),
                event(2, station, (5, 31), touch(Section::BackLeft)),
            ]
        };
        assert_eq!(pairs(alone(501)), []);
        assert_eq!(pairs(alone(502)).len(), 1);
    }

    #[test]
    fn what_was_taken_back_is_said_no_more() {
        let mut more = vec![
            event(1, 501, (3, 30), touch(Section::BackLeft)),
            event(2, 502, (5, 31), touch(Section::BackLeft)),
        ];
        let fact_id = more[1].fact_id.expect("a fact");
        let back = Happened::FactWithdrawn { fact_id, reason: "tapped by mistake".into() };
        more.push(event(3, 502, (32, 32), back));
        assert_eq!(pairs(more), []);
    }
}
