//! The day sheet: one day by person and place, on one page of paper.

use askama::Template;
use axum_extra::extract::Query;
use serde::Deserialize;
use time::{Date, Duration, OffsetDateTime};

use crate::calendar::{Zone, day_words, instant_of_ms, iso_day};
use crate::domain::access::Act;
use crate::domain::booking::{Span, ms_of};
use crate::flow::openings::{self as flow, Calendar, PATCH_HOURS_BEFORE};
use crate::flow::own_hair::closed_in;
use crate::flow::services::Services;
use crate::store::bookings::{self, Booking, Held};
use crate::store::days_off::ClosedDay;
use crate::store::openings::Taken;
use crate::store::{days_off, openings as hours_of};
use crate::web::clients::zone;
use crate::web::day_end::DayEnd;
use crate::web::form::Errors;
use crate::web::page;
use crate::web::problem::{Answered, Problem};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::shell::Shell;
use crate::web::typed;

/// The routes of this screen.
pub const LINES: &[Line] = lines![
    get "/day" Open::To(Act::Book) => sheet,
];

/// Columns that fit one page of paper side by side.
const COLUMNS: usize = 6;
/// A patch test nobody read for so long is no longer to be read, days.
const READ_WITHIN_DAYS: i64 = 14;

/// The day asked for.
#[derive(Deserialize, Default)]
#[serde(default)]
pub struct Asked {
    on: String,
}

struct Entry {
    when: String,
    name: String,
    what: String,
    href: String,
    /// Of a test to read: whoever has it comes this very day.
    today: bool,
}

struct Column {
    heading: String,
    under: String,
    entries: Vec<Entry>,
}

#[derive(Template)]
#[template(path = "day/sheet.html")]
struct SheetPage {
    shell: Shell,
    errors: Errors,
    /// This address, asked for again when the day changes.
    part: String,
    answer: String,
    summary: String,
    on: String,
    before: String,
    after: String,
    people: Vec<Vec<Column>>,
    places: Vec<Vec<Column>>,
    /// Why the salon is closed this day; empty when it is open.
    closed: String,
    /// What is open at the end of today; none on another day.
    end: Option<DayEnd>,
    /// What stands in a closed day or in somebody's leave.
    to_move: Vec<Entry>,
    to_place: Vec<Entry>,
    to_read: Vec<Entry>,
}

struct Sheet<'a> {
    zone: &'a Zone,
    services: &'a Services,
    day: Span,
    bookings: Vec<Booking>,
    closed: Option<ClosedDay>,
    /// Who is away when.
    away: Vec<Taken<i64>>,
}

/// A booking's state in words; nothing of one that stands.
fn state_words(state: &str) -> &'static str {
    match state {
        "kept" => tr!("the client came"),
        "missed" => tr!("did not come"),
        "cancelled" => tr!("cancelled"),
        _ => "",
    }
}

/// Minutes of a day.
pub const DAY_MIN: u16 = 24 * 60;

/// A minute of the day as a clock says it.
fn clock_of(minute: u16) -> String {
    format!("{:02}:{:02}", minute / 60, minute % 60)
}

/// That the salon is closed, or shorter open, and why.
pub fn closed_words(day: &ClosedDay) -> String {
    match day.open() {
        None => tr!("The salon is closed: {}.", day.why),
        Some((0, to)) => tr!("The salon closes at {}: {}.", clock_of(to), day.why),
        Some((from, DAY_MIN)) => tr!("The salon opens at {}: {}.", clock_of(from), day.why),
        Some((from, to)) => {
            tr!("The salon is open {} to {} only: {}.", clock_of(from), clock_of(to), day.why)
        }
    }
}

