//! What a client sees by the link of a message: openings to choose from, a booking to move or cancel, one act to stop
//! messages. No sign-in, no script; nothing else of the salon is reachable from here.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::Response;
use axum_extra::extract::{Form, Query};
use serde::Deserialize;
use time::OffsetDateTime;
use time::format_description::well_known::Rfc3339;

use crate::app::App;
use crate::calendar::Zone;
use crate::domain::ids::{BookingId, SalonId};
use crate::domain::message::Language;
use crate::flow::bookings::NotBooked;
use crate::flow::client_links::{self as flow, Cancelled, OpenLink, Shut, What};
use crate::flow::messages::day_in;
use crate::flow::openings::{Found, Looked};
use crate::secret::link::{self, Purpose, Token};
use crate::store::Scoped;
use crate::store::salons::{self, Salon};
use crate::web::assets::Assets;
use crate::web::client_words::{HomeSaid, Said, home_said, said};
use crate::web::page;
use crate::web::problem::{Answered, Problem};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::first_name;
use crate::web::typed;

/// The routes of this screen.
pub const LINES: &[Line] = lines![
    get "/c/{salon}/{token}" Open::All => show,
    post "/c/{salon}/{token}" Open::All => stop,
    post "/c/{salon}/{token}/booking" Open::All => book,
    post "/c/{salon}/{token}/cancellation" Open::All => cancel,
];

/// An opening as a client sees it.
struct Offered {
    when: String,
    /// The short visit before, with whom.
    words: Vec<String>,
    start: String,
    print: String,
}

#[derive(Template)]
#[template(path = "client_links/page.html")]
pub(super) struct LinkPage {
    assets: Assets,
    language: &'static str,
    salon: String,
    pub(super) phone: String,
    pub(super) said: &'static Said,
    pub(super) heading: String,
    pub(super) notes: Vec<String>,
    /// Path of this link.
    base: String,
    offers: Vec<Offered>,
    /// A day to look from may be asked for.
    may_look: bool,
    wanted: String,
    may_cancel: bool,
    may_stop: bool,
    /// The questions at home are offered.
    may_answer: bool,
    home: &'static HomeSaid,
}

pub(super) fn plain(salon: &Salon, language: Language, base: String) -> LinkPage {
    LinkPage {
        assets: Assets,
        language: language.code(),
        salon: salon.name.clone(),
        phone: String::new(),
        said: said(language),
        heading: String::new(),
        notes: Vec::new(),
        base,
        offers: Vec::new(),
        may_look: false,
        wanted: String::new(),
        may_cancel: false,
        may_stop: false,
        may_answer: false,
        home: home_said(language),
    }
}

/// Never kept, never told on: the address is the key.
pub(super) fn private(mut response: Response, status: StatusCode) -> Response {
    *response.status_mut() = status;
    let h = response.headers_mut();
    h.insert(header::REFERRER_POLICY, HeaderValue::from_static("no-referrer"));
    h.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    h.insert("x-robots-tag", HeaderValue::from_static("noindex, nofollow"));
    response
}

/// A link of a salon of ours, proved; open or shut.
pub(super) struct Opened {
    pub(super) s: Scoped,
    pub(super) salon: Salon,
    zone: Zone,
    pub(super) link: Result<OpenLink, Shut>,
    pub(super) base: String,
}

/// Opens the link of a path for an act, or says what is answered in its place: a link of another kind is not found, one
/// that is over says so.
pub(super) async fn open_for(
    app: &App,
    path: (&str, &str),
    opens: impl Fn(&OpenLink) -> bool,
) -> Result<(Opened, OpenLink), Answered> {
    let opened = open(app, path).await.map_err(Err)?;
    match opened.link.clone() {
        Ok(link) if opens(&link) => Ok((opened, link)),
        Ok(_) => Err(Err(Problem::NotFound)),
        Err(shut) => Err(opened.shut(shut).await),
    }
}

/// What a message was sent for, in contrast to its link that stops messages.
pub(super) fn is_open(link: &OpenLink) -> bool {
    link.purpose == Purpose::Open
}

