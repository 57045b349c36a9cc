//! The strand itself and what happens to it: it grows, meets products, is measured and trimmed.

use super::doubt::{Doubt, NUMERIC_PLACE_MM2};
use crate::domain::chemistry::family::{Family, coded};
use crate::domain::units::SAME_PLACE_MM;
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

/// A stretch of hair with one history.
#[derive(Clone, Debug, PartialEq)]
pub struct Piece {
    /// Nearer edge, mm from the scalp.
    pub from_mm: f64,
    /// Farther edge, mm from the scalp.
    pub to_mm: f64,
    /// Everything it met, in the order met.
    pub exposures: Vec<Exposure>,
    /// Doubt of the farther edge; that of the last piece (the tip) means nothing.
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
    pub(super) pieces: Vec<Piece>,
    on: Date,
    rate_mm_per_day: f64,
    pub(super) rate_sd: f64,
    /// Variance that vague dates give the demarcation at the scalp, once hair grows in front of it, mm².
    scalp_laid_mm2: f64,
    measurements: u32,
}

impl Strand {
    /// Bare hair of `length_mm` (0 or more) on a day, growing `rate_mm_per_day` with `rate_sd` between clients.
    pub fn new(length_mm: f64, on: Date, rate_mm_per_day: f64, rate_sd: f64) -> Self {
        let mut pieces = Vec::new();
        if length_mm > SAME_PLACE_MM {
            let piece = Piece { from_mm: 0.0, to_mm: length_mm, exposures: vec![], end: Doubt::default() };
            pieces.push(piece);
        }
        Strand { pieces, on, rate_mm_per_day, rate_sd, scalp_laid_mm2: 0.0, measurements: 0 }
    }

    /// Length, mm.
    pub fn length_mm(&self) -> f64 {
        self.pieces.last().map_or(0.0, |piece| piece.to_mm)
    }

    /// The day it was last grown to.
    pub fn on(&self) -> Date {
        self.on
    }

    /// The pieces, scalp outward.
    pub fn pieces(&self) -> &[Piece] {
        &self.pieces
    }

    /// Length of the bare piece at the scalp when something lies behind it, else 0.
    pub fn demarcation_mm(&self) -> f64 {
        match self.pieces.as_slice() {
            [first, _, ..] if first.exposures.is_empty() => first.to_mm,
            _ => 0.0,
        }
    }

    /// Every boundary between neighbours, scalp outward: (place, standard deviation), mm.
    pub fn demarcations(&self) -> impl Iterator<Item = (f64, f64)> {
        let inner = self.pieces.len().saturating_sub(1);
        self.pieces[..inner].iter().map(|piece| (piece.to_mm, piece.end.sd_mm(self.rate_sd)))
    }

    /// How much is kept of its history: exposures of all pieces, and measurements their edges hang from.
    pub fn burden(&self) -> usize {
        self.pieces.iter().map(|piece| piece.exposures.len() + piece.end.measured.len()).sum()
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
        self.on = on;
        let days = days as f64;
        let grown = self.rate_mm_per_day * days;
        if !self.pieces.first().is_some_and(|first| first.exposures.is_empty()) {
            let end = Doubt::laid(std::mem::take(&mut self.scalp_laid_mm2));
            self.pieces.insert(0, Piece { from_mm: 0.0, to_mm: 0.0, exposures: vec![], end });
        }
        for piece in &mut self.pieces {
            piece.from_mm += grown;
            piece.to_mm += grown;
            piece.end.days += days;
        }
        self.pieces[0].from_mm = 0.0;
        Ok(())
    }

    /// Puts something on a zone; a zone that holds no hair changes nothing.
    pub fn apply(&mut self, zone: Zone, exposure: Exposure) {
        let Some((from, to)) = self.resolve(zone) else { return };
        let vague = self.rate_mm_per_day * exposure.on_sd_days;
        let vague_mm2 = vague * vague;
        for piece in self.cut_out(from, to, NUMERIC_PLACE_MM2 + vague_mm2) {
            piece.exposures.push(exposure);
        }
        if from <= SAME_PLACE_MM {
            self.scalp_laid_mm2 += vague_mm2;
        }
        self.join_equal();
    }

