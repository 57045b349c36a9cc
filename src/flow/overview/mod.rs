//! What the overview has to reckon: hours that will be wanted beside those there are, and times kept.
//!
//! Reads only. Where something is merely counted, the screen asks the store itself.

pub mod hours;
pub mod times;

use time::{Date, OffsetDateTime};

use crate::calendar::Zone;
use crate::domain::overview::Week;
use crate::domain::protocol::Protocol;
use crate::store::{StoreError, Stored};

/// Whole weeks looked back on, this one among them, and weeks looked ahead.
pub const WEEKS: usize = 12;

/// A protocol that can be read, or none: one row that is broken takes its own figures away, not the whole page.
///
/// # Errors
/// Those of the store, but for the row that cannot be read.
fn readable(found: Stored<Option<Protocol>>) -> Stored<Option<Protocol>> {
    match found {
        Err(StoreError::Corrupt(table, what)) => {
            tracing::error!(table, what, "left out of the overview");
            Ok(None)
        }
        other => other,
    }
}

/// The weeks of an overview, from the salon's today.
#[derive(Clone, Debug)]
pub struct Frame {
    /// The salon's zone.
    pub zone: Zone,
    /// The database's clock.
    pub now: OffsetDateTime,
    /// The local day.
    pub today: Date,
}

impl Frame {
    /// The frame at an instant.
    #[must_use]
    pub fn at(zone: Zone, now: OffsetDateTime) -> Frame {
        let today = zone.day_of(now);
        Frame { zone, now, today }
    }

    /// The week of today.
    #[must_use]
    pub fn this_week(&self) -> Week {
        Week::of(self.today)
    }

    /// The weeks looked back on, the oldest first.
    pub fn past(&self) -> impl Iterator<Item = Week> {
        self.this_week().plus(1 - WEEKS as i64).run(WEEKS)
    }

    /// The weeks looked ahead, from the next one on.
    pub fn ahead(&self) -> impl Iterator<Item = Week> {
        self.this_week().plus(1).run(WEEKS)
    }

    /// Whether a week may be asked for: none far from those shown.
    #[must_use]
    pub fn is_near(&self, week: Week) -> bool {
        week.since(self.this_week()).abs() <= 60
    }

    /// The instants at which so many weeks begin and end.
    #[must_use]
    pub fn span(&self, from: Week, weeks: i64) -> (OffsetDateTime, OffsetDateTime) {
        (self.zone.midnight(from.monday()), self.zone.midnight(from.plus(weeks).monday()))
    }

    /// The instants of all weeks looked back on.
    #[must_use]
    pub fn past_span(&self) -> (OffsetDateTime, OffsetDateTime) {
        self.span(self.this_week().plus(1 - WEEKS as i64), WEEKS as i64)
    }
}
