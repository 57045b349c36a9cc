//! How fast this client's hair grows, and when new growth is long enough.

pub mod learn;
pub mod lesson;
pub mod normal;
pub mod rate;
pub mod visits;
pub mod window;

pub use learn::learn_prior;
pub use lesson::{Lesson, Use};
pub use rate::{Observation, Rate, Spread, questioned};
pub use window::{ChanceWords, Retouch, RetouchWindow};

#[cfg(test)]
mod lesson_tests;
#[cfg(test)]
mod properties;
