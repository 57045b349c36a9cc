//! The consent: the exact words shown, signed on the screen by drawing or typing.

use askama::Template;
use axum::extract::Path;
use axum_extra::extract::Form;
use serde::Deserialize;
use sha2::{Digest, Sha256};
use time::{Date, OffsetDateTime};

use crate::domain::access::Act;
use crate::flow::consents::{self as flow, Signature};
use crate::reference::consent::ConsentValues;
use crate::store::clients::Client;
use crate::store::consents::{self, Consent};
use crate::store::{Scoped, consults, people};
use crate::web::clients::{client_id, find, tabs, zone};
use crate::web::form::{Errors, Reason};
use crate::web::problem::{Answered, Problem};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::shell::{ClientTabs, Shell};
use crate::web::{drawing, once, page, typed};

/// The routes of this screen.
pub const LINES: &[Line] = lines![
    get "/clients/{id}/consent" Open::To(Act::SeeHealth) => show,
    post "/clients/{id}/consent" Open::To(Act::TakeConsult) => sign,
];

/// The form as typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Typed {
    once: String,
    /// Hash of the words shown: what is kept is what was read.
    shown: String,
    signature: String,
    signature_typed: String,
}

#[derive(Template)]
#[template(path = "consents/show.html")]
struct ConsentPage {
    shell: Shell,
    tabs: ClientTabs,
    errors: Errors,
    typed_name: String,
    once_key: String,
    action: String,
    answer: &'static str,
    /// Paragraphs of the words to sign.
    words: Vec<String>,
    shown: String,
    by_guardian: bool,
    against: Vec<Reason>,
    /// When, by whom, in which words the last one was signed.
    last: Option<(String, Vec<String>)>,
    may_sign: bool,
}

struct Opened {
    client: Client,
    now: OffsetDateTime,
    by_guardian: bool,
    words: String,
    against: Vec<(String, String)>,
    last: Option<Consent>,
}

fn hash(words: &str) -> String {
    Sha256::digest(words.as_bytes()).iter().map(|b| format!("{b:02x}")).collect()
}

fn words_of(seat: &Seat, client: &Client, by_guardian: bool, today: Date) -> String {
    let salon = &seat.salon_row;
    let day = format!("{} {}", crate::calendar::day_words(today), today.year());
    let values = ConsentValues {
        salon: &salon.name,
        client: &client.name,
        day: &day,
        emergency_number: &salon.emergency_number,
    };
    seat.app.reference.consent.words(by_guardian, &values)
}

async fn open(seat: &Seat, s: &mut Scoped, id: &str) -> Result<Opened, Problem> {
    let client = find(s, client_id(id)?).await?;
    let (now, zone) = (s.now().await?, zone(seat)?);
    let today = zone.day_of(now);
    let by_guardian = flow::find_needs_guardian(s, &client, today).await?;
    let least = u8::try_from(seat.salon_row.least_age).unwrap_or(u8::MAX);
    let against = flow::find_against(s, &seat.app.reference, &client, (&zone, least), today).await?;
    let last = consents::latest(s, client.id()).await?;
    let words = words_of(seat, &client, by_guardian, today);
    Ok(Opened { client, now, by_guardian, words, against, last })
}

fn paragraphs(words: &str) -> Vec<String> {
    words.split("\n\n").map(|p| p.trim().replace('\n', " ")).filter(|p| !p.is_empty()).collect()
}

