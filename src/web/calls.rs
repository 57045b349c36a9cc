//! Calls: taking one, putting it down, and who of the team sees to a client.

use axum::extract::Path;
use axum::http::StatusCode;
use axum_extra::extract::Form;
use serde::Deserialize;
use time::OffsetDateTime;

use crate::calendar::{Zone, clock};
use crate::domain::access::{Act, may};
use crate::domain::call::NoCall;
use crate::domain::ids::{ClientId, PersonId};
use crate::flow::calls::{self as flow, Taking, is_quiet};
use crate::store::calls::Call;
use crate::store::people::{self, Person};
use crate::store::salons::Salon;
use crate::web::clients::{client_id, find, zone};
use crate::web::followups::{Typed, form_page};
use crate::web::form::{Choice, Errors};
use crate::web::problem::Answered;
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::{once, page};

/// The routes of these acts; the page they stand on is the client's follow-ups.
pub const LINES: &[Line] = lines![
    post "/clients/{id}/call" Open::To(Act::FollowUp) => take,
    post "/clients/{id}/call/end" Open::To(Act::FollowUp) => put_down,
    post "/clients/{id}/assignment" Open::To(Act::FollowUp) => assign,
];

/// Where a client's call stands for whoever looks.
pub(super) struct CallState {
    pub(super) words: String,
    pub(super) mine: bool,
    /// Nothing stands against taking it.
    pub(super) free: bool,
}

/// The salon's quiet hours, as said while they last.
pub(super) fn quiet_words(salon: &Salon) -> String {
    let days = [
        tr!("Mondays"),
        tr!("Tuesdays"),
        tr!("Wednesdays"),
        tr!("Thursdays"),
        tr!("Fridays"),
        tr!("Saturdays"),
        tr!("Sundays"),
    ];
    let named: Vec<&str> = salon
        .quiet_weekdays
        .iter()
        .filter_map(|n| usize::try_from(*n - 1).ok().and_then(|n| days.get(n).copied()))
        .collect();
    let mut words = String::from(tr!("Quiet hours: nobody is called"));
    if salon.quiet_from != salon.quiet_until {
        words += &tr!(" from {} to {}", clock(salon.quiet_from), clock(salon.quiet_until));
    }
    if !named.is_empty() {
        if salon.quiet_from != salon.quiet_until {
            words += ",";
        }
        words += &tr!(" on {}", named.join(" and "));
    }
    words + "."
}

pub(super) fn call_state(
    seat: &Seat,
    zone: &Zone,
    salon: &Salon,
    call: Option<Call>,
    now: OffsetDateTime,
) -> CallState {
    let me = seat.person().map(|p| p.id.0);
    if let Some(call) = call {
        let until = zone.clock(call.until_at);
        let mine = Some(call.by) == me;
        let words = if mine {
            tr!("This call is yours until {until}: nobody else calls meanwhile.", until = until)
        } else {
            let since = zone.clock(call.from_at);
            tr!(
                "{} is calling since {since}; free again at {until} at the latest.",
                call.by_name,
                since = since,
                until = until
            )
        };
        return CallState { words, mine, free: false };
    }
    if is_quiet(zone, &salon.quiet(), now) {
        return CallState { words: quiet_words(salon), mine: false, free: false };
    }
    CallState {
        words: tr!("Take the call before you ring: then nobody else does.").into(),
        mine: false,
        free: true,
    }
}

/// Who may see to a client, the one who does marked.
pub(super) fn whose(team: &[Person], assigned: Option<i64>) -> Vec<Choice> {
    let mut list: Vec<Choice> = team
        .iter()
        .filter(|p| !p.left && may(p.role, Act::FollowUp))
        .map(|p| Choice { code: p.id.to_string(), words: p.name.clone(), chosen: Some(p.id.0) == assigned })
        .collect();
    let nobody = !list.iter().any(|choice| choice.chosen);
    list.insert(0, Choice { code: String::new(), words: tr!("nobody yet").into(), chosen: nobody });
    list
}

/// A form that carries its key alone.
#[derive(Deserialize, Default)]
#[serde(default)]
pub struct Once {
    once: String,
}

fn page_of(id: ClientId) -> String {
    format!("/clients/{id}/followups")
}

/// Takes the call; told who has it when somebody was first.
pub async fn take(seat: Seat, Path(id): Path<String>, Form(f): Form<Once>) -> Answered {
    let by = seat.require(Act::FollowUp)?.id;
    let id = client_id(&id)?;
    let zone = zone(&seat)?;
    let mut s = seat.begin().await?;
    let client = find(&mut s, id).await?;
    if let Some(again) = once::claim(&mut s, &f.once, &format!("/clients/{id}/call")).await? {
        return Ok(again);
    }
    let quiet = seat.salon_row.quiet();
    match flow::take_call(&mut s, (&zone, &quiet), &client, by, seat.station_id()).await? {
        Taking::Taken => {
            let answer = once::settle(&mut s, &f.once, &page_of(id)).await?;
            s.commit().await?;
            Ok(answer)
        }
        Taking::Refused(why) => {
            drop(s);
            let held = why.contains(&NoCall::Held);
            let mut errors = Errors::none();
            for why in why {
                errors.note("call", why.words());
            }
            let mut answer = page::refused(&form_page(&seat, id, Typed::default(), errors).await?);
            if held {
                *answer.status_mut() = StatusCode::CONFLICT;
            }
            Ok(answer)
        }
    }
}

/// Puts the call down; the client is free for others.
pub async fn put_down(seat: Seat, Path(id): Path<String>, Form(f): Form<Once>) -> Answered {
    let by = seat.require(Act::FollowUp)?.id;
    let id = client_id(&id)?;
    let mut s = seat.begin().await?;
    find(&mut s, id).await?;
    if let Some(again) = once::claim(&mut s, &f.once, &format!("/clients/{id}/call/end")).await? {
        return Ok(again);
    }
    flow::put_down(&mut s, by).await?;
    let answer = once::settle(&mut s, &f.once, "/regrowth").await?;
    s.commit().await?;
    Ok(answer)
}

/// Who sees to a client, as chosen.
#[derive(Deserialize, Default)]
#[serde(default)]
pub struct Assigning {
    once: String,
    person: String,
}

/// Says who sees to a client.
pub async fn assign(seat: Seat, Path(id): Path<String>, Form(f): Form<Assigning>) -> Answered {
    let by = seat.require(Act::FollowUp)?.id;
    let id = client_id(&id)?;
    let mut s = seat.begin().await?;
    find(&mut s, id).await?;
    if let Some(again) = once::claim(&mut s, &f.once, &format!("/clients/{id}/assignment")).await? {
        return Ok(again);
    }
    let team = people::list(&mut s).await?;
    let to: Option<PersonId> = f.person.parse().ok();
    let fits = |p: &&Person| Some(p.id) == to && !p.left && may(p.role, Act::FollowUp);
    if !f.person.is_empty() && !team.iter().any(|p| fits(&p)) {
        drop(s);
        let mut errors = Errors::none();
        errors.note("person", tr!("Choose somebody of the team who follows up."));
        return Ok(page::refused(&form_page(&seat, id, Typed::default(), errors).await?));
    }
    flow::assign(&mut s, id, to, by).await?;
    let answer = once::settle(&mut s, &f.once, &page_of(id)).await?;
    s.commit().await?;
    Ok(answer)
}
