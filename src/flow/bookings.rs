//! Booking an opening, moving, cancelling, and what became of it.

use time::OffsetDateTime;

use super::messages;
use super::openings::{self, Barred, Found, Looked, Wish};
use crate::app::App;
use crate::calendar::Zone;
use crate::domain::call::Way;
use crate::domain::followup::Outcome;
use crate::domain::ids::{BookingId, PersonId};
use crate::domain::message::Kind;
use crate::store::bookings::{self, Booking, NewBooking};
use crate::store::followups::{self, NewFollowup};
use crate::store::{Scoped, StoreError, Stored, calls, client_links, messages as outbox, waiting};

/// An opening as it was shown and chosen.
pub struct Choice<'a> {
    pub wish: Wish,
    pub start: OffsetDateTime,
    /// [`Found::print`] of it.
    pub print: &'a str,
    pub by: PersonId,
    /// With a move: the version of the booking that is given up.
    pub moving_version: i32,
}

/// Why it was not booked.
#[derive(Debug)]
pub enum NotBooked {
    /// Somebody took hands or places of it meanwhile.
    Taken,
    /// The client has a booking at that time already.
    ClientBusy,
    /// The same service is booked already within a week of it, then.
    BookedAlready(OffsetDateTime),
    /// The booking to be moved is no longer there to move.
    Stale,
    Barred(Barred),
    NotFound,
    Store(StoreError),
}

impl From<StoreError> for NotBooked {
    fn from(e: StoreError) -> Self {
        match &e {
            // Hands by the exclusion, places by the trigger.
            StoreError::Refused { code, .. } if code == "23P01" || code == "RB007" => NotBooked::Taken,
            _ => NotBooked::Store(e),
        }
    }
}

impl NotBooked {
    /// Two transactions waited for each other and this one was ended: worth one more try.
    #[must_use]
    pub fn is_deadlock(&self) -> bool {
        matches!(self, NotBooked::Store(StoreError::Away(sqlx::Error::Database(d))) if d.code().as_deref() == Some("40P01"))
    }
}

/// Books an opening with its hands, its places and the patch-test visit before it, all or nothing; gives up the
/// booking it moves. The opening is looked for again first: shown a minute ago is not free now.
///
/// # Errors
/// [`NotBooked`]; nothing is to be committed then.
pub async fn book_opening(
    s: &mut Scoped,
    app: &App,
    zone: &Zone,
    valid_days: i64,
    choice: &Choice<'_>,
) -> Result<BookingId, NotBooked> {
    bookings::lock_calendar(s).await?;
    if let Some(id) = choice.wish.moving {
        give_up(s, id, choice).await?;
    }
    let found =
        match openings::find_openings(s, app, zone, valid_days, &choice.wish, Some(choice.start)).await? {
            Looked::Found(found) => found,
            Looked::Barred(why) => return Err(NotBooked::Barred(why)),
            Looked::NotFound => return Err(NotBooked::NotFound),
        };
    let offer =
        found.offers.iter().find(|offer| found.print(offer) == choice.print).ok_or(NotBooked::Taken)?;
    let (from, to) = found.span(offer);
    if !bookings::list_of_client(s, choice.wish.client, from, to).await?.is_empty() {
        return Err(NotBooked::ClientBusy);
    }
    // Nobody has one chemistry twice in a week: a second booking is the first one forgotten.
    let week = time::Duration::days(7);
    let near = bookings::list_of_client(s, choice.wish.client, from - week, to + week).await?;
    let same = |b: &&Booking| {
        b.state == "booked"
            && b.purpose == "service"
            && b.protocol.as_deref() == Some(choice.wish.protocol.as_str())
    };
    if let Some(other) = near.iter().find(same) {
        return Err(NotBooked::BookedAlready(other.from_at));
    }
    let hands: Vec<_> = found.parts(offer).into_iter().map(|p| (p.person, p.from, p.to)).collect();
    let id = bookings::insert(
        s,
        &NewBooking {
            client: choice.wish.client,
            purpose: "service",
            protocol: Some(&choice.wish.protocol),
            from,
            to,
            patch_for: None,
            made_by: choice.by,
            hands: &hands,
            places: &found.places(offer),
        },
    )
    .await?;
    book_patch_visit(s, &found, offer, choice, id).await?;
    let said = NewFollowup {
        client: choice.wish.client,
        by: choice.by,
        outcome: Outcome::Booked,
        way: Way::TheyCalled,
        next_step: None,
        next_on: None,
        note: "",
        booking: Some(id),
    };
    followups::insert(s, &said).await?;
    calls::end_of_client(s, choice.wish.client, choice.by).await?;
    waiting::end_of_client(s, choice.wish.client, &choice.wish.protocol, "booked", choice.by).await?;
    let with = longest(&found, offer);
    let about = messages::About { booking: id, from, with };
    let draft = messages::Draft {
        client: choice.wish.client,
        kind: Kind::Booked,
        about: Some(about),
        protocol: None,
        by: choice.by,
    };
    messages::write(s, &app.reference, zone, &draft).await?;
    tell(s, choice.wish.client.0);
    Ok(id)
}

