//! People of the team, their secrets' hashes and qualifications.

use time::OffsetDateTime;

use super::{Scoped, StoreError, Stored};
use crate::domain::access::Role;
use crate::domain::ids::PersonId;

/// Somebody of the team.
#[derive(Clone, Debug)]
pub struct Person {
    pub id: PersonId,
    pub name: String,
    pub role: Role,
    pub has_pin: bool,
    pub has_passphrase: bool,
    /// Wrong tries since the last right one.
    pub failures: i16,
    pub next_try_at: Option<OffsetDateTime>,
    pub disabled: bool,
    pub left: bool,
    /// Chemistries (thio, hydroxide, colour, lightener, other) this person may open.
    pub qualifications: Vec<String>,
    /// Tag of the language the screens speak to this person; the salon's without one.
    pub language: Option<String>,
    /// Symbol of the unit lengths are said in to this person; the salon's without one.
    pub length_unit: Option<String>,
}

#[derive(sqlx::FromRow)]
struct Row {
    person_id: i64,
    name: String,
    role: String,
    has_pin: bool,
    has_passphrase: bool,
    failures: i16,
    next_try_at: Option<OffsetDateTime>,
    disabled: bool,
    left_here: bool,
    qualifications: Vec<String>,
    language: Option<String>,
    length_unit: Option<String>,
}

impl Row {
    fn read(self) -> Stored<Person> {
        let role =
            Role::from_code(&self.role).ok_or_else(|| StoreError::Corrupt("person", self.role.clone()))?;
        Ok(Person {
            id: PersonId(self.person_id),
            name: self.name,
            role,
            has_pin: self.has_pin,
            has_passphrase: self.has_passphrase,
            failures: self.failures,
            next_try_at: self.next_try_at,
            disabled: self.disabled,
            left: self.left_here,
            qualifications: self.qualifications,
            language: self.language,
            length_unit: self.length_unit,
        })
    }
}

/// Everybody of the team by name, those who left last; at most 200.
pub async fn list(s: &mut Scoped) -> Stored<Vec<Person>> {
    let rows: Vec<Row> = sqlx::query_as(
        "select p.person_id, p.name, p.role, p.pin_hash is not null as has_pin, p.passphrase_hash is not null as has_passphrase,
            p.failures, p.next_try_at, p.disabled_at is not null as disabled, p.left_at is not null as left_here, p.language, p.length_unit,
            coalesce((select array_agg(q.chemistry order by q.chemistry) from qualification q
              where q.salon_id = p.salon_id and q.person_id = p.person_id), '{}') as qualifications
         from person p where p.salon_id = $1 order by p.left_at is not null, p.name limit 200",
    )
    .bind(s.salon.0)
    .fetch_all(&mut *s.tx)
    .await?;
    rows.into_iter().map(Row::read).collect()
}

