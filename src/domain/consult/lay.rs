//! How what is already in the hair becomes the beginning of a strand.

use crate::domain::chemistry::family::Family;
use crate::domain::growth::Rate;
use time::Date;

/// Most treatments told in one consult.
pub const TOLD_ROWS: usize = 8;

/// The shortest strand something can have been put on.
const LEAST_LAID_MM: f64 = 1.0;

/// Something already in the hair, as told and as seen today.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ToldExposure {
    /// What it was.
    pub family: Family,
    /// When.
    pub on: Date,
    /// Doubt of the day (standard deviation, days).
    pub on_sd_days: f64,
    /// Where it begins today, mm of stretched hair from the scalp; none: it went on root to end.
    pub from_mm: Option<f64>,
    /// Where it ends today; none: at the tip.
    pub to_mm: Option<f64>,
}

/// How much of the hair the client can account for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Account {
    /// All of it: what is not told has met nothing.
    Whole,
    /// Only up to here from the scalp; what lies beyond counts as history not known.
    UpTo(f64),
}

/// Why the told treatments do not make a strand: the number of the row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LengthRefusal {
    /// It begins at or behind the tip.
    BeyondTip(usize),
    /// It ends before it begins.
    EndsFirst(usize),
    /// Hair treated on that day cannot lie so near the scalp today.
    TooNearScalp(usize),
    /// Root to end on that day has grown out and been cut by now.
    GrownOut(usize),
    /// Told of a day before something already recorded.
    BeforeRecorded(usize),
}

/// A strand's beginning and the zones of what was told, all as of their own days: (row, from, to).
#[derive(Clone, Debug, PartialEq)]
pub struct Laid {
    /// The length the strand begins with.
    pub length_mm: f64,
    /// The day it begins.
    pub on: Date,
    /// Rows in order of their days; edges as of that day, none for root to end, none for the tip.
    pub rows: Vec<(ToldExposure, Option<f64>, Option<f64>)>,
}

