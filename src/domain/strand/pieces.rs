//! The strand itself and what happens to it: it grows, meets products, is measured and trimmed.

use super::doubt::{Doubt, NUMERIC_PLACE_MM2};
use crate::domain::chemistry::family::{Family, coded};
use crate::domain::units::SAME_PLACE_MM;
use std::collections::VecDeque;
use time::Date;

coded! {
    /// How we know of an exposure.
    Known {
        /// Recorded in this salon.
        Recorded = "recorded", "recorded here";
        /// The client told it.
        Told = "told", "told by the client";
        /// Seen or concluded.
        Inferred = "inferred", "inferred";
    }
}

/// One product met by a piece of hair.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Exposure {
    /// What it was.
    pub family: Family,
    /// When.
    pub on: Date,
    /// How we know.
    pub known: Known,
    /// Doubt of the date, days (standard deviation).
    pub on_sd_days: f64,
    /// Of what re-forms hair: it was put on to straighten (true), to curl (false). None where nobody said, and for
    /// everything that does one thing only. It changes the picture and the words, no verdict.
    pub straightened: Option<bool>,
}

/// Where something is put on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Zone {
    /// From the scalp to the nearest demarcation.
    NewGrowth,
    /// All of it.
    RootToEnd,
    /// From a place to the tip.
    EndsFrom(f64),
    /// Between two places.
    Between(f64, f64),
}

/// A stretch of hair with one history, as it lies now.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Piece<'s> {
    /// Nearer edge, mm from the scalp.
    pub from_mm: f64,
    /// Farther edge, mm from the scalp.
    pub to_mm: f64,
    /// Everything it met, in the order met.
    pub exposures: &'s [Exposure],
}

/// A stretch as it is kept: by its own length, so that growth at the scalp moves nothing.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Stretch {
    mm: f64,
    pub(super) exposures: Vec<Exposure>,
    /// Doubt of the farther edge; that of the last stretch (the tip) means nothing.
    pub(super) end: Doubt,
}

/// Why something could not be done to a strand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StrandRefusal {
    /// A date before the last one.
    DateOutOfOrder,
    /// A trim of the whole length or more.
    TrimTakesAll,
    /// New growth cannot be measured where the root has met something.
    RootNotBare,
    /// New growth cannot be measured where there is nothing behind it.
    NothingBehind,
}

/// One representative strand and how fast it grows.
#[derive(Clone, Debug, PartialEq)]
pub struct Strand {
    pub(super) stretches: VecDeque<Stretch>,
    on: Date,
    rate_mm_per_day: f64,
    pub(super) rate_sd: f64,
    /// About its length: growth added as it came, put right whenever the stretches are added up.
    roughly_mm: f64,
    /// Variance that vague dates give the demarcation at the scalp, once hair grows in front of it, mm².
    scalp_laid_mm2: f64,
    measurements: u32,
}

impl Strand {
    /// Bare hair of `length_mm` (0 or more) on a day, growing `rate_mm_per_day` with `rate_sd` between clients.
    pub fn new(length_mm: f64, on: Date, rate_mm_per_day: f64, rate_sd: f64) -> Self {
        let mut stretches = VecDeque::new();
        if length_mm > SAME_PLACE_MM {
            stretches.push_back(Stretch { mm: length_mm, exposures: vec![], end: Doubt::laid(on, 0.0) });
        }
        let roughly_mm = length_mm;
        Strand { stretches, on, rate_mm_per_day, rate_sd, roughly_mm, scalp_laid_mm2: 0.0, measurements: 0 }
    }

    /// Length, mm: exactly where the last piece ends.
    pub fn length_mm(&self) -> f64 {
        self.stretches.iter().fold(0.0, |sum, stretch| sum + stretch.mm)
    }

    /// Its length to within rounding, mm, without walking the strand: for bounds.
    pub fn roughly_mm(&self) -> f64 {
        self.roughly_mm
    }

    /// The day it was last grown to.
    pub fn on(&self) -> Date {
        self.on
    }

