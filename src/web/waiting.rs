//! The waiting list: who waits for which times, and the times that came free.

use askama::Template;
use axum::extract::Path;
use axum_extra::extract::Form;
use serde::Deserialize;
use time::{Date, Duration, Weekday};

use crate::calendar::{Zone, day_words, weekday_words};
use crate::domain::access::Act;
use crate::domain::ids::{ClientId, WaitingId};
use crate::domain::waiting::Would;
use crate::flow::openings::AHEAD_DAYS;
use crate::flow::services::Services;
use crate::flow::waiting as flow;
use crate::store::waiting::{self as store, NewWaiting, Waiting};
use crate::web::clients::{find, zone};
use crate::web::form::Errors;
use crate::web::problem::{Answered, Problem};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::shell::Shell;
use crate::web::{once, page, typed};

/// The routes of this screen.
pub const LINES: &[Line] = lines![
    get "/waiting" Open::To(Act::Book) => list,
    post "/waiting" Open::To(Act::Book) => wait,
    post "/waiting/{id}/end" Open::To(Act::Book) => take_off,
];

/// How far ahead freed times are shown, days.
const FREED_DAYS: i64 = 60;
/// Longest note, characters; also the database's.
const NOTE_MOST: usize = 300;

struct WaitLine {
    client: String,
    href: String,
    title: String,
    would: String,
    note: String,
    latest: String,
    openings: String,
    action: String,
    once_key: String,
}

struct FreedLine {
    words: String,
    href: String,
}

#[derive(Template)]
#[template(path = "waiting/list.html")]
struct ListPage {
    shell: Shell,
    errors: Errors,
    answer: String,
    freed: Vec<FreedLine>,
    lines: Vec<WaitLine>,
}

/// The times that would do, in words: "14 May to 28 May, on Thu and Sat, from 09:00 to 12:00".
fn would_words(would: &Would) -> String {
    let mut words = tr!("{} to {}", day_words(would.from_on), day_words(would.until_on));
    let days: Vec<String> = would.weekdays.iter().map(|day| weekday_words(*day).to_string()).collect();
    if !days.is_empty() {
        words += &tr!(", on {}", days.join(" and "));
    }
    if (would.from_min, would.until_min) != (0, 1439) {
        let wall = |min: u16| format!("{:02}:{:02}", min / 60, min % 60);
        words += &tr!(", beginning from {} to {}", wall(would.from_min), wall(would.until_min));
    }
    words
}

fn line(services: &Services, entry: &Waiting) -> WaitLine {
    WaitLine {
        client: entry.client_name.clone(),
        href: format!("/clients/{}", entry.client_id),
        title: services.title(&entry.protocol).to_string(),
        would: would_words(&entry.would()),
        note: entry.note.clone(),
        latest: entry.latest_on.map_or_else(String::new, |day| tr!("latest by {}", day_words(day))),
        openings: format!(
            "/openings?client={}&protocol={}",
            entry.client_id,
            page::query_value(&entry.protocol)
        ),
        action: format!("/waiting/{}/end", entry.waiting_id),
        once_key: once::key(),
    }
}

async fn list_page(seat: &Seat, errors: Errors) -> Result<ListPage, Problem> {
    let zone: Zone = zone(seat)?;
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let entries = store::list_open(&mut s, zone.day_of(now)).await?;
    let freed = store::list_freed(&mut s, now, now + Duration::days(FREED_DAYS)).await?;
    let services = Services::load(&mut s, &seat.app.reference).await?;
    s.commit().await?;
    Ok(ListPage {
        shell: seat.shell(now, "/day", &["waiting", "bookings"]),
        errors,
        answer: match entries.len() {
            0 => tr!("Nobody waits").into(),
            1 => tr!("One client waits").into(),
            n => tr!("{n} clients wait", n = n),
        },
        freed: freed
            .iter()
            .map(|f| FreedLine {
                words: tr!(
                    "{}, {} to {}",
                    zone.day_words(f.from_at),
                    zone.clock(f.from_at),
                    zone.clock(f.to_at)
                ),
                href: format!("/bookings/{}", f.booking_id),
            })
            .collect(),
        lines: entries.iter().map(|entry| line(&services, entry)).collect(),
    })
}

/// Who waits, and what came free.
pub async fn list(seat: Seat) -> Answered {
    seat.require(Act::Book)?;
    Ok(page::html(&list_page(&seat, Errors::none()).await?))
}

/// A wish as typed on Openings.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Typed {
    once: String,
    client: String,
    protocol: String,
    from_on: String,
    until_on: String,
    weekdays: Vec<String>,
    from_at: String,
    until_at: String,
    note: String,
}

