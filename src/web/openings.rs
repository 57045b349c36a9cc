//! Openings: a service, a client, a wish; the best starts in words and as a track.

use askama::Template;
use axum::http::StatusCode;
use axum::response::Response;
use axum_extra::extract::Query;
use serde::Deserialize;
use time::{Duration, OffsetDateTime};

use crate::calendar::{Zone, iso_day};
use crate::domain::access::{Act, Role};
use crate::domain::booking::minutes::{OwnHair, planned, shortened};
use crate::domain::ids::{BookingId, ClientId};
use crate::domain::protocol::Step;
use crate::flow::openings::{self as flow, Barred, Floor, Found, Looked, SkinTest, Wish};
use crate::flow::protocols as protocols_of_salon;
use crate::flow::services::Services;
use crate::store::clients::{self, Client};
use crate::store::people::{self, Person};
use crate::store::{bookings, dues};
use crate::web::clients::{Booked, booked, find, zone};
use crate::web::form::{Choice, Errors, Reason};
use crate::web::offers::{Shown, loose_ends, shown};
use crate::web::problem::{Answered, Problem};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::shell::Shell;
use crate::web::team::WEEKDAYS;
use crate::web::{once, page, typed};

/// The routes of this screen.
pub const LINES: &[Line] = lines![
    get "/openings" Open::To(Act::Book) => form,
];

/// The wish as typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    pub client: String,
    pub protocol: String,
    pub wanted: String,
    pub at: String,
    pub days: String,
    pub early: String,
    #[serde(rename = "move")]
    pub moving: String,
    /// Time of the day at which a client who is late will be here.
    pub arrives: String,
    /// "yes": what may be shortened takes its fewest minutes.
    pub short: String,
    /// Whose hands open the hair: a person's number, empty for whoever may.
    pub with: String,
    /// Beginning of a client's name, while none is chosen.
    pub name: String,
}

/// Days to either side of the wanted one, when nothing was typed.
const DAYS: u16 = 14;
/// The hour wanted, when nothing was typed.
const AT: &str = "10:00";

#[derive(Template)]
#[template(path = "openings/page.html")]
struct OpeningsPage {
    shell: Shell,
    errors: Errors,
    answer: String,
    notes: Vec<String>,
    reasons_heading: &'static str,
    reasons: Vec<Reason>,
    client_name: String,
    /// Clients to choose from: where, name.
    clients: Vec<(String, String)>,
    asked: Asked,
    version: i32,
    /// The booking that is moved, in words.
    moved: String,
    /// What the client has booked already.
    booked: Vec<Booked>,
    with: Vec<Choice>,
    protocols: Vec<Choice>,
    early: Vec<Choice>,
    offers: Vec<Shown>,
    /// A search was made.
    looked: bool,
    /// The same with shorter steps, where that may be asked for.
    shorter: String,
    /// The form that puts the client on the waiting list; empty: not to be offered.
    waiting_once: String,
    weekdays: Vec<Choice>,
}

/// Reads the wish; a wanted day before today becomes today.
pub fn read_wish(
    asked: &Asked,
    services: &Services,
    zone: &Zone,
    now: OffsetDateTime,
    errors: &mut Errors,
) -> Option<Wish> {
    let client: ClientId = asked.client.parse().ok()?;
    let today = zone.day_of(now);
    let day = typed::day(errors, "wanted", &asked.wanted).unwrap_or(today);
    if (day - today).whole_days() > flow::AHEAD_DAYS {
        errors.note("wanted", tr!("Write a day within the next {} days.", flow::AHEAD_DAYS));
    }
    let at = if asked.at.trim().is_empty() { AT } else { asked.at.as_str() };
    let minute = typed::minute(errors, "at", at);
    let days = typed::number(errors, "days", &asked.days, (0.0, 60.0), tr!("how many days to either side"))
        .map_or(DAYS, |n| n as u16);
    if !services.has(&asked.protocol) && !asked.protocol.is_empty() {
        errors.note("protocol", tr!("Choose a service from the list."));
    }
    let moving = match asked.moving.as_str() {
        "" => None,
        id => Some(id.parse::<BookingId>().ok()?),
    };
    let arrives = match asked.arrives.trim() {
        "" => None,
        raw => Some(zone.instant(day.max(today), typed::minute(errors, "arrives", raw))),
    };
    (errors.is_empty() && !asked.protocol.is_empty()).then(|| Wish {
        client,
        protocol: asked.protocol.clone(),
        wanted: zone.instant(day.max(today), minute),
        days,
        early: asked.early == "yes",
        moving,
        arrives,
        short: asked.short == "yes",
        with: asked.with.parse().ok(),
    })
}

