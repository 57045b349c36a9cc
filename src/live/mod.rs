//! News between stations: what changed, never the content. Stations that hear it fetch their parts anew.

pub mod hub;
pub mod listener;
