//! The next free chair: when the first of each service that comes again could be given.

use time::Date;

use super::openings::{STEP_MIN, first_start_ms, read_calendar};
use crate::app::App;
use crate::calendar::{Zone, instant_of_ms};
use crate::domain::booking::service::{offers, service_of};
use crate::domain::booking::{Grid, Search, ms_of};
use crate::store::{Scoped, Stored};

/// How far ahead a free chair is looked for, days.
const LOOK_DAYS: u32 = 21;

/// For each service that comes again, the first local day from now on which its hands and places are free; a service
/// without one within three weeks is left out. No client is asked about: no test, no wait, no usual stylist.
///
/// # Errors
/// Those of the store.
pub async fn next_free_days(s: &mut Scoped, app: &App, zone: &Zone) -> Stored<Vec<(String, Date)>> {
    let now = s.now().await?;
    let today = zone.day_of(now);
    let calendar = read_calendar(s, app, zone, (today, LOOK_DAYS), None, None).await?;
    let until = zone.midnight(today + time::Duration::days(i64::from(LOOK_DAYS)));
    let mut days = Vec::new();
    for shipped in app.reference.protocols.iter().filter(|p| p.retouch.is_some()) {
        let Some(protocol) = super::protocols::in_force(s, app, &shipped.code).await? else { continue };
        let Ok(service) = service_of(&protocol) else { continue };
        let first_ms = first_start_ms(zone, now);
        let search = Search {
            grid: Grid { first_ms, until_ms: ms_of(until), step_ms: STEP_MIN * 60_000 },
            people: &calendar.workers,
            places: &calendar.places,
            chain: &service.chain,
            patch_test: None,
            not_before_ms: Some(first_ms),
            wanted_ms: first_ms,
            most: 1,
        };
        let first = offers(&search, &service).first().map(|offer| offer.opening.span.start_ms());
        if let Some(at) = first.and_then(instant_of_ms) {
            days.push((shipped.code.clone(), zone.day_of(at)));
        }
    }
    Ok(days)
}
