//! What a client does by a link: choose an opening, move or cancel a booking, ask for no more messages.

use time::{Date, Duration, OffsetDateTime};

use super::bookings::{self as desk, Changed, Choice, NotBooked};
use super::messages::{self, About, Draft, Wrote};
use super::openings::{self, Looked, Wish};
use crate::app::App;
use crate::calendar::Zone;
use crate::domain::ids::{BookingId, ClientId, LinkId, PersonId};
use crate::domain::message::{Channel, Kind, Language};
use crate::reference::Reference;
use crate::secret::link::{Purpose, Token};
use crate::store::client_links::{self, ClientLink};
use crate::store::messages as outbox;
use crate::store::{Scoped, Stored, bookings, clients, contact, dues};

/// How many days to either side of the wanted one a client sees.
const DAYS: u16 = 14;

/// Why a link opens nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shut {
    /// Not one of ours: nothing is said about what exists.
    Unknown,
    /// Its time is over.
    Expired,
    /// It has been used, or what it was for has changed.
    Used,
}

/// A link that was proved and is open.
#[derive(Clone, Debug)]
pub struct OpenLink {
    pub id: LinkId,
    pub client: ClientId,
    pub purpose: Purpose,
    pub what: What,
    /// In whose name what the client does is recorded: whoever sent the link.
    pub made_by: PersonId,
    pub language: Language,
}

/// What it opens.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum What {
    Openings { protocol: String },
    Booking(BookingId),
}

/// Proves a token and opens its link, locked until the transaction ends. A token that stops messages works however old
/// the link is: RFC 8058 asks for it.
///
/// # Errors
/// Those of the store.
pub async fn open(s: &mut Scoped, token: &Token) -> Stored<Result<OpenLink, Shut>> {
    let Some(link) = client_links::find_locked(s, LinkId(token.link)).await? else {
        return Ok(Err(Shut::Unknown));
    };
    let post = messages::find_post(s).await?;
    if !token.holds(&post.link_key, s.salon.0, link.expires_at.unix_timestamp()) {
        return Ok(Err(Shut::Unknown));
    }
    let now = s.now().await?;
    Ok(opened(&link, token.purpose, now))
}

fn opened(link: &ClientLink, purpose: Purpose, now: OffsetDateTime) -> Result<OpenLink, Shut> {
    if purpose == Purpose::Open {
        if link.used_at.is_some() || link.revoked_at.is_some() {
            return Err(Shut::Used);
        }
        if link.expires_at <= now {
            return Err(Shut::Expired);
        }
    }
    let what = match (link.booking_id, &link.protocol) {
        (Some(id), _) => What::Booking(BookingId(id)),
        (None, Some(protocol)) => What::Openings { protocol: protocol.clone() },
        (None, None) => return Err(Shut::Unknown),
    };
    Ok(OpenLink {
        id: LinkId(link.link_id),
        client: ClientId(link.client_id),
        purpose,
        what,
        made_by: PersonId(link.made_by),
        language: link.language.as_deref().and_then(Language::from_code).unwrap_or(Language::English),
    })
}

/// A client's wish: the service, near the middle of the due window or from a day of the client's own.
///
/// # Errors
/// Those of the store.
pub async fn wish_of(
    s: &mut Scoped,
    zone: &Zone,
    link: &OpenLink,
    protocol: &str,
    from: Option<Date>,
    moving: Option<BookingId>,
) -> Stored<Wish> {
    let today = zone.day_of(s.now().await?);
    let due = dues::find(s, link.client).await?.filter(|d| d.protocol == protocol);
    let last = today + Duration::days(openings::AHEAD_DAYS);
    let day = from.unwrap_or_else(|| due.map_or(today, |d| d.middle_on)).clamp(today, last);
    Ok(Wish {
        client: link.client,
        protocol: protocol.to_string(),
        wanted: zone.instant(day, 10 * 60),
        days: DAYS,
        early: false,
        moving,
        arrives: None,
        short: false,
        with: None,
    })
}