/// Opens the link of a path.
async fn open(app: &App, (salon, token): (&str, &str)) -> Result<Opened, Problem> {
    let id: SalonId = salon.parse().map_err(|_| Problem::NotFound)?;
    let read: Token = link::read(token).ok_or(Problem::NotFound)?;
    let mut s = app.begin(id).await?;
    let row = salons::find(&mut s).await?.ok_or(Problem::NotFound)?;
    let zone = Zone::find(&row.zone).ok_or(Problem::Broken)?;
    let link = flow::open(&mut s, &read).await?;
    if matches!(link, Err(Shut::Unknown)) {
        return Err(Problem::NotFound);
    }
    Ok(Opened { s, salon: row, zone, link, base: format!("/c/{id}/{token}") })
}

impl Opened {
    /// The page of a link that opens nothing any more.
    pub(super) async fn shut(mut self, shut: Shut) -> Answered {
        let mut page = plain(&self.salon, Language::English, self.base.clone());
        page.phone = self.phone().await?;
        page.heading = page.said.shut.into();
        page.notes.push(match shut {
            Shut::Used => page.said.used.into(),
            Shut::Expired | Shut::Unknown => page.said.expired.into(),
        });
        Ok(private(page::html(&page), StatusCode::GONE))
    }

    pub(super) async fn phone(&mut self) -> Result<String, Problem> {
        Ok(crate::flow::messages::find_post(&mut self.s).await?.reply_phone)
    }
}

/// A day to look from.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    from: String,
}

/// What the link opens.
pub async fn show(
    State(app): State<App>,
    Path((salon, token)): Path<(String, String)>,
    Query(asked): Query<Asked>,
) -> Answered {
    let (mut opened, link) = match open_for(&app, (&salon, &token), |_| true).await {
        Ok(opened) => opened,
        Err(answer) => return answer,
    };
    if link.purpose == Purpose::Stop {
        let mut page = plain(&opened.salon, link.language, opened.base.clone());
        page.heading = page.said.stop_heading.into();
        page.phone = opened.phone().await?;
        page.may_stop = flow::is_written_to(&mut opened.s, link.client).await?;
        if !page.may_stop {
            page.notes.push(page.said.stopped.into());
        }
        opened.s.commit().await?;
        return Ok(private(page::html(&page), StatusCode::OK));
    }
    look(&app, opened, &link, &asked.from, None).await
}

/// Openings near the wanted day; `why` says what went wrong with the last choice.
async fn look(app: &App, mut o: Opened, link: &OpenLink, from: &str, why: Option<&str>) -> Answered {
    let mut page = plain(&o.salon, link.language, o.base.clone());
    page.phone = o.phone().await?;
    page.notes.extend(why.map(str::to_string));
    let Some((protocol, booking)) = flow::service_of(&mut o.s, link).await? else {
        return o.shut(Shut::Used).await;
    };
    let mut errors = crate::web::form::Errors::none();
    let day = typed::day(&mut errors, "from", from);
    if !errors.is_empty() {
        page.notes.push(page.said.bad_day.into());
    }
    let moving = booking.as_ref().map(|b| BookingId(b.booking_id));
    let wish = flow::wish_of(&mut o.s, &o.zone, link, &protocol, day, moving).await?;
    page.wanted = crate::calendar::iso_day(o.zone.day_of(wish.wanted));
    let valid = i64::from(o.salon.patch_valid_days);
    let looked = flow::find_openings(&mut o.s, (app, &o.zone, valid), &wish).await?;
    o.s.commit().await?;
    page.heading = match &booking {
        Some(b) => format!("{}: {}", page.said.booked, when(link.language, &o.zone, b.from_at)),
        None => page.said.choose.into(),
    };
    page.may_cancel = booking.is_some();
    page.may_look = true;
    page.may_answer = true;
    match looked {
        Looked::Found(found) => page.offers = offered(&found, &o.zone, link.language),
        Looked::Barred(_) | Looked::NotFound => page.may_look = false,
    }
    if page.offers.is_empty() {
        page.notes.push(page.said.none_free.into());
    } else if booking.is_some() {
        page.notes.push(page.said.or_move.into());
    }
    let status = if why.is_some() { StatusCode::CONFLICT } else { StatusCode::OK };
    Ok(private(page::html(&page), status))
}

fn when(language: Language, zone: &Zone, at: OffsetDateTime) -> String {
    format!("{}, {}", day_in(language, zone.day_of(at)), zone.clock(at))
}

