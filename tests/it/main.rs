//! One integration binary; one file a noun.

mod access;
mod attack;
mod bookings;
mod calc;
mod catalogue;
mod chair;
mod check;
mod clients;
mod consults;
mod day;
mod demo;
mod live;
mod plans;
mod readings;
mod regrowth;
mod run_screen;
mod runs;
mod shelf;
mod sign_in;
mod skin_tests;
mod start;
mod statements;
mod strands;
mod support;
mod team;
