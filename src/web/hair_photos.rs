//! The photo of a strand test: taken in when the client agrees, shown to who may see health answers, erased on a word.

use axum::extract::multipart::{Multipart, MultipartRejection};
use axum::extract::{DefaultBodyLimit, Path};
use axum::response::Response;
use axum_extra::extract::Form;
use serde::Deserialize;

use crate::domain::access::Act;
use crate::domain::ids::{ClientId, HairTestId};
use crate::flow::hair_photos::{self as flow, PhotoRefused};
use crate::store::hair_photos;
use crate::web::clients::{client_id, find};
use crate::web::form::Errors;
use crate::web::photo::FILE_MOST_BYTES;
use crate::web::photo_form::{picture, take};
use crate::web::problem::{Answered, Problem};
use crate::web::routes::{Line, Open};
use crate::web::seat::Seat;
use crate::web::tests::{AllTyped, open, tests_page};
use crate::web::{once, page};

/// The routes of the photo. Taking one in has a body limit of its own: the file and the form around it.
pub const LINES: &[Line] = &[
    Line {
        method: "get",
        path: "/clients/{id}/tests/hair/{test}/photo",
        open: Open::To(Act::SeeHealth),
        handler: || axum::routing::get(show),
    },
    Line {
        method: "post",
        path: "/clients/{id}/tests/hair/{test}/photo",
        open: Open::To(Act::ReadTest),
        handler: || axum::routing::post(keep).layer(DefaultBodyLimit::max(FILE_MOST_BYTES + 64 * 1024)),
    },
    Line {
        method: "post",
        path: "/clients/{id}/tests/hair/{test}/erasure",
        open: Open::To(Act::ReadTest),
        handler: || axum::routing::post(take_back),
    },
];

fn test_id(raw: &str) -> Result<HairTestId, Problem> {
    raw.parse().map_err(|_| Problem::NotFound)
}

/// The picture. Never kept by a browser or anything between.
pub async fn show(seat: Seat, Path((client, test)): Path<(String, String)>) -> Result<Response, Problem> {
    seat.require(Act::SeeHealth)?;
    let (client, test): (ClientId, HairTestId) = (client_id(&client)?, test_id(&test)?);
    let mut s = seat.begin().await?;
    let jpeg = hair_photos::find_jpeg(&mut s, client, test).await?.ok_or(Problem::NotFound)?;
    s.commit().await?;
    Ok(picture(jpeg, "strand-test.jpg"))
}

/// Takes a photo in.
pub async fn keep(
    seat: Seat,
    Path((client, test)): Path<(String, String)>,
    parts: Result<Multipart, MultipartRejection>,
) -> Answered {
    let by = seat.require(Act::ReadTest)?.id;
    let test = test_id(&test)?;
    // Whose it is comes before the picture is looked at.
    let mut s = seat.begin().await?;
    let found = find(&mut s, client_id(&client)?).await?;
    s.commit().await?;
    let here = format!("/clients/{}/tests", found.client_id);
    let field = format!("photo_{test}");
    let mut errors = Errors::none();
    let agreed = format!("agreed_{test}");
    let Some((key, kept)) = take(parts, by, (&field, &agreed), &mut errors).await else {
        return again(&seat, &client, errors).await;
    };
    let mut s = seat.begin().await?;
    if let Some(again) = once::claim(&mut s, &key, &here).await? {
        return Ok(again);
    }
    let today = crate::web::clients::zone(&seat)?.day_of(s.now().await?);
    match flow::keep_photo(&mut s, &found, test, &kept, today).await {
        Ok(()) => {
            let answer = once::settle(&mut s, &key, &here).await?;
            s.commit().await?;
            return Ok(answer);
        }
        Err(PhotoRefused::NotFound) => return Err(Problem::NotFound),
        Err(PhotoRefused::GuardianMissing) => {
            errors.note(agreed, tr!("This client is under 18: the guardian says whether a photo is kept."))
        }
        Err(PhotoRefused::ThereIsOne) => {
            errors.note(field, tr!("This test has, or had, its photo. A new test can carry another."))
        }
        Err(PhotoRefused::Store(e)) => return Err(e.into()),
    }
    drop(s);
    again(&seat, &client, errors).await
}

async fn again(seat: &Seat, client: &str, errors: Errors) -> Answered {
    let mut s = seat.begin().await?;
    let o = open(seat, &mut s, client).await?;
    s.commit().await?;
    Ok(page::refused(&tests_page(seat, &o, AllTyped::default(), errors)))
}

/// An act with nothing to type.
#[derive(Deserialize)]
pub struct Plain {
    #[serde(default)]
    once: String,
}

/// The client takes the agreement back: the picture is erased at once; who agreed and when stays.
pub async fn take_back(
    seat: Seat,
    Path((client, test)): Path<(String, String)>,
    Form(f): Form<Plain>,
) -> Answered {
    let by = seat.require(Act::ReadTest)?.id;
    let (client, test) = (client_id(&client)?, test_id(&test)?);
    let mut s = seat.begin().await?;
    find(&mut s, client).await?;
    let here = format!("/clients/{client}/tests");
    if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
        return Ok(again);
    }
    if !flow::take_back_photo(&mut s, client, test, by).await? {
        return Err(Problem::NotFound);
    }
    let answer = once::settle(&mut s, &f.once, &here).await?;
    s.commit().await?;
    Ok(answer)
}
