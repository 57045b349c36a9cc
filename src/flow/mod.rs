//! One use case, one transaction: load, decide (domain), save, tell the stations.

pub mod clients;
pub mod protocols;
mod run_context;
mod run_effects;
pub mod runs;
pub mod sign_in;
