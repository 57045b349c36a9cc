//! Which test would settle what the plan check found.

use super::plan::Finding;
use crate::domain::chemistry::Verdict;
use crate::domain::chemistry::family::coded;

coded! {
    /// A test on the client's hair.
    Settling {
        /// The planned product on a strand from the worst place.
        StrandTest = "strand-test", "strand test";
        /// A cutting in peroxide and ammonia, watched for heat, gas and colour.
        MetallicSaltTest = "metallic-salt-test", "metallic-salt test";
    }
}

impl Finding<'_> {
    /// The test that would settle it, now or once its wait is over; `None` where no test helps.
    pub fn settled_by(&self) -> Option<Settling> {
        let decides = if self.verdict == Verdict::Wait { self.then? } else { self.verdict };
        match decides {
            Verdict::TestFirst => Some(Settling::StrandTest),
            // Only a negative reading with no silver in the history eases it, and then to a strand test.
            Verdict::Refuse if self.rule.when_metal_tested.is_some_and(|tested| tested < Verdict::Refuse) => {
                Some(Settling::MetallicSaltTest)
            }
            _ => None,
        }
    }
}
