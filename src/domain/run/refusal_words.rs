//! What a refusal says, and the way out of it.

use super::holds::Lacks;
use super::refusal::Refusal;
use super::value::Instant;
use crate::domain::protocol::{Clock, HoldPoint};

impl Refusal {
    /// The reason as a stylist says it. `at` writes an instant in the salon's own time ("14:52").
    pub fn words(&self, at: &dyn Fn(Instant) -> String) -> String {
        match self {
            Refusal::PersonMissing => "Nobody is signed in at this station.".into(),
            Refusal::RoleMissing { who } => format!("This asks for {who}."),
            Refusal::QualificationMissing { family } => format!("This asks for a qualification: {family}."),
            Refusal::RunNotStarted => "The service has not begun.".into(),
            Refusal::RunAlreadyStarted => "The service has begun already.".into(),
            Refusal::RunEnded => "The service has ended.".into(),
            Refusal::StepUnknown { step } => format!("This service has no step {step}."),
            Refusal::StepOutOfTurn { first, .. } => format!("Another step comes first: {first}."),
            Refusal::StepAlreadyDone { .. } => "This step has been begun already.".into(),
            Refusal::StepNotInHand { .. } => "This step is not in hand.".into(),
            Refusal::LeastTimeNotReached { clock, until } => {
                let from = match clock {
                    Clock::Phase => "this step's start",
                    Clock::Exposure => "first touch",
                };
                format!("The shortest time, from {from}, ends at {}.", at(*until))
            }
            Refusal::HoldPointMissing { hold_point, lapsed: false } => {
                format!("{}: not answered.", hold_point.title())
            }
            Refusal::HoldPointMissing { hold_point, lapsed: true } => {
                format!("{}: the answer no longer holds.", hold_point.title())
            }
            Refusal::HoldPointFailed { hold_point, seen, for_good: true } => {
                format!("{}: {seen}. Not today, and nobody may override it.", hold_point.title())
            }
            Refusal::HoldPointFailed { hold_point, seen, for_good: false } => {
                format!("{}: {seen}.", hold_point.title())
            }
            Refusal::RecordLacking { hold_point, application, lacks } => {
                let what = application.map_or_else(String::new, |a| format!(" for product {a}"));
                format!("{}{what}: {}.", hold_point.title(), record_words(*hold_point, *lacks))
            }
            Refusal::ProductMissing { application } => {
                format!("No product is chosen for application {application}.")
            }
            Refusal::OtherFamily { application, asked } => {
                format!(
                    "Product {application} is of another chemistry than this service gives there: {asked}."
                )
            }
            Refusal::TooStrong { application, most } => {
                format!("Product {application} is too strong for this service: {} at most.", most.words())
            }
            Refusal::SheetTimeMissing { step, clock } => {
                let which = match clock {
                    Clock::Phase => "time",
                    Clock::Exposure => "longest time from first touch to rinse",
                };
                format!("The product sheet's {which} for step {step} is not entered.")
            }
            Refusal::LotNotDispensed { application } => {
                format!("Nothing is dispensed for application {application}.")
            }
            Refusal::PartNotDispensed { application } => {
                format!("Product {application} is mixed of two: nothing of the other part is dispensed.")
            }
            Refusal::MixtureDead { application, until } => {
                format!("The mixture of product {application} could be used until {}. Mix anew.", at(*until))
            }
            Refusal::LotUnfit { lacks, .. } => {
                format!("The lot in the bowl may not be used: {}.", record_words(HoldPoint::Lot, *lacks))
            }
            Refusal::RinseMissing { application } => {
                format!("Product {application} is still on the hair: no water has run clear.")
            }
            Refusal::RunStopped => "This service was stopped. Nothing new goes on.".into(),
            Refusal::StopReadingMissing => {
                "Nobody has answered yet: skin whole, eyes clear, no swelling?".into()
            }
            Refusal::SkinNotWhole => "Skin, eyes or swelling: water and medical help come first.".into(),
            Refusal::RecordFull => {
                "This service's record is full: far more taps than any service has.".into()
            }
            Refusal::SheetForbidsClosing => {
                "A product sheet forbids neutraliser and normalising shampoo after a stop.".into()
            }
            Refusal::NotStopped => "This service is not stopped.".into(),
            Refusal::MostTimePassed { application } => {
                format!("Product {application} has been on longer than the longest allowed. Rinse now.")
            }
            Refusal::WindowShut { at: shut } => format!("The window shut at {}.", at(*shut)),
            Refusal::RinseDue => {
                "A test curl or a look shows that it is reached. Rinse the whole head.".into()
            }
            Refusal::HandsLeaving { until, needed, closes } => {
                let what = if *closes { "the hair is not closed" } else { "the product is not rinsed off" };
                let (until, needed) = (at(*until), at(*needed));
                format!("Qualified hands are here until {until}, {what} before {needed}. Do not start.")
            }
            Refusal::HairLeftOpen => "The hair has been opened and not neutralised or normalised.".into(),
            Refusal::NotAnswerable => "Only the run's stylist or a manager may do this.".into(),
            Refusal::HandoverNotOffered => "This service was not offered to you.".into(),
            Refusal::HandsNotQualified { family, .. } => {
                format!("Hands that stay must be a stylist's or a manager's, qualified: {family}.")
            }
            Refusal::HandoverToSelf { .. } => "Whoever it is offered to answers for it already.".into(),
            Refusal::AnswerUnknown { hold_point } => {
                format!("{}: this is not one of its answers.", hold_point.title())
            }
            Refusal::PlaceMissing { hold_point } => format!("{}: say where.", hold_point.title()),
            Refusal::HoldPointNotOfStep { hold_point } => {
                format!("{}: this step does not ask for it.", hold_point.title())
            }
            Refusal::ReasonMissing => "A reason is needed, at most 500 characters.".into(),
            Refusal::FigureImplausible { words } => format!("This figure cannot be: {words}."),
            Refusal::FactNotOfRun => "This does not fit the service: no such step, pass or section.".into(),
            Refusal::NotWithdrawable => {
                "Only a section start, a rinse, a test curl or a look may be taken back.".into()
            }
        }
    }

