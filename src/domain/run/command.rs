//! What somebody asks for. Imperative; permissions may be refused, facts are recorded.

use super::event::{Happened, Signed};
use super::holds::HoldContext;
use super::value::{FactId, Instant};
use crate::domain::access::Role;
use crate::domain::chemistry::family::Family;
use crate::domain::ids::{LotId, PersonId, StationId};
use crate::domain::protocol::StepCode;

/// An act on a run.
#[derive(Clone, Debug, PartialEq)]
pub enum Command {
    /// Begin the service; `Context::actor` becomes the run's stylist.
    StartRun,
    /// Answer a hold point for a step.
    SignHoldPoint {
        /// For which step.
        step: StepCode,
        /// What was seen.
        signed: Signed,
    },
    /// Begin a step; the step in hand is finished with it.
    StartStep {
        /// Which.
        step: StepCode,
    },
    /// Finish the step in hand. Finishing a rinse says that the water runs clear.
    FinishStep {
        /// Which.
        step: StepCode,
    },
    /// Take product from a lot.
    DispenseLot {
        /// For which application.
        application: char,
        /// From which lot.
        lot: LotId,
        /// Grams in the bowl.
        grams: f64,
    },
    /// Offer the run to somebody.
    OfferHandover {
        /// To whom.
        to: PersonId,
    },
    /// Accept the run.
    AcceptHandover,
    /// Answer "Skin whole, eyes clear, no swelling?" after a stop.
    ReadStop {
        /// Yes or no.
        whole: bool,
        /// Said though the water has not run its minutes: whoever answers was asked about it.
        early: bool,
    },
    /// End a stop.
    CloseStop {
        /// Why it may go on.
        reason: String,
    },
    /// End the service.
    FinishRun,
    /// The client goes.
    LeaveRun {
        /// The product was rinsed off first.
        rinsed: bool,
        /// What happened.
        reason: String,
    },
    /// Let another station act for this run.
    ArmStation {
        /// Which.
        station: StationId,
    },
    /// Name hands for a run whose stylist leaves.
    NameHands {
        /// Who, as the team has them now: somebody of this salon who is here.
        hands: Actor,
    },
    /// Take back a permission that a wrong tap got.
    TakeBack {
        /// Its place in the record.
        seq: i64,
        /// Why.
        reason: String,
    },
    /// Put a fact on record.
    Record(Fact),
}

/// A fact as the station sends it.
#[derive(Clone, Debug, PartialEq)]
pub struct Fact {
    /// The station's name for it.
    pub fact_id: FactId,
    /// When it happened, by the station's clock set against the server's.
    pub happened_at: Instant,
    /// What.
    pub happened: Happened,
}

/// Who acts, as far as a run cares.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Actor {
    /// Who.
    pub person: PersonId,
    /// What they are in the salon.
    pub role: Role,
    /// Families the person is qualified for.
    pub qualified: Vec<Family>,
}

/// What `decide` is told besides the run itself.
#[derive(Clone, Debug, PartialEq)]
pub struct Context {
    /// The database's instant.
    pub now: Instant,
    /// Who acts; absent at a locked station.
    pub actor: Option<Actor>,
    /// Where.
    pub station: StationId,
    /// Tests, consent, plan and lots, from outside the run.
    pub holds: HoldContext,
    /// Until when qualified hands are here (break, closing time, next client); absent: no end known.
    pub hands_until: Option<Instant>,
}