/// One person.
pub async fn find(s: &mut Scoped, id: PersonId) -> Stored<Option<Person>> {
    let row: Option<Row> = sqlx::query_as(
        "select p.person_id, p.name, p.role, p.pin_hash is not null as has_pin, p.passphrase_hash is not null as has_passphrase,
            p.failures, p.next_try_at, p.disabled_at is not null as disabled, p.left_at is not null as left_here, p.language, p.length_unit,
            coalesce((select array_agg(q.chemistry order by q.chemistry) from qualification q
              where q.salon_id = p.salon_id and q.person_id = p.person_id), '{}') as qualifications
         from person p where p.salon_id = $1 and p.person_id = $2",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .fetch_optional(&mut *s.tx)
    .await?;
    row.map(Row::read).transpose()
}

/// The hash a secret is checked against, with the row locked so that tries count one after the other.
pub async fn lock_secret(
    s: &mut Scoped,
    id: PersonId,
    passphrase: bool,
) -> Stored<Option<(Option<String>, i16, Option<OffsetDateTime>, bool)>> {
    Ok(sqlx::query_as(
        "select case when $3 then passphrase_hash else pin_hash end, failures, next_try_at, disabled_at is not null or left_at is not null
         from person where salon_id = $1 and person_id = $2 for update",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .bind(passphrase)
    .fetch_optional(&mut *s.tx)
    .await?)
}

/// Counts a wrong try: waits grow 1 s, 2 s, 4 s … to 5 minutes; at 20 the secret is disabled.
pub async fn count_failure(s: &mut Scoped, id: PersonId) -> Stored<()> {
    sqlx::query(
        "update person set failures = least(failures + 1, 20),
            next_try_at = rinsebell_now() + least(interval '1 second' * power(2, greatest(failures - 2, 0)), interval '5 minutes'),
            disabled_at = case when failures + 1 >= 20 then coalesce(disabled_at, rinsebell_now()) else disabled_at end
         where salon_id = $1 and person_id = $2",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}

/// A right secret wipes the count.
pub async fn clear_failures(s: &mut Scoped, id: PersonId) -> Stored<()> {
    sqlx::query("update person set failures = 0, next_try_at = null where salon_id = $1 and person_id = $2 and failures > 0")
        .bind(s.salon.0)
        .bind(id.0)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// A new member of the team.
pub async fn insert(
    s: &mut Scoped,
    name: &str,
    role: Role,
    pin_hash: Option<&str>,
    passphrase_hash: Option<&str>,
) -> Stored<PersonId> {
    let id: i64 = sqlx::query_scalar(
        "insert into person (salon_id, name, role, pin_hash, passphrase_hash) values ($1,$2,$3,$4,$5) returning person_id",
    )
    .bind(s.salon.0)
    .bind(name)
    .bind(role.code())
    .bind(pin_hash)
    .bind(passphrase_hash)
    .fetch_one(&mut *s.tx)
    .await?;
    Ok(PersonId(id))
}

/// A manager's reset: a new secret, the count wiped, enabled again.
pub async fn reset_secret(s: &mut Scoped, id: PersonId, passphrase: bool, hash: &str) -> Stored<()> {
    sqlx::query(
        "update person set pin_hash = case when $3 then pin_hash else $4 end, passphrase_hash = case when $3 then $4 else passphrase_hash end,
            failures = 0, next_try_at = null, disabled_at = null
         where salon_id = $1 and person_id = $2",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .bind(passphrase)
    .bind(hash)
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}

/// Replaces what somebody may open.
pub async fn set_qualifications(s: &mut Scoped, id: PersonId, chemistries: &[String]) -> Stored<()> {
    sqlx::query("delete from qualification where salon_id = $1 and person_id = $2 and chemistry <> all ($3)")
        .bind(s.salon.0)
        .bind(id.0)
        .bind(chemistries)
        .execute(&mut *s.tx)
        .await?;
    sqlx::query(
        "insert into qualification (salon_id, person_id, chemistry) select $1, $2, c from unnest($3::text[]) c on conflict do nothing",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .bind(chemistries)
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}

/// Somebody left: no sign-in any more, the record stays.
pub async fn set_left(s: &mut Scoped, id: PersonId, left: bool) -> Stored<()> {
    sqlx::query("update person set left_at = case when $3 then coalesce(left_at, rinsebell_now()) end where salon_id = $1 and person_id = $2")
        .bind(s.salon.0)
        .bind(id.0)
        .bind(left)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// The managers who are here, their rows locked: of two who remove one another the second sees the first's act.
pub async fn lock_managers(s: &mut Scoped) -> Stored<Vec<PersonId>> {
    let ids: Vec<i64> = sqlx::query_scalar(
        "select person_id from person where salon_id = $1 and role = 'manager' and left_at is null order by person_id for update",
    )
    .bind(s.salon.0)
    .fetch_all(&mut *s.tx)
    .await?;
    Ok(ids.into_iter().map(PersonId).collect())
}

/// In which language the screens speak to this person (a tag; none: the salon's).
pub async fn speak_to(s: &mut Scoped, id: PersonId, language: Option<&str>) -> Stored<()> {
    sqlx::query("update person set language = $3 where salon_id = $1 and person_id = $2")
        .bind(s.salon.0)
        .bind(id.0)
        .bind(language)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// In what lengths are said to this person (a symbol; none: the salon's).
pub async fn measure_for(s: &mut Scoped, id: PersonId, unit: Option<&str>) -> Stored<()> {
    sqlx::query("update person set length_unit = $3 where salon_id = $1 and person_id = $2")
        .bind(s.salon.0)
        .bind(id.0)
        .bind(unit)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// Another name or role; a passphrase is a manager's alone and goes with the role.
pub async fn change(s: &mut Scoped, id: PersonId, name: &str, role: Role) -> Stored<()> {
    sqlx::query(
        "update person set name = $3, role = $4, passphrase_hash = case when $4 = 'manager' then passphrase_hash end
         where salon_id = $1 and person_id = $2",
    )
    .bind(s.salon.0)
    .bind(id.0)
    .bind(name)
    .bind(role.code())
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}
