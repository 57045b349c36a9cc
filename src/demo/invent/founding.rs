//! The invented salon's house: founded by the functions that found the demo, with more people, hours of their own and lots
//! through all the years.

use std::collections::BTreeMap;

use time::{Date, Duration};

use super::super::files::{Files, Person, Salon, Station};
use super::super::{DemoFault, Laid, house};
use super::diary::{OPENS_MIN, Worker};
use super::kinds::{self, MILD_LIGHTENER, MIXED_GLOSS, WAVE_NEUTRALISER};
use super::world::{Hand, Made, World, lot_days};
use super::{Asked, STAFF_LEAST};
use crate::app::App;
use crate::domain::ids::ProductId;
use crate::domain::lot::must_say;
use crate::store::hours::{self, Hours};
use crate::store::products::{self, Record, Times};
use crate::store::{Scoped, invent, people, salons};

/// Coined names of those who work here beside the demo's people, who come first.
const MORE: [&str; 12] = [
    "Sorrel Wick",
    "Anouk Dell",
    "Bram Holloway",
    "Cleo Farrow",
    "Dorit Hale",
    "Emre Stone",
    "Gwil Ashdown",
    "Hanne Roe",
    "Idris Combe",
    "Jette Lorn",
    "Koa Penhale",
    "Liv Strand",
];

/// What founding gave.
pub(super) struct Founded {
    pub world: World,
    pub places: BTreeMap<String, i16>,
    pub rests: Vec<Worker>,
    /// The first of the lots that were repeated.
    pub first_lot: i64,
    /// Lots opened before this day are out of use.
    pub newest_lots_from: Date,
}

/// Who works here: the demo's people in the order a salon needs them, then more stylists and a helper for every four.
fn staff(of: &Salon, count: u32) -> Vec<Person> {
    let order = ["Ferris Vane", "Ondine Marsh", "Joss Ember", "Tobias Fenn", "Mara Quill", "Priya Lund"];
    let known = order.iter().filter_map(|name| of.people.iter().find(|p| p.name == *name));
    let known = known.map(|p| (p.name.clone(), p.role.clone(), p.qualifications.clone()));
    let all = ["thio", "hydroxide", "colour", "lightener"];
    let more = (0_u32..).map(|n| {
        let base = MORE[n as usize % MORE.len()];
        let name = if (n as usize) < MORE.len() {
            base.to_owned()
        } else {
            format!("{base} {}", n as usize / MORE.len() + 1)
        };
        let helps = n % 5 == 4;
        let role = if helps { "assistant" } else { "stylist" };
        let may = if helps { Vec::new() } else { all.map(str::to_owned).to_vec() };
        (name, role.to_owned(), may)
    });
    let hire = |(name, role, qualifications)| Person { name, role, qualifications };
    known.chain(more).take(count as usize).map(hire).collect()
}

fn shape(of: &Salon, asked: Asked) -> Salon {
    let people = staff(of, asked.staff);
    let openers = people.iter().filter(|p| matches!(p.role.as_str(), "manager" | "stylist")).count();
    let many = i16::try_from(openers).unwrap_or(100);
    let mut places = of.places.clone();
    places.insert("chair".into(), (many * 2 + 1).min(200));
    places.insert("basin".into(), many.min(200));
    places.insert("hood".into(), many.min(200));
    let chairs = (1..=openers.max(4)).map(|n| Station { name: format!("Chair {n}"), kind: "chair".into() });
    let others = of.stations.iter().filter(|s| s.kind != "chair");
    let others = others.map(|s| Station { name: s.name.clone(), kind: s.kind.clone() });
    Salon {
        name: super::NAME.into(),
        zone: of.zone.clone(),
        place: of.place.clone(),
        emergency_number: of.emergency_number.clone(),
        eye_wash_place: of.eye_wash_place.clone(),
        opens: of.opens.clone(),
        closes: of.closes.clone(),
        places,
        people,
        stations: chairs.chain(others).collect(),
    }
}