/// Lays what was told onto hair that is `length_mm` long today. Places are seen today, so each is moved
/// back by what has grown since; where that leads behind the scalp by more than the doubt explains, day and
/// place do not fit together. The strand begins on the earliest day told, so long ago as that.
///
/// # Errors
/// Every row that does not fit.
pub fn lay_strand(
    length_mm: f64,
    today: Date,
    rate: Rate,
    told: &[ToldExposure],
    not_before: Option<Date>,
) -> Result<Laid, Vec<LengthRefusal>> {
    let mut refused = Vec::new();
    let mut rows = Vec::with_capacity(told.len());
    for (row, exposure) in told.iter().enumerate() {
        let days = (today - exposure.on).whole_days() as f64;
        let grown_mm = rate.mean * days;
        let spread = (rate.sd * days).hypot(rate.mean * exposure.on_sd_days);
        if not_before.is_some_and(|day| exposure.on < day) {
            refused.push(LengthRefusal::BeforeRecorded(row));
        }
        let then = |mm: f64| (mm - grown_mm).max(0.0);
        let (from, to) = (exposure.from_mm.unwrap_or(0.0), exposure.to_mm.unwrap_or(length_mm));
        if from >= length_mm || to > length_mm {
            refused.push(LengthRefusal::BeyondTip(row));
        } else if to <= from {
            refused.push(LengthRefusal::EndsFirst(row));
        } else if exposure.from_mm.is_none() && grown_mm - 1.96 * spread >= to {
            refused.push(LengthRefusal::GrownOut(row));
        } else if exposure.from_mm.or(exposure.to_mm).is_some_and(|mm| mm < grown_mm - 3.0 - 1.96 * spread) {
            refused.push(LengthRefusal::TooNearScalp(row));
        }
        let end = exposure.to_mm.filter(|to| *to < length_mm).map(then);
        rows.push((*exposure, exposure.from_mm.map(then).filter(|mm| *mm > 0.0), end));
    }
    if !refused.is_empty() {
        return Err(refused);
    }
    rows.sort_by_key(|(exposure, _, _)| exposure.on);
    let on = rows.first().map_or(today, |(exposure, _, _)| exposure.on);
    let grown_mm = rate.mean * (today - on).whole_days() as f64;
    // Within the doubt some of the earliest may still be there: then the strand begins with a little of it.
    let least_mm = if rows.is_empty() { 0.0 } else { LEAST_LAID_MM };
    Ok(Laid { length_mm: (length_mm - grown_mm).max(least_mm), on, rows })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::strand::{Exposure, Known, Strand, Zone};
    use time::macros::date;

    const RATE: Rate = Rate { mean: 0.28, sd: 0.05 };
    const TODAY: Date = date!(2026 - 05 - 14);

    fn relaxed(on: Date, from_mm: Option<f64>) -> ToldExposure {
        ToldExposure { family: Family::SodiumHydroxide, on, on_sd_days: 30.0, from_mm, to_mm: None }
    }

    fn strand(laid: &Laid) -> Strand {
        let mut strand = Strand::new(laid.length_mm, laid.on, RATE.mean, RATE.sd);
        for (told, from, to) in &laid.rows {
            strand.grow_to(told.on).unwrap();
            let zone = match (from, to) {
                (None, None) => Zone::RootToEnd,
                (Some(from), None) => Zone::EndsFrom(*from),
                (from, Some(to)) => Zone::Between(from.unwrap_or(0.0), *to),
            };
            let exposure = Exposure {
                family: told.family,
                on: told.on,
                known: Known::Told,
                on_sd_days: told.on_sd_days,
                straightened: None,
            };
            strand.apply(zone, exposure);
        }
        strand.grow_to(TODAY).unwrap();
        strand
    }

    // The strand model itself puts today's edges where they were seen today: laying back and growing on cancel.
    #[test]
    fn what_is_seen_today_lies_where_it_was_seen() {
        let told = [
            relaxed(date!(2025 - 07 - 01), Some(96.0)),
            ToldExposure {
                family: Family::OxidativeColour,
                on: date!(2026 - 02 - 26),
                on_sd_days: 0.0,
                from_mm: None,
                to_mm: None,
            },
        ];
        let strand = strand(&lay_strand(148.0, TODAY, RATE, &told, None).unwrap());
        assert!((strand.length_mm() - 148.0).abs() < 1e-9);
        let edges: Vec<f64> = strand.demarcations().map(|(at, _)| at).collect();
        assert_eq!(edges.len(), 2, "{edges:?}");
        assert!((edges[0] - 77.0 * 0.28).abs() < 1e-9 && (edges[1] - 96.0).abs() < 1e-9, "{edges:?}");
    }

    #[test]
    fn nothing_told_begins_today_and_bare() {
        let laid = lay_strand(200.0, TODAY, RATE, &[], None).unwrap();
        assert_eq!(laid, Laid { length_mm: 200.0, on: TODAY, rows: vec![] });
    }

    #[test]
    fn day_and_place_that_do_not_fit_are_told_by_row() {
        let fits = relaxed(date!(2026 - 04 - 14), None);
        let told = [
            fits,
            relaxed(date!(2024 - 05 - 14), Some(20.0)),
            relaxed(date!(2026 - 04 - 14), Some(150.0)),
            ToldExposure { to_mm: Some(30.0), ..relaxed(date!(2026 - 04 - 14), Some(40.0)) },
            relaxed(date!(2020 - 05 - 14), None),
        ];
        assert_eq!(
            lay_strand(148.0, TODAY, RATE, &told, None).unwrap_err(),
            [
                LengthRefusal::TooNearScalp(1),
                LengthRefusal::BeyondTip(2),
                LengthRefusal::EndsFirst(3),
                LengthRefusal::GrownOut(4)
            ]
        );
        let late = lay_strand(148.0, TODAY, RATE, &[fits], Some(date!(2026 - 05 - 01)));
        assert_eq!(late.unwrap_err(), [LengthRefusal::BeforeRecorded(0)]);
    }
}
