//! Screens. Reads through `store`, writes only through `flow`; templates get finished words and numbers.

pub mod assets;
pub mod bar;
pub mod bookings;
pub mod clients;
pub mod consents;
pub mod consult_form;
pub mod consults;
pub mod day;
pub mod drawing;
pub mod floor;
mod floor_ahead;
pub mod followups;
pub mod form;
pub mod hair_tests;
pub mod health;
pub mod live;
pub mod lots;
pub mod once;
pub mod openings;
pub mod page;
pub mod picture;
pub mod plan_form;
pub mod plan_view;
pub mod plans;
pub mod problem;
pub mod product_form;
pub mod products;
pub mod proof;
pub mod readings;
pub mod regrowth;
pub mod routes;
pub mod run;
pub mod seat;
pub mod shelf;
pub mod shell;
pub mod sign_in;
pub mod skin_tests;
pub mod strand_fan;
pub mod strand_words;
pub mod strands;
pub mod table;
pub mod team;
pub mod tests;
pub mod typed;

#[cfg(test)]
mod gallery;
