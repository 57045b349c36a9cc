//! Mail that comes back: what a mail server reports of a message of ours (RFC 3464) and what a reader complains of by way
//! of theirs (RFC 5965). Read from the text alone; a message is ours when the report names its Message-ID, which nobody
//! guesses.

use mail_parser::{MessageParser, MessagePart, MimeHeaders, PartType};

use crate::domain::message::report::Report;

/// Most bytes of a report that are read; the part that counts is short.
pub const MOST_BYTES: u64 = 5_000_000;
/// Most parts looked at: a report has three.
const MOST_PARTS: usize = 50;

/// The report of a mail, or why it is none.
///
/// # Errors
/// A sentence for whoever reads the mail server's log.
pub fn read(mail: &[u8]) -> Result<Report, &'static str> {
    let message = MessageParser::default().parse(mail).ok_or("This is no mail.")?;
    let kind = message.content_type().filter(|t| t.ctype() == "multipart" && t.subtype() == Some("report"));
    let kind = kind.and_then(|t| t.attribute("report-type")).unwrap_or("").to_ascii_lowercase();
    let parts = &message.parts[..message.parts.len().min(MOST_PARTS)];
    let reference =
        parts.iter().find_map(reference_of).ok_or("It names no message that was sent from here.")?;
    match kind.as_str() {
        "delivery-status" => {
            let status = parts.iter().find(|p| is(p, "message", "delivery-status"));
            delivery(reference, &fields(status.map_or(&b""[..], |p| p.contents())))
        }
        "feedback-report" => {
            let told = parts.iter().find(|p| is(p, "message", "feedback-report"));
            let fields = fields(told.map_or(&b""[..], |p| p.contents()));
            match value(&fields, "feedback-type") {
                Some(kind) if kind.eq_ignore_ascii_case("not-spam") => {
                    Err("A reader says that it was wanted.")
                }
                Some(_) => Ok(Report::Complaint { reference }),
                None => Err("The report does not say what it is."),
            }
        }
        _ => Err("This is no report of a mail server."),
    }
}

fn is(part: &MessagePart<'_>, kind: &str, sub: &str) -> bool {
    part.content_type().is_some_and(|t| {
        t.ctype().eq_ignore_ascii_case(kind) && t.subtype().is_some_and(|s| s.eq_ignore_ascii_case(sub))
    })
}

/// The Message-ID of the message given back, whole or its headers alone.
fn reference_of(part: &MessagePart<'_>) -> Option<String> {
    let id = match &part.body {
        PartType::Message(given_back) => given_back.message_id().map(str::to_string),
        _ if is(part, "text", "rfc822-headers") || is(part, "message", "rfc822") => {
            MessageParser::default().parse_headers(part.contents())?.message_id().map(str::to_string)
        }
        _ => None,
    };
    id.map(|id| id.trim_matches(['<', '>', ' ']).to_string()).filter(|id| !id.is_empty())
}

/// `name: value` lines of every block, folded lines joined, names in small letters.
fn fields(text: &[u8]) -> Vec<(String, String)> {
    let mut all: Vec<(String, String)> = Vec::new();
    for line in String::from_utf8_lossy(text).lines() {
        if line.starts_with([' ', '\t']) {
            if let Some((_, value)) = all.last_mut() {
                value.push(' ');
                value.push_str(line.trim());
            }
        } else if let Some((name, value)) = line.split_once(':') {
            all.push((name.trim().to_ascii_lowercase(), value.trim().to_string()));
        }
    }
    all
}

fn value<'a>(fields: &'a [(String, String)], name: &str) -> Option<&'a str> {
    fields.iter().find(|(n, _)| n == name).map(|(_, v)| v.as_str())
}

