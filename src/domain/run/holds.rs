//! Hold points whose answer lives outside the run: skin tests, strand tests, consent, plan, lots.
//!
//! The caller reads the records under the client's lock; the judgement here is pure.

use super::value::Instant;
use crate::domain::chemistry::family::Family;
use crate::domain::ids::{LotId, PersonId, ProductId};
use time::Duration;

/// Least hours between placing a patch test and reading it (trade-rules.md, hold points).
pub const PATCH_TEST_LEAST_HOURS: i64 = 48;
/// Days a strand test holds (trade-rules.md, from memory).
pub const STRAND_TEST_DAYS: i64 = 14;
/// Most days a patch test holds where the salon sets none: 6 months (trade-rules.md).
pub const PATCH_TEST_MOST_DAYS: u16 = 183;

/// What a patch test showed; anything but the first is positive.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SkinOutcome {
    /// No reaction.
    NoReaction,
    /// Itching.
    Itching,
    /// Redness.
    Redness,
    /// Swelling.
    Swelling,
    /// Blister.
    Blister,
    /// Rash elsewhere.
    RashElsewhere,
}

impl SkinOutcome {
    /// Anything but no reaction.
    pub fn is_positive(self) -> bool {
        self != SkinOutcome::NoReaction
    }
}

/// A reading of a patch test.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SkinReading {
    /// When.
    pub read_at: Instant,
    /// By whom.
    pub by: PersonId,
    /// What.
    pub outcome: SkinOutcome,
    /// Looked at in the chair; told by phone or photo is noted, then looked at.
    pub in_chair: bool,
}

/// A patch test of one product.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PatchTestRecord {
    /// Which product.
    pub product: ProductId,
    /// Its family.
    pub family: Family,
    /// When it was placed.
    pub placed_at: Instant,
    /// Its readings, any order.
    pub readings: Vec<SkinReading>,
    /// The product's formula or name changed since it was placed (a new lot does not void it).
    pub formula_changed: bool,
}

/// How the product's sheet wants the skin tried.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SkinTest {
    /// A patch test, left on as the sheet says.
    Patch,
    /// Never left on skin (hydroxide, guanidine, lightener): signed "no skin test by the sheet",
    /// with the strand test passed and the scalp read.
    NotBySheet {
        /// It was signed.
        signed: bool,
    },
}

/// A reaction on record, from a consult, a test or a stop: nobody may override it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reaction {
    /// The family that caused it.
    pub family: Family,
}

/// A strand test.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StrandTestRecord {
    /// Which product.
    pub product: ProductId,
    /// Its strength, in the trade's words.
    pub strength: String,
    /// When it was read, dried.
    pub read_at: Instant,
    /// The curl formed (or the strand lies as wanted).
    pub formed: bool,
    /// The wet stretch returns.
    pub stretch_returns: bool,
    /// It breaks.
    pub breaks: bool,
    /// It feels gummy.
    pub gummy: bool,
    /// Something was put on the hair since.
    pub put_on_since: bool,
}

/// The consent of this visit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ConsentRecord {
    /// When the client signed the words shown.
    pub signed_at: Instant,
    /// A guardian must sign too.
    pub guardian_needed: bool,
    /// A guardian signed.
    pub guardian_signed: bool,
}

/// What the plan check found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PlanVerdict {
    /// Clear.
    Clear,
    /// Tests named; passed or not.
    TestFirst {
        /// All named tests passed.
        passed: bool,
    },
    /// Until a date.
    Wait,
    /// Refused.
    Refuse,
}

/// The plan of this visit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlanRecord {
    /// What was found.
    pub verdict: PlanVerdict,
    /// When it was checked.
    pub checked_at: Instant,
    /// Something it rests on changed since: check it again.
    pub stale: bool,
}

/// Whether the law allows what is in the bottle, for this use.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LawVerdict {
    /// Within.
    Within,
    /// Above a limit, or outside its pH window.
    Exceeds,
    /// No law speaks, or the contents were not entered.
    NotJudged,
}

