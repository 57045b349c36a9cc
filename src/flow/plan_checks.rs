//! The check of a service on a head as it is known now: what stands beside each product, read from its nouns.

use time::Date;

use super::strands::{self, Told};
use super::{lots, sheets};
use crate::app::App;
use crate::calendar::Zone as TimeZone;
use crate::domain::chemistry::family::{Family, Group};
use crate::domain::chemistry::{Strength, Verdict};
use crate::domain::consult::Circumstance;
use crate::domain::ids::{ClientId, ProductId};
use crate::domain::plan_check::{
    self, Felt, Found, Head, MetalSeen, PlannedProduct, Porosity, Skin, StrandTest, Texture, Way, WetStretch,
};
use crate::domain::protocol::{Chemical, Clock, PlannedApplication, Protocol, TestKind};
use crate::domain::sheet::{self, SheetHair};
use crate::domain::strand::{Deed, Zone};
use crate::store::clients::Client;
use crate::store::consults::Consult;
use crate::store::products::Product;
use crate::store::salons::{self, Salon};
use crate::store::{Scoped, StoreError, Stored, consults, hair_tests, plans, products, readings};

/// What somebody chose for one application.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Asked {
    /// The application's letter.
    pub letter: char,
    /// The product.
    pub product: ProductId,
    /// Where it goes.
    pub zone: Zone,
}

/// A trim that is part of a plan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlannedTrim {
    /// How much, mm.
    pub mm: f64,
    /// The client said yes, said no, or was not asked yet.
    pub agreed: Option<bool>,
}

/// A service checked on a head.
pub struct Checked {
    pub found: Vec<Found>,
    pub products: Vec<PlannedProduct>,
    pub product_ids: Vec<ProductId>,
    pub verdict: Verdict,
    pub strand_seq: i32,
    pub today: Date,
}

impl Checked {
    /// Tests that are asked for and do not hold now: words and what is to be done.
    pub fn open_tests(&self) -> Vec<(String, Way)> {
        let mut open = Vec::new();
        for p in self.products.iter().filter(|p| p.opening) {
            if !matches!(p.skin, Skin::NoReaction | Skin::NotBySheet) {
                let way = if p.skin == Skin::NotRead {
                    Way::Tests(tr!("Read it").into())
                } else {
                    Way::Visit(TestKind::PatchTest, tr!("Place one").into())
                };
                open.push((tr!("{}: patch test, {}.", p.product, p.skin.words()), way));
            }
            if plan_check::asks_strand_test(p, &self.found) && p.strand_test != StrandTest::Passed {
                let words = tr!("{}: strand test, {}.", p.product, p.strand_test.words());
                open.push((words, Way::Visit(TestKind::StrandTest, tr!("Do the strand test").into())));
            }
        }
        open
    }
}

/// True when a product can be what an application asks for: its use, and its family.
pub fn fits(application: &PlannedApplication, product: &Product) -> bool {
    use crate::domain::qualification::Chemistry;
    let Some(family) = Family::from_code(&product.family) else { return false };
    let uses: &[&str] = match (application.chemical, Chemistry::of(application.family)) {
        (Chemical::Closing, Chemistry::Other) => &["neutraliser"],
        (Chemical::Closing, _) => &["neutraliser", "normaliser"],
        (_, Chemistry::Thio) if !application.straightens => &["lotion"],
        (_, Chemistry::Thio | Chemistry::Hydroxide) => &["straightener"],
        (_, Chemistry::Colour) => &["colour"],
        (_, Chemistry::Lightener) => &["lightener"],
        (_, Chemistry::Other) => &["other"],
    };
    product.retired_at.is_none() && uses.contains(&product.use_as.as_str()) && application.takes(family)
}

