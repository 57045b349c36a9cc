//! The consult: what the client told and the scalp showed, read in the chair, and what follows from it.
//!
//! Rules from trade-rules.md, "Hair and scalp"; each finding carries the mark of its source.

mod findings;
mod home;
mod lay;
mod own;
mod told;

pub use findings::{Circumstance, Finding, Weight, age_on, findings, needs_guardian};
pub use home::{HOME_TEXT_MOST, HomeAnswer, HomeQuestion, HomeTold};
pub use lay::{Account, Laid, LengthRefusal, TOLD_ROWS, ToldExposure, lay_strand};
pub use own::{Own, OwnAnswer, OwnQuestion, Sought};
pub use told::{HomeColour, Scalp, Told};
