//! Follow-ups of one client: what was said, and the form that notes the next word.

use askama::Template;
use axum::extract::Path;
use axum_extra::extract::Form;
use serde::Deserialize;
use time::Date;

use crate::calendar::day_words;
use crate::domain::access::Act;
use crate::domain::call::Way;
use crate::domain::followup::{NextStep, Outcome};
use crate::domain::ids::ClientId;
use crate::flow::followups::{self as flow, NotNoted, Noted};
use crate::flow::services::Services;
use crate::store::clients::Client;
use crate::store::{calls, dues, followups, people, salons};
use crate::web::calls::{CallState, call_state, whose};
use crate::web::clients::{client_id, find, tabs, zone};
use crate::web::form::{Choice, Errors};
use crate::web::problem::{Answered, Problem};
use crate::web::recall::dial;
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
    pub(super) outcome: String,
    way: String,
    next_step: String,
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
pub(super) struct FormPage {
    shell: Shell,
    tabs: ClientTabs,
    errors: Errors,
    once_key: String,
    action: String,
    client_id: ClientId,
    typed: Typed,
    outcomes: Vec<Choice>,
    ways: Vec<Choice>,
    steps: Vec<Choice>,
    call: CallState,
    whose: Vec<Choice>,
    once_call: String,
    once_whose: String,
    phone: String,
    phone_href: String,
    email: String,
    no_contact: bool,
    due: String,
    openings: String,
    said: Vec<Said>,
}

/// A note as read.
struct ReadNote {
    outcome: Outcome,
    way: Way,
    next_step: Option<NextStep>,
    next_on: Option<Date>,
    note: String,
    contact_again: bool,
}

fn steps(chosen: &str) -> Vec<Choice> {
    let mut list = Choice::list(NextStep::ALL.map(|step| (step.code(), step.words())), &[chosen]);
    list.insert(
        0,
        Choice { code: String::new(), words: tr!("nothing planned").into(), chosen: chosen.is_empty() },
    );
    list
}

fn outcomes(no_contact: bool, chosen: &str) -> Vec<Choice> {
    let mut pairs: Vec<(&str, &str)> = Outcome::ALL
        .into_iter()
        .filter(|o| *o != Outcome::Booked && !(no_contact && *o == Outcome::NoContactWanted))
        .map(|o| (o.code(), o.words()))
        .collect();
    if no_contact {
        pairs.push((CONTACT_AGAIN, tr!("may be contacted again")));
    }
    Choice::list(pairs, &[chosen])
}

