//! A service being given: events in, state out.
//!
//! Invariants: no opening step starts without its hold points at that instant; after a stop
//! nothing new goes on; rinsing and closing are never shut out by a hold point of the skin; every
//! station folds the same state from the same events, in whatever order they came; a most-time
//! overrun is always on record (`State::breaches`).

pub mod command;
pub mod event;
pub mod frame;
pub mod holds;
pub mod refusal;
pub mod value;

pub use command::{Actor, Command, Context, Fact};
pub use event::{Event, EventKind, Granted, Happened, NewEvent, Signed};
pub use frame::{Figures, RunFrame, SheetTimes};
pub use holds::HoldContext;
pub use refusal::{Refusal, Refusals};
pub use value::{Comfort, CurlReading, FactId, HeadPlace, Instant, Rod};
