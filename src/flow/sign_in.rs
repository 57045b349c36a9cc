//! Signing in, and the very first salon.

use crate::app::App;
use crate::domain::access::Role;
use crate::domain::ids::{PersonId, SalonId, StationId};
use crate::secret::{self, HashError};
use crate::store::{self, StoreError, people, salons, sessions, stations};

/// Why somebody was not signed in. The words never tell which part was wrong.
#[derive(Debug)]
pub enum SignInRefused {
    /// Name or secret is wrong.
    Wrong,
    /// Too many wrong tries: seconds to wait.
    Wait(i64),
    /// Disabled after 20 wrong tries; a manager gives a new secret.
    Disabled,
}

/// What can go wrong while checking a secret.
#[derive(Debug)]
pub enum SignInFault {
    Refused(SignInRefused),
    Store(StoreError),
    Hash(HashError),
}

impl From<StoreError> for SignInFault {
    fn from(e: StoreError) -> Self {
        SignInFault::Store(e)
    }
}

/// Checks a secret: the wait and the count first, then the slow hash outside any transaction, then the count again.
pub async fn check_secret(
    app: &App,
    salon: SalonId,
    person: PersonId,
    secret: &str,
    passphrase: bool,
) -> Result<(), SignInFault> {
    let mut s = app.begin(salon).await?;
    let now = s.now().await?;
    let found = people::lock_secret(&mut s, person, passphrase).await?;
    let stored = match found {
        Some((_, _, _, true)) => return Err(SignInFault::Refused(SignInRefused::Disabled)),
        Some((_, _, Some(at), _)) if at > now => {
            return Err(SignInFault::Refused(SignInRefused::Wait((at - now).whole_seconds().max(0) + 1)));
        }
        Some((hash, _, _, _)) => hash,
        None => None,
    };
    let known = stored.is_some();
    // Counted as wrong before it is known to be right: parallel tries cannot outrun the count.
    if known {
        people::count_failure(&mut s, person).await?;
    }
    s.commit().await?;
    let short = secret.len() <= secret::SECRET_MOST;
    let right = short && app.hasher.verify(secret, stored).await.map_err(SignInFault::Hash)?;
    if !right {
        return Err(SignInFault::Refused(SignInRefused::Wrong));
    }
    let mut s = app.begin(salon).await?;
    people::clear_failures(&mut s, person).await?;
    s.commit().await?;
    Ok(())
}

/// Signs in at a station by PIN. Gives the session's token for the cookie.
pub async fn at_station(
    app: &App,
    salon: SalonId,
    station: StationId,
    person: PersonId,
    pin: &str,
) -> Result<String, SignInFault> {
    check_secret(app, salon, person, pin, false).await?;
    open(app, salon, person, Some(station)).await
}

/// Signs a manager in away from a station by passphrase.
pub async fn away(app: &App, salon: SalonId, name: &str, passphrase: &str) -> Result<String, SignInFault> {
    let mut s = app.begin(salon).await?;
    let person = people::list(&mut s)
        .await?
        .into_iter()
        .find(|p| p.name == name && p.role == Role::Manager && p.has_passphrase);
    s.commit().await?;
    let Some(person) = person else {
        // The same slow work as for a known name.
        let _ = app.hasher.verify(passphrase, None).await.map_err(SignInFault::Hash)?;
        return Err(SignInFault::Refused(SignInRefused::Wrong));
    };
    check_secret(app, salon, person.id, passphrase, true).await?;
    open(app, salon, person.id, None).await
}

async fn open(
    app: &App,
    salon: SalonId,
    person: PersonId,
    station: Option<StationId>,
) -> Result<String, SignInFault> {
    let (token, hash) = secret::new_token();
    let mut s = app.begin(salon).await?;
    sessions::open(&mut s, &hash, person, station).await?;
    s.changed("team");
    s.changed("floor");
    s.commit().await?;
    Ok(token)
}

/// Idle seconds after which a station locks.
pub const STATION_IDLE_S: f64 = 300.0;

/// Ends the sign-in of this seat.
pub async fn lock(app: &App, salon: SalonId, session_id: i64) -> Result<(), StoreError> {
    let mut s = app.begin(salon).await?;
    sessions::end(&mut s, session_id).await?;
    s.changed("team");
    // Every tab of the station covers what it shows.
    s.changed("floor");
    s.commit().await
}

/// Pairs the asking browser by a one-time code. Gives the salon and the station's token for the cookie.
pub async fn pair(app: &App, code: &str) -> Result<Option<(SalonId, String)>, StoreError> {
    let digits: String = code.chars().filter(char::is_ascii_digit).collect();
    let hash = secret::token_hash(&digits);
    let Some((salon, station)) = stations::find_pairing(&app.pool, &hash).await? else { return Ok(None) };
    Ok(Some((salon, pair_station(app, salon, station).await?)))
}

/// Gives a station a new browser.
pub async fn pair_station(app: &App, salon: SalonId, station: StationId) -> Result<String, StoreError> {
    let (token, hash) = secret::new_token();
    let mut s = app.begin(salon).await?;
    stations::pair(&mut s, station, &hash).await?;
    s.changed("team");
    s.commit().await?;
    Ok(token)
}

/// What the first-run page asks for.
pub struct Founding<'a> {
    pub salon_name: &'a str,
    pub zone: &'a str,
    pub place: &'a str,
    pub manager_name: &'a str,
    pub passphrase: &'a str,
    pub manager_pin: &'a str,
    pub station_name: &'a str,
    pub station_kind: &'a str,
    /// Who works there beside the manager: name, role, PIN; nobody where the manager works alone.
    pub first: Option<(&'a str, Role, &'a str)>,
}

/// Founds the first salon; the asking browser becomes its first station. Refused (RB009) once one exists.
pub async fn found(app: &App, f: Founding<'_>) -> Result<(SalonId, String), SignInFault> {
    let manager_hash = app.hasher.hash(f.passphrase).await.map_err(SignInFault::Hash)?;
    let (first_name, first_role, first_pin) = f.first.unwrap_or(("", Role::Stylist, ""));
    let first_pin_hash = match f.first {
        Some(_) => app.hasher.hash(first_pin).await.map_err(SignInFault::Hash)?,
        None => String::new(),
    };
    let (token, hash) = secret::new_token();
    let manager_pin_hash = app.hasher.hash(f.manager_pin).await.map_err(SignInFault::Hash)?;
    let (salon, manager, _, first) = salons::found(
        &app.pool,
        store::salons::Founding {
            salon_name: f.salon_name,
            zone: f.zone,
            place: f.place,
            manager_name: f.manager_name,
            manager_hash: &manager_hash,
            station_name: f.station_name,
            station_kind: f.station_kind,
            station_token_hash: &hash,
            first_name,
            first_role: first_role.code(),
            first_pin_hash: &first_pin_hash,
        },
    )
    .await?;
    let mut s = app.begin(salon).await?;
    people::reset_secret(&mut s, manager, false, &manager_pin_hash).await?;
    // It was founded in the browser's language: its screens go on in it.
    salons::speak(&mut s, crate::words::speaking().tag()).await?;
    // A start publishes to the salons it finds; this one came after.
    super::protocols::publish_shipped(&mut s).await?;
    // Who gives the services: the first stylist, else the manager who works alone.
    let gives = if first_role == Role::Stylist { Some(first.unwrap_or(manager)) } else { None };
    if let Some(person) = gives {
        people::set_qualifications(&mut s, person, &["thio".to_string()]).await?;
    }
    s.commit().await?;
    Ok((salon, token))
}