/// Checks a service on a client's head as everything on record stands now. `trim_mm` is taken off first, for a
/// client who said yes; the plan then waits until it is cut and looked at.
pub async fn check(
    s: &mut Scoped,
    app: &App,
    client: &Client,
    protocol: &Protocol,
    asked: &[Asked],
    trim: Option<PlannedTrim>,
) -> Stored<Checked> {
    let (salon, zone) = salon(s).await?;
    let now = s.now().await?;
    let today = zone.day_of(now);
    let mut told = strands::load(s, &app.reference, client, today, None).await?;
    let mut product_list = Vec::new();
    let mut product_ids = Vec::new();
    let felt = sheets::felt(s, client.id()).await?;
    let weakest = sheet::weakest(&felt);
    let met = plans::list_products_met(s, client.id()).await?;
    for a in asked {
        let Some(application) = protocol.application(a.letter) else { continue };
        let Some(product) = products::find(s, a.product).await? else { continue };
        let first = !met.contains(&a.product.0);
        product_list.push(
            planned(s, app, client.id(), &salon, protocol, application, &product, a.zone, first, weakest)
                .await?,
        );
        product_ids.push(a.product);
    }
    let taken = consults::list_by_client(s, client.id(), 50).await?;
    let latest = told_ever(s, client.id(), &taken).await?;
    let metal = metal(s, client.id(), &taken, told.as_ref()).await?;
    let agreed = trim.filter(|t| t.agreed == Some(true)).map(|t| t.mm);
    if let (Some(mm), Some(told)) = (agreed, &mut told) {
        // Refused on entry; a strand that is shorter by now is left as it is.
        let _ = told.strand.trim(mm);
    }
    let head = Head {
        strand: told.as_ref().map(|t| &t.strand),
        odd: told.as_ref().map_or(&[], |t| &t.odd),
        felt: &felt,
        told: latest.as_ref().map(|c| &c.told),
        circumstance: Circumstance {
            born_on: client.born_on,
            taken_on: latest.as_ref().map_or(today, |c| zone.day_of(c.taken_at)),
            today,
            least_age_years: u8::try_from(salon.least_age).unwrap_or(u8::MAX),
            metal_cleared: metal == MetalSeen::Negative,
        },
        metal,
    };
    let mut found = plan_check::check_service(&product_list, &head, &app.reference.rules);
    if let Some(mm) = agreed {
        let at = found.iter().position(|f| f.verdict < Verdict::Wait).unwrap_or(found.len());
        found.insert(at, plan_check::cut_first(mm));
    }
    Ok(Checked {
        verdict: plan_check::worst(&found),
        found,
        products: product_list,
        product_ids,
        strand_seq: told.as_ref().map_or(0, |t| t.last_seq),
        today,
    })
}

pub(super) async fn salon(s: &mut Scoped) -> Stored<(Salon, TimeZone)> {
    let salon = salons::find(s).await?.ok_or_else(|| StoreError::Corrupt("salon", s.salon.to_string()))?;
    let zone = TimeZone::find(&salon.zone).ok_or_else(|| StoreError::Corrupt("salon", salon.zone.clone()))?;
    Ok((salon, zone))
}

/// The latest consult, with every reaction, all silver and all metal ever told: later silence takes nothing back.
async fn told_ever(s: &mut Scoped, client: ClientId, taken: &[Consult]) -> Stored<Option<Consult>> {
    let Some(mut latest) = taken.first().cloned() else { return Ok(None) };
    latest.told.reactions = consults::list_reactions_ever(s, client).await?;
    latest.told.black_henna_reaction = consults::find_black_henna_reaction_ever(s, client).await?;
    latest.told.silver_in_history = taken.iter().any(|c| c.told.silver_in_history);
    latest.told.own.keep_metal(taken.iter().map(|c| &c.told.own));
    Ok(Some(latest))
}

/// What the metallic-salt test says of this hair; a test says nothing of what was told to have gone on since.
pub(super) async fn metal(
    s: &mut Scoped,
    client: ClientId,
    taken: &[Consult],
    told: Option<&Told>,
) -> Stored<MetalSeen> {
    let Some((passed, at)) = hair_tests::latest_metal(s, client).await? else {
        return Ok(MetalSeen::NotCleared);
    };
    if !passed {
        return Ok(MetalSeen::Positive);
    }
    let since = told.is_some_and(|t| {
        t.events.iter().any(|e| {
            let metallic = matches!(e.deed, Deed::Apply(_, x) if x.family.group() == Group::MetallicSalt);
            metallic && (e.recorded_at > at || e.on >= at.date())
        })
    });
    let silver = taken.iter().any(|c| c.told.silver_in_history);
    Ok(if silver || since { MetalSeen::NotCleared } else { MetalSeen::Negative })
}

