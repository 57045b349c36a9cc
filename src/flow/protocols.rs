//! Protocols of a salon: the shipped ones are published to it once, its own are never overwritten.

use sha2::{Digest, Sha256};

use crate::domain::qualification::Chemistry;
use crate::reference::{self, Reference, protocol_document};
use crate::store::protocols::{self, NewRevision, Revision};
use crate::store::{Scoped, Stored};

/// Publishes every shipped revision that this salon does not have yet.
pub async fn publish_shipped(s: &mut Scoped) -> Stored<()> {
    for (name, body) in Reference::protocol_texts() {
        // The build's own files are checked by a test; one that does not parse is not offered.
        let Ok(protocol) = reference::protocols::parse(name, body) else { continue };
        let revision = Revision {
            protocol: protocol.code.clone(),
            revision: i32::try_from(protocol.revision).unwrap_or(1),
            title: protocol.title.clone(),
            chemistry: Chemistry::of(protocol.family).code().to_string(),
            body: body.to_string(),
            fingerprint: Sha256::digest(body.as_bytes()).to_vec(),
        };
        let document = protocol_document::of(&protocol);
        protocols::insert(s, NewRevision { revision: &revision, document }).await?;
    }
    Ok(())
}
