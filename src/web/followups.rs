//! Follow-ups of one client: what was said, and the form that notes the next word.

use askama::Template;
use axum::extract::Path;
use axum_extra::extract::Form;
use serde::Deserialize;
use time::Date;

use crate::calendar::day_words;
use crate::domain::access::Act;
use crate::domain::followup::Outcome;
use crate::domain::ids::ClientId;
use crate::flow::followups::{self as flow, Noted};
use crate::flow::services::Services;
use crate::store::clients::Client;
use crate::store::{dues, followups};
use crate::web::clients::{client_id, find, tabs, zone};
use crate::web::form::{Choice, Errors};
use crate::web::problem::Answered;
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::shell::{ClientTabs, Shell};
use crate::web::{once, page, typed};

/// The routes of this screen.
pub const LINES: &[Line] = lines![
    get "/clients/{id}/followups" Open::To(Act::FollowUp) => form,
    post "/clients/{id}/followups" Open::To(Act::FollowUp) => note,
];

/// Said by a client who wanted no contact and wants it again; kept as "spoke".
const CONTACT_AGAIN: &str = "contact-again";
/// Longest note, characters; also the database's.
const NOTE_MOST: usize = 500;
/// Farthest day to ask again from, days.
const LATER_MOST_DAYS: i64 = 400;

/// The form as typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Typed {
    once: String,
    outcome: String,
    next_on: String,
    note: String,
}

struct Said {
    when: String,
    words: String,
    who: String,
    note: String,
}

#[derive(Template)]
#[template(path = "followups/form.html")]
struct FormPage {
    shell: Shell,
    tabs: ClientTabs,
    errors: Errors,
    once_key: String,
    action: String,
    typed: Typed,
    outcomes: Vec<Choice>,
    phone: String,
    phone_href: String,
    email: String,
    no_contact: bool,
    due: String,
    openings: String,
    said: Vec<Said>,
}

fn outcomes(no_contact: bool, chosen: &str) -> Vec<Choice> {
    let mut pairs: Vec<(&str, &str)> = Outcome::ALL
        .into_iter()
        .filter(|o| *o != Outcome::Booked && !(no_contact && *o == Outcome::NoContactWanted))
        .map(|o| (o.code(), o.words()))
        .collect();
    if no_contact {
        pairs.push((CONTACT_AGAIN, "may be contacted again"));
    }
    Choice::list(pairs, &[chosen])
}

async fn form_page(
    seat: &Seat,
    id: ClientId,
    typed: Typed,
    errors: Errors,
) -> Result<FormPage, crate::web::problem::Problem> {
    let zone = zone(seat)?;
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let client: Client = find(&mut s, id).await?;
    let due = dues::find(&mut s, id).await?;
    let said = followups::list(&mut s, id).await?;
    let services = Services::load(&mut s, &seat.app.reference).await?;
    s.commit().await?;
    let words = |due: &dues::Due| {
        let late = due.late_on.map_or_else(|| "open-ended".to_string(), |d| format!("to {}", day_words(d)));
        format!(
            "{}: window {} {late}, latest by {}.",
            services.title(&due.protocol),
            day_words(due.early_on),
            day_words(due.latest_on)
        )
    };
    Ok(FormPage {
        shell: seat.shell(now, "/regrowth", &["regrowth"]),
        tabs: tabs(seat, &client, "followups"),
        errors,
        once_key: once::key(),
        action: format!("/clients/{id}/followups"),
        outcomes: outcomes(client.no_contact, &typed.outcome),
        typed,
        phone_href: client.phone.chars().filter(|c| c.is_ascii_digit() || *c == '+').collect(),
        phone: client.phone,
        email: client.email,
        no_contact: client.no_contact,
        due: due.as_ref().map(words).unwrap_or_default(),
        openings: due.map_or_else(
            || format!("/openings?client={id}"),
            |d| format!("/openings?client={id}&protocol={}", page::query_value(&d.protocol)),
        ),
        said: said
            .into_iter()
            .map(|f| {
                let words =
                    Outcome::from_code(&f.outcome).map_or(f.outcome.clone(), |o| o.words().to_string());
                let next = f.next_on.map_or_else(String::new, |d| format!(", from {}", day_words(d)));
                Said {
                    when: format!("{}, {}", zone.day_words(f.at), zone.clock(f.at)),
                    words: words + &next,
                    who: f.by_name,
                    note: f.note,
                }
            })
            .collect(),
    })
}

/// The form, with what was said before.
pub async fn form(seat: Seat, Path(id): Path<String>) -> Answered {
    seat.require(Act::FollowUp)?;
    let page = form_page(&seat, client_id(&id)?, Typed::default(), Errors::none()).await?;
    Ok(page::html(&page))
}

fn read(f: &Typed, today: Date, errors: &mut Errors) -> Option<(Outcome, Option<Date>, String)> {
    let contact_again = f.outcome == CONTACT_AGAIN;
    let code = if contact_again { "spoke" } else { f.outcome.as_str() };
    let known = |code: &str| Outcome::from_code(code).filter(|o| *o != Outcome::Booked);
    let outcome = typed::code(errors, "outcome", code, known, "Choose what came of it.");
    let mut next_on = typed::day(errors, "next_on", &f.next_on);
    if outcome == Some(Outcome::Later) {
        match next_on {
            None if f.next_on.trim().is_empty() => {
                errors.note("next_on", "Later needs the day to ask again from.");
            }
            Some(day) if day <= today => errors.note("next_on", "Write a day that is still to come."),
            Some(day) if (day - today).whole_days() > LATER_MOST_DAYS => {
                errors.note("next_on", format!("Write a day within the next {LATER_MOST_DAYS} days."));
            }
            _ => {}
        }
    } else if errors.is_empty() {
        next_on = None;
    }
    let note = typed::lines(errors, "note", &f.note, NOTE_MOST);
    errors.is_empty().then_some(())?;
    Some((outcome?, next_on, note))
}

/// Notes what came of it.
pub async fn note(seat: Seat, Path(id): Path<String>, Form(f): Form<Typed>) -> Answered {
    let by = seat.require(Act::FollowUp)?.id;
    let id = client_id(&id)?;
    let zone = zone(&seat)?;
    let mut s = seat.begin().await?;
    find(&mut s, id).await?;
    let path = format!("/clients/{id}/followups");
    if let Some(again) = once::claim(&mut s, &f.once, &path).await? {
        return Ok(again);
    }
    let today = zone.day_of(s.now().await?);
    let mut errors = Errors::none();
    let Some((outcome, next_on, note)) = read(&f, today, &mut errors) else {
        drop(s);
        return Ok(page::refused(&form_page(&seat, id, f, errors).await?));
    };
    let contact_again = f.outcome == CONTACT_AGAIN;
    flow::note_followup(&mut s, &Noted { client: id, by, outcome, next_on, note: &note, contact_again })
        .await?;
    let answer = once::settle(&mut s, &f.once, "/regrowth").await?;
    s.commit().await?;
    Ok(answer)
}
