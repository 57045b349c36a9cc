//! Lots coming in, opened, taken out of use.

use time::Date;

use crate::domain::ids::{LotId, ProductId};
use crate::store::lots::{self, Received};
use crate::store::{Scoped, StoreError, Stored};

/// Why a lot was not kept.
#[derive(Debug)]
pub enum LotRefused {
    /// This product has a lot of this code.
    CodeTaken,
    Store(StoreError),
}

impl From<StoreError> for LotRefused {
    fn from(e: StoreError) -> Self {
        match e {
            StoreError::Refused { rule, .. } if rule == "lot_code_unique" => LotRefused::CodeTaken,
            e => LotRefused::Store(e),
        }
    }
}

/// Books a lot in.
pub async fn receive_lot(s: &mut Scoped, product: ProductId, lot: &Received) -> Result<LotId, LotRefused> {
    let id = lots::insert(s, product, lot).await?;
    s.changed("shelf");
    Ok(id)
}

/// Opened today; the first opening counts.
pub async fn open_lot(s: &mut Scoped, id: LotId, today: Date) -> Stored<()> {
    lots::open(s, id, today).await?;
    s.changed("shelf");
    Ok(())
}

/// Takes a lot out of use, for good.
pub async fn withdraw_lot(s: &mut Scoped, id: LotId) -> Stored<()> {
    lots::withdraw(s, id).await?;
    s.changed("shelf");
    Ok(())
}
