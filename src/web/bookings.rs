//! Bookings: made from an opening, looked at, moved, cancelled, kept or missed.

use askama::Template;
use axum::extract::Path;
use axum::http::StatusCode;
use axum::response::Response;
use axum_extra::extract::Form;
use serde::Deserialize;
use time::OffsetDateTime;
use time::format_description::well_known::Rfc3339;

use crate::calendar::{Zone, iso_day};
use crate::domain::access::Act;
use crate::domain::ids::{BookingId, PersonId};
use crate::flow::bookings::{self as flow, Changed, Choice, NotBooked};
use crate::flow::client_links;
use crate::flow::openings::Wish;
use crate::flow::services::Services;
use crate::flow::waiting;
use crate::store::Scoped;
use crate::store::bookings::{self, Booking, Held};
use crate::web::clients::zone;
use crate::web::form::{Errors, Reason};
use crate::web::offers::{Shown, draw_track, shown, start_words};
use crate::web::openings::{self as screen, Asked, read_wish};
use crate::web::picture::track::Track;
use crate::web::problem::{Answered, Problem};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::shell::Shell;
use crate::web::{once, page, typed};

/// The routes of these screens.
pub const LINES: &[Line] = lines![
    post "/bookings" Open::To(Act::Book) => book,
    get "/bookings/{id}" Open::To(Act::Book) => view,
    post "/bookings/{id}/cancellation" Open::To(Act::Book) => cancel,
    post "/bookings/{id}/outcome" Open::To(Act::Book) => close,
];

/// An opening chosen: the wish it was found by, and the opening itself.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Chosen {
    once: String,
    client: String,
    protocol: String,
    wanted: String,
    at: String,
    days: String,
    early: String,
    #[serde(rename = "move")]
    moving: String,
    arrives: String,
    short: String,
    with: String,
    version: String,
    start: String,
    print: String,
}

impl Chosen {
    fn asked(&self) -> Asked {
        Asked {
            client: self.client.clone(),
            protocol: self.protocol.clone(),
            wanted: self.wanted.clone(),
            at: self.at.clone(),
            days: self.days.clone(),
            early: self.early.clone(),
            moving: self.moving.clone(),
            arrives: self.arrives.clone(),
            short: self.short.clone(),
            with: self.with.clone(),
            name: String::new(),
        }
    }
}

/// Longest list of hands an opening is named by, bytes.
const PRINT_MOST: usize = 4000;

/// Books, or moves: one transaction, tried once more when two waited for each other.
pub async fn book(seat: Seat, Form(f): Form<Chosen>) -> Answered {
    let by = seat.require(Act::Book)?.id;
    let zone = zone(&seat)?;
    let start =
        OffsetDateTime::parse(f.start.trim(), &Rfc3339).ok().filter(|at| (2000..2300).contains(&at.year()));
    let (Some(start), true) = (start, f.print.len() <= PRINT_MOST) else {
        return Err(Problem::Bad(tr!("This opening cannot be read: look for openings again.").into()));
    };
    for last_try in [false, true] {
        let mut s = seat.begin().await?;
        if let Some(again) = once::claim(&mut s, &f.once, "/bookings").await? {
            return Ok(again);
        }
        let now = s.now().await?;
        let mut errors = Errors::none();
        let asked = f.asked();
        let services = Services::load(&mut s, &seat.app.reference).await?;
        let Some(wish) = read_wish(&asked, &services, &zone, now, &mut errors) else {
            drop(s);
            let reason =
                Reason::plain(tr!("The wish behind this opening is not whole: look for openings again."));
            return screen::not_booked(
                &seat,
                asked,
                tr!("Not booked"),
                reason,
                StatusCode::UNPROCESSABLE_ENTITY,
            )
            .await;
        };
        let tried = try_booking(&mut s, &seat, &zone, wish, start, &f, by).await;
        match tried {
            Ok(id) => {
                let answer = once::settle(&mut s, &f.once, &format!("/bookings/{id}")).await?;
                s.commit().await?;
                return Ok(answer);
            }
            Err(why) if why.is_deadlock() && !last_try => drop(s),
            Err(why) => {
                drop(s);
                return refuse(&seat, &zone, f.asked(), start, why).await;
            }
        }
    }
    Err(Problem::Away)
}

