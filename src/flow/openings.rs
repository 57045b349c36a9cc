//! Finding openings: the records made into one question to `domain::booking`, and its answer.

use time::{Date, Duration, OffsetDateTime, Weekday};

use super::own_hair::{closed_spans, own_hair};
use super::services::Services;
pub use super::skin_state::{PATCH_HOURS_BEFORE, SkinTest, skin_test};
use crate::app::App;
use crate::calendar::{WeekdayHours, Zone, instant_of_ms};
use crate::domain::booking::minutes::{OwnHair, planned, shortened};
use crate::domain::booking::service::{
    Offer, Service, may_do, offers, opens_nothing, places_patch_tests, service_of, service_with,
};
use crate::domain::booking::{Grid, PatchVisit, PlaceKind, PlaceStock, Search, Span, Worker, ms_of};
use crate::domain::ids::{BookingId, ClientId, PersonId};
use crate::domain::protocol::{Chemical, Protocol, Step};
use crate::store::openings::{self as store, OpenRun};
use crate::store::people::{self, Person};
use crate::store::{Scoped, Stored, clients, dues};

/// Starts are looked for every quarter of an hour.
pub const STEP_MIN: i64 = 15;
/// How long placing a patch test takes, minutes (common practice, no source).
pub const PATCH_VISIT_MIN: i64 = 15;
/// Openings shown.
pub const MOST: usize = 6;
/// Openings the shown ones are chosen from.
const LOOKED_AT: usize = 400;
/// Openings of one day among those shown, while there are other days.
const OF_A_DAY: usize = 2;
/// Two openings of one day lie so far apart, milliseconds.
const APART_MS: i64 = 60 * 60_000;
/// Farthest ahead anything is booked, days.
pub const AHEAD_DAYS: i64 = 400;

/// A wish.
#[derive(Clone, Debug)]
pub struct Wish {
    pub client: ClientId,
    /// The service, by its protocol's code.
    pub protocol: String,
    /// Openings nearest to this first.
    pub wanted: OffsetDateTime,
    /// How many days to either side of the wanted one are looked at.
    pub days: u16,
    /// Asked for before the due window opens.
    pub early: bool,
    /// A booking that is given up for it.
    pub moving: Option<BookingId>,
    /// Nothing before this: a client who comes late.
    pub arrives: Option<OffsetDateTime>,
    /// What may be shortened takes its fewest minutes.
    pub short: bool,
    /// Whose hands open the hair; anybody's who may when none is named.
    pub with: Option<PersonId>,
}

/// Why nothing may be booked for this client now. The reasons name no finding: reception reads them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Barred {
    /// The newest plan was refused.
    PlanRefused,
    /// The skin reacted to a product of this service.
    SkinReacted,
    /// The salon gives it no more.
    NotOffered,
}

/// What was found.
#[derive(Clone, Debug)]
pub struct Found {
    /// In the search's order.
    pub offers: Vec<Offer>,
    /// The people of the offers, by their index there.
    pub team: Vec<Person>,
    pub service: Service,
    pub skin: SkinTest,
    /// Nothing before this, and why.
    pub not_before: Option<(OffsetDateTime, Floor)>,
    pub usual: Option<PersonId>,
    /// Who is taken when, as the search saw it: for marking the least fragmented.
    pub workers: Vec<Worker>,
    /// The client's own hair, where it changes the minutes.
    pub hair: OwnHair,
}

/// Why there is nothing before a day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Floor {
    /// The due window opens then.
    Window,
    /// A wait between chemistries ends then.
    Wait,
    /// The patch test has been on long enough then.
    PatchTest,
}

/// How a search ended.
#[derive(Debug)]
pub enum Looked {
    Found(Box<Found>),
    Barred(Barred),
    /// There is no such client or service.
    NotFound,
}

/// Regular hours of one person.
pub(super) fn hours_of(rows: &[store::HoursRow], person: i64) -> Vec<WeekdayHours> {
    rows.iter()
        .filter(|row| row.person_id == person)
        .filter_map(|row| {
            let day = Weekday::Monday.nth_next(u8::try_from(row.weekday - 1).ok()?);
            WeekdayHours::new(day, u16::try_from(row.opens_min).ok()?, u16::try_from(row.closes_min).ok()?)
        })
        .collect()
}

fn span_of(from: OffsetDateTime, to: OffsetDateTime) -> Option<Span> {
    Span::new(ms_of(from), ms_of(to))
}

