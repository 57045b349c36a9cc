//! Writing to clients: the words made, the link made, the message put into the outbox, all in the act's own transaction.

use time::{Duration, OffsetDateTime};

use super::calls::is_quiet;
use crate::calendar::{Zone, day_words};
use crate::domain::call::Quiet;
use crate::domain::ids::{BookingId, ClientId, PersonId};
use crate::domain::message::words::fill;
use crate::domain::message::{Channel, Facts, Kind, Language, NotWritten, Wish, may_write};
use crate::domain::name;
use crate::reference::Reference;
use crate::secret;
use crate::store::client_links::{self, Opens};
use crate::store::contact::{self, OwnWords, Post, Reach};
use crate::store::messages::{self, Inserted, NewMessage};
use crate::store::{Scoped, Stored, clients, salons};

/// How long a link to openings lives, days.
pub const LINK_DAYS: i64 = 30;
/// Nothing leaves before this minute of the local day (common practice, no source).
const MORNING_MIN: u16 = 9 * 60;
/// Nor from this minute on.
const EVENING_MIN: u16 = 19 * 60;
/// Days that are looked through for an hour that is not quiet.
const LOOK_DAYS: i64 = 14;
/// Where a salon has no address of its own yet; no such place exists (RFC 2606).
const NOWHERE: &str = "salon@rinsebell.invalid";

/// A booking a message is about.
#[derive(Clone, Debug)]
pub struct About {
    pub booking: BookingId,
    pub from: OffsetDateTime,
    /// Whoever is booked, by full name.
    pub with: String,
}

/// What is to be written.
#[derive(Clone, Debug)]
pub struct Draft<'a> {
    pub client: ClientId,
    pub kind: Kind,
    /// With [`Kind::Booked`] and [`Kind::Reminder`]: what is told.
    pub about: Option<About>,
    /// With [`Kind::Due`] and [`Kind::Cancelled`]: the service whose openings the link shows.
    pub protocol: Option<&'a str>,
    pub by: PersonId,
}

/// What came of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Wrote {
    /// In the outbox; leaves by this channel.
    Written(Channel),
    /// This booking was told this before.
    Before,
    Not(NotWritten),
    /// The words hold something that no message carries.
    KeptOut,
}

/// The words as they will leave, the link's place still open.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Preview {
    pub channel: Channel,
    pub language: Language,
    pub address: String,
    pub subject: String,
    pub body: String,
}

/// The first channel this client may be written to by, with its language, or why there is none.
///
/// # Errors
/// The reason of the channel that came nearest.
pub fn channel_of(reach: &[Reach]) -> Result<(Channel, Language, String), NotWritten> {
    let mut why = NotWritten::NoConsent;
    for row in reach {
        let Some(channel) = Channel::from_code(&row.channel) else { continue };
        let wish = Wish {
            no_contact: row.no_contact,
            agreed: row.agreed,
            has_address: row.address.chars().count() >= 3,
            stopped: row.stopped.is_some(),
        };
        match may_write(wish) {
            Ok(()) => {
                let language = row.language.as_deref().and_then(Language::from_code);
                return Ok((channel, language.unwrap_or(Language::English), row.address.clone()));
            }
            // An agreed channel that fails says more than one nobody agreed to.
            Err(NotWritten::NoConsent) => {}
            Err(other) => why = other,
        }
    }
    Err(why)
}

/// A day in the words of a language: `Thu 14 May`, `jue 14 may`.
#[must_use]
pub fn day_in(language: Language, day: time::Date) -> String {
    match language {
        Language::English => day_words(day),
        Language::Spanish => {
            let weekday = ["lun", "mar", "mié", "jue", "vie", "sáb", "dom"]
                [usize::from(day.weekday().number_days_from_monday())];
            let month = ["ene", "feb", "mar", "abr", "may", "jun", "jul", "ago", "sep", "oct", "nov", "dic"]
                [usize::from(u8::from(day.month())) - 1];
            format!("{weekday} {} {month}", day.day())
        }
    }
}

