//! Keeping the team: people and their secrets, stations, hours, places, the salon's own rules.

use time::{Date, OffsetDateTime};

use crate::domain::access::Role;
use crate::domain::ids::{PersonId, StationId};
use crate::secret;
use crate::store::hours::{self, Hours};
use crate::store::salons::{self, Salon};
use crate::store::{Scoped, StoreError, days_off, people, sessions, stations};
use crate::words::{Language, Unit};

/// Why the team was not changed.
#[derive(Debug)]
pub enum TeamRefused {
    /// Somebody, or some station, is called so already.
    NameTaken,
    /// A salon without a manager could never be set right again.
    LastManager,
    /// The database's own list of zones does not know this one.
    ZoneUnknown,
    /// The database, not a rule of ours.
    Store(StoreError),
}

impl From<StoreError> for TeamRefused {
    fn from(e: StoreError) -> Self {
        match e {
            StoreError::Refused { ref rule, .. }
                if rule == "person_name_unique" || rule == "station_name_unique" =>
            {
                TeamRefused::NameTaken
            }
            StoreError::Refused { ref rule, .. } if rule == "salon_zone_known" => TeamRefused::ZoneUnknown,
            other => TeamRefused::Store(other),
        }
    }
}

/// Done, or why not.
pub type Kept<T> = Result<T, TeamRefused>;

/// Somebody new, with the hashes of their secrets.
pub struct NewPerson<'a> {
    pub name: &'a str,
    pub role: Role,
    pub pin_hash: &'a str,
    /// Managers alone.
    pub passphrase_hash: Option<&'a str>,
    /// Chemistries this person may open.
    pub qualified: &'a [String],
}

/// Takes somebody into the team.
pub async fn hire_person(s: &mut Scoped, new: &NewPerson<'_>) -> Kept<PersonId> {
    let passphrase = new.passphrase_hash.filter(|_| new.role == Role::Manager);
    let id = people::insert(s, new.name, new.role, Some(new.pin_hash), passphrase).await?;
    people::set_qualifications(s, id, new.qualified).await?;
    s.changed("team");
    Ok(id)
}

async fn keep_a_manager(s: &mut Scoped, but: PersonId) -> Kept<()> {
    let managers = people::lock_managers(s).await?;
    if managers == [but] { Err(TeamRefused::LastManager) } else { Ok(()) }
}

/// Another name, role, qualifications. The last manager stays one.
pub async fn change_person(
    s: &mut Scoped,
    id: PersonId,
    name: &str,
    role: Role,
    qualified: &[String],
) -> Kept<()> {
    if role != Role::Manager {
        keep_a_manager(s, id).await?;
    }
    people::change(s, id, name, role).await?;
    people::set_qualifications(s, id, qualified).await?;
    s.changed("team");
    Ok(())
}

/// A new PIN or passphrase: the count of wrong tries is wiped, a disabled sign-in works again, and whoever was
/// signed in with the old secret is signed out everywhere.
pub async fn reset_secret(s: &mut Scoped, id: PersonId, passphrase: bool, hash: &str) -> Kept<()> {
    people::reset_secret(s, id, passphrase, hash).await?;
    sessions::end_all_of(s, id).await?;
    s.changed("team");
    Ok(())
}

/// The screens speak this language to somebody from now on, at every station.
pub async fn speak_to(s: &mut Scoped, id: PersonId, language: Language) -> Kept<()> {
    Ok(people::speak_to(s, id, Some(language.tag())).await?)
}

/// Lengths are said to somebody in this unit from now on, at every station.
pub async fn measure_for(s: &mut Scoped, id: PersonId, unit: Unit) -> Kept<()> {
    Ok(people::measure_for(s, id, Some(unit.symbol())).await?)
}

/// Somebody left (signed out everywhere, the record stays) or is back. The last manager stays.
pub async fn set_left(s: &mut Scoped, id: PersonId, left: bool) -> Kept<()> {
    if left {
        keep_a_manager(s, id).await?;
        sessions::end_all_of(s, id).await?;
    }
    people::set_left(s, id, left).await?;
    s.changed("team");
    Ok(())
}

/// Somebody's regular hours from now on.
pub async fn set_hours(s: &mut Scoped, id: PersonId, spans: &[Hours]) -> Kept<()> {
    hours::replace(s, id, spans).await?;
    s.changed("team");
    Ok(())
}

/// The salon is closed on a day, but for some minutes of it; bookings made before stand until they are moved. False when that
/// day stands there already.
pub async fn close_day(
    s: &mut Scoped,
    on: Date,
    open: Option<(u16, u16)>,
    why: &str,
    by: PersonId,
) -> Kept<bool> {
    let done = days_off::close_day(s, on, open, why, by).await?;
    s.changed("team");
    Ok(done)
}

/// It is open again on that day.
pub async fn open_day(s: &mut Scoped, on: Date) -> Kept<()> {
    days_off::open_day(s, on).await?;
    s.changed("team");
    Ok(())
}

/// Somebody is away from one instant to another; bookings made before stand until they are moved.
pub async fn note_leave(s: &mut Scoped, id: PersonId, from: OffsetDateTime, to: OffsetDateTime) -> Kept<()> {
    days_off::insert_leave(s, id, from, to).await?;
    s.changed("team");
    Ok(())
}

/// Leave is taken back; false when there is none such.
pub async fn take_back_leave(s: &mut Scoped, id: i64) -> Kept<bool> {
    let done = days_off::delete_leave(s, id).await?;
    s.changed("team");
    Ok(done)
}

/// A new station, not paired yet.
pub async fn add_station(s: &mut Scoped, name: &str, kind: &str) -> Kept<StationId> {
    let id = stations::insert(s, name, kind).await?;
    s.changed("team");
    Ok(id)
}

/// Another name or stand of a station.
pub async fn change_station(s: &mut Scoped, id: StationId, name: &str, kind: &str) -> Kept<()> {
    stations::change(s, id, name, kind).await?;
    s.changed("team");
    Ok(())
}

/// Opens pairing for ten minutes. The code is given once and kept only as its hash.
pub async fn open_pairing(s: &mut Scoped, id: StationId) -> Kept<String> {
    let code = secret::new_pairing_code();
    stations::open_pairing(s, id, &secret::token_hash(&code)).await?;
    s.changed("team");
    Ok(code)
}

/// Pairs the asking browser as this station; gives its token for the cookie. The browser before is a stranger,
/// whoever was signed in there is signed out.
pub async fn pair_here(s: &mut Scoped, id: StationId) -> Kept<String> {
    let (token, hash) = secret::new_token();
    sessions::end_all_at(s, id).await?;
    stations::pair(s, id, &hash).await?;
    s.changed("team");
    Ok(token)
}

/// A station's browser is a stranger from now on.
pub async fn revoke_station(s: &mut Scoped, id: StationId) -> Kept<()> {
    sessions::end_all_at(s, id).await?;
    stations::revoke(s, id).await?;
    s.changed("team");
    Ok(())
}

/// The salon's own rules, and how many places of each kind there are.
pub async fn change_salon(s: &mut Scoped, to: &Salon, places: &[(&str, i16)]) -> Kept<()> {
    salons::change(s, to).await?;
    for (kind, count) in places {
        hours::set_places(s, kind, *count).await?;
    }
    s.changed("team");
    s.changed("floor");
    Ok(())
}
