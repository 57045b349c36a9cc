//! Who is taken when, and how many places of a kind: a salon's past and coming days in slots of five minutes.

use std::collections::BTreeMap;
use std::ops::Not as _;

use super::slots::{SLOT_MIN, Slots};
use crate::domain::booking::Chain;

/// The salon opens so many minutes after midnight.
pub const OPENS_MIN: u16 = 8 * 60;
/// It is open for so long.
const OPEN_MIN: i64 = 12 * 60;
/// Slots of a day.
const SLOTS: u32 = (OPEN_MIN / SLOT_MIN) as u32;
/// Idle minutes from which on something still fits: a test visit.
const FITS: u32 = 30 / SLOT_MIN as u32;
/// Days past the first opening among which the desk looks for one that leaves no idle minutes.
const PATIENCE_DAYS: usize = 8;
/// Parts of a service that each have a helper of their own; those after are the last one's.
const HELPED: usize = 12;

/// Somebody as the diary knows them.
#[derive(Clone, Debug)]
pub struct Worker {
    /// 1 Monday … 7 Sunday, the day off beside Sunday.
    pub rests: u8,
}

/// What a service takes: whose hands in which minutes, and which places.
#[derive(Clone, Debug)]
pub struct Shape {
    /// Minutes in all.
    pub minutes: i64,
    /// The stylist's hands: from, to, minutes of the service.
    pub stylist: Vec<(i64, i64)>,
    /// Anybody's hands.
    pub anybody: Vec<(i64, i64)>,
    /// Places: kind, from, to.
    pub places: Vec<(String, i64, i64)>,
}

impl Shape {
    /// The shape of a service's segments.
    pub fn of(chain: &Chain) -> Shape {
        let mut shape = Shape { minutes: 0, stylist: Vec::new(), anybody: Vec::new(), places: Vec::new() };
        for segment in chain.segments() {
            let (from, to) = (shape.minutes, shape.minutes + segment.length_ms / 60_000);
            shape.minutes = to;
            if let Some(hands) = &segment.hands {
                let stylist = hands.may.as_ref().is_some_and(|m| m.0.starts_with("stylist"));
                if stylist { &mut shape.stylist } else { &mut shape.anybody }.push((from, to));
            }
            shape.places.extend(segment.places.iter().map(|p| (p.0.clone(), from, to)));
        }
        shape.places = joined(std::mem::take(&mut shape.places));
        shape
    }

    /// Hands of one person alone for so long.
    pub fn short(minutes: i64) -> Shape {
        let whole = (0, minutes);
        Shape {
            minutes,
            stylist: Vec::new(),
            anybody: vec![whole],
            places: vec![("chair".into(), 0, minutes)],
        }
    }
}

/// Neighbouring spans of one kind as one.
fn joined(mut places: Vec<(String, i64, i64)>) -> Vec<(String, i64, i64)> {
    places.sort();
    let mut all: Vec<(String, i64, i64)> = Vec::new();
    for (kind, from, to) in places {
        match all.last_mut() {
            Some(last) if last.0 == kind && last.2 == from => last.2 = to,
            _ => all.push((kind, from, to)),
        }
    }
    all
}

fn mask(spans: &[(i64, i64)]) -> Slots {
    spans.iter().fold(Slots::default(), |mask, (from, to)| {
        mask | Slots::span((from / SLOT_MIN) as u32, ((to + SLOT_MIN - 1) / SLOT_MIN) as u32)
    })
}

/// A service that found its time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Found {
    /// The day, counted from the diary's first.
    pub day: usize,
    /// Minutes after midnight.
    pub minute: u16,
    /// Whose hands.
    pub stylist: usize,
    /// Who does what anybody may do, part by part.
    helpers: [usize; HELPED],
}

impl Found {
    /// Who does this part of what anybody may do.
    pub const fn helper(&self, part: usize) -> usize {
        self.helpers[if part < HELPED { part } else { HELPED - 1 }]
    }
}

/// The diary.
#[derive(Debug)]
pub struct Diary {
    /// ISO weekday of day 0.
    first_weekday: i64,
    workers: Vec<Worker>,
    /// Slots taken, by day and worker.
    taken: Vec<Vec<Slots>>,
    places: BTreeMap<String, (u8, Vec<[u8; SLOTS as usize]>)>,
}

