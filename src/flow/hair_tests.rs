//! Strand tests and metallic-salt tests: done, looked at, kept.

use crate::domain::hair_test::{SaltSign, TestPlace, WetStretch, salt_passed, strand_passed};
use crate::domain::ids::{ClientId, PersonId, ProductId};
use crate::store::hair_tests::{self, StrandSeen};
use crate::store::{Scoped, Stored, clients, products};

/// What a strand test showed.
#[derive(Clone, Copy, Debug)]
pub struct StrandTest {
    pub product: ProductId,
    pub place: TestPlace,
    pub minutes: f64,
    pub curl_formed: bool,
    pub wet_stretch: WetStretch,
    pub gummy: bool,
}

/// Keeps a strand test; gives whether it passed, none when there is no such product on the shelf.
pub async fn note_strand_test(
    s: &mut Scoped,
    client: ClientId,
    t: &StrandTest,
    by: PersonId,
) -> Stored<Option<bool>> {
    if products::find(s, t.product).await?.is_none_or(|p| p.retired_at.is_some()) {
        return Ok(None);
    }
    clients::lock(s, client).await?;
    let passed = strand_passed(t.curl_formed, t.wet_stretch, t.gummy);
    let seen =
        StrandSeen { curl_formed: t.curl_formed, wet_stretch: t.wet_stretch.code(), gummy: t.gummy, passed };
    hair_tests::insert_strand(s, client, t.product, (t.place.code(), t.minutes as f32), seen, by).await?;
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
