//! What a refusal says, and the way out of it.

use super::holds::Lacks;
use super::refusal::Refusal;
use super::value::Instant;
use crate::domain::protocol::{Clock, HoldPoint};

impl Refusal {
    /// The reason as a stylist says it. `at` writes an instant in the salon's own time ("14:52").
    pub fn words(&self, at: &dyn Fn(Instant) -> String) -> String {
        match self {
            Refusal::PersonMissing => tr!("Nobody is signed in at this station.").into(),
            Refusal::RoleMissing { who } => tr!("This asks for {who}.", who = who),
            Refusal::QualificationMissing { family } => {
                tr!("This asks for a qualification: {family}.", family = family)
            }
            Refusal::RunNotStarted => tr!("The service has not begun.").into(),
            Refusal::RunAlreadyStarted => tr!("The service has begun already.").into(),
            Refusal::RunEnded => tr!("The service has ended.").into(),
            Refusal::StepUnknown { step } => tr!("This service has no step {step}.", step = step),
            Refusal::StepOutOfTurn { first, .. } => tr!("Another step comes first: {first}.", first = first),
            Refusal::StepAlreadyDone { .. } => tr!("This step has been begun already.").into(),
            Refusal::StepNotInHand { .. } => tr!("This step is not in hand.").into(),
            Refusal::LeastTimeNotReached { clock, until } => {
                let from = match clock {
                    Clock::Phase => tr!("this step's start"),
                    Clock::Exposure => tr!("first touch"),
                };
                tr!("The shortest time, from {from}, ends at {}.", at(*until), from = from)
            }
            Refusal::HoldPointMissing { hold_point, lapsed: false } => {
                tr!("{}: not answered.", hold_point.title())
            }
            Refusal::HoldPointMissing { hold_point, lapsed: true } => {
                tr!("{}: the answer no longer holds.", hold_point.title())
            }
            Refusal::HoldPointFailed { hold_point, seen, for_good: true } => {
                tr!("{}: {seen}. Not today, and nobody may override it.", hold_point.title(), seen = seen)
            }
            Refusal::HoldPointFailed { hold_point, seen, for_good: false } => {
                format!("{}: {seen}.", hold_point.title())
            }
            Refusal::RecordLacking { hold_point, application, lacks } => {
                let what = application.map_or_else(String::new, |a| tr!(" for product {a}", a = a));
                format!("{}{what}: {}.", hold_point.title(), record_words(*hold_point, *lacks))
            }
            Refusal::ProductMissing { application } => {
                tr!("No product is chosen for application {application}.", application = application)
            }
            Refusal::OtherFamily { application, asked } => {
                tr!(
                    "Product {application} is of another chemistry than this service gives there: {asked}.",
                    application = application,
                    asked = asked
                )
            }
            Refusal::TooStrong { application, most } => {
                tr!(
                    "Product {application} is too strong for this service: {} at most.",
                    most.words(),
                    application = application
                )
            }
            Refusal::SheetTimeMissing { step, clock } => {
                let which = match clock {
                    Clock::Phase => tr!("time"),
                    Clock::Exposure => tr!("longest time from first touch to rinse"),
                };
                tr!("The product sheet's {which} for step {step} is not entered.", which = which, step = step)
            }
            Refusal::LotNotDispensed { application } => {
                tr!("Nothing is dispensed for application {application}.", application = application)
            }
            Refusal::PartNotDispensed { application } => {
                tr!(
                    "Product {application} is mixed of two: nothing of the other part is dispensed.",
                    application = application
                )
            }
            Refusal::MixtureDead { application, until } => {
                tr!(
                    "The mixture of product {application} could be used until {}. Mix anew.",
                    at(*until),
                    application = application
                )
            }
            Refusal::LotUnfit { lacks, .. } => {
                tr!("The lot in the bowl may not be used: {}.", record_words(HoldPoint::Lot, *lacks))
            }
            Refusal::RinseMissing { application } => {
                tr!(
                    "Product {application} is still on the hair: no water has run clear.",
                    application = application
                )
            }
            Refusal::RunStopped => tr!("This service was stopped. Nothing new goes on.").into(),
            Refusal::StopReadingMissing => {
                tr!("Nobody has answered yet: skin whole, eyes clear, no swelling?").into()
            }
            Refusal::SkinNotWhole => tr!("Skin, eyes or swelling: water and medical help come first.").into(),
            Refusal::GlovesNotTheSame => tr!("No pair of yours is answered for since water ran.").into(),
            Refusal::WaterTooShort { until: Some(until) } => {
                tr!("The water has not run for 20 minutes: it runs until {}.", at(*until))
            }
            Refusal::WaterTooShort { until: None } => tr!("No water is on record since the stop.").into(),
            Refusal::StingNotRinsed { place } => {
                tr!("It stung, {}, and that place is not rinsed.", place.words())
            }
            Refusal::StingNotRead { place } => {
                tr!("It stung, {}, and the scalp was not read since it was rinsed.", place.words())
            }
            Refusal::TooLateToTakeBack => {
                tr!("Something rests on it already: it is not taken back any more.").into()
            }
            Refusal::RecordFull => {
                tr!("This service's record is full: far more taps than any service has.").into()
            }
            Refusal::SheetForbidsClosing => {
                tr!("A product sheet forbids neutraliser and normalising shampoo after a stop.").into()
            }
            Refusal::NotStopped => tr!("This service is not stopped.").into(),
            Refusal::MostTimePassed { application } => {
                tr!(
                    "Product {application} has been on longer than the longest allowed. Rinse now.",
                    application = application
                )
            }
            Refusal::WindowShut { at: shut } => tr!("The window shut at {}.", at(*shut)),
            Refusal::RinseDue => {
                tr!("A test curl or a look shows that it is reached. Rinse the whole head.").into()
            }
            Refusal::HandsLeaving { until, needed, closes } => {
                let what = if *closes {
                    tr!("the hair is not closed")
                } else {
                    tr!("the product is not rinsed off")
                };
                let (until, needed) = (at(*until), at(*needed));
                tr!(
                    "Qualified hands are here until {until}, {what} before {needed}. Do not start.",
                    until = until,
                    what = what,
                    needed = needed
                )
            }
            Refusal::HairLeftOpen => {
                tr!("The hair has been opened and not neutralised or normalised.").into()
            }
            Refusal::NotAnswerable => tr!("Only the run's stylist or a manager may do this.").into(),
            Refusal::HandoverNotOffered => tr!("This service was not offered to you.").into(),
            Refusal::HandsNotQualified { family, .. } => {
                tr!(
                    "Hands that stay must be a stylist's or a manager's, qualified: {family}.",
                    family = family
                )
            }
            Refusal::HandoverToSelf { .. } => tr!("Whoever it is offered to answers for it already.").into(),
            Refusal::AnswerUnknown { hold_point } => {
                tr!("{}: this is not one of its answers.", hold_point.title())
            }
            Refusal::PlaceMissing { hold_point } => tr!("{}: say where.", hold_point.title()),
            Refusal::HoldPointNotOfStep { hold_point } => {
                tr!("{}: this step does not ask for it.", hold_point.title())
            }
            Refusal::ReasonMissing => tr!("A reason is needed, at most 500 characters.").into(),
            Refusal::FigureImplausible { words } => tr!("This figure cannot be: {words}.", words = words),
            Refusal::FactNotOfRun => {
                tr!("This does not fit the service: no such step, pass or section.").into()
            }
            Refusal::NotWithdrawable => {
                tr!("A stop, a complaint and an answer that stops are never taken back.").into()
            }
        }
    }

