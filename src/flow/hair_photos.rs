//! Photos of strand tests: kept when the client agrees, erased when the agreement is taken back.

use time::Date;

use crate::domain::ids::{ClientId, HairTestId, PersonId};
use crate::store::clients::Client;
use crate::store::hair_photos::{self, Kept};
use crate::store::{Scoped, StoreError, Stored, clients, hair_tests};

use super::run_context::age_years;

/// Age from which a client agrees alone (trade-rules.md: under 18 a guardian; local law decides).
const GROWN_UP_YEARS: i32 = 18;

/// Why a photo was not kept.
#[derive(Debug)]
pub enum PhotoRefused {
    /// No strand test of this client.
    NotFound,
    /// A minor's guardian says yes.
    GuardianMissing,
    /// There is one already, or there was.
    ThereIsOne,
    Store(StoreError),
}

impl From<StoreError> for PhotoRefused {
    fn from(e: StoreError) -> Self {
        match e {
            StoreError::Refused { rule, .. } if rule == "photo:guardian" => PhotoRefused::GuardianMissing,
            StoreError::Refused { rule, .. } if rule == "hair_photo_pkey" => PhotoRefused::ThereIsOne,
            e => PhotoRefused::Store(e),
        }
    }
}

/// Too young to agree alone, as far as the record says.
#[must_use]
pub fn is_minor(client: &Client, today: Date) -> bool {
    client.born_on.is_some_and(|born| age_years(born, today) < GROWN_UP_YEARS)
}

/// Keeps the photo of a strand test of this client.
pub async fn keep_photo(
    s: &mut Scoped,
    client: &Client,
    test: HairTestId,
    photo: &Kept,
    today: Date,
) -> Result<(), PhotoRefused> {
    clients::lock(s, client.id()).await?;
    let tests = hair_tests::list_by_client(s, client.id()).await?;
    if !tests.iter().any(|t| t.hair_test_id == test.0 && t.kind == "strand") {
        return Err(PhotoRefused::NotFound);
    }
    if is_minor(client, today) && photo.agreed_by != "guardian" {
        return Err(PhotoRefused::GuardianMissing);
    }
    hair_photos::insert(s, test, photo).await?;
    s.changed(format!("client:{}", client.id()));
    Ok(())
}

/// Erases the photo; false when there was none left.
pub async fn take_back_photo(
    s: &mut Scoped,
    client: ClientId,
    test: HairTestId,
    by: PersonId,
) -> Stored<bool> {
    let erased = hair_photos::erase(s, client, test, by).await?;
    s.changed(format!("client:{client}"));
    Ok(erased)
}
