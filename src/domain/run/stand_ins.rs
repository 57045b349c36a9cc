//! What stands in for a visit's records while a service is walked on paper: products, sheets, tests, lots.

use super::frame::{RunFrame, SheetTimes};
use super::holds::{
    ConsentRecord, FrameProduct, HoldContext, LawVerdict, LotRecord, PatchTestRecord, PlanRecord,
    PlanVerdict, SkinOutcome, SkinReading, SkinTest, StrandTestRecord,
};
use super::value::Instant;
use crate::domain::ids::{LotId, PersonId, ProductId};
use crate::domain::protocol::{Clock, Protocol, Step};
use crate::domain::sheet::SheetHair;
use time::Duration;

fn number(letter: char) -> i64 {
    i64::from(u32::from(letter))
}

pub(super) fn lot_of(product: ProductId) -> LotId {
    LotId(product.0)
}

/// The protocol with stand-ins for products and for what their sheets would say.
pub(super) fn frame(protocol: &Protocol) -> RunFrame {
    let products = protocol.applications.iter().map(|a| FrameProduct {
        application: a.letter,
        product: ProductId(number(a.letter)),
        family: a.family,
        strength: "mild".to_owned(),
        skin_test: SkinTest::Patch,
        forbids_closing_after_stop: false,
        mixed_life_min: None,
        parts: Vec::new(),
    });
    let sheet = protocol.sheet_clocks().map(|(step, clock)| {
        let usual = match clock {
            Clock::Phase => step.minutes_typical,
            Clock::Exposure => usual_exposure(protocol, step),
        };
        SheetTimes {
            step: step.code.clone(),
            clock,
            hair: SheetHair::Any,
            target_min: Some(usual),
            least_min: None,
            most_min: Some(usual.saturating_add(10)),
        }
    });
    RunFrame { products: products.collect(), sheet: sheet.collect(), protocol: protocol.clone() }
}

/// Usual minutes from the step that touches first to the rinse.
fn usual_exposure(protocol: &Protocol, first: &Step) -> u16 {
    let from = protocol.index_of(&first.code).unwrap_or(0);
    let on = protocol.steps.iter().skip(from);
    let on = on.take_while(|s| first.application.is_none_or(|l| !s.rinses.contains(&l)));
    on.map(|s| s.minutes_typical).fold(0, u16::saturating_add).max(1)
}

/// Records that all hold.
pub(super) fn holds(frame: &RunFrame, start: Instant) -> HoldContext {
    let before = |hours| start - Duration::hours(hours);
    let tests = frame.products.iter().map(|p| PatchTestRecord {
        product: p.product,
        family: p.family,
        placed_at: before(72),
        readings: vec![SkinReading {
            read_at: before(12),
            by: PersonId(0),
            outcome: SkinOutcome::NoReaction,
            in_chair: true,
        }],
        formula_changed: false,
    });
    let bowls = frame.products.iter().flat_map(|p| std::iter::once(p.product).chain(p.parts.iter().copied()));
    let lots = bowls.map(|product| LotRecord {
        lot: lot_of(product),
        product,
        expires_at: None,
        opened_until: None,
        law: LawVerdict::Within,
        withdrawn: false,
        quarantined: false,
        came_in_grams: 1000,
    });
    // Where skin is not tested the hair is.
    let strand_tests = frame.products.iter().map(|p| StrandTestRecord {
        product: p.product,
        strength: p.strength.clone(),
        read_at: before(12),
        formed: true,
        stretch_returns: true,
        breaks: false,
        gummy: false,
        put_on_since: false,
    });
    HoldContext {
        visit_from: before(1),
        patch_test_days: 183,
        patch_tests: tests.collect(),
        reactions: Vec::new(),
        strand_test_needed: false,
        strand_tests: strand_tests.collect(),
        consent: Some(ConsentRecord { signed_at: start, guardian_needed: false, guardian_signed: false }),
        plan: Some(PlanRecord { verdict: PlanVerdict::Clear, checked_at: start, stale: false }),
        lots: lots.collect(),
    }
}
