//! One head as one representative strand: scalp at 0 mm, ends at the tip, every piece with all it has met.
//!
//! Lengths are millimetres of stretched hair. Invariants: pieces are ordered and gapless, none is empty, they cover
//! exactly the strand; neighbours differ; only a trim loses history; growing never changes an exposure.

pub mod doubt;
pub mod pieces;
pub mod plan;
pub mod settling;
pub mod story;

pub use doubt::Doubt;
pub use pieces::{Exposure, Known, Piece, Strand, StrandRefusal, Zone};
pub use plan::{Finding, Health, MetalTest, PlanRefusal, PlannedApplication, check_plan, worst_verdict};
pub use settling::Settling;
pub use story::{Deed, Story};

#[cfg(test)]
mod properties;