    /// The pieces, scalp outward.
    pub fn pieces(&self) -> impl Iterator<Item = Piece<'_>> {
        let mut from_mm = 0.0;
        self.stretches.iter().map(move |stretch| {
            let to_mm = from_mm + stretch.mm;
            Piece { from_mm: std::mem::replace(&mut from_mm, to_mm), to_mm, exposures: &stretch.exposures }
        })
    }

    /// Length of the bare piece at the scalp when something lies behind it, else 0.
    pub fn demarcation_mm(&self) -> f64 {
        match self.stretches.front() {
            Some(first) if first.exposures.is_empty() && self.stretches.len() > 1 => first.mm,
            _ => 0.0,
        }
    }

    /// Every boundary between neighbours, scalp outward: (place, standard deviation), mm.
    pub fn demarcations(&self) -> impl Iterator<Item = (f64, f64)> {
        let inner = self.stretches.len().saturating_sub(1);
        let sds = self.stretches.iter().map(|stretch| stretch.end.sd_mm(self.on, self.rate_sd));
        self.pieces().zip(sds).take(inner).map(|(piece, sd_mm)| (piece.to_mm, sd_mm))
    }

    /// How much is kept of its history: exposures of all pieces, and measurements their edges hang from.
    pub fn burden(&self) -> usize {
        self.stretches.iter().map(|stretch| stretch.exposures.len() + stretch.end.measured.len()).sum()
    }

    /// Lets it grow until a day: bare hair pushes everything outward.
    ///
    /// # Errors
    /// [`StrandRefusal::DateOutOfOrder`] before the day it stands at.
    pub fn grow_to(&mut self, on: Date) -> Result<(), StrandRefusal> {
        let days = (on - self.on).whole_days();
        if days < 0 {
            return Err(StrandRefusal::DateOutOfOrder);
        }
        if days == 0 {
            return Ok(());
        }
        let grown = self.rate_mm_per_day * days as f64;
        match self.stretches.front_mut() {
            Some(first) if first.exposures.is_empty() => first.mm += grown,
            _ => {
                let end = Doubt::laid(self.on, std::mem::take(&mut self.scalp_laid_mm2));
                self.stretches.push_front(Stretch { mm: grown, exposures: vec![], end });
            }
        }
        self.on = on;
        self.roughly_mm += grown;
        Ok(())
    }

    /// Puts something on a zone; a zone that holds no hair changes nothing.
    pub fn apply(&mut self, zone: Zone, exposure: Exposure) {
        let Some((from, to)) = self.resolve(zone) else { return };
        let vague = self.rate_mm_per_day * exposure.on_sd_days;
        let vague_mm2 = vague * vague;
        let start = self.split_at(from, NUMERIC_PLACE_MM2 + vague_mm2);
        let end = self.split_at(to, NUMERIC_PLACE_MM2 + vague_mm2);
        self.stretches.range_mut(start..end).for_each(|stretch| stretch.exposures.push(exposure));
        if from <= SAME_PLACE_MM {
            self.scalp_laid_mm2 += vague_mm2;
        }
        // Within the zone neighbours stay as different as they were; only its two edges can have closed.
        self.join_if_equal(end);
        self.join_if_equal(start);
    }

    /// Cuts the ends by `mm`.
    ///
    /// # Errors
    /// [`StrandRefusal::TrimTakesAll`] when nothing would be left.
    pub fn trim(&mut self, mm: f64) -> Result<(), StrandRefusal> {
        if self.length_mm() - mm <= SAME_PLACE_MM {
            return Err(StrandRefusal::TrimTakesAll);
        }
        let mut left = mm;
        while let Some(last) = self.stretches.back_mut() {
            if last.mm > left + SAME_PLACE_MM {
                last.mm -= left;
                break;
            }
            left -= last.mm;
            self.stretches.pop_back();
        }
        self.roughly_mm = self.length_mm();
        Ok(())
    }

    /// New growth was measured: the bare piece at the scalp gets that length, all behind it moves by the same shift.
    ///
    /// # Errors
    /// [`StrandRefusal::RootNotBare`] or [`StrandRefusal::NothingBehind`].
    pub fn measure(&mut self, new_growth_mm: f64, sd_mm: f64) -> Result<(), StrandRefusal> {
        let more = self.stretches.len() > 1;
        let Some(first) = self.stretches.front_mut().filter(|first| first.exposures.is_empty()) else {
            return Err(StrandRefusal::RootNotBare);
        };
        if !more {
            return Err(StrandRefusal::NothingBehind);
        }
        self.measurements += 1;
        let (number, variance) = (self.measurements, sd_mm * sd_mm);
        let before = first.end.become_measured(self.on, number, variance);
        first.mm = new_growth_mm;
        for stretch in self.stretches.iter_mut().skip(1) {
            stretch.end.hang_from(&before, self.on, number, variance);
        }
        self.roughly_mm = self.length_mm();
        Ok(())
    }

    /// The edges of a zone on this strand; `None` when it holds no hair.
    pub(super) fn resolve(&self, zone: Zone) -> Option<(f64, f64)> {
        let (from, to) = match zone {
            Zone::NewGrowth => (0.0, self.demarcation_mm()),
            Zone::RootToEnd => (0.0, self.length_mm()),
            Zone::EndsFrom(from) => (from, self.length_mm()),
            Zone::Between(from, to) => (from, to.min(self.length_mm())),
        };
        (to - from > SAME_PLACE_MM).then_some((from, to))
    }

    /// Index of the stretch that begins at a place, splitting one if need be; a new edge is laid with `laid_mm2`.
    fn split_at(&mut self, place: f64, laid_mm2: f64) -> usize {
        let mut from = 0.0;
        for (index, stretch) in self.stretches.iter_mut().enumerate() {
            if place - from <= SAME_PLACE_MM {
                return index;
            }
            let to = from + stretch.mm;
            if to - place > SAME_PLACE_MM {
                let near = Stretch {
                    mm: place - from,
                    exposures: stretch.exposures.clone(),
                    end: Doubt::laid(self.on, laid_mm2),
                };
                stretch.mm = to - place;
                self.stretches.insert(index, near);
                return index + 1;
            }
            from = to;
        }
        self.stretches.len()
    }

    /// Neighbours with one history are one piece: joins the stretch at `index` to the one before it.
    fn join_if_equal(&mut self, index: usize) {
        let pair = index.checked_sub(1).map(|before| (self.stretches.get(before), self.stretches.get(index)));
        let Some((Some(near), Some(far))) = pair else { return };
        if near.exposures == far.exposures
            && let Some(near) = self.stretches.remove(index - 1)
            && let Some(far) = self.stretches.get_mut(index - 1)
        {
            far.mm += near.mm;
        }
    }
}