/// Openings of a client, or the form alone while the wish is not whole.
pub async fn form(seat: Seat, Query(asked): Query<Asked>) -> Answered {
    seat.require(Act::Book)?;
    let (page, whole) = openings_page(&seat, asked, None).await?;
    Ok(if whole { page::html(&page) } else { page::refused(&page) })
}

/// The screen again, after an opening could not be booked: why, and what is free now.
pub async fn not_booked(
    seat: &Seat,
    asked: Asked,
    heading: &'static str,
    reason: Reason,
    status: StatusCode,
) -> Answered {
    let (page, _) = openings_page(seat, asked, Some((heading, reason))).await?;
    let mut response: Response = page::html(&page);
    *response.status_mut() = status;
    Ok(response)
}

fn barred_reason(why: Barred, seat: &Seat, client: ClientId) -> Reason {
    match (why, seat.may(Act::SeeHealth)) {
        (Barred::NotOffered, _) => {
            Reason::plain(tr!("This salon offers this service no more: choose another from the list."))
        }
        (Barred::PlanRefused, true) => Reason::with_way(
            tr!("The newest plan for this head was refused."),
            tr!("See the plan"),
            format!("/clients/{client}/plan"),
        ),
        (Barred::SkinReacted, true) => Reason::with_way(
            tr!("The skin reacted to a product of this service."),
            tr!("See the tests"),
            format!("/clients/{client}/tests"),
        ),
        (_, false) => Reason::plain(tr!("A stylist looks at this client's record first.")),
    }
}

fn floor_words(found: &Found, zone: &Zone) -> Option<String> {
    let (at, why) = found.not_before?;
    let day = zone.day_words(at);
    Some(match why {
        Floor::Window => {
            tr!("Not before {day}: the due window opens then, unless asked for earlier.", day = day)
        }
        Floor::Wait => tr!("Not before {day}: until then the hair waits.", day = day),
        Floor::PatchTest => {
            tr!("Not before {day}, {}: the patch test stays on until then.", zone.clock(at), day = day)
        }
    })
}

fn skin_words(skin: SkinTest) -> Option<&'static str> {
    match skin {
        SkinTest::Visit => {
            Some(tr!("With each opening stands a visit for the patch test, 48 hours or more before."))
        }
        SkinTest::Unread { .. } => Some(tr!("The patch test is placed and has to be read before.")),
        _ => None,
    }
}

/// Services to choose from, by title; what is offered no more is not among them.
fn protocols(services: &Services, chosen: &str) -> Vec<Choice> {
    let mut list = Choice::list(services.offered(), &[chosen]);
    if !services.is_offered(chosen) {
        list.insert(0, Choice { code: String::new(), words: tr!("choose a service").into(), chosen: true });
    }
    list
}

/// Who may be asked for: whoever opens hair, the usual person first and said so.
fn with_choices(team: &[Person], client: Option<&Client>, chosen: &str) -> Vec<Choice> {
    let usual = client.and_then(|c| c.usual_person_id);
    let mut openers: Vec<&Person> =
        team.iter().filter(|p| !p.left && matches!(p.role, Role::Manager | Role::Stylist)).collect();
    openers.sort_by_key(|p| Some(p.id.0) != usual);
    let words = |p: &Person| match Some(p.id.0) == usual {
        true => tr!("{}, as usual", p.name),
        false => p.name.clone(),
    };
    let all: Vec<(String, String)> = std::iter::once((String::new(), tr!("whoever may").to_string()))
        .chain(openers.into_iter().map(|p| (p.id.to_string(), words(p))))
        .collect();
    Choice::names(all.iter().map(|(code, words)| (code.as_str(), words.as_str())), &[chosen])
}

