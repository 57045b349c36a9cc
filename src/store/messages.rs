//! Messages to clients: the outbox and what became of each.

use sqlx::Acquire as _;
use time::OffsetDateTime;

use super::{Scoped, StoreError, Stored};
use crate::domain::ids::{BookingId, ClientId, LinkId, MessageId, PersonId};
use crate::domain::message::{Channel, Kind, Language};

/// Most messages of one page.
pub const PAGE: i64 = 50;

/// What is written of a new message.
pub struct NewMessage<'a> {
    pub client: ClientId,
    pub kind: Kind,
    pub channel: Channel,
    pub language: Language,
    pub address: &'a str,
    pub subject: &'a str,
    /// With `{link}` still open.
    pub body: &'a str,
    /// Message-ID without brackets.
    pub reference: &'a str,
    pub link: LinkId,
    pub booking: Option<BookingId>,
    pub made_by: Option<PersonId>,
    /// Not sent before.
    pub next_at: OffsetDateTime,
}

/// How writing a message ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Inserted {
    New(MessageId),
    /// This booking was told this before.
    Before,
    /// By a rule of the database, `message:…`; the transaction goes on.
    Refused(String),
}

/// Writes a message, behind a savepoint: a client who stopped messages this very moment does not undo the act it tells of.
pub async fn insert(s: &mut Scoped, new: &NewMessage<'_>) -> Stored<Inserted> {
    let mut inner = s.tx.begin().await?;
    let written: Result<Option<i64>, sqlx::Error> = sqlx::query_scalar(
        "insert into message (salon_id, client_id, kind, channel, language, address, subject, body, message_ref, link_id, booking_id, made_by, next_at)
         values ($1,$2,$3,$4,$5,$6,$7,$8,$9,$10,$11,$12,$13)
         on conflict (salon_id, booking_id, kind) where booking_id is not null do nothing returning message_id",
    )
    .bind(s.salon.0)
    .bind(new.client.0)
    .bind(new.kind.code())
    .bind(new.channel.code())
    .bind(new.language.code())
    .bind(new.address)
    .bind(new.subject)
    .bind(new.body)
    .bind(new.reference)
    .bind(new.link.0)
    .bind(new.booking.map(|b| b.0))
    .bind(new.made_by.map(|p| p.0))
    .bind(new.next_at)
    .fetch_optional(&mut *inner)
    .await;
    match written.map_err(StoreError::from) {
        Ok(id) => {
            inner.commit().await?;
            Ok(id.map_or(Inserted::Before, |id| Inserted::New(MessageId(id))))
        }
        Err(StoreError::Refused { code, rule }) if code == "RB011" => {
            inner.rollback().await?;
            Ok(Inserted::Refused(rule))
        }
        Err(other) => Err(other),
    }
}

/// A message as listed.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Message {
    pub message_id: i64,
    pub client_id: i64,
    pub client_name: String,
    pub kind: String,
    pub channel: String,
    pub address: String,
    pub subject: String,
    pub body: String,
    pub made_at: OffsetDateTime,
    pub made_by_name: Option<String>,
    /// waiting, sent, failed, stopped.
    pub state: String,
    pub tries: i16,
    pub next_at: OffsetDateTime,
    pub ended_at: Option<OffsetDateTime>,
    pub said: String,
}

