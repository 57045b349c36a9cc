//! The services and test visits an invented salon gives: each with its products, frozen steps, hands and walks.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::super::{DemoFault, Laid};
use super::diary::Shape;
use super::dice::Dice;
use super::text::{canonical, escape};
use super::walk::{Course, Walk, walk};
use crate::app::App;
use crate::domain::booking::service::service_of;
use crate::domain::chemistry::Strength;
use crate::domain::chemistry::family::Family;
use crate::domain::ids::{ClientId, PersonId, ProductId};
use crate::domain::plan_check::{PlannedProduct, Skin, StrandTest};
use crate::domain::protocol::{Chemical, HoldPoint, Kind as ProtocolKind, PlannedZone, Protocol};
use crate::domain::qualification::Chemistry;
use crate::domain::run::RunFrame;
use crate::domain::run::rehearsal::Rehearsal;
use crate::domain::strand::Zone;
use crate::flow::{lots, plan_checks, run_freeze};
use crate::store::products::{self, Product, Times};
use crate::store::run_frames::PlanProduct;
use crate::store::{Scoped, invent, protocols, salons};

/// A service as a salon offers it: its key, the protocol, the products by letter (codes of the shelf's file).
type Offer = (&'static str, &'static str, &'static [(char, &'static str)]);

/// The lightener of the demo's shelf is too strong for hair that was lightened before; this one is mild.
pub const MILD_LIGHTENER: &str = "lightener-mild";

/// A gloss with a developer: the demo's has none.
pub const MIXED_GLOSS: &str = "gloss-mixed";
/// A neutraliser for waves: the demo's is for curls, ten minutes at least.
pub const WAVE_NEUTRALISER: &str = "neutraliser-wave";

/// Test visits by key.
pub const PATCH_VISIT: &str = "visit-patch-test";
/// The same for strands.
pub const STRAND_VISIT: &str = "visit-strand-test";
/// The same for metal.
pub const METAL_VISIT: &str = "visit-metal-test";

const OFFERS: [Offer; 18] = [
    ("curl-first-mild", "curl-virgin", &[('A', "cream-mild"), ('B', "lotion-mild"), ('C', "neutraliser")]),
    ("curl-first", "curl-virgin", &[('A', "cream-regular"), ('B', "lotion-regular"), ('C', "neutraliser")]),
    ("curl-mild", "curl-retouch", &[('A', "cream-mild"), ('B', "lotion-mild"), ('C', "neutraliser")]),
    ("curl", "curl-retouch", &[('A', "cream-regular"), ('B', "lotion-regular"), ('C', "neutraliser")]),
    ("sodium-first-mild", "relaxer-sodium-virgin", &[('A', "relaxer-mild")]),
    ("sodium-first", "relaxer-sodium-virgin", &[('A', "relaxer")]),
    ("sodium-mild", "relaxer-sodium-retouch", &[('A', "relaxer-mild")]),
    ("sodium", "relaxer-sodium-retouch", &[('A', "relaxer")]),
    ("guanidine-first", "relaxer-guanidine-virgin", &[('A', "guanidine-cream")]),
    ("guanidine", "relaxer-guanidine-retouch", &[('A', "guanidine-cream")]),
    ("colour", "colour-regrowth", &[('A', "root-colour")]),
    ("gloss", "gloss", &[('A', MIXED_GLOSS)]),
    ("lightener", "lightener-regrowth", &[('A', MILD_LIGHTENER)]),
    ("wave", "wave-alkaline", &[('A', "wave-alkaline"), ('B', WAVE_NEUTRALISER)]),
    ("wave-acid", "wave-acid", &[('A', "wave-acid"), ('B', WAVE_NEUTRALISER)]),
    (PATCH_VISIT, PATCH_VISIT, &[]),
    (STRAND_VISIT, STRAND_VISIT, &[]),
    (METAL_VISIT, METAL_VISIT, &[]),
];

/// A service or test visit.
#[derive(Debug)]
pub struct Kind {
    /// Its protocol's code.
    pub code: String,
    /// Its revision.
    pub revision: i32,
    /// What it is.
    pub protocol: Protocol,
    /// What a run of it is held to.
    pub frame: RunFrame,
    /// Its products as planned on a head nobody knows yet.
    pub planned: Vec<(PlannedProduct, ProductId)>,
    /// Its frozen steps: columns of `run_step` from `step_no` on.
    pub steps: Vec<String>,
    /// Hands and places.
    pub shape: Shape,
    /// What its hands are qualified for; none for a test visit.
    pub chemistry: Option<&'static str>,
    /// Ways it goes calmly.
    pub calm: Vec<Walk>,
    /// Ways it seldom goes.
    pub seldom: Vec<(Course, Walk)>,
}

impl Kind {
    /// Opening products with their numbers.
    pub fn opening(&self) -> impl Iterator<Item = &(PlannedProduct, ProductId)> {
        self.planned.iter().filter(|(p, _)| p.opening)
    }
}

