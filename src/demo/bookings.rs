//! The demo's bookings.

use time::{Duration, OffsetDateTime};

use super::files::Booking;
use super::house::minute_of;
use super::{DemoFault, Laid, Stage, named};
use crate::domain::ids::BookingId;
use crate::store::bookings::NewBooking;
use crate::store::{Scoped, bookings};

/// Writes them in the order of the file.
pub async fn lay(s: &mut Scoped, stage: &Stage<'_>, all: &[Booking]) -> Laid<()> {
    let mut service = None;
    for booking in all {
        let id = lay_one(s, stage, booking, service.filter(|_| booking.for_service)).await?;
        if booking.purpose == "service" {
            service = Some(id);
        }
    }
    Ok(())
}

/// To the five minutes before, as people book.
fn five(at: OffsetDateTime) -> OffsetDateTime {
    let over = at.unix_timestamp().rem_euclid(300);
    at.replace_nanosecond(0).unwrap_or(at) - Duration::seconds(over)
}

async fn lay_one(
    s: &mut Scoped,
    stage: &Stage<'_>,
    b: &Booking,
    patch_for: Option<BookingId>,
) -> Laid<BookingId> {
    let from = match (b.in_min, b.day, &b.at) {
        (Some(min), None, None) => five(stage.now) + Duration::minutes(min),
        (None, Some(day), Some(at)) => stage.zone.instant(stage.day(day), minute_of(at)?),
        _ => return Err(DemoFault::File(format!("when is the booking of {}?", b.client))),
    };
    let at = |minutes: i64| from + Duration::minutes(minutes);
    let hands = b
        .hands
        .iter()
        .map(|h| Ok((named(&stage.people, &h.who)?, at(h.from), at(h.to))))
        .collect::<Laid<Vec<_>>>()?;
    let places: Vec<_> = b.places.iter().map(|p| (p.kind.clone(), at(p.from), at(p.to))).collect();
    let new = NewBooking {
        client: named(&stage.clients, &b.client)?,
        purpose: &b.purpose,
        protocol: Some(&b.protocol),
        from,
        to: at(b.minutes),
        patch_for,
        made_by: named(&stage.people, "Joss Ember")?,
        hands: &hands,
        places: &places,
    };
    let id = bookings::insert(s, &new).await?;
    if let Some(state) = &b.state {
        bookings::set_state(s, id, 1, state, None).await?;
    }
    Ok(id)
}