pub(super) fn felt(r: &readings::Reading) -> Felt {
    let place = if r.place == "whole" {
        tr!("whole head").to_string()
    } else {
        crate::words::of(&r.place).to_owned()
    };
    Felt {
        place,
        texture: r.texture.as_deref().and_then(Texture::from_code),
        porosity: r.porosity.as_deref().and_then(Porosity::from_code),
        wet_stretch: r.wet_stretch.as_deref().and_then(WetStretch::from_code),
        breakage: r.breakage == Some(true),
        lightened: r.lightened == Some(true),
    }
}

#[allow(clippy::too_many_arguments)]
async fn planned(
    s: &mut Scoped,
    app: &App,
    client: ClientId,
    salon: &Salon,
    protocol: &Protocol,
    application: &PlannedApplication,
    product: &Product,
    zone: Zone,
    first: bool,
    weakest: Option<SheetHair>,
) -> Stored<PlannedProduct> {
    let id = ProductId(product.product_id);
    let tests = plans::find_tests(s, client, id).await?;
    let times = products::times(s, id).await?;
    let family = Family::from_code(&product.family)
        .ok_or_else(|| StoreError::Corrupt("product", product.family.clone()))?;
    let skin = match &tests {
        t if t.reaction => Skin::Reaction,
        _ if product.skin_test != "patch" => Skin::NotBySheet,
        t if t.skin_holds => Skin::NoReaction,
        t if t.skin_open => Skin::NotRead,
        t if t.skin_ever => Skin::Void,
        _ => Skin::Missing,
    };
    let strand_test = match &tests {
        t if t.strand_failed => StrandTest::Failed,
        t if t.strand_holds => StrandTest::Passed,
        _ => StrandTest::Missing,
    };
    let mut sheet_missing: Vec<String> = protocol
        .sheet_clocks()
        .filter(|(step, _)| step.application == Some(application.letter))
        .filter(|(_, clock)| !times.iter().any(|t| t.clock == clock.code()))
        .map(|(step, clock)| match clock {
            Clock::Exposure => tr!("the longest time from first touch to rinse").to_string(),
            Clock::Phase => tr!("the time of “{}”", step.title),
        })
        .collect();
    sheet_missing.dedup();
    Ok(PlannedProduct {
        letter: application.letter,
        title: application.title.clone(),
        product: product.name.clone(),
        family,
        zone,
        straightens: application.straightens,
        strength: (application.chemical == Chemical::Opening)
            .then(|| Strength::from_code(&product.strength))
            .flatten(),
        strength_most: application.strength_most,
        opening: application.chemical == Chemical::Opening,
        skin,
        strand_test,
        first,
        sheet_missing,
        sheet_taken: taken_words(&times, weakest),
        beyond_law: beyond_law(app, &salon.place, product),
    })
}

/// The minutes from first touch that this hair takes, where the sheet tells hair apart.
fn taken_words(times: &[products::Times], weakest: Option<SheetHair>) -> Option<String> {
    let told_apart =
        times.iter().any(|t| t.clock == Clock::Exposure.code() && t.hair != SheetHair::Any.code());
    let (t, hair) = sheets::for_hair(times, Clock::Exposure, weakest).filter(|_| told_apart)?;
    Some(tr!(
        "the sheet's minutes for {}, {}, longest allowed {}",
        hair.words(),
        format_args!("{:.0}", t.target_min),
        format_args!("{:.0}", t.most_min)
    ))
}

/// What is above the limit of the salon's law for this use, in words.
fn beyond_law(app: &App, place: &str, product: &Product) -> Vec<String> {
    lots::checks(app, place, product, None, None)
        .iter()
        .filter(|c| c.within == Some(false))
        .map(|c| {
            let most = c.limit.percent.map_or(String::new(), |p| tr!(", at most {p} %", p = p));
            let acid = match (c.limit.ph_low, c.limit.ph_high) {
                (Some(low), Some(high)) => tr!(", pH {low} to {high}", low = low, high = high),
                (None, Some(high)) => tr!(", pH at most {high}", high = high),
                _ => String::new(),
            };
            tr!(
                "{} counts as {} %{most}{acid} ({}).",
                c.counted_as,
                format_args!("{:.2}", c.percent),
                c.limit.source,
                most = most,
                acid = acid
            )
        })
        .collect()
}