    /// What to do about it.
    pub fn way_out(&self) -> &'static str {
        match self {
            Refusal::PersonMissing => tr!("Pick your name and give your PIN."),
            Refusal::RoleMissing { .. } | Refusal::QualificationMissing { .. } => {
                tr!("Ask somebody who may, or hand the service over.")
            }
            Refusal::RunNotStarted => tr!("Start it from the plan."),
            Refusal::RunAlreadyStarted | Refusal::StepAlreadyDone { .. } => {
                tr!("Go on from the step in hand.")
            }
            Refusal::RunEnded => tr!("Late taps are still recorded; a new service needs a new plan."),
            Refusal::StepUnknown { .. } | Refusal::FactNotOfRun => tr!("Look at the steps of this service."),
            Refusal::StepOutOfTurn { .. } => tr!("Begin that one, or stop and rinse."),
            Refusal::StepNotInHand { .. } => tr!("Begin it first."),
            Refusal::LeastTimeNotReached { .. } => {
                tr!("Wait for the bell; if anything hurts, rinse: rinsing is always open.")
            }
            Refusal::HoldPointMissing { .. } => tr!("Look, then tap what you see."),
            Refusal::HoldPointFailed { for_good: true, .. } => {
                tr!("Say: today we can trim, treat and set. Agree when you look again.")
            }
            Refusal::HoldPointFailed { for_good: false, .. } => tr!("Put it right, then answer again."),
            Refusal::RecordLacking { lacks: Lacks::ForGood, .. } => {
                tr!("Say: today we can trim, treat and set.")
            }
            Refusal::RecordLacking { hold_point: HoldPoint::PatchTest, .. } => {
                tr!("Place or read the patch test; the chemical step waits for it.")
            }
            Refusal::RecordLacking { hold_point: HoldPoint::StrandTest, .. } => {
                tr!("Do the strand test, dried and read, then answer again.")
            }
            Refusal::RecordLacking { hold_point: HoldPoint::Consent, .. } => {
                tr!("Read the words with the client and have them signed.")
            }
            Refusal::RecordLacking { .. } => tr!("Check the plan again, or change it with the client."),
            Refusal::ProductMissing { .. } => tr!("Choose the product in the plan."),
            Refusal::OtherFamily { .. } => {
                tr!("Leave it off the hair. Plan again with a product of that chemistry.")
            }
            Refusal::TooStrong { .. } => tr!("Plan it with a milder product."),
            Refusal::SheetTimeMissing { .. } => {
                tr!("Enter it on the Shelf from the sheet that came with the product.")
            }
            Refusal::LotNotDispensed { .. } => tr!("Dispense it: lot and grams."),
            Refusal::PartNotDispensed { .. } => tr!("Dispense both parts: each its lot and grams."),
            Refusal::MixtureDead { .. } => {
                tr!("Throw the rest away, dispense both parts anew for this head, then answer again.")
            }
            Refusal::LotUnfit { .. } => tr!("Throw the bowl away and dispense from another lot."),
            Refusal::RinseMissing { .. } => tr!("Rinse, and tap clear when the water runs clear."),
            Refusal::RunStopped => {
                tr!("Rinse, then read the skin. The run's stylist or a manager may end the stop.")
            }
            Refusal::StopReadingMissing => tr!("Look at skin and eyes, then answer yes or no."),
            Refusal::SkinNotWhole => {
                tr!("Cool running water, 20 minutes at least. Later, off the scalp, a stylist signs.")
            }
            Refusal::GlovesNotTheSame => tr!("Put on a new pair, then answer."),
            Refusal::WaterTooShort { .. } => {
                tr!("Keep the water running. If you looked all the same, say so.")
            }
            Refusal::StingNotRinsed { .. } => tr!("Rinse that place, tap it rinsed, then read the scalp."),
            Refusal::StingNotRead { .. } => tr!("Look at the scalp there, then tap what you see."),
            Refusal::TooLateToTakeBack => tr!("Go on from how it stands; take back the last tap first."),
            Refusal::RecordFull => {
                tr!(
                    "Rinse, closing, sting and stop are still recorded. End the service; look for a station that sends taps of its own."
                )
            }
            Refusal::SheetForbidsClosing => {
                tr!("Rinse on with water, get medical help; a stylist signs and ends the service.")
            }
            Refusal::NotStopped => tr!("Go on with the step in hand."),
            Refusal::MostTimePassed { .. } | Refusal::RinseDue => tr!("Rinse the whole head now."),
            Refusal::WindowShut { .. } => tr!("Start no new quadrant, smooth from the first."),
            Refusal::HandsLeaving { .. } => {
                tr!("Find hands that stay (a manager may name them), or another day.")
            }
            Refusal::HairLeftOpen => tr!("Neutralise or normalise first; if the client goes, say so."),
            Refusal::NotAnswerable => tr!("Ask them, or take the handover."),
            Refusal::HandoverNotOffered => tr!("Ask for it to be offered to you."),
            Refusal::HandsNotQualified { .. } => tr!("Choose somebody else."),
            Refusal::HandoverToSelf { .. } => tr!("Offer it to somebody else."),
            Refusal::AnswerUnknown { .. } | Refusal::HoldPointNotOfStep { .. } => {
                tr!("Tap one of the answers shown.")
            }
            Refusal::PlaceMissing { .. } => tr!("Tap the place on the head."),
            Refusal::ReasonMissing => tr!("Say in a few words why."),
            Refusal::FigureImplausible { .. } => tr!("Look at the figure again."),
            Refusal::NotWithdrawable => tr!("Both stay on record. A stop is ended, never taken back."),
        }
    }
}

