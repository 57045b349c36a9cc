//! One integration binary; one file a noun.

mod attack;
mod bookings;
mod calc;
mod day;
mod regrowth;
mod runs;
mod sign_in;
mod start;
mod support;
mod team;