/// The service a link is about: its own, or its booking's; none when the booking is no longer there to move, or when a
/// service is booked already.
///
/// # Errors
/// Those of the store.
pub async fn service_of(
    s: &mut Scoped,
    link: &OpenLink,
) -> Stored<Option<(String, Option<bookings::Booking>)>> {
    match &link.what {
        // Whoever booked by telephone meanwhile does not book a second visit by an old message.
        What::Openings { protocol } => {
            let now = s.now().await?;
            let ahead = now + Duration::days(openings::AHEAD_DAYS);
            let booked = bookings::list_of_client(s, link.client, now, ahead).await?;
            let again = booked.iter().any(|b| b.purpose == "service" && b.state == "booked");
            Ok((!again).then(|| (protocol.clone(), None)))
        }
        What::Booking(id) => {
            let now = s.now().await?;
            let booking = bookings::find(s, *id).await?;
            let booking =
                booking.filter(|b| b.state == "booked" && b.client_id == link.client.0 && b.from_at > now);
            Ok(booking.and_then(|b| Some((b.protocol.clone()?, Some(b)))))
        }
    }
}

/// Books the opening a client chose; with a booking's link the booking is moved. The link is used up, and a fresh one
/// for the new booking is written to the client.
///
/// # Errors
/// [`NotBooked`]; nothing is to be committed then.
pub async fn take_opening(
    s: &mut Scoped,
    (app, zone, valid_days): (&App, &Zone, i64),
    link: &OpenLink,
    start: OffsetDateTime,
    print: &str,
) -> Result<BookingId, NotBooked> {
    let Some((protocol, old)) = service_of(s, link).await? else { return Err(NotBooked::Stale) };
    let moving = old.as_ref().map(|b| BookingId(b.booking_id));
    let wish = wish_of(s, zone, link, &protocol, Some(zone.day_of(start)), moving).await?;
    client_links::use_up(s, link.id).await?;
    let choice = Choice {
        wish,
        start,
        print,
        by: link.made_by,
        moving_version: old.as_ref().map_or(0, |b| b.version),
    };
    desk::book_opening(s, app, zone, valid_days, &choice).await
}

/// How a cancellation by a client ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cancelled {
    Done,
    /// It was no longer there to cancel.
    Gone,
}

/// Cancels the booking of a link; the client gets a link to openings in its place.
///
/// # Errors
/// Those of the store.
pub async fn cancel(
    s: &mut Scoped,
    reference: &Reference,
    zone: &Zone,
    link: &OpenLink,
) -> Stored<Cancelled> {
    let Some((protocol, Some(booking))) = service_of(s, link).await? else { return Ok(Cancelled::Gone) };
    client_links::use_up(s, link.id).await?;
    if desk::cancel_booking(s, &booking, booking.version, mark!("cancelled by the client")).await?
        == Changed::Stale
    {
        return Ok(Cancelled::Gone);
    }
    tell_cancelled(s, reference, zone, &booking, &protocol, link.made_by).await?;
    Ok(Cancelled::Done)
}

/// Writes that a booking was cancelled, with a link to openings.
///
/// # Errors
/// Those of the store.
pub async fn tell_cancelled(
    s: &mut Scoped,
    reference: &Reference,
    zone: &Zone,
    booking: &bookings::Booking,
    protocol: &str,
    by: PersonId,
) -> Stored<Wrote> {
    let about = About { booking: BookingId(booking.booking_id), from: booking.from_at, with: String::new() };
    let draft = Draft {
        client: ClientId(booking.client_id),
        kind: Kind::Cancelled,
        about: Some(about),
        protocol: Some(protocol),
        by,
    };
    messages::write(s, reference, zone, &draft).await
}

/// Openings as a client sees them.
///
/// # Errors
/// Those of the store.
pub async fn find_openings(
    s: &mut Scoped,
    (app, zone, valid_days): (&App, &Zone, i64),
    wish: &Wish,
) -> Stored<Looked> {
    openings::find_openings(s, app, zone, valid_days, wish, None).await
}

/// Stops messages to the client by the channel the link went by, and to the address it went to, whatever address is kept
/// now. A link without a message is none that was sent.
///
/// # Errors
/// Those of the store.
pub async fn stop_messages(s: &mut Scoped, link: &OpenLink) -> Stored<()> {
    let Some((channel, address)) = outbox::find_way_of_link(s, link.id).await? else { return Ok(()) };
    let channel = Channel::from_code(&channel).unwrap_or(Channel::Email);
    messages::stop_by_client(s, link.client, channel, &address).await
}

/// Whether messages to this client by email still go.
///
/// # Errors
/// Those of the store.
pub async fn is_written_to(s: &mut Scoped, client: ClientId) -> Stored<bool> {
    let reach = contact::list_reach(s, client).await?;
    Ok(messages::channel_of(&reach).is_ok() && clients::find(s, client).await?.is_some())
}