    /// What to do about it.
    pub const fn way_out(&self) -> &'static str {
        match self {
            Refusal::PersonMissing => "Pick your name and give your PIN.",
            Refusal::RoleMissing { .. } | Refusal::QualificationMissing { .. } => {
                "Ask somebody who may, or hand the service over."
            }
            Refusal::RunNotStarted => "Start it from the plan.",
            Refusal::RunAlreadyStarted | Refusal::StepAlreadyDone { .. } => "Go on from the step in hand.",
            Refusal::RunEnded => "Late taps are still recorded; a new service needs a new plan.",
            Refusal::StepUnknown { .. } | Refusal::FactNotOfRun => "Look at the steps of this service.",
            Refusal::StepOutOfTurn { .. } => "Begin that one, or stop and rinse.",
            Refusal::StepNotInHand { .. } => "Begin it first.",
            Refusal::LeastTimeNotReached { .. } => {
                "Wait for the bell; if anything hurts, rinse: rinsing is always open."
            }
            Refusal::HoldPointMissing { .. } => "Look, then tap what you see.",
            Refusal::HoldPointFailed { for_good: true, .. } => {
                "Say: today we can trim, treat and set. Agree when you look again."
            }
            Refusal::HoldPointFailed { for_good: false, .. } => "Put it right, then answer again.",
            Refusal::RecordLacking { lacks: Lacks::ForGood, .. } => "Say: today we can trim, treat and set.",
            Refusal::RecordLacking { hold_point: HoldPoint::PatchTest, .. } => {
                "Place or read the patch test; the chemical step waits for it."
            }
            Refusal::RecordLacking { hold_point: HoldPoint::StrandTest, .. } => {
                "Do the strand test, dried and read, then answer again."
            }
            Refusal::RecordLacking { hold_point: HoldPoint::Consent, .. } => {
                "Read the words with the client and have them signed."
            }
            Refusal::RecordLacking { .. } => "Check the plan again, or change it with the client.",
            Refusal::ProductMissing { .. } => "Choose the product in the plan.",
            Refusal::OtherFamily { .. } => {
                "Leave it off the hair. Plan again with a product of that chemistry."
            }
            Refusal::TooStrong { .. } => "Plan it with a milder product.",
            Refusal::SheetTimeMissing { .. } => {
                "Enter it on the Shelf from the sheet that came with the product."
            }
            Refusal::LotNotDispensed { .. } => "Dispense it: lot and grams.",
            Refusal::PartNotDispensed { .. } => "Dispense both parts: each its lot and grams.",
            Refusal::MixtureDead { .. } => {
                "Throw the rest away, dispense both parts anew for this head, then answer again."
            }
            Refusal::LotUnfit { .. } => "Throw the bowl away and dispense from another lot.",
            Refusal::RinseMissing { .. } => "Rinse, and tap clear when the water runs clear.",
            Refusal::RunStopped => {
                "Rinse, then read the skin. The run's stylist or a manager may end the stop."
            }
            Refusal::StopReadingMissing => "Look at skin and eyes, then answer yes or no.",
            Refusal::SkinNotWhole => {
                "Cool running water, 20 minutes at least. Later, off the scalp, a stylist signs."
            }
            Refusal::RecordFull => {
                "Rinse, closing, sting and stop are still recorded. End the service; look for a station that sends taps of its own."
            }
            Refusal::SheetForbidsClosing => {
                "Rinse on with water, get medical help; a stylist signs and ends the service."
            }
            Refusal::NotStopped => "Go on with the step in hand.",
            Refusal::MostTimePassed { .. } | Refusal::RinseDue => "Rinse the whole head now.",
            Refusal::WindowShut { .. } => "Start no new quadrant, smooth from the first.",
            Refusal::HandsLeaving { .. } => "Find hands that stay (a manager may name them), or another day.",
            Refusal::HairLeftOpen => "Neutralise or normalise first; if the client goes, say so.",
            Refusal::NotAnswerable => "Ask them, or take the handover.",
            Refusal::HandoverNotOffered => "Ask for it to be offered to you.",
            Refusal::HandsNotQualified { .. } => "Choose somebody else.",
            Refusal::HandoverToSelf { .. } => "Offer it to somebody else.",
            Refusal::AnswerUnknown { .. } | Refusal::HoldPointNotOfStep { .. } => {
                "Tap one of the answers shown."
            }
            Refusal::PlaceMissing { .. } => "Tap the place on the head.",
            Refusal::ReasonMissing => "Say in a few words why.",
            Refusal::FigureImplausible { .. } => "Look at the figure again.",
            Refusal::NotWithdrawable => "Both stay on record. A stop is ended, never taken back.",
        }
    }
}

