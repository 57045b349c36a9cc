//! Having the consent signed.

use time::Date;

use crate::calendar::Zone;
use crate::domain::consult::{Weight, needs_guardian};
use crate::domain::ids::{PersonId, StationId};
use crate::flow::consults;
use crate::reference::Reference;
use crate::store::clients::Client;
use crate::store::{Scoped, Stored, consents};

/// Who signs, as far as the record and the latest consult say.
pub async fn find_needs_guardian(s: &mut Scoped, client: &Client, today: Date) -> Stored<bool> {
    if needs_guardian(client.born_on, today) {
        return Ok(true);
    }
    Ok(crate::store::consults::latest(s, client.id()).await?.is_some_and(|c| c.guardian.is_some()))
}

/// Why nothing can be signed today, in words; empty when it can. A consult comes first, and what it refuses
/// for every service is not consented to.
pub async fn find_against(
    s: &mut Scoped,
    reference: &Reference,
    client: &Client,
    (zone, least_age_years): (&Zone, u8),
    today: Date,
) -> Stored<Vec<(String, String)>> {
    let Some(findings) =
        consults::find_findings(s, reference, client, (zone, least_age_years), today, &[]).await?
    else {
        return Ok(vec![(
            tr!("No consult was read with this client yet.").to_string(),
            tr!("Read the consult first.").to_string(),
        )]);
    };
    Ok(findings
        .into_iter()
        .filter(|f| f.weight == Weight::Refuse && f.family.is_none())
        .map(|f| (f.words, f.way_out))
        .collect())
}

/// What the form came to.
pub struct Signature<'a> {
    /// Word for word as shown.
    pub words: &'a str,
    pub name: &'a str,
    pub drawing: Option<&'a [u8]>,
    pub by_guardian: bool,
}

/// Keeps a signature under the words shown.
pub async fn sign_consent(
    s: &mut Scoped,
    client: &Client,
    signature: &Signature<'_>,
    station: Option<StationId>,
    witness: PersonId,
) -> Stored<()> {
    let signed = consents::Signed {
        words: signature.words,
        name: signature.name,
        drawing: signature.drawing,
        by_guardian: signature.by_guardian,
        station,
        witness,
    };
    consents::insert(s, client.id(), &signed).await?;
    s.changed(format!("client:{}", client.client_id));
    Ok(())
}
