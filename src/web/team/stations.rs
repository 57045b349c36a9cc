//! Stations: shared browsers, paired once by a manager.

use askama::Template;
use axum::extract::Path;
use axum::response::{IntoResponse as _, Response};
use axum_extra::extract::{CookieJar, Form};
use serde::Deserialize;

use super::problem;
use crate::calendar::Zone;
use crate::domain::access::Act;
use crate::domain::ids::StationId;
use crate::flow::team::{self as flow, TeamRefused};
use crate::store::Scoped;
use crate::store::stations::{self, Station};
use crate::web::form::{Choice, Errors};
use crate::web::problem::{Answered, Problem};
use crate::web::seat::{self, Seat};
use crate::web::shell::Shell;
use crate::web::sign_in::KINDS;
use crate::web::{once, page, typed};

/// A station as typed.
#[derive(Clone, Default, Deserialize)]
#[serde(default)]
pub struct TypedStation {
    once: String,
    name: String,
    kind: String,
}

impl TypedStation {
    fn read(&self) -> (String, Errors) {
        let mut e = Errors::none();
        let name = typed::needed(
            &mut e,
            "name",
            &self.name,
            60,
            tr!("Write what this station is called, such as Chair 1."),
        );
        if !KINDS.iter().any(|(c, _)| *c == self.kind) {
            e.note("kind", tr!("Choose where it stands."));
        }
        (name, e)
    }
}

#[derive(Template)]
#[template(path = "team/station.html")]
struct StationPage {
    shell: Shell,
    errors: Errors,
    once_key: String,
    /// None for a new one.
    station: Option<Station>,
    name: String,
    kinds: Vec<Choice>,
    /// Shown this once.
    code: String,
    until: String,
    here: bool,
}

async fn station_page(
    seat: &Seat,
    station: Option<Station>,
    f: Option<&TypedStation>,
    errors: Errors,
) -> Result<StationPage, Problem> {
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    s.commit().await?;
    let kept = station.as_ref().map_or_else(TypedStation::default, |x| TypedStation {
        once: String::new(),
        name: x.name.clone(),
        kind: x.kind.clone(),
    });
    let f = f.unwrap_or(&kept);
    Ok(StationPage {
        shell: seat.shell(now, "/team", &["team"]),
        errors,
        once_key: once::key(),
        name: f.name.clone(),
        kinds: Choice::list(KINDS, &[if f.kind.is_empty() { "chair" } else { &f.kind }]),
        code: String::new(),
        until: String::new(),
        here: seat.station.as_ref().map(|x| x.station_id) == station.as_ref().map(|x| x.station_id),
        station,
    })
}

async fn find(s: &mut Scoped, raw: &str) -> Result<Station, Problem> {
    let id: StationId = raw.parse().map_err(|_| Problem::NotFound)?;
    stations::find(s, id).await?.ok_or(Problem::NotFound)
}

fn answered(page: &StationPage) -> Response {
    if page.errors.is_empty() { page::html(page) } else { page::refused(page) }
}

fn name_taken(e: &mut Errors) {
    e.note("name", tr!("A station is called so already."));
}

/// The empty form.
pub async fn new_form(seat: Seat) -> Answered {
    seat.require(Act::KeepTeam)?;
    Ok(answered(&station_page(&seat, None, None, Errors::none()).await?))
}

/// Adds a station; it waits for its browser.
pub async fn add(seat: Seat, Form(f): Form<TypedStation>) -> Answered {
    seat.require(Act::KeepTeam)?;
    let (name, mut errors) = f.read();
    if !errors.is_empty() {
        return Ok(answered(&station_page(&seat, None, Some(&f), errors).await?));
    }
    let mut s = seat.begin().await?;
    if let Some(again) = once::claim(&mut s, &f.once, "/team/stations").await? {
        return Ok(again);
    }
    match flow::add_station(&mut s, &name, &f.kind).await {
        Ok(id) => {
            let answer = once::settle(&mut s, &f.once, &format!("/team/stations/{id}")).await?;
            s.commit().await?;
            Ok(answer)
        }
        Err(TeamRefused::NameTaken) => {
            drop(s);
            name_taken(&mut errors);
            Ok(answered(&station_page(&seat, None, Some(&f), errors).await?))
        }
        Err(why) => Err(problem(why)),
    }
}