/// Every kind by key, with so many calm ways of each.
///
/// # Errors
/// When a protocol or product of the table above is not there, or a service cannot be walked with these products.
pub async fn all(
    s: &mut Scoped,
    app: &App,
    shelf: &BTreeMap<String, ProductId>,
    by: PersonId,
    (seed, ways): (u64, u64),
) -> Laid<BTreeMap<&'static str, Kind>> {
    let newest = protocols::list_newest(s).await?;
    let parts = invent::list_parts(s).await?;
    let mut kinds = BTreeMap::new();
    for (key, code, asked) in OFFERS {
        let missing = || DemoFault::Refused(format!("{code} is not among the protocols"));
        let revision = newest.iter().find(|r| r.protocol == code).ok_or_else(missing)?;
        let protocol = app.protocol(revision)?;
        let mut on = Vec::new();
        for (letter, product) in asked {
            let gone = || DemoFault::Refused(format!("{product} is not on the shelf"));
            let id = *shelf.get(*product).ok_or_else(gone)?;
            on.push((*letter, products::find(s, id).await?.ok_or_else(gone)?));
        }
        let frame = frame(s, &protocol, &on, &parts, by).await?;
        let kind = kind(s, app, (revision.revision, protocol), frame, &on).await?;
        kinds.insert(key, kind);
    }
    walk_all(&mut kinds, seed, ways)?;
    Ok(kinds)
}

