//! What the manager looks over: weeks, hours that will be wanted, times kept, how people differ.
//!
//! Pure counting. Who is counted is the store's question, how it is said the screen's.

pub mod band;
pub mod demand;
pub mod habit;
pub mod open;
pub mod reach;
pub mod times;
pub mod week;

pub use band::{Band, Moments};
pub use demand::{Head, Minutes, Wanted, wanted};
pub use habit::{Habit, Wait};
pub use reach::Reach;
pub use times::{Quartiles, Timed, Times};
pub use week::Week;

/// Part of a whole between 0 and 1; nothing of nothing.
#[must_use]
pub fn share(part: u64, whole: u64) -> Option<f64> {
    (whole > 0).then(|| part as f64 / whole as f64)
}

#[cfg(test)]
mod calibration_tests;
