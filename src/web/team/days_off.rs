//! Days off: the salon's closed days, and leave of its people. What is booked in them stands until it is moved.

use askama::Template;
use axum_extra::extract::Form;
use serde::Deserialize;
use time::Duration;

use super::problem;
use crate::calendar::{day_words, iso_day};
use crate::domain::access::Act;
use crate::domain::booking::{Span, ms_of};
use crate::domain::ids::PersonId;
use crate::flow::openings::AHEAD_DAYS;
use crate::flow::own_hair::closed_in;
use crate::flow::services::Services;
use crate::flow::team as flow;
use crate::store::days_off as store;
use crate::store::{bookings, people};
use crate::web::clients::zone;
use crate::web::day::{DAY_MIN, closed_words};
use crate::web::form::{Choice, Errors};
use crate::web::problem::{Answered, Problem};
use crate::web::seat::Seat;
use crate::web::shell::Shell;
use crate::web::{once, page, typed};

const HERE: &str = "/team/days-off";
/// Closed days ahead of which it is said how much is booked.
const DAYS_COUNTED: usize = 30;

struct ClosedLine {
    words: String,
    on: String,
    sheet: String,
    booked: usize,
    once_key: String,
}

/// A booking that stands in a day off.
struct Stands {
    href: String,
    words: String,
}

struct LeaveLine {
    who: String,
    words: String,
    booked: Vec<Stands>,
    id: i64,
    once_key: String,
}

#[derive(Template)]
#[template(path = "team/days_off.html")]
struct DaysPage {
    shell: Shell,
    errors: Errors,
    typed: Typed,
    once_closed: String,
    once_leave: String,
    team: Vec<Choice>,
    closed: Vec<ClosedLine>,
    leave: Vec<LeaveLine>,
}

/// A day off as typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Typed {
    once: String,
    on: String,
    /// Open all the same from and until then, `HH:MM`; both empty: closed all day.
    opens: String,
    closes: String,
    why: String,
    person: String,
    from_on: String,
    until_on: String,
    id: String,
}

async fn days_page(seat: &Seat, typed: Typed, errors: Errors) -> Result<DaysPage, Problem> {
    let zone = zone(seat)?;
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let today = zone.day_of(now);
    let closed = store::list_closed_days(&mut s, today, today + Duration::days(AHEAD_DAYS)).await?;
    let leave = store::list_leave(&mut s, now).await?;
    let mut booked = Vec::new();
    for day in closed.iter().take(DAYS_COUNTED) {
        let (from, to) = (zone.midnight(day.on_day), zone.midnight(day.on_day + Duration::days(1)));
        let stands = bookings::list_between(&mut s, from, to).await?;
        let shut = closed_in(&zone, day);
        let taken = |b: &bookings::Booking| Span::new(ms_of(b.from_at), ms_of(b.to_at));
        let in_it = stands.iter().filter(|b| b.state == "booked").filter_map(taken);
        booked.push(in_it.filter(|t| shut.iter().any(|span| span.overlaps(*t))).count());
    }
    let in_leave = store::list_in_leave(&mut s, now).await?;
    let services = Services::load(&mut s, &seat.app.reference).await?;
    let team = people::list(&mut s).await?;
    s.commit().await?;
    let stands = |b: &store::InLeave| Stands {
        href: format!("/bookings/{}", b.booking_id),
        words: format!(
            "{} {}: {}, {}",
            zone.day_words(b.from_at),
            zone.clock(b.from_at),
            b.client_name,
            match b.purpose.as_str() {
                "patch-test" => tr!("patch test"),
                _ => b.protocol.as_deref().map_or("", |code| services.title(code)),
            }
        ),
    };
    let last = |leave: &store::Leave| zone.day_of(leave.to_at - Duration::seconds(1));
    Ok(DaysPage {
        shell: seat.shell(now, "/team", &["team"]),
        errors,
        once_closed: once::key(),
        once_leave: once::key(),
        team: team
            .iter()
            .filter(|p| !p.left)
            .map(|p| Choice {
                code: p.id.to_string(),
                words: p.name.clone(),
                chosen: p.id.to_string() == typed.person,
            })
            .collect(),
        closed: closed
            .iter()
            .enumerate()
            .map(|(n, day)| ClosedLine {
                words: match day.open() {
                    None => format!("{}: {}", day_words(day.on_day), day.why),
                    Some(_) => format!("{}. {}", day_words(day.on_day), closed_words(day)),
                },
                on: iso_day(day.on_day),
                sheet: format!("/day?on={}", iso_day(day.on_day)),
                booked: booked.get(n).copied().unwrap_or_default(),
                once_key: once::key(),
            })
            .collect(),
        leave: leave
            .iter()
            .map(|l| LeaveLine {
                who: l.person_name.clone(),
                words: tr!("{} to {}", zone.day_words(l.from_at), day_words(last(l))),
                booked: in_leave.iter().filter(|b| b.absence_id == l.absence_id).map(stands).collect(),
                id: l.absence_id,
                once_key: once::key(),
            })
            .collect(),
        typed,
    })
}

/// Closed days and leave to come.
pub async fn list(seat: Seat) -> Answered {
    seat.require(Act::KeepTeam)?;
    Ok(page::html(&days_page(&seat, Typed::default(), Errors::none()).await?))
}

