//! Photos of incidents: kept when the client agrees, erased when the agreement is taken back.

use time::Date;

use super::hair_photos::is_minor;
use crate::domain::ids::{IncidentId, PersonId};
use crate::store::clients::Client;
use crate::store::hair_photos::Kept;
use crate::store::{Scoped, StoreError, Stored, incident_photos};

/// Why a photo was not kept.
#[derive(Debug)]
pub enum NotKept {
    /// A minor's guardian says yes.
    GuardianMissing,
    /// Six are enough.
    Enough,
    Store(StoreError),
}

impl From<StoreError> for NotKept {
    fn from(e: StoreError) -> Self {
        match e {
            StoreError::Refused { rule, .. } if rule == "photo:guardian" => NotKept::GuardianMissing,
            StoreError::Refused { rule, .. } if rule == "photo:enough" => NotKept::Enough,
            e => NotKept::Store(e),
        }
    }
}

/// Keeps a photo of an incident of this client.
///
/// # Errors
/// [`NotKept`]; nothing is to be committed then.
pub async fn keep_photo(
    s: &mut Scoped,
    client: &Client,
    incident: IncidentId,
    photo: &Kept,
    today: Date,
) -> Result<i16, NotKept> {
    if is_minor(client, today) && photo.agreed_by != "guardian" {
        return Err(NotKept::GuardianMissing);
    }
    let no = incident_photos::insert(s, incident, photo).await?;
    s.changed("incidents");
    Ok(no)
}

/// Erases a photo; false when there was none left.
///
/// # Errors
/// Those of the store.
pub async fn take_back_photo(s: &mut Scoped, incident: IncidentId, no: i16, by: PersonId) -> Stored<bool> {
    let erased = incident_photos::erase(s, incident, no, by).await?;
    s.changed("incidents");
    Ok(erased)
}
