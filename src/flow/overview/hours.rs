//! Hours wanted and hours open, in the weeks to come.

use std::collections::BTreeMap;

use time::{Date, Duration};

use super::{Frame, WEEKS, readable};
use crate::app::App;
use crate::calendar::Zone;
use crate::domain::access::Role;
use crate::domain::booking::service::service_of;
use crate::domain::booking::{Span, ms_of};
use crate::domain::growth::Rate;
use crate::domain::overview::open::{Open, Works, open_in};
use crate::domain::overview::{Habit, Head, Minutes, Wait, Wanted, wanted};
use crate::domain::protocol::Protocol;
use crate::flow::openings::hours_of;
use crate::flow::own_hair::closed_spans;
use crate::flow::protocols::in_force;
use crate::store::overview::{self as store, DueHead, Past};
use crate::store::{Scoped, Stored, openings, people};

/// Days of the past that teach how clients keep to what growth says.
const TAUGHT_DAYS: i64 = 730;

/// A client who comes again, with what is known of the next visit.
#[derive(Clone, Debug)]
pub struct Comer {
    /// The client.
    pub client_id: i64,
    /// The service, by its protocol's code.
    pub protocol: String,
    /// What growth says.
    pub head: Head,
}

/// One week to come.
#[derive(Clone, Copy, Debug)]
pub struct Coming {
    /// What the clients known today will want.
    pub wanted: Wanted,
    /// Minutes of hands at work, and of the door being open.
    pub open: Open,
    /// Minutes of chairs that stand in the book.
    pub booked_min: f64,
}

/// The weeks to come.
#[derive(Clone, Debug)]
pub struct Hours {
    /// Week by week.
    pub weeks: Vec<Coming>,
    /// Chairs there are; nought while nobody entered them.
    pub chairs: f64,
    /// How clients keep to what growth says.
    pub habit: Habit,
    /// Clients counted.
    pub clients: usize,
    /// There are more, and these were left out.
    pub cut: bool,
}

/// What a visit of a service takes, as its steps usually last.
#[must_use]
pub fn minutes_of(protocol: &Protocol) -> Minutes {
    let Ok(service) = service_of(protocol) else { return Minutes::default() };
    let minutes = |ms: i64| ms as f64 / 60_000.0;
    let segments = service.chain.segments();
    let chair = segments.iter().filter(|s| s.places.iter().any(|p| p.0 == "chair")).map(|s| s.length_ms);
    let hands = segments.iter().filter(|s| s.hands.is_some()).map(|s| s.length_ms);
    let second: i64 = service.seconds.iter().map(|s| s.length_ms).sum();
    Minutes { chair: minutes(chair.sum()), hands: minutes(hands.sum::<i64>() + second) }
}

fn head(row: &DueHead, minutes: Minutes) -> Head {
    Head {
        rate: Rate { mean: f64::from(row.rate_mm), sd: f64::from(row.rate_sd) },
        target_mm: f64::from(row.target_mm),
        least_days: (row.least_on - row.last_on).whole_days() as f64,
        last_on: row.last_on,
        minutes,
    }
}

/// Everybody who comes again, at most [`store::MOST_HEADS`].
///
/// # Errors
/// Those of the store.
pub async fn comers(s: &mut Scoped, app: &App) -> Stored<Vec<Comer>> {
    let mut minutes: BTreeMap<String, Minutes> = BTreeMap::new();
    let rows = store::list_heads(s).await?;
    let mut comers = Vec::with_capacity(rows.len());
    for row in rows {
        let known = match minutes.get(&row.protocol) {
            Some(known) => *known,
            None => {
                let protocol = readable(in_force(s, app, &row.protocol).await)?;
                let found = protocol.as_ref().map_or_else(Minutes::default, minutes_of);
                minutes.insert(row.protocol.clone(), found);
                found
            }
        };
        let head = head(&row, known);
        comers.push(Comer { client_id: row.client_id, protocol: row.protocol, head });
    }
    Ok(comers)
}

