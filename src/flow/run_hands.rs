//! Whose hands are here, and until when: the team's hours, absences and bookings, for runs under way.

use time::{Duration, OffsetDateTime, Weekday};

use super::run_context::actor;
use super::runs::Loaded;
use crate::calendar::{WeekdayHours, Zone, instant_of_ms};
use crate::domain::access::{Act, Role, may};
use crate::domain::booking::Span;
use crate::domain::ids::ClientId;
use crate::domain::protocol::Step;
use crate::domain::run::hands_stay::{HandsKnown, Presence, Stretch, hands_known};
use crate::domain::run::{EventKind, Granted};
use crate::store::openings::{self, HoursRow};
use crate::store::people::{self, Person};
use crate::store::{Scoped, StoreError, Stored, hours, salons};

/// As far as hands are looked for, hours.
const LOOK_HOURS: i64 = 24;

fn week(rows: &[HoursRow], person: &Person) -> Vec<WeekdayHours> {
    rows.iter()
        .filter(|row| row.person_id == person.id.0)
        .filter_map(|row| {
            let day = Weekday::Monday.nth_next(u8::try_from(row.weekday - 1).ok()?);
            WeekdayHours::new(day, u16::try_from(row.opens_min).ok()?, u16::try_from(row.closes_min).ok()?)
        })
        .collect()
}

fn stretch(span: &Span) -> Option<Stretch> {
    Some((instant_of_ms(span.start_ms())?, instant_of_ms(span.end_ms())?))
}

/// What is left of stretches without others.
fn without(mut here: Vec<Stretch>, gone: &[Stretch]) -> Vec<Stretch> {
    for (from, to) in gone {
        here = here
            .into_iter()
            .flat_map(|(f, t)| [(f, t.min(*from)), (f.max(*to), t)])
            .filter(|(f, t)| f < t)
            .collect();
    }
    here
}

/// Everybody's hours, absences and other heads for a day on.
struct Calendar {
    zone: Zone,
    team: Vec<Person>,
    rows: Vec<HoursRow>,
    absences: Vec<openings::Taken<i64>>,
    now: OffsetDateTime,
}

impl Calendar {
    async fn read(s: &mut Scoped, now: OffsetDateTime) -> Stored<Calendar> {
        let salon =
            salons::find(s).await?.ok_or_else(|| StoreError::Corrupt("salon", s.salon.to_string()))?;
        let zone = Zone::find(&salon.zone).ok_or_else(|| StoreError::Corrupt("salon", salon.zone.clone()))?;
        let team = people::list(s).await?.into_iter().filter(|p| !p.left && !p.disabled).collect();
        let rows = openings::list_hours(s).await?;
        let absences = openings::list_absences(s, now, now + Duration::hours(LOOK_HOURS)).await?;
        Ok(Calendar { zone, team, rows, absences, now })
    }

    /// Somebody's hours are entered for today.
    fn any_today(&self) -> bool {
        let today = self.zone.day_of(self.now).weekday().number_from_monday();
        self.rows
            .iter()
            .any(|r| r.weekday == i16::from(today) && self.team.iter().any(|p| p.id.0 == r.person_id))
    }

    fn enters_hours(&self, person: &Person) -> bool {
        self.rows.iter().any(|r| r.person_id == person.id.0)
    }

    /// Hours of yesterday (past midnight they may touch today's), today and tomorrow, less absences.
    /// Who acts and came before their day's hours is here from now on.
    fn here(&self, person: &Person, acts: bool) -> Vec<Stretch> {
        let today = self.zone.day_of(self.now);
        let first = today.previous_day().unwrap_or(today);
        let spans = self.zone.hours(first, 3, &week(&self.rows, person));
        let mut here: Vec<Stretch> = spans.iter().filter_map(stretch).collect();
        let begins = here.iter().filter(|(f, _)| self.zone.day_of(*f) == today).map(|(f, _)| *f).min();
        if let Some(begins) = begins.filter(|b| acts && *b > self.now) {
            here.push((self.now, begins));
        }
        let gone: Vec<Stretch> =
            self.absences.iter().filter(|a| a.what == person.id.0).map(|a| (a.from_at, a.to_at)).collect();
        without(here, &gone)
    }
}

/// Until when hands qualified for this run stay, as far as hours, absences and bookings tell; `acts`
/// is who would start the step.
///
/// # Errors
/// Those of the store.
pub async fn known(s: &mut Scoped, loaded: &Loaded, acts: Option<&Person>) -> Stored<HandsKnown> {
    let now = loaded.now;
    let calendar = Calendar::read(s, now).await?;
    let family = loaded.frame.protocol.family;
    let qualified = |p: &&Person| {
        let a = actor(p);
        a.may_open() && a.qualified.contains(&family)
    };
    let named = loaded.events.iter().rev().find_map(|e| match &e.kind {
        EventKind::Granted(Granted::HandsNamed { person }) => Some(*person),
        _ => None,
    });
    if calendar.team.iter().filter(qualified).any(|p| Some(p.id) == named) {
        return Ok(HandsKnown::Named);
    }
    let acts = acts.filter(qualified);
    if !calendar.any_today() || acts.is_some_and(|p| !calendar.enters_hours(p)) {
        return Ok(HandsKnown::NotKnown);
    }
    let until = now + Duration::hours(LOOK_HOURS);
    let taken = hours::list_taken_elsewhere(s, ClientId(loaded.run.client_id), now, until).await?;
    let people: Vec<Presence> = calendar
        .team
        .iter()
        .filter(qualified)
        .map(|p| Presence {
            here: calendar.here(p, acts.is_some_and(|a| a.id == p.id)),
            taken: taken.iter().filter(|t| t.what == p.id.0).map(|t| (t.from_at, t.to_at)).collect(),
        })
        .collect();
    Ok(hands_known(&people, &loaded.state().stylist_wanted(now), now, until))
}

/// An opening step asks that hands stay.
pub fn asked_for(step: Option<&Step>) -> bool {
    step.is_some_and(Step::is_opening)
}

/// Pairs of hands in now: people who treat hair, by their hours. Where no hours are entered for today, or
/// nobody's hours are now, everybody who treats hair; managers count when there is nobody else.
///
/// # Errors
/// Those of the store.
pub async fn pairs_here(s: &mut Scoped, now: OffsetDateTime) -> Stored<u32> {
    let calendar = Calendar::read(s, now).await?;
    let treats = |p: &&Person| may(p.role, Act::StartStep) && p.role != Role::Manager;
    let in_now = |p: &&Person| calendar.here(p, false).iter().any(|(f, t)| *f <= now && now < *t);
    let all = calendar.team.iter().filter(treats).count();
    let here = calendar.team.iter().filter(treats).filter(in_now).count();
    let count = if here > 0 { here } else { all };
    Ok(u32::try_from(count.max(1)).unwrap_or(1))
}
