//! Who asks: which station, which person, locked or not.
//!
//! Two cookies: the station's token (long, paired once) and the session's token (a sign-in). Both carry the
//! salon's id, so that the database can be told whose rows to show before the first look-up.

use std::convert::Infallible;

use axum::extract::{FromRef, FromRequestParts, OptionalFromRequestParts};
use axum::http::request::Parts;
use axum_extra::extract::CookieJar;
use axum_extra::extract::cookie::{Cookie, SameSite};

use crate::app::App;
use crate::domain::access::{Act, may};
use crate::domain::ids::{PersonId, RunId, SalonId, StationId};
use crate::secret;
use crate::store::people::{self, Person};
use crate::store::salons::{self, Salon};
use crate::store::stations::{self, Station};
use crate::store::{Scoped, Stored, sessions};
use crate::web::page::PART_HEADER;
use crate::web::problem::Problem;
use crate::web::shell::{ScreenLink, Shell, Theme};
use crate::words::{self, Language, Unit};

pub use crate::flow::sign_in::STATION_IDLE_S;

/// Idle seconds after which a manager's sign-in off a station locks.
pub const AWAY_IDLE_S: f64 = 900.0;

/// Who sits in the seat.
#[derive(Clone, Debug)]
pub enum Who {
    /// Nobody signed in.
    Nobody,
    /// Somebody was, but the station locked itself: clocks go on, health answers are hidden.
    Locked(Person),
    /// Signed in.
    In(Person),
}

/// A run handed on to a station where somebody else is signed in.
#[derive(Clone, Debug)]
pub struct HandedOn {
    /// Which.
    pub run: RunId,
    /// By whom.
    pub by: Person,
    /// The sign-in that waits.
    pub session_id: i64,
}

/// A request from a known place.
#[derive(Clone)]
pub struct Seat {
    pub app: App,
    pub salon: SalonId,
    pub salon_row: Salon,
    /// The paired station; none for a manager elsewhere.
    pub station: Option<Station>,
    pub who: Who,
    pub session_id: Option<i64>,
    /// The sign-in is for this run only ("on to the basin").
    pub armed_run: Option<RunId>,
    /// Somebody else handed a run on to this station while its person is signed in: nobody's name changes by itself.
    pub handed_on: Option<HandedOn>,
    /// The chemical step under way that keeps this station its person's.
    pub held_run: Option<RunId>,
    theme: Theme,
    path: String,
}

/// Name of a cookie; `__Host-` where the connection is secure.
fn cookie_name(app: &App, name: &str) -> String {
    if app.settings.secure { format!("__Host-rinsebell_{name}") } else { format!("rinsebell_{name}") }
}

/// A cookie of ours: not for scripts, not for other sites.
pub fn cookie(app: &App, name: &str, salon: SalonId, token: &str, days: i64) -> Cookie<'static> {
    Cookie::build((cookie_name(app, name), format!("{salon}.{token}")))
        .path("/")
        .http_only(true)
        .same_site(SameSite::Lax)
        .secure(app.settings.secure)
        .max_age(time::Duration::days(days))
        .build()
}

/// A cookie that takes ours away.
pub fn no_cookie(app: &App, name: &str) -> Cookie<'static> {
    Cookie::build((cookie_name(app, name), ""))
        .path("/")
        .secure(app.settings.secure)
        .max_age(time::Duration::ZERO)
        .build()
}

/// Cookie name part of a station's token.
pub const STATION: &str = "station";
/// Cookie name part of a session's token.
pub const SESSION: &str = "seat";

fn token(jar: &CookieJar, app: &App, name: &str) -> Option<(SalonId, Vec<u8>)> {
    let value = jar.get(&cookie_name(app, name))?.value().to_string();
    let (salon, token) = value.split_once('.')?;
    if token.is_empty() || token.len() > 100 {
        return None;
    }
    Some((salon.parse().ok()?, secret::token_hash(token)))
}

