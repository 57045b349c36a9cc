//! The outbox: messages whose time has come leave, each at least once, under the same Message-ID at every try.

use std::time::Duration;

use crate::app::App;
use crate::calendar::Zone;
use crate::domain::ids::{MessageId, SalonId};
use crate::domain::message::retry::{Ended, next_try};
use crate::domain::message::{Channel, Kind, LINK, Language};
use crate::flow::calls::is_quiet;
use crate::flow::messages::{find_post, from_address, write_reminders};
use crate::mail::{Letter, Mailer};
use crate::secret::link::{self, Purpose};
use crate::store::messages::{self, Leaving};
use crate::store::salons::Salon;
use crate::store::{Scoped, Stored, contact, salons};

/// Time between two looks.
const EVERY: Duration = Duration::from_secs(3);
/// Looks between two rounds of reminders.
const REMIND_EVERY: u32 = 200;
/// Messages one salon sends in one look.
const AT_ONCE: i64 = 20;
/// How long a process holds a message it is sending, seconds: longer than a handing over may take.
const LEASE_S: i32 = 120;

/// What is kept of a message that left no more in time.
const TOO_LATE: &str = "too late, its link has ended";

/// Sends until the process stops. A look that fails is tried again.
pub async fn run(app: App, mailer: Mailer) {
    // A practice salon sends nothing to anyone, as its screens say.
    if app.settings.practice {
        return;
    }
    let mut looks = 0;
    loop {
        tokio::select! {
            () = app.stop.cancelled() => return,
            () = tokio::time::sleep(EVERY) => {}
        }
        if looks % REMIND_EVERY == 0
            && let Err(error) = remind(&app).await
        {
            tracing::warn!(%error, "reminders were not written");
        }
        looks = looks.wrapping_add(1);
        if let Err(error) = step(&app, &mailer).await {
            tracing::warn!(%error, "the outbox was not sent");
        }
    }
}

/// Writes the reminders of every salon; how many.
///
/// # Errors
/// Those of the store.
pub async fn remind(app: &App) -> Stored<usize> {
    let mut written = 0;
    for salon in salons::list_ids(&app.pool).await? {
        let mut s = app.begin(salon).await?;
        let row = salons::find(&mut s).await?;
        if let Some(zone) = row.and_then(|r| Zone::find(&r.zone)) {
            written += write_reminders(&mut s, &app.reference, &zone).await?;
        }
        s.commit().await?;
    }
    Ok(written)
}

/// One look: takes what is due, hands it over, keeps what came of it. How many were tried.
///
/// # Errors
/// Those of the store. A message taken and not settled is tried again once its lease is over.
pub async fn step(app: &App, mailer: &Mailer) -> Stored<usize> {
    let mut tried = 0;
    for salon in salons::list_ids(&app.pool).await? {
        for (leaving, letter) in take(app, mailer, salon).await? {
            let ended = mailer.send(&letter).await;
            settle(app, salon, &leaving, ended).await?;
            tried += 1;
            if app.stop.is_cancelled() {
                return Ok(tried);
            }
        }
    }
    Ok(tried)
}

/// Takes messages under a lease; those that may no longer leave are stopped here. What the salon's quiet hours hold back
/// is left as it is: a try put off lands where it lands.
async fn take(app: &App, mailer: &Mailer, salon: SalonId) -> Stored<Vec<(Leaving, Letter)>> {
    let mut s = app.begin(salon).await?;
    let Some(row) = salons::find(&mut s).await? else { return Ok(Vec::new()) };
    let Some(zone) = Zone::find(&row.zone) else { return Ok(Vec::new()) };
    let now = s.now().await?;
    let kinds = Kind::leaving(is_quiet(&zone, &row.quiet(), now));
    let mut letters = Vec::new();
    for leaving in messages::list_leaving(&mut s, &kinds, AT_ONCE).await? {
        let id = MessageId(leaving.message_id);
        let channel = Channel::from_code(&leaving.channel).unwrap_or(Channel::Email);
        if let Some(why) = messages::find_bar(&mut s, id).await? {
            messages::end(&mut s, id, "stopped", &why).await?;
            tell(&mut s, &leaving);
            continue;
        }
        // Held back or tried so long that what it tells of has begun, or its link opens nothing any more.
        if leaving.link_expires_at <= now {
            messages::end(&mut s, id, "stopped", TOO_LATE).await?;
            tell(&mut s, &leaving);
            continue;
        }
        let invented = row.demo && !is_reserved(&leaving.address);
        if !mailer.takes(channel) || (invented && mailer.is_real(channel)) {
            continue;
        }
        messages::lease(&mut s, id, LEASE_S).await?;
        let letter = letter(&mut s, &row, mailer, &leaving, channel).await?;
        letters.push((leaving, letter));
    }
    s.commit().await?;
    Ok(letters)
}

