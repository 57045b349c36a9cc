//! Team: people, qualifications, PINs, hours, stations, and the salon's own rules. Managers only.

mod days_off;
mod hours;
mod people;
mod salon;
mod stations;

use askama::Template;

use crate::domain::access::Act;
use crate::flow::team::TeamRefused;
use crate::store::hours as hours_store;
use crate::store::people as people_store;
use crate::store::stations as stations_store;
use crate::web::page;
use crate::web::problem::{Answered, Problem};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::shell::Shell;
use crate::words;

/// The routes of this screen.
pub const LINES: &[Line] = lines![
    get "/team" Open::To(Act::KeepTeam) => overview,
    get "/team/people/new" Open::To(Act::KeepTeam) => people::new_form,
    post "/team/people" Open::To(Act::KeepTeam) => people::hire,
    get "/team/people/{id}" Open::To(Act::KeepTeam) => people::one,
    post "/team/people/{id}" Open::To(Act::KeepTeam) => people::change,
    post "/team/people/{id}/pin" Open::To(Act::KeepTeam) => people::new_pin,
    post "/team/people/{id}/passphrase" Open::To(Act::KeepTeam) => people::new_passphrase,
    post "/team/people/{id}/presence" Open::To(Act::KeepTeam) => people::presence,
    post "/team/people/{id}/hours" Open::To(Act::KeepTeam) => hours::keep,
    get "/team/stations/new" Open::To(Act::KeepTeam) => stations::new_form,
    post "/team/stations" Open::To(Act::KeepTeam) => stations::add,
    get "/team/stations/{id}" Open::To(Act::KeepTeam) => stations::one,
    post "/team/stations/{id}" Open::To(Act::KeepTeam) => stations::change,
    post "/team/stations/{id}/pairing" Open::To(Act::KeepTeam) => stations::pairing,
    post "/team/stations/{id}/browser" Open::To(Act::KeepTeam) => stations::browser,
    post "/team/stations/{id}/revocation" Open::To(Act::KeepTeam) => stations::revocation,
    get "/team/days-off" Open::To(Act::KeepTeam) => days_off::list,
    post "/team/closed-days" Open::To(Act::KeepTeam) => days_off::close,
    post "/team/closed-days/end" Open::To(Act::KeepTeam) => days_off::open,
    post "/team/leave" Open::To(Act::KeepTeam) => days_off::leave,
    post "/team/leave/end" Open::To(Act::KeepTeam) => days_off::back,
    get "/team/salon" Open::To(Act::KeepTeam) => salon::form,
    post "/team/salon" Open::To(Act::KeepTeam) => salon::keep,
];

/// Chemistries a person may be qualified in, with their words.
const CHEMISTRIES: [(&str, &str); 5] = [
    ("thio", mark!("thio (straighteners, curl lotions)")),
    ("hydroxide", mark!("relaxers")),
    ("colour", mark!("colour")),
    ("lightener", mark!("lightener")),
    ("other", mark!("other chemistry")),
];

/// Days of the week by ISO number.
pub(super) use salon::WEEKDAYS;

/// Roles, with their words.
const ROLES: [(&str, &str); 4] = [
    ("stylist", mark!("stylist: gives chemical services")),
    ("assistant", mark!("assistant: rinses, neutralises, prepares")),
    ("reception", mark!("reception: books and follows up")),
    ("manager", mark!("manager: keeps team, stock and sign-off book as well")),
];

struct PersonLine {
    href: String,
    name: String,
    role: &'static str,
    opens: String,
    state: String,
}

struct StationLine {
    href: String,
    name: String,
    kind: &'static str,
    state: &'static str,
}

#[derive(Template)]
#[template(path = "team/team.html")]
struct TeamPage {
    shell: Shell,
    answer: String,
    people: Vec<PersonLine>,
    stations: Vec<StationLine>,
    places: Vec<(String, i16)>,
    zone: String,
}

fn state_of(p: &people_store::Person) -> String {
    if p.left {
        "left".into()
    } else if p.disabled {
        tr!("disabled after wrong tries: give a new PIN").into()
    } else if !p.has_pin && !p.has_passphrase {
        tr!("no PIN yet").into()
    } else {
        String::new()
    }
}

fn kind_words(kind: &str) -> &'static str {
    super::sign_in::KINDS.iter().find(|(c, _)| *c == kind).map_or("", |(_, w)| words::of(w))
}

/// Everybody and every station.
pub async fn overview(seat: Seat) -> Answered {
    seat.require(Act::KeepTeam)?;
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let team = people_store::list(&mut s).await?;
    let stations = stations_store::list(&mut s).await?;
    let places = hours_store::list_places(&mut s).await?;
    s.commit().await?;
    let here = team.iter().filter(|p| !p.left).count();
    let locked_out = team.iter().filter(|p| p.disabled && !p.left).count();
    let answer = match locked_out {
        0 => tr!(
            "{here} on the team, {} stations",
            stations.iter().filter(|x| !x.revoked).count(),
            here = here
        ),
        1 => tr!("One person cannot sign in").into(),
        n => tr!("{n} people cannot sign in", n = n),
    };
    Ok(page::html(&TeamPage {
        shell: seat.shell(now, "/team", &["team"]),
        answer,
        people: team
            .iter()
            .map(|p| PersonLine {
                href: format!("/team/people/{}", p.id),
                name: p.name.clone(),
                role: p.role.code(),
                opens: p.qualifications.join(", "),
                state: state_of(p),
            })
            .collect(),
        stations: stations
            .iter()
            .map(|x| StationLine {
                href: format!("/team/stations/{}", x.station_id),
                name: x.name.clone(),
                kind: kind_words(&x.kind),
                state: if x.revoked {
                    tr!("revoked")
                } else if x.paired {
                    tr!("paired")
                } else {
                    tr!("waits for its browser")
                },
            })
            .collect(),
        places: places.into_iter().map(|p| (p.kind, p.count)).collect(),
        zone: seat.salon_row.zone.clone(),
    }))
}

/// A refusal that is no answer to a form becomes a problem.
pub(in crate::web) fn problem(why: TeamRefused) -> Problem {
    match why {
        TeamRefused::Store(e) => e.into(),
        TeamRefused::NameTaken | TeamRefused::LastManager | TeamRefused::ZoneUnknown => Problem::Broken,
    }
}