impl Diary {
    /// An empty diary of so many days.
    pub fn new(
        first_weekday: u8,
        days: usize,
        workers: Vec<Worker>,
        places: &BTreeMap<String, i16>,
    ) -> Diary {
        let rows = |count: &i16| (u8::try_from(*count).unwrap_or(u8::MAX), vec![[0; SLOTS as usize]; days]);
        Diary {
            first_weekday: first_weekday.into(),
            taken: vec![vec![Slots::default(); workers.len()]; days],
            workers,
            places: places.iter().map(|(kind, count)| (kind.clone(), rows(count))).collect(),
        }
    }

    fn works(&self, worker: usize, day: usize) -> bool {
        let weekday = (self.first_weekday - 1 + day as i64) % 7 + 1;
        weekday != 7 && weekday != i64::from(self.workers[worker].rests)
    }

    fn places_free(&self, shape: &Shape, day: usize, slot: u32) -> bool {
        shape.places.iter().all(|(kind, from, to)| {
            let Some((most, days)) = self.places.get(kind) else { return false };
            slots(*from, *to, slot).all(|s| days[day].get(s).is_some_and(|n| n < most))
        })
    }

    /// An opening from a day on, within so many days: one of these stylists in this order on each day, what anybody may do
    /// part by part by one of the helpers, else by the stylist, else by another of them. The desk offers first what leaves no
    /// idle minutes beside other work or the ends of the day, in the days after the first opening too, and among the times of
    /// one stylist's day what is liked.
    pub fn find(
        &self,
        shape: &Shape,
        (from, days): (usize, usize),
        stylists: &[usize],
        helpers: &[usize],
        not_before: u32,
    ) -> Option<Found> {
        let length = u32::try_from((shape.minutes + SLOT_MIN - 1) / SLOT_MIN).unwrap_or(SLOTS);
        let last = SLOTS.checked_sub(length)?;
        let own = mask(&shape.stylist);
        let parts: Vec<Slots> = shape.anybody.iter().map(|span| mask(&[*span])).collect();
        let turned = || (not_before.min(last)..=last).chain(0..not_before.min(last));
        let mut loose: Option<Found> = None;
        for day in from..(from + days).min(self.taken.len()) {
            if let Some(found) = loose.filter(|f| f.day + PATIENCE_DAYS <= day) {
                return Some(found);
            }
            let by_anybody = self.starts(day, &parts, helpers.iter().chain(stylists).copied());
            for &stylist in stylists.iter().filter(|s| self.works(**s, day)) {
                let hopeful = by_anybody & self.taken[day][stylist].not().starts(own);
                for slot in turned().filter(|slot| hopeful.has(*slot)) {
                    let order = || helpers.iter().chain([&stylist]).chain(stylists).copied();
                    let Some((helpers, hands)) = self.hands(day, slot, (stylist, own), &parts, order) else {
                        continue;
                    };
                    if !self.places_free(shape, day, slot) {
                        continue;
                    }
                    let minute = OPENS_MIN + u16::try_from(i64::from(slot) * SLOT_MIN).unwrap_or(0);
                    let found = Found { day, minute, stylist, helpers };
                    if leaves_no_gap(self.taken[day][hands.0], hands.1) {
                        return Some(found);
                    }
                    loose = loose.or(Some(found));
                }
            }
        }
        loose
    }

    /// Where each part of what anybody may do finds somebody's hands on a day: elsewhere nothing need be tried. Most of a
    /// full book is passed over by this.
    fn starts(&self, day: usize, parts: &[Slots], who: impl Iterator<Item = usize> + Clone) -> Slots {
        parts.iter().fold(Slots::span(0, 256), |all, part| {
            let by_one = |found: Slots, w: usize| found | self.taken[day][w].not().starts(*part);
            all & who.clone().filter(|w| self.works(*w, day)).fold(Slots::default(), by_one)
        })
    }

