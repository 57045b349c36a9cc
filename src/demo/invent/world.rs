//! What an invented salon works with: its people, shelf, services and days.

use std::collections::BTreeMap;

use time::{Date, Duration, OffsetDateTime};

use super::kinds::Kind;
use crate::app::App;
use crate::calendar::Zone;
use crate::domain::ids::{PersonId, SalonId, StationId};

/// A lot of each product is in use for so many days, fewer where more than a dozen work: no delivery is over 100 kg.
pub fn lot_days(staff: u32) -> i64 {
    (20 * 12 / i64::from(staff.max(1))).clamp(2, 20)
}

/// Somebody who works here.
#[derive(Clone, Debug)]
pub struct Hand {
    pub id: PersonId,
    /// May open hair: a stylist or manager.
    pub opens: bool,
    /// Treats hair at all.
    pub treats: bool,
    pub chemistries: Vec<String>,
}

/// A product as tests and sheets name it.
#[derive(Clone, Debug)]
pub struct Made {
    pub formula: i16,
    pub strength: String,
    pub name: String,
}

/// The salon that is worked in.
pub struct World {
    pub app: App,
    pub salon: SalonId,
    pub name: String,
    pub emergency_number: String,
    pub zone: Zone,
    /// Day 0 of the past that is invented.
    pub first: Date,
    /// Days from the first to today: what is before it has been, the rest is to come.
    pub today: usize,
    pub hands: Vec<Hand>,
    /// Who keeps the book.
    pub desk: PersonId,
    pub chairs: Vec<(StationId, String)>,
    pub basin: StationId,
    /// A lot is in use for so many days.
    pub lot_days: i64,
    /// Lots of each product, one after the other.
    pub lots: BTreeMap<i64, Vec<(i64, String)>>,
    pub products: BTreeMap<i64, Made>,
    pub kinds: BTreeMap<&'static str, Kind>,
}

impl World {
    /// A day by its number.
    pub fn date(&self, day: usize) -> Date {
        self.first + Duration::days(day as i64)
    }

    /// The instant of a minute of a day.
    pub fn instant(&self, day: usize, minute: u16) -> OffsetDateTime {
        self.zone.instant(self.date(day), minute)
    }

    /// The lot of a product in use on a day: number and code.
    pub fn lot(&self, product: i64, day: usize) -> (i64, &str) {
        let lots = self.lots.get(&product).map_or(&[][..], Vec::as_slice);
        let at = day / usize::try_from(self.lot_days).unwrap_or(1);
        lots.get(at.min(lots.len().saturating_sub(1))).map_or((0, ""), |(id, code)| (*id, code))
    }

    /// Who may open hair with a chemistry, beginning with one of them: places in `hands`.
    pub fn stylists(&self, chemistry: Option<&str>, usual: usize) -> Vec<usize> {
        let fits = |h: &Hand| h.opens && chemistry.is_none_or(|c| h.chemistries.iter().any(|own| own == c));
        let all: Vec<usize> = (0..self.hands.len()).filter(|i| fits(&self.hands[*i])).collect();
        let from = usual % all.len().max(1);
        all[from..].iter().chain(&all[..from]).copied().collect()
    }

    /// Who helps without opening hair.
    pub fn helpers(&self) -> Vec<usize> {
        (0..self.hands.len()).filter(|i| self.hands[*i].treats && !self.hands[*i].opens).collect()
    }
}

/// The next numbers of the tables that count.
#[derive(Clone, Copy, Debug, Default)]
pub struct Numbers {
    pub client: i64,
    pub answer: i64,
    pub consult: i64,
    pub consent: i64,
    pub reading: i64,
    pub booking: i64,
    pub skin_test: i64,
    pub hair_test: i64,
    pub plan: i64,
    pub run: i64,
    pub incident: i64,
    pub followup: i64,
}

impl Numbers {
    /// The place of a table's number.
    pub fn of(&mut self, table: &str) -> Option<&mut i64> {
        Some(match table {
            "client" => &mut self.client,
            "answer" => &mut self.answer,
            "consult" => &mut self.consult,
            "consent" => &mut self.consent,
            "hair_reading" => &mut self.reading,
            "booking" => &mut self.booking,
            "skin_test" => &mut self.skin_test,
            "hair_test" => &mut self.hair_test,
            "plan" => &mut self.plan,
            "run" => &mut self.run,
            "incident" => &mut self.incident,
            "followup" => &mut self.followup,
            _ => return None,
        })
    }
}

/// Gives the next number.
pub fn next(number: &mut i64) -> i64 {
    let given = *number;
    *number += 1;
    given
}

/// What was invented, counted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    pub clients: u64,
    /// Services given, whatever way they ended.
    pub services: u64,
    /// Visits for tests on skin, strands or cut hair.
    pub tests: u64,
    pub events: u64,
    /// Bookings of days to come.
    pub ahead: u64,
    pub missed: u64,
    pub refused: u64,
    pub incidents: u64,
}