/// One message of ours has one address: the first recipient that failed is it.
fn delivery(reference: String, fields: &[(String, String)]) -> Result<Report, &'static str> {
    let failed = fields.iter().any(|(n, v)| n == "action" && v.eq_ignore_ascii_case("failed"));
    if !failed {
        return Err("It is on its way yet: nothing has failed.");
    }
    let status = fields
        .iter()
        .filter(|(n, _)| n == "status")
        .map(|(_, v)| v.split_whitespace().next().unwrap_or(""))
        .find(|v| v.starts_with('5'))
        .unwrap_or("");
    let words = value(fields, "diagnostic-code").unwrap_or("");
    // RFC 3463: no such mailbox, no such host, bad syntax, moved and no forwarding; mailbox disabled. RFC 7505: null MX.
    let no_such_address = ["5.1.1", "5.1.2", "5.1.3", "5.1.6", "5.1.10", "5.2.1"].contains(&status);
    let said = format!("{status} {words}").trim().chars().take(300).collect();
    Ok(Report::NotDelivered { reference, no_such_address, said })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The example of RFC 3464 appendix E.1 in its shape, with a message of ours given back.
    fn report(status: &str, action: &str, given: &str) -> String {
        format!(
            "From: Mail Delivery Subsystem <mailer-daemon@cs.example>\r\nTo: <salon@salon.invalid>\r\nSubject: Returned mail\r\n\
             MIME-Version: 1.0\r\nContent-Type: multipart/report; report-type=delivery-status;\r\n\tboundary=\"RAA14128.773615765/cs\"\r\n\r\n\
             --RAA14128.773615765/cs\r\n\r\nThe original message was received and could not be delivered.\r\n\r\n\
             --RAA14128.773615765/cs\r\ncontent-type: message/delivery-status\r\n\r\n\
             Reporting-MTA: dns; cs.example\r\n\r\nFinal-Recipient: rfc822;louisl@larry.invalid\r\nAction: {action}\r\n\
             Status: {status}\r\nDiagnostic-Code: smtp; 550 {status}\r\n no such mailbox here\r\n\r\n\
             --RAA14128.773615765/cs\r\ncontent-type: {given}\r\n\r\n\
             From: Salon <salon@salon.invalid>\r\nMessage-ID: <a-b@salon.invalid>\r\nSubject: Your visit\r\n\r\n\
             --RAA14128.773615765/cs--\r\n"
        )
    }

    #[test]
    fn a_report_names_the_message_and_says_whether_anybody_has_the_address() {
        for given in ["message/rfc822", "text/rfc822-headers"] {
            let read = read(report("5.1.1", "failed", given).as_bytes()).expect("a report");
            let Report::NotDelivered { reference, no_such_address, said } = read else { panic!("{given}") };
            assert_eq!((reference.as_str(), no_such_address), ("a-b@salon.invalid", true), "{given}");
            assert_eq!(said, "5.1.1 smtp; 550 5.1.1 no such mailbox here");
        }
        // RFC 3463: a full mailbox and a policy are no reason to stop an address.
        for status in ["5.2.2", "5.7.1", "5.0.0"] {
            let read = read(report(status, "failed", "message/rfc822").as_bytes()).expect("a report");
            assert!(matches!(read, Report::NotDelivered { no_such_address: false, .. }), "{status}");
        }
        assert!(read(report("4.4.1", "delayed", "message/rfc822").as_bytes()).is_err(), "not failed yet");
    }

    #[test]
    fn a_complaint_is_read_as_one() {
        // The shape of RFC 5965 §B.1.
        let mail = |kind: &str| {
            format!(
                "From: <abusedesk@example.com>\r\nTo: <salon@salon.invalid>\r\nMIME-Version: 1.0\r\n\
                 Content-Type: multipart/report; report-type=feedback-report;\r\n boundary=\"part1_13d.2e68ed54_boundary\"\r\n\r\n\
                 --part1_13d.2e68ed54_boundary\r\nContent-Type: text/plain\r\n\r\nThis is an email abuse report.\r\n\
                 --part1_13d.2e68ed54_boundary\r\nContent-Type: message/feedback-report\r\n\r\n\
                 Feedback-Type: {kind}\r\nUser-Agent: SomeGenerator/1.0\r\nVersion: 1\r\n\r\n\
                 --part1_13d.2e68ed54_boundary\r\nContent-Type: message/rfc822\r\n\r\n\
                 From: <salon@salon.invalid>\r\nMessage-ID: <a-b@salon.invalid>\r\n\r\nHello\r\n\
                 --part1_13d.2e68ed54_boundary--\r\n"
            )
        };
        let ours = Report::Complaint { reference: "a-b@salon.invalid".into() };
        assert_eq!(read(mail("abuse").as_bytes()), Ok(ours));
        assert!(read(mail("not-spam").as_bytes()).is_err());
    }

    #[test]
    fn other_mail_is_none() {
        for mail in [
            &b""[..],
            b"\0\0\0",
            b"From: a@b.invalid\r\nSubject: Hello\r\n\r\nMessage-ID: <a-b@salon.invalid>\r\n",
        ] {
            assert!(read(mail).is_err());
        }
        let stranger = report("5.1.1", "failed", "text/plain");
        assert!(read(stranger.as_bytes()).is_err(), "no message is named");
    }
}