/// The stays away that past visits show: those that ended, and the one that goes on today.
#[must_use]
pub fn waits(pasts: &[Past], today: Date) -> Vec<Wait> {
    let mut waits = Vec::new();
    for past in pasts {
        let head = Head {
            rate: Rate { mean: f64::from(past.rate_mm), sd: 0.0 },
            target_mm: f64::from(past.target_mm),
            least_days: f64::from(past.least_days),
            last_on: today,
            minutes: Minutes::default(),
        };
        let Some(needs) = head.needs_days() else { continue };
        let ratio = |days: i64| days as f64 / needs;
        waits.extend(past.days.windows(2).filter_map(|two| {
            let days = (two[1] - two[0]).whole_days();
            (days > 0).then(|| Wait { ratio: ratio(days), came: true })
        }));
        if let Some(last) = past.days.last() {
            waits.push(Wait { ratio: ratio((today - *last).whole_days()), came: false });
        }
    }
    waits
}

/// How the salon's clients keep to what growth says; the usual way until enough have come again.
///
/// # Errors
/// Those of the store.
pub async fn habit(s: &mut Scoped, app: &App, zone: &Zone, today: Date) -> Stored<Habit> {
    let services: Vec<&str> =
        app.reference.protocols.iter().filter(|p| p.retouch.is_some()).map(|p| p.code.as_str()).collect();
    let since = zone.midnight(today - Duration::days(TAUGHT_DAYS));
    let pasts = store::list_pasts(s, zone.name(), &services, since).await?;
    Ok(Habit::learn(&waits(&pasts, today)).unwrap_or_else(Habit::usual))
}

/// The hours of everybody who treats hair, with their absences and the salon's closed days.
async fn team(s: &mut Scoped, frame: &Frame) -> Stored<Vec<Works>> {
    let first = frame.this_week().plus(1).monday();
    let (from, to) = frame.span(frame.this_week().plus(1), WEEKS as i64);
    let rows = openings::list_hours(s).await?;
    let absences = openings::list_absences(s, from, to).await?;
    // Shut is shut for everybody's hands.
    let closed = closed_spans(s, &frame.zone, (first, 7 * WEEKS as u32)).await?;
    let people = people::list(s).await?;
    let treats = people.iter().filter(|p| !p.left && !p.disabled && p.role != Role::Reception);
    let works = |id: i64| Works {
        hours: frame.zone.hours(first, 7 * WEEKS as u32, &hours_of(&rows, id)),
        away: absences
            .iter()
            .filter(|a| a.what == id)
            .filter_map(|a| Span::new(ms_of(a.from_at), ms_of(a.to_at)))
            .chain(closed.iter().copied())
            .collect(),
    };
    Ok(treats.map(|p| works(p.id.0)).collect())
}

/// The weeks to come: what will be wanted, what is open, what is booked.
///
/// # Errors
/// Those of the store.
pub async fn coming(s: &mut Scoped, app: &App, frame: &Frame) -> Stored<Hours> {
    let comers = comers(s, app).await?;
    let habit = habit(s, app, &frame.zone, frame.today).await?;
    let heads: Vec<Head> = comers.iter().map(|c| c.head).collect();
    let foretold = wanted(&heads, &habit, frame.today, WEEKS);
    let spans: Vec<Span> = frame
        .ahead()
        .filter_map(|week| {
            let (from, to) = frame.span(week, 1);
            Span::new(ms_of(from), ms_of(to))
        })
        .collect();
    let open = open_in(&team(s, frame).await?, &spans);
    let chairs = openings::list_place_counts(s).await?;
    let chairs = chairs.iter().find(|(kind, _)| kind == "chair").map_or(0.0, |(_, n)| f64::from(*n));
    let (from, to) = frame.span(frame.this_week().plus(1), WEEKS as i64);
    let booked = store::sum_booked(s, frame.zone.name(), from, to).await?;
    let weeks = foretold.into_iter().zip(open).map(|(wanted, open)| {
        let booked = booked.iter().find(|b| b.monday == wanted.week.monday());
        Coming { wanted, open, booked_min: booked.map_or(0.0, |b| b.minutes) }
    });
    Ok(Hours {
        weeks: weeks.collect(),
        chairs,
        habit,
        clients: comers.len(),
        cut: comers.len() as i64 >= store::MOST_HEADS,
    })
}
