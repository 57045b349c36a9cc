//! In which language the screens speak to whoever is signed in, and in what they say lengths.

use axum::http::{HeaderMap, Uri, header};
use axum::response::Response;
use axum_extra::extract::Form;
use serde::Deserialize;

use crate::flow::team as flow;
use crate::web::page::{self, own_path};
use crate::web::problem::{Answered, Problem};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::words::{Language, Unit};

/// The routes of these screens.
pub const LINES: &[Line] = lines![
    post "/language" Open::Station => choose,
    post "/length-unit" Open::Station => choose_unit,
];

/// The language as chosen.
#[derive(Clone, Default, Deserialize)]
#[serde(default)]
pub struct Chosen {
    language: String,
}

/// The screens speak this language to whoever is signed in, from now on and at every station; twice is the same.
pub async fn choose(seat: Seat, headers: HeaderMap, Form(f): Form<Chosen>) -> Answered {
    let person = seat.person().ok_or_else(|| Problem::Locked { next: "/floor".into() })?.id;
    let chosen = Language::CHOICES.into_iter().find(|l| l.tag() == f.language);
    let chosen = chosen.ok_or_else(|| Problem::Bad(tr!("The screens do not speak this language.").into()))?;
    let mut s = seat.begin().await?;
    flow::speak_to(&mut s, person, chosen).await.map_err(crate::web::team::problem)?;
    s.commit().await?;
    Ok(back(&headers))
}

/// The unit as chosen.
#[derive(Clone, Default, Deserialize)]
#[serde(default)]
pub struct ChosenUnit {
    unit: String,
}

/// Lengths are said in this unit to whoever is signed in, from now on and at every station; twice is the same.
pub async fn choose_unit(seat: Seat, headers: HeaderMap, Form(f): Form<ChosenUnit>) -> Answered {
    let person = seat.person().ok_or_else(|| Problem::Locked { next: "/floor".into() })?.id;
    let chosen = Unit::of_symbol(&f.unit);
    let chosen = chosen.ok_or_else(|| Problem::Bad(tr!("Lengths are said in mm or in inches.").into()))?;
    let mut s = seat.begin().await?;
    flow::measure_for(&mut s, person, chosen).await.map_err(crate::web::team::problem)?;
    s.commit().await?;
    Ok(back(&headers))
}

/// Back to the screen it was chosen on.
fn back(headers: &HeaderMap) -> Response {
    let from =
        headers.get(header::REFERER).and_then(|h| h.to_str().ok()).and_then(|at| at.parse::<Uri>().ok());
    let back = from.and_then(|at| at.path_and_query().map(ToString::to_string)).unwrap_or_default();
    page::see(&own_path(&back))
}
