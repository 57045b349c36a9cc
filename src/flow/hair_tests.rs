//! Strand tests and metallic-salt tests: done, looked at, kept.

use crate::domain::hair_test::{SaltSign, TestPlace, WetStretch, salt_passed, strand_passed};
use crate::domain::ids::{ClientId, LotId, PersonId, ProductId};
use crate::store::hair_tests::{self, StrandSeen};
use crate::store::{Scoped, Stored, clients, lots, products};
use time::Date;

/// What a strand test showed.
#[derive(Clone, Copy, Debug)]
pub struct StrandTest {
    pub product: ProductId,
    /// The lot it was made with, where the shelf has one.
    pub lot: Option<LotId>,
    pub place: TestPlace,
    pub minutes: f64,
    pub curl_formed: bool,
    pub wet_stretch: WetStretch,
    pub gummy: bool,
}

/// Keeps a strand test; gives whether it passed, none when there is no such product or lot in use on the shelf.
pub async fn note_strand_test(
    s: &mut Scoped,
    client: ClientId,
    t: &StrandTest,
    today: Date,
    by: PersonId,
) -> Stored<Option<bool>> {
    if products::find(s, t.product).await?.is_none_or(|p| p.retired_at.is_some()) {
        return Ok(None);
    }
    if let Some(lot) = t.lot {
        let fits = |l: &lots::Lot| l.product_id == t.product.0 && l.usable_on(today);
        if !lots::find(s, lot).await?.as_ref().is_some_and(fits) {
            return Ok(None);
        }
    }
    clients::lock(s, client).await?;
    let passed = strand_passed(t.curl_formed, t.wet_stretch, t.gummy);
    let seen =
        StrandSeen { curl_formed: t.curl_formed, wet_stretch: t.wet_stretch.code(), gummy: t.gummy, passed };
    hair_tests::insert_strand(s, client, (t.product, t.lot), (t.place.code(), t.minutes as f32), seen, by)
        .await?;
    s.changed(format!("client:{client}"));
    Ok(Some(passed))
}

/// Keeps a metallic-salt test; gives whether it read negative.
pub async fn note_salt_test(
    s: &mut Scoped,
    client: ClientId,
    (place, minutes): (TestPlace, f64),
    sign: SaltSign,
    by: PersonId,
) -> Stored<bool> {
    clients::lock(s, client).await?;
    let passed = salt_passed(sign);
    hair_tests::insert_metal(s, client, (place.code(), minutes as f32), (sign.code(), passed), by).await?;
    s.changed(format!("client:{client}"));
    Ok(passed)
}
