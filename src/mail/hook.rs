//! Messages handed to the salon's own service by a webhook, signed as the open specification "Standard Webhooks" 1.0.0
//! has it: HMAC-SHA-256 over id, time and body, in `webhook-signature`.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use hmac::{Hmac, KeyInit, Mac};
use http_body_util::{BodyExt as _, Full};
use hyper::body::Bytes;
use hyper::{Request, Uri};
use hyper_rustls::HttpsConnector;
use hyper_util::client::legacy::Client;
use hyper_util::client::legacy::connect::HttpConnector;
use hyper_util::rt::TokioExecutor;
use sha2::Sha256;

use super::Letter;
use crate::domain::message::retry::Ended;

/// Where messages of other channels go.
pub struct Hook {
    url: Uri,
    key: Vec<u8>,
    client: Client<HttpsConnector<HttpConnector>, Full<Bytes>>,
}

/// The signature of a webhook: `v1,` and the MAC in base64.
fn signature(key: &[u8], id: &str, at_s: i64, body: &str) -> String {
    let mut mac = Hmac::<Sha256>::new_from_slice(key).expect("HMAC takes a key of any length");
    mac.update(format!("{id}.{at_s}.{body}").as_bytes());
    format!("v1,{}", STANDARD.encode(mac.finalize().into_bytes()))
}

fn key_of(secret: &str) -> Option<Vec<u8>> {
    let key = STANDARD.decode(secret.strip_prefix("whsec_").unwrap_or(secret)).ok()?;
    // The specification asks for 24 to 64 bytes.
    (24..=64).contains(&key.len()).then_some(key)
}

impl Hook {
    /// An address (HTTPS, or HTTP on loopback) and its secret, `whsec_` and 24 to 64 bytes in base64.
    ///
    /// # Errors
    /// Words about what does not hold.
    pub fn new(url: &str, secret: &str) -> Result<Hook, String> {
        let url: Uri = url.parse().map_err(|_| "--text-hook is no address".to_string())?;
        let near = matches!(url.host(), Some("127.0.0.1" | "localhost" | "[::1]"));
        if url.scheme_str() != Some("https") && !(near && url.scheme_str() == Some("http")) {
            return Err("--text-hook is an https:// address (http:// on this machine only)".into());
        }
        let key = key_of(secret)
            .ok_or("RINSEBELL_TEXT_HOOK_SECRET is whsec_ and 24 to 64 bytes in base64".to_string())?;
        let connector = hyper_rustls::HttpsConnectorBuilder::new()
            .with_native_roots()
            .map_err(|e| format!("this machine's certificate authorities cannot be read: {e}"))?
            .https_or_http()
            .enable_http1()
            .build();
        Ok(Hook { url, key, client: Client::builder(TokioExecutor::new()).build(connector) })
    }

    /// Hands one message over; the receiver tells a repeated one by its id.
    pub async fn send(&self, letter: &Letter) -> Ended {
        let body = serde_json::json!({
            "type": "message.text",
            "timestamp": letter.made_at.unix_timestamp(),
            "data": { "to": letter.to, "text": letter.body, "language": letter.language, "stop": letter.stop_url },
        })
        .to_string();
        // The stamp is this try's: receivers refuse old ones. The id is the same at every try.
        let at_s = letter.tried_at.unix_timestamp();
        let request = Request::post(self.url.clone())
            .header("content-type", "application/json")
            .header("webhook-id", &letter.reference)
            .header("webhook-timestamp", at_s)
            .header("webhook-signature", signature(&self.key, &letter.reference, at_s, &body))
            .body(Full::new(Bytes::from(body)));
        let Ok(request) = request else { return Ended::Refused("the message is no HTTP request".into()) };
        let response = match self.client.request(request).await {
            Ok(response) => response,
            Err(error) => return Ended::NotNow(format!("no contact: {error}")),
        };
        let status = response.status();
        // Read to its end (bounded), so that the connection can be used again.
        let _ = http_body_util::Limited::new(response.into_body(), 64 * 1024).collect().await;
        match status.as_u16() {
            200..=299 => Ended::Accepted,
            410 => Ended::NoSuchAddress(format!("answered {status}")),
            400 | 404 | 413 | 415 | 422 => Ended::Refused(format!("answered {status}")),
            _ => Ended::NotNow(format!("answered {status}")),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The example of the specification (Standard Webhooks 1.0.0, "Signature scheme"; from memory, checked again with
    /// a second implementation in tests/outside/test_messages.py).
    #[test]
    fn the_signature_is_the_specifications() {
        let key = key_of("whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw").expect("the example's secret");
        let said = signature(&key, "msg_p5jXN8AQM9LWM0D4loKWxJek", 1_614_265_330, r#"{"test": 2432232314}"#);
        assert_eq!(said, "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=");
    }

    #[test]
    fn a_hook_is_reached_safely() {
        let secret = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw";
        assert!(Hook::new("http://elsewhere.invalid/", secret).is_err());
        assert!(Hook::new("https://elsewhere.invalid/", "short").is_err());
    }
}