/// Founds the salon with everything it works with.
pub(super) async fn found(s: &mut Scoped, app: &App, asked: Asked) -> Laid<Founded> {
    if asked.staff < STAFF_LEAST {
        return Err(DemoFault::Refused(format!("a salon runs with {STAFF_LEAST} people at least")));
    }
    let files = Files::shipped()?;
    let salon = shape(&files.salon, asked);
    let now = s.now().await?;
    let mut stage = house::found(s, app, &salon, now).await?;
    house::fill_shelf(s, &mut stage, &files.shelf).await?;
    let manager = super::super::named(&stage.people, "Ferris Vane")?;
    more_products(s, &mut stage.products, manager).await?;
    let team = people::list(s).await?;
    let (mut hands, mut rests) = (Vec::new(), Vec::new());
    for person in &salon.people {
        let id = super::super::named(&stage.people, &person.name)?;
        // One day off in turn beside Sunday; the desk is always kept.
        let rest = if person.role == "reception" { 7 } else { 1 + (hands.len() % 6) as u8 };
        let day = |weekday: i16| Hours {
            weekday,
            opens_min: i32::from(OPENS_MIN),
            closes_min: i32::from(OPENS_MIN) + 720,
        };
        let week: Vec<Hours> = (1..=6).filter(|d| *d != i16::from(rest)).map(day).collect();
        hours::replace(s, id, &week).await?;
        rests.push(Worker { rests: rest });
        let known = team.iter().find(|p| p.id == id);
        hands.push(Hand {
            id,
            opens: matches!(person.role.as_str(), "manager" | "stylist"),
            treats: person.role != "reception",
            chemistries: known.map(|p| p.qualifications.clone()).unwrap_or_default(),
        });
    }
    let zone = stage.zone.clone();
    let days = i64::from(asked.years) * 365 + i64::from(asked.years) / 4;
    let first = zone.day_of(now) - Duration::days(days);
    let lot_days = lot_days(asked.staff);
    let count = i32::try_from(days / lot_days + 1).unwrap_or(i32::MAX);
    let mut lots = BTreeMap::new();
    let mut first_lot = i64::MAX;
    for (code, product) in &stage.products {
        let Some(like) = like_lot(s, &stage, code, *product, manager).await? else { continue };
        let all = invent::repeat_lot(s, like, first, lot_days as i32, count).await?;
        first_lot = first_lot.min(all.first().map_or(i64::MAX, |(id, _)| *id));
        lots.insert(product.0, all);
    }
    let kinds = kinds::all(s, app, &stage.products, manager, (asked.seed, ways(asked.clients))).await?;
    let formulas = products::list(s).await?;
    let row = salons::find(s).await?.ok_or_else(|| DemoFault::Refused("the salon is not there".into()))?;
    let station = |name: &str| super::super::named(&stage.stations, name);
    let world = World {
        app: app.clone(),
        salon: s.salon,
        name: row.name,
        emergency_number: row.emergency_number,
        zone,
        first,
        today: usize::try_from(days).unwrap_or(0),
        hands,
        desk: super::super::named(&stage.people, "Joss Ember")?,
        chairs: salon
            .stations
            .iter()
            .filter(|x| x.kind == "chair")
            .map(|x| Ok((station(&x.name)?, x.name.clone())))
            .collect::<Laid<_>>()?,
        basin: station("Basin")?,
        lot_days,
        lots,
        products: formulas
            .into_iter()
            .map(|p| (p.product_id, Made { formula: p.formula, strength: p.strength, name: p.name }))
            .collect(),
        kinds,
    };
    let newest_lots_from = first + Duration::days(i64::from(count - 2) * lot_days);
    Ok(Founded { world, places: salon.places, rests, first_lot, newest_lots_from })
}

/// Distinct ways each service goes: twelve in a large salon.
fn ways(clients: u32) -> u64 {
    (3 + u64::from(clients) / 100).min(12)
}

