//! One client: how they wish to be written to, what was written, and writing that the next visit is due.

use askama::Template;
use axum::extract::Path;
use axum_extra::extract::Form;
use serde::Deserialize;

use crate::domain::access::Act;
use crate::domain::ids::ClientId;
use crate::domain::message::{Channel, Kind, LINK, Language};
use crate::flow::messages::{self as flow, Draft, Wrote};
use crate::store::{contact, dues, messages};
use crate::web::clients::{client_id, find, tabs, zone};
use crate::web::form::{Choice, Errors, Reason};
use crate::web::messages::{Shown, shown};
use crate::web::problem::{Answered, Problem};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::shell::{ClientTabs, Shell};
use crate::web::{once, page};

/// The routes of this screen.
pub const LINES: &[Line] = lines![
    get "/clients/{id}/messages" Open::To(Act::FollowUp) => show,
    post "/clients/{id}/messages" Open::To(Act::FollowUp) => write,
    post "/clients/{id}/wishes" Open::To(Act::FollowUp) => wish,
    post "/clients/{id}/addresses" Open::To(Act::FollowUp) => lift,
];

/// A channel as shown.
struct Way {
    name: &'static str,
    code: &'static str,
    address: String,
    said: String,
    stopped: String,
    answers: Vec<Choice>,
    languages: Vec<Choice>,
    once_key: String,
    lift_key: String,
}

#[derive(Template)]
#[template(path = "messages/client.html")]
struct ClientPage {
    shell: Shell,
    tabs: ClientTabs,
    answer: String,
    errors: Errors,
    reasons: Vec<Reason>,
    base: String,
    once_key: String,
    ways: Vec<Way>,
    /// Subject, body and where it would go, when the next visit may be written about.
    preview: Option<(String, String, String)>,
    messages: Vec<Shown>,
}

fn way(zone: &crate::calendar::Zone, row: contact::Reach) -> Option<Way> {
    let channel = Channel::from_code(&row.channel)?;
    let said = match (row.wished_at, &row.by_name) {
        (None, _) => tr!("Nobody has asked yet.").to_string(),
        (Some(at), by) => {
            let what = if row.agreed { tr!("Agreed") } else { tr!("Does not want it") };
            let who = by
                .as_ref()
                .map_or_else(|| tr!("by the link of a message").to_string(), |n| tr!("told to {n}", n = n));
            format!("{what}, {}, {who}.", zone.day_words(at))
        }
    };
    let stopped = row.stopped.as_deref().map_or("", |why| match why {
        "bounced" => tr!("Stopped: a message came back."),
        "complained" => tr!("Stopped: the owner of the address complained."),
        _ => tr!("Stopped: asked for by the link of a message."),
    });
    let language = row.language.as_deref().unwrap_or("en");
    let chosen = if row.wished_at.is_none() {
        ""
    } else if row.agreed {
        "yes"
    } else {
        "no"
    };
    Some(Way {
        name: channel.words(),
        code: channel.code(),
        address: row.address,
        said,
        stopped: stopped.into(),
        answers: Choice::list([("yes", tr!("agrees")), ("no", tr!("does not want it"))], &[chosen]),
        languages: Choice::list(Language::ALL.into_iter().map(|l| (l.code(), l.words())), &[language]),
        once_key: once::key(),
        lift_key: once::key(),
    })
}

async fn client_page(
    seat: &Seat,
    id: ClientId,
    errors: Errors,
    mut reasons: Vec<Reason>,
) -> Result<ClientPage, Problem> {
    let by = seat.require(Act::FollowUp)?.id;
    let zone = zone(seat)?;
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let client = find(&mut s, id).await?;
    let due = dues::find(&mut s, id).await?;
    let reach = contact::list_reach(&mut s, id).await?;
    let can = flow::channel_of(&reach);
    let protocol = due.as_ref().map(|d| d.protocol.clone());
    let preview = match (&can, &protocol) {
        (Ok(_), Some(protocol)) => {
            let draft = Draft { client: id, kind: Kind::Due, about: None, protocol: Some(protocol), by };
            flow::preview(&mut s, &seat.app.reference, &zone, &draft).await?.ok()
        }
        _ => None,
    };
    let rows = messages::list_of_client(&mut s, id).await?;
    s.commit().await?;
    let answer = match &can {
        Ok((channel, _, address)) => tr!("Written to by {}: {address}", channel.words(), address = address),
        Err(why) => why.words().trim_end_matches('.').to_string(),
    };
    if can.is_ok() && protocol.is_none() && reasons.is_empty() {
        reasons.push(Reason::plain(tr!(
            "No next visit is worked out for this client yet: there is nothing due to write about."
        )));
    }
    Ok(ClientPage {
        shell: seat.shell(now, "/clients", &[&format!("client:{id}")]),
        tabs: tabs(seat, &client, "messages"),
        answer,
        errors,
        reasons,
        base: format!("/clients/{id}"),
        once_key: once::key(),
        ways: reach.into_iter().filter_map(|row| way(&zone, row)).collect(),
        preview: preview.map(|p| {
            let to = tr!("{} to {}, in {}", p.channel.words(), p.address, p.language.words());
            (p.subject, p.body.replace(LINK, "(the client's own link)"), to)
        }),
        messages: rows.into_iter().map(|m| shown(&zone, m)).collect(),
    })
}

