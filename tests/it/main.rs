//! One integration binary; one file a noun.

mod calc;
mod sign_in;
mod start;
mod support;
