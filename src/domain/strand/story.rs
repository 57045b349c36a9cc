//! A strand's story: where it begins and all that was done to it since, told from the start.

use super::pieces::{Exposure, Strand, StrandRefusal, Zone};
use crate::domain::growth::Rate;
use crate::domain::growth::visits::{Did, Visit};
use time::Date;

/// One thing done to a strand.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Deed {
    /// A product met a zone.
    Apply(Zone, Exposure),
    /// New growth was measured: stretched mm, standard deviation mm.
    Measure {
        /// Stretched millimetres.
        mm: f64,
        /// Standard deviation, mm.
        sd_mm: f64,
    },
    /// The ends were cut by so many mm.
    Trim(f64),
}

/// Where a strand begins and what was done, in the order of the record.
#[derive(Clone, Debug, PartialEq)]
pub struct Story {
    /// Length at the beginning, mm.
    pub length_mm: f64,
    /// The day it begins.
    pub on: Date,
    /// Each deed with its local day.
    pub deeds: Vec<(Date, Deed)>,
}

impl Story {
    /// Tells the story at this rate up to a day. A deed of an earlier day than the one before it counts as
    /// of the day reached: what was done in one visit keeps its order.
    ///
    /// # Errors
    /// What the strand itself refuses, with the number of the deed (`deeds.len()` for the day asked about).
    pub fn tell(&self, rate: Rate, as_of: Date) -> Result<Strand, (usize, StrandRefusal)> {
        let mut strand = Strand::new(self.length_mm, self.on, rate.mean, rate.sd);
        for (n, (on, deed)) in self.deeds.iter().enumerate() {
            let at = |refusal| (n, refusal);
            strand.grow_to((*on).max(strand.on())).map_err(at)?;
            match *deed {
                Deed::Apply(zone, exposure) => strand.apply(zone, exposure),
                Deed::Measure { mm, sd_mm } => strand.measure(mm, sd_mm).map_err(at)?,
                Deed::Trim(mm) => strand.trim(mm).map_err(at)?,
            }
        }
        strand.grow_to(as_of.max(strand.on())).map_err(|refusal| (self.deeds.len(), refusal))?;
        Ok(strand)
    }

    /// Tells the story as far as it fits together: a deed the strand refuses is left out and named (its number and
    /// why), the rest goes on.
    pub fn tell_what_fits(&self, rate: Rate, as_of: Date) -> (Strand, Vec<(usize, StrandRefusal)>) {
        let mut story = self.clone();
        let mut numbers: Vec<usize> = (0..self.deeds.len()).collect();
        let mut left_out = Vec::new();
        loop {
            match story.tell(rate, as_of) {
                Ok(strand) => return (strand, left_out),
                Err((n, why)) if n < numbers.len() => {
                    story.deeds.remove(n);
                    left_out.push((numbers.remove(n), why));
                }
                // No deed is left to blame: the strand as it began.
                Err(_) => return (Strand::new(self.length_mm, as_of, rate.mean, rate.sd), left_out),
            }
        }
    }

    /// The story as the calendar of growth needs it: what met the root, what was measured.
    pub fn visits(&self) -> Vec<Visit> {
        let visit = |(on, deed): &(Date, Deed)| match deed {
            Deed::Apply(..) => Some(Visit { on: *on, did: Did::Applied { at_scalp: meets_root(deed) } }),
            Deed::Measure { mm, sd_mm } => {
                Some(Visit { on: *on, did: Did::Measured { mm: *mm, sd_mm: *sd_mm } })
            }
            Deed::Trim(_) => None,
        };
        self.deeds.iter().filter_map(visit).collect()
    }

    /// The day of the last product that met the root: new growth counts from it. None when nothing did.
    pub fn root_met_on(&self) -> Option<Date> {
        self.deeds.iter().rev().find(|(_, deed)| meets_root(deed)).map(|(on, _)| *on)
    }
}

/// True for a product that met the hair at the scalp.
fn meets_root(deed: &Deed) -> bool {
    match deed {
        Deed::Apply(Zone::NewGrowth | Zone::RootToEnd, _) => true,
        Deed::Apply(Zone::Between(from, _) | Zone::EndsFrom(from), exposure) => {
            *from <= 0.0 && exposure.family != crate::domain::chemistry::family::Family::Unknown
        }
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::chemistry::family::Family;
    use crate::domain::strand::Known;
    use time::macros::date;

    const RATE: Rate = Rate { mean: 0.30, sd: 0.05 };

    fn relaxer(on: Date) -> Exposure {
        Exposure {
            family: Family::SodiumHydroxide,
            on,
            known: Known::Recorded,
            on_sd_days: 0.0,
            straightened: None,
        }
    }

    // The sums of 3-calc.md's own example, by hand: 90 days at 0.30 are 27 mm, measured as 28.
    #[test]
    fn a_story_grows_measures_and_trims() {
        let first = date!(2025 - 01 - 10);
        let story = Story {
            length_mm: 200.0,
            on: first,
            deeds: vec![
                (first, Deed::Apply(Zone::RootToEnd, relaxer(first))),
                (date!(2025 - 04 - 10), Deed::Measure { mm: 28.0, sd_mm: 2.0 }),
                (date!(2025 - 04 - 10), Deed::Trim(10.0)),
            ],
        };
        let strand = story.tell(RATE, date!(2025 - 04 - 10)).unwrap();
        assert!((strand.length_mm() - 218.0).abs() < 1e-9 && (strand.demarcation_mm() - 28.0).abs() < 1e-9);
        assert_eq!(story.root_met_on(), Some(first));
        let bare = Story { deeds: vec![(first, Deed::Measure { mm: 5.0, sd_mm: 2.0 })], ..story };
        assert_eq!(bare.tell(RATE, first).unwrap_err(), (0, StrandRefusal::NothingBehind));
    }
}