/// The client's messages.
pub async fn show(seat: Seat, Path(id): Path<String>) -> Answered {
    Ok(page::html(&client_page(&seat, client_id(&id)?, Errors::none(), Vec::new()).await?))
}

/// A form with nothing but its key.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Keyed {
    once: String,
}

/// Writes that the next visit is due.
pub async fn write(seat: Seat, Path(id): Path<String>, Form(f): Form<Keyed>) -> Answered {
    let by = seat.require(Act::FollowUp)?.id;
    let id = client_id(&id)?;
    let zone = zone(&seat)?;
    let path = format!("/clients/{id}/messages");
    let mut s = seat.begin().await?;
    find(&mut s, id).await?;
    if let Some(again) = once::claim(&mut s, &f.once, &path).await? {
        return Ok(again);
    }
    let due = dues::find(&mut s, id).await?;
    let Some(due) = due else {
        drop(s);
        return Ok(page::refused(&client_page(&seat, id, Errors::none(), Vec::new()).await?));
    };
    let draft = Draft { client: id, kind: Kind::Due, about: None, protocol: Some(&due.protocol), by };
    let why = match flow::write(&mut s, &seat.app.reference, &zone, &draft).await? {
        Wrote::Written(_) | Wrote::Before => None,
        Wrote::Not(why) => Some(why.words()),
        Wrote::KeptOut => Some(tr!(
            "The salon's own words hold something about health or chemistry: a manager mends them first."
        )),
    };
    if let Some(why) = why {
        drop(s);
        let page = client_page(&seat, id, Errors::none(), vec![Reason::plain(why)]).await?;
        return Ok(page::refused(&page));
    }
    let answer = once::settle(&mut s, &f.once, &path).await?;
    s.commit().await?;
    Ok(answer)
}

/// A wish as typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Wished {
    once: String,
    channel: String,
    agreed: String,
    language: String,
}

/// Keeps what the client told about a channel.
pub async fn wish(seat: Seat, Path(id): Path<String>, Form(f): Form<Wished>) -> Answered {
    let by = seat.require(Act::FollowUp)?.id;
    let id = client_id(&id)?;
    let path = format!("/clients/{id}/messages");
    let mut s = seat.begin().await?;
    find(&mut s, id).await?;
    if let Some(again) = once::claim(&mut s, &f.once, &format!("/clients/{id}/wishes")).await? {
        return Ok(again);
    }
    let (channel, language) = (Channel::from_code(&f.channel), Language::from_code(&f.language));
    let agreed = match f.agreed.as_str() {
        "yes" => Some(true),
        "no" => Some(false),
        _ => None,
    };
    let (Some(channel), Some(language), Some(agreed)) = (channel, language, agreed) else {
        drop(s);
        let mut errors = Errors::none();
        errors.note(format!("agreed-{}", f.channel), tr!("Choose what the client said."));
        return Ok(page::refused(&client_page(&seat, id, errors, Vec::new()).await?));
    };
    flow::keep_wish(&mut s, id, channel, (agreed, language), by).await?;
    let answer = once::settle(&mut s, &f.once, &path).await?;
    s.commit().await?;
    Ok(answer)
}

/// A channel whose address may be written to again.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Lifted {
    once: String,
    channel: String,
}

/// Lifts the stop of an address: its owner asked for it, or a mailbox works again.
pub async fn lift(seat: Seat, Path(id): Path<String>, Form(f): Form<Lifted>) -> Answered {
    let by = seat.require(Act::FollowUp)?.id;
    let id = client_id(&id)?;
    let channel = Channel::from_code(&f.channel)
        .ok_or_else(|| Problem::Bad(tr!("There is no such way to write.").into()))?;
    let path = format!("/clients/{id}/messages");
    let mut s = seat.begin().await?;
    find(&mut s, id).await?;
    if let Some(again) = once::claim(&mut s, &f.once, &format!("/clients/{id}/addresses")).await? {
        return Ok(again);
    }
    let reach = contact::list_reach(&mut s, id).await?;
    if let Some(row) = reach.iter().find(|r| r.channel == channel.code()) {
        contact::lift_stop(&mut s, channel, &row.address, by).await?;
        s.changed(format!("client:{id}"));
    }
    let answer = once::settle(&mut s, &f.once, &path).await?;
    s.commit().await?;
    Ok(answer)
}
