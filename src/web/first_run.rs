//! First run: a salon is founded, once, with its manager, its first station and perhaps somebody more.

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;
use axum_extra::extract::{CookieJar, Form};
use serde::Deserialize;

use crate::app::App;
use crate::domain::access::Role;
use crate::flow::sign_in::{self as flow, Founding, SignInFault};
use crate::secret;
use crate::store::{StoreError, salons};
use crate::web::form::{Choice, Errors};
use crate::web::page;
use crate::web::problem::{Answered, Problem};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat;
use crate::web::shell::Shell;
use crate::web::sign_in::KINDS;

/// The routes of this screen.
pub const LINES: &[Line] = lines![
    get "/first-run" Open::All => first_run_form,
    post "/first-run" Open::All => first_run,
];

/// The first-run form as typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct FirstRun {
    salon_name: String,
    zone: String,
    place: String,
    manager_name: String,
    passphrase: String,
    manager_pin: String,
    station_name: String,
    station_kind: String,
    first_name: String,
    first_role: String,
    first_pin: String,
}

impl FirstRun {
    /// Somebody works there beside the manager.
    fn has_first(&self) -> bool {
        !self.first_name.trim().is_empty() || !self.first_pin.is_empty()
    }
}

#[derive(Template)]
#[template(path = "sign_in/first_run.html")]
struct FirstRunPage {
    shell: Shell,
    errors: Errors,
    typed: FirstRun,
    places: Vec<Choice>,
    kinds: Vec<Choice>,
    roles: Vec<Choice>,
}

impl FirstRunPage {
    fn new(typed: FirstRun, errors: Errors) -> Self {
        let or = |v: &str, d: &'static str| if v.is_empty() { d.to_string() } else { v.to_string() };
        FirstRunPage {
            shell: Shell::plain("rinsebell", 0),
            places: Choice::list(
                [("eu", tr!("European Union")), ("uk", tr!("United Kingdom")), ("us", tr!("United States"))],
                &[&or(&typed.place, "eu")],
            ),
            kinds: Choice::list(KINDS, &[&or(&typed.station_kind, "chair")]),
            roles: Choice::list(
                [("stylist", "stylist"), ("assistant", "assistant"), ("reception", "reception")],
                &[&or(&typed.first_role, "stylist")],
            ),
            errors,
            typed,
        }
    }
}

/// First run: there is no salon yet.
pub async fn first_run_form(State(app): State<App>) -> Answered {
    if !salons::list_ids(&app.pool).await?.is_empty() {
        return Err(Problem::NotFound);
    }
    Ok(page::html(&FirstRunPage::new(
        FirstRun { zone: "Europe/Paris".into(), station_name: tr!("Chair 1").into(), ..FirstRun::default() },
        Errors::none(),
    )))
}

fn first_run_errors(f: &FirstRun) -> Errors {
    let mut e = Errors::none();
    let mut named = |name: &str, value: &str, most: usize, what: &str| {
        let n = value.trim().chars().count();
        if n == 0 || n > most {
            e.note(name, tr!("Write {what}, at most {most} characters.", what = what, most = most));
        }
    };
    named("salon_name", &f.salon_name, 80, tr!("the salon's name"));
    named("manager_name", &f.manager_name, 200, tr!("the manager's name"));
    named("station_name", &f.station_name, 60, tr!("what this station is called, such as Chair 1"));
    if f.has_first() {
        named("first_name", &f.first_name, 200, tr!("the name of the first person"));
    }
    if f.manager_name.trim() == f.first_name.trim() && !f.first_name.trim().is_empty() {
        e.note(
            "first_name",
            tr!("Give the first person another name than the manager: each sign-in has its own."),
        );
    }
    if crate::calendar::Zone::find(f.zone.trim()).is_none() {
        e.note("zone", tr!("Write a time zone of the IANA list, such as Europe/Paris or America/New_York."));
    }
    if !["eu", "uk", "us"].contains(&f.place.as_str()) {
        e.note("place", tr!("Choose whose law the limits follow."));
    }
    if !KINDS.iter().any(|(c, _)| *c == f.station_kind) {
        e.note("station_kind", tr!("Choose where this station stands."));
    }
    if f.has_first()
        && !matches!(Role::from_code(&f.first_role), Some(Role::Stylist | Role::Assistant | Role::Reception))
    {
        e.note("first_role", tr!("Choose what the first person does."));
    }
    if let Some(words) = secret::passphrase_fault(&f.passphrase) {
        e.note("passphrase", words);
    }
    if let Some(words) = secret::pin_fault(&f.manager_pin) {
        e.note("manager_pin", tr!("The manager’s PIN: {}", crate::words::of(words)));
    }
    if let Some(words) = secret::pin_fault(&f.first_pin).filter(|_| f.has_first()) {
        e.note("first_pin", tr!("The PIN of the first person: {}", crate::words::of(words)));
    }
    e
}

/// Founds the salon, once.
pub async fn first_run(State(app): State<App>, jar: CookieJar, Form(f): Form<FirstRun>) -> Answered {
    if !salons::list_ids(&app.pool).await?.is_empty() {
        return Err(Problem::NotFound);
    }
    let errors = first_run_errors(&f);
    if !errors.is_empty() {
        return Ok(page::refused(&FirstRunPage::new(f, errors)));
    }
    let founding = Founding {
        salon_name: f.salon_name.trim(),
        zone: f.zone.trim(),
        place: &f.place,
        manager_name: f.manager_name.trim(),
        passphrase: &f.passphrase,
        manager_pin: &f.manager_pin,
        station_name: f.station_name.trim(),
        station_kind: &f.station_kind,
        first: f.has_first().then(|| {
            let role = Role::from_code(&f.first_role).unwrap_or(Role::Stylist);
            (f.first_name.trim(), role, f.first_pin.as_str())
        }),
    };
    match flow::found(&app, founding).await {
        Ok((salon, token)) => {
            Ok((jar.add(seat::cookie(&app, seat::STATION, salon, &token, 400)), page::see("/sign-in"))
                .into_response())
        }
        // Somebody else founded it in the same moment: the page is gone for ever.
        Err(SignInFault::Store(StoreError::Refused { code, .. })) if code == "RB009" => {
            Err(Problem::NotFound)
        }
        Err(SignInFault::Store(e)) => Err(e.into()),
        Err(SignInFault::Hash(e)) => Err(e.into()),
        Err(SignInFault::Refused(_)) => Err(Problem::Broken),
    }
}
