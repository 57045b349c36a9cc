//! The form that takes a photo in, and the answer that shows one.

use axum::body::Bytes;
use axum::extract::multipart::{Multipart, MultipartRejection};
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse as _, Response};

use crate::domain::ids::PersonId;
use crate::store::hair_photos::Kept;
use crate::web::form::Errors;
use crate::web::photo::{self, Drawn};

/// The picture. Never kept by a browser or anything between.
pub fn picture(jpeg: Vec<u8>, file_name: &str) -> Response {
    let mut answer = (StatusCode::OK, jpeg).into_response();
    let headers = answer.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("image/jpeg"));
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("private, no-store"));
    if let Ok(inline) = HeaderValue::from_str(&format!("inline; filename=\"{file_name}\"")) {
        headers.insert(header::CONTENT_DISPOSITION, inline);
    }
    answer
}

/// What the form sends.
#[derive(Default)]
struct Sent {
    once: String,
    /// client or guardian, as sent.
    agreed_by: String,
    file: Bytes,
}

/// Reads the form and draws the picture anew, outside any transaction: it takes a while. Gives the form's key and what
/// is kept; none when something is noted, beside the field of the photo or that of the agreement.
pub async fn take(
    parts: Result<Multipart, MultipartRejection>,
    asked_by: PersonId,
    (photo_field, agreed_field): (&str, &str),
    errors: &mut Errors,
) -> Option<(String, Kept)> {
    let sent = match read(parts).await {
        Ok(sent) => sent,
        Err(words) => {
            errors.note(photo_field, words);
            return None;
        }
    };
    let agreed_by = match sent.agreed_by.as_str() {
        "client" => "client",
        "guardian" => "guardian",
        _ => {
            errors.note(agreed_field, tr!("Ask first: who agreed that this photo is kept?"));
            ""
        }
    };
    if sent.file.is_empty() {
        errors.note(photo_field, tr!("Choose the photo."));
    }
    if !errors.is_empty() {
        return None;
    }
    match photo::redraw(sent.file.to_vec()).await {
        Ok(Drawn { jpeg, width_px, height_px }) => {
            Some((sent.once, Kept { jpeg, width_px, height_px, agreed_by, asked_by }))
        }
        Err(why) => {
            errors.note(photo_field, why.0);
            None
        }
    }
}

async fn read(parts: Result<Multipart, MultipartRejection>) -> Result<Sent, &'static str> {
    const LOST: &str =
        mark!("The picture did not come through whole, or is larger than 8 MB. Choose it again.");
    let mut parts = parts.map_err(|_| LOST)?;
    let mut sent = Sent::default();
    while let Some(part) = parts.next_field().await.map_err(|_| LOST)? {
        let name = part.name().unwrap_or_default().to_string();
        let bytes = part.bytes().await.map_err(|_| LOST)?;
        let text = || String::from_utf8_lossy(&bytes[..bytes.len().min(100)]).into_owned();
        match name.as_str() {
            "once" => sent.once = text(),
            "agreed_by" => sent.agreed_by = text(),
            "photo" => sent.file = bytes,
            _ => {}
        }
    }
    Ok(sent)
}
