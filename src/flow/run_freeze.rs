//! What is frozen when a run starts: its protocol with the products of the plan and the minutes of their sheets.

use serde_json::json;

use super::sheets;
use crate::domain::chemistry::family::Family;
use crate::domain::hair_test::proposed_target_min;
use crate::domain::ids::{ClientId, ProductId, RunId};
use crate::domain::protocol::{Clock, Protocol, Source, Step};
use crate::domain::qualification::Chemistry;
use crate::domain::run::holds::{FrameProduct, SkinTest};
use crate::domain::run::{RunFrame, SheetTimes};
use crate::domain::sheet::SheetHair;
use crate::domain::skin_test::is_never_left_on_skin;
use crate::store::run_frames::PlanProduct;
use crate::store::runs::{self, NewStep};
use crate::store::{Scoped, StoreError, Stored, hair_tests, products};

fn families(p: &PlanProduct) -> Stored<Family> {
    Family::from_code(&p.family).ok_or_else(|| StoreError::Corrupt("product", p.family.clone()))
}

pub(super) fn frame_product(p: &PlanProduct) -> Stored<FrameProduct> {
    let family = families(p)?;
    Ok(FrameProduct {
        application: p.application.chars().next().unwrap_or('A'),
        product: ProductId(p.product_id),
        family,
        strength: p.strength.clone(),
        // Entered as "no skin test by the sheet": signed with that, and believed of what is never left on skin.
        skin_test: if p.skin_test == "patch" || !is_never_left_on_skin(family) {
            SkinTest::Patch
        } else {
            SkinTest::NotBySheet { signed: true }
        },
        forbids_closing_after_stop: p.sheet_forbids_closing_after_stop,
        // Both are frozen with the steps when the run begins.
        mixed_life_min: None,
        parts: Vec::new(),
    })
}

/// Reads the product sheets into the frame of a run that is about to start.
/// The minutes a strand test took stand for the sheet's target from first touch to rinse, never above it.
pub async fn new_frame(
    s: &mut Scoped,
    protocol: Protocol,
    plan_products: &[PlanProduct],
    client: ClientId,
) -> Stored<RunFrame> {
    let mut sheet = Vec::new();
    let felt = sheets::weakest(s, client).await?;
    for product in plan_products {
        let letter = product.application.chars().next().unwrap_or('A');
        let id = ProductId(product.product_id);
        let tried = hair_tests::find_minutes(s, client, id).await?;
        let times = products::times(s, id).await?;
        for clock in [Clock::Phase, Clock::Exposure] {
            let Some((time, hair)) = sheets::for_hair(&times, clock, felt) else { continue };
            for step in
                protocol.steps.iter().filter(|x| x.application == Some(letter) && x.times(clock).is_some())
            {
                let target = whole(time.target_min.round());
                let tried = tried.filter(|_| clock == Clock::Exposure && step.is_opening());
                sheet.push(SheetTimes {
                    step: step.code.clone(),
                    clock,
                    target_min: proposed_target_min(target, tried),
                    // Rounded to the stricter side.
                    least_min: time.least_min.and_then(|m| whole(m.ceil())),
                    most_min: whole(time.most_min.floor()),
                    hair,
                });
            }
        }
    }
    let products = plan_products.iter().map(frame_product).collect::<Stored<_>>()?;
    Ok(RunFrame { protocol, sheet, products })
}

/// Where a step's frozen sheet says for which hair a clock's figures are.
pub(super) const fn hair_key(clock: Clock) -> &'static str {
    match clock {
        Clock::Phase => "phase_hair",
        Clock::Exposure => "exposure_hair",
    }
}

fn whole(minutes: f32) -> Option<u16> {
    // The column is bounded to 0 … 180.
    (0.0..=600.0).contains(&minutes).then_some(minutes as u16)
}

/// Writes the steps of a run that has no events yet.
pub(super) async fn freeze_steps(s: &mut Scoped, run: RunId, frame: &RunFrame) -> Stored<()> {
    for step in steps_of(frame) {
        runs::insert_step(s, run, step).await?;
    }
    Ok(())
}

/// The steps as they are frozen, in the protocol's order.
pub fn steps_of(frame: &RunFrame) -> Vec<NewStep<'_>> {
    let numbered = frame.protocol.steps.iter().enumerate();
    numbered.map(|(i, step)| step_of(frame, i16::try_from(i + 1).unwrap_or(i16::MAX), step)).collect()
}

fn step_of<'f>(frame: &'f RunFrame, step_no: i16, step: &'f Step) -> NewStep<'f> {
    let family = step.family.or(step.qualification).unwrap_or(frame.protocol.family);
    let figures = |clock| {
        frame.figures(&step.code, clock).map_or([None; 3], |f| [f.target_min, f.least_min, f.most_min])
    };
    let mut sheet = serde_json::Map::new();
    for t in frame.sheet.iter().filter(|t| t.step == step.code) {
        sheet.insert(t.clock.code().into(), json!([t.target_min, t.least_min, t.most_min]));
        if t.hair != SheetHair::Any {
            sheet.insert(hair_key(t.clock).into(), t.hair.code().into());
        }
    }
    let asked = [Clock::Phase, Clock::Exposure]
        .iter()
        .any(|c| step.times(*c).is_some_and(|t| t.source == Source::Sheet));
    NewStep {
        step_no,
        code: &step.code,
        chemical: step.chemical.code(),
        chemistry: Chemistry::of(family).code(),
        application: step.application.map(String::from),
        product: step.application.and_then(|l| frame.product(l)).map(|p| p.product),
        needs: step.hold_points.clone(),
        phase: figures(Clock::Phase),
        exposure: figures(Clock::Exposure),
        sheet_asked: asked,
        sheet: sheet.into(),
    }
}