fn offered(found: &Found, zone: &Zone, language: Language) -> Vec<Offered> {
    let said = said(language);
    let mut all: Vec<(OffsetDateTime, Offered)> = found
        .offers
        .iter()
        .map(|offer| {
            let (from, to) = found.span(offer);
            let mut words = vec![format!("{} {}", said.until, zone.clock(to))];
            let parts = found.parts(offer);
            if let Some(first) = parts.iter().find(|p| !p.second) {
                words.push(format!("{} {}", said.with, first_name(&first.name)));
            }
            if let Some(visit) = found.patch_visit(offer) {
                words.push(format!("{} {}", said.visit_before, when(language, zone, visit.from)));
            }
            let shown = Offered {
                when: when(language, zone, from),
                words,
                start: zone.rfc3339(from),
                print: found.print(offer),
            };
            (from, shown)
        })
        .collect();
    // Nearest first is how they were found; a client reads them by the calendar.
    all.sort_by_key(|(from, _)| *from);
    all.into_iter().map(|(_, shown)| shown).collect()
}

/// The choice as sent.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Chosen {
    start: String,
    print: String,
}

/// Books the opening chosen, or moves the booking to it.
pub async fn book(
    State(app): State<App>,
    Path((salon, token)): Path<(String, String)>,
    Form(f): Form<Chosen>,
) -> Answered {
    let (mut opened, link) = match open_for(&app, (&salon, &token), is_open).await {
        Ok(opened) => opened,
        Err(answer) => return answer,
    };
    let Ok(start) = OffsetDateTime::parse(&f.start, &Rfc3339) else {
        return Err(Problem::Bad(tr!("This is none of the times offered. Open your link again.").into()));
    };
    let (zone, valid) = (opened.zone.clone(), i64::from(opened.salon.patch_valid_days));
    let booked = flow::take_opening(&mut opened.s, (&app, &zone, valid), &link, start, &f.print).await;
    match booked {
        Ok(_) => {
            let mut page = plain(&opened.salon, link.language, opened.base.clone());
            page.phone = opened.phone().await?;
            page.heading = format!("{}: {}", page.said.booked, when(link.language, &opened.zone, start));
            page.notes.push(page.said.told.into());
            opened.s.commit().await?;
            Ok(private(page::html(&page), StatusCode::OK))
        }
        Err(NotBooked::Store(e)) => Err(e.into()),
        Err(_) => {
            // Nothing of the attempt is kept: the link is as open as before.
            drop(opened);
            let again = open(&app, (&salon, &token)).await?;
            let words = said(link.language).taken;
            match again.link.clone() {
                Ok(link) => look(&app, again, &link, "", Some(words)).await,
                Err(shut) => again.shut(shut).await,
            }
        }
    }
}

/// Cancels the booking of the link.
pub async fn cancel(State(app): State<App>, Path((salon, token)): Path<(String, String)>) -> Answered {
    let (mut opened, link) =
        match open_for(&app, (&salon, &token), |l| is_open(l) && matches!(l.what, What::Booking(_))).await {
            Ok(opened) => opened,
            Err(answer) => return answer,
        };
    let zone = opened.zone.clone();
    match flow::cancel(&mut opened.s, &app.reference, &zone, &link).await? {
        Cancelled::Gone => {
            drop(opened);
            open(&app, (&salon, &token)).await?.shut(Shut::Used).await
        }
        Cancelled::Done => {
            let mut page = plain(&opened.salon, link.language, opened.base.clone());
            page.phone = opened.phone().await?;
            page.heading = page.said.cancelled.into();
            page.notes.push(page.said.told.into());
            opened.s.commit().await?;
            Ok(private(page::html(&page), StatusCode::OK))
        }
    }
}

/// Stops messages. RFC 8058: the same request a mail program sends with one click, body `List-Unsubscribe=One-Click`, no
/// cookie, no redirect; the button of the page sends it too. Asked twice it answers the same.
pub async fn stop(State(app): State<App>, Path((salon, token)): Path<(String, String)>) -> Answered {
    let (mut opened, link) = match open_for(&app, (&salon, &token), |l| l.purpose == Purpose::Stop).await {
        Ok(opened) => opened,
        Err(answer) => return answer,
    };
    flow::stop_messages(&mut opened.s, &link).await?;
    let mut page = plain(&opened.salon, link.language, opened.base.clone());
    page.phone = opened.phone().await?;
    page.heading = page.said.stop_heading.into();
    page.notes.push(page.said.stopped.into());
    opened.s.commit().await?;
    Ok(private(page::html(&page), StatusCode::OK))
}