async fn letter(
    s: &mut Scoped,
    salon: &Salon,
    mailer: &Mailer,
    leaving: &Leaving,
    channel: Channel,
) -> Stored<Letter> {
    let post = find_post(s).await?;
    let url = |purpose| {
        let ends_s = leaving.link_expires_at.unix_timestamp();
        let token = link::make(&post.link_key, s.salon.0, purpose, leaving.link_id, ends_s);
        format!("{}/c/{}/{token}", mailer.origin, s.salon)
    };
    let (open, stop_url) = (url(Purpose::Open), url(Purpose::Stop));
    let body = leaving.body.replace(LINK, &open);
    let language = Language::from_code(&leaving.language).unwrap_or(Language::English);
    // A text has no header to stop it by: the words say where.
    let body = match (channel, language) {
        (Channel::Email, Language::English) => format!("{body}\n\nNo more messages: {stop_url}\n"),
        (Channel::Email, Language::Spanish) => format!("{body}\n\nNo recibir más mensajes: {stop_url}\n"),
        (Channel::Text, Language::English) => format!("{body}\nStop: {stop_url}"),
        (Channel::Text, Language::Spanish) => format!("{body}\nBaja: {stop_url}"),
    };
    Ok(Letter {
        channel,
        reference: leaving.message_ref.clone(),
        from: (salon.name.clone(), from_address(&post).to_string()),
        to: leaving.address.clone(),
        language: language.code(),
        subject: leaving.subject.clone(),
        body,
        made_at: leaving.made_at,
        tried_at: s.now().await?,
        stop_url,
    })
}

/// An address nobody has (RFC 2606): what an invented salon may be tried with.
fn is_reserved(address: &str) -> bool {
    [".example", ".invalid", ".test"].iter().any(|name| address.to_ascii_lowercase().ends_with(name))
}

fn tell(s: &mut Scoped, leaving: &Leaving) {
    s.changed("messages");
    s.changed(format!("client:{}", leaving.client_id));
}

async fn settle(app: &App, salon: SalonId, leaving: &Leaving, ended: Ended) -> Stored<()> {
    let mut s = app.begin(salon).await?;
    let id = MessageId(leaving.message_id);
    match ended {
        Ended::Accepted => {
            messages::end(&mut s, id, "sent", "").await?;
        }
        Ended::NoSuchAddress(said) => {
            messages::end(&mut s, id, "failed", &said).await?;
            contact::stop_address(&mut s, &leaving.channel, &leaving.address, "bounced", &said).await?;
        }
        Ended::Refused(said) => {
            messages::end(&mut s, id, "failed", &said).await?;
        }
        Ended::NotNow(said) => {
            let now = s.now().await?;
            let first = leaving.first_try_at.unwrap_or(now);
            let tries = u16::try_from(leaving.tries).unwrap_or_default() + 1;
            match next_try(first, tries, now) {
                Some(next) => messages::put_off(&mut s, id, next, &said).await?,
                None => {
                    messages::end(&mut s, id, "failed", &said).await?;
                }
            }
        }
    }
    tell(&mut s, leaving);
    s.commit().await
}
