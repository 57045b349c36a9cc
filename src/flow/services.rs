//! What this salon gives, by name: titles as its newest revisions have them, and what is still offered.

use crate::reference::Reference;
use crate::store::protocols::{self, Heading};
use crate::store::{Scoped, Stored};
use crate::words;

/// Every service and test visit that the salon has, by title.
pub struct Services(Vec<Heading>);

impl Services {
    /// Reads them; what this build ships and the salon has not got yet is as shipped.
    ///
    /// # Errors
    /// Those of the store.
    pub async fn load(s: &mut Scoped, reference: &Reference) -> Stored<Services> {
        let mut all = protocols::list_headings(s).await?;
        for p in &reference.protocols {
            if !all.iter().any(|h| h.protocol == p.code) {
                all.push(Heading { protocol: p.code.clone(), title: p.title.clone(), retired: false });
            }
        }
        all.sort_by(|a, b| a.title.cmp(&b.title));
        Ok(Services(all))
    }

    /// What the salon calls it, offered or not; the code itself where it has none such.
    #[must_use]
    pub fn title<'a>(&'a self, code: &'a str) -> &'a str {
        self.0.iter().find(|h| h.protocol == code).map_or(code, |h| words::of(&h.title))
    }

    /// Code and title of what may be booked and planned.
    pub fn offered(&self) -> impl Iterator<Item = (&str, &str)> {
        self.0.iter().filter(|h| !h.retired).map(|h| (h.protocol.as_str(), words::of(&h.title)))
    }

    /// The salon has it, offered or not.
    #[must_use]
    pub fn has(&self, code: &str) -> bool {
        self.0.iter().any(|h| h.protocol == code)
    }

    /// It may be booked and planned.
    #[must_use]
    pub fn is_offered(&self, code: &str) -> bool {
        self.offered().any(|(c, _)| c == code)
    }
}