/// The words of a kind in a language: the salon's own, else the shipped ones.
#[must_use]
pub fn words_of<'a>(
    reference: &'a Reference,
    own: &'a [OwnWords],
    kind: Kind,
    language: Language,
) -> (&'a str, &'a str) {
    match own.iter().find(|w| w.kind == kind.code() && w.language == language.code()) {
        Some(w) => (&w.subject, &w.body),
        None => {
            let shipped = reference.messages.of(language, kind);
            (&shipped.subject, &shipped.body)
        }
    }
}

/// The salon's post, its key made when there is none yet.
///
/// # Errors
/// Those of the store.
pub async fn find_post(s: &mut Scoped) -> Stored<Post> {
    contact::find_post(s, &secret::random::<32>()).await
}

/// The address a salon writes from.
#[must_use]
pub fn from_address(post: &Post) -> &str {
    if post.from_address.is_empty() { NOWHERE } else { &post.from_address }
}

/// What would be written; nothing is kept.
///
/// # Errors
/// Those of the store.
pub async fn preview(
    s: &mut Scoped,
    reference: &Reference,
    zone: &Zone,
    draft: &Draft<'_>,
) -> Stored<Result<Preview, NotWritten>> {
    let reach = contact::list_reach(s, draft.client).await?;
    let (channel, language, address) = match channel_of(&reach) {
        Ok(found) => found,
        Err(why) => return Ok(Err(why)),
    };
    let own = contact::list_words(s).await?;
    let (subject, body) = words_of(reference, &own, draft.kind, language);
    let name = clients::find(s, draft.client).await?.map(|c| c.name).unwrap_or_default();
    let salon = salons::find(s).await?.map(|x| x.name).unwrap_or_default();
    let post = find_post(s).await?;
    let about = draft.about.as_ref();
    let facts = Facts {
        // Which word of it is the given one nobody knows: somebody is greeted as they wrote themself.
        first_name: name::spoken(&name),
        salon,
        phone: post.reply_phone,
        day: about.map(|a| day_in(language, zone.day_of(a.from))).unwrap_or_default(),
        time: about.map(|a| zone.clock(a.from)).unwrap_or_default(),
        with: about.map(|a| name::first_word(&a.with).to_string()).unwrap_or_default(),
    };
    Ok(Ok(Preview { channel, language, address, subject: fill(subject, &facts), body: fill(body, &facts) }))
}

/// The first instant from `at` on that lies in the waking part of a local day and in none of the salon's quiet hours. A
/// salon that is quiet at every such hour of two weeks is written for by the waking part alone, and what was written waits
/// until it is quiet no more ([`Kind::keeps_quiet`]).
#[must_use]
pub fn waking(zone: &Zone, quiet: &Quiet, at: OffsetDateTime) -> OffsetDateTime {
    let mut first = None;
    for ahead in 0..=LOOK_DAYS {
        let day = zone.day_of(at) + Duration::days(ahead);
        let (morning, evening) = (zone.instant(day, MORNING_MIN).max(at), zone.instant(day, EVENING_MIN));
        // Quiet hours begin and end at a minute: each edge within the day is looked at, and the morning itself.
        let ends = zone.instant(day, quiet.until_min).max(at);
        for begins in [morning, ends.max(morning)].into_iter().filter(|begins| *begins < evening) {
            first = first.or(Some(begins));
            if !is_quiet(zone, quiet, begins) {
                return begins;
            }
        }
    }
    first.unwrap_or(at)
}

