//! Links sent to clients: what each opens, until when.

use time::OffsetDateTime;

use super::{Scoped, Stored};
use crate::domain::ids::{BookingId, ClientId, LinkId, PersonId};

/// What a link opens.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Opens<'a> {
    /// Openings of a service.
    Openings(&'a str),
    /// One booking.
    Booking(BookingId),
}

/// A link as kept.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct ClientLink {
    pub link_id: i64,
    pub client_id: i64,
    pub protocol: Option<String>,
    pub booking_id: Option<i64>,
    pub made_by: i64,
    pub expires_at: OffsetDateTime,
    pub used_at: Option<OffsetDateTime>,
    pub revoked_at: Option<OffsetDateTime>,
    /// The language the client is written to in.
    pub language: Option<String>,
}

/// Makes a link that ends at `expires_at` (at most 120 days on).
pub async fn insert(
    s: &mut Scoped,
    client: ClientId,
    opens: Opens<'_>,
    by: PersonId,
    expires_at: OffsetDateTime,
) -> Stored<LinkId> {
    let (code, protocol, booking) = match opens {
        Opens::Openings(protocol) => ("openings", Some(protocol), None),
        Opens::Booking(id) => ("booking", None, Some(id.0)),
    };
    let id: i64 = sqlx::query_scalar(
        "insert into client_link (salon_id, client_id, opens, protocol, booking_id, made_by, expires_at)
         values ($1,$2,$3,$4,$5,$6,date_trunc('second', $7::timestamptz)) returning link_id",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(code)
    .bind(protocol)
    .bind(booking)
    .bind(by.0)
    .bind(expires_at)
    .fetch_one(&mut *s.tx)
    .await?;
    Ok(LinkId(id))
}

/// One link, locked: two taps on it act one after the other.
pub async fn find_locked(s: &mut Scoped, id: LinkId) -> Stored<Option<ClientLink>> {
    Ok(sqlx::query_as(
        "select l.link_id, l.client_id, l.protocol, l.booking_id, l.made_by, l.expires_at, l.used_at, l.revoked_at,
            (select m.language from message m where m.salon_id = l.salon_id and m.client_id = l.client_id order by m.message_id desc limit 1) as language
         from client_link l where l.salon_id = $1 and l.link_id = $2 for update of l",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .fetch_optional(&mut *s.tx)
    .await?)
}

/// Marks a link as used: it opens nothing any more.
pub async fn use_up(s: &mut Scoped, id: LinkId) -> Stored<()> {
    sqlx::query("update client_link set used_at = rinsebell_now() where salon_id = $1 and link_id = $2 and used_at is null")
        .bind(s.salon.0)
        .bind(id.0)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// Takes back every open link of a booking.
pub async fn revoke_of_booking(s: &mut Scoped, booking: BookingId) -> Stored<()> {
    sqlx::query(
        "update client_link set revoked_at = rinsebell_now()
         where salon_id = $1 and booking_id = $2 and used_at is null and revoked_at is null",
    )
    .bind(s.salon.0)
    .bind(booking.0)
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}