impl Seat {
    async fn find(parts: &Parts, app: &App) -> Stored<Option<Seat>> {
        let jar = CookieJar::from_headers(&parts.headers);
        let station_token = token(&jar, app, STATION);
        let session_token = token(&jar, app, SESSION);
        let Some(salon) = station_token.as_ref().or(session_token.as_ref()).map(|t| t.0) else {
            return Ok(None);
        };
        let mut s = app.begin(salon).await?;
        let Some(salon_row) = salons::find(&mut s).await? else { return Ok(None) };
        let station = match &station_token {
            Some((_, hash)) => stations::find_by_token(&mut s, hash).await?,
            None => None,
        };
        let mut session = match &session_token {
            Some((of, hash)) if *of == salon => sessions::find_by_token(&mut s, hash).await?,
            _ => None,
        };
        // A session made at a station is that station's alone.
        if session.as_ref().is_some_and(|x| x.station_id != station.as_ref().map(|y| y.station_id)) {
            session = None;
        }
        // Nobody's, or left idle: whoever was armed for this station goes on. Else both are known, and asked about.
        let mut waiting = None;
        if let Some(st) = &station {
            let armed = sessions::find_armed(&mut s, StationId(st.station_id)).await?;
            let works = |x: &sessions::Session| x.idle_s <= STATION_IDLE_S || x.held || x.armed;
            match (&session, armed) {
                (Some(own), Some(armed)) if works(own) => {
                    waiting = Some(armed).filter(|a| a.session_id != own.session_id);
                }
                (_, Some(armed)) => session = Some(armed),
                (_, None) => {}
            }
        }
        if station.is_none() && session.is_none() {
            return Ok(None);
        }
        let mut seat = Seat {
            app: app.clone(),
            salon,
            salon_row,
            station,
            who: Who::Nobody,
            session_id: session.as_ref().map(|x| x.session_id),
            armed_run: None,
            handed_on: None,
            held_run: None,
            theme: Theme::from_cookie(jar.get(Theme::COOKIE).map(Cookie::value)),
            path: parts.uri.path_and_query().map_or_else(|| "/".into(), |p| p.to_string()),
        };
        words::speak(seat.salon_row.speaks());
        words::measure_in(seat.salon_row.measures());
        if let Some(session) = session {
            seat.sit(&mut s, session, parts).await?;
        }
        if let Some((armed, run)) = waiting.and_then(|a| Some((a.clone(), a.armed_run_id?))) {
            let by =
                people::find(&mut s, PersonId(armed.person_id)).await?.filter(|p| !p.left && !p.disabled);
            seat.handed_on = by.map(|by| HandedOn { run: RunId(run), by, session_id: armed.session_id });
        }
        s.commit().await?;
        Ok(Some(seat))
    }

    async fn sit(&mut self, s: &mut Scoped, session: sessions::Session, parts: &Parts) -> Stored<()> {
        let Some(person) = people::find(s, PersonId(session.person_id)).await? else { return Ok(()) };
        if person.left || person.disabled {
            return Ok(());
        }
        let limit = if session.station_id.is_some() { STATION_IDLE_S } else { AWAY_IDLE_S };
        let kept = session.held || session.armed;
        if session.idle_s > limit && !kept {
            self.who = Who::Locked(person);
            return Ok(());
        }
        if let Some(own) = person.language.as_deref().and_then(Language::of_tag) {
            words::speak(own);
        }
        if let Some(own) = person.length_unit.as_deref().and_then(Unit::of_symbol) {
            words::measure_in(own);
        }
        self.who = Who::In(person);
        self.held_run = session.held.then_some(session.held_run_id).flatten().map(RunId);
        self.armed_run = session.armed_run_id.map(RunId);
        if session.armed_run_id.is_some() && !session.armed && !session.held {
            self.who = Who::Nobody;
        }
        if !parts.headers.contains_key(PART_HEADER) && !parts.uri.path().starts_with("/live") {
            sessions::touch(s, session.session_id).await?;
        }
        Ok(())
    }

    /// The person signed in and not locked.
    pub fn person(&self) -> Option<&Person> {
        match &self.who {
            Who::In(p) => Some(p),
            _ => None,
        }
    }

    /// The station's id, if this browser is one.
    pub fn station_id(&self) -> Option<StationId> {
        self.station.as_ref().map(|s| StationId(s.station_id))
    }

    /// True when the signed-in person may do this (never while locked).
    pub fn may(&self, act: Act) -> bool {
        self.armed_run.is_none() && self.person().is_some_and(|p| may(p.role, act))
    }

    /// The person, if signed in and allowed; else the right problem.
    pub fn require(&self, act: Act) -> Result<&Person, Problem> {
        let person = self.person().ok_or_else(|| Problem::Locked { next: self.path.clone() })?;
        if self.armed_run.is_some() {
            return Err(Problem::Locked { next: self.path.clone() });
        }
        if may(person.role, act) {
            Ok(person)
        } else {
            Err(Problem::Forbidden(tr!("Your role does not do this. A manager can say who does.")))
        }
    }

    /// The same for an act on one run, which somebody armed for that run may do as well.
    pub fn require_on_run(&self, act: Act, run: RunId) -> Result<&Person, Problem> {
        let person = self.person().ok_or_else(|| Problem::Locked { next: format!("/runs/{run}") })?;
        if self.armed_run.is_some_and(|armed| armed != run) {
            return Err(Problem::Locked { next: format!("/runs/{run}") });
        }
        if may(person.role, act) {
            Ok(person)
        } else {
            Err(Problem::Forbidden(tr!("Your role does not do this. A stylist can.")))
        }
    }