    fn is_free(&self, worker: usize, day: usize, when: Slots) -> bool {
        self.works(worker, day) && self.taken[day][worker].is_apart(when)
    }

    /// Who does each part of what anybody may do, when all can be done; and whose minutes are to be kept whole, and which.
    fn hands<I: Iterator<Item = usize>>(
        &self,
        day: usize,
        slot: u32,
        (stylist, own): (usize, Slots),
        parts: &[Slots],
        order: impl Fn() -> I,
    ) -> Option<([usize; HELPED], (usize, Slots))> {
        if !self.is_free(stylist, day, own << slot) {
            return None;
        }
        let mut helpers = [stylist; HELPED];
        let mut by_stylist = own << slot;
        for (n, part) in parts.iter().enumerate() {
            // What is past the last place goes on in the hands of whoever has that place.
            let kept = n.checked_sub(HELPED).map(|_| helpers[HELPED - 1]);
            let who = match kept {
                Some(who) => Some(who).filter(|w| self.is_free(*w, day, *part << slot)),
                None => order().find(|w| self.is_free(*w, day, *part << slot)),
            }?;
            if n < HELPED {
                helpers[n] = who;
            }
            if who == stylist {
                by_stylist |= *part << slot;
            }
        }
        let whole = match parts.first() {
            Some(part) if own.is_empty() => (helpers[0], *part << slot),
            _ => (stylist, by_stylist),
        };
        Some((helpers, whole))
    }

    /// Takes what was found.
    pub fn take(&mut self, shape: &Shape, found: Found) {
        let slot = u32::from(found.minute - OPENS_MIN) / SLOT_MIN as u32;
        let day = &mut self.taken[found.day];
        day[found.stylist] |= mask(&shape.stylist) << slot;
        for (part, span) in shape.anybody.iter().enumerate() {
            day[found.helper(part)] |= mask(&[*span]) << slot;
        }
        for (kind, from, to) in &shape.places {
            if let Some((_, days)) = self.places.get_mut(kind) {
                for s in slots(*from, *to, slot) {
                    if let Some(n) = days[found.day].get_mut(s) {
                        *n += 1;
                    }
                }
            }
        }
    }

    /// Minutes taken of those worked by whoever is ever taken, over all days before one: how full the salon was.
    pub fn fullness(&self, before: usize) -> f64 {
        let days = &self.taken[..before.min(self.taken.len())];
        let (mut taken, mut worked) = (0, 0);
        for worker in (0..self.workers.len()).filter(|w| days.iter().any(|day| !day[*w].is_empty())) {
            for (_, of_day) in days.iter().enumerate().filter(|(day, _)| self.works(worker, *day)) {
                taken += of_day[worker].count();
                worked += SLOTS;
            }
        }
        f64::from(taken) / f64::from(worked.max(1))
    }
}

/// Whether new work begins or ends where other work or the day does, and leaves on its other side nothing or what still takes
/// something.
fn leaves_no_gap(taken: Slots, new: Slots) -> bool {
    let (before, after) = taken.free_beside(new, SLOTS);
    let useful = |gap: u32| gap == 0 || gap >= FITS;
    new.is_empty() || (before == 0 || after == 0) && useful(before) && useful(after)
}