pub(super) async fn form_page(
    seat: &Seat,
    id: ClientId,
    typed: Typed,
    errors: Errors,
) -> Result<FormPage, Problem> {
    let zone = zone(seat)?;
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let client: Client = find(&mut s, id).await?;
    let salon = salons::find(&mut s).await?.ok_or(Problem::Broken)?;
    let call = call_state(seat, &zone, &salon, calls::find(&mut s, id, now).await?, now);
    let assigned = calls::find_assigned(&mut s, id).await?;
    let team = people::list(&mut s).await?;
    let due = dues::find(&mut s, id).await?;
    let said = followups::list(&mut s, id).await?;
    let services = Services::load(&mut s, &seat.app.reference).await?;
    s.commit().await?;
    let words = |due: &dues::Due| {
        let late = due.late_on.map_or_else(|| "open-ended".to_string(), |d| tr!("to {}", day_words(d)));
        tr!(
            "{}: window {} {late}, latest by {}.",
            services.title(&due.protocol),
            day_words(due.early_on),
            day_words(due.latest_on),
            late = late
        )
    };
    Ok(FormPage {
        shell: seat.shell(now, "/regrowth", &["regrowth"]),
        tabs: tabs(seat, &client, "followups"),
        errors,
        once_key: once::key(),
        action: format!("/clients/{id}/followups"),
        client_id: id,
        outcomes: outcomes(client.no_contact, &typed.outcome),
        ways: Choice::list(
            Way::ALL.map(|way| (way.code(), way.words())),
            &[if typed.way.is_empty() { Way::WeCalled.code() } else { &typed.way }],
        ),
        steps: steps(&typed.next_step),
        call,
        whose: whose(&team, assigned),
        once_call: once::key(),
        once_whose: once::key(),
        typed,
        phone_href: dial(&client.phone),
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
                let step = f.next_step.as_deref().and_then(NextStep::from_code);
                let next = match (f.next_on, step) {
                    (Some(day), Some(step)) => format!("; {} {}", step.words(), day_words(day)),
                    (Some(day), None) => tr!(", from {}", day_words(day)),
                    (None, _) => String::new(),
                };
                let words = if f.way == Way::TheyCalled.code() && f.outcome != Outcome::Booked.code() {
                    tr!("{words} (they called)", words = words)
                } else {
                    words
                };
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

fn read(f: &Typed, today: Date, errors: &mut Errors) -> Option<ReadNote> {
    let contact_again = f.outcome == CONTACT_AGAIN;
    let code = if contact_again { "spoke" } else { f.outcome.as_str() };
    let known = |code: &str| Outcome::from_code(code).filter(|o| *o != Outcome::Booked);
    let outcome = typed::code(errors, "outcome", code, known, tr!("Choose what came of it."));
    let way = match f.way.as_str() {
        "" => Some(Way::WeCalled),
        code => typed::code(errors, "way", code, Way::from_code, tr!("Choose who called.")),
    };
    let next_step = match f.next_step.as_str() {
        "" => None,
        code => typed::code(errors, "next_step", code, NextStep::from_code, tr!("Choose what is done next.")),
    };
    let next_on = typed::day(errors, "next_on", &f.next_on);
    match next_on {
        None if f.next_on.trim().is_empty() && outcome == Some(Outcome::Later) => {
            errors.note("next_on", tr!("Later needs the day to ask again from."));
        }
        None if f.next_on.trim().is_empty() && next_step.is_some() => {
            errors.note("next_on", tr!("Write the day for the next step."));
        }
        Some(day) if day < today || (day == today && outcome == Some(Outcome::Later)) => {
            errors.note("next_on", tr!("Write a day that is still to come."));
        }
        Some(day) if (day - today).whole_days() > LATER_MOST_DAYS => {
            errors.note(
                "next_on",
                tr!("Write a day within the next {LATER_MOST_DAYS} days.", LATER_MOST_DAYS = LATER_MOST_DAYS),
            );
        }
        _ => {}
    }
    let note = typed::lines(errors, "note", &f.note, NOTE_MOST);
    errors.is_empty().then_some(())?;
    let outcome = outcome?;
    // Who wants nothing more is asked for nothing more.
    let ends = matches!(outcome, Outcome::Declined | Outcome::MovedAway | Outcome::NoContactWanted);
    Some(ReadNote {
        outcome,
        // Nobody calls who wants no contact: the client came by themself.
        way: if contact_again { Way::TheyCalled } else { way? },
        next_step: next_step.filter(|_| !ends),
        next_on: next_on.filter(|_| !ends),
        note,
        contact_again,
    })
}

/// Notes what came of it.
pub async fn note(seat: Seat, Path(id): Path<String>, Form(f): Form<Typed>) -> Answered {
    let by = seat.require(Act::FollowUp)?.id;
    let id = client_id(&id)?;
    let zone = zone(&seat)?;
    let mut s = seat.begin().await?;
    let client = find(&mut s, id).await?;
    let path = format!("/clients/{id}/followups");
    if let Some(again) = once::claim(&mut s, &f.once, &path).await? {
        return Ok(again);
    }
    let today = zone.day_of(s.now().await?);
    let mut errors = Errors::none();
    let Some(read) = read(&f, today, &mut errors) else {
        drop(s);
        return Ok(page::refused(&form_page(&seat, id, f, errors).await?));
    };
    let noted = Noted {
        client: &client,
        by,
        outcome: read.outcome,
        way: read.way,
        next_step: read.next_step,
        next_on: read.next_on,
        note: &read.note,
        contact_again: read.contact_again,
    };
    let quiet = seat.salon_row.quiet();
    match flow::note_followup(&mut s, (&zone, &quiet), &noted).await {
        Ok(()) => {}
        Err(NotNoted::Refused(why)) => {
            drop(s);
            for why in why {
                errors.note("way", tr!("{} If they called or came in, choose that.", why.words()));
            }
            return Ok(page::refused(&form_page(&seat, id, f, errors).await?));
        }
        Err(NotNoted::Store(e)) => return Err(e.into()),
    }
    let answer = once::settle(&mut s, &f.once, &format!("/regrowth?noted={id}")).await?;
    s.commit().await?;
    Ok(answer)
}