/// Assistants first, so that rinsing falls to them; then the usual stylist, then the others by name.
fn team_order(mut team: Vec<Person>, usual: Option<i64>) -> Vec<Person> {
    use crate::domain::access::Role;
    team.retain(|p| !p.left && !p.disabled && p.role != Role::Reception);
    team.sort_by_key(|p| {
        let rank = match p.role {
            Role::Assistant => 0,
            _ if Some(p.id.0) == usual => 1,
            Role::Manager => 3,
            _ => 2,
        };
        (rank, p.name.clone())
    });
    team
}

/// What the calendar holds in a stretch of time.
pub struct Calendar {
    pub team: Vec<Person>,
    pub workers: Vec<Worker>,
    pub places: Vec<PlaceStock>,
}

/// Reads hours, absences, taken hands and places, and runs under way, on `days` local days from `first`.
///
/// # Errors
/// Those of the store.
pub async fn read_calendar(
    s: &mut Scoped,
    app: &App,
    zone: &Zone,
    (first, days): (Date, u32),
    usual: Option<i64>,
    moving: Option<BookingId>,
) -> Stored<Calendar> {
    let (from, to) = (zone.midnight(first), zone.midnight(first + Duration::days(i64::from(days) + 1)));
    let team = team_order(people::list(s).await?, usual);
    let hours = store::list_hours(s).await?;
    let absences = store::list_absences(s, from, to).await?;
    let closed = closed_spans(s, zone, (first, days)).await?;
    let hands = store::list_taken_hands(s, from, to, moving).await?;
    let mut workers: Vec<Worker> = team
        .iter()
        .map(|p| {
            let mine = absences.iter().chain(&hands).filter(|t| t.what == p.id.0);
            Worker {
                may: may_do(p.role, &p.qualifications),
                hours: zone.hours(first, days, &hours_of(&hours, p.id.0)),
                taken: mine.filter_map(|t| span_of(t.from_at, t.to_at)).chain(closed.clone()).collect(),
            }
        })
        .collect();
    let taken = store::list_taken_places(s, from, to, moving).await?;
    let mut places: Vec<PlaceStock> = store::list_place_counts(s)
        .await?
        .into_iter()
        .map(|(kind, count)| PlaceStock {
            taken: taken
                .iter()
                .filter(|t| t.what == kind)
                .filter_map(|t| span_of(t.from_at, t.to_at))
                .collect(),
            kind: PlaceKind(kind),
            count: usize::try_from(count).unwrap_or(0),
        })
        .collect();
    let now = s.now().await?;
    for run in store::list_open_runs(s).await?.iter().filter(|run| !run.booked) {
        // As it was begun: a run keeps its revision.
        let Some(protocol) = super::runs::protocol(s, app, &run.protocol, run.revision).await? else {
            continue;
        };
        let Ok(service) = service_of(&protocol) else { continue };
        take_run(&service, run, now, &team, &mut workers, &mut places);
    }
    Ok(Calendar { team, workers, places })
}

/// A run nobody booked takes the hands of who started it, and its places, as long as its steps usually take;
/// one that has run longer is taken to end in a quarter of an hour.
fn take_run(
    service: &Service,
    run: &OpenRun,
    now: OffsetDateTime,
    team: &[Person],
    workers: &mut [Worker],
    places: &mut [PlaceStock],
) {
    let (chain, start_ms) = (&service.chain, ms_of(run.started_at));
    let last = chain.segments().len() - 1;
    let person = team.iter().position(|p| p.id.0 == run.started_by);
    for (index, segment) in chain.segments().iter().enumerate() {
        let mut span = chain.span(index, start_ms);
        if index == last {
            let until_ms = span.end_ms().max(ms_of(now) + STEP_MIN * 60_000);
            span = Span::new(span.start_ms(), until_ms).unwrap_or(span);
        }
        if let (Some(person), true) = (person, segment.hands.is_some()) {
            workers[person].taken.push(span);
        }
        for kind in &segment.places {
            if let Some(stock) = places.iter_mut().find(|stock| stock.kind == *kind) {
                stock.taken.push(span);
            }
        }
    }
}

/// Whether anything of this service opens the hair.
pub fn is_chemical(protocol: &Protocol) -> bool {
    protocol.applications.iter().any(|a| a.chemical == Chemical::Opening)
}

