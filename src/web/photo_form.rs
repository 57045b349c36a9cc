//! The form that takes a photo in, and the answer that shows one.

use axum::body::Bytes;
use axum::extract::multipart::{Multipart, MultipartRejection};
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse as _, Response};

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
pub struct Sent {
    pub once: String,
    /// client or guardian, as sent.
    pub agreed_by: String,
    pub file: Bytes,
}

/// Reads the form.
///
/// # Errors
/// Words for the person who chose the picture.
pub async fn read(parts: Result<Multipart, MultipartRejection>) -> Result<Sent, &'static str> {
    const LOST: &str = "The picture did not come through whole, or is larger than 8 MB. Choose it again.";
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