/// A lot that may be dispensed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LotRecord {
    /// Which.
    pub lot: LotId,
    /// Of which product.
    pub product: ProductId,
    /// First instant it is out of date; absent when none is printed.
    pub expires_at: Option<Instant>,
    /// First instant its opened life is over; absent unopened or without one.
    pub opened_until: Option<Instant>,
    /// The law's limit for this use.
    pub law: LawVerdict,
    /// Taken off the shelf.
    pub withdrawn: bool,
    /// Stands apart since it came in, and is never dispensed.
    pub quarantined: bool,
    /// Grams that came in with it, rounded up: no bowl takes more.
    pub came_in_grams: u32,
}

/// A product of the service, as frozen into the run.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FrameProduct {
    /// For which application.
    pub application: char,
    /// Which.
    pub product: ProductId,
    /// Its family.
    pub family: Family,
    /// Its strength, in the trade's words ("mild", "regular", "strong"); empty where it has none.
    pub strength: String,
    /// How the sheet wants the skin tried.
    pub skin_test: SkinTest,
    /// The sheet forbids neutraliser or normalising shampoo after a stop.
    pub forbids_closing_after_stop: bool,
    /// How long its mixture may be used by the sheet, minutes; none when the sheet was not entered.
    pub mixed_life_min: Option<u16>,
    /// What it is mixed with by its sheet, one of these for a head; empty for what is used as it comes.
    pub parts: Vec<ProductId>,
}

/// Everything outside the run that its hold points rest on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HoldContext {
    /// When this visit began: consent and plan are of this visit.
    pub visit_from: Instant,
    /// Most days a patch test holds, by salon policy; never above six months.
    pub patch_test_days: u16,
    /// Patch tests of the client.
    pub patch_tests: Vec<PatchTestRecord>,
    /// Reactions of the client on record.
    pub reactions: Vec<Reaction>,
    /// A first service, a new product or "test first" asks for one.
    pub strand_test_needed: bool,
    /// Strand tests of the client.
    pub strand_tests: Vec<StrandTestRecord>,
    /// The consent.
    pub consent: Option<ConsentRecord>,
    /// The plan.
    pub plan: Option<PlanRecord>,
    /// Lots of the products of this service.
    pub lots: Vec<LotRecord>,
}

/// Why a record does not hold.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lacks {
    /// There is none.
    Missing,
    /// Placed, but not read in the chair 48 hours or more after.
    NotRead,
    /// Too old.
    Lapsed,
    /// Void: formula or name changed, something put on since, checked before a change.
    Void,
    /// It failed; put right, it may pass.
    Failed,
    /// Nobody may override it.
    ForGood,
}

/// Whether a strand was taken through with this product and passed, needed or not.
///
/// # Errors
/// Why it does not hold at that instant.
pub fn strand_test_stands(
    tests: &[StrandTestRecord],
    product: &FrameProduct,
    at: Instant,
) -> Result<(), Lacks> {
    let of_product = |t: &&StrandTestRecord| {
        t.product == product.product && t.strength == product.strength && t.read_at <= at
    };
    // The newest speaks: an older pass does not outlive a later failure.
    let newest = tests.iter().filter(of_product).max_by_key(|t| t.read_at);
    let Some(test) = newest else { return Err(Lacks::Missing) };
    if test.put_on_since {
        return Err(Lacks::Void);
    }
    if test.breaks || test.gummy || !test.stretch_returns || !test.formed {
        return Err(Lacks::Failed);
    }
    let until = test.read_at.saturating_add(Duration::days(STRAND_TEST_DAYS));
    if at > until { Err(Lacks::Lapsed) } else { Ok(()) }
}

impl HoldContext {
    /// The patch test, or what the sheet has in its place, for one product.
    ///
    /// # Errors
    /// Why it does not hold at that instant.
    pub fn patch_test_holds_at(&self, product: &FrameProduct, at: Instant) -> Result<(), Lacks> {
        let of_family = |f: Family| f == product.family;
        let reacted = self.reactions.iter().any(|r| of_family(r.family));
        let read_positive = self
            .patch_tests
            .iter()
            .filter(|t| t.product == product.product || of_family(t.family))
            .flat_map(|t| &t.readings)
            .any(|r| r.outcome.is_positive() && r.read_at <= at);
        if reacted || read_positive {
            return Err(Lacks::ForGood);
        }
        if let SkinTest::NotBySheet { signed } = product.skin_test {
            return if signed { Ok(()) } else { Err(Lacks::Missing) };
        }
        best(
            self.patch_tests
                .iter()
                .filter(|t| t.product == product.product)
                .map(|t| self.one_patch_test(t, at)),
        )
    }