/// The first quarter of an hour at `now` or after it, counted from the local midnight before it.
pub(super) fn first_start_ms(zone: &Zone, now: OffsetDateTime) -> i64 {
    let midnight_ms = ms_of(zone.midnight(zone.day_of(now)));
    let step_ms = STEP_MIN * 60_000;
    let past_ms = ms_of(now) + 1 - midnight_ms;
    midnight_ms + (past_ms + step_ms - 1).div_euclid(step_ms) * step_ms
}

/// Looks for openings. `only` asks for one start alone: is it still an opening?
///
/// # Errors
/// Those of the store.
pub async fn find_openings(
    s: &mut Scoped,
    app: &App,
    zone: &Zone,
    valid_days: i64,
    wish: &Wish,
    only: Option<OffsetDateTime>,
) -> Stored<Looked> {
    // The salon's own minutes, where it has its own.
    let reference = &app.reference;
    let found = super::protocols::in_force(s, app, &wish.protocol).await?;
    let Some(protocol) = &found else { return Ok(Looked::NotFound) };
    let Some(client) = clients::find(s, wish.client).await? else { return Ok(Looked::NotFound) };
    if !Services::load(s, reference).await?.is_offered(&wish.protocol) {
        return Ok(Looked::Barred(Barred::NotOffered));
    }
    let now = s.now().await?;
    let today = zone.day_of(now);
    let hair = own_hair(s, reference, wish.client, today).await?;
    let minutes = |step: &Step| {
        if wish.short { shortened(step, &hair) } else { planned(step, &hair) }
    };
    let Ok(service) = service_with(protocol, minutes) else {
        return Ok(Looked::NotFound);
    };
    let wanted_day = zone.day_of(wish.wanted).clamp(today, today + Duration::days(AHEAD_DAYS));
    let last_day = wanted_day + Duration::days(i64::from(wish.days));
    let until = zone.midnight(last_day + Duration::days(1));
    let plan = store::find_open_plan(s, wish.client).await?;
    if plan.as_ref().is_some_and(|(verdict, _)| verdict == "refuse") {
        return Ok(Looked::Barred(Barred::PlanRefused));
    }
    let states = store::list_skin_tests(s, &[wish.client.0], std::slice::from_ref(&wish.protocol)).await?;
    let skin = skin_test(&states, is_chemical(protocol), valid_days, now, until);
    if skin == SkinTest::Reacted {
        return Ok(Looked::Barred(Barred::SkinReacted));
    }
    let due = dues::find(s, wish.client).await?.filter(|due| due.protocol == wish.protocol && !wish.early);
    let wait = plan.and_then(|(_, until)| until);
    let not_before = [
        due.map(|due| (zone.midnight(due.early_on), Floor::Window)),
        wait.map(|day| (zone.midnight(day), Floor::Wait)),
        match skin {
            SkinTest::Unread { from } => Some((from, Floor::PatchTest)),
            _ => None,
        },
    ];
    let not_before = not_before.into_iter().flatten().max_by_key(|(at, _)| *at).filter(|(at, _)| *at > now);
    let days = u32::try_from((last_day - today).whole_days() + 1).unwrap_or(1);
    let mut calendar =
        read_calendar(s, app, zone, (today, days), client.usual_person_id, wish.moving).await?;
    if let Some(with) = wish.with {
        for (person, worker) in calendar.team.iter().zip(&mut calendar.workers) {
            if person.id != with {
                opens_nothing(worker);
            }
        }
    }
    let visit = PatchVisit {
        length_ms: PATCH_VISIT_MIN * 60_000,
        least_before_ms: PATCH_HOURS_BEFORE * 3_600_000,
        may: Some(places_patch_tests()),
    };
    let first_day = zone.midnight((wanted_day - Duration::days(i64::from(wish.days))).max(today));
    let late = wish.arrives.unwrap_or(first_day);
    let floor_ms = ms_of(first_day.max(late).max(not_before.map_or(first_day, |(at, _)| at)));
    let search = Search {
        grid: Grid {
            first_ms: first_start_ms(zone, now),
            until_ms: ms_of(until),
            step_ms: STEP_MIN * 60_000,
        },
        people: &calendar.workers,
        places: &calendar.places,
        chain: &service.chain,
        patch_test: (skin == SkinTest::Visit).then_some(&visit),
        not_before_ms: Some(floor_ms),
        wanted_ms: ms_of(only.unwrap_or(wish.wanted)),
        most: if only.is_some() { 1 } else { LOOKED_AT },
    };
    let mut offers = offers(&search, &service);
    if let Some(only) = only {
        offers.retain(|offer| offer.opening.span.start_ms() == ms_of(only));
    } else {
        offers = spread(offers, zone);
    }
    Ok(Looked::Found(Box::new(Found {
        offers,
        team: calendar.team,
        service,
        skin,
        not_before,
        usual: client.usual_person_id.map(PersonId),
        workers: calendar.workers,
        hair,
    })))
}

