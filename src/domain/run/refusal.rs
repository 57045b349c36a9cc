//! Why a permission is not given: nouns, each with words a stylist understands and a way out.

use super::holds::Lacks;
use super::value::{HeadPlace, Instant};
use crate::domain::chemistry::Strength;
use crate::domain::ids::{LotId, PersonId};
use crate::domain::protocol::{Clock, HoldPoint, StepCode};

/// Every reason at once.
pub type Refusals = Vec<Refusal>;

/// One reason.
#[derive(Clone, Debug, PartialEq)]
pub enum Refusal {
    /// Nobody is signed in at this station.
    PersonMissing,
    /// The person's role may not do this.
    RoleMissing {
        /// Who may, in words: "a stylist".
        who: &'static str,
    },
    /// The person is not qualified for the family.
    QualificationMissing {
        /// Family code.
        family: &'static str,
    },
    /// The service has not begun.
    RunNotStarted,
    /// It has begun already.
    RunAlreadyStarted,
    /// The service has ended.
    RunEnded,
    /// The protocol has no such step.
    StepUnknown {
        /// Which.
        step: StepCode,
    },
    /// Another step comes first.
    StepOutOfTurn {
        /// What was asked.
        step: StepCode,
        /// The title of the step that comes first.
        first: String,
    },
    /// The step is done already.
    StepAlreadyDone {
        /// Which.
        step: StepCode,
    },
    /// The step is not in hand.
    StepNotInHand {
        /// Which.
        step: StepCode,
    },
    /// The least time of a clock has not passed.
    LeastTimeNotReached {
        /// Which clock.
        clock: Clock,
        /// When it has.
        until: Instant,
    },
    /// A hold point was not answered, or no longer holds.
    HoldPointMissing {
        /// Which.
        hold_point: HoldPoint,
        /// It was answered and has lapsed.
        lapsed: bool,
    },
    /// A hold point was answered and does not let the step go on.
    HoldPointFailed {
        /// Which.
        hold_point: HoldPoint,
        /// The answer's words.
        seen: &'static str,
        /// Nobody may override it.
        for_good: bool,
    },
    /// A record outside the run does not hold.
    RecordLacking {
        /// Which hold point.
        hold_point: HoldPoint,
        /// For which application; none where it is the visit's.
        application: Option<char>,
        /// Why.
        lacks: Lacks,
    },
    /// The run has no product for an application.
    ProductMissing {
        /// Which.
        application: char,
    },
    /// The product is of another family than the application asks for.
    OtherFamily {
        /// Which application.
        application: char,
        /// Code of the family asked for.
        asked: &'static str,
    },
    /// The product is stronger than the protocol lets onto such a head.
    TooStrong {
        /// Which application.
        application: char,
        /// The strongest there.
        most: Strength,
    },
    /// No figure from the product sheet.
    SheetTimeMissing {
        /// Of which step.
        step: StepCode,
        /// Which clock.
        clock: Clock,
    },
    /// No lot was dispensed for an application.
    LotNotDispensed {
        /// Which.
        application: char,
    },
    /// What the product is mixed with was not dispensed.
    PartNotDispensed {
        /// For which application.
        application: char,
    },
    /// The mixture has stood longer than its sheet gives it.
    MixtureDead {
        /// For which application.
        application: char,
        /// Until when it could be used.
        until: Instant,
    },
    /// The lot may not be used.
    LotUnfit {
        /// Which.
        lot: LotId,
        /// Why.
        lacks: Lacks,
    },
    /// An earlier product is still on the hair.
    RinseMissing {
        /// Which application.
        application: char,
    },
    /// Somebody stopped the service.
    RunStopped,
    /// The stop has not been read: "Skin whole, eyes clear, no swelling?"
    StopReadingMissing,
    /// Nobody answered for a pair that these hands still wear.
    GlovesNotTheSame,
    /// It was read, with no.
    SkinNotWhole,
    /// The water after a stop has not run its minutes.
    WaterTooShort {
        /// Until when it runs; none when no water is on record since the stop.
        until: Option<Instant>,
    },
    /// It stung, and that place is not rinsed.
    StingNotRinsed {
        /// Where.
        place: HeadPlace,
    },
    /// It stung, and the scalp was not read after that place was rinsed.
    StingNotRead {
        /// Where.
        place: HeadPlace,
    },
    /// A product sheet forbids closing the hair after a stop.
    SheetForbidsClosing,
    /// There is no stop to read or end.
    NotStopped,
    /// The most time of the product on the hair has passed.
    MostTimePassed {
        /// Which application.
        application: char,
    },
    /// The window in which both passes are done has shut.
    WindowShut {
        /// When.
        at: Instant,
    },
    /// A test curl or a look said rinse.
    RinseDue,
    /// Qualified hands do not stay until the hair is closed, or what colours it is rinsed off.
    HandsLeaving {
        /// Until when they are here.
        until: Instant,
        /// Until when they are needed.
        needed: Instant,
        /// The service closes the hair; else the product is rinsed off by then.
        closes: bool,
    },
    /// The hair has been opened and not closed.
    HairLeftOpen,
    /// Not the run's stylist, nor a manager.
    NotAnswerable,
    /// The run was offered to nobody, or to somebody else.
    HandoverNotOffered,
    /// Hands that stay are a stylist's or a manager's, qualified in the service's chemistry.
    HandsNotQualified {
        /// Who was named.
        person: PersonId,
        /// Code of the service's family.
        family: &'static str,
    },
    /// It was offered to whoever has it.
    HandoverToSelf {
        /// Who.
        person: PersonId,
    },
    /// The answer is not one of the hold point's.
    AnswerUnknown {
        /// Which hold point.
        hold_point: HoldPoint,
    },
    /// The answer asks where.
    PlaceMissing {
        /// Which hold point.
        hold_point: HoldPoint,
    },
    /// The hold point is not one of the step's.
    HoldPointNotOfStep {
        /// Which.
        hold_point: HoldPoint,
    },
    /// A reason is missing or too long.
    ReasonMissing,
    /// A figure is outside what can be.
    FigureImplausible {
        /// What is wrong, in words.
        words: &'static str,
    },
    /// The fact does not fit the protocol (no such step, pass or section there).
    FactNotOfRun,
    /// The record is as long as any service's can be: something sends taps of its own.
    RecordFull,
    /// A stop, a complaint and whatever else is no wrong tap is never taken back.
    NotWithdrawable,
    /// A permission is taken back while nothing rests on it.
    TooLateToTakeBack,
}
