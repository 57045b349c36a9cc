//! Before the salon closes: what is still under way, of whom nobody said whether they came, what went wrong without a word.

use time::{Date, OffsetDateTime};

use crate::calendar::Zone;
use crate::domain::access::Act;
use crate::store::bookings::Booking;
use crate::store::{Scoped, Stored, incidents, runs};
use crate::web::seat::Seat;

/// Something left open, and where it is ended.
pub struct Loose {
    pub href: String,
    pub words: String,
}

/// What is open at the end of a day.
#[derive(Default)]
pub struct DayEnd {
    /// Services under way.
    pub runs: Vec<Loose>,
    /// Bookings that are over, and nobody said whether the client came.
    pub unsaid: Vec<Loose>,
    /// Incidents of the day without an account, for who reads them.
    pub unwritten: Vec<Loose>,
}

impl DayEnd {
    /// Whether nothing is open.
    pub fn is_empty(&self) -> bool {
        self.runs.is_empty() && self.unsaid.is_empty() && self.unwritten.is_empty()
    }

    /// Reads what is open today.
    ///
    /// # Errors
    /// Those of the store.
    pub async fn read(
        s: &mut Scoped,
        seat: &Seat,
        zone: &Zone,
        (today, now): (Date, OffsetDateTime),
        bookings: &[Booking],
    ) -> Stored<DayEnd> {
        let under_way = runs::list_open(s).await?;
        let opened = match seat.may(Act::SeeProof) {
            true => incidents::list(s, true, None).await?,
            false => Vec::new(),
        };
        let over = |b: &&Booking| b.state == "booked" && b.purpose == "service" && b.to_at < now;
        Ok(DayEnd {
            runs: under_way
                .iter()
                .map(|r| Loose {
                    href: format!("/runs/{}", r.run_id),
                    words: tr!("{}, since {}", r.client_name, zone.clock(r.started_at)),
                })
                .collect(),
            unsaid: bookings
                .iter()
                .filter(over)
                .map(|b| Loose {
                    href: format!("/bookings/{}#outcome", b.booking_id),
                    words: tr!("{}, booked {}", b.client_name, zone.clock(b.from_at)),
                })
                .collect(),
            unwritten: opened
                .iter()
                .filter(|i| i.signs.is_none() && zone.day_of(i.opened_at) == today)
                .map(|i| Loose {
                    href: format!("/incidents/{}", i.incident_id),
                    words: format!("{}, {}", i.client_name, zone.clock(i.opened_at)),
                })
                .collect(),
        })
    }
}