/// One station.
pub async fn one(seat: Seat, Path(id): Path<String>) -> Answered {
    seat.require(Act::KeepTeam)?;
    let mut s = seat.begin().await?;
    let station = find(&mut s, &id).await?;
    s.commit().await?;
    Ok(answered(&station_page(&seat, Some(station), None, Errors::none()).await?))
}

/// Another name or stand.
pub async fn change(seat: Seat, Path(id): Path<String>, Form(f): Form<TypedStation>) -> Answered {
    seat.require(Act::KeepTeam)?;
    let mut s = seat.begin().await?;
    let station = find(&mut s, &id).await?;
    let (name, mut errors) = f.read();
    if errors.is_empty() {
        let here = format!("/team/stations/{}", station.station_id);
        if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
            return Ok(again);
        }
        match flow::change_station(&mut s, StationId(station.station_id), &name, &f.kind).await {
            Ok(()) => {
                let answer = once::settle(&mut s, &f.once, &here).await?;
                s.commit().await?;
                return Ok(answer);
            }
            Err(TeamRefused::NameTaken) => name_taken(&mut errors),
            Err(why) => return Err(problem(why)),
        }
    }
    drop(s);
    Ok(answered(&station_page(&seat, Some(station), Some(&f), errors).await?))
}

/// A form that carries its key alone.
#[derive(Deserialize, Default)]
#[serde(default)]
pub struct Once {
    once: String,
}

/// Opens pairing and shows the code this once; sent again, the page comes without it.
pub async fn pairing(seat: Seat, Path(id): Path<String>, Form(f): Form<Once>) -> Answered {
    seat.require(Act::KeepTeam)?;
    let mut s = seat.begin().await?;
    let station = find(&mut s, &id).await?;
    let here = format!("/team/stations/{}", station.station_id);
    if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
        return Ok(again);
    }
    let now = s.now().await?;
    let code = flow::open_pairing(&mut s, StationId(station.station_id)).await.map_err(problem)?;
    once::settle(&mut s, &f.once, &here).await?;
    s.commit().await?;
    let zone = Zone::find(&seat.salon_row.zone).ok_or(Problem::Broken)?;
    let mut shown = station_page(&seat, Some(station), None, Errors::none()).await?;
    shown.until = zone.clock(now + time::Duration::minutes(10));
    shown.code = format!("{} {}", &code[..4], &code[4..]);
    Ok(answered(&shown))
}

/// This browser becomes the station.
pub async fn browser(seat: Seat, jar: CookieJar, Path(id): Path<String>, Form(f): Form<Once>) -> Answered {
    seat.require(Act::KeepTeam)?;
    let mut s = seat.begin().await?;
    let station = find(&mut s, &id).await?;
    if let Some(again) = once::claim(&mut s, &f.once, "/team/stations").await? {
        return Ok(again);
    }
    let token = flow::pair_here(&mut s, StationId(station.station_id)).await.map_err(problem)?;
    let answer = once::settle(&mut s, &f.once, "/sign-in").await?;
    s.commit().await?;
    let jar = jar
        .add(seat::cookie(&seat.app, seat::STATION, seat.salon, &token, 400))
        .add(seat::no_cookie(&seat.app, seat::SESSION));
    Ok((jar, answer).into_response())
}

/// The station's browser is a stranger from now on.
pub async fn revocation(seat: Seat, Path(id): Path<String>, Form(f): Form<Once>) -> Answered {
    seat.require(Act::KeepTeam)?;
    let mut s = seat.begin().await?;
    let station = find(&mut s, &id).await?;
    let here = format!("/team/stations/{}", station.station_id);
    if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
        return Ok(again);
    }
    flow::revoke_station(&mut s, StationId(station.station_id)).await.map_err(problem)?;
    let answer = once::settle(&mut s, &f.once, &here).await?;
    s.commit().await?;
    Ok(answer)
}
