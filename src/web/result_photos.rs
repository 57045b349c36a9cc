//! Photos of results on a visit's sheet: taken in when the client agrees, shown to who may see the sheet, erased on a
//! word.

use axum::extract::multipart::{Multipart, MultipartRejection};
use axum::extract::{DefaultBodyLimit, Path};
use axum::response::Response;
use axum_extra::extract::Form;

use crate::calendar::Zone;
use crate::domain::access::Act;
use crate::domain::ids::{ClientId, RunId};
use crate::flow::result_photos::{self as flow, NotKept};
use crate::store::Scoped;
use crate::store::result_photos;
use crate::web::clients::{find, zone};
use crate::web::form::{Choice, Errors};
use crate::web::incident_photos::{self, Plain, number};
use crate::web::once;
use crate::web::photo::FILE_MOST_BYTES;
use crate::web::photo_form::{picture, take};
use crate::web::problem::{Answered, Problem};
use crate::web::proof;
use crate::web::routes::{Line, Open};
use crate::web::seat::Seat;

/// The routes of the photos. Taking one in has a body limit of its own: the file and the form around it.
pub const LINES: &[Line] = &[
    Line {
        method: "post",
        path: "/proof/runs/{id}/photos",
        open: Open::To(Act::SeeProof),
        handler: || axum::routing::post(keep).layer(DefaultBodyLimit::max(FILE_MOST_BYTES + 64 * 1024)),
    },
    Line {
        method: "get",
        path: "/proof/runs/{id}/photos/{no}",
        open: Open::To(Act::SeeProof),
        handler: || axum::routing::get(show),
    },
    Line {
        method: "post",
        path: "/proof/runs/{id}/photos/{no}/erasure",
        open: Open::To(Act::SeeProof),
        handler: || axum::routing::post(take_back),
    },
];

/// The part of a visit's sheet that shows its photos.
pub struct Photos {
    pub base: String,
    pub rows: Vec<incident_photos::Shown>,
    /// Another may be added: the service has ended, and the person is not erased.
    pub more: bool,
    pub errors: Errors,
    pub once_key: String,
    pub agreed_by: Vec<Choice>,
}

/// Reads the photos of a visit for its sheet.
pub async fn of_visit(s: &mut Scoped, zone: &Zone, run: RunId, errors: Errors) -> Result<Photos, Problem> {
    let (_, ended, erased) = result_photos::find_visit(s, run).await?.ok_or(Problem::NotFound)?;
    let rows = result_photos::list(s, run).await?;
    Ok(Photos {
        base: format!("/proof/runs/{run}"),
        more: ended && !erased && rows.len() < 6,
        rows: incident_photos::shown(zone, rows),
        errors,
        once_key: once::key(),
        agreed_by: Choice::list([("client", tr!("the client")), ("guardian", tr!("the guardian"))], &[]),
    })
}

fn run_id(raw: &str) -> Result<RunId, Problem> {
    raw.parse().map_err(|_| Problem::NotFound)
}

/// The picture. Never kept by a browser or anything between.
pub async fn show(seat: Seat, Path((id, no)): Path<(String, String)>) -> Result<Response, Problem> {
    seat.require(Act::SeeProof)?;
    let (id, no) = (run_id(&id)?, number(&no)?);
    let mut s = seat.begin().await?;
    let jpeg = result_photos::find_jpeg(&mut s, id, no).await?.ok_or(Problem::NotFound)?;
    s.commit().await?;
    Ok(picture(jpeg, "result.jpg"))
}

/// Takes a photo in.
pub async fn keep(
    seat: Seat,
    Path(id): Path<String>,
    parts: Result<Multipart, MultipartRejection>,
) -> Answered {
    let by = seat.require(Act::SeeProof)?.id;
    let id = run_id(&id)?;
    // Whose it is comes before the picture is looked at.
    let mut s = seat.begin().await?;
    let (client, _, _) = result_photos::find_visit(&mut s, id).await?.ok_or(Problem::NotFound)?;
    let client = find(&mut s, ClientId(client)).await?;
    s.commit().await?;
    let here = format!("/proof/runs/{id}");
    let mut errors = Errors::none();
    let Some((key, kept)) = take(parts, by, ("photo", "agreed_by"), &mut errors).await else {
        return proof::again(&seat, id, errors).await;
    };
    let mut s = seat.begin().await?;
    if let Some(before) = once::claim(&mut s, &key, &here).await? {
        return Ok(before);
    }
    let today = zone(&seat)?.day_of(s.now().await?);
    let (_, ended, _) = result_photos::find_visit(&mut s, id).await?.ok_or(Problem::NotFound)?;
    match flow::keep_photo(&mut s, &client, (id, ended), &kept, today).await {
        Ok(_) => {
            let answer = once::settle(&mut s, &key, &here).await?;
            s.commit().await?;
            return Ok(answer);
        }
        Err(NotKept::GuardianMissing) => errors
            .note("agreed_by", tr!("This client is under 18: the guardian says whether a photo is kept.")),
        Err(NotKept::Enough) => errors.note("photo", tr!("Six photos are kept of this visit; no more fit.")),
        Err(NotKept::UnderWay) => {
            errors.note("photo", tr!("The service is under way: a result is photographed when it has ended."))
        }
        Err(NotKept::Store(e)) => return Err(e.into()),
    }
    drop(s);
    proof::again(&seat, id, errors).await
}

/// The client takes the agreement back: the picture is erased at once; who agreed and when stays.
pub async fn take_back(seat: Seat, Path((id, no)): Path<(String, String)>, Form(f): Form<Plain>) -> Answered {
    let by = seat.require(Act::SeeProof)?.id;
    let (id, no) = (run_id(&id)?, number(&no)?);
    let mut s = seat.begin().await?;
    let here = format!("/proof/runs/{id}");
    if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
        return Ok(again);
    }
    if !flow::take_back_photo(&mut s, id, no, by).await? {
        return Err(Problem::NotFound);
    }
    let answer = once::settle(&mut s, &f.once, &here).await?;
    s.commit().await?;
    Ok(answer)
}