fn read(f: &Typed, today: Date, errors: &mut Errors) -> Would {
    let from_on = typed::day(errors, "from_on", &f.from_on).unwrap_or(today).max(today);
    let until_on = typed::day(errors, "until_on", &f.until_on).unwrap_or(from_on);
    if until_on < from_on {
        errors.note("until_on", tr!("The last day that would do is before the first."));
    }
    if (until_on - today).whole_days() > AHEAD_DAYS {
        errors
            .note("until_on", tr!("Write a day within the next {AHEAD_DAYS} days.", AHEAD_DAYS = AHEAD_DAYS));
    }
    let mut minute = |name: &str, raw: &str, unsaid: u16| {
        if raw.trim().is_empty() { unsaid } else { typed::minute(errors, name, raw) }
    };
    let (from_min, until_min) = (minute("from_at", &f.from_at, 0), minute("until_at", &f.until_at, 1439));
    if until_min < from_min {
        errors.note("until_at", tr!("The last beginning that would do is before the first."));
    }
    let weekdays = (1..=7_u8)
        .filter(|n| f.weekdays.iter().any(|day| *day == n.to_string()))
        .map(|n| Weekday::Monday.nth_next(n - 1))
        .collect();
    Would { from_on, until_on, weekdays, from_min, until_min }
}

/// Puts a client on the list.
pub async fn wait(seat: Seat, Form(f): Form<Typed>) -> Answered {
    let by = seat.require(Act::Book)?.id;
    let zone = zone(&seat)?;
    let mut s = seat.begin().await?;
    if let Some(again) = once::claim(&mut s, &f.once, "/waiting").await? {
        return Ok(again);
    }
    let today = zone.day_of(s.now().await?);
    let mut errors = Errors::none();
    let would = read(&f, today, &mut errors);
    let note = typed::line(&mut errors, "note", &f.note, NOTE_MOST);
    if !Services::load(&mut s, &seat.app.reference).await?.is_offered(&f.protocol) {
        errors.note("protocol", tr!("Choose a service from the list."));
    }
    let client = f.client.parse::<ClientId>().ok();
    let (Some(client), true) = (client, errors.is_empty()) else {
        if client.is_none() {
            errors.note("client", tr!("Choose a client first: on Openings."));
        }
        drop(s);
        return Ok(page::refused(&list_page(&seat, errors).await?));
    };
    find(&mut s, client).await?;
    flow::wait(&mut s, &NewWaiting { client, protocol: &f.protocol, would: &would, note: &note, by }).await?;
    let answer = once::settle(&mut s, &f.once, "/waiting").await?;
    s.commit().await?;
    Ok(answer)
}

/// A form that carries its key alone.
#[derive(Deserialize, Default)]
#[serde(default)]
pub struct Once {
    once: String,
}

/// Takes a wish off the list.
pub async fn take_off(seat: Seat, Path(id): Path<String>, Form(f): Form<Once>) -> Answered {
    let by = seat.require(Act::Book)?.id;
    let id = WaitingId(id.parse().map_err(|_| Problem::NotFound)?);
    let mut s = seat.begin().await?;
    if let Some(again) = once::claim(&mut s, &f.once, "/waiting").await? {
        return Ok(again);
    }
    if !flow::take_off(&mut s, id, by).await? {
        return Err(Problem::NotFound);
    }
    let answer = once::settle(&mut s, &f.once, "/waiting").await?;
    s.commit().await?;
    Ok(answer)
}

#[cfg(test)]
mod tests {
    use time::macros::date;

    use super::*;

    #[test]
    fn a_wish_is_read_and_said_again() {
        let f = Typed {
            from_on: "2026-05-14".into(),
            until_on: "2026-05-28".into(),
            weekdays: vec!["6".into(), "4".into(), "9".into()],
            from_at: "09:00".into(),
            until_at: "12:00".into(),
            ..Typed::default()
        };
        let mut errors = Errors::none();
        let would = read(&f, date!(2026 - 05 - 01), &mut errors);
        assert!(errors.is_empty());
        assert_eq!(
            would_words(&would),
            "Thu 14 May to Thu 28 May, on Thu and Sat, beginning from 09:00 to 12:00"
        );
        let wrong = Typed { until_on: "2026-05-01".into(), until_at: "08:00".into(), ..f };
        read(&wrong, date!(2026 - 05 - 01), &mut errors);
        assert_eq!(errors.0.len(), 2, "{errors:?}");
    }
}
