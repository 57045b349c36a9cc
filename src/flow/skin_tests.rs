//! Patch tests: placed, taken off, told, read.

use time::{Date, OffsetDateTime};

use crate::domain::chemistry::family::Family;
use crate::domain::ids::{ClientId, LotId, PersonId, ProductId, SkinTestId};
use crate::domain::skin_test::{Outcome, SkinPlace, is_never_left_on_skin, readable_from, reading_refused};
use crate::store::{Scoped, StoreError, clients, lots, products, skin_tests};

/// Why an act on a patch test was refused.
#[derive(Debug)]
pub enum SkinTestRefused {
    /// Never left on skin; or its sheet gives another test.
    NeverOnSkin {
        product: String,
        by_sheet: bool,
    },
    /// No such product on the shelf, or it was put away.
    NoProduct,
    /// The lot is not of this product, out of date or withdrawn.
    LotNotUsable,
    /// No such test of this client.
    NotFound,
    /// It was read already, or taken off already: nothing is changed.
    Settled,
    /// "No reaction" is read from here on.
    TooEarly {
        from: OffsetDateTime,
    },
    Store(StoreError),
}

impl From<StoreError> for SkinTestRefused {
    fn from(e: StoreError) -> Self {
        match e {
            // The lot was put apart or taken out of use meanwhile.
            StoreError::Refused { rule, .. } if rule.starts_with("lot:") => SkinTestRefused::LotNotUsable,
            StoreError::Refused { code, .. } if code == "RB005" => SkinTestRefused::Settled,
            e => SkinTestRefused::Store(e),
        }
    }
}

/// Places a patch test now.
pub async fn place_skin_test(
    s: &mut Scoped,
    client: ClientId,
    (product, lot): (ProductId, LotId),
    place: SkinPlace,
    today: Date,
    by: PersonId,
) -> Result<SkinTestId, SkinTestRefused> {
    let found = products::find(s, product).await?.filter(|p| p.retired_at.is_none());
    let found = found.ok_or(SkinTestRefused::NoProduct)?;
    let never = Family::from_code(&found.family).is_none_or(is_never_left_on_skin);
    if never || found.skin_test != "patch" {
        return Err(SkinTestRefused::NeverOnSkin { product: found.name, by_sheet: !never });
    }
    let of_product = |l: &lots::Lot| l.product_id == product.0 && l.usable_on(today);
    lots::find(s, lot).await?.filter(of_product).ok_or(SkinTestRefused::LotNotUsable)?;
    clients::lock(s, client).await?;
    let id = skin_tests::insert(s, client, (product, lot), place.code(), by).await?;
    s.changed(format!("client:{client}"));
    Ok(id)
}

async fn open_test(
    s: &mut Scoped,
    client: ClientId,
    id: SkinTestId,
) -> Result<(OffsetDateTime, bool, bool), SkinTestRefused> {
    clients::lock(s, client).await?;
    skin_tests::lock(s, client, id).await?.ok_or(SkinTestRefused::NotFound)
}

/// Taken off the skin now.
pub async fn take_off_skin_test(
    s: &mut Scoped,
    client: ClientId,
    id: SkinTestId,
    by: PersonId,
) -> Result<(), SkinTestRefused> {
    let (_, off, read) = open_test(s, client, id).await?;
    if off || read {
        return Err(SkinTestRefused::Settled);
    }
    skin_tests::take_off(s, id, by).await?;
    s.changed(format!("client:{client}"));
    Ok(())
}

/// Notes what the client told by phone or photo. It never opens a step; a reaction told stands for good.
pub async fn note_told_outcome(
    s: &mut Scoped,
    client: ClientId,
    id: SkinTestId,
    outcome: Outcome,
) -> Result<(), SkinTestRefused> {
    open_test(s, client, id).await?;
    skin_tests::note_told(s, id, outcome.code()).await?;
    s.changed(format!("client:{client}"));
    Ok(())
}

/// Keeps what was seen in the chair.
pub async fn read_skin_test(
    s: &mut Scoped,
    client: ClientId,
    id: SkinTestId,
    outcome: Outcome,
    by: PersonId,
) -> Result<(), SkinTestRefused> {
    let (placed_at, _, read) = open_test(s, client, id).await?;
    if read {
        return Err(SkinTestRefused::Settled);
    }
    let now = s.now().await?;
    if reading_refused(outcome, placed_at, now) {
        return Err(SkinTestRefused::TooEarly { from: readable_from(placed_at) });
    }
    skin_tests::read(s, id, outcome.code(), by).await?;
    s.changed(format!("client:{client}"));
    Ok(())
}