async fn try_booking(
    s: &mut Scoped,
    seat: &Seat,
    zone: &Zone,
    wish: Wish,
    start: OffsetDateTime,
    f: &Chosen,
    by: PersonId,
) -> Result<BookingId, NotBooked> {
    let choice =
        Choice { wish, start, print: &f.print, by, moving_version: f.version.parse().unwrap_or_default() };
    let valid = i64::from(seat.salon_row.patch_valid_days);
    flow::book_opening(s, &seat.app, zone, valid, &choice).await
}

async fn refuse(seat: &Seat, zone: &Zone, asked: Asked, start: OffsetDateTime, why: NotBooked) -> Answered {
    let when = start_words(zone, start);
    let (heading, words, status) = match why {
        NotBooked::Taken => (
            tr!("Taken meanwhile"),
            tr!(
                "{when} was taken meanwhile: its hands or places are no longer free. These are.",
                when = when
            ),
            StatusCode::CONFLICT,
        ),
        NotBooked::ClientBusy => (
            tr!("Not booked"),
            tr!(
                "At {when} this client has a booking already, for the service or its patch test.",
                when = when
            ),
            StatusCode::CONFLICT,
        ),
        NotBooked::BookedAlready(at) => (
            tr!("Not booked"),
            tr!(
                "This client has the same service booked already, {}: move that booking, or cancel it first.",
                start_words(zone, at)
            ),
            StatusCode::CONFLICT,
        ),
        NotBooked::Stale => {
            let look = format!("/bookings/{}", asked.moving);
            return Err(Problem::Stale {
                what: tr!("The booking to be moved was changed meanwhile.").into(),
                look,
            });
        }
        // The screen itself says what stands against it.
        NotBooked::Barred(_) => (
            tr!("Not booked"),
            tr!("Something stands against this service since the opening was shown.").into(),
            StatusCode::CONFLICT,
        ),
        NotBooked::NotFound => return Err(Problem::NotFound),
        NotBooked::Store(e) => return Err(e.into()),
    };
    screen::not_booked(seat, asked, heading, Reason::plain(words), status).await
}

struct HandsLine {
    when: String,
    who: String,
}

#[derive(Template)]
#[template(path = "bookings/view.html")]
struct ViewPage {
    shell: Shell,
    errors: Errors,
    once_key: String,
    once_outcome: String,
    booking: Booking,
    title: String,
    when: String,
    until: String,
    made: String,
    state: &'static str,
    open: bool,
    /// It has begun: it can be kept or missed.
    begun: bool,
    patch: String,
    patch_href: String,
    track: Option<Track>,
    hands: Vec<HandsLine>,
    move_href: String,
    /// Today and still booked: a client may come late.
    today: String,
    arrives: String,
    reason: String,
    /// Who waits for such a time, once it is free.
    fits: Vec<FitLine>,
}

/// Somebody on the waiting list whom a freed time fits.
struct FitLine {
    client: String,
    href: String,
    title: String,
    note: String,
    asked: Asked,
    shown: Shown,
}

fn state_words(state: &str) -> &'static str {
    match state {
        "booked" => tr!("booked"),
        "kept" => tr!("kept"),
        "missed" => tr!("missed"),
        _ => tr!("cancelled"),
    }
}

fn title(services: &Services, booking: &Booking) -> String {
    let service = booking.protocol.as_deref().map_or("", |code| services.title(code));
    if booking.purpose == "patch-test" {
        tr!("Patch test for {service}", service = service)
    } else {
        service.to_string()
    }
}