/// A lot of the shelf's file to make others like; none of a product without one that may be used.
async fn like_lot(
    s: &mut Scoped,
    stage: &super::super::Stage<'_>,
    code: &str,
    product: ProductId,
    by: crate::domain::ids::PersonId,
) -> Laid<Option<crate::domain::ids::LotId>> {
    if let Some(lot) = stage.first_lots.get(code) {
        return Ok(Some(*lot));
    }
    let Some(row) = products::find(s, product).await? else { return Ok(None) };
    let received = crate::store::lots::Received {
        code: format!("KR-{}", 7000 + product.0),
        received_on: stage.day(-20),
        best_before: Some(stage.day(500)),
        opened_on: None,
        opened_life_days: Some(365),
        received_grams: 600.0,
    };
    let place = salons::find(s).await?.map(|x| x.place).unwrap_or_default();
    // Taken in as somebody would who read every word of its label.
    let checks = crate::flow::lots::checks(stage.app, &place, &row, None, None);
    let seen = must_say(&checks).into_iter().map(str::to_string).collect();
    let told = crate::flow::lots::Told { contents: None, ph: None, seen, apart: None };
    let lot = crate::flow::lots::receive_lot(s, stage.app, &row, &received, &told, by).await;
    lot.map(Some).map_err(|e| DemoFault::Refused(format!("lot of {code}: {e:?}")))
}

/// What the demo's shelf lacks: a lightener mild enough for hair that was lightened before, a gloss with a developer, and a
/// neutraliser whose sheet gives a wave its five minutes.
async fn more_products(
    s: &mut Scoped,
    shelf: &mut BTreeMap<String, ProductId>,
    by: crate::domain::ids::PersonId,
) -> Laid<()> {
    let developer = super::super::named(shelf, "developer")?;
    let lightener = Record {
        name: "Lightening powder, mild".into(),
        family: "lightener",
        use_as: "lightener",
        form: "powder",
        strength: "mild",
        contents: serde_json::json!([]),
        ph: Some(9.8),
        base: "no-base",
        skin_test: "none-by-sheet",
        sheet_forbids_closing_after_stop: false,
        gtin: None,
        low_grams: 200.0,
        mixed_life_min: Some(60),
        parts: vec![developer],
    };
    let gloss = Record {
        name: "Gloss with developer, clear".into(),
        family: "oxidative-colour",
        use_as: "colour",
        form: "gel",
        contents: serde_json::json!([{"ingredient": "hydrogen-peroxide", "percent": 1.9}]),
        ph: Some(7.2),
        base: "not-said",
        skin_test: "patch",
        ..lightener.clone()
    };
    let neutraliser = Record {
        name: "Neutraliser, peroxide, for waves".into(),
        family: "peroxide-neutraliser",
        use_as: "neutraliser",
        form: "liquid",
        strength: "regular",
        contents: serde_json::json!([{"ingredient": "hydrogen-peroxide", "percent": 2.0}]),
        ph: Some(3.4),
        mixed_life_min: None,
        parts: Vec::new(),
        ..gloss.clone()
    };
    let all = [
        (MILD_LIGHTENER, lightener, ("exposure", 30.0, None, 45.0)),
        (MIXED_GLOSS, gloss, ("exposure", 20.0, None, 30.0)),
        (WAVE_NEUTRALISER, neutraliser, ("phase", 5.0, Some(5.0), 10.0)),
    ];
    for (code, record, (clock, target_min, least_min, most_min)) in all {
        let id = products::insert(s, &record).await?;
        let times = Times {
            clock: clock.into(),
            target_min,
            least_min,
            most_min,
            counts_from: if clock == "phase" { "last-rod" } else { "first-touch" }.into(),
            hair: "any".into(),
        };
        products::set_times(s, id, &times, by).await?;
        shelf.insert(code.into(), id);
    }
    Ok(())
}
