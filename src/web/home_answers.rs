//! The questions a client answers at home by a link, before the consult: without sign-in, without script, and shown to
//! nobody again but to whoever may see health answers.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum_extra::extract::Form;

use crate::app::App;
use crate::calendar::Zone;
use crate::domain::consult::{HOME_TEXT_MOST, HomeAnswer, HomeQuestion, HomeTold};
use crate::store::{Scoped, Stored, home_answers};
use crate::web::assets::Assets;
use crate::web::client_links::{Opened, is_open, open_for, plain, private};
use crate::web::client_words::{HomeSaid, home_said};
use crate::web::form::Errors;
use crate::web::page;
use crate::web::problem::Answered;
use crate::web::routes::{Line, Open, lines};
use crate::web::typed;

/// The routes of this screen.
pub const LINES: &[Line] = lines![
    get "/c/{salon}/{token}/questions" Open::All => show,
    post "/c/{salon}/{token}/questions" Open::All => tell,
];

struct Asked {
    code: &'static str,
    words: &'static str,
    /// Code, words, chosen.
    answers: Vec<(&'static str, &'static str, bool)>,
}

#[derive(Template)]
#[template(path = "client_links/questions.html")]
struct QuestionsPage {
    assets: Assets,
    language: &'static str,
    salon: String,
    phone: String,
    said: &'static HomeSaid,
    notes: Vec<&'static str>,
    base: String,
    questions: Vec<Asked>,
    history: String,
    more: String,
}

/// The form as sent: a question's code, or one of the two texts.
type Typed = BTreeMap<String, String>;

fn text<'a>(typed: &'a Typed, name: &str) -> &'a str {
    typed.get(name).map_or("", String::as_str)
}

fn form_page(
    o: &Opened,
    phone: String,
    language: crate::domain::message::Language,
    typed: &Typed,
) -> QuestionsPage {
    let said = home_said(language);
    let asked = |(q, words): (HomeQuestion, &'static str)| Asked {
        code: q.code(),
        words,
        answers: HomeAnswer::ALL
            .into_iter()
            .zip(said.answers)
            .map(|(a, words)| (a.code(), words, text(typed, q.code()) == a.code()))
            .collect(),
    };
    QuestionsPage {
        assets: Assets,
        language: language.code(),
        salon: o.salon.name.clone(),
        phone,
        said,
        notes: Vec::new(),
        base: o.base.clone(),
        questions: HomeQuestion::ALL.into_iter().zip(said.questions).map(asked).collect(),
        history: text(typed, "history").to_string(),
        more: text(typed, "more").to_string(),
    }
}

/// The questions, empty: what was sent before is not shown to whoever holds the link.
pub async fn show(State(app): State<App>, Path((salon, token)): Path<(String, String)>) -> Answered {
    let (mut opened, link) = match open_for(&app, (&salon, &token), is_open).await {
        Ok(opened) => opened,
        Err(answer) => return answer,
    };
    let phone = opened.phone().await?;
    let page = form_page(&opened, phone, link.language, &Typed::new());
    opened.s.commit().await?;
    Ok(private(page::html(&page), StatusCode::OK))
}

/// Keeps the answers.
pub async fn tell(
    State(app): State<App>,
    Path((salon, token)): Path<(String, String)>,
    Form(typed): Form<Typed>,
) -> Answered {
    let (mut opened, link) = match open_for(&app, (&salon, &token), is_open).await {
        Ok(opened) => opened,
        Err(answer) => return answer,
    };
    let phone = opened.phone().await?;
    let mut errors = Errors::none();
    let history = typed::lines(&mut errors, "history", text(&typed, "history"), HOME_TEXT_MOST);
    let more = typed::lines(&mut errors, "more", text(&typed, "more"), HOME_TEXT_MOST);
    let told = HomeTold::of(|q| HomeAnswer::from_code(text(&typed, q.code())), history, more);
    let said = home_said(link.language);
    let why = match (&told, errors.is_empty()) {
        (_, false) => said.too_long,
        (None, true) => said.nothing,
        (Some(told), true) => {
            if home_answers::insert(&mut opened.s, link.client, link.id, told).await? {
                opened.s.changed(format!("client:{}", link.client));
                let mut page = plain(&opened.salon, link.language, opened.base.clone());
                page.phone = phone;
                page.heading = said.thanks.into();
                page.notes.push(said.asked_again.into());
                opened.s.commit().await?;
                return Ok(private(page::html(&page), StatusCode::OK));
            }
            said.too_often
        }
    };
    let mut page = form_page(&opened, phone, link.language, &typed);
    page.notes.push(why);
    Ok(private(page::html(&page), StatusCode::UNPROCESSABLE_ENTITY))
}

/// What was answered at home, as the consult's page shows it beside its own questions.
pub struct AtHome {
    pub when: String,
    /// Question and answer.
    pub answers: Vec<(&'static str, &'static str)>,
    pub history: String,
    pub more: String,
}

/// What a client answered at home since an instant; none when nothing.
///
/// # Errors
/// Those of the store.
pub async fn at_home(
    s: &mut Scoped,
    zone: &Zone,
    client: crate::domain::ids::ClientId,
    since: Option<time::OffsetDateTime>,
) -> Stored<Option<AtHome>> {
    let latest = home_answers::latest(s, client).await?;
    Ok(latest.filter(|(_, at)| since.is_none_or(|since| *at > since)).map(|(told, at)| AtHome {
        when: format!("{}, {}", zone.day_words(at), zone.clock(at)),
        answers: told.answers().iter().map(|(q, a)| (q.words(), a.words())).collect(),
        history: told.history,
        more: told.more,
    }))
}
