//! One use case, one transaction: load, decide (domain), save, tell the stations.

mod aftercare;
pub mod bookings;
pub mod clients;
pub mod consents;
pub mod consults;
pub mod dues;
pub mod followups;
pub mod hair_photos;
pub mod hair_tests;
pub mod lots;
pub mod openings;
pub mod plan_checks;
pub mod plans;
pub mod products;
pub mod protocols;
pub mod readings;
pub mod run_context;
pub mod run_effects;
pub mod run_hands;
pub mod runs;
pub mod services;
pub mod sheets;
pub mod sign_in;
pub mod skin_tests;
pub mod strands;
pub mod team;
pub mod test_visits;
