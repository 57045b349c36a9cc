//! What a run is held to, frozen when it starts: protocol revision, product sheet times, products.

use super::holds::FrameProduct;
use crate::domain::chemistry::family::Family;
use crate::domain::protocol::{Clock, Mark, Protocol, Section, Source, StepCode};
use crate::domain::sheet::SheetHair;

/// A clock's figures from a product's sheet; whole minutes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SheetTimes {
    /// For which step.
    pub step: StepCode,
    /// Which of its clocks.
    pub clock: Clock,
    /// When it is meant to end.
    pub target_min: Option<u16>,
    /// Never sooner.
    pub least_min: Option<u16>,
    /// Never longer.
    pub most_min: Option<u16>,
    /// For which hair the sheet gives them.
    pub hair: SheetHair,
}

/// The figures in force for a clock: sheet and protocol, the stricter of each.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Figures {
    /// When it is meant to end.
    pub target_min: Option<u16>,
    /// Never sooner.
    pub least_min: Option<u16>,
    /// Never longer.
    pub most_min: Option<u16>,
    /// Where the most comes from; a default is never called "product sheet".
    pub most_source: Source,
}

/// What a run is held to.
#[derive(Clone, Debug, PartialEq)]
pub struct RunFrame {
    /// The protocol revision.
    pub protocol: Protocol,
    /// Times entered from the product sheets.
    pub sheet: Vec<SheetTimes>,
    /// The product of each application.
    pub products: Vec<FrameProduct>,
}

impl RunFrame {
    /// The product of an application.
    pub fn product(&self, letter: char) -> Option<&FrameProduct> {
        self.products.iter().find(|p| p.application == letter)
    }

    /// The product of an application is of another family than is given there: the family that is asked for.
    pub fn other_family(&self, letter: char) -> Option<Family> {
        let application = self.protocol.application(letter)?;
        let product = self.product(letter)?;
        (!application.takes(product.family)).then_some(application.family)
    }

    /// Sections in the protocol's order.
    pub fn sections(&self) -> &[Section] {
        &self.protocol.sections
    }

    fn sheet_times(&self, step: &StepCode, clock: Clock) -> Option<&SheetTimes> {
        self.sheet.iter().find(|s| s.step == *step && s.clock == clock)
    }

    /// The floor's own ceiling for the application of a step.
    fn ceiling(&self, step: &StepCode) -> Option<(u16, Mark)> {
        self.protocol.application(self.protocol.step(step)?.application?)?.exposure_ceiling
    }

    /// The figures in force; none when the step has no such clock.
    ///
    /// A rule never loosens the product's own instructions; where both speak the stricter holds
    /// (trade-rules.md): the earlier most, the later least, the sheet's target within them.
    pub fn figures(&self, step: &StepCode, clock: Clock) -> Option<Figures> {
        let times = *self.protocol.step(step)?.times(clock)?;
        let sheet = self.sheet_times(step, clock);
        let most_of_sheet = sheet.and_then(|s| s.most_min);
        let by_both = earlier(times.most_min, most_of_sheet);
        let ceiling = self.ceiling(step).filter(|_| clock == Clock::Exposure);
        let ceiling = ceiling.filter(|(most, _)| by_both.is_none_or(|m| m > *most));
        let most_min = ceiling.map(|(most, _)| most).or(by_both);
        let sheet_rules = most_of_sheet.is_some() && most_min == most_of_sheet;
        // Where sheet and protocol contradict, ending in time outranks the least.
        let cap = |m: Option<u16>| m.map(|m| most_min.map_or(m, |most| m.min(most)));
        let least_min = cap(later(times.least_min, sheet.and_then(|s| s.least_min)));
        let target_min =
            cap(sheet.and_then(|s| s.target_min).or(times.target_min)).map(|t| t.max(least_min.unwrap_or(0)));
        let most_source = match ceiling {
            Some((_, mark)) => Source::Default { mark },
            None if sheet_rules => Source::Sheet,
            None => times.source,
        };
        Some(Figures { target_min, least_min, most_min, most_source })
    }

    /// For which hair the sheet's figures of a clock are; none where the sheet says nothing of it.
    pub fn sheet_hair(&self, step: &StepCode, clock: Clock) -> Option<SheetHair> {
        self.sheet_times(step, clock).map(|s| s.hair)
    }

    /// Clocks whose figures must come from the sheet and were not entered. A most time is what
    /// protects; without it there is no start.
    pub fn sheet_times_missing(&self) -> Vec<(StepCode, Clock)> {
        self.protocol
            .sheet_clocks()
            .filter(|(step, clock)| self.sheet_times(&step.code, *clock).is_none_or(|s| s.most_min.is_none()))
            .map(|(step, clock)| (step.code.clone(), clock))
            .collect()
    }
}

fn earlier(a: Option<u16>, b: Option<u16>) -> Option<u16> {
    match (a, b) {
        (Some(a), Some(b)) => Some(a.min(b)),
        (a, b) => a.or(b),
    }
}

fn later(a: Option<u16>, b: Option<u16>) -> Option<u16> {
    match (a, b) {
        (Some(a), Some(b)) => Some(a.max(b)),
        (a, b) => a.or(b),
    }
}