/// Messages of a state, newest first, before the message `before`; one more than a page.
pub async fn list(s: &mut Scoped, state: &str, before: Option<i64>) -> Stored<Vec<Message>> {
    Ok(sqlx::query_as(
        "select m.message_id, m.client_id, c.name as client_name, m.kind, m.channel, m.address, m.subject, m.body, m.made_at,
            p.name as made_by_name, m.state, m.tries, m.next_at, m.ended_at, m.said
         from message m join client c on c.salon_id = m.salon_id and c.client_id = m.client_id
         left join person p on p.salon_id = m.salon_id and p.person_id = m.made_by
         where m.salon_id = $1 and m.state = $2 and m.message_id < $3 order by m.message_id desc limit $4",
    )
    .bind(s.salon.0)
    .bind(state)
    .bind(before.unwrap_or(i64::MAX))
    .bind(PAGE + 1)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// The last 20 messages to a client, newest first.
pub async fn list_of_client(s: &mut Scoped, client: ClientId) -> Stored<Vec<Message>> {
    Ok(sqlx::query_as(
        "select m.message_id, m.client_id, c.name as client_name, m.kind, m.channel, m.address, m.subject, m.body, m.made_at,
            p.name as made_by_name, m.state, m.tries, m.next_at, m.ended_at, m.said
         from message m join client c on c.salon_id = m.salon_id and c.client_id = m.client_id
         left join person p on p.salon_id = m.salon_id and p.person_id = m.made_by
         where m.salon_id = $1 and m.client_id = $2 order by m.message_id desc limit 20",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// How many messages each state holds, at most 10,000 counted of each.
pub async fn count(s: &mut Scoped) -> Stored<Vec<(String, i64)>> {
    Ok(sqlx::query_as(
        "select x.state, (select count(*) from (select from message m where m.salon_id = $1 and m.state = x.state limit 10000) few)
         from unnest(array['waiting','sent','failed','stopped']) x(state)",
    )
    .bind(s.salon.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// A message on its way out.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Leaving {
    pub message_id: i64,
    pub client_id: i64,
    pub client_name: String,
    pub kind: String,
    pub channel: String,
    pub language: String,
    pub address: String,
    pub subject: String,
    pub body: String,
    pub message_ref: String,
    pub link_id: i64,
    pub link_expires_at: OffsetDateTime,
    pub made_at: OffsetDateTime,
    pub tries: i16,
    pub first_try_at: Option<OffsetDateTime>,
}

/// The next messages of these kinds whose time has come and that no process holds, locked until the transaction ends; at
/// most `most`.
pub async fn list_leaving(s: &mut Scoped, kinds: &[Kind], most: i64) -> Stored<Vec<Leaving>> {
    let kinds: Vec<&str> = kinds.iter().map(|kind| kind.code()).collect();
    Ok(sqlx::query_as(
        "select m.message_id, m.client_id, c.name as client_name, m.kind, m.channel, m.language, m.address, m.subject, m.body, m.message_ref,
            m.link_id, l.expires_at as link_expires_at, m.made_at, m.tries, m.first_try_at
         from message m join client c on c.salon_id = m.salon_id and c.client_id = m.client_id
         join client_link l on l.salon_id = m.salon_id and l.link_id = m.link_id
         where m.salon_id = $1 and m.state = 'waiting' and m.next_at <= rinsebell_now()
           and (m.leased_until is null or m.leased_until <= rinsebell_now()) and m.kind = any ($3)
         order by m.next_at, m.message_id limit $2 for update of m skip locked",
    )
    .bind(s.salon.0)
    .bind(most)
    .bind(kinds)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Why this message may not leave, asked anew of the database; none when it may.
pub async fn find_bar(s: &mut Scoped, id: MessageId) -> Stored<Option<String>> {
    let why: Option<Option<String>> = sqlx::query_scalar(
        "select rinsebell_not_written(m.salon_id, m.client_id, m.channel, rinsebell_address_hash(m.address))
         from message m where m.salon_id = $1 and m.message_id = $2",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .fetch_optional(&mut *s.tx)
    .await?;
    Ok(why.flatten())
}

/// Takes a message for `seconds`: no other process tries it until then. The database refuses one that the salon's quiet
/// hours hold back.
pub async fn lease(s: &mut Scoped, id: MessageId, seconds: i32) -> Stored<()> {
    sqlx::query(
        "update message set leased_until = rinsebell_now() + make_interval(secs => $3), tries = tries + 1,
            first_try_at = coalesce(first_try_at, rinsebell_now()) where salon_id = $1 and message_id = $2",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .bind(f64::from(seconds))
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}

/// Ends a message that waits: sent, failed or stopped, with what was said. False when it had ended already.
pub async fn end(s: &mut Scoped, id: MessageId, state: &str, said: &str) -> Stored<bool> {
    let done = sqlx::query(
        "update message set state = $3, said = left($4, 300), ended_at = rinsebell_now(), leased_until = null
         where salon_id = $1 and message_id = $2 and state = 'waiting'",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .bind(state)
    .bind(said)
    .execute(&mut *s.tx)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Takes a message back that waits and is not being sent this moment; false when it is too late.
pub async fn take_back(s: &mut Scoped, id: MessageId, said: &str) -> Stored<bool> {
    let done = sqlx::query(
        "update message set state = 'stopped', said = left($3, 300), ended_at = rinsebell_now(), leased_until = null
         where salon_id = $1 and message_id = $2 and state = 'waiting' and (leased_until is null or leased_until <= rinsebell_now())",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .bind(said)
    .execute(&mut *s.tx)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Puts a message off to a later try.
pub async fn put_off(s: &mut Scoped, id: MessageId, next_at: OffsetDateTime, said: &str) -> Stored<()> {
    sqlx::query(
        "update message set next_at = $3, said = left($4, 300), leased_until = null
         where salon_id = $1 and message_id = $2 and state = 'waiting'",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .bind(next_at)
    .bind(said)
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}

/// Stops every message that still waits for a booking.
pub async fn stop_of_booking(s: &mut Scoped, booking: BookingId, said: &str) -> Stored<()> {
    sqlx::query(
        "update message set state = 'stopped', said = $3, ended_at = rinsebell_now(), leased_until = null
         where salon_id = $1 and booking_id = $2 and state = 'waiting' and kind <> 'cancelled'",
    )
    .bind(s.salon.0)
    .bind(booking.0)
    .bind(said)
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}

/// The message a report of a mail server names.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Reported {
    pub client_id: i64,
    pub channel: String,
    pub address: String,
}

/// The message a report names by its Message-ID.
pub async fn find_by_reference(s: &mut Scoped, reference: &str) -> Stored<Option<Reported>> {
    Ok(sqlx::query_as(
        "select client_id, channel, address from message where salon_id = $1 and message_ref = $2",
    )
    .bind(s.salon.0)
    .bind(reference)
    .fetch_optional(&mut *s.tx)
    .await?)
}

/// By which channel a link went to its client, and to which address.
pub async fn find_way_of_link(s: &mut Scoped, link: LinkId) -> Stored<Option<(String, String)>> {
    Ok(sqlx::query_as(
        "select m.channel, m.address from client_link l join message m on m.salon_id = l.salon_id and m.client_id = l.client_id and m.link_id = l.link_id
         where l.salon_id = $1 and l.link_id = $2 order by m.message_id limit 1",
    )
    .bind(s.salon.0)
    .bind(link.0)
    .fetch_optional(&mut *s.tx)
    .await?)
}

/// A booking to be reminded of.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct ToRemind {
    pub booking_id: i64,
    pub client_id: i64,
    pub from_at: OffsetDateTime,
    pub made_by: i64,
    pub with_name: Option<String>,
}

/// Services booked to begin between two instants that no reminder was written for; at most 200, soonest first.
pub async fn list_to_remind(
    s: &mut Scoped,
    from: OffsetDateTime,
    to: OffsetDateTime,
) -> Stored<Vec<ToRemind>> {
    Ok(sqlx::query_as(
        "select b.booking_id, b.client_id, lower(b.span) as from_at, b.made_by,
            (select p.name from booking_hands h join person p on p.salon_id = h.salon_id and p.person_id = h.person_id
             where h.salon_id = b.salon_id and h.booking_id = b.booking_id and h.live order by upper(h.span) - lower(h.span) desc, h.part_no limit 1) as with_name
         from booking b
         where b.salon_id = $1 and b.starts_at >= $2 and b.starts_at < $3 and b.state = 'booked' and b.purpose = 'service'
           and not exists (select from message m where m.salon_id = b.salon_id and m.booking_id = b.booking_id and m.kind = 'reminder')
         order by b.starts_at, b.booking_id limit 200",
    )
    .bind(s.salon.0)
    .bind(from)
    .bind(to)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// The state of a message.
pub async fn find_state(s: &mut Scoped, id: MessageId) -> Stored<Option<String>> {
    Ok(sqlx::query_scalar("select state from message where salon_id = $1 and message_id = $2")
        .bind(s.salon.0)
        .bind(id.0)
        .fetch_optional(&mut *s.tx)
        .await?)
}
