//! Feeling and measuring hair: a reading per place, and the strand's own measure.

use time::Date;

use crate::domain::growth::{Observation, Rate};
use crate::domain::ids::{ClientId, PersonId};
use crate::domain::strand::{Deed, StrandRefusal};
use crate::store::readings::{self, Record};
use crate::store::{Scoped, StoreError, clients, strands};

/// Doubt of a curl index read in the chair, standard deviation (common practice, no source).
pub const INDEX_SD: f64 = 0.1;

/// Why a reading was not kept.
#[derive(Debug)]
pub enum ReadingRefused {
    /// Far from what this hair can have grown: expected mm, days since the root met something.
    Odd {
        expected_mm: f64,
        days: i64,
        stretched_mm: f64,
    },
    /// The strand says no.
    Strand(StrandRefusal),
    Store(StoreError),
}

impl From<StoreError> for ReadingRefused {
    fn from(e: StoreError) -> Self {
        ReadingRefused::Store(e)
    }
}

/// What is to be kept.
#[derive(Clone, Debug)]
pub struct Reading {
    pub record: Record,
    /// Stretched ÷ natural length, for a reading of hair as it lies.
    pub curl_index: Option<f64>,
    /// Said again after it was questioned.
    pub confirmed: bool,
}

/// New growth as stretched hair, with its standard deviation: as read, or natural × curl index with the doubt
/// of both (2-domain.md, Regrowth).
pub fn stretched(reading: &Reading, days: f64) -> Option<Observation> {
    let (mm, sd) = (f64::from(reading.record.new_growth_mm?), f64::from(reading.record.sd_mm?));
    match reading.curl_index.filter(|_| reading.record.read_natural) {
        Some(index) => Some(Observation::natural(days, (mm, sd), (index, INDEX_SD))),
        None => Some(Observation { days, mm, sd_mm: sd }),
    }
}

/// Keeps a reading. New growth of the whole head re-anchors the strand; that of one place stands beside it.
/// One that growth does not explain is asked about first and kept, marked, when it is said again.
pub async fn note_reading(
    s: &mut Scoped,
    client: ClientId,
    by: PersonId,
    today: Date,
    rate: Rate,
    mut reading: Reading,
) -> Result<(), ReadingRefused> {
    clients::lock(s, client).await?;
    if let Some((story, _)) = strands::find_story(s, client).await?
        && let Some(met_on) = story.root_met_on()
    {
        let days = (today - met_on).whole_days();
        if let Some(seen) = stretched(&reading, days as f64) {
            let odd = days < 1 || rate.questions(&seen);
            if odd && !reading.confirmed {
                let expected_mm = rate.mean * days as f64;
                return Err(ReadingRefused::Odd { expected_mm, days, stretched_mm: seen.mm });
            }
            reading.record.confirmed_odd = odd;
            if reading.record.place == "whole" {
                let deed = Deed::Measure { mm: seen.mm, sd_mm: seen.sd_mm };
                let mut told = story;
                told.deeds.push((today, deed));
                told.tell(rate, today).map_err(|(_, why)| ReadingRefused::Strand(why))?;
                strands::append(s, client, (today, &deed), None, Some(by)).await?;
            }
        }
    }
    if let Some(index) = reading.curl_index {
        clients::set_curl_index(s, client, index as f32, Some(INDEX_SD as f32)).await?;
    }
    readings::insert(s, client, by, &reading.record).await?;
    s.changed(format!("client:{client}"));
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    // 2-domain.md, Regrowth: m = n·c, s² = (c·s_n)² + (n·s_c)². By hand: 20 × 1.5 = 30; √((1.5·2)² + (20·0.1)²) = √13.
    #[test]
    fn hair_as_it_lies_is_stretched_with_the_doubt_of_both() {
        let record = Record {
            place: "whole",
            new_growth_mm: Some(20.0),
            sd_mm: Some(2.0),
            read_natural: true,
            ..Record::default()
        };
        let natural = Reading { record, curl_index: Some(1.5), confirmed: false };
        let seen = stretched(&natural, 90.0).unwrap();
        assert!((seen.mm - 30.0).abs() < 1e-9 && (seen.sd_mm - 13f64.sqrt()).abs() < 1e-9);
        let read = Reading { record: Record { read_natural: false, ..natural.record }, ..natural };
        assert!((stretched(&read, 90.0).unwrap().mm - 20.0).abs() < 1e-9);
    }
}
