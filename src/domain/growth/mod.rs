//! How fast this client's hair grows, and when new growth is long enough.

pub mod learn;
pub mod normal;
pub mod rate;
pub mod visits;
pub mod window;

pub use learn::learn_prior;
pub use rate::{Observation, Rate, Spread, questioned};
pub use window::{ChanceWords, Retouch, RetouchWindow};