impl Sheet<'_> {
    fn stretch(&self, from: OffsetDateTime, to: OffsetDateTime) -> String {
        tr!("{} to {}", self.zone.clock(from), self.zone.clock(to))
    }

    fn what(&self, booking: &Booking) -> String {
        let title = booking.protocol.as_deref().map_or("", |code| self.services.title(code));
        let service = if booking.purpose == "patch-test" { tr!("patch test") } else { title };
        match state_words(&booking.state) {
            "" => service.to_string(),
            state => format!("{service}, {state}"),
        }
    }

    /// One line for each stay: what follows without a gap for one client is one line.
    fn entries<'h>(&self, held: impl Iterator<Item = &'h Held>) -> Vec<Entry> {
        let mut stays: Vec<(i64, OffsetDateTime, OffsetDateTime)> = Vec::new();
        for h in held {
            match stays.iter_mut().find(|(id, _, to)| *id == h.booking_id && *to == h.from_at) {
                Some(stay) => stay.2 = h.to_at,
                None => stays.push((h.booking_id, h.from_at, h.to_at)),
            }
        }
        stays.sort_by_key(|(id, from, _)| (*from, *id));
        let mut said: Vec<i64> = Vec::new();
        stays
            .into_iter()
            .filter_map(|(id, from, to)| {
                let booking = self.bookings.iter().find(|b| b.booking_id == id)?;
                // Said once a column: the sheet has to fit one page.
                let what = if said.contains(&id) { String::new() } else { self.what(booking) };
                said.push(id);
                Some(Entry {
                    when: self.stretch(from, to),
                    name: booking.client_name.clone(),
                    what,
                    href: format!("/bookings/{id}"),
                    today: false,
                })
            })
            .collect()
    }

    /// Hours worked that day in words; or that this person is away, or the salon closed.
    fn hours(&self, person: i64, hours: &[Span]) -> String {
        if self.shut() {
            return tr!("closed").into();
        }
        let mut away = self.away.iter().filter(|a| a.what == person);
        if away.clone().any(|a| self.day_within(a)) {
            return tr!("away").into();
        }
        let part = away.next().map(|a| tr!("away {}", self.stretch(a.from_at, a.to_at)));
        let words: Vec<String> = hours
            .iter()
            .filter(|span| span.overlaps(self.day))
            .filter_map(|span| {
                Some(self.stretch(instant_of_ms(span.start_ms())?, instant_of_ms(span.end_ms())?))
            })
            .chain(part)
            .collect();
        words.join(", ")
    }

    fn people(&self, calendar: &Calendar, hands: &[Held]) -> Vec<Column> {
        let mut columns: Vec<Column> = calendar
            .team
            .iter()
            .zip(&calendar.workers)
            .map(|(person, worker)| Column {
                heading: person.name.clone(),
                under: self.hours(person.id.0, &worker.hours),
                entries: self.entries(hands.iter().filter(|h| h.person_id == person.id.0)),
            })
            .filter(|column| !self.shut() || !column.entries.is_empty())
            .filter(|column| !column.under.is_empty() || !column.entries.is_empty())
            .collect();
        columns.sort_by(|a, b| a.heading.cmp(&b.heading));
        columns
    }

    fn places(&self, calendar: &Calendar, places: &[Held]) -> Vec<Column> {
        calendar
            .places
            .iter()
            .map(|stock| Column {
                heading: stock.kind.0.clone(),
                under: tr!("{} here", stock.count),
                entries: self.entries(places.iter().filter(|p| p.what == stock.kind.0)),
            })
            .collect()
    }

    fn day_within(&self, away: &Taken<i64>) -> bool {
        Span::new(ms_of(away.from_at), ms_of(away.to_at)).is_some_and(|span| span.covers(self.day))
    }

    /// Closed all day.
    fn shut(&self) -> bool {
        self.closed.as_ref().is_some_and(|day| day.open().is_none())
    }

    /// Not all of it lies in the hours in which the salon is open that day.
    fn outside(&self, day: &ClosedDay, b: &Booking) -> bool {
        let taken = Span::new(ms_of(b.from_at), ms_of(b.to_at));
        taken.is_some_and(|taken| closed_in(self.zone, day).iter().any(|shut| shut.overlaps(taken)))
    }

    /// What is booked although nobody is there for it: all of a closed day, else what takes the hands of whoever is away.
    fn to_move(&self, hands: &[Held]) -> Vec<Entry> {
        self.bookings
            .iter()
            .filter(|b| b.state == "booked")
            .filter_map(|b| {
                let what = match &self.closed {
                    Some(day) if self.outside(day, b) => tr!("the salon is closed").into(),
                    _ => {
                        let gone = hands.iter().find(|h| {
                            h.booking_id == b.booking_id
                                && self.away.iter().any(|a| {
                                    a.what == h.person_id && a.from_at < h.to_at && h.from_at < a.to_at
                                })
                        })?;
                        tr!("{} is away", gone.what)
                    }
                };
                Some(Entry {
                    when: self.stretch(b.from_at, b.to_at),
                    name: b.client_name.clone(),
                    what,
                    href: format!("/bookings/{}", b.booking_id),
                    today: false,
                })
            })
            .collect()
    }

    /// What the client of an unread patch test comes for this day.
    fn comes_for(&self, client: i64) -> Option<String> {
        let service = |b: &&Booking| b.client_id == client && b.purpose == "service" && b.state == "booked";
        let b = self.bookings.iter().find(service)?;
        let title = b.protocol.as_deref().map_or("", |code| self.services.title(code));
        Some(tr!("comes {} for {}", self.zone.clock(b.from_at), title))
    }

    fn to_place(&self) -> Vec<Entry> {
        let visits = self.bookings.iter().filter(|b| b.purpose == "patch-test" && b.state == "booked");
        visits
            .map(|b| Entry {
                when: self.stretch(b.from_at, b.to_at),
                name: b.client_name.clone(),
                what: tr!("place the patch test").into(),
                href: format!("/bookings/{}", b.booking_id),
                today: false,
            })
            .collect()
    }
}

