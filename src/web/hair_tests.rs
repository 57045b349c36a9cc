//! Acts on hair tests: a strand test done, a metallic-salt test done.

use axum::extract::Path;
use axum_extra::extract::Form;
use serde::Deserialize;

use crate::domain::access::Act;
use crate::domain::hair_test::{SALT_LEAST_MIN, SaltSign, TestPlace, WetStretch};
use crate::domain::ids::{LotId, ProductId};
use crate::flow::hair_tests::{self as flow, StrandTest};
use crate::web::form::Errors;
use crate::web::problem::Answered;
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::tests::{AllTyped, open, tests_page};
use crate::web::{once, page, typed};

/// The routes of these acts.
pub const LINES: &[Line] = lines![
    post "/clients/{id}/tests/strand" Open::To(Act::ReadTest) => note_strand,
    post "/clients/{id}/tests/metallic-salt" Open::To(Act::ReadTest) => note_salt,
];

/// A strand test as typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct StrandTyped {
    pub once: String,
    #[serde(rename = "strand_product")]
    pub product: String,
    #[serde(rename = "strand_place")]
    pub place: String,
    #[serde(rename = "strand_minutes")]
    pub minutes: String,
    pub curl_formed: String,
    pub wet_stretch: String,
    pub gummy: String,
}

/// A metallic-salt test as typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct SaltTyped {
    pub once: String,
    #[serde(rename = "salt_place")]
    pub place: String,
    #[serde(rename = "salt_minutes")]
    pub minutes: String,
    #[serde(rename = "salt_sign")]
    pub sign: String,
}

fn read_strand(f: &StrandTyped) -> (Option<StrandTest>, Errors) {
    let mut e = Errors::none();
    // "product-lot"; the product alone where the shelf has no lot in use.
    let pair = |raw: &str| match raw.split_once('-') {
        None => Some((raw.parse::<ProductId>().ok()?, None)),
        Some((product, lot)) => Some((product.parse().ok()?, Some(lot.parse::<LotId>().ok()?))),
    };
    let product =
        typed::code(&mut e, "strand_product", &f.product, pair, "Choose the product and lot tested.");
    let place =
        typed::code(&mut e, "strand_place", &f.place, TestPlace::from_code, "Choose where the strand was.");
    let minutes =
        typed::needed_number(&mut e, "strand_minutes", &f.minutes, (0.5, 240.0), "the minutes it took");
    let curl_formed = typed::yes_no(&mut e, "curl_formed", &f.curl_formed, "Did the curl form?");
    let stretch = typed::code(
        &mut e,
        "wet_stretch",
        &f.wet_stretch,
        WetStretch::from_code,
        "Stretch it wet and choose.",
    );
    let gummy = typed::yes_no(&mut e, "gummy", &f.gummy, "Does it feel gummy?");
    let whole = product.zip(place).zip(stretch).filter(|_| e.is_empty());
    let test = whole.map(|(((product, lot), place), wet_stretch)| StrandTest {
        product,
        lot,
        place,
        minutes,
        curl_formed,
        wet_stretch,
        gummy,
    });
    (test, e)
}

/// Keeps a strand test.
pub async fn note_strand(seat: Seat, Path(id): Path<String>, Form(f): Form<StrandTyped>) -> Answered {
    let by = seat.require(Act::ReadTest)?.id;
    let mut s = seat.begin().await?;
    let o = open(&seat, &mut s, &id).await?;
    let here = format!("/clients/{}/tests", o.client.client_id);
    if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
        return Ok(again);
    }
    let (test, mut e) = read_strand(&f);
    if let Some(test) = test {
        if flow::note_strand_test(&mut s, o.client.id(), &test, o.zone.day_of(o.now), by).await?.is_some() {
            let answer = once::settle(&mut s, &f.once, &here).await?;
            s.commit().await?;
            return Ok(answer);
        }
        e.note("strand_product", "Choose a product and a lot that stand on the shelf, in date and in use.");
    }
    let typed = AllTyped { strand: f, ..AllTyped::default() };
    Ok(page::refused(&tests_page(&seat, &o, typed, e)))
}

/// Keeps a metallic-salt test.
pub async fn note_salt(seat: Seat, Path(id): Path<String>, Form(f): Form<SaltTyped>) -> Answered {
    let by = seat.require(Act::ReadTest)?.id;
    let mut s = seat.begin().await?;
    let o = open(&seat, &mut s, &id).await?;
    let here = format!("/clients/{}/tests", o.client.client_id);
    if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
        return Ok(again);
    }
    let mut e = Errors::none();
    let place =
        typed::code(&mut e, "salt_place", &f.place, TestPlace::from_code, "Choose where the strand was.");
    let edges = (SALT_LEAST_MIN, 240.0);
    let minutes = typed::needed_number(&mut e, "salt_minutes", &f.minutes, edges, "the minutes it lay");
    let sign = typed::code(&mut e, "salt_sign", &f.sign, SaltSign::from_code, "Choose what the hair showed.");
    if let (Some(place), Some(sign), true) = (place, sign, e.is_empty()) {
        flow::note_salt_test(&mut s, o.client.id(), (place, minutes), sign, by).await?;
        let answer = once::settle(&mut s, &f.once, &here).await?;
        s.commit().await?;
        return Ok(answer);
    }
    let typed = AllTyped { salt: f, ..AllTyped::default() };
    Ok(page::refused(&tests_page(&seat, &o, typed, e)))
}
