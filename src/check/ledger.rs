//! The salon's ledger and the book of acts on whole records: each its own chain, and that it says of each run what the run's record says.

use super::Checker;
use crate::domain::ids::SalonId;
use crate::store::{Stored, proof, record_acts, sweep};

impl Checker {
    pub(super) async fn check_ledger(&mut self, salon: SalonId) -> Stored<()> {
        let mut s = self.begin(salon).await?;
        let (mut after, mut head) = (0, Vec::new());
        loop {
            let lines = proof::list_ledger(&mut s, after).await?;
            if lines.is_empty() {
                break;
            }
            for line in lines {
                let place = format!("Salon {salon}, ledger line {} (run {})", line.ledger_seq, line.run_id);
                if line.ledger_seq != after + 1 {
                    self.report.add(format!("{place}: the line before it is {after}, lines are missing."));
                } else if line.prev_hash != head {
                    self.report.add(format!("{place}: it does not follow from the line before it."));
                }
                if !line.holds(salon) {
                    self.report.add(format!("{place}: its words do not give its hash."));
                }
                after = line.ledger_seq;
                head = line.hash;
            }
        }
        for (run, seq) in sweep::list_ledger_misfits(&mut s).await? {
            self.report.add(format!(
                "Salon {salon}, run {run}: the ledger says it ended with event {seq}, and its record does not."
            ));
        }
        s.commit().await
    }

    /// What was done with whole records: its chain, and that each erasure's lines are those it is bound to.
    pub(super) async fn check_record_acts(&mut self, salon: SalonId) -> Stored<()> {
        let mut s = self.begin(salon).await?;
        let (mut after, mut head) = (0, Vec::new());
        loop {
            let lines = record_acts::list_after(&mut s, after).await?;
            if lines.is_empty() {
                break;
            }
            for line in lines {
                let place = format!("Salon {salon}, line {} of the book of records", line.act_seq);
                if line.act_seq != after + 1 {
                    self.report.add(format!("{place}: the line before it is {after}, lines are missing."));
                } else if line.prev_hash != head {
                    self.report.add(format!("{place}: it does not follow from the line before it."));
                }
                if !line.holds(salon) {
                    self.report.add(format!("{place}: its words do not give its hash."));
                }
                after = line.act_seq;
                head = line.hash;
            }
        }
        for seq in record_acts::list_erasure_misfits(&mut s).await? {
            self.report.add(format!(
                "Salon {salon}, line {seq} of the book of records: the lines whose words were erased are not those it says."
            ));
        }
        s.commit().await
    }
}
