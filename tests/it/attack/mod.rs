//! Attacks on the database with raw SQL as the app role: what the program would never ask for, and what a broken
//! or hostile program would. The rules are the migrations'; their sources are named beside each check.

mod contact;
mod guards;
mod mixtures;
mod places;
mod races;
mod record;
mod salons;
pub mod stage;
mod starts;
mod tests_of_skin_and_hair;
