//! The screens about who is here: first run, pairing, sign-in, lock.

use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use axum_extra::extract::{CookieJar, Form, Query};
use serde::Deserialize;

use crate::app::App;
use crate::domain::ids::{PersonId, SalonId, StationId};
use crate::flow::sign_in::{self as flow, SignInFault, SignInRefused};
use crate::store::{people, salons, stations};
use crate::web::form::{Choice, Errors};
use crate::web::page::{self, own_path};
use crate::web::problem::{Answered, Problem};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::{self, Seat, Who};
use crate::web::shell::Shell;

/// The routes of these screens.
pub const LINES: &[Line] = lines![
    get "/" Open::All => root,
    get "/welcome" Open::All => welcome,
    post "/pair" Open::All => pair,
    post "/demo/station" Open::All => demo_station,
    get "/sign-in" Open::All => form,
    post "/sign-in" Open::All => sign_in,
    get "/lock" Open::Station => lock_form,
    post "/lock" Open::Station => lock,
];

/// `/`: the Floor, or the way there.
pub async fn root(State(app): State<App>, seat: Option<Seat>) -> Answered {
    if seat.is_some() {
        return Ok(page::see("/floor"));
    }
    let none = salons::list_ids(&app.pool).await?.is_empty();
    Ok(page::see(if none { "/first-run" } else { "/welcome" }))
}

/// Kinds of station, with their words.
pub const KINDS: [(&str, &str); 5] = [
    ("chair", mark!("at a chair")),
    ("basin", mark!("at a basin")),
    ("desk", mark!("front desk")),
    ("office", mark!("office")),
    ("wall", mark!("on the wall")),
];

#[derive(Template)]
#[template(path = "sign_in/welcome.html")]
struct Welcome {
    shell: Shell,
    errors: Errors,
    code: String,
    /// Stations of the demo, for one-tap pairing; empty elsewhere.
    demo: Vec<(i64, String)>,
    /// The demo's own story is under way; an invented salon has none.
    story: bool,
    salon: i64,
}

async fn welcome_page(app: &App, code: String, errors: Errors) -> Result<Welcome, Problem> {
    let ids = salons::list_ids(&app.pool).await?;
    let mut page = Welcome {
        shell: Shell::plain("rinsebell", 0),
        errors,
        code,
        demo: Vec::new(),
        story: false,
        salon: 0,
    };
    if let (true, Some(&salon)) = (app.settings.demo, ids.first()) {
        let mut s = app.begin(salon).await?;
        if let Some(row) = salons::find(&mut s).await?.filter(|x| x.demo) {
            page.story = row.name != crate::demo::invent::NAME;
            page.salon = salon.0;
            page.demo = stations::list(&mut s)
                .await?
                .into_iter()
                .filter(|x| !x.revoked)
                .map(|x| (x.station_id, x.name))
                .collect();
        }
        s.commit().await?;
    }
    Ok(page)
}

/// A browser nobody knows: a pairing code, a manager's sign-in, or (demo) one tap.
pub async fn welcome(State(app): State<App>) -> Answered {
    if salons::list_ids(&app.pool).await?.is_empty() {
        return Ok(page::see("/first-run"));
    }
    Ok(page::html(&welcome_page(&app, String::new(), Errors::none()).await?))
}

/// A pairing code as typed.
#[derive(Deserialize)]
pub struct PairForm {
    #[serde(default)]
    code: String,
}

/// Pairs this browser by a one-time code.
pub async fn pair(State(app): State<App>, jar: CookieJar, Form(f): Form<PairForm>) -> Answered {
    match flow::pair(&app, &f.code).await? {
        Some((salon, token)) => {
            Ok((jar.add(seat::cookie(&app, seat::STATION, salon, &token, 400)), page::see("/sign-in"))
                .into_response())
        }
        None => {
            let mut errors = Errors::none();
            errors.note("code", tr!("This code opens nothing. A code lasts ten minutes and works once: ask the manager for a new one."));
            Ok(page::refused(&welcome_page(&app, f.code.chars().take(20).collect(), errors).await?))
        }
    }
}

/// The demo station chosen.
#[derive(Deserialize)]
pub struct DemoStation {
    station: i64,
}

/// One-tap pairing in the demo salon, on loopback only.
pub async fn demo_station(State(app): State<App>, jar: CookieJar, Form(f): Form<DemoStation>) -> Answered {
    let page = welcome_page(&app, String::new(), Errors::none()).await?;
    if !page.demo.iter().any(|(id, _)| *id == f.station) {
        return Err(Problem::NotFound);
    }
    let salon = SalonId(page.salon);
    let token = flow::pair_station(&app, salon, StationId(f.station)).await?;
    Ok((jar.add(seat::cookie(&app, seat::STATION, salon, &token, 400)), page::see("/sign-in"))
        .into_response())
}

/// Where to go after signing in.
#[derive(Deserialize, Default)]
pub struct Next {
    #[serde(default)]
    next: String,
}

/// The sign-in form as typed; secrets never come back.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct SignIn {
    person: String,
    pin: String,
    name: String,
    passphrase: String,
    next: String,
}

