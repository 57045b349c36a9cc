//! One integration binary; one file a noun.

mod attack;
mod bookings;
mod calc;
mod day;
mod live;
mod plans;
mod regrowth;
mod run_screen;
mod runs;
mod sign_in;
mod start;
mod support;
mod team;
