//! The waiting list: who waits, and whom a freed time fits.

use time::OffsetDateTime;

use super::openings::{self, Found, Looked, Wish};
use crate::app::App;
use crate::calendar::Zone;
use crate::domain::ids::{ClientId, PersonId, WaitingId};
use crate::store::waiting::{self as store, NewWaiting, Waiting};
use crate::store::{Scoped, Stored};

/// Most of those who wait that a freed time is tried for: the first of the list, whom waiting costs most.
const TRIED: usize = 40;
/// Most that are shown.
pub const SHOWN: usize = 6;

/// Somebody whom a freed time fits, with the opening in it.
#[derive(Debug)]
pub struct Fit {
    pub entry: Waiting,
    /// Its first offer is the one.
    pub found: Box<Found>,
}

/// Who of those who wait could begin in a stretch that came free: their own days and hours, hands, places, tests and
/// waits looked at as for any opening. Whom waiting costs most comes first.
///
/// # Errors
/// Those of the store.
pub async fn who_fits(
    s: &mut Scoped,
    app: &App,
    zone: &Zone,
    valid_days: i64,
    (from, to): (OffsetDateTime, OffsetDateTime),
) -> Stored<Vec<Fit>> {
    let day = zone.day_of(from);
    let waiting = store::list_open(s, day).await?;
    let mut fits = Vec::new();
    let could = |w: &Waiting| !w.no_contact && (w.from_on..=w.until_on).contains(&day);
    for entry in waiting.into_iter().filter(could).take(TRIED) {
        if fits.len() == SHOWN {
            break;
        }
        let wish = Wish {
            client: ClientId(entry.client_id),
            protocol: entry.protocol.clone(),
            wanted: from,
            days: 0,
            early: true,
            moving: None,
            arrives: Some(from),
            short: false,
            with: None,
        };
        let looked = openings::find_openings(s, app, zone, valid_days, &wish, None).await?;
        let Looked::Found(mut found) = looked else {
            continue;
        };
        let would = entry.would();
        let begins: Vec<bool> = found
            .offers
            .iter()
            .map(|offer| {
                let (start, _) = found.span(offer);
                let local = zone.local(start);
                let minute = u16::from(local.hour()) * 60 + u16::from(local.minute());
                start >= from && start < to && would.do_at(local.date(), minute)
            })
            .collect();
        let mut keep = begins.into_iter();
        found.offers.retain(|_| keep.next().unwrap_or(false));
        if !found.offers.is_empty() {
            fits.push(Fit { entry, found });
        }
    }
    Ok(fits)
}

fn tell(s: &mut Scoped) {
    s.changed("bookings");
    s.changed("waiting");
}

/// Somebody waits from now on.
///
/// # Errors
/// Those of the store.
pub async fn wait(s: &mut Scoped, new: &NewWaiting<'_>) -> Stored<WaitingId> {
    let id = store::insert(s, new).await?;
    tell(s);
    Ok(id)
}

/// A wish is taken off the list; false when it is not on it.
///
/// # Errors
/// Those of the store.
pub async fn take_off(s: &mut Scoped, id: WaitingId, by: PersonId) -> Stored<bool> {
    let done = store::take_off(s, id, by).await?;
    tell(s);
    Ok(done)
}
