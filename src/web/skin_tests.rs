//! Acts on patch tests: place, take off, note what was told, read.

use axum::extract::Path;
use axum_extra::extract::Form;
use serde::Deserialize;

use crate::domain::access::Act;
use crate::domain::ids::{LotId, ProductId, SkinTestId};
use crate::domain::skin_test::{Outcome, SkinPlace};
use crate::flow::skin_tests::{self as flow, SkinTestRefused};
use crate::store::Scoped;
use crate::web::form::Errors;
use crate::web::problem::{Answered, Problem};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::tests::{AllTyped, Opened, instant_words, open, tests_page};
use crate::web::{once, page, typed};

/// The routes of these acts.
pub const LINES: &[Line] = lines![
    post "/clients/{id}/tests/skin" Open::To(Act::PlaceSkinTest) => place,
    post "/clients/{id}/tests/skin/{test}/removal" Open::To(Act::PlaceSkinTest) => take_off,
    post "/clients/{id}/tests/skin/{test}/telling" Open::To(Act::PlaceSkinTest) => note_told,
    post "/clients/{id}/tests/skin/{test}/reading" Open::To(Act::ReadTest) => read,
];

/// A placing as typed: `lot` names product and lot ("12-34").
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct PlaceTyped {
    pub once: String,
    pub lot: String,
    pub place: String,
}

/// An outcome as typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct OutcomeTyped {
    pub once: String,
    pub outcome: String,
}

/// The words of a refusal; a problem where it is none of the form's.
fn words(o: &Opened, why: SkinTestRefused) -> Result<String, Problem> {
    Ok(match why {
        SkinTestRefused::NeverOnSkin { product, by_sheet: false } => {
            format!("{product} is never left on skin. A strand test and the scalp decide instead.")
        }
        SkinTestRefused::NeverOnSkin { product, by_sheet: true } => {
            format!(
                "The sheet of {product} gives no test on skin. A strand test and the scalp decide instead."
            )
        }
        SkinTestRefused::NoProduct | SkinTestRefused::LotNotUsable => {
            "Choose a lot that stands on the shelf, in date and in use.".into()
        }
        SkinTestRefused::TooEarly { from } => format!(
            "“No reaction” is read from {}, 48 hours after placing. A reaction is read at once.",
            instant_words(&o.zone, from)
        ),
        SkinTestRefused::NotFound => return Err(Problem::NotFound),
        SkinTestRefused::Settled => {
            let look = format!("/clients/{}/tests", o.client.client_id);
            let what = "This patch test was taken off or read already; that stands.".into();
            return Err(Problem::Stale { what, look });
        }
        SkinTestRefused::Store(e) => return Err(e.into()),
    })
}

async fn done(mut s: Scoped, o: &Opened, key: &str) -> Answered {
    let answer = once::settle(&mut s, key, &format!("/clients/{}/tests", o.client.client_id)).await?;
    s.commit().await?;
    Ok(answer)
}

/// Places a patch test.
pub async fn place(seat: Seat, Path(id): Path<String>, Form(f): Form<PlaceTyped>) -> Answered {
    let by = seat.require(Act::PlaceSkinTest)?.id;
    let mut s = seat.begin().await?;
    let o = open(&seat, &mut s, &id).await?;
    let here = format!("/clients/{}/tests/skin", o.client.client_id);
    if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
        return Ok(again);
    }
    let mut e = Errors::none();
    let pair = |raw: &str| {
        let (product, lot) = raw.split_once('-')?;
        Some((product.parse::<ProductId>().ok()?, lot.parse::<LotId>().ok()?))
    };
    let lot = typed::code(&mut e, "lot", &f.lot, pair, "Choose the product and the lot it comes from.");
    let place = typed::code(&mut e, "place", &f.place, SkinPlace::from_code, "Choose where it sits.");
    if let (Some(lot), Some(place)) = (lot, place) {
        let today = o.zone.day_of(o.now);
        match flow::place_skin_test(&mut s, o.client.id(), lot, place, today, by).await {
            Ok(_) => return done(s, &o, &f.once).await,
            Err(why) => e.note("lot", words(&o, why)?),
        }
    }
    let typed = AllTyped { place: f, ..AllTyped::default() };
    Ok(page::refused(&tests_page(&seat, &o, typed, e)))
}

fn test_id(raw: &str) -> Result<SkinTestId, Problem> {
    raw.parse().map_err(|_| Problem::NotFound)
}

/// Takes a patch test off.
pub async fn take_off(
    seat: Seat,
    Path((id, test)): Path<(String, String)>,
    Form(f): Form<OutcomeTyped>,
) -> Answered {
    let by = seat.require(Act::PlaceSkinTest)?.id;
    let mut s = seat.begin().await?;
    let o = open(&seat, &mut s, &id).await?;
    let test = test_id(&test)?;
    let here = format!("/clients/{}/tests/skin/{test}/removal", o.client.client_id);
    if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
        return Ok(again);
    }
    match flow::take_off_skin_test(&mut s, o.client.id(), test, by).await {
        Ok(()) => done(s, &o, &f.once).await,
        Err(why) => Err(Problem::Bad(words(&o, why)?)),
    }
}

/// Notes what the client told by phone or photo.
pub async fn note_told(
    seat: Seat,
    Path((id, test)): Path<(String, String)>,
    Form(f): Form<OutcomeTyped>,
) -> Answered {
    seat.require(Act::PlaceSkinTest)?;
    outcome(seat, &id, &test, f, None).await
}

/// Reads a patch test in the chair.
pub async fn read(
    seat: Seat,
    Path((id, test)): Path<(String, String)>,
    Form(f): Form<OutcomeTyped>,
) -> Answered {
    let by = seat.require(Act::ReadTest)?.id;
    outcome(seat, &id, &test, f, Some(by)).await
}

async fn outcome(
    seat: Seat,
    id: &str,
    test: &str,
    f: OutcomeTyped,
    read_by: Option<crate::domain::ids::PersonId>,
) -> Answered {
    let mut s = seat.begin().await?;
    let o = open(&seat, &mut s, id).await?;
    let test = test_id(test)?;
    let act = if read_by.is_some() { "reading" } else { "telling" };
    let here = format!("/clients/{}/tests/skin/{test}/{act}", o.client.client_id);
    if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
        return Ok(again);
    }
    let mut e = Errors::none();
    let field = format!("outcome_{test}");
    let seen = typed::code(&mut e, &field, &f.outcome, Outcome::from_code, "Choose what was seen.");
    if let Some(seen) = seen {
        let client = o.client.id();
        let acted = match read_by {
            Some(by) => flow::read_skin_test(&mut s, client, test, seen, by).await,
            None => flow::note_told_outcome(&mut s, client, test, seen).await,
        };
        match acted {
            Ok(()) => return done(s, &o, &f.once).await,
            Err(why) => e.note(field, words(&o, why)?),
        }
    }
    let typed = AllTyped { outcome: Some((test.0, f.outcome)), ..AllTyped::default() };
    Ok(page::refused(&tests_page(&seat, &o, typed, e)))
}