/// Hands and stays of one booking as a track. A second pair is one that overlaps hands already drawn.
fn track_of(zone: &Zone, booking: &Booking, hands: &[Held], places: &[Held]) -> Track {
    let mut drawn: Vec<(String, OffsetDateTime, OffsetDateTime, bool)> = Vec::new();
    for held in hands {
        let second = drawn.iter().any(|(_, a, b, _)| held.from_at < *b && *a < held.to_at);
        drawn.push((held.what.clone(), held.from_at, held.to_at, second));
    }
    let places: Vec<_> = places.iter().map(|p| (p.what.clone(), p.from_at, p.to_at)).collect();
    draw_track(zone, (booking.from_at, booking.to_at), &drawn, &places)
}

async fn view_page(seat: &Seat, id: BookingId, errors: Errors, reason: String) -> Result<ViewPage, Problem> {
    let zone = zone(seat)?;
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let booking = bookings::find(&mut s, id).await?.ok_or(Problem::NotFound)?;
    let hands = bookings::list_hands(&mut s, &[id.0]).await?;
    let places = bookings::list_places(&mut s, &[id.0]).await?;
    let visits = bookings::list_patch_visits(&mut s, &booking).await?;
    let services = Services::load(&mut s, &seat.app.reference).await?;
    let freed = booking.state == "cancelled" && booking.purpose == "service" && booking.from_at > now;
    let fits = if freed {
        let gap = (booking.from_at, booking.to_at);
        let valid = i64::from(seat.salon_row.patch_valid_days);
        waiting::who_fits(&mut s, &seat.app, &zone, valid, gap).await?
    } else {
        Vec::new()
    };
    s.commit().await?;
    let today = zone.day_of(now);
    let is_today = booking.purpose == "service" && zone.day_of(booking.from_at) == today;
    let visit = visits.iter().find(|v| v.state != "cancelled");
    let at = |at: OffsetDateTime| format!("{}, {}", zone.day_words(at), zone.clock(at));
    let (patch, patch_href) = match (visit, booking.patch_for) {
        (Some(visit), _) => (
            tr!("Patch test {} ({})", at(visit.from_at), state_words(&visit.state)),
            format!("/bookings/{}", visit.booking_id),
        ),
        (None, Some(service)) => (tr!("To the service it is for").into(), format!("/bookings/{service}")),
        (None, None) => (String::new(), String::new()),
    };
    Ok(ViewPage {
        shell: seat.shell(now, "/day", &["bookings"]),
        errors,
        once_key: once::key(),
        once_outcome: once::key(),
        title: title(&services, &booking),
        when: at(booking.from_at),
        until: zone.clock(booking.to_at),
        made: tr!("{} by {}", at(booking.made_at), booking.made_by_name),
        state: state_words(&booking.state),
        open: booking.state == "booked",
        begun: booking.from_at <= now,
        patch,
        patch_href,
        track: (booking.purpose == "service").then(|| track_of(&zone, &booking, &hands, &places)),
        hands: hands
            .iter()
            .map(|h| HandsLine {
                when: tr!("{} to {}", zone.clock(h.from_at), zone.clock(h.to_at)),
                who: h.what.clone(),
            })
            .collect(),
        move_href: format!(
            "/openings?client={}&protocol={}&move={id}",
            booking.client_id,
            page::query_value(booking.protocol.as_deref().unwrap_or_default())
        ),
        arrives: zone.clock(now.max(booking.from_at)),
        today: if is_today { iso_day(today) } else { String::new() },
        fits: fits.iter().filter_map(|fit| fit_line(&services, &zone, fit)).collect(),
        booking,
        reason,
    })
}

fn fit_line(services: &Services, zone: &Zone, fit: &waiting::Fit) -> Option<FitLine> {
    let offer = fit.found.offers.first()?;
    let (from, _) = fit.found.span(offer);
    let code = &fit.entry.protocol;
    Some(FitLine {
        client: fit.entry.client_name.clone(),
        href: format!("/clients/{}/followups", fit.entry.client_id),
        title: services.title(code).to_string(),
        note: fit.entry.note.clone(),
        asked: Asked {
            client: fit.entry.client_id.to_string(),
            protocol: code.clone(),
            wanted: iso_day(zone.day_of(from)),
            at: zone.clock(from),
            days: "0".into(),
            early: "yes".into(),
            ..Asked::default()
        },
        shown: shown(&fit.found, offer, zone),
    })
}