fn record_words(hold_point: HoldPoint, lacks: Lacks) -> &'static str {
    match (hold_point, lacks) {
        (HoldPoint::PatchTest, Lacks::Missing) => tr!("no patch test of this product on record"),
        (HoldPoint::PatchTest, Lacks::NotRead) => {
            tr!("placed, but not read in the chair 48 hours or more after")
        }
        (HoldPoint::PatchTest, Lacks::Lapsed) => tr!("too old"),
        (HoldPoint::PatchTest, Lacks::Void) => tr!("the product's formula or name has changed since"),
        (HoldPoint::PatchTest, Lacks::ForGood) => tr!("a reaction is on record. Nobody may override it"),
        (HoldPoint::StrandTest, Lacks::Missing) => tr!("none of this product and strength on record"),
        (HoldPoint::StrandTest, Lacks::Lapsed) => tr!("older than 14 days"),
        (HoldPoint::StrandTest, Lacks::Void) => tr!("something was put on the hair since"),
        (HoldPoint::StrandTest, _) => tr!("the strand broke, felt gummy, did not return or did not form"),
        (HoldPoint::Consent, Lacks::Failed) => tr!("a guardian must sign as well"),
        (HoldPoint::Consent, _) => tr!("not signed on this visit"),
        (HoldPoint::Plan, Lacks::Failed) => tr!("not clear: refused, waiting, or a named test is not passed"),
        (HoldPoint::Plan, Lacks::Void) => tr!("something it rests on has changed since"),
        (HoldPoint::Plan, _) => tr!("not checked on this visit"),
        (HoldPoint::Lot, Lacks::Lapsed) => tr!("out of date, or open for too long"),
        (HoldPoint::Lot, Lacks::Missing) => tr!("not a lot of this product"),
        (HoldPoint::Lot, _) => {
            tr!("taken off the shelf, in quarantine, or above the law's limit for this use")
        }
        (_, Lacks::Missing) => tr!("missing"),
        (_, _) => tr!("does not hold"),
    }
}
