//! Whole records: two merged, one erased, all copied out, and what the copy of one shows beside its screens.

use time::{Date, OffsetDateTime};

use super::{Scoped, Stored};
use crate::domain::ids::{ClientId, PersonId};

/// What became of a record.
#[derive(Clone, Copy, Debug, PartialEq, Eq, sqlx::FromRow)]
pub struct Fate {
    pub merged_into: Option<i64>,
    pub erased: bool,
}

/// What became of a record; none for one that is not here.
pub async fn find_fate(s: &mut Scoped, client: ClientId) -> Stored<Option<Fate>> {
    Ok(sqlx::query_as(
        "select merged_into, erased_at is not null as erased from client where salon_id = $1 and client_id = $2",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .fetch_optional(&mut *s.tx)
    .await?)
}

/// How much hangs on a record.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, sqlx::FromRow)]
pub struct Weight {
    pub visits: i64,
    pub under_way: bool,
    pub consults: i64,
    pub consents: i64,
    pub tests: i64,
    pub readings: i64,
    pub strand_lines: i64,
    /// The hair's story has begun.
    pub story: bool,
    pub bookings: i64,
    pub ahead: i64,
    pub messages: i64,
    pub waiting: i64,
    pub incidents: i64,
    pub photos: i64,
    pub answers: i64,
}

/// How much hangs on a record.
pub async fn find_weight(s: &mut Scoped, client: ClientId) -> Stored<Weight> {
    Ok(sqlx::query_as(
        "select (select count(*) from run where salon_id = $1 and client_id = $2) as visits,
            exists (select from run where salon_id = $1 and client_id = $2 and ended_at is null) as under_way,
            (select count(*) from consult where salon_id = $1 and client_id = $2) as consults,
            (select count(*) from consent where salon_id = $1 and client_id = $2) as consents,
            (select count(*) from skin_test where salon_id = $1 and client_id = $2)
              + (select count(*) from hair_test where salon_id = $1 and client_id = $2) as tests,
            (select count(*) from hair_reading where salon_id = $1 and client_id = $2) as readings,
            (select count(*) from strand_event where salon_id = $1 and client_id = $2) as strand_lines,
            exists (select from strand where salon_id = $1 and client_id = $2 union all
              select from strand_event where salon_id = $1 and client_id = $2) as story,
            (select count(*) from booking where salon_id = $1 and client_id = $2) as bookings,
            (select count(*) from booking where salon_id = $1 and client_id = $2 and state = 'booked' and upper(span) > rinsebell_now()) as ahead,
            (select count(*) from message where salon_id = $1 and client_id = $2) as messages,
            (select count(*) from message where salon_id = $1 and client_id = $2 and state = 'waiting') as waiting,
            (select count(*) from incident where salon_id = $1 and client_id = $2) as incidents,
            (select count(*) from hair_photo p join hair_test h using (salon_id, hair_test_id)
              where p.salon_id = $1 and h.client_id = $2 and p.jpeg is not null)
              + (select count(*) from incident_photo p join incident i using (salon_id, incident_id)
                where p.salon_id = $1 and i.client_id = $2 and p.jpeg is not null)
              + (select count(*) from result_photo p join run r using (salon_id, run_id)
                where p.salon_id = $1 and r.client_id = $2 and p.jpeg is not null) as photos,
            (select count(*) from answer where salon_id = $1 and client_id = $2) as answers",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .fetch_one(&mut *s.tx)
    .await?)
}

/// What stands after a merge, with the versions the page was made of.
pub struct Merge<'a> {
    pub kept: ClientId,
    pub gone: ClientId,
    pub kept_version: i32,
    pub gone_version: i32,
    pub name: &'a str,
    pub born_on: Option<Date>,
    pub phone: &'a str,
    pub email: &'a str,
}

/// Merges two records, as the owner's function does; its refusals are `RB016`.
pub async fn merge(s: &mut Scoped, by: PersonId, m: &Merge<'_>) -> Stored<i64> {
    Ok(sqlx::query_scalar("select rinsebell_merge_client($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)")
        .bind(s.salon.0)
        .bind(m.kept.0)
        .bind(m.gone.0)
        .bind(by.0)
        .bind(m.kept_version)
        .bind(m.gone_version)
        .bind(m.name)
        .bind(m.born_on)
        .bind(m.phone)
        .bind(m.email)
        .fetch_one(&mut *s.tx)
        .await?)
}

/// Erases a person from a record, as the owner's function does; its refusals are `RB016`.
pub async fn erase(s: &mut Scoped, by: PersonId, client: ClientId, version: i32, why: &str) -> Stored<i64> {
    Ok(sqlx::query_scalar("select rinsebell_erase_client($1, $2, $3, $4, $5)")
        .bind(s.salon.0)
        .bind(client.0)
        .bind(by.0)
        .bind(version)
        .bind(why)
        .fetch_one(&mut *s.tx)
        .await?)
}

/// A client as copied out.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Copied {
    pub client_id: i64,
    pub name: String,
    pub born_on: Option<Date>,
    pub phone: String,
    pub email: String,
    pub curl_group: Option<String>,
    pub no_contact: bool,
    pub usual: Option<String>,
    pub created_at: OffsetDateTime,
    pub last_visit: Option<OffsetDateTime>,
}

/// Clients of a page of the copy.
pub const PAGE: i64 = 5000;

