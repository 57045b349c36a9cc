//! When can this service be given? Chains of segments, and the search for starts that fit.
//!
//! While one client processes, the same hands may serve another: that is the trade's way of
//! working. It falls out of the model. A person is taken segment by segment, never for a whole
//! booking, so a hands-off segment leaves them free.
//!
//! Decided here:
//! - The segments of one booking follow without gaps and never overlap in time, so the same person
//!   may be named for two segments that do not ask for each other (`same_as`); only `same_as` ties
//!   choices together.
//! - Which of several free people is named is the first in the order they are handed in. The caller
//!   puts the usual stylist first; the search never ranks people.
//! - Spans are half-open, `[start, end)`: back to back is no collision.
//!
//! Times are milliseconds since 1970-01-01T00:00Z; local days and opening hours come in as spans,
//! made by whoever knows the salon's zone. All of it is pure and gives the same answer every time.

pub mod chain;
mod free;
pub mod minutes;
pub mod question;
pub mod search;
#[cfg(test)]
mod search_tests;
pub mod segment;
pub mod service;
mod starts;

pub use chain::{StepHands, StepNeed, segments_for};
pub use free::{free_of_person, joined};
pub use question::{Grid, Named, Opening, Openings, PatchVisit, PlaceStock, Search, Worker};
pub use search::openings;
pub use segment::{Chain, ChainFault, Hands, PlaceKind, Qualification, Segment, Span, ms_of};
