//! The sheet's minutes of a product: one form, one clock at a time.

use axum::extract::Path;
use axum_extra::extract::Form;
use serde::Deserialize;

use crate::domain::access::Act;
use crate::domain::ids::ProductId;
use crate::domain::sheet::{SheetHair, SheetRow, contradiction};
use crate::domain::stock::{Clock, CountsFrom};
use crate::flow::products as flow;
use crate::flow::sheets::row;
use crate::store::products::Times;
use crate::web::form::Errors;
use crate::web::problem::Answered;
use crate::web::product_page::{open, product_page};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::{once, page, typed};

/// The route of this act; the form stands on the product's page.
pub const LINES: &[Line] = lines![post "/shelf/products/{id}/times" Open::To(Act::KeepShelf) => enter_times];

/// One clock's minutes as typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct TimesTyped {
    pub once: String,
    pub clock: String,
    pub target_min: String,
    pub least_min: String,
    pub most_min: String,
    pub counts_from: String,
    /// For which hair; empty is any.
    pub hair: String,
}

/// One clock's minutes in words.
pub fn times_words(t: &Times) -> (String, String) {
    let show = |x: f32| typed::shown(f64::from(x));
    let least = t.least_min.map(|x| tr!("shortest {}, ", show(x))).unwrap_or_default();
    let from = CountsFrom::from_code(&t.counts_from).map_or("", CountsFrom::words);
    let words = tr!(
        "{} min, {least}longest allowed {}, from {from}",
        show(t.target_min),
        show(t.most_min),
        least = least,
        from = from
    );
    let clock = Clock::from_code(&t.clock).map_or("", Clock::words);
    let heading = match SheetHair::from_code(&t.hair) {
        None | Some(SheetHair::Any) => clock.to_string(),
        Some(hair) => format!("{clock}, {}", hair.words()),
    };
    (heading, words)
}

/// What the rows that stand say against a new one, beside its field.
fn against(standing: &[Times], t: &Times, e: &mut Errors) {
    let mut rows: Vec<SheetRow> =
        standing.iter().filter(|x| x.clock == t.clock && x.hair != t.hair).map(row).collect();
    if t.hair != SheetHair::Any.code() && !rows.iter().any(|r| r.hair == SheetHair::Any) {
        e.note(
            "hair",
            tr!("Enter the minutes for any hair first: they hold where a hair has none of its own."),
        );
        return;
    }
    rows.push(row(t));
    if let Some((weaker, stronger)) = contradiction(&rows) {
        e.note(
            "most_min",
            tr!("The sheet would give {} longer than {}: read it again.", weaker.words(), stronger.words()),
        );
    }
}

fn read_times(f: &TimesTyped) -> (Option<Times>, Errors) {
    let mut e = Errors::none();
    let clock =
        typed::code(&mut e, "clock", &f.clock, Clock::from_code, tr!("Choose which clock the sheet means."));
    let target =
        typed::needed_number(&mut e, "target_min", &f.target_min, (0.5, 180.0), tr!("the sheet's minutes"));
    let least = typed::number(&mut e, "least_min", &f.least_min, (0.0, 180.0), tr!("the shortest minutes"));
    if least.is_some_and(|x| x > target) {
        e.note("least_min", tr!("The shortest is not longer than the sheet's minutes."));
    }
    let most = typed::needed_number(
        &mut e,
        "most_min",
        &f.most_min,
        (0.5, 180.0),
        tr!("the longest minutes allowed"),
    );
    if e.is_empty() && most < target {
        e.note("most_min", tr!("The longest allowed is not shorter than the sheet's minutes."));
    }
    let counts = typed::code(
        &mut e,
        "counts_from",
        &f.counts_from,
        CountsFrom::from_code,
        tr!("Choose from when the sheet counts: without it no clock can be held to it."),
    );
    let hair = match f.hair.as_str() {
        "" => Some(SheetHair::Any),
        code => typed::code(&mut e, "hair", code, SheetHair::from_code, tr!("Choose for which hair.")),
    };
    let times = clock.zip(counts).zip(hair).filter(|_| e.is_empty()).map(|((clock, counts), hair)| Times {
        clock: clock.code().into(),
        target_min: target as f32,
        least_min: least.map(|x| x as f32),
        most_min: most as f32,
        counts_from: counts.code().into(),
        hair: hair.code().into(),
    });
    (times, e)
}

/// Enters the sheet's minutes.
pub async fn enter_times(seat: Seat, Path(id): Path<String>, Form(f): Form<TimesTyped>) -> Answered {
    let by = seat.require(Act::KeepShelf)?.id;
    let mut s = seat.begin().await?;
    let o = open(&seat, &mut s, &id).await?;
    let here = format!("/shelf/products/{}", o.product.product_id);
    if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
        return Ok(again);
    }
    let (times, mut errors) = read_times(&f);
    if let Some(times) = &times {
        against(&o.times, times, &mut errors);
    }
    let Some(times) = times.filter(|_| errors.is_empty()) else {
        return Ok(page::refused(&product_page(&seat, &o, f, errors)));
    };
    flow::enter_times(&mut s, ProductId(o.product.product_id), &times, by).await?;
    let answer = once::settle(&mut s, &f.once, &here).await?;
    s.commit().await?;
    Ok(answer)
}
