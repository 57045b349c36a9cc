//! Screens. Reads through `store`, writes only through `flow`; templates get finished words and numbers.

pub mod assets;
pub mod bar;
pub mod clients;
pub mod consents;
pub mod consult_form;
pub mod consults;
pub mod drawing;
pub mod form;
pub mod health;
pub mod live;
pub mod once;
pub mod page;
pub mod picture;
pub mod problem;
pub mod routes;
pub mod seat;
pub mod shell;
pub mod sign_in;
pub mod typed;

#[cfg(test)]
mod gallery;