    fn one_patch_test(&self, test: &PatchTestRecord, at: Instant) -> Result<(), Lacks> {
        if test.formula_changed {
            return Err(Lacks::Void);
        }
        let ripe = test.placed_at.saturating_add(Duration::hours(PATCH_TEST_LEAST_HOURS));
        let read = test.readings.iter().any(|r| r.in_chair && r.read_at >= ripe && r.read_at <= at);
        if !read {
            return Err(Lacks::NotRead);
        }
        let days = self.patch_test_days.min(PATCH_TEST_MOST_DAYS);
        let until = test.placed_at.saturating_add(Duration::days(i64::from(days)));
        if at > until { Err(Lacks::Lapsed) } else { Ok(()) }
    }

    /// The strand test for one product, where one is needed.
    ///
    /// # Errors
    /// Why it does not hold at that instant.
    pub fn strand_test_holds_at(&self, product: &FrameProduct, at: Instant) -> Result<(), Lacks> {
        let instead = matches!(product.skin_test, SkinTest::NotBySheet { .. });
        if !self.strand_test_needed && !instead {
            return Ok(());
        }
        strand_test_stands(&self.strand_tests, product, at)
    }

    /// The consent of this visit.
    ///
    /// # Errors
    /// Why it does not hold at that instant.
    pub fn consent_holds_at(&self, at: Instant) -> Result<(), Lacks> {
        let Some(consent) = &self.consent else { return Err(Lacks::Missing) };
        if consent.signed_at < self.visit_from || consent.signed_at > at {
            return Err(Lacks::Lapsed);
        }
        if consent.guardian_needed && !consent.guardian_signed {
            return Err(Lacks::Failed);
        }
        Ok(())
    }

    /// The plan of this visit: clear, or its named tests passed.
    ///
    /// # Errors
    /// Why it does not hold at that instant.
    pub fn plan_holds_at(&self, at: Instant) -> Result<(), Lacks> {
        let Some(plan) = &self.plan else { return Err(Lacks::Missing) };
        if plan.checked_at < self.visit_from || plan.checked_at > at {
            return Err(Lacks::Lapsed);
        }
        if plan.stale {
            return Err(Lacks::Void);
        }
        match plan.verdict {
            PlanVerdict::Clear | PlanVerdict::TestFirst { passed: true } => Ok(()),
            PlanVerdict::TestFirst { passed: false } | PlanVerdict::Wait | PlanVerdict::Refuse => {
                Err(Lacks::Failed)
            }
        }
    }

    /// A lot, for one product.
    ///
    /// # Errors
    /// Why it may not be dispensed or used at that instant.
    pub fn lot_holds_at(&self, product: ProductId, lot: LotId, at: Instant) -> Result<(), Lacks> {
        let known = self.lots.iter().find(|l| l.lot == lot && l.product == product);
        let Some(lot) = known else { return Err(Lacks::Missing) };
        if lot.withdrawn || lot.quarantined || lot.law == LawVerdict::Exceeds {
            return Err(Lacks::Failed);
        }
        let past = |until: Option<Instant>| until.is_some_and(|u| at >= u);
        if past(lot.expires_at) || past(lot.opened_until) {
            return Err(Lacks::Lapsed);
        }
        Ok(())
    }
}

impl HoldContext {
    /// Of which product a lot is; none when it is no lot of this service.
    pub fn product_of(&self, lot: LotId) -> Option<ProductId> {
        self.lots.iter().find(|l| l.lot == lot).map(|l| l.product)
    }

    /// False when a lot is known and never had so many grams. What the book says is left is not asked: where a bowl
    /// takes more than that, the book was wrong, and the record says so.
    pub fn lot_ever_had(&self, lot: LotId, grams: f64) -> bool {
        self.lots.iter().find(|l| l.lot == lot).is_none_or(|l| grams <= f64::from(l.came_in_grams))
    }
}

/// One that holds is enough; else the reason nearest to holding.
fn best(results: impl Iterator<Item = Result<(), Lacks>>) -> Result<(), Lacks> {
    let mut why = Lacks::Missing;
    for result in results {
        match result {
            Ok(()) => return Ok(()),
            Err(lacks) => why = lacks,
        }
    }
    Err(why)
}
