//! One integration binary; one file a noun.

mod attack;
mod calc;
mod runs;
mod sign_in;
mod start;
mod support;