/// Writes a message into the outbox, with its link. A client who may not be written to is no error: the act goes on.
///
/// # Errors
/// Those of the store.
pub async fn write(s: &mut Scoped, reference: &Reference, zone: &Zone, draft: &Draft<'_>) -> Stored<Wrote> {
    let words = match preview(s, reference, zone, draft).await? {
        Ok(words) => words,
        Err(why) => return Ok(Wrote::Not(why)),
    };
    let now = s.now().await?;
    let (opens, ends) = match (&draft.about, draft.protocol) {
        (Some(about), _) if draft.kind != Kind::Cancelled => (Opens::Booking(about.booking), about.from),
        (_, Some(protocol)) => (Opens::Openings(protocol), now + Duration::days(LINK_DAYS)),
        _ => return Ok(Wrote::Not(NotWritten::NoAddress)),
    };
    if ends <= now {
        return Ok(Wrote::Before);
    }
    let ends = ends.min(now + Duration::days(119));
    let link = client_links::insert(s, draft.client, opens, draft.by, ends).await?;
    let post = find_post(s).await?;
    let domain = from_address(&post).rsplit('@').next().unwrap_or("rinsebell.invalid");
    // What answers an act leaves at once; what nobody waits for leaves by day.
    let next_at = match salons::find(s).await? {
        Some(salon) if draft.kind.keeps_quiet() => waking(zone, &salon.quiet(), now),
        _ => now,
    };
    let written = messages::insert(
        s,
        &NewMessage {
            client: draft.client,
            kind: draft.kind,
            channel: words.channel,
            language: words.language,
            address: &words.address,
            subject: &words.subject,
            body: &words.body,
            reference: &format!("{}@{domain}", secret::new_uuid()),
            link,
            booking: draft.about.as_ref().map(|a| a.booking),
            made_by: Some(draft.by),
            next_at,
        },
    )
    .await?;
    s.changed("messages");
    s.changed(format!("client:{}", draft.client));
    Ok(match written {
        Inserted::New(_) => Wrote::Written(words.channel),
        Inserted::Before => Wrote::Before,
        Inserted::Refused(rule) if rule == "message:kept-out" => Wrote::KeptOut,
        Inserted::Refused(rule) => {
            let named = NotWritten::ALL.into_iter().find(|n| rule.strip_prefix("message:") == Some(n.code()));
            Wrote::Not(named.unwrap_or(NotWritten::NoConsent))
        }
    })
}

/// Keeps what a client wishes about a channel, told to somebody.
///
/// # Errors
/// Those of the store.
pub async fn keep_wish(
    s: &mut Scoped,
    client: ClientId,
    channel: Channel,
    (agreed, language): (bool, Language),
    by: PersonId,
) -> Stored<()> {
    contact::insert_wish(s, client, channel, agreed, language, Some(by)).await?;
    s.changed(format!("client:{client}"));
    Ok(())
}

async fn take_consent_back(s: &mut Scoped, client: ClientId, channel: Channel) -> Stored<()> {
    let reach = contact::list_reach(s, client).await?;
    if let Some(row) = reach.iter().find(|r| r.channel == channel.code() && r.agreed) {
        let language = row.language.as_deref().and_then(Language::from_code).unwrap_or(Language::English);
        contact::insert_wish(s, client, channel, false, language, None).await?;
    }
    Ok(())
}

/// The client takes consent back by the link of a message: the channel's wish is no, and the address is stopped.
///
/// # Errors
/// Those of the store.
pub async fn stop_by_client(s: &mut Scoped, client: ClientId, channel: Channel, address: &str) -> Stored<()> {
    take_consent_back(s, client, channel).await?;
    contact::stop_address(
        s,
        channel.code(),
        address,
        "unsubscribed",
        mark!("asked by the link of a message"),
    )
    .await?;
    s.changed("messages");
    s.changed(format!("client:{client}"));
    Ok(())
}

/// The client called a message unwanted: consent is taken back for the channel, as by the link, and the reason kept.
///
/// # Errors
/// Those of the store.
pub async fn stop_by_complaint(
    s: &mut Scoped,
    client: ClientId,
    channel: Channel,
    address: &str,
) -> Stored<()> {
    take_consent_back(s, client, channel).await?;
    contact::stop_address(
        s,
        channel.code(),
        address,
        "complained",
        mark!("called unwanted at the reader's mail server"),
    )
    .await
}