    /// Opens a transaction on this seat's salon.
    pub async fn begin(&self) -> Stored<Scoped> {
        self.app.begin(self.salon).await
    }

    /// Where a screen of a station hears of the heads beside it; a service's own screen says its own.
    fn alarm_part(&self, current: &str) -> String {
        if self.station.is_none() || current == "/floor" {
            return String::new();
        }
        let own = self.path.strip_prefix("/runs/").and_then(|rest| rest.split(['/', '?']).next());
        if let Some(id) = own.and_then(|id| id.parse::<i64>().ok()) {
            return format!("/alarm?but={id}");
        }
        // What stands here is for who is signed in: covered on every tab when that ends. A service under way has its own rule,
        // the Floor shrinks its names.
        match self.person() {
            Some(p) if !matches!(current, "/runs" | "/lock" | "/sign-in") => format!("/alarm?of={}", p.id),
            _ => "/alarm".to_owned(),
        }
    }

    /// The frame of a screen. `now` is the database's clock.
    pub fn shell(&self, now: time::OffsetDateTime, current: &str, topics: &[&str]) -> Shell {
        let line: [(&str, &str, Option<Act>); 13] = [
            (tr!("Floor"), "/floor", None),
            (tr!("Day sheet"), "/day", Some(Act::Book)),
            (tr!("Clients"), "/clients", Some(Act::SeeClients)),
            (tr!("Regrowth"), "/regrowth", Some(Act::FollowUp)),
            (tr!("Openings"), "/openings", Some(Act::Book)),
            (tr!("Messages"), "/messages", Some(Act::FollowUp)),
            (tr!("Shelf"), "/shelf", Some(Act::SeeShelf)),
            (tr!("Protocols"), "/protocols", Some(Act::KeepProtocols)),
            (tr!("Calendar"), "/calendar", Some(Act::SeeClients)),
            (tr!("Team"), "/team", Some(Act::KeepTeam)),
            (tr!("Sign-off book"), "/proof", Some(Act::SeeProof)),
            (tr!("Overview"), "/overview", Some(Act::SeeOverview)),
            (tr!("Practice"), "/practice", Some(Act::StartStep)),
        ];
        let seen: Vec<(&str, &str)> = line
            .iter()
            .filter(|(_, _, act)| act.is_none_or(|a| self.may(a)))
            // Whoever has the day sheet finds it there.
            .filter(|(_, href, _)| *href != "/calendar" || !self.may(Act::Book))
            .map(|(n, h, _)| (*n, *h))
            .collect();
        let place = self.station.as_ref().map_or(tr!("Away from a station"), |s| s.name.as_str());
        let (who, act, href) = match &self.who {
            Who::In(p) => (p.name.clone(), tr!("Lock"), "/lock"),
            Who::Locked(p) => (tr!("locked, {}", first_name(&p.name)), tr!("Unlock"), "/sign-in"),
            Who::Nobody => (tr!("nobody signed in").to_string(), tr!("Sign in"), "/sign-in"),
        };
        Shell {
            salon_name: self.salon_row.name.clone(),
            zone: self.salon_row.zone.clone(),
            screens: ScreenLink::line(&seen, current),
            where_line: format!("{place} · {who}"),
            where_href: href.into(),
            where_act: act.into(),
            practice: self.app.settings.practice,
            topics: topics.iter().map(|t| (*t).to_string()).collect(),
            alarm: self.alarm_part(current),
            loudest: None,
            live: true,
            theme: self.theme,
            ..Shell::plain("", (now.unix_timestamp_nanos() / 1_000_000) as i64)
        }
    }
}

/// What a locked station shows of a name, and what is shown where few words fit.
pub use crate::domain::name::{first_word as first_name, short as short_name};

impl<S> FromRequestParts<S> for Seat
where
    App: FromRef<S>,
    S: Send + Sync,
{
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Problem> {
        Seat::find(parts, &App::from_ref(state)).await?.ok_or(Problem::Stranger)
    }
}

impl<S> OptionalFromRequestParts<S> for Seat
where
    App: FromRef<S>,
    S: Send + Sync,
{
    type Rejection = Infallible;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Option<Self>, Infallible> {
        Ok(Seat::find(parts, &App::from_ref(state)).await.unwrap_or_default())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_shrink_to_first_name_and_initial() {
        assert_eq!(short_name("Nerys Amblin"), "Nerys A.");
        assert_eq!(short_name("Ilka"), "Ilka");
        assert_eq!(short_name("Ana María del Río"), "Ana R.");
        assert_eq!(short_name("ندى الحسن"), "ندى ا.");
    }
}
