//! What products are made of, what may meet what, and what the law lets into a bottle.

pub mod family;
pub mod limits;
pub mod rules;

pub use family::{Family, Group, NewUse};
pub use rules::{Mark, Rule, RuleTable, Strength, Verdict};

#[cfg(test)]
mod properties;
