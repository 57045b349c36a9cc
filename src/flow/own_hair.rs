//! What the calendar asks beside hours and bookings: the client's own hair, and the days the salon is closed.

use time::{Date, Duration};

use crate::calendar::Zone;
use crate::domain::booking::minutes::{Density, OwnHair};
use crate::domain::booking::{Span, ms_of};
use crate::domain::ids::ClientId;
use crate::domain::strand::Story;
use crate::reference::Reference;
use crate::store::days_off::ClosedDay;
use crate::store::{Scoped, Stored, clients, days_off, readings, strands};

use super::dues::CURL_UNTIL_NAMED;
use super::strands::sound;

/// How long and how dense a client's hair is, as far as it was told and felt.
///
/// # Errors
/// Those of the store.
pub async fn own_hair(
    s: &mut Scoped,
    reference: &Reference,
    client: ClientId,
    today: Date,
) -> Stored<OwnHair> {
    let length_mm = match (clients::find(s, client).await?, strands::find_beginning(s, client).await?) {
        (Some(record), Some((length_mm, on))) => {
            let mut events = strands::list_events(s, client).await?;
            events.retain(|e| e.on <= today && sound(&e.deed));
            events.sort_by_key(|e| (e.on, e.seq));
            let story = Story { length_mm, on, deeds: events.iter().map(|e| (e.on, e.deed)).collect() };
            // The published rate will do for minutes: what the salon has learned asks for a thousand heads.
            let curl = record.curl_group.as_deref().unwrap_or(CURL_UNTIL_NAMED);
            let start = reference.growth.find_start(curl).or(reference.growth.find_start(CURL_UNTIL_NAMED));
            start.map(|start| story.tell_what_fits(start.rate, today.max(on)).0.roughly_mm())
        }
        _ => None,
    };
    // The whole head, else the place felt last in the list's order.
    let felt = readings::latest_by_place(s, client).await?;
    let density = felt.iter().find_map(|r| Density::from_code(r.density.as_deref()?));
    Ok(OwnHair { length_mm, density })
}

/// What of a day the salon is closed for, as spans of instants.
#[must_use]
pub fn closed_in(zone: &Zone, day: &ClosedDay) -> Vec<Span> {
    let Some((from, to)) = day.open() else { return zone.day_span(day.on_day).into_iter().collect() };
    let at = |minute| ms_of(zone.instant(day.on_day, minute));
    let next = ms_of(zone.midnight(day.on_day + Duration::days(1)));
    [Span::new(at(0), at(from)), Span::new(at(to), next)].into_iter().flatten().collect()
}

/// When the salon is closed from a local day on, as spans of instants.
///
/// # Errors
/// Those of the store.
pub(in crate::flow) async fn closed_spans(
    s: &mut Scoped,
    zone: &Zone,
    (first, days): (Date, u32),
) -> Stored<Vec<Span>> {
    let last = first + Duration::days(i64::from(days));
    let closed = days_off::list_closed_days(s, first, last).await?;
    Ok(closed.iter().flat_map(|day| closed_in(zone, day)).collect())
}
