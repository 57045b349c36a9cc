//! One person of the team.

use askama::Template;
use axum::extract::Path;
use axum_extra::extract::Form;
use serde::Deserialize;

use super::hours::{TypedHours, WEEKDAYS};
use super::{CHEMISTRIES, ROLES, problem, state_of};
use crate::domain::access::{Act, Role};
use crate::domain::ids::PersonId;
use crate::flow::team::{self as flow, NewPerson, TeamRefused};
use crate::secret;
use crate::store::Scoped;
use crate::store::hours as hours_store;
use crate::store::people::{self, Person};
use crate::web::form::{Choice, Errors};
use crate::web::problem::{Answered, Problem};
use crate::web::seat::Seat;
use crate::web::shell::Shell;
use crate::web::{once, page, typed};

/// A person as typed. Secrets never come back.
#[derive(Clone, Default, Deserialize)]
#[serde(default)]
pub struct TypedPerson {
    once: String,
    name: String,
    role: String,
    qualified: Vec<String>,
    pin: String,
    passphrase: String,
}

impl TypedPerson {
    fn of(p: &Person) -> TypedPerson {
        TypedPerson {
            name: p.name.clone(),
            role: p.role.code().into(),
            qualified: p.qualifications.clone(),
            ..TypedPerson::default()
        }
    }

    /// Name, role and qualifications, with what is wrong beside each.
    fn read(&self) -> (String, Role, Errors) {
        let mut e = Errors::none();
        let name = typed::needed(
            &mut e,
            "name",
            &self.name,
            200,
            tr!("Write the name the team knows this person by."),
        );
        let role = typed::code(
            &mut e,
            "role",
            &self.role,
            Role::from_code,
            tr!("Choose what this person does here."),
        );
        if self.qualified.iter().any(|q| !CHEMISTRIES.iter().any(|(c, _)| c == q)) {
            e.note("qualified", tr!("Choose from the chemistries shown."));
        }
        (name, role.unwrap_or(Role::Reception), e)
    }
}

fn name_taken(e: &mut Errors) {
    e.note("name", tr!("Somebody is called so already. Add an initial: each sign-in has its own name."));
}

#[derive(Template)]
#[template(path = "team/new_person.html")]
struct NewPage {
    shell: Shell,
    errors: Errors,
    once_key: String,
    name: String,
    roles: Vec<Choice>,
    qualified: Vec<Choice>,
}

async fn new_page(seat: &Seat, f: &TypedPerson, errors: Errors) -> Result<NewPage, Problem> {
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    s.commit().await?;
    Ok(NewPage {
        shell: seat.shell(now, "/team", &[]),
        errors,
        once_key: once::key(),
        name: f.name.clone(),
        roles: Choice::list(ROLES, &[if f.role.is_empty() { "stylist" } else { &f.role }]),
        qualified: chosen(&f.qualified),
    })
}

fn chosen(qualified: &[String]) -> Vec<Choice> {
    Choice::list(CHEMISTRIES, &qualified.iter().map(String::as_str).collect::<Vec<_>>())
}

/// The empty form.
pub async fn new_form(seat: Seat) -> Answered {
    seat.require(Act::KeepTeam)?;
    Ok(page::html(&new_page(&seat, &TypedPerson::default(), Errors::none()).await?))
}

/// Takes somebody in.
pub async fn hire(seat: Seat, Form(f): Form<TypedPerson>) -> Answered {
    seat.require(Act::KeepTeam)?;
    let (name, role, mut errors) = f.read();
    if let Some(words) = secret::pin_fault(&f.pin) {
        errors.note("pin", words);
    }
    let with_phrase = role == Role::Manager && !f.passphrase.is_empty();
    if let Some(words) = secret::passphrase_fault(&f.passphrase).filter(|_| with_phrase) {
        errors.note("passphrase", words);
    }
    if !errors.is_empty() {
        return Ok(page::refused(&new_page(&seat, &f, errors).await?));
    }
    // Slow on purpose, so outside the transaction.
    let pin_hash = seat.app.hasher.hash(&f.pin).await?;
    let phrase_hash = if with_phrase { Some(seat.app.hasher.hash(&f.passphrase).await?) } else { None };
    let mut s = seat.begin().await?;
    if let Some(again) = once::claim(&mut s, &f.once, "/team/people").await? {
        return Ok(again);
    }
    let new = NewPerson {
        name: &name,
        role,
        pin_hash: &pin_hash,
        passphrase_hash: phrase_hash.as_deref(),
        qualified: &f.qualified,
    };
    match flow::hire_person(&mut s, &new).await {
        Ok(id) => {
            let answer = once::settle(&mut s, &f.once, &format!("/team/people/{id}")).await?;
            s.commit().await?;
            Ok(answer)
        }
        Err(TeamRefused::NameTaken) => {
            drop(s);
            name_taken(&mut errors);
            Ok(page::refused(&new_page(&seat, &f, errors).await?))
        }
        Err(why) => Err(problem(why)),
    }
}

