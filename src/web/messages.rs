//! Messages of the salon: what waits, what left, what could not; how the salon is reached back.

use askama::Template;
use axum::extract::Path;
use axum_extra::extract::{Form, Query};
use serde::Deserialize;

use crate::domain::access::Act;
use crate::domain::ids::MessageId;
use crate::domain::message::{Channel, Kind};
use crate::flow::messages as flow;
use crate::store::contact;
use crate::store::messages::{self, Message};
use crate::web::clients::zone;
use crate::web::form::Errors;
use crate::web::problem::{Answered, Problem};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::shell::{ScreenLink, Shell};
use crate::web::{once, page, typed};
use crate::words;

/// The routes of this screen.
pub const LINES: &[Line] = lines![
    get "/messages" Open::To(Act::FollowUp) => list,
    post "/messages/{id}/stop" Open::To(Act::FollowUp) => stop,
    get "/messages/sender" Open::To(Act::KeepTeam) => sender,
    post "/messages/sender" Open::To(Act::KeepTeam) => keep_sender,
];

/// States in the order of the screen, with their words.
const STATES: [(&str, &str); 4] = [
    ("waiting", mark!("Waiting")),
    ("sent", mark!("Gone")),
    ("failed", mark!("Not delivered")),
    ("stopped", mark!("Held back")),
];

/// What was asked of the list.
#[derive(Deserialize, Default)]
#[serde(default)]
pub struct Asked {
    state: String,
    before: String,
}

/// A message as shown.
pub(super) struct Shown {
    pub(super) id: i64,
    pub(super) client: String,
    pub(super) href: String,
    pub(super) when: String,
    pub(super) what: String,
    pub(super) to: String,
    pub(super) state: String,
    pub(super) subject: String,
    pub(super) body: String,
    pub(super) waits: bool,
    pub(super) once_key: String,
}

/// One message in words.
pub(super) fn shown(zone: &crate::calendar::Zone, m: Message) -> Shown {
    let at = |t| format!("{}, {}", zone.day_words(t), zone.clock(t));
    let channel = Channel::from_code(&m.channel).map_or("", Channel::words);
    let state = match m.state.as_str() {
        "waiting" if m.tries > 0 => tr!("tried {} times, again {}: {}", m.tries, at(m.next_at), m.said),
        "waiting" => tr!("leaves {}", at(m.next_at)),
        "sent" => m.ended_at.map_or_else(String::new, |t| tr!("left {}", at(t))),
        "failed" => tr!("not delivered: {}", m.said),
        _ => tr!("held back: {}", bar_words(&m.said)),
    };
    Shown {
        id: m.message_id,
        href: format!("/clients/{}/messages", m.client_id),
        client: m.client_name,
        when: at(m.made_at),
        what: Kind::from_code(&m.kind).map_or(m.kind.clone(), |k| k.words().to_string()),
        to: tr!("{channel} to {}", m.address, channel = channel),
        state,
        subject: m.subject,
        body: m.body,
        waits: m.state == "waiting",
        once_key: once::key(),
    }
}

/// Why a message was held back: the database's code as a sentence, else the words kept.
fn bar_words(said: &str) -> String {
    use crate::domain::message::NotWritten;
    let known = NotWritten::ALL.into_iter().find(|n| n.code() == said);
    known.map_or_else(|| said.to_string(), |n| n.words().to_string())
}

#[derive(Template)]
#[template(path = "messages/list.html")]
struct ListPage {
    shell: Shell,
    answer: String,
    states: Vec<ScreenLink>,
    messages: Vec<Shown>,
    more: String,
    manager: bool,
}

/// Messages of one state.
pub async fn list(seat: Seat, Query(asked): Query<Asked>) -> Answered {
    seat.require(Act::FollowUp)?;
    let zone = zone(&seat)?;
    let state = STATES.iter().find(|(code, _)| *code == asked.state).unwrap_or(&STATES[0]);
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let counts = messages::count(&mut s).await?;
    let mut rows = messages::list(&mut s, state.0, asked.before.parse().ok()).await?;
    s.commit().await?;
    let page_size = usize::try_from(messages::PAGE).unwrap_or(50);
    let more = (rows.len() > page_size).then(|| {
        rows.truncate(page_size);
        rows.last()
            .map_or_else(String::new, |m| format!("/messages?state={}&before={}", state.0, m.message_id))
    });
    let of = |code: &str| counts.iter().find(|(s, _)| s == code).map_or(0, |(_, n)| *n);
    let states = STATES
        .iter()
        .map(|(code, words)| ScreenLink {
            name: format!("{} {}", words::of(words), of(code)),
            href: format!("/messages?state={code}"),
            current: code == &state.0,
        })
        .collect();
    let answer = match (of("waiting"), of("failed")) {
        (0, 0) => tr!("No message waits").to_string(),
        (waiting, 0) => tr!("{waiting} on the way out", waiting = waiting),
        (waiting, failed) => {
            tr!("{waiting} on the way out, {failed} not delivered", waiting = waiting, failed = failed)
        }
    };
    Ok(page::html(&ListPage {
        shell: seat.shell(now, "/messages", &["messages"]),
        answer,
        states,
        messages: rows.into_iter().map(|m| shown(&zone, m)).collect(),
        more: more.unwrap_or_default(),
        manager: seat.may(Act::KeepTeam),
    }))
}