/// The clients after a number, in order; a page. Merged and erased ones are none.
pub async fn list_copied(s: &mut Scoped, after: i64) -> Stored<Vec<Copied>> {
    Ok(sqlx::query_as(
        "select c.client_id, c.name, c.born_on, c.phone, c.email, c.curl_group, c.no_contact, p.name as usual, c.created_at,
            (select max(r.started_at) from run r where r.salon_id = c.salon_id and r.client_id = c.client_id) as last_visit
         from client c left join person p on p.salon_id = c.salon_id and p.person_id = c.usual_person_id
         where c.salon_id = $1 and c.client_id > $2 and c.erased_at is null and c.merged_into is null order by c.client_id limit $3",
    )
    .bind(s.salon.0)
    .bind(after)
    .bind(PAGE)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// A consent as copied.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct ConsentCopy {
    pub signed_at: OffsetDateTime,
    pub signed_name: String,
    pub signer: String,
    pub words: String,
    pub witness: String,
}

/// A client's consents, newest first, at most `most`.
pub async fn list_consents(s: &mut Scoped, client: ClientId, most: i64) -> Stored<Vec<ConsentCopy>> {
    Ok(sqlx::query_as(
        "select c.signed_at, c.signed_name, c.signer, c.words, p.name as witness
         from consent c join person p on p.salon_id = c.salon_id and p.person_id = c.witnessed_by
         where c.salon_id = $1 and c.client_id = $2 order by c.signed_at desc limit $3",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(most)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// A booking as copied.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct BookingCopy {
    pub starts_at: OffsetDateTime,
    pub purpose: String,
    pub protocol: Option<String>,
    pub state: String,
    pub reason: Option<String>,
}

/// A client's bookings, newest first, at most `most`.
pub async fn list_bookings(s: &mut Scoped, client: ClientId, most: i64) -> Stored<Vec<BookingCopy>> {
    Ok(sqlx::query_as(
        "select lower(span) as starts_at, purpose, protocol, state, reason from booking
         where salon_id = $1 and client_id = $2 order by lower(span) desc limit $3",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(most)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// A line of a client's record with an instant: what, and the words to it.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct NoteCopy {
    pub at: OffsetDateTime,
    pub what: String,
    pub words: String,
}

/// Messages sent or waiting: subject and day, newest first, at most `most`.
pub async fn list_messages(s: &mut Scoped, client: ClientId, most: i64) -> Stored<Vec<NoteCopy>> {
    Ok(sqlx::query_as(
        "select made_at as at, channel || ', ' || state as what, subject as words from message
         where salon_id = $1 and client_id = $2 order by message_id desc limit $3",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(most)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Tries to reach the client, newest first, at most `most`.
pub async fn list_followups(s: &mut Scoped, client: ClientId, most: i64) -> Stored<Vec<NoteCopy>> {
    Ok(sqlx::query_as(
        "select at, outcome as what, note as words from followup where salon_id = $1 and client_id = $2 order by at desc limit $3",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(most)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Incidents with the words of their newest account, newest first, at most `most`.
pub async fn list_incidents(s: &mut Scoped, client: ClientId, most: i64) -> Stored<Vec<NoteCopy>> {
    Ok(sqlx::query_as(
        "select i.opened_at as at, i.kind as what,
            concat_ws('; ', i.place, nullif(array_to_string(a.signs, ', '), ''), nullif(a.sites, ''), nullif(w.body, '')) as words
         from incident i
           left join lateral (select x.signs, x.sites, x.words_id from incident_account x
             where x.salon_id = i.salon_id and x.incident_id = i.incident_id order by x.account_id desc limit 1) a on true
           left join answer w on w.salon_id = i.salon_id and w.answer_id = coalesce(a.words_id, i.words_id)
         where i.salon_id = $1 and i.client_id = $2 order by i.opened_at desc limit $3",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(most)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// Words of a client's answers about health, newest first, at most `most`.
pub async fn list_answers(s: &mut Scoped, client: ClientId, most: i64) -> Stored<Vec<NoteCopy>> {
    Ok(sqlx::query_as(
        "select made_at as at, '' as what, body as words from answer where salon_id = $1 and client_id = $2 and body <> ''
         order by made_at desc limit $3",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(most)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// What was measured and felt, newest first, at most `most`.
pub async fn list_readings(s: &mut Scoped, client: ClientId, most: i64) -> Stored<Vec<NoteCopy>> {
    Ok(sqlx::query_as(
        "select taken_at as at, place as what,
            concat_ws(', ', case when new_growth_mm is not null then new_growth_mm || ' mm new growth' end, texture, porosity || ' porosity',
              density, case wet_stretch when 'returns' then 'wet stretch returns' when 'does-not-return' then 'wet stretch does not return'
                when 'breaks' then 'breaks when stretched wet' end, case when breakage then 'breakage' end,
              case when lightened then 'lightened' end) as words
         from hair_reading where salon_id = $1 and client_id = $2 order by taken_at desc limit $3",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(most)
    .fetch_all(&mut *s.tx)
    .await?)
}

/// The story of the hair, newest first, at most `most`.
pub async fn list_strand(s: &mut Scoped, client: ClientId, most: i64) -> Stored<Vec<NoteCopy>> {
    Ok(sqlx::query_as(
        "select on_day::timestamp at time zone 'utc' as at, did as what,
            concat_ws(', ', family, zone, case when from_mm is not null then 'from ' || from_mm || ' mm' end,
              case when to_mm is not null then 'to ' || to_mm || ' mm' end, known, case when mm is not null then mm || ' mm' end) as words
         from strand_event where salon_id = $1 and client_id = $2 order by on_day desc, seq desc limit $3",
    )
    .bind(s.salon.0)
    .bind(client.0)
    .bind(most)
    .fetch_all(&mut *s.tx)
    .await?)
}