#[derive(Template)]
#[template(path = "team/person.html")]
struct PersonPage {
    shell: Shell,
    errors: Errors,
    once_key: String,
    id: PersonId,
    name: String,
    typed_name: String,
    state: String,
    left: bool,
    manager: bool,
    has_passphrase: bool,
    roles: Vec<Choice>,
    qualified: Vec<Choice>,
    /// Field name, weekday, spans as typed.
    days: Vec<(String, &'static str, String)>,
}

/// The person of a path; unknown, foreign and no number are all "nothing here".
pub(super) async fn find(s: &mut Scoped, raw: &str) -> Result<Person, Problem> {
    let id: PersonId = raw.parse().map_err(|_| Problem::NotFound)?;
    people::find(s, id).await?.ok_or(Problem::NotFound)
}

/// The page of one person, with what was typed instead of what is kept where something was refused.
pub(super) async fn person_page(
    seat: &Seat,
    raw: &str,
    f: Option<&TypedPerson>,
    hours: Option<&TypedHours>,
    errors: Errors,
) -> Answered {
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let person = find(&mut s, raw).await?;
    let kept = TypedHours::of(&hours_store::list(&mut s, person.id).await?);
    s.commit().await?;
    let known = TypedPerson::of(&person);
    let f = f.unwrap_or(&known);
    let hours = hours.unwrap_or(&kept);
    let refused = !errors.is_empty();
    let shown = PersonPage {
        shell: seat.shell(now, "/team", &["team"]),
        errors,
        once_key: once::key(),
        id: person.id,
        typed_name: f.name.clone(),
        state: state_of(&person),
        left: person.left,
        manager: person.role == Role::Manager,
        has_passphrase: person.has_passphrase,
        roles: Choice::list(ROLES, &[f.role.as_str()]),
        qualified: chosen(&f.qualified),
        days: WEEKDAYS
            .iter()
            .zip(hours.days())
            .map(|((field, day), spans)| ((*field).to_string(), *day, spans))
            .collect(),
        name: person.name,
    };
    Ok(if refused { page::refused(&shown) } else { page::html(&shown) })
}

/// One person.
pub async fn one(seat: Seat, Path(id): Path<String>) -> Answered {
    seat.require(Act::KeepTeam)?;
    person_page(&seat, &id, None, None, Errors::none()).await
}

/// Another name, role, qualifications.
pub async fn change(seat: Seat, Path(id): Path<String>, Form(f): Form<TypedPerson>) -> Answered {
    seat.require(Act::KeepTeam)?;
    let mut s = seat.begin().await?;
    let person = find(&mut s, &id).await?;
    let (name, role, mut errors) = f.read();
    if !errors.is_empty() {
        drop(s);
        return person_page(&seat, &id, Some(&f), None, errors).await;
    }
    let here = format!("/team/people/{}", person.id);
    if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
        return Ok(again);
    }
    match flow::change_person(&mut s, person.id, &name, role, &f.qualified).await {
        Ok(()) => {
            let answer = once::settle(&mut s, &f.once, &here).await?;
            s.commit().await?;
            return Ok(answer);
        }
        Err(TeamRefused::NameTaken) => name_taken(&mut errors),
        Err(TeamRefused::LastManager) => {
            errors.note("role", tr!("This is the last manager: make somebody else manager first."));
        }
        Err(why) => return Err(problem(why)),
    }
    drop(s);
    person_page(&seat, &id, Some(&f), None, errors).await
}

async fn reset(seat: &Seat, id: &str, f: &TypedPerson, passphrase: bool) -> Answered {
    let mut s = seat.begin().await?;
    let person = find(&mut s, id).await?;
    s.commit().await?;
    let mut errors = Errors::none();
    let (field, secret, fault) = if passphrase {
        ("passphrase", &f.passphrase, secret::passphrase_fault(&f.passphrase))
    } else {
        ("pin", &f.pin, secret::pin_fault(&f.pin))
    };
    if let Some(words) = fault {
        errors.note(field, words);
    } else if passphrase && person.role != Role::Manager {
        errors.note(field, tr!("A passphrase is for managers; others sign in with their PIN."));
    }
    if !errors.is_empty() {
        return person_page(seat, id, None, None, errors).await;
    }
    let hash = seat.app.hasher.hash(secret).await?;
    let here = format!("/team/people/{}", person.id);
    let mut s = seat.begin().await?;
    if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
        return Ok(again);
    }
    flow::reset_secret(&mut s, person.id, passphrase, &hash).await.map_err(problem)?;
    let answer = once::settle(&mut s, &f.once, &here).await?;
    s.commit().await?;
    Ok(answer)
}

/// A new PIN; a disabled sign-in works again.
pub async fn new_pin(seat: Seat, Path(id): Path<String>, Form(f): Form<TypedPerson>) -> Answered {
    seat.require(Act::KeepTeam)?;
    reset(&seat, &id, &f, false).await
}

/// A new passphrase, for managers.
pub async fn new_passphrase(seat: Seat, Path(id): Path<String>, Form(f): Form<TypedPerson>) -> Answered {
    seat.require(Act::KeepTeam)?;
    reset(&seat, &id, &f, true).await
}

/// Whether somebody is here.
#[derive(Deserialize, Default)]
#[serde(default)]
pub struct Presence {
    once: String,
    here: String,
}

/// Left, or back.
pub async fn presence(seat: Seat, Path(id): Path<String>, Form(f): Form<Presence>) -> Answered {
    seat.require(Act::KeepTeam)?;
    let mut s = seat.begin().await?;
    let person = find(&mut s, &id).await?;
    let left = match f.here.as_str() {
        "yes" => false,
        "no" => true,
        _ => return Err(Problem::Bad(tr!("Say whether this person is here or has left.").into())),
    };
    let here = format!("/team/people/{}", person.id);
    if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
        return Ok(again);
    }
    match flow::set_left(&mut s, person.id, left).await {
        Ok(()) => {
            let answer = once::settle(&mut s, &f.once, &here).await?;
            s.commit().await?;
            Ok(answer)
        }
        Err(TeamRefused::LastManager) => {
            drop(s);
            let mut errors = Errors::none();
            errors.note("presence", tr!("This is the last manager: make somebody else manager first."));
            person_page(&seat, &id, None, None, errors).await
        }
        Err(why) => Err(problem(why)),
    }
}