/// A form with nothing but its key.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Keyed {
    once: String,
}

/// Takes a waiting message back.
pub async fn stop(seat: Seat, Path(id): Path<String>, Form(f): Form<Keyed>) -> Answered {
    let by = seat.require(Act::FollowUp)?.name.clone();
    let id: MessageId = id.parse().map_err(|_| Problem::NotFound)?;
    let mut s = seat.begin().await?;
    if let Some(again) = once::claim(&mut s, &f.once, &format!("/messages/{id}/stop")).await? {
        return Ok(again);
    }
    let why = words::plainly(|| tr!("taken back by {by}", by = by));
    if !messages::take_back(&mut s, id, &why).await? {
        return match messages::find_state(&mut s, id).await? {
            None => Err(Problem::NotFound),
            Some(_) => Err(Problem::Stale {
                what: tr!("This message has left, is leaving this moment, or was taken back already.").into(),
                look: "/messages?state=sent".into(),
            }),
        };
    }
    s.changed("messages");
    let answer = once::settle(&mut s, &f.once, "/messages").await?;
    s.commit().await?;
    Ok(answer)
}

/// The sender's form as typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Sender {
    once: String,
    from_address: String,
    reply_phone: String,
}

#[derive(Template)]
#[template(path = "messages/sender.html")]
struct SenderPage {
    shell: Shell,
    errors: Errors,
    once_key: String,
    typed: Sender,
}

/// How the salon is reached back.
pub async fn sender(seat: Seat) -> Answered {
    seat.require(Act::KeepTeam)?;
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let post = flow::find_post(&mut s).await?;
    s.commit().await?;
    let typed =
        Sender { once: String::new(), from_address: post.from_address, reply_phone: post.reply_phone };
    Ok(page::html(&SenderPage {
        shell: seat.shell(now, "/messages", &[]),
        errors: Errors::none(),
        once_key: once::key(),
        typed,
    }))
}

/// An address as the database takes it: one @, nothing that ends a header.
fn is_address(text: &str) -> bool {
    let fine = |part: &str| {
        !part.is_empty()
            && !part.chars().any(|c| c.is_whitespace() || c.is_control() || "<>,;\"@".contains(c))
    };
    text.split_once('@').is_some_and(|(name, domain)| fine(name) && fine(domain))
}

/// Keeps it.
pub async fn keep_sender(seat: Seat, Form(f): Form<Sender>) -> Answered {
    seat.require(Act::KeepTeam)?;
    let mut s = seat.begin().await?;
    if let Some(again) = once::claim(&mut s, &f.once, "/messages/sender").await? {
        return Ok(again);
    }
    let mut errors = Errors::none();
    let from = typed::line(&mut errors, "from_address", &f.from_address, 254);
    if !from.is_empty() && !is_address(&from) {
        errors.note("from_address", tr!("Write an address such as desk@salon.example."));
    }
    let phone = typed::line(&mut errors, "reply_phone", &f.reply_phone, 40);
    if !errors.is_empty() {
        let now = s.now().await?;
        drop(s);
        let shell = seat.shell(now, "/messages", &[]);
        return Ok(page::refused(&SenderPage { shell, errors, once_key: once::key(), typed: f }));
    }
    flow::find_post(&mut s).await?;
    contact::update_post(&mut s, &from, &phone).await?;
    let answer = once::settle(&mut s, &f.once, "/messages").await?;
    s.commit().await?;
    Ok(answer)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_has_one_at_and_no_space() {
        for fine in ["desk@salon.example", "a.b+c@x"] {
            assert!(is_address(fine), "{fine}");
        }
        for bad in ["", "desk", "@x", "a@", "a@b@c", "a b@c", "a@b\r\nBcc: x@y", "<a@b>"] {
            assert!(!is_address(bad), "{bad}");
        }
    }
}
