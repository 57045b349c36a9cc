//! The salon itself, its people, stations, hours, places and shelf.

use std::collections::BTreeMap;
use time::OffsetDateTime;

use super::files::{Product, Salon};
use super::{DemoFault, Laid, PASSPHRASE, Stage, named, pin_of};
use crate::app::App;
use crate::calendar::Zone;
use crate::domain::access::Role;
use crate::domain::ids::PersonId;
use crate::flow::protocols;
use crate::store::hours::Hours;
use crate::store::lots::Received;
use crate::store::products::{Record, Times};
use crate::store::{Scoped, demo, hours, lots, people, products, stations};

/// Founds the salon and hires everybody.
pub async fn found<'a>(s: &mut Scoped, app: &'a App, salon: &Salon, now: OffsetDateTime) -> Laid<Stage<'a>> {
    let zone = Zone::find(&salon.zone).ok_or_else(|| DemoFault::File(format!("no zone {}", salon.zone)))?;
    demo::found(s, &salon.name, &salon.zone, &salon.place, &salon.emergency_number, &salon.eye_wash_place)
        .await?;
    protocols::publish_shipped(s).await?;
    let mut stage = Stage {
        app,
        zone,
        now,
        people: BTreeMap::new(),
        stations: BTreeMap::new(),
        products: BTreeMap::new(),
        first_lots: BTreeMap::new(),
        lots: BTreeMap::new(),
        clients: BTreeMap::new(),
    };
    for (kind, count) in &salon.places {
        hours::set_places(s, kind, *count).await?;
    }
    for station in &salon.stations {
        let id = stations::insert(s, &station.name, &station.kind).await?;
        stage.stations.insert(station.name.clone(), id);
    }
    let open: Vec<Hours> = (1..=7)
        .map(|weekday| {
            Ok(Hours {
                weekday,
                opens_min: minute_of(&salon.opens)?.into(),
                closes_min: minute_of(&salon.closes)?.into(),
            })
        })
        .collect::<Laid<_>>()?;
    for person in &salon.people {
        let id = hire(s, app, &person.name, &person.role).await?;
        people::set_qualifications(s, id, &person.qualifications).await?;
        hours::replace(s, id, &open).await?;
        stage.people.insert(person.name.clone(), id);
    }
    Ok(stage)
}

/// "10:30" as minutes of the day.
pub fn minute_of(text: &str) -> Laid<u16> {
    let parts =
        text.split_once(':').and_then(|(h, m)| Some((h.parse::<u16>().ok()?, m.parse::<u16>().ok()?)));
    match parts {
        Some((h, m)) if h < 24 && m < 60 => Ok(h * 60 + m),
        _ => Err(DemoFault::File(format!("{text} is no time of day"))),
    }
}

async fn hire(s: &mut Scoped, app: &App, name: &str, role: &str) -> Laid<PersonId> {
    let busy = |_| DemoFault::Refused("the PINs could not be hashed".into());
    let role = Role::from_code(role).ok_or_else(|| DemoFault::File(format!("{role} is no role")))?;
    let pin = match pin_of(name) {
        Some(pin) => Some(app.hasher.hash(pin).await.map_err(busy)?),
        None => None,
    };
    let passphrase = match role {
        Role::Manager => Some(app.hasher.hash(PASSPHRASE).await.map_err(busy)?),
        _ => None,
    };
    Ok(people::insert(s, name, role, pin.as_deref(), passphrase.as_deref()).await?)
}

/// Puts the products with their sheets and lots on the shelf.
pub async fn fill_shelf(s: &mut Scoped, stage: &mut Stage<'_>, shelf: &'static [Product]) -> Laid<()> {
    for p in shelf {
        let id = products::insert(
            s,
            &Record {
                name: p.name.clone(),
                family: &p.family,
                use_as: &p.use_as,
                form: &p.form,
                strength: &p.strength,
                contents: serde_json::to_value(&p.contents).unwrap_or_default(),
                ph: Some(p.ph),
                base: &p.base,
                skin_test: &p.skin_test,
                sheet_forbids_closing_after_stop: false,
            },
        )
        .await?;
        let times = Times {
            clock: p.sheet.clock.clone(),
            target_min: p.sheet.target,
            least_min: p.sheet.least,
            most_min: p.sheet.most,
            counts_from: p.sheet.from.clone(),
        };
        products::set_times(s, id, &times, named(&stage.people, "Ferris Vane")?).await?;
        stage.products.insert(p.code.clone(), id);
        for lot in &p.lots {
            let received = Received {
                code: lot.code.clone(),
                received_on: stage.day(lot.received),
                best_before: lot.best_before.map(|d| stage.day(d)),
                opened_on: lot.opened.map(|d| stage.day(d)),
                opened_life_days: lot.life_days,
                received_grams: lot.grams,
            };
            let lot_id = lots::insert(s, id, &received).await?;
            stage.lots.insert(lot.code.clone(), lot_id);
            stage.first_lots.entry(p.code.clone()).or_insert(lot_id);
        }
    }
    Ok(())
}