/// Closes a day, or makes it shorter.
pub async fn close(seat: Seat, Form(f): Form<Typed>) -> Answered {
    let by = seat.require(Act::KeepTeam)?.id;
    let zone = zone(&seat)?;
    let mut s = seat.begin().await?;
    if let Some(again) = once::claim(&mut s, &f.once, HERE).await? {
        return Ok(again);
    }
    let today = zone.day_of(s.now().await?);
    let mut errors = Errors::none();
    let on = typed::day(&mut errors, "on", &f.on)
        .filter(|day| *day >= today && (*day - today).whole_days() <= AHEAD_DAYS);
    if on.is_none() && errors.is_empty() {
        errors
            .note("on", tr!("Write a day from today on, within {AHEAD_DAYS} days.", AHEAD_DAYS = AHEAD_DAYS));
    }
    let why = typed::needed(&mut errors, "why", &f.why, 120, tr!("Write why, such as a public holiday."));
    let (opens, closes) = (f.opens.trim(), f.closes.trim());
    let open = (!opens.is_empty() || !closes.is_empty()).then(|| {
        let from = if opens.is_empty() { 0 } else { typed::minute(&mut errors, "opens", opens) };
        let to = if closes.is_empty() { DAY_MIN } else { typed::minute(&mut errors, "closes", closes) };
        (from, to)
    });
    if errors.is_empty() && open.is_some_and(|(from, to)| from >= to || (from, to) == (0, DAY_MIN)) {
        errors.note("closes", tr!("Closing comes after opening, and something of the day is closed."));
    }
    let (Some(on), true) = (on, errors.is_empty()) else {
        drop(s);
        return Ok(page::refused(&days_page(&seat, f, errors).await?));
    };
    if !flow::close_day(&mut s, on, open, &why, by).await.map_err(problem)? {
        drop(s);
        errors.note("on", tr!("That day stands above already: open it again first."));
        return Ok(page::refused(&days_page(&seat, f, errors).await?));
    }
    let answer = once::settle(&mut s, &f.once, HERE).await?;
    s.commit().await?;
    Ok(answer)
}

fn unread() -> Problem {
    Problem::Bad(tr!("This form was not made here: open the page again.").into())
}

/// Opens a closed day again.
pub async fn open(seat: Seat, Form(f): Form<Typed>) -> Answered {
    seat.require(Act::KeepTeam)?;
    let on = typed::day(&mut Errors::none(), "on", &f.on).ok_or_else(unread)?;
    let mut s = seat.begin().await?;
    if let Some(again) = once::claim(&mut s, &f.once, HERE).await? {
        return Ok(again);
    }
    flow::open_day(&mut s, on).await.map_err(problem)?;
    let answer = once::settle(&mut s, &f.once, HERE).await?;
    s.commit().await?;
    Ok(answer)
}

/// Notes somebody's leave, whole days, both included.
pub async fn leave(seat: Seat, Form(f): Form<Typed>) -> Answered {
    seat.require(Act::KeepTeam)?;
    let zone = zone(&seat)?;
    let mut s = seat.begin().await?;
    if let Some(again) = once::claim(&mut s, &f.once, HERE).await? {
        return Ok(again);
    }
    let today = zone.day_of(s.now().await?);
    let mut errors = Errors::none();
    let team = people::list(&mut s).await?;
    let person = team.iter().find(|p| !p.left && p.id.to_string() == f.person).map(|p: &people::Person| p.id);
    if person.is_none() {
        errors.note("person", tr!("Choose somebody of the team."));
    }
    let from = typed::day(&mut errors, "from_on", &f.from_on);
    if from.is_none() && f.from_on.trim().is_empty() {
        errors.note("from_on", tr!("Write the first day of the leave."));
    }
    let until = typed::day(&mut errors, "until_on", &f.until_on).or(from);
    if let (Some(from), Some(until)) = (from, until) {
        if until < from {
            errors.note("until_on", tr!("The last day is before the first."));
        } else if until < today
            || (until - from).whole_days() > 365
            || (from - today).whole_days() > AHEAD_DAYS
        {
            errors.note("until_on", tr!("Write leave that is still to come and no longer than a year."));
        }
    }
    let (Some(person), Some(from), Some(until), true) = (person, from, until, errors.is_empty()) else {
        drop(s);
        return Ok(page::refused(&days_page(&seat, f, errors).await?));
    };
    let (from_at, to_at) = (zone.midnight(from), zone.midnight(until + Duration::days(1)));
    let person: PersonId = person;
    flow::note_leave(&mut s, person, from_at, to_at).await.map_err(problem)?;
    let answer = once::settle(&mut s, &f.once, HERE).await?;
    s.commit().await?;
    Ok(answer)
}

/// Takes leave back.
pub async fn back(seat: Seat, Form(f): Form<Typed>) -> Answered {
    seat.require(Act::KeepTeam)?;
    let id: i64 = f.id.parse().map_err(|_| unread())?;
    let mut s = seat.begin().await?;
    if let Some(again) = once::claim(&mut s, &f.once, HERE).await? {
        return Ok(again);
    }
    if !flow::take_back_leave(&mut s, id).await.map_err(problem)? {
        return Err(Problem::NotFound);
    }
    let answer = once::settle(&mut s, &f.once, HERE).await?;
    s.commit().await?;
    Ok(answer)
}