async fn openings_page(
    seat: &Seat,
    mut asked: Asked,
    why_not: Option<(&'static str, Reason)>,
) -> Result<(OpeningsPage, bool), Problem> {
    let zone = zone(seat)?;
    let mut errors = Errors::none();
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let client: Option<Client> = match asked.client.as_str() {
        "" => None,
        id => Some(find(&mut s, id.parse().map_err(|_| Problem::NotFound)?).await?),
    };
    let moving = match asked.moving.as_str() {
        "" => None,
        id => {
            let id = id.parse().map_err(|_| Problem::NotFound)?;
            Some(bookings::find(&mut s, id).await?.ok_or(Problem::NotFound)?)
        }
    };
    if let Some(old) = &moving {
        if old.client_id.to_string() != asked.client {
            return Err(Problem::NotFound);
        }
        if asked.protocol.is_empty() {
            asked.protocol = old.protocol.clone().unwrap_or_default();
        }
    }
    if let Some(old) = moving.as_ref().filter(|_| asked.wanted.is_empty()) {
        // As near to the old time as can be, unless something else is asked for.
        asked.wanted = iso_day(zone.day_of(old.from_at));
        if asked.at.is_empty() {
            asked.at = zone.clock(old.from_at);
        }
    }
    let due = match &client {
        Some(c) => dues::find(&mut s, c.id()).await?,
        None => None,
    };
    // Whoever is asked for by name alone comes for what is due; another service is one choice away.
    if asked.protocol.is_empty() {
        asked.protocol = due.as_ref().map(|d| d.protocol.clone()).unwrap_or_default();
    }
    if asked.wanted.is_empty() {
        let today = zone.day_of(now);
        let middle =
            due.as_ref().filter(|d| d.protocol == asked.protocol).map_or(today, |d| d.middle_on.max(today));
        asked.wanted = iso_day(middle.min(today + Duration::days(flow::AHEAD_DAYS)));
    }
    let services = Services::load(&mut s, &seat.app.reference).await?;
    let wish = read_wish(&asked, &services, &zone, now, &mut errors);
    let begins = typed::line(&mut errors, "name", &asked.name, 200);
    let named = match (&client, begins.as_str()) {
        (None, begins) if !begins.is_empty() && errors.is_empty() => {
            clients::list(&mut s, begins, None).await?
        }
        _ => Vec::new(),
    };
    let looked = match &wish {
        Some(wish) => {
            let valid = i64::from(seat.salon_row.patch_valid_days);
            Some(flow::find_openings(&mut s, &seat.app, &zone, valid, wish, None).await?)
        }
        None => None,
    };
    // Somebody who comes late: what of the salon's own steps could be shorter is said.
    let late = match asked.arrives.as_str() {
        "" => None,
        _ => protocols_of_salon::in_force(&mut s, &seat.app, &asked.protocol).await?,
    };
    let booked = match &client {
        Some(c) => booked(&mut s, seat, c).await?,
        None => Vec::new(),
    };
    let team = people::list(&mut s).await?;
    let moved = match &moving {
        Some(old) => {
            let hands = bookings::list_hands(&mut s, &[old.booking_id]).await?;
            let with = hands.iter().map(|h| h.what.as_str());
            let mut names: Vec<&str> = Vec::new();
            for name in with {
                if !names.contains(&name) {
                    names.push(name);
                }
            }
            tr!(
                "Moved from {}, {} with {}. That time, and the visit for its patch test, stay booked until another is chosen.",
                zone.day_words(old.from_at),
                zone.clock(old.from_at),
                names.join(", ")
            )
        }
        None => String::new(),
    };
    s.commit().await?;
    let mut page = OpeningsPage {
        shell: seat.shell(now, "/openings", &["bookings"]),
        answer: tr!("For whom, and what?").into(),
        notes: Vec::new(),
        reasons_heading: tr!("Not yet"),
        reasons: Vec::new(),
        client_name: client.as_ref().map(|c| c.name.clone()).unwrap_or_default(),
        clients: named
            .into_iter()
            .map(|c| {
                let service = page::query_value(&asked.protocol);
                (format!("/openings?client={}&protocol={service}", c.client_id), c.name)
            })
            .collect(),
        version: moving.as_ref().map_or(0, |b| b.version),
        moved,
        booked: booked.into_iter().filter(|b| !b.href.ends_with(&format!("/{}", asked.moving))).collect(),
        with: with_choices(&team, client.as_ref(), &asked.with),
        protocols: protocols(&services, &asked.protocol),
        early: Choice::list([("yes", tr!("before the due window opens as well"))], &[asked.early.as_str()]),
        offers: Vec::new(),
        looked: false,
        shorter: String::new(),
        waiting_once: String::new(),
        weekdays: Choice::list(WEEKDAYS, &[]),
        asked,
        errors,
    };
    if page.asked.at.is_empty() {
        page.asked.at = AT.into();
    }
    if page.asked.days.is_empty() {
        page.asked.days = DAYS.to_string();
    }
    if let Some(client) = &client {
        page.answer = tr!("When for {}?", client.name);
    }
    match looked {
        Some(Looked::Found(found)) => {
            show(&mut page, &found, &zone, &services, late.as_ref().map(|p| &p.steps[..]))
        }
        Some(Looked::Barred(why)) => {
            page.answer = tr!("No opening for now").into();
            page.reasons.push(barred_reason(why, seat, wish.as_ref().map_or(ClientId(0), |w| w.client)));
        }
        Some(Looked::NotFound) => return Err(Problem::NotFound),
        None => {}
    }
    if let Some((heading, reason)) = why_not {
        page.reasons_heading = heading;
        page.reasons.insert(0, reason);
    }
    let whole = page.errors.is_empty();
    Ok((page, whole))
}

/// What is said of a client who comes late: what is made shorter, or that it could be.
fn late_words(page: &mut OpeningsPage, steps: &[Step]) {
    let usual = OwnHair::default();
    let cut: Vec<String> = steps
        .iter()
        .filter(|step| shortened(step, &usual) < planned(step, &usual))
        .map(|step| match shortened(step, &usual) {
            0 => tr!("{} left out", step.title),
            least => tr!("{} {} instead of {} minutes", step.title, least, planned(step, &usual)),
        })
        .collect();
    if page.asked.short == "yes" {
        page.notes.push(tr!("Shorter: {}. What acts on the hair keeps its time.", cut.join("; ")));
    } else if !cut.is_empty() {
        let a = &page.asked;
        page.shorter = format!(
            "/openings?client={}&protocol={}&wanted={}&at={}&days=0&early=yes&move={}&arrives={}&with={}&short=yes",
            page::query_value(&a.client),
            page::query_value(&a.protocol),
            page::query_value(&a.wanted),
            page::query_value(&a.at),
            page::query_value(&a.moving),
            page::query_value(&a.arrives),
            page::query_value(&a.with)
        );
    }
}

fn show(page: &mut OpeningsPage, found: &Found, zone: &Zone, services: &Services, late: Option<&[Step]>) {
    page.looked = true;
    page.waiting_once = if page.asked.moving.is_empty() { once::key() } else { String::new() };
    if let Some(hair) = found.hair.words() {
        page.notes.push(tr!("Planned for this client's own hair: {hair}.", hair = hair));
    }
    if let Some(steps) = late {
        late_words(page, steps);
    }
    page.notes.extend(floor_words(found, zone));
    page.notes.extend(skin_words(found.skin).map(str::to_string));
    page.offers = found.offers.iter().map(|offer| shown(found, offer, zone)).collect();
    if let Some(fewest) = found.offers.iter().map(|offer| loose_ends(found, offer)).min() {
        for (shown, offer) in page.offers.iter_mut().zip(&found.offers) {
            if loose_ends(found, offer) == fewest && fewest < 2 {
                shown.marks.push(tr!("leaves no gap in the day"));
            }
        }
    }
    let title = services.title(&page.asked.protocol).to_string();
    page.answer = match page.offers.first_mut() {
        Some(first) => {
            first.main = true;
            tr!("{title}: {} is nearest", first.when, title = title)
        }
        None => tr!("{title}: no opening in these days", title = title),
    };
}
