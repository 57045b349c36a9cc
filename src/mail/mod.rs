//! Handing messages over: by SMTP (RFC 5321), into a folder for trial, or to the salon's own service by a signed
//! webhook. Each act is bounded in time; what came of it is an [`Ended`], never an error.

mod compose;
mod folder;
mod hook;
pub mod returned;
mod smtp;

use std::path::PathBuf;
use std::time::Duration;

use time::OffsetDateTime;

use crate::domain::message::Channel;
use crate::domain::message::retry::Ended;

/// Longest a handing over may take (RFC 5321 §4.5.3.2 allows minutes; a salon's own relay answers in seconds).
pub const TAKES_MOST: Duration = Duration::from_secs(60);

/// A message as it leaves: every place filled.
#[derive(Clone, Debug)]
pub struct Letter {
    pub channel: Channel,
    /// Message-ID without brackets; the same at every try.
    pub reference: String,
    /// The salon's name and address.
    pub from: (String, String),
    pub to: String,
    pub language: &'static str,
    pub subject: String,
    pub body: String,
    pub made_at: OffsetDateTime,
    /// When this try is made.
    pub tried_at: OffsetDateTime,
    /// Where one request stops messages (RFC 8058).
    pub stop_url: String,
}

/// Where email goes.
pub enum Email {
    /// Nowhere: messages wait.
    Off,
    /// Files named by Message-ID, for trial.
    Folder(PathBuf),
    /// A server.
    Smtp(smtp::Server),
}

/// How messages leave this process.
pub struct Mailer {
    email: Email,
    hook: Option<hook::Hook>,
    /// Begins the links in messages: `https://salon.example`.
    pub origin: String,
}

/// What is wrong with the settings.
pub type Fault = String;

impl Mailer {
    /// From the settings: `email` is `off`, `folder:DIR`, `smtp://…` or `smtps://…` (user and password in the URL,
    /// `?tls=required` for STARTTLS); `hook` an address and its secret.
    ///
    /// # Errors
    /// Words about the setting that does not hold.
    pub fn new(email: &str, hook: Option<(&str, &str)>, origin: &str) -> Result<Mailer, Fault> {
        let email = match email.split_once(':') {
            None if email == "off" => Email::Off,
            Some(("folder", dir)) if !dir.is_empty() => Email::Folder(PathBuf::from(dir)),
            Some(("smtp" | "smtps", _)) => Email::Smtp(smtp::Server::new(email)?),
            _ => return Err("--mail is off, folder:DIR, smtp://… or smtps://…".into()),
        };
        let hook = hook.map(|(url, secret)| hook::Hook::new(url, secret)).transpose()?;
        Ok(Mailer { email, hook, origin: origin.trim_end_matches('/').to_string() })
    }

    /// One that sends nothing.
    #[must_use]
    pub fn off() -> Mailer {
        Mailer { email: Email::Off, hook: None, origin: String::new() }
    }

    /// Whether a channel leads anywhere.
    #[must_use]
    pub fn takes(&self, channel: Channel) -> bool {
        match channel {
            Channel::Email => !matches!(self.email, Email::Off),
            Channel::Text => self.hook.is_some(),
        }
    }

    /// Whether email goes to a real server: an invented salon is never written from there.
    #[must_use]
    pub fn is_real(&self, channel: Channel) -> bool {
        channel == Channel::Text || matches!(self.email, Email::Smtp(_))
    }

    /// Hands a letter over, within [`TAKES_MOST`].
    pub async fn send(&self, letter: &Letter) -> Ended {
        let sending = async {
            match (letter.channel, &self.email, &self.hook) {
                (Channel::Email, Email::Folder(dir), _) => folder::put(dir, letter).await,
                (Channel::Email, Email::Smtp(server), _) => server.send(letter).await,
                (Channel::Text, _, Some(hook)) => hook.send(letter).await,
                _ => Ended::NotNow("there is no way out for this channel".into()),
            }
        };
        match tokio::time::timeout(TAKES_MOST, sending).await {
            Ok(ended) => ended,
            Err(_) => Ended::NotNow(format!("no answer within {} s", TAKES_MOST.as_secs())),
        }
    }
}
