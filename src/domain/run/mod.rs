//! A service being given: events in, state out.
//!
//! Invariants: no opening step starts without its hold points at that instant; after a stop
//! nothing new goes on; rinsing and closing are never shut out by a hold point of the skin; every
//! station folds the same state from the same events, in whatever order they came; a most-time
//! overrun is always on record (`State::breaches`).

mod asks;
pub mod bells;
pub mod breach;
pub mod command;
mod cut_short;
mod decide;
mod early;
pub mod event;
pub mod exposure;
mod facts;
mod fold;
pub mod foresight;
pub mod frame;
pub mod hands_stay;
pub mod headline;
pub mod holds;
pub mod mixture;
pub mod practice;
mod records;
pub mod refusal;
mod refusal_words;
pub mod rehearsal;
mod stand_ins;
mod starts;
pub mod state;
mod stings;
mod sweep;
mod take_back;
pub mod told_apart;
pub mod track;
pub mod value;
mod water;

pub use bells::{Alarm, Bell, BellKind, Running, Urgency};
pub use breach::Breach;
pub use command::{Actor, Command, Context, Fact};
pub use decide::{FIRST_AID_WATER_MIN, REASON_MOST_CHARS, decide};
pub use early::Early;
pub use event::{Event, EventKind, Granted, Happened, NewEvent, Signed};
pub use foresight::{Foresight, foresee};
pub use frame::{Figures, RunFrame, SheetTimes};
pub use headline::{Headline, NextAct, Window};
pub use holds::HoldContext;
pub use records::hold_point_refusals;
pub use refusal::{Refusal, Refusals};
pub use state::State;
pub use stings::Owed;
pub use track::{AxisMark, Block, BlockKind, Collision, MarkKind, Track, Wanted, collisions};
pub use value::{Comfort, CurlReading, FactId, HeadPlace, Instant, Progress, Rod};

#[cfg(test)]
mod sample;
#[cfg(test)]
mod tests;
#[cfg(test)]
mod tests_after_stop;
#[cfg(test)]
mod tests_clocks;
#[cfg(test)]
mod tests_guards;
#[cfg(test)]
mod tests_interleaved;
#[cfg(test)]
mod tests_mixtures;
#[cfg(test)]
mod tests_resumed;
#[cfg(test)]
mod tests_services;
#[cfg(test)]
mod tests_stings;
#[cfg(test)]
mod tests_take_back;
