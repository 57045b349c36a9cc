//! Slots of one day as a set: 144 of five minutes are a day of twelve hours.

use std::ops::{BitAnd, BitOr, BitOrAssign, Not, Shl, Shr};

/// Minutes of a slot.
pub const SLOT_MIN: i64 = 5;

/// Slots of a day: the first is the lowest bit.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Slots {
    low: u128,
    high: u128,
}

impl Slots {
    /// From one slot to before another.
    pub fn span(from: u32, to: u32) -> Slots {
        let below = |n: u32| match n {
            0..128 => Slots { low: (1 << n) - 1, high: 0 },
            128..256 => Slots { low: u128::MAX, high: (1 << (n - 128)) - 1 },
            _ => Slots { low: u128::MAX, high: u128::MAX },
        };
        let (under, all) = (below(from), below(to));
        Slots { low: all.low & !under.low, high: all.high & !under.high }
    }

    /// Whether none is in it.
    pub const fn is_empty(self) -> bool {
        self.low == 0 && self.high == 0
    }

    /// Whether none is in both.
    pub const fn is_apart(self, other: Slots) -> bool {
        self.low & other.low == 0 && self.high & other.high == 0
    }

    /// How many.
    pub const fn count(self) -> u32 {
        self.low.count_ones() + self.high.count_ones()
    }

    /// The first in it; 256 of none.
    pub const fn first(self) -> u32 {
        if self.low == 0 { 128 + self.high.trailing_zeros() } else { self.low.trailing_zeros() }
    }

    /// The one after the last in it; 0 of none.
    pub const fn end(self) -> u32 {
        if self.high == 0 { 128 - self.low.leading_zeros() } else { 256 - self.high.leading_zeros() }
    }

    /// Whether one is in it.
    pub const fn has(self, slot: u32) -> bool {
        match slot {
            0..128 => self.low >> slot & 1 == 1,
            128..256 => self.high >> (slot - 128) & 1 == 1,
            _ => false,
        }
    }

    /// By how many slots another set may be put later and still lie within this one: those of 0 to 255. Found for all at
    /// once: a row of slots fits where two of its halves do.
    pub fn starts(self, other: Slots) -> Slots {
        let mut all = Slots::span(0, 256);
        let mut rest = other;
        while !rest.is_empty() {
            let from = rest.first();
            let end = (rest >> from).not().first() + from;
            let (mut row, mut long) = (self, 1);
            while long < end - from {
                let step = long.min(end - from - long);
                row = row & (row >> step);
                long += step;
            }
            all = all & (row >> from);
            rest = rest & Slots::span(end, 256);
        }
        all
    }

    /// Free slots right before and right after a span of time, of a day with so many.
    pub fn free_beside(self, span: Slots, day: u32) -> (u32, u32) {
        let (first, end) = (span.first(), span.end());
        let before = first - (self & Slots::span(0, first)).end();
        let after = (self & Slots::span(end, 256)).first().min(day).saturating_sub(end);
        (before, after)
    }
}

impl BitAnd for Slots {
    type Output = Slots;

    fn bitand(self, other: Slots) -> Slots {
        Slots { low: self.low & other.low, high: self.high & other.high }
    }
}

impl Not for Slots {
    type Output = Slots;

    fn not(self) -> Slots {
        Slots { low: !self.low, high: !self.high }
    }
}

impl BitOr for Slots {
    type Output = Slots;

    fn bitor(self, other: Slots) -> Slots {
        Slots { low: self.low | other.low, high: self.high | other.high }
    }
}

impl BitOrAssign for Slots {
    fn bitor_assign(&mut self, other: Slots) {
        *self = *self | other;
    }
}

/// Later by so many slots; what leaves the day is gone.
impl Shl<u32> for Slots {
    type Output = Slots;

    fn shl(self, by: u32) -> Slots {
        match by {
            0 => self,
            1..128 => Slots { low: self.low << by, high: self.high << by | self.low >> (128 - by) },
            128..256 => Slots { low: 0, high: self.low << (by - 128) },
            _ => Slots::default(),
        }
    }
}

/// Earlier by so many slots; what comes before the day is gone.
impl Shr<u32> for Slots {
    type Output = Slots;

    fn shr(self, by: u32) -> Slots {
        match by {
            0 => self,
            1..128 => Slots { low: self.low >> by | self.high << (128 - by), high: self.high >> by },
            128..256 => Slots { low: self.high >> (by - 128), high: 0 },
            _ => Slots::default(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_set_of_slots_is_what_a_list_of_them_would_be() {
        let of = |s: Slots| (0..256).filter(|n| !s.is_apart(Slots::span(*n, n + 1))).collect::<Vec<u32>>();
        for (from, to) in [(0, 0), (0, 1), (3, 90), (100, 140), (127, 128), (128, 129), (130, 256)] {
            let span = Slots::span(from, to);
            let list: Vec<u32> = (from..to).collect();
            assert_eq!(of(span), list);
            assert_eq!((span.count(), span.is_empty()), (to - from, from == to));
            for by in [0, 1, 37, 127, 128, 200, 255, 256] {
                let later: Vec<u32> = list.iter().map(|n| n + by).filter(|n| *n < 256).collect();
                assert_eq!(of(span << by), later, "{from}..{to} later by {by}");
                if let (Some(first), Some(last)) = (later.first(), later.last()) {
                    assert_eq!(((span << by).first(), (span << by).end()), (*first, last + 1));
                }
            }
        }
        // Every start of a set within another, tried one by one.
        let free = Slots::span(3, 40) | Slots::span(44, 50) | Slots::span(90, 170) | Slots::span(250, 256);
        for set in [
            Slots::default(),
            Slots::span(0, 1),
            Slots::span(2, 9),
            Slots::span(0, 6) | Slots::span(41, 46),
            Slots::span(1, 3) | Slots::span(5, 8) | Slots::span(90, 129),
            Slots::span(0, 256),
        ] {
            let fits = |by: &u32| of(set).into_iter().all(|slot| free.has(slot + by));
            assert_eq!(of(free.starts(set)), (0..256).filter(fits).collect::<Vec<u32>>(), "{set:?}");
        }
        let taken = Slots::span(10, 20) | Slots::span(150, 160);
        assert_eq!(taken.free_beside(Slots::span(20, 30), 240), (0, 120));
        assert_eq!(taken.free_beside(Slots::span(0, 5), 240), (0, 5));
        assert_eq!(taken.free_beside(Slots::span(230, 240), 240), (70, 0));
        assert_eq!(Slots::default().free_beside(Slots::span(100, 120), 240), (100, 120));
    }
}
