//! Who is taken when, and how many places of a kind: a salon's past and coming days in slots of six minutes.

use std::collections::BTreeMap;

use crate::domain::booking::Chain;

/// The salon opens so many minutes after midnight.
pub const OPENS_MIN: u16 = 8 * 60;
/// It is open for so long.
const OPEN_MIN: i64 = 12 * 60;
/// Length of a slot. A day has 120: they fit into the bits of one number.
const SLOT_MIN: i64 = 6;
const SLOTS: u32 = (OPEN_MIN / SLOT_MIN) as u32;
/// Services begin every twelve minutes.
const STEP: u32 = 2;

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

fn mask(spans: &[(i64, i64)]) -> u128 {
    spans.iter().fold(0, |mask, (from, to)| {
        let (first, last) = (from / SLOT_MIN, (to + SLOT_MIN - 1) / SLOT_MIN);
        (first..last).fold(mask, |m, slot| m | 1_u128.checked_shl(slot as u32).unwrap_or(0))
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
    /// Who does what anybody may do.
    pub helper: usize,
}

/// The diary.
#[derive(Debug)]
pub struct Diary {
    /// ISO weekday of day 0.
    first_weekday: i64,
    workers: Vec<Worker>,
    /// Slots taken, by day and worker.
    taken: Vec<Vec<u128>>,
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
            taken: vec![vec![0; workers.len()]; days],
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

    /// The first opening from a day on, within so many days: one of these stylists in this order on each day, what anybody
    /// may do by one of the helpers, else by the stylist, else by another of them. Of the times of one stylist's day the desk
    /// offers first what leaves no idle minutes beside other work or the ends of the day, and among those what is liked.
    pub fn find(
        &self,
        shape: &Shape,
        (from, days): (usize, usize),
        stylists: &[usize],
        helpers: &[usize],
        not_before: u32,
    ) -> Option<Found> {
        let length = u32::try_from((shape.minutes + SLOT_MIN - 1) / SLOT_MIN).unwrap_or(SLOTS);
        let (own, any) = (mask(&shape.stylist), mask(&shape.anybody));
        let last = SLOTS.checked_sub(length)?;
        let starts = || (0..=last).step_by(STEP as usize);
        let turned =
            || starts().filter(move |s| *s >= not_before).chain(starts().filter(move |s| *s < not_before));
        for day in from..(from + days).min(self.taken.len()) {
            let free = |worker: usize, mask: u128, slot: u32| {
                self.works(worker, day) && self.taken[day][worker] & (mask << slot) == 0
            };
            for &stylist in stylists.iter().filter(|s| self.works(**s, day)) {
                let mut loose = None;
                for slot in turned().filter(|slot| free(stylist, own, *slot)) {
                    let order = helpers.iter().chain([&stylist]).chain(stylists).copied();
                    let Some(helper) = order.into_iter().find(|h| free(*h, any, slot)) else { continue };
                    if !self.places_free(shape, day, slot) {
                        continue;
                    }
                    let minute = OPENS_MIN + u16::try_from(i64::from(slot) * SLOT_MIN).unwrap_or(0);
                    let found = Found { day, minute, stylist, helper };
                    let both = if helper == stylist { own | any } else { own };
                    let (who, hands) = if own == 0 { (helper, any) } else { (stylist, both) };
                    if leaves_no_gap(self.taken[day][who], hands << slot) {
                        return Some(found);
                    }
                    loose = loose.or(Some(found));
                }
                if loose.is_some() {
                    return loose;
                }
            }
        }
        None
    }

    /// Takes what was found.
    pub fn take(&mut self, shape: &Shape, found: Found) {
        let slot = u32::from(found.minute - OPENS_MIN) / SLOT_MIN as u32;
        let day = &mut self.taken[found.day];
        day[found.stylist] |= mask(&shape.stylist) << slot;
        day[found.helper] |= mask(&shape.anybody) << slot;
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
        for worker in (0..self.workers.len()).filter(|w| days.iter().any(|day| day[*w] != 0)) {
            for (_, of_day) in days.iter().enumerate().filter(|(day, _)| self.works(worker, *day)) {
                taken += of_day[worker].count_ones();
                worked += SLOTS;
            }
        }
        f64::from(taken) / f64::from(worked.max(1))
    }
}

/// Whether new work begins where other work or the day begins, or ends where one of them ends.
fn leaves_no_gap(taken: u128, new: u128) -> bool {
    let (first, after) = (new.trailing_zeros(), 128 - new.leading_zeros());
    let is_taken = |slot: u32| taken >> slot & 1 == 1;
    new == 0 || first == 0 || after >= SLOTS || is_taken(first - 1) || is_taken(after)
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
            anybody: vec![(60, 120)],
            places: vec![("chair".into(), 0, 120)],
        };
        let first = diary.find(&shape, (0, 1), &[0, 1], &[], 50).expect("an empty day");
        assert_eq!((first.stylist, first.helper), (0, 0));
        // Slot 50 on is liked, 13:00: only the first two hours and the last two leave no gap, and the last are later.
        assert_eq!(first.minute, 18 * 60);
        diary.take(&shape, first);
        let second = diary.find(&shape, (0, 1), &[0, 1], &[], 50).expect("room");
        assert_eq!((second.minute, second.stylist, second.helper), (16 * 60, 0, 0), "where the first begins");
        // Somebody whose own hour is free, and the other one's hour after it: one begins, the other ends.
        diary.taken[0] = vec![!(mask(&[(0, 60)]) << 5), !(mask(&[(0, 60)]) << 15)];
        let shared = diary.find(&shape, (0, 1), &[0, 1], &[], 0);
        assert_eq!(shared.map(|f| f.minute), None, "services begin every twelve minutes");
        diary.taken[0] = vec![!(mask(&[(0, 60)]) << 4), !(mask(&[(0, 60)]) << 14)];
        let shared = diary.find(&shape, (0, 1), &[0, 1], &[], 0);
        assert_eq!(shared.map(|f| (f.minute, f.stylist, f.helper)), Some((504, 0, 1)));
        assert!(leaves_no_gap(0b1, 0b10) && !leaves_no_gap(0b1, 0b100) && leaves_no_gap(0b1000, 0b100));
    }
}
