//! Entering products, their sheets' times, new formulas.

use time::Date;

use super::lots::{self, LotRefused};
use crate::app::App;
use crate::domain::ids::{PersonId, ProductId};
use crate::store::products::{self, Record, Times};
use crate::store::{Scoped, StoreError, Stored};

/// Why a product was not kept.
#[derive(Debug)]
pub enum ProductRefused {
    /// Another product has this name.
    NameTaken,
    /// Another product has this number.
    GtinTaken,
    /// Somebody changed it since the form was opened.
    Stale,
    Store(StoreError),
}

impl From<StoreError> for ProductRefused {
    fn from(e: StoreError) -> Self {
        match e {
            StoreError::Refused { rule, .. } if rule == "product_name_unique" => ProductRefused::NameTaken,
            StoreError::Refused { rule, .. } if rule == "product_gtin_unique" => ProductRefused::GtinTaken,
            e => ProductRefused::Store(e),
        }
    }
}

/// Enters a product.
pub async fn enter_product(s: &mut Scoped, record: &Record) -> Result<ProductId, ProductRefused> {
    let id = products::insert(s, record).await?;
    s.changed("shelf");
    Ok(id)
}

/// Changes a product; lots that its contents now bring outside the law are put apart. A new formula voids its patch tests and strand tests; a changed name, form, strength or
/// content is one, whatever the form said (the database counts it on).
pub async fn change_product(
    s: &mut Scoped,
    app: &App,
    (id, version): (ProductId, i32),
    record: &Record,
    new_formula: bool,
    (by, today): (PersonId, Date),
) -> Result<(), ProductRefused> {
    if !products::update(s, id, version, record, new_formula).await? {
        return Err(ProductRefused::Stale);
    }
    if let Some(product) = products::find(s, id).await? {
        lots::judge_lots_of(s, app, &product, today, by).await.map_err(|why| match why {
            LotRefused::Store(e) => ProductRefused::Store(e),
            // Quarantine takes any lot.
            other => ProductRefused::Store(StoreError::Corrupt("lot", format!("{other:?}"))),
        })?;
    }
    s.changed("shelf");
    Ok(())
}

/// Enters the sheet's minutes of one clock.
pub async fn enter_times(s: &mut Scoped, id: ProductId, times: &Times, by: PersonId) -> Stored<()> {
    products::set_times(s, id, times, by).await?;
    s.changed("shelf");
    Ok(())
}

/// Puts a product away, or takes it up again.
pub async fn retire_product(s: &mut Scoped, id: ProductId, retired: bool) -> Stored<()> {
    products::set_retired(s, id, retired).await?;
    s.changed("shelf");
    Ok(())
}