    /// Cuts the ends by `mm`.
    ///
    /// # Errors
    /// [`StrandRefusal::TrimTakesAll`] when nothing would be left.
    pub fn trim(&mut self, mm: f64) -> Result<(), StrandRefusal> {
        let left = self.length_mm() - mm;
        if left <= SAME_PLACE_MM {
            return Err(StrandRefusal::TrimTakesAll);
        }
        self.pieces.retain(|piece| piece.from_mm < left - SAME_PLACE_MM);
        if let Some(last) = self.pieces.last_mut() {
            last.to_mm = left;
        }
        Ok(())
    }

    /// New growth was measured: the bare piece at the scalp gets that length, all behind it moves by the same shift.
    ///
    /// # Errors
    /// [`StrandRefusal::RootNotBare`] or [`StrandRefusal::NothingBehind`].
    pub fn measure(&mut self, new_growth_mm: f64, sd_mm: f64) -> Result<(), StrandRefusal> {
        let Some((first, behind)) = self.pieces.split_first_mut() else {
            return Err(StrandRefusal::RootNotBare);
        };
        if !first.exposures.is_empty() {
            return Err(StrandRefusal::RootNotBare);
        }
        if behind.is_empty() {
            return Err(StrandRefusal::NothingBehind);
        }
        self.measurements += 1;
        let shift = new_growth_mm - first.to_mm;
        let before = first.end.become_measured(self.measurements, sd_mm * sd_mm);
        first.to_mm = new_growth_mm;
        let mut from = new_growth_mm;
        for piece in behind {
            piece.from_mm = from;
            piece.to_mm += shift;
            from = piece.to_mm;
            piece.end.hang_from(&before, self.measurements, sd_mm * sd_mm);
        }
        Ok(())
    }

    /// The edges of a zone on this strand; `None` when it holds no hair.
    pub(super) fn resolve(&self, zone: Zone) -> Option<(f64, f64)> {
        let length = self.length_mm();
        let (from, to) = match zone {
            Zone::NewGrowth => (0.0, self.demarcation_mm()),
            Zone::RootToEnd => (0.0, length),
            Zone::EndsFrom(from) => (from, length),
            Zone::Between(from, to) => (from, to.min(length)),
        };
        (to - from > SAME_PLACE_MM).then_some((from, to))
    }

    /// Splits at both places and gives the pieces between; a new edge is laid with `laid_mm2`.
    pub(super) fn cut_out(&mut self, from: f64, to: f64, laid_mm2: f64) -> &mut [Piece] {
        let start = self.split_at(from, laid_mm2);
        let end = self.split_at(to, laid_mm2);
        &mut self.pieces[start..end]
    }

    /// Index of the piece that begins at a place, splitting one if need be.
    fn split_at(&mut self, place: f64, laid_mm2: f64) -> usize {
        let index = self.pieces.partition_point(|piece| piece.to_mm <= place + SAME_PLACE_MM);
        match self.pieces.get_mut(index) {
            Some(piece) if piece.from_mm < place - SAME_PLACE_MM => {
                let near = Piece {
                    from_mm: piece.from_mm,
                    to_mm: place,
                    exposures: piece.exposures.clone(),
                    end: Doubt::laid(laid_mm2),
                };
                piece.from_mm = place;
                self.pieces.insert(index, near);
                index + 1
            }
            _ => index,
        }
    }

    /// Neighbours with one history are one piece.
    fn join_equal(&mut self) {
        self.pieces.dedup_by(|far, near| {
            let equal = far.exposures == near.exposures;
            if equal {
                near.to_mm = far.to_mm;
                near.end = std::mem::take(&mut far.end);
            }
            equal
        });
    }
}