/// Walks every kind, on all cores.
fn walk_all(kinds: &mut BTreeMap<&'static str, Kind>, seed: u64, ways: u64) -> Laid<()> {
    let wanted: Vec<(&'static str, Course, u64)> = kinds
        .iter()
        .flat_map(|(key, kind)| {
            let seldom = [Course::Sting, Course::Stop, Course::Left];
            let seldom = seldom.into_iter().filter(|_| !kind.planned.is_empty());
            let few = if kind.planned.is_empty() { ways.div_ceil(3) } else { ways };
            (0..few).map(|_| Course::Calm).chain(seldom).enumerate().map(|(n, c)| (*key, c, n as u64))
        })
        .collect();
    let shared = &*kinds;
    let walked: Vec<Option<Walk>> = wanted
        .par_iter()
        .enumerate()
        .map(|(at, (key, course, _))| {
            // A throw that the rules do not let through is thrown again, at last without dawdling.
            (0..6).find_map(|again| {
                let mut dice = Dice::new(seed, u64::MAX - (at as u64 * 6 + again));
                walk(&shared[key].frame, (*course, again > 3), &mut dice)
            })
        })
        .collect();
    for ((key, course, _), walk) in wanted.into_iter().zip(walked) {
        if let (Some(kind), Some(walk)) = (kinds.get_mut(key), walk) {
            match course {
                Course::Calm => kind.calm.push(walk),
                other => kind.seldom.push((other, walk)),
            }
        }
    }
    match kinds.iter().find(|(_, k)| k.calm.is_empty()) {
        Some((key, kind)) => Err(DemoFault::Refused(format!(
            "{key} cannot be given with these products: {}",
            stuck_at(Rehearsal::held_to(kind.frame.clone(), time::OffsetDateTime::UNIX_EPOCH))
        ))),
        None => Ok(()),
    }
}

/// Where a service gets stuck, or what it breaks, for the message.
fn stuck_at(mut walked: Rehearsal) -> String {
    while walked.act() {}
    let at = |at: time::OffsetDateTime| at.to_string();
    let mut why: Vec<String> = walked.stuck.iter().map(|r| r.words(&at)).collect();
    why.extend(walked.state().breaches(walked.now).iter().map(|b| b.words(&walked.frame.protocol, &at)));
    format!("{}. {}", walked.said, why.join(" "))
}

/// The frame of a run with these products; minutes that a sheet does not give yet are entered as the step's own.
async fn frame(
    s: &mut Scoped,
    protocol: &Protocol,
    on: &[(char, Product)],
    parts: &[(i64, i64)],
    by: PersonId,
) -> Laid<RunFrame> {
    let plan: Vec<PlanProduct> = on
        .iter()
        .map(|(letter, p)| PlanProduct {
            application: letter.to_string(),
            product_id: p.product_id,
            name: p.name.clone(),
            family: p.family.clone(),
            strength: p.strength.clone(),
            skin_test: p.skin_test.clone(),
            strand_test_asked: false,
            sheet_forbids_closing_after_stop: p.sheet_forbids_closing_after_stop,
        })
        .collect();
    let nobody = ClientId(0);
    let mut frame = run_freeze::new_frame(s, protocol.clone(), &plan, nobody).await?;
    for (code, clock) in frame.sheet_times_missing() {
        let Some(step) = protocol.step(&code) else { continue };
        let product = step.application.and_then(|l| on.iter().find(|(letter, _)| *letter == l));
        let Some((_, product)) = product else {
            return Err(DemoFault::Refused(format!("{}: whose sheet times {code}?", protocol.code)));
        };
        let minutes = f32::from(step.minutes_typical.max(1));
        let times = Times {
            clock: clock.code().into(),
            target_min: minutes,
            least_min: None,
            most_min: minutes + 5.0,
            counts_from: "cover".into(),
            hair: "any".into(),
        };
        products::set_times(s, ProductId(product.product_id), &times, by).await?;
        frame = run_freeze::new_frame(s, protocol.clone(), &plan, nobody).await?;
    }
    let mixed = |letter: char| {
        let of = |x: &&crate::domain::protocol::Step| x.application == Some(letter);
        protocol.steps.iter().filter(of).any(|x| x.hold_points.contains(&HoldPoint::Mixed))
    };
    for product in &mut frame.products {
        if mixed(product.application) {
            let own = parts.iter().filter(|(of, _)| *of == product.product.0);
            product.parts = own.map(|(_, part)| ProductId(*part)).collect();
            let row = on.iter().find(|(_, p)| p.product_id == product.product.0);
            product.mixed_life_min =
                row.and_then(|(_, p)| p.mixed_life_min).and_then(|m| u16::try_from(m).ok());
        }
    }
    Ok(frame)
}

async fn kind(
    s: &mut Scoped,
    app: &App,
    (revision, protocol): (i32, Protocol),
    frame: RunFrame,
    on: &[(char, Product)],
) -> Laid<Kind> {
    let place = salons::find(s).await?.map(|x| x.place).unwrap_or_default();
    let fault = |e| DemoFault::Refused(format!("{}: {e}", protocol.code));
    let shape = Shape::of(&service_of(&protocol).map_err(fault)?.chain);
    let mut planned = Vec::new();
    for (letter, product) in on {
        let Some(application) = protocol.application(*letter) else { continue };
        if !plan_checks::fits(application, product) {
            return Err(DemoFault::Refused(format!(
                "{} is not for {letter} of {}",
                product.name, protocol.code
            )));
        }
        let beyond = lots::checks(app, &place, product, None, None);
        if beyond.iter().any(|c| c.within == Some(false)) {
            return Err(DemoFault::Refused(format!("{} is outside the law", product.name)));
        }
        planned.push((blank(application, product), ProductId(product.product_id)));
    }
    let chemistry = (protocol.kind == ProtocolKind::Service).then(|| Chemistry::of(protocol.family).code());
    Ok(Kind {
        code: protocol.code.clone(),
        revision,
        planned,
        steps: steps(&frame),
        shape,
        chemistry,
        calm: Vec::new(),
        seldom: Vec::new(),
        protocol,
        frame,
    })
}

/// A product as planned before anything of the head is known.
fn blank(application: &crate::domain::protocol::PlannedApplication, product: &Product) -> PlannedProduct {
    let opening = application.chemical == Chemical::Opening;
    PlannedProduct {
        letter: application.letter,
        title: application.title.clone(),
        product: product.name.clone(),
        family: Family::from_code(&product.family).unwrap_or(Family::Unknown),
        zone: match application.zone {
            PlannedZone::NewGrowth => Zone::NewGrowth,
            PlannedZone::RootToEnd => Zone::RootToEnd,
        },
        straightens: application.straightens,
        strength: if opening { Strength::from_code(&product.strength) } else { None },
        strength_most: application.strength_most,
        opening,
        skin: if product.skin_test == "patch" { Skin::Missing } else { Skin::NotBySheet },
        strand_test: StrandTest::Missing,
        first: true,
        sheet_missing: Vec::new(),
        sheet_taken: None,
        beyond_law: Vec::new(),
    }
}

/// The steps as the database freezes them: what goes on mixed names its parts and its life.
fn steps(frame: &RunFrame) -> Vec<String> {
    let or_null = |m: Option<String>| m.unwrap_or_else(|| "\\N".to_owned());
    let minutes = |m: Option<u16>| or_null(m.map(|m| m.to_string()));
    let list = |parts: Vec<String>| format!("{{{}}}", parts.join(","));
    run_freeze::steps_of(frame)
        .into_iter()
        .map(|step| {
            let mixed = step.needs.contains(&HoldPoint::Mixed);
            let product = step.application.as_ref().and_then(|a| frame.product(a.chars().next()?));
            let product = product.filter(|_| mixed);
            let mut sheet = String::new();
            escape(&mut sheet, &canonical(&step.sheet));
            [
                step.step_no.to_string(),
                step.code.as_str().to_owned(),
                step.chemical.to_owned(),
                step.chemistry.to_owned(),
                or_null(step.application.clone()),
                or_null(step.product.map(|p| p.to_string())),
                list(step.needs.iter().map(|n| n.code().to_owned()).collect()),
                minutes(step.phase[0]),
                minutes(step.phase[1]),
                minutes(step.phase[2]),
                minutes(step.exposure[0]),
                minutes(step.exposure[1]),
                minutes(step.exposure[2]),
                step.sheet_asked.to_string(),
                sheet,
                list(product.map(|p| p.parts.iter().map(ToString::to_string).collect()).unwrap_or_default()),
                or_null(product.and_then(|p| p.mixed_life_min).map(|m| m.to_string())),
            ]
            .join("\t")
        })
        .collect()
}