/// Of the nearest openings those worth showing: a few of each day, an hour apart, so that somebody who cannot come that
/// day has a choice; where there is one day alone, as many of it as fit. Nearest first, as they came.
fn spread(offers: Vec<Offer>, zone: &Zone) -> Vec<Offer> {
    let start = |offer: &Offer| offer.opening.span.start_ms();
    let day = |ms: i64| instant_of_ms(ms).map(|at| zone.day_of(at));
    let mut taken: Vec<usize> = Vec::new();
    for of_a_day in [OF_A_DAY, MOST] {
        for (n, offer) in offers.iter().enumerate() {
            let (at, full) = (start(offer), taken.len() >= MOST);
            let same_day: Vec<i64> =
                taken.iter().map(|t| start(&offers[*t])).filter(|ms| day(*ms) == day(at)).collect();
            let apart = same_day.iter().all(|ms| (ms - at).abs() >= APART_MS);
            if !full && apart && same_day.len() < of_a_day {
                taken.push(n);
            }
        }
    }
    taken.sort_unstable();
    let mut offers: Vec<Option<Offer>> = offers.into_iter().map(Some).collect();
    taken.into_iter().filter_map(|n| offers[n].take()).collect()
}

/// One stretch of somebody's hands in an offer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Part {
    pub person: PersonId,
    pub name: String,
    pub from: OffsetDateTime,
    pub to: OffsetDateTime,
    /// The second pair beside the first.
    pub second: bool,
}

fn instants(span: Span) -> (OffsetDateTime, OffsetDateTime) {
    let at = |ms| instant_of_ms(ms).expect("the grid lies within the calendar");
    (at(span.start_ms()), at(span.end_ms()))
}

impl Found {
    /// Whose hands an offer takes, in order of beginning.
    #[must_use]
    pub fn parts(&self, offer: &Offer) -> Vec<Part> {
        let firsts = offer.opening.hands.iter().map(|(_, named)| (named, false));
        let seconds = offer.seconds.iter().map(|named| (named, true));
        let mut parts: Vec<Part> = firsts
            .chain(seconds)
            .map(|(named, second)| {
                let (from, to) = instants(named.span);
                let person = &self.team[named.person];
                Part { person: person.id, name: person.name.clone(), from, to, second }
            })
            .collect();
        parts.sort_by_key(|part| (part.from, part.second));
        parts
    }

    /// Which kinds of place an offer takes, in order of beginning.
    #[must_use]
    pub fn places(&self, offer: &Offer) -> Vec<(String, OffsetDateTime, OffsetDateTime)> {
        let start_ms = offer.opening.span.start_ms();
        let chain = &self.service.chain;
        let mut places: Vec<(String, OffsetDateTime, OffsetDateTime)> = Vec::new();
        for (index, segment) in chain.segments().iter().enumerate() {
            let (from, to) = instants(chain.span(index, start_ms));
            for kind in &segment.places {
                // Neighbouring segments at one kind of place are one stay there.
                match places.iter_mut().find(|(k, _, until)| *k == kind.0 && *until == from) {
                    Some(stay) if segment.places.iter().filter(|k| *k == kind).count() == 1 => stay.2 = to,
                    _ => places.push((kind.0.clone(), from, to)),
                }
            }
        }
        places
    }

    /// The patch-test visit of an offer.
    #[must_use]
    pub fn patch_visit(&self, offer: &Offer) -> Option<Part> {
        offer.opening.patch_test.map(|named| {
            let (from, to) = instants(named.span);
            let person = &self.team[named.person];
            Part { person: person.id, name: person.name.clone(), from, to, second: false }
        })
    }

    /// From when to when an offer is.
    #[must_use]
    pub fn span(&self, offer: &Offer) -> (OffsetDateTime, OffsetDateTime) {
        instants(offer.opening.span)
    }

    /// Who and when, as one line of text: an offer that is asked for again must still be the same.
    #[must_use]
    pub fn print(&self, offer: &Offer) -> String {
        let parts = self.parts(offer).into_iter().chain(self.patch_visit(offer));
        parts.map(|p| format!("{}@{}", p.person, p.from.unix_timestamp())).collect::<Vec<_>>().join(",")
    }
}