/// Whoever has most minutes of an offer, by name.
fn longest(found: &Found, offer: &crate::domain::booking::service::Offer) -> String {
    let parts = found.parts(offer);
    let most = parts.iter().filter(|p| !p.second).max_by_key(|p| {
        let mine = parts.iter().filter(|q| q.person == p.person && !q.second);
        mine.map(|q| q.to - q.from).sum::<time::Duration>()
    });
    most.map_or_else(String::new, |p| p.name.clone())
}

async fn book_patch_visit(
    s: &mut Scoped,
    found: &Found,
    offer: &crate::domain::booking::service::Offer,
    choice: &Choice<'_>,
    service: BookingId,
) -> Result<(), NotBooked> {
    let Some(visit) = found.patch_visit(offer) else {
        return Ok(());
    };
    let new = NewBooking {
        client: choice.wish.client,
        purpose: "patch-test",
        protocol: Some(&choice.wish.protocol),
        from: visit.from,
        to: visit.to,
        patch_for: Some(service),
        made_by: choice.by,
        hands: &[(visit.person, visit.from, visit.to)],
        places: &[],
    };
    if !bookings::list_of_client(s, choice.wish.client, visit.from, visit.to).await?.is_empty() {
        return Err(NotBooked::ClientBusy);
    }
    bookings::insert(s, &new).await?;
    Ok(())
}

async fn give_up(s: &mut Scoped, id: BookingId, choice: &Choice<'_>) -> Result<(), NotBooked> {
    let old = bookings::find(s, id).await?.ok_or(NotBooked::NotFound)?;
    if old.client_id != choice.wish.client.0 || old.purpose != "service" {
        return Err(NotBooked::NotFound);
    }
    match cancel_booking(s, &old, choice.moving_version, "moved").await? {
        Changed::Done => Ok(()),
        Changed::Stale => Err(NotBooked::Stale),
    }
}

fn tell(s: &mut Scoped, client: i64) {
    s.changed("bookings");
    s.changed("day");
    s.changed("regrowth");
    s.changed(format!("client:{client}"));
}

/// How a change of a booking ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Changed {
    Done,
    /// Somebody changed it since the page was opened.
    Stale,
}

/// Cancels a booking, and with a service the patch-test visit still booked for it; hands and places are free again.
///
/// # Errors
/// Those of the store.
pub async fn cancel_booking(
    s: &mut Scoped,
    booking: &Booking,
    version: i32,
    reason: &str,
) -> Stored<Changed> {
    let id = BookingId(booking.booking_id);
    if !bookings::set_state(s, id, version, "cancelled", Some(reason)).await? {
        return Ok(Changed::Stale);
    }
    bookings::free(s, id).await?;
    client_links::revoke_of_booking(s, id).await?;
    outbox::stop_of_booking(s, id, mark!("the booking was given up")).await?;
    for visit in bookings::list_patch_visits(s, booking).await?.iter().filter(|v| v.state == "booked") {
        let visit_id = BookingId(visit.booking_id);
        if bookings::set_state(s, visit_id, visit.version, "cancelled", Some(reason)).await? {
            bookings::free(s, visit_id).await?;
        }
    }
    tell(s, booking.client_id);
    Ok(Changed::Done)
}

/// The client came, or did not: a missed booking gives hands and places free.
///
/// # Errors
/// Those of the store.
pub async fn close_booking(s: &mut Scoped, booking: &Booking, version: i32, came: bool) -> Stored<Changed> {
    let id = BookingId(booking.booking_id);
    let state = if came { "kept" } else { "missed" };
    if !bookings::set_state(s, id, version, state, None).await? {
        return Ok(Changed::Stale);
    }
    if !came {
        bookings::free(s, id).await?;
    }
    tell(s, booking.client_id);
    Ok(Changed::Done)
}
