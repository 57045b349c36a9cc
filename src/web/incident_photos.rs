//! Photos of an incident: taken in when the client agrees, shown to who may see the incident, erased on a word.

use axum::extract::multipart::{Multipart, MultipartRejection};
use axum::extract::{DefaultBodyLimit, Path};
use axum::response::Response;
use axum_extra::extract::Form;
use serde::Deserialize;

use crate::calendar::Zone;
use crate::domain::access::Act;
use crate::domain::ids::{ClientId, IncidentId};
use crate::flow::incident_photos::{self as flow, NotKept};
use crate::store::incident_photos::{self, IncidentPhoto};
use crate::store::{Scoped, incidents};
use crate::web::clients::{find, zone};
use crate::web::form::Errors;
use crate::web::incidents::{again, incident_id};
use crate::web::once;
use crate::web::photo::FILE_MOST_BYTES;
use crate::web::photo_form::{picture, take};
use crate::web::problem::{Answered, Problem};
use crate::web::routes::{Line, Open};
use crate::web::seat::Seat;

/// The routes of the photos. Taking one in has a body limit of its own: the file and the form around it.
pub const LINES: &[Line] = &[
    Line {
        method: "post",
        path: "/incidents/{id}/photos",
        open: Open::To(Act::SeeProof),
        handler: || axum::routing::post(keep).layer(DefaultBodyLimit::max(FILE_MOST_BYTES + 64 * 1024)),
    },
    Line {
        method: "get",
        path: "/incidents/{id}/photos/{no}",
        open: Open::To(Act::SeeProof),
        handler: || axum::routing::get(show),
    },
    Line {
        method: "post",
        path: "/incidents/{id}/photos/{no}/erasure",
        open: Open::To(Act::SeeProof),
        handler: || axum::routing::post(take_back),
    },
];

/// A photo as the incident's page shows it.
pub struct Shown {
    pub no: i16,
    /// Who agreed, when, who asked; or that it was erased.
    pub words: String,
    pub there: bool,
    pub once_key: String,
}

/// The rows of an incident, in words.
pub fn shown(zone: &Zone, rows: Vec<IncidentPhoto>) -> Vec<Shown> {
    let day = |at| format!("{}, {}", zone.day_words(at), zone.clock(at));
    rows.into_iter()
        .map(|p| Shown {
            no: p.photo_no,
            words: match p.taken_back_at {
                Some(at) => tr!("Photo {}: erased {}", p.photo_no, day(at)),
                None if p.agreed_by == "guardian" => {
                    tr!(
                        "Photo {}: the guardian agreed {}, asked by {}",
                        p.photo_no,
                        day(p.agreed_at),
                        p.asked_by
                    )
                }
                None => {
                    tr!(
                        "Photo {}: the client agreed {}, asked by {}",
                        p.photo_no,
                        day(p.agreed_at),
                        p.asked_by
                    )
                }
            },
            there: p.taken_back_at.is_none(),
            once_key: once::key(),
        })
        .collect()
}

pub(super) fn number(raw: &str) -> Result<i16, Problem> {
    raw.parse().map_err(|_| Problem::NotFound)
}

/// The incident and its client, or nothing is there.
async fn find_client(s: &mut Scoped, id: IncidentId) -> Result<crate::store::clients::Client, Problem> {
    let incident = incidents::find(s, id).await?.ok_or(Problem::NotFound)?;
    find(s, ClientId(incident.client_id)).await
}

/// The picture. Never kept by a browser or anything between.
pub async fn show(seat: Seat, Path((id, no)): Path<(String, String)>) -> Result<Response, Problem> {
    seat.require(Act::SeeProof)?;
    let (id, no) = (incident_id(&id)?, number(&no)?);
    let mut s = seat.begin().await?;
    let jpeg = incident_photos::find_jpeg(&mut s, id, no).await?.ok_or(Problem::NotFound)?;
    s.commit().await?;
    Ok(picture(jpeg, "incident.jpg"))
}

/// Takes a photo in.
pub async fn keep(
    seat: Seat,
    Path(id): Path<String>,
    parts: Result<Multipart, MultipartRejection>,
) -> Answered {
    let by = seat.require(Act::SeeProof)?.id;
    let id = incident_id(&id)?;
    // Whose it is comes before the picture is looked at.
    let mut s = seat.begin().await?;
    let client = find_client(&mut s, id).await?;
    s.commit().await?;
    let here = format!("/incidents/{id}");
    let mut errors = Errors::none();
    let Some((key, kept)) = take(parts, by, ("photo", "agreed_by"), &mut errors).await else {
        return again(&seat, id, errors).await;
    };
    let mut s = seat.begin().await?;
    if let Some(before) = once::claim(&mut s, &key, &here).await? {
        return Ok(before);
    }
    let today = zone(&seat)?.day_of(s.now().await?);
    match flow::keep_photo(&mut s, &client, id, &kept, today).await {
        Ok(_) => {
            let answer = once::settle(&mut s, &key, &here).await?;
            s.commit().await?;
            return Ok(answer);
        }
        Err(NotKept::GuardianMissing) => errors
            .note("agreed_by", tr!("This client is under 18: the guardian says whether a photo is kept.")),
        Err(NotKept::Enough) => {
            errors.note("photo", tr!("Six photos are kept of this incident; no more fit."))
        }
        Err(NotKept::Store(e)) => return Err(e.into()),
    }
    drop(s);
    again(&seat, id, errors).await
}

/// An act with nothing to type.
#[derive(Deserialize)]
pub struct Plain {
    #[serde(default)]
    pub(super) once: String,
}

/// The client takes the agreement back: the picture is erased at once; who agreed and when stays.
pub async fn take_back(seat: Seat, Path((id, no)): Path<(String, String)>, Form(f): Form<Plain>) -> Answered {
    let by = seat.require(Act::SeeProof)?.id;
    let (id, no) = (incident_id(&id)?, number(&no)?);
    let mut s = seat.begin().await?;
    let here = format!("/incidents/{id}");
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