fn side_by_side(mut columns: Vec<Column>) -> Vec<Vec<Column>> {
    let mut rows = Vec::new();
    while columns.len() > COLUMNS {
        let rest = columns.split_off(COLUMNS);
        rows.push(std::mem::replace(&mut columns, rest));
    }
    if !columns.is_empty() {
        rows.push(columns);
    }
    rows
}

fn summary(services: usize, tests: usize) -> String {
    let given = match services {
        0 => tr!("No service.").into(),
        n => trn!(n, "{n} service.", "{n} services."),
    };
    let placed = match tests {
        0 => tr!("No patch test to place.").into(),
        n => trn!(n, "{n} patch test to place.", "{n} patch tests to place."),
    };
    match (services, tests) {
        (0, 0) => tr!("Nothing is booked.").into(),
        _ => format!("{given} {placed}"),
    }
}

/// One day; today when none is asked for.
pub async fn sheet(seat: Seat, Query(q): Query<Asked>) -> Answered {
    seat.require(Act::Book)?;
    let zone = zone(&seat)?;
    let mut errors = Errors::none();
    let asked = typed::day(&mut errors, "on", &q.on);
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let today = zone.day_of(now);
    let on: Date = asked.unwrap_or(today);
    let day = zone.day_span(on).ok_or(Problem::NotFound)?;
    let (from, to) = (zone.midnight(on), zone.midnight(on + Duration::days(1)));
    let bookings = bookings::list_between(&mut s, from, to).await?;
    let ids: Vec<i64> = bookings.iter().filter(|b| b.state != "missed").map(|b| b.booking_id).collect();
    let hands = bookings::list_hands(&mut s, &ids).await?;
    let places = bookings::list_places(&mut s, &ids).await?;
    let calendar = flow::read_calendar(&mut s, &seat.app, &zone, (on, 1), None, None).await?;
    let on_long_enough = to - Duration::hours(PATCH_HOURS_BEFORE);
    let unread =
        bookings::list_unread_skin_tests(&mut s, from - Duration::days(READ_WITHIN_DAYS), on_long_enough)
            .await?;
    let services = Services::load(&mut s, &seat.app.reference).await?;
    let closed = days_off::list_closed_days(&mut s, on, on).await?.pop();
    let away = hours_of::list_absences(&mut s, from, to).await?;
    let end = match on == today {
        true => Some(DayEnd::read(&mut s, &seat, &zone, (today, now), &bookings).await?),
        false => None,
    };
    s.commit().await?;
    let sheet = Sheet { zone: &zone, services: &services, day, bookings, closed, away };
    let services = sheet.bookings.iter().filter(|b| b.purpose == "service").count();
    let to_place = sheet.to_place();
    let words = |date: Date| if date == today { tr!("Today, {}", day_words(date)) } else { day_words(date) };
    let mut to_read: Vec<Entry> = unread
        .into_iter()
        .map(|t| {
            let ready = t.placed_at + Duration::hours(PATCH_HOURS_BEFORE);
            Entry {
                when: if ready < from {
                    tr!("from opening").into()
                } else {
                    tr!("from {}", zone.clock(ready))
                },
                name: t.client_name,
                what: match sheet.comes_for(t.client_id) {
                    Some(comes) => tr!("placed {}; {}", zone.day_words(t.placed_at), comes),
                    None => tr!("placed {}, {}", zone.day_words(t.placed_at), zone.clock(t.placed_at)),
                },
                today: sheet.comes_for(t.client_id).is_some(),
                href: format!("/clients/{}", t.client_id),
            }
        })
        .collect();
    // Whoever comes this day is read first.
    to_read.sort_by_key(|e| !e.today);
    let page = SheetPage {
        shell: seat.shell(now, "/day", &["day", "bookings", "team"]),
        part: format!("/day?on={}", iso_day(on)),
        answer: words(on),
        summary: summary(services, to_place.len()),
        on: if errors.is_empty() { iso_day(on) } else { q.on },
        before: format!("/day?on={}", iso_day(on - Duration::days(1))),
        after: format!("/day?on={}", iso_day(on + Duration::days(1))),
        people: side_by_side(sheet.people(&calendar, &hands)),
        places: side_by_side(sheet.places(&calendar, &places)),
        closed: sheet.closed.as_ref().map_or_else(String::new, closed_words),
        to_move: sheet.to_move(&hands),
        end,
        to_place,
        to_read,
        errors,
    };
    Ok(if page.errors.is_empty() { page::html(&page) } else { page::refused(&page) })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_large_team_stands_in_rows_of_six() {
        let columns = (0..14)
            .map(|n| Column { heading: n.to_string(), under: String::new(), entries: Vec::new() })
            .collect();
        let rows: Vec<usize> = side_by_side(columns).iter().map(Vec::len).collect();
        assert_eq!(rows, [6, 6, 2]);
    }
}
