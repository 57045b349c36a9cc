//! Strands: each story can be told from its first entry to today.

use super::Checker;
use crate::domain::growth::Rate;
use crate::domain::ids::{ClientId, SalonId};
use crate::domain::strand::{Story, Strand};
use crate::store::{Scoped, StoreError, Stored, strands as store, sweep};

impl Checker {
    pub(super) async fn check_strands(&mut self, salon: SalonId) -> Stored<()> {
        let mut after = 0;
        loop {
            // A page a snapshot.
            let mut s = self.begin(salon).await?;
            let page = sweep::list_strands(&mut s, after).await?;
            let Some(last) = page.last() else { return s.commit().await };
            after = last.0;
            for client in page {
                let found = self.strand(&mut s, client).await;
                match found {
                    Ok(found) => {
                        self.report.extend(
                            found
                                .into_iter()
                                .map(|f| format!("Salon {salon}, strand of client {client}: {f}")),
                        );
                    }
                    Err(StoreError::Corrupt(table, what)) => self.report.add(format!(
                        "Salon {salon}, strand of client {client}: unreadable row in {table} ({what})."
                    )),
                    Err(other) => return Err(other),
                }
            }
            s.commit().await?;
        }
    }

    async fn strand(&self, s: &mut Scoped, client: ClientId) -> Stored<Vec<String>> {
        let mut found = Vec::new();
        let mut before = 0;
        let mut events = store::list_events(s, client).await?;
        for event in &events {
            if event.seq != before + 1 {
                found.push(format!("entry {} follows entry {before}, entries are missing.", event.seq));
            }
            before = event.seq;
        }
        let Some((length_mm, on)) = store::find_beginning(s, client).await? else { return Ok(found) };
        let today = s.now().await?.date();
        events.sort_by_key(|e| (e.on, e.seq));
        let story = Story { length_mm, on, deeds: events.iter().map(|e| (e.on, e.deed)).collect() };
        let (strand, left_out) = story.tell_what_fits(self.quickest(), today.max(on));
        found.extend(left_out.iter().map(|(n, why)| {
            let seq = events.get(*n).map_or(0, |e| e.seq);
            format!("entry {seq} does not fit what lies before it ({why:?}).")
        }));
        found.extend(seams(&strand));
        Ok(found)
    }

    /// The quickest growth published: whatever does not fit a strand that grew so does not fit any.
    fn quickest(&self) -> Rate {
        let means = self.reference.growth.means.iter().map(|m| m.rate);
        means.max_by(|a, b| a.mean.total_cmp(&b.mean)).unwrap_or(Rate { mean: 0.0, sd: 0.0 })
    }
}

/// Where the pieces do not cover the strand from scalp to tip.
fn seams(strand: &Strand) -> Vec<String> {
    let (mut found, mut at) = (Vec::new(), 0.0);
    for piece in strand.pieces() {
        if (piece.from_mm - at).abs() > 1e-6 || piece.to_mm < piece.from_mm {
            found.push(format!("a gap in its pieces at {at:.1} mm."));
        }
        at = piece.to_mm;
    }
    if (at - strand.length_mm()).abs() > 1e-6 {
        found.push(format!("its pieces end at {at:.1} of {:.1} mm.", strand.length_mm()));
    }
    found
}