fn consent_page(
    seat: &Seat,
    o: &Opened,
    team: &[people::Person],
    f: &Typed,
    errors: Errors,
) -> Result<ConsentPage, Problem> {
    let zone = zone(seat)?;
    let base = format!("/clients/{}", o.client.client_id);
    let today = o.last.as_ref().is_some_and(|c| zone.day_of(c.signed_at) == zone.day_of(o.now));
    Ok(ConsentPage {
        shell: seat.shell(o.now, "/clients", &[]),
        tabs: tabs(seat, &o.client, "consent"),
        typed_name: f.signature_typed.clone(),
        once_key: once::key(),
        action: format!("{base}/consent"),
        answer: match (o.against.is_empty(), today, o.by_guardian) {
            (false, ..) => tr!("Nothing to sign today"),
            (true, true, _) => tr!("Signed today"),
            (true, false, true) => tr!("The guardian reads and signs"),
            (true, false, false) => tr!("Read this and sign"),
        },
        words: paragraphs(&o.words),
        shown: hash(&o.words),
        by_guardian: o.by_guardian,
        against: o
            .against
            .iter()
            .map(|(words, way)| Reason::with_way(words, way, format!("{base}/consult")))
            .collect(),
        last: o.last.as_ref().map(|c| {
            let witness = team.iter().find(|p| p.id.0 == c.witnessed_by).map_or("", |p| p.name.as_str());
            let how = if c.drawn { "drawn" } else { "typed" };
            let when = format!("{} {}", zone.day_words(c.signed_at), zone.clock(c.signed_at));
            (
                tr!(
                    "{when}, {} ({}, {how}), before {witness}",
                    c.signed_name,
                    c.signer,
                    when = when,
                    how = how,
                    witness = witness
                ),
                paragraphs(&c.words),
            )
        }),
        may_sign: seat.may(Act::TakeConsult),
        errors,
    })
}

/// The words, and the last signature.
pub async fn show(seat: Seat, Path(id): Path<String>) -> Answered {
    seat.require(Act::SeeHealth)?;
    let mut s = seat.begin().await?;
    let o = open(&seat, &mut s, &id).await?;
    let team = people::list(&mut s).await?;
    // Who read the consult signs here: the name stands already.
    let guardian = consults::latest(&mut s, o.client.id()).await?.and_then(|c| c.guardian);
    s.commit().await?;
    let signature_typed = guardian.filter(|_| o.by_guardian).unwrap_or_default();
    let typed = Typed { signature_typed, ..Typed::default() };
    Ok(page::html(&consent_page(&seat, &o, &team, &typed, Errors::none())?))
}

/// Keeps a signature.
pub async fn sign(seat: Seat, Path(id): Path<String>, Form(f): Form<Typed>) -> Answered {
    let witness = seat.require(Act::TakeConsult)?.id;
    let here = format!("/clients/{}/consent", client_id(&id)?);
    let mut s = seat.begin().await?;
    if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
        return Ok(again);
    }
    let o = open(&seat, &mut s, &id).await?;
    let mut errors = Errors::none();
    let typed_name = typed::line(&mut errors, "signature", &f.signature_typed, 200);
    let drawn = if f.signature.is_empty() {
        None
    } else {
        drawing::read(&f.signature).map_err(|words| errors.note("signature", words)).ok()
    };
    // A drawing of the client's stands for the client's name; a guardian's name is not on record.
    let name = match (typed_name.is_empty(), drawn.is_some(), o.by_guardian) {
        (true, true, false) => o.client.name.clone(),
        _ => typed_name,
    };
    if name.is_empty() && errors.is_empty() {
        errors.note(
            "signature",
            if o.by_guardian {
                tr!("Write the guardian's name, drawn or not.")
            } else {
                tr!("Draw the signature, or type the name.")
            },
        );
    }
    if !errors.is_empty() || !o.against.is_empty() {
        let team = people::list(&mut s).await?;
        return Ok(page::refused(&consent_page(&seat, &o, &team, &f, errors)?));
    }
    if f.shown != hash(&o.words) {
        let what =
            tr!("The words to sign have changed since this page was opened: read them again.").to_string();
        return Err(Problem::Stale { what, look: here });
    }
    let signature =
        Signature { words: &o.words, name: &name, drawing: drawn.as_deref(), by_guardian: o.by_guardian };
    flow::sign_consent(&mut s, &o.client, &signature, seat.station_id(), witness).await?;
    let answer = once::settle(&mut s, &f.once, &here).await?;
    s.commit().await?;
    Ok(answer)
}
