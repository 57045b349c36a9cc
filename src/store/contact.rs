//! How clients wish to be written to, stopped addresses, how the salon is reached back, its own words.

use time::OffsetDateTime;

use super::{Scoped, Stored};
use crate::domain::ids::{ClientId, PersonId};
use crate::domain::message::{Channel, Kind, Language};

/// A channel of a client: the newest wish, the address, whether it is stopped.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Reach {
    pub channel: String,
    pub agreed: bool,
    pub language: Option<String>,
    pub wished_at: Option<OffsetDateTime>,
    /// Who heard it; none: the client, by a link, or nobody ever.
    pub by_name: Option<String>,
    pub address: String,
    pub no_contact: bool,
    /// Why the address is stopped.
    pub stopped: Option<String>,
}

/// Both channels of a client, email first.
pub async fn list_reach(s: &mut Scoped, client: ClientId) -> Stored<Vec<Reach>> {
    Ok(sqlx::query_as(
        "select x.channel, coalesce(w.agreed, false) as agreed, w.language, w.at as wished_at, p.name as by_name, x.address, c.no_contact,
            (select a.reason from address_stop a where a.salon_id = c.salon_id and a.channel = x.channel
               and a.address_hash = rinsebell_address_hash(x.address) and a.lifted_at is null) as stopped
         from client c cross join lateral (values ('email', btrim(c.email)), ('text', btrim(c.phone))) x(channel, address)
         left join lateral (select v.agreed, v.language, v.at, v.by from contact_wish v where v.salon_id = c.salon_id
             and v.client_id = c.client_id and v.channel = x.channel order by v.wish_id desc limit 1) w on true
         left join person p on p.salon_id = c.salon_id and p.person_id = w.by
         where c.salon_id = $1 and c.client_id = $2 order by x.channel",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Keeps a wish; `by` none: the client took it back by a link.
pub async fn insert_wish(
    s: &mut Scoped,
    client: ClientId,
    channel: Channel,
    agreed: bool,
    language: Language,
    by: Option<PersonId>,
) -> Stored<()> {
    sqlx::query("insert into contact_wish (salon_id, client_id, channel, agreed, language, by) values ($1,$2,$3,$4,$5,$6)")
        .bind(s.salon.0)
        .bind(client.0)
        .bind(channel.code())
        .bind(agreed)
        .bind(language.code())
        .bind(by.map(|p| p.0))
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// Stops an address; one that is stopped stays stopped, for the first reason.
pub async fn stop_address(
    s: &mut Scoped,
    channel: &str,
    address: &str,
    reason: &str,
    words: &str,
) -> Stored<()> {
    sqlx::query(
        "insert into address_stop (salon_id, channel, address_hash, reason, words) values ($1,$2, rinsebell_address_hash($3), $4, left($5, 300))
         on conflict (salon_id, channel, address_hash) do update
         set reason = excluded.reason, words = excluded.words, at = rinsebell_now(), lifted_at = null, lifted_by = null
         where address_stop.lifted_at is not null",
    )
    .bind(s.salon.0)
    .bind(channel)
    .bind(address)
    .bind(reason)
    .bind(words)
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}

/// Lets an address be written to again.
pub async fn lift_stop(s: &mut Scoped, channel: Channel, address: &str, by: PersonId) -> Stored<()> {
    sqlx::query(
        "update address_stop set lifted_at = rinsebell_now(), lifted_by = $4
         where salon_id = $1 and channel = $2 and address_hash = rinsebell_address_hash($3) and lifted_at is null",
    )
    .bind(s.salon.0)
    .bind(channel.code())
    .bind(address)
    .bind(by.0)
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}

/// How the salon is reached back, and the key of its links.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Post {
    /// The address messages come from; empty: the sender's own.
    pub from_address: String,
    /// The number messages give.
    pub reply_phone: String,
    /// Signs the salon's links.
    pub link_key: Vec<u8>,
}

/// The salon's row, made with `key` when there is none.
pub async fn find_post(s: &mut Scoped, key: &[u8]) -> Stored<Post> {
    sqlx::query("insert into post (salon_id, link_key) values ($1,$2) on conflict (salon_id) do nothing")
        .bind(s.salon.0)
        .bind(key)
        .execute(&mut *s.tx)
        .await?;
    Ok(sqlx::query_as("select from_address, reply_phone, link_key from post where salon_id = $1")
        .bind(s.salon.0)
        .fetch_one(&mut *s.tx)
        .await?)
}

/// Keeps how the salon is reached back.
pub async fn update_post(s: &mut Scoped, from_address: &str, reply_phone: &str) -> Stored<()> {
    sqlx::query("update post set from_address = $2, reply_phone = $3 where salon_id = $1")
        .bind(s.salon.0)
        .bind(from_address)
        .bind(reply_phone)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// The salon's own words of a kind in a language.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct OwnWords {
    pub kind: String,
    pub language: String,
    pub subject: String,
    pub body: String,
    pub by_name: String,
    pub at: OffsetDateTime,
    pub version: i32,
}

/// All own words; at most one a kind and language.
pub async fn list_words(s: &mut Scoped) -> Stored<Vec<OwnWords>> {
    Ok(sqlx::query_as(
        "select w.kind, w.language, w.subject, w.body, p.name as by_name, w.at, w.version
         from message_words w join person p on p.salon_id = w.salon_id and p.person_id = w.by
         where w.salon_id = $1 order by w.kind, w.language limit 50",
    )
    .bind(s.salon.0)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Keeps own words over version `version` (0: there were none); false when somebody was first.
pub async fn save_words(
    s: &mut Scoped,
    (kind, language): (Kind, Language),
    (subject, body): (&str, &str),
    by: PersonId,
    version: i32,
) -> Stored<bool> {
    let done = sqlx::query(
        "insert into message_words (salon_id, kind, language, subject, body, by) values ($1,$2,$3,$4,$5,$6)
         on conflict (salon_id, kind, language) do update set subject = excluded.subject, body = excluded.body, by = excluded.by,
            at = rinsebell_now(), version = message_words.version + 1 where message_words.version = $7",
    )
    .bind(s.salon.0)
    .bind(kind.code())
    .bind(language.code())
    .bind(subject)
    .bind(body)
    .bind(by.0)
    .bind(version)
    .execute(&mut *s.tx)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Goes back to the shipped words.
pub async fn delete_words(s: &mut Scoped, kind: Kind, language: Language) -> Stored<()> {
    sqlx::query("delete from message_words where salon_id = $1 and kind = $2 and language = $3")
        .bind(s.salon.0)
        .bind(kind.code())
        .bind(language.code())
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}
