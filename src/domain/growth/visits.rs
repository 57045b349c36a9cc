//! From what a strand went through to the intervals its growth is learned from.

use time::Date;

use super::rate::Observation;

/// What the calendar of growth needs of one thing that was done to the hair.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Did {
    /// Something was put on; `at_scalp` when it met the hair at the root, so that new growth starts there anew.
    Applied {
        /// It reached the scalp's end of the hair.
        at_scalp: bool,
    },
    /// New growth was measured, mm stretched, with its standard deviation.
    Measured {
        /// Stretched millimetres.
        mm: f64,
        /// Standard deviation, mm.
        sd_mm: f64,
    },
}

/// One thing done, on its local day, in the order it was recorded.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Visit {
    /// The local day.
    pub on: Date,
    /// What was done.
    pub did: Did,
}

/// The observed intervals: each measurement against the last day on which something met the root before it.
/// Measurements on that same day, or before anything met the root, tell nothing of the rate.
#[must_use]
pub fn observations(visits: &[Visit]) -> Vec<Observation> {
    let mut born: Option<Date> = None;
    let mut seen = Vec::new();
    for visit in visits {
        match visit.did {
            Did::Applied { at_scalp: true } => born = Some(visit.on),
            Did::Applied { at_scalp: false } => {}
            Did::Measured { mm, sd_mm } => {
                let days = born.map_or(0, |born| (visit.on - born).whole_days());
                if days > 0 {
                    seen.push(Observation { days: days as f64, mm, sd_mm });
                }
            }
        }
    }
    seen
}

#[cfg(test)]
mod tests {
    use time::macros::date;

    use super::*;

    #[test]
    fn an_interval_runs_from_the_last_root_application() {
        let put_on = |on, at_scalp| Visit { on, did: Did::Applied { at_scalp } };
        let read = |on, mm| Visit { on, did: Did::Measured { mm, sd_mm: 2.0 } };
        let seen = observations(&[
            read(date!(2025 - 01 - 01), 9.0),
            put_on(date!(2025 - 01 - 10), true),
            read(date!(2025 - 01 - 10), 1.0),
            put_on(date!(2025 - 02 - 10), false),
            read(date!(2025 - 04 - 10), 28.0),
            put_on(date!(2025 - 04 - 10), true),
            read(date!(2025 - 07 - 09), 26.0),
        ]);
        let told: Vec<_> = seen.iter().map(|o| (o.days, o.mm)).collect();
        assert_eq!(told, [(90.0, 28.0), (90.0, 26.0)]);
    }
}