/// Writes the reminders of every service that begins in 20 to 44 hours and has none yet: the working day before. How many.
///
/// # Errors
/// Those of the store.
pub async fn write_reminders(s: &mut Scoped, reference: &Reference, zone: &Zone) -> Stored<usize> {
    let now = s.now().await?;
    let mut written = 0;
    let (from, to) = (now + Duration::hours(20), now + Duration::hours(44));
    for booking in messages::list_to_remind(s, from, to).await? {
        let about = About {
            booking: BookingId(booking.booking_id),
            from: booking.from_at,
            with: booking.with_name.unwrap_or_default(),
        };
        let draft = Draft {
            client: ClientId(booking.client_id),
            kind: Kind::Reminder,
            about: Some(about),
            protocol: None,
            by: PersonId(booking.made_by),
        };
        written += usize::from(matches!(write(s, reference, zone, &draft).await?, Wrote::Written(_)));
    }
    Ok(written)
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::{date, datetime};

    #[test]
    fn nothing_leaves_at_night() {
        let zone = Zone::find("Europe/Paris").expect("a zone");
        let never = Quiet { from_min: 0, until_min: 0, weekdays: Vec::new() };
        for (at, leaves) in [
            (datetime!(2026-05-04 02:00 UTC), datetime!(2026-05-04 07:00 UTC)),
            (datetime!(2026-05-04 12:00 UTC), datetime!(2026-05-04 12:00 UTC)),
            (datetime!(2026-05-04 20:00 UTC), datetime!(2026-05-05 07:00 UTC)),
            // The clocks go back on 25 October 2026 (tz database): 09:00 is then 08:00 UTC.
            (datetime!(2026-10-24 20:00 UTC), datetime!(2026-10-25 08:00 UTC)),
        ] {
            assert_eq!(waking(&zone, &never, at), leaves, "{at}");
        }
    }

    #[test]
    fn nothing_leaves_in_the_salons_quiet_hours() {
        let zone = Zone::find("Europe/Paris").expect("a zone");
        let noon =
            Quiet { from_min: 12 * 60, until_min: 14 * 60 + 30, weekdays: vec![time::Weekday::Sunday] };
        for (at, leaves) in [
            // Monday in the quiet hours about noon, 14:30 on.
            (datetime!(2026-05-04 10:15 UTC), datetime!(2026-05-04 12:30 UTC)),
            (datetime!(2026-05-04 09:59 UTC), datetime!(2026-05-04 09:59 UTC)),
            // Saturday evening: not on the quiet Sunday.
            (datetime!(2026-05-09 18:00 UTC), datetime!(2026-05-11 07:00 UTC)),
        ] {
            assert_eq!(waking(&zone, &noon, at), leaves, "{at}");
        }
        let till_late = Quiet { from_min: 21 * 60, until_min: 10 * 60, weekdays: Vec::new() };
        let at = datetime!(2026-05-04 20:00 UTC);
        assert_eq!(waking(&zone, &till_late, at), datetime!(2026-05-05 08:00 UTC));
        let whole = Quiet { from_min: 0, until_min: 0, weekdays: time_week() };
        assert_eq!(
            waking(&zone, &whole, at),
            datetime!(2026-05-05 07:00 UTC),
            "what is written waits all the same"
        );
    }

    fn time_week() -> Vec<time::Weekday> {
        (0..7).map(|n| time::Weekday::Monday.nth_next(n)).collect()
    }

    #[test]
    fn a_day_is_told_in_the_clients_language() {
        assert_eq!(day_in(Language::Spanish, date!(2026 - 05 - 14)), "jue 14 may");
        assert_eq!(day_in(Language::English, date!(2026 - 05 - 14)), "Thu 14 May");
    }
}
