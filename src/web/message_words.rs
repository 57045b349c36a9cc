//! The words clients are written to in: the shipped ones, and the salon's own over them, with a preview.

use askama::Template;
use axum_extra::extract::{Form, Query};
use serde::Deserialize;

use crate::domain::access::Act;
use crate::domain::message::words::{faults, fill};
use crate::domain::message::{Facts, Kind, Language};
use crate::flow::messages as flow;
use crate::store::contact;
use crate::web::clients::zone;
use crate::web::form::Errors;
use crate::web::problem::{Answered, Problem};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::{Seat, first_name};
use crate::web::shell::Shell;
use crate::web::{once, page, typed};

/// The routes of this screen.
pub const LINES: &[Line] = lines![
    get "/messages/words" Open::To(Act::KeepTeam) => show,
    post "/messages/words" Open::To(Act::KeepTeam) => keep,
];

/// Which words.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    kind: String,
    language: String,
}

/// The words as typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Typed {
    once: String,
    kind: String,
    language: String,
    version: String,
    subject: String,
    body: String,
    /// "look", "keep", "shipped".
    act: String,
}

struct Row {
    what: &'static str,
    /// Language, where, whether the salon's own.
    languages: Vec<(&'static str, String, bool)>,
}

#[derive(Template)]
#[template(path = "messages/words.html")]
struct WordsPage {
    shell: Shell,
    rows: Vec<Row>,
    errors: Errors,
    once_key: String,
    /// What is being written; empty: nothing is chosen.
    heading: String,
    typed: Typed,
    places: String,
    own: String,
    /// Subject and body as a client would read them.
    preview: Option<(String, String)>,
}

async fn words_page(
    seat: &Seat,
    chosen: Option<(Kind, Language)>,
    typed: Option<Typed>,
    errors: Errors,
) -> Result<WordsPage, Problem> {
    let zone = zone(seat)?;
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let own = contact::list_words(&mut s).await?;
    let post = flow::find_post(&mut s).await?;
    s.commit().await?;
    let rows = Kind::ALL
        .into_iter()
        .map(|kind| Row {
            what: kind.words(),
            languages: Language::ALL
                .into_iter()
                .map(|l| {
                    let is_own = own.iter().any(|w| w.kind == kind.code() && w.language == l.code());
                    (l.words(), format!("/messages/words?kind={}&language={}", kind.code(), l.code()), is_own)
                })
                .collect(),
        })
        .collect();
    let mut page = WordsPage {
        shell: seat.shell(now, "/messages", &[]),
        rows,
        errors,
        once_key: once::key(),
        heading: String::new(),
        typed: Typed::default(),
        places: String::new(),
        own: String::new(),
        preview: None,
    };
    let Some((kind, language)) = chosen else { return Ok(page) };
    let mine = own.iter().find(|w| w.kind == kind.code() && w.language == language.code());
    let (subject, body) = flow::words_of(&seat.app.reference, &own, kind, language);
    page.heading = format!("{}, {}", kind.words(), language.words());
    page.own = mine.map_or_else(String::new, |w| {
        tr!("The salon's own words, by {}, {}.", w.by_name, zone.day_words(w.at))
    });
    page.places = kind.places().iter().map(|p| format!("{{{}}}", p.code())).collect::<Vec<_>>().join(" ");
    page.typed = typed.unwrap_or_else(|| Typed {
        kind: kind.code().into(),
        language: language.code().into(),
        version: mine.map_or(0, |w| w.version).to_string(),
        subject: subject.into(),
        body: body.into(),
        ..Typed::default()
    });
    let facts = Facts {
        first_name: tr!("Ilka").into(),
        salon: seat.salon_row.name.clone(),
        phone: post.reply_phone,
        day: flow::day_in(language, zone.day_of(now) + time::Duration::days(7)),
        time: "14:05".into(),
        with: seat.person().map(|p| first_name(&p.name).to_string()).unwrap_or_default(),
    };
    let body =
        fill(&page.typed.body, &facts).replace(crate::domain::message::LINK, "(the client's own link)");
    page.preview = Some((fill(&page.typed.subject, &facts), body));
    Ok(page)
}

fn chosen(kind: &str, language: &str) -> Option<(Kind, Language)> {
    Some((Kind::from_code(kind)?, Language::from_code(language)?))
}

/// The list, and the words chosen.
pub async fn show(seat: Seat, Query(asked): Query<Asked>) -> Answered {
    seat.require(Act::KeepTeam)?;
    let page = words_page(&seat, chosen(&asked.kind, &asked.language), None, Errors::none()).await?;
    Ok(page::html(&page))
}

/// Looks at words, keeps them, or goes back to the shipped ones.
pub async fn keep(seat: Seat, Form(f): Form<Typed>) -> Answered {
    let by = seat.require(Act::KeepTeam)?.id;
    let Some((kind, language)) = chosen(&f.kind, &f.language) else {
        return Err(Problem::Bad(tr!("Choose which words from the list.").into()));
    };
    let mut errors = Errors::none();
    if f.act != "shipped" {
        for (name, text, body) in [("subject", &f.subject, false), ("body", &f.body, true)] {
            for fault in faults(kind, text, body) {
                errors.note(name, fault.words(kind));
            }
        }
    }
    if f.act == "look" || !errors.is_empty() {
        let fine = errors.is_empty();
        let page = words_page(&seat, Some((kind, language)), Some(f), errors).await?;
        return Ok(if fine { page::html(&page) } else { page::refused(&page) });
    }
    let path = format!("/messages/words?kind={}&language={}", kind.code(), language.code());
    let mut s = seat.begin().await?;
    if let Some(again) = once::claim(&mut s, &f.once, "/messages/words").await? {
        return Ok(again);
    }
    if f.act == "shipped" {
        contact::delete_words(&mut s, kind, language).await?;
    } else {
        let body = typed::lines(&mut errors, "body", &f.body, 2000);
        let version = f.version.parse().unwrap_or_default();
        let words = (f.subject.trim(), body.as_str());
        if !contact::save_words(&mut s, (kind, language), words, by, version).await? {
            drop(s);
            errors.note("body", tr!("Somebody kept other words meanwhile. Yours are still here; keep them again to put them over."));
            let fresh = words_page(&seat, Some((kind, language)), None, Errors::none()).await?;
            let kept = Typed { version: fresh.typed.version, ..f };
            let page = words_page(&seat, Some((kind, language)), Some(kept), errors).await?;
            return Ok(page::refused(&page));
        }
    }
    let answer = once::settle(&mut s, &f.once, &path).await?;
    s.commit().await?;
    Ok(answer)
}
