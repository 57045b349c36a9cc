//! The salon itself, its people, stations, hours, places and shelf.

use std::collections::BTreeMap;
use time::{Duration, OffsetDateTime};

use super::files::{Product, Salon};
use super::{DemoFault, Laid, PASSPHRASE, Stage, named, pin_of};
use crate::app::App;
use crate::calendar::Zone;
use crate::domain::access::Role;
use crate::domain::gs1::Gtin;
use crate::domain::ids::{LotId, PersonId};
use crate::domain::lot::must_say;
use crate::domain::stock::LOW_GRAMS;
use crate::flow::lots::{self as flow_lots, Told};
use crate::flow::protocols;
use crate::store::hours::Hours;
use crate::store::lots::Received;
use crate::store::products::{Record, Times};
use crate::store::{Scoped, demo, hours, people, products, salons, stations};

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
    let open =
        open_hours(&stage.zone, now, minute_of(&salon.opens)?.into(), minute_of(&salon.closes)?.into());
    for person in &salon.people {
        let id = hire(s, app, &person.name, &person.role).await?;
        people::set_qualifications(s, id, &person.qualifications).await?;
        hours::replace(s, id, &open).await?;
        stage.people.insert(person.name.clone(), id);
    }
    Ok(stage)
}

/// How long before loading the demo's services may have begun, and how long after it one that is started then
/// still needs hands, hours.
const SCENARIO_HOURS: (i64, i64) = (4, 10);

/// The same hours on every day of the week, but those of the day the demo is loaded (and of the next, past midnight),
/// which reach round what happens in it: a demo opened at 23:00 is a salon that works late on that weekday.
fn open_hours(zone: &Zone, now: OffsetDateTime, opens_min: i32, closes_min: i32) -> Vec<Hours> {
    const DAY_MIN: i32 = 24 * 60;
    let at = |hours: i64| zone.local(now + Duration::hours(hours));
    let (first, last) = (at(-SCENARIO_HOURS.0), at(SCENARIO_HOURS.1));
    let minute = |t: OffsetDateTime| i32::from(t.hour()) * 60 + i32::from(t.minute());
    let open = |weekday: i16| {
        let mut hours = Hours { weekday, opens_min, closes_min };
        let (begins, ends) = (number(first) == weekday, number(last) == weekday);
        if begins {
            hours.opens_min = opens_min.min(minute(first));
            hours.closes_min = if ends { closes_min } else { DAY_MIN };
        }
        if ends {
            hours.opens_min = if begins { hours.opens_min } else { 0 };
            hours.closes_min = hours.closes_min.max(minute(last));
        }
        hours
    };
    (1..=7).map(open).collect()
}

fn number(at: OffsetDateTime) -> i16 {
    i16::from(at.weekday().number_from_monday())
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

fn gtin(p: &Product) -> Laid<Option<String>> {
    let read = |x: &String| Gtin::read(x).map_err(|f| DemoFault::File(format!("{}: {}", p.code, f.words())));
    Ok(p.gtin.as_ref().map(read).transpose()?.map(|g| g.digits().to_string()))
}

/// Takes a lot in as somebody would who read every word of its label.
async fn receive(
    s: &mut Scoped,
    app: &App,
    product: &products::Product,
    received: &Received,
    lot: &super::files::Lot,
    by: PersonId,
) -> Laid<LotId> {
    let own = lot.contents.as_ref();
    let contents: Option<Vec<_>> =
        own.map(|rows| rows.iter().map(|c| (c.ingredient.clone(), c.percent)).collect());
    let place = salons::find(s).await?.map(|x| x.place).unwrap_or_default();
    let checks = flow_lots::checks(app, &place, product, contents.as_deref(), None);
    let seen = must_say(&checks).into_iter().map(str::to_string).collect();
    let told = Told { contents, ph: None, seen, apart: lot.apart.clone() };
    flow_lots::receive_lot(s, app, product, received, &told, by)
        .await
        .map_err(|e| DemoFault::Refused(format!("lot {}: {e:?}", received.code)))
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
                gtin: gtin(p)?,
                low_grams: p.low.unwrap_or(LOW_GRAMS),
                mixed_life_min: p.mixed_life,
                parts: Vec::new(),
            },
        )
        .await?;
        let by = named(&stage.people, "Ferris Vane")?;
        let product = products::find(s, id).await?.ok_or_else(|| DemoFault::File(p.code.clone()))?;
        if let Some(sheet) = &p.sheet {
            let times = Times {
                clock: sheet.clock.clone(),
                target_min: sheet.target,
                least_min: sheet.least,
                most_min: sheet.most,
                counts_from: sheet.from.clone(),
                hair: "any".into(),
            };
            products::set_times(s, id, &times, by).await?;
        }
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
            let lot_id = receive(s, stage.app, &product, &received, lot, by).await?;
            stage.lots.insert(lot.code.clone(), lot_id);
            stage.first_lots.entry(p.code.clone()).or_insert(lot_id);
        }
    }
    for p in shelf.iter().filter(|p| !p.mixed_with.is_empty()) {
        let parts = p.mixed_with.iter().map(|code| named(&stage.products, code)).collect::<Laid<Vec<_>>>()?;
        products::set_parts(s, named(&stage.products, &p.code)?, &parts).await?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::datetime;

    #[test]
    fn a_service_fits_into_the_hours_of_whatever_hour_the_demo_is_loaded_at() {
        let zone = Zone::find("Europe/Paris").expect("a zone");
        for hour in 0..(24 * 8) {
            let now = datetime!(2026-11-23 00:10 UTC) + Duration::hours(hour);
            let week = open_hours(&zone, now, 480, 1200);
            for minute in (-240..600).step_by(5) {
                let local = zone.local(now + Duration::minutes(minute));
                let min = i32::from(local.hour()) * 60 + i32::from(local.minute());
                let today = week.iter().find(|h| h.weekday == number(local)).expect("a day");
                assert!(today.opens_min <= min && min < today.closes_min, "{now} {minute} {today:?}");
            }
            let usual = week.iter().filter(|h| (h.opens_min, h.closes_min) == (480, 1200)).count();
            assert!(usual >= 5, "the other days keep the salon's hours");
        }
    }
}
