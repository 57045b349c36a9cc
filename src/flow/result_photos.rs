//! Photos of results: kept when the client agrees and the service has ended, erased when the agreement is taken back.

use time::Date;

use super::hair_photos::is_minor;
use crate::domain::ids::{PersonId, RunId};
use crate::store::clients::Client;
use crate::store::hair_photos::Kept;
use crate::store::{Scoped, StoreError, Stored, result_photos};

/// Why a photo was not kept.
#[derive(Debug)]
pub enum NotKept {
    /// A minor's guardian says yes.
    GuardianMissing,
    /// Six are enough.
    Enough,
    /// The service has not ended.
    UnderWay,
    Store(StoreError),
}

impl From<StoreError> for NotKept {
    fn from(e: StoreError) -> Self {
        match e {
            StoreError::Refused { rule, .. } if rule == "photo:guardian" => NotKept::GuardianMissing,
            StoreError::Refused { rule, .. } if rule == "photo:enough" => NotKept::Enough,
            StoreError::Refused { rule, .. } if rule == "photo:under-way" => NotKept::UnderWay,
            e => NotKept::Store(e),
        }
    }
}

/// Keeps a photo of what a visit of this client came to; `ended`: the service has.
///
/// # Errors
/// [`NotKept`]; nothing is to be committed then.
pub async fn keep_photo(
    s: &mut Scoped,
    client: &Client,
    (run, ended): (RunId, bool),
    photo: &Kept,
    today: Date,
) -> Result<i16, NotKept> {
    if !ended {
        return Err(NotKept::UnderWay);
    }
    if is_minor(client, today) && photo.agreed_by != "guardian" {
        return Err(NotKept::GuardianMissing);
    }
    let no = result_photos::insert(s, run, photo).await?;
    s.changed(format!("run:{run}"));
    Ok(no)
}

/// Erases a photo; false when there was none left.
///
/// # Errors
/// Those of the store.
pub async fn take_back_photo(s: &mut Scoped, run: RunId, no: i16, by: PersonId) -> Stored<bool> {
    let erased = result_photos::erase(s, run, no, by).await?;
    s.changed(format!("run:{run}"));
    Ok(erased)
}
