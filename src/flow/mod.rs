//! One use case, one transaction: load, decide (domain), save, tell the stations.

pub mod clients;
pub mod sign_in;