const fn record_words(hold_point: HoldPoint, lacks: Lacks) -> &'static str {
    match (hold_point, lacks) {
        (HoldPoint::PatchTest, Lacks::Missing) => "no patch test of this product on record",
        (HoldPoint::PatchTest, Lacks::NotRead) => "placed, but not read in the chair 48 hours or more after",
        (HoldPoint::PatchTest, Lacks::Lapsed) => "too old",
        (HoldPoint::PatchTest, Lacks::Void) => "the product's formula or name has changed since",
        (HoldPoint::PatchTest, Lacks::ForGood) => "a reaction is on record. Nobody may override it",
        (HoldPoint::StrandTest, Lacks::Missing) => "none of this product and strength on record",
        (HoldPoint::StrandTest, Lacks::Lapsed) => "older than 14 days",
        (HoldPoint::StrandTest, Lacks::Void) => "something was put on the hair since",
        (HoldPoint::StrandTest, _) => "the strand broke, felt gummy, did not return or did not form",
        (HoldPoint::Consent, Lacks::Failed) => "a guardian must sign as well",
        (HoldPoint::Consent, _) => "not signed on this visit",
        (HoldPoint::Plan, Lacks::Failed) => "not clear: refused, waiting, or a named test is not passed",
        (HoldPoint::Plan, Lacks::Void) => "something it rests on has changed since",
        (HoldPoint::Plan, _) => "not checked on this visit",
        (HoldPoint::Lot, Lacks::Lapsed) => "out of date, or open for too long",
        (HoldPoint::Lot, Lacks::Missing) => "not a lot of this product",
        (HoldPoint::Lot, _) => "taken off the shelf, in quarantine, or above the law's limit for this use",
        (_, Lacks::Missing) => "missing",
        (_, _) => "does not hold",
    }
}
