//! A letter as an Internet message (RFC 5322), one part of plain text in UTF-8.

use std::time::SystemTime;

use lettre::Message;
use lettre::message::header::{ContentTransferEncoding, ContentType, HeaderName, HeaderValue};
use lettre::message::{Mailbox, MessageBuilder};

use super::Letter;

fn mailbox(name: &str, address: &str) -> Result<Mailbox, String> {
    let address = address.parse().map_err(|_| format!("“{address}” is no address"))?;
    Ok(Mailbox::new((!name.is_empty()).then(|| name.to_string()), address))
}

/// The message, or why it cannot be made: then it never can.
pub fn message(letter: &Letter) -> Result<Message, String> {
    let builder: MessageBuilder = Message::builder()
        .from(mailbox(&letter.from.0, &letter.from.1)?)
        .to(mailbox("", &letter.to)?)
        .subject(letter.subject.clone())
        .date(SystemTime::from(letter.made_at))
        .message_id(Some(format!("<{}>", letter.reference)))
        .header(ContentType::TEXT_PLAIN)
        .header(ContentTransferEncoding::QuotedPrintable);
    let mut message = builder.body(letter.body.clone()).map_err(|e| e.to_string())?;
    let headers = message.headers_mut();
    for (name, value) in [
        // RFC 2369 §3.2 and RFC 8058 §3.1: one request stops messages, nobody has to sign in.
        ("List-Unsubscribe", format!("<{}>", letter.stop_url)),
        ("List-Unsubscribe-Post", "List-Unsubscribe=One-Click".to_string()),
        // RFC 3834 §5: no answering machine answers.
        ("Auto-Submitted", "auto-generated".to_string()),
        ("Content-Language", letter.language.to_string()),
    ] {
        let name = HeaderName::new_from_ascii(name.to_string()).map_err(|e| e.to_string())?;
        // Encoded by hand: an address in brackets may be long and is never folded within.
        headers.insert_raw(HeaderValue::dangerous_new_pre_encoded(name, value.clone(), value));
    }
    Ok(message)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::message::Channel;
    use time::macros::datetime;

    pub(crate) fn letter() -> Letter {
        Letter {
            channel: Channel::Email,
            reference: "a-b@salon.invalid".into(),
            from: ("Salón “Ñandú”, hair".into(), "salon@salon.invalid".into()),
            to: "client@example.invalid".into(),
            language: "es",
            subject: "Su próxima visita: jue 14 may, 14:05, para quien la espera desde hace tiempo".into(),
            body: "Hola, Ana:\n\n.\nhttps://salon.invalid/c/1/abc\n".into(),
            made_at: datetime!(2026-05-04 09:00 UTC),
            tried_at: datetime!(2026-05-04 09:00 UTC),
            stop_url: "https://salon.invalid/c/1/def".into(),
        }
    }

    #[test]
    fn the_message_is_the_same_at_every_try() {
        let one = message(&letter()).expect("a message").formatted();
        assert_eq!(one, message(&letter()).expect("a message").formatted());
        let text = String::from_utf8(one).expect("ascii");
        assert!(text.is_ascii());
        for line in text.split("\r\n") {
            // RFC 5322 §2.1.1.
            assert!(line.len() <= 998 && !line.contains('\n') && !line.contains('\r'), "{line}");
        }
        assert!(text.contains("\r\nMessage-ID: <a-b@salon.invalid>\r\n"), "{text}");
        assert!(text.contains("\r\nList-Unsubscribe: <https://salon.invalid/c/1/def>\r\n"), "{text}");
        assert!(text.contains("\r\nList-Unsubscribe-Post: List-Unsubscribe=One-Click\r\n"), "{text}");
    }

    #[test]
    fn an_address_that_is_none_makes_no_message() {
        for to in ["", "nobody", "a@b@c", "a b@c.invalid", "a@b.invalid\r\nBcc: x@y.invalid"] {
            assert!(message(&Letter { to: to.into(), ..letter() }).is_err(), "{to}");
        }
    }
}
