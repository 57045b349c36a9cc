//! The salon itself.

use sqlx::PgPool;
use time::{Time, Weekday};

use super::{Scoped, Stored};
use crate::domain::call::Quiet;
use crate::domain::ids::{PersonId, SalonId, StationId};
use crate::words::{Language, Unit};

/// One business, as stored.
#[derive(Clone, Debug, sqlx::FromRow)]
pub struct Salon {
    pub name: String,
    /// IANA zone name.
    pub zone: String,
    /// Whose law the limits follow: eu, uk, us.
    pub place: String,
    pub emergency_number: String,
    pub eye_wash_place: String,
    /// Youngest age for a chemical service, years.
    pub least_age: i16,
    /// How long a patch test holds, days.
    pub patch_valid_days: i16,
    /// Invented people with printed PINs.
    pub demo: bool,
    /// Quiet hours, on the salon's wall clock: nobody is called from here…
    pub quiet_from: Time,
    /// …to here, over midnight where this is the earlier.
    pub quiet_until: Time,
    /// ISO days of the week on which nobody is called.
    pub quiet_weekdays: Vec<i16>,
    /// Tag of the language the screens speak where nobody is signed in.
    pub language: String,
    /// Symbol of the unit lengths are said in where nobody is signed in.
    pub length_unit: String,
}

impl Salon {
    /// The language of its screens where nobody is signed in.
    #[must_use]
    pub fn speaks(&self) -> Language {
        Language::of_tag(&self.language).unwrap_or_default()
    }

    /// What lengths are said in where nobody is signed in.
    #[must_use]
    pub fn measures(&self) -> Unit {
        Unit::of_symbol(&self.length_unit).unwrap_or_default()
    }

    /// When nobody is called.
    #[must_use]
    pub fn quiet(&self) -> Quiet {
        let minute = |at: Time| u16::from(at.hour()) * 60 + u16::from(at.minute());
        let days = self.quiet_weekdays.iter().filter_map(|n| u8::try_from(*n - 1).ok());
        Quiet {
            from_min: minute(self.quiet_from),
            until_min: minute(self.quiet_until),
            weekdays: days.map(|n| Weekday::Monday.nth_next(n)).collect(),
        }
    }
}

/// Reads the salon of this transaction.
pub async fn find(s: &mut Scoped) -> Stored<Option<Salon>> {
    Ok(sqlx::query_as(
        "select name, zone, place, emergency_number, eye_wash_place, least_age, patch_valid_days, demo, quiet_from, quiet_until, quiet_weekdays, language, length_unit
         from salon where salon_id = $1",
    )
    .bind(s.salon.0)
    .fetch_optional(&mut *s.tx)
    .await?)
}

/// Every salon of the database (asked before a salon is known: first run, sign-in, background loops).
pub async fn list_ids(pool: &PgPool) -> Stored<Vec<SalonId>> {
    let ids: Vec<i64> = sqlx::query_scalar("select rinsebell_salon_ids()").fetch_all(pool).await?;
    Ok(ids.into_iter().map(SalonId).collect())
}

/// What the first-run page asks for; hashes, never secrets.
pub struct Founding<'a> {
    pub salon_name: &'a str,
    pub zone: &'a str,
    pub place: &'a str,
    pub manager_name: &'a str,
    pub manager_hash: &'a str,
    pub station_name: &'a str,
    pub station_kind: &'a str,
    pub station_token_hash: &'a [u8],
    pub first_name: &'a str,
    pub first_role: &'a str,
    pub first_pin_hash: &'a str,
}

/// Founds the first salon: its manager, its station, and the first person beside the manager, if one is named.
/// Refused with code RB009 once one exists.
pub async fn found(
    pool: &PgPool,
    f: Founding<'_>,
) -> Stored<(SalonId, PersonId, StationId, Option<PersonId>)> {
    let row: (i64, i64, i64, Option<i64>) = sqlx::query_as(
        "select salon_id, manager_id, station_id, person_id from rinsebell_found_salon($1,$2,$3,$4,$5,$6,$7,$8,$9,$10,$11)",
    )
    .bind(f.salon_name)
    .bind(f.zone)
    .bind(f.place)
    .bind(f.manager_name)
    .bind(f.manager_hash)
    .bind(f.station_name)
    .bind(f.station_kind)
    .bind(f.station_token_hash)
    .bind(f.first_name)
    .bind(f.first_role)
    .bind(f.first_pin_hash)
    .fetch_one(pool)
    .await?;
    Ok((SalonId(row.0), PersonId(row.1), StationId(row.2), row.3.map(PersonId)))
}

/// The language of its screens, by tag.
pub async fn speak(s: &mut Scoped, language: &str) -> Stored<()> {
    sqlx::query("update salon set language = $2 where salon_id = $1")
        .bind(s.salon.0)
        .bind(language)
        .execute(&mut *s.tx)
        .await?;
    Ok(())
}

/// Changes what the salon is called, where it is and what it holds itself to (name, zone, place of law,
/// emergency number, eye wash, least age in years, patch-test days, quiet hours, language, unit of length; the rest of `to` is not written).
pub async fn change(s: &mut Scoped, to: &Salon) -> Stored<()> {
    sqlx::query(
        "update salon set name = $2, zone = $3, place = $4, emergency_number = $5, eye_wash_place = $6, least_age = $7, patch_valid_days = $8,
            quiet_from = $9, quiet_until = $10, quiet_weekdays = $11, language = $12, length_unit = $13
         where salon_id = $1",
    )
    .bind(s.salon.0)
    .bind(&to.name)
    .bind(&to.zone)
    .bind(&to.place)
    .bind(&to.emergency_number)
    .bind(&to.eye_wash_place)
    .bind(to.least_age)
    .bind(to.patch_valid_days)
    .bind(to.quiet_from)
    .bind(to.quiet_until)
    .bind(&to.quiet_weekdays)
    .bind(&to.language)
    .bind(&to.length_unit)
    .execute(&mut *s.tx)
    .await?;
    Ok(())
}
