//! rinsebell: the web service a salon team gives chemical hair services with.
//!
//! Reading order: `words` (which language is spoken), `domain` (pure rules), `reference` (checked data files), `store` (SQL),
//! `flow` (one use case, one transaction), `web` (screens), `live` (news between stations),
//! `work` (background steps), `cluster` (the embedded Postgres), `calc` (computations as JSON).
//!
//! Invariants: `domain` knows no clock, no database and no I/O; every rule that protects a person
//! is held twice, in `domain` and in the database; the one clock is Postgres's `rinsebell_now()`.

// First: its macros say the words of all others.
#[macro_use]
pub mod words;

pub mod app;
pub mod backup;
pub mod calc;
pub mod calendar;
pub mod check;
pub mod cli;
pub mod cluster;
pub mod config;
pub mod demo;
pub mod domain;
pub mod flow;
pub mod live;
pub mod mail;
pub mod migrate;
pub mod reference;
pub mod secret;
pub mod serve;
pub mod store;
pub mod web;
pub mod work;