fn booking_id(raw: &str) -> Result<BookingId, Problem> {
    raw.parse().map_err(|_| Problem::NotFound)
}

/// One booking.
pub async fn view(seat: Seat, Path(id): Path<String>) -> Answered {
    seat.require(Act::Book)?;
    Ok(page::html(&view_page(&seat, booking_id(&id)?, Errors::none(), String::new()).await?))
}

/// The cancelling form as typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Cancelling {
    once: String,
    version: String,
    reason: String,
}

fn stale(id: BookingId) -> Problem {
    Problem::Stale {
        what: tr!("This booking was changed since its page was opened.").into(),
        look: format!("/bookings/{id}"),
    }
}

/// Cancels with a reason.
pub async fn cancel(seat: Seat, Path(id): Path<String>, Form(f): Form<Cancelling>) -> Answered {
    let by = seat.require(Act::Book)?.id;
    let zone = zone(&seat)?;
    let id = booking_id(&id)?;
    let mut errors = Errors::none();
    let reason = typed::needed(&mut errors, "reason", &f.reason, 300, tr!("Write why, in a few words."));
    if !errors.is_empty() {
        return Ok(page::refused(&view_page(&seat, id, errors, f.reason).await?));
    }
    let mut s = seat.begin().await?;
    let booking = bookings::find(&mut s, id).await?.ok_or(Problem::NotFound)?;
    if let Some(again) = once::claim(&mut s, &f.once, &format!("/bookings/{id}/cancellation")).await? {
        return Ok(again);
    }
    bookings::lock_calendar(&mut s).await?;
    let changed =
        flow::cancel_booking(&mut s, &booking, f.version.parse().unwrap_or_default(), &reason).await?;
    let coming = booking.purpose == "service" && booking.from_at > s.now().await?;
    if let (Changed::Done, true, Some(protocol)) = (&changed, coming, &booking.protocol) {
        // Only to who agreed to be written to; the act stands whether or not.
        client_links::tell_cancelled(&mut s, &seat.app.reference, &zone, &booking, protocol, by).await?;
    }
    finish(s, &f.once, id, changed).await
}

/// The outcome as chosen.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Ended {
    once: String,
    version: String,
    outcome: String,
}

/// The client came, or did not.
pub async fn close(seat: Seat, Path(id): Path<String>, Form(f): Form<Ended>) -> Answered {
    seat.require(Act::Book)?;
    let id = booking_id(&id)?;
    let came = match f.outcome.as_str() {
        "kept" => true,
        "missed" => false,
        _ => return Err(Problem::Bad(tr!("A booking is kept or missed.").into())),
    };
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let booking = bookings::find(&mut s, id).await?.ok_or(Problem::NotFound)?;
    if let Some(again) = once::claim(&mut s, &f.once, &format!("/bookings/{id}/outcome")).await? {
        return Ok(again);
    }
    if booking.from_at > now {
        drop(s);
        let mut errors = Errors::none();
        errors.note("outcome", tr!("This booking is still to come: it can be moved or cancelled."));
        return Ok(page::refused(&view_page(&seat, id, errors, String::new()).await?));
    }
    let changed = flow::close_booking(&mut s, &booking, f.version.parse().unwrap_or_default(), came).await?;
    finish(s, &f.once, id, changed).await
}

async fn finish(mut s: Scoped, once_key: &str, id: BookingId, changed: Changed) -> Result<Response, Problem> {
    if changed == Changed::Stale {
        return Err(stale(id));
    }
    let answer = once::settle(&mut s, once_key, &format!("/bookings/{id}")).await?;
    s.commit().await?;
    Ok(answer)
}