#[derive(Template)]
#[template(path = "sign_in/sign_in.html")]
struct SignInPage {
    shell: Shell,
    errors: Errors,
    people: Vec<Choice>,
    next: String,
    name: String,
    at_station: bool,
    locked: bool,
    /// The demo's PINs, printed; empty elsewhere.
    demo_pins: Vec<(String, &'static str)>,
}

async fn sign_in_page(
    app: &App,
    seat: Option<&Seat>,
    typed: &SignIn,
    errors: Errors,
) -> Result<SignInPage, Problem> {
    let next = own_path(&typed.next);
    let Some(seat) = seat.filter(|x| x.station.is_some()) else {
        let demo = app.settings.demo;
        return Ok(SignInPage {
            shell: Shell::plain("rinsebell", 0),
            errors,
            people: Vec::new(),
            next,
            name: typed.name.chars().take(200).collect(),
            at_station: false,
            locked: false,
            demo_pins: if demo {
                vec![(tr!("passphrase of the demo's manager").into(), crate::demo::PASSPHRASE)]
            } else {
                Vec::new()
            },
        });
    };
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let team: Vec<_> = people::list(&mut s).await?.into_iter().filter(|p| !p.left && p.has_pin).collect();
    s.commit().await?;
    let last = match &seat.who {
        Who::Locked(p) => p.id.to_string(),
        // Where one person works there is nobody to choose.
        _ if team.len() == 1 => team[0].id.to_string(),
        _ => typed.person.clone(),
    };
    let chosen = if typed.person.is_empty() { last } else { typed.person.clone() };
    let pairs: Vec<(String, String)> = team.iter().map(|p| (p.id.to_string(), p.name.clone())).collect();
    let demo = seat.salon_row.demo && app.settings.demo;
    Ok(SignInPage {
        shell: seat.shell(now, "/sign-in", &[]),
        errors,
        people: Choice::names(pairs.iter().map(|(a, b)| (a.as_str(), b.as_str())), &[chosen.as_str()]),
        next,
        name: String::new(),
        at_station: true,
        locked: matches!(seat.who, Who::Locked(_)),
        demo_pins: if demo {
            team.iter()
                .filter_map(|p| crate::demo::pin_of(&p.name).map(|pin| (p.name.clone(), pin)))
                .collect()
        } else {
            Vec::new()
        },
    })
}

/// Who are you? At a station by name and PIN, elsewhere a manager by passphrase.
pub async fn form(State(app): State<App>, seat: Option<Seat>, Query(q): Query<Next>) -> Answered {
    let typed = SignIn { next: q.next, ..SignIn::default() };
    Ok(page::html(&sign_in_page(&app, seat.as_ref(), &typed, Errors::none()).await?))
}

fn refused_words(why: &SignInRefused) -> String {
    match why {
        SignInRefused::Wrong => tr!("Name and secret do not fit together. Try again.").into(),
        SignInRefused::Wait(s) => tr!(
            "Too many wrong tries: wait {s} seconds, then try again. Facts and stop and rinse go on meanwhile.",
            s = s
        ),
        SignInRefused::Disabled => {
            tr!("This sign-in is disabled after 20 wrong tries. A manager gives a new secret under Team.")
                .into()
        }
    }
}

/// Signs in.
pub async fn sign_in(
    State(app): State<App>,
    seat: Option<Seat>,
    jar: CookieJar,
    Form(f): Form<SignIn>,
) -> Answered {
    let mut errors = Errors::none();
    let done = match seat.as_ref().and_then(Seat::station_id) {
        Some(station) => {
            let salon = seat.as_ref().map_or(SalonId(0), |x| x.salon);
            let Ok(person) = f.person.parse::<PersonId>() else {
                errors.note("person", tr!("Choose your name."));
                return Ok(page::refused(&sign_in_page(&app, seat.as_ref(), &f, errors).await?));
            };
            flow::at_station(&app, salon, station, person, &f.pin).await.map(|t| (salon, t))
        }
        None => {
            let Some(&salon) = salons::list_ids(&app.pool).await?.first() else {
                return Ok(page::see("/first-run"));
            };
            flow::away(&app, salon, f.name.trim(), &f.passphrase).await.map(|t| (salon, t))
        }
    };
    let field = if seat.as_ref().is_some_and(|x| x.station.is_some()) { "pin" } else { "passphrase" };
    match done {
        Ok((salon, token)) => Ok(signed_in(&app, jar, salon, &token, &f.next)),
        Err(SignInFault::Refused(why)) => {
            errors.note(field, refused_words(&why));
            Ok(page::refused(&sign_in_page(&app, seat.as_ref(), &f, errors).await?))
        }
        Err(SignInFault::Store(e)) => Err(e.into()),
        Err(SignInFault::Hash(e)) => Err(e.into()),
    }
}

fn signed_in(app: &App, jar: CookieJar, salon: SalonId, token: &str, next: &str) -> Response {
    (jar.add(seat::cookie(app, seat::SESSION, salon, token, 1)), page::see(&own_path(next))).into_response()
}

#[derive(Template)]
#[template(path = "sign_in/lock.html")]
struct LockPage {
    shell: Shell,
}

/// The act of locking, for a page without script.
pub async fn lock_form(seat: Seat) -> Answered {
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    s.commit().await?;
    Ok(page::html(&LockPage { shell: seat.shell(now, "/lock", &[]) }))
}

/// Locks this station: clocks go on, names shrink, health answers are gone.
pub async fn lock(seat: Seat, jar: CookieJar) -> Answered {
    if let Some(id) = seat.session_id {
        flow::lock(&seat.app, seat.salon, id).await?;
    }
    let to = if seat.station.is_some() { "/floor" } else { "/welcome" };
    Ok((jar.add(seat::no_cookie(&seat.app, seat::SESSION)), page::see(to)).into_response())
}