fn slots(from: i64, to: i64, slot: u32) -> impl Iterator<Item = usize> {
    let first = from / SLOT_MIN + i64::from(slot);
    let last = (to + SLOT_MIN - 1) / SLOT_MIN + i64::from(slot);
    (first..last).filter_map(|s| usize::try_from(s).ok())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nobody_is_taken_twice_and_no_place_beyond_its_count() {
        let places = BTreeMap::from([("chair".to_owned(), 1)]);
        // Day 0 is a Monday; both rest on Tuesday.
        let mut diary = Diary::new(1, 8, vec![Worker { rests: 2 }, Worker { rests: 2 }], &places);
        let shape = Shape {
            minutes: 300,
            stylist: vec![(0, 60), (200, 300)],
            anybody: vec![(60, 80)],
            places: vec![("chair".into(), 0, 300)],
        };
        let mut all = Vec::new();
        while let Some(found) = diary.find(&shape, (0, 8), &[0], &[1], 0) {
            diary.take(&shape, found);
            all.push((found.day, found.minute));
            assert!(all.len() < 50);
        }
        // One chair, twelve hours: two of five hours a day, Monday, Wednesday to Saturday, and Monday again.
        let days: Vec<usize> = all.iter().map(|(day, _)| *day).collect();
        assert_eq!(days, [0, 0, 2, 2, 3, 3, 4, 4, 5, 5, 7, 7]);
        assert_eq!(all[0].1, 480);
        assert!(all[1].1 >= 480 + 300);
        assert!(diary.fullness(8) > 0.1);
    }

    #[test]
    fn what_leaves_no_gap_is_offered_first_and_anybody_helps() {
        let places = BTreeMap::from([("chair".to_owned(), 9)]);
        let mut diary = Diary::new(1, 1, vec![Worker { rests: 7 }, Worker { rests: 7 }], &places);
        let shape = Shape {
            minutes: 120,
            stylist: vec![(0, 60)],
            anybody: vec![(60, 90), (90, 120)],
            places: vec![("chair".into(), 0, 120)],
        };
        // 13:00 on is liked, 60 slots in: only the first two hours and the last two leave no gap, and the last are later.
        let first = diary.find(&shape, (0, 1), &[0, 1], &[], 60).expect("an empty day");
        assert_eq!((first.minute, first.stylist, first.helper(0), first.helper(1)), (18 * 60, 0, 0, 0));
        diary.take(&shape, first);
        let second = diary.find(&shape, (0, 1), &[0, 1], &[], 60).expect("room");
        assert_eq!((second.minute, second.stylist), (16 * 60, 0), "ends where the first begins");
        // One has her own hour free and the half hour after it, the other the next half hour.
        let free = |from: u32, to: u32| Slots::span(0, from) | Slots::span(to, SLOTS);
        diary.taken[0] = vec![free(7, 7 + 18), free(7 + 18, 7 + 24)];
        let shared = diary.find(&shape, (0, 1), &[0], &[1], 0).expect("both together");
        assert_eq!((shared.minute, shared.stylist), (OPENS_MIN + 35, 0));
        assert_eq!((shared.helper(0), shared.helper(1)), (0, 1), "part by part");
        diary.taken[0][1] = free(7 + 19, 7 + 24);
        assert_eq!(diary.find(&shape, (0, 1), &[0], &[1], 0), None, "five minutes are missing");
        // Hours before which nothing fits are no use either, unless something fits into them.
        assert!(leaves_no_gap(Slots::span(0, 2), Slots::span(2, 9)));
        assert!(!leaves_no_gap(Slots::span(0, 2), Slots::span(3, 9)));
        assert!(leaves_no_gap(Slots::span(9, SLOTS), Slots::span(FITS, 9)));
        assert!(!leaves_no_gap(Slots::span(9, SLOTS), Slots::span(FITS - 1, 9)));
    }

    #[test]
    fn the_desk_waits_some_days_for_a_time_that_leaves_no_gap() {
        let places = BTreeMap::from([("chair".to_owned(), 9)]);
        let mut diary = Diary::new(1, 20, vec![Worker { rests: 7 }], &places);
        let shape = Shape::short(60);
        // Day 0 has an hour and a half, day 3 is empty, those between are full.
        diary.taken[0][0] = Slots::span(0, 12) | Slots::span(30, SLOTS);
        for day in [1, 2] {
            diary.taken[day][0] = Slots::span(0, SLOTS);
        }
        assert_eq!(diary.find(&shape, (0, 20), &[0], &[], 0).map(|f| f.day), Some(0));
        diary.taken[0][0] = Slots::span(0, 10) | Slots::span(23, SLOTS);
        assert_eq!(diary.find(&shape, (0, 20), &[0], &[], 0).map(|f| f.day), Some(3), "five idle minutes");
        for day in 3..3 + PATIENCE_DAYS {
            diary.taken[day][0] = Slots::span(0, SLOTS);
        }
        assert_eq!(
            diary.find(&shape, (0, 20), &[0], &[], 0).map(|f| f.day),
            Some(0),
            "nothing better in time"
        );
    }
}
