//! A fact as a form sends it, read into the domain's words.

use serde::Deserialize;
use time::OffsetDateTime;
use time::format_description::well_known::Rfc3339;

use crate::domain::length::Length;
use crate::domain::protocol::{Clock, HoldPoint, LookFor, Section, StepCode};
use crate::domain::run::{Comfort, CurlReading, Fact, FactId, Happened, HeadPlace, Progress, Rod, Signed};
use crate::words::Unit;

/// The fields of every kind of fact; each kind reads its own.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct FactForm {
    pub fact_id: String,
    /// RFC 3339; empty from a page without script: now.
    pub happened_at: String,
    pub kind: String,
    step: String,
    section: String,
    pass: String,
    clear: String,
    clock: String,
    comfort: String,
    place: String,
    rod: String,
    look: String,
    reading: String,
    count: String,
    first_at: String,
    last_at: String,
    mm: String,
    /// The unit its form was shown in: a kept fact may be sent by somebody who reads another.
    unit: String,
    taken_back: String,
    reason: String,
    #[serde(rename = "answer")]
    answers: Vec<String>,
}

fn need<T>(found: Option<T>, what: &str) -> Result<T, String> {
    found.ok_or_else(|| tr!("This tap lacks its {what}: load the page again.", what = what))
}

impl FactForm {
    /// The fact, by the station's clock or `now`.
    ///
    /// # Errors
    /// What is missing, in words.
    pub fn read(&self, now: OffsetDateTime) -> Result<Fact, String> {
        let fact_id = need(FactId::new(&self.fact_id), "name")?;
        let happened_at = if self.happened_at.is_empty() {
            now
        } else {
            need(OffsetDateTime::parse(&self.happened_at, &Rfc3339).ok(), "instant")?
                .to_offset(time::UtcOffset::UTC)
        };
        Ok(Fact { fact_id, happened_at, happened: self.happened()? })
    }

    fn step(&self) -> Result<StepCode, String> {
        let fine = !self.step.is_empty() && self.step.len() <= 60;
        need(fine.then(|| StepCode::from(self.step.as_str())), "step")
    }

    fn place(&self) -> Option<HeadPlace> {
        HeadPlace::from_code(&self.place)
    }

    fn happened(&self) -> Result<Happened, String> {
        Ok(match self.kind.as_str() {
            "section_started" => Happened::SectionStarted {
                step: self.step()?,
                section: need(Section::from_code(&self.section), "section")?,
                pass: need(self.pass.parse().ok(), "pass")?,
            },
            "section_rinsed" => Happened::SectionRinsed {
                step: self.step()?,
                section: Section::from_code(&self.section),
                clear: self.clear == "yes",
            },
            "bell_answered" => Happened::BellAnswered {
                step: self.step()?,
                clock: need(Clock::from_code(&self.clock), "clock")?,
                comfort: need(Comfort::from_code(&self.comfort), "answer")?,
                place: self.place(),
            },
            "test_curl_read" => self.curl()?,
            "progress_read" => self.progress()?,
            "rods_noted" => Happened::RodsNoted {
                count: need(self.count.trim().parse().ok(), tr!("number of rods"))?,
                first_at: need(HeadPlace::from_code(&self.first_at), tr!("place of the first rod"))?,
                last_at: need(HeadPlace::from_code(&self.last_at), tr!("place of the last rod"))?,
            },
            "place_rinsed" => Happened::PlaceRinsed { place: need(self.place(), "place")? },
            "sting_reported" => Happened::StingReported { place: need(self.place(), "place")? },
            "stop_recorded" => Happened::StopRecorded,
            "closing_started" => Happened::ClosingStarted { step: self.step()?, answers: self.answers()? },
            "fact_withdrawn" => Happened::FactWithdrawn {
                fact_id: need(FactId::new(&self.taken_back), tr!("fact to take back"))?,
                reason: self.reason.chars().take(500).collect(),
            },
            "trimmed" => {
                let unit = Unit::of_symbol(&self.unit).unwrap_or_default();
                Happened::Trimmed { mm: need(Length::read(&self.mm, unit).map(Length::mm), tr!("length"))? }
            }
            "comfort_noted" => Happened::ComfortNoted {
                comfort: need(Comfort::from_code(&self.comfort), "answer")?,
                place: self.place(),
            },
            _ => return Err(tr!("This is no fact of a service: load the page again.").into()),
        })
    }

    /// A test curl: the button carries "first:s".
    fn curl(&self) -> Result<Happened, String> {
        let (rod, reading) = match self.reading.split_once(':') {
            Some((rod, reading)) => (rod, reading),
            None => (self.rod.as_str(), self.reading.as_str()),
        };
        Ok(Happened::TestCurlRead {
            rod: need(Rod::from_code(rod), "rod")?,
            reading: need(CurlReading::from_code(reading), "reading")?,
        })
    }

    /// A look: the button carries "back-left:reached".
    fn progress(&self) -> Result<Happened, String> {
        let (section, reading) = match self.reading.split_once(':') {
            Some((section, reading)) => (section, reading),
            None => (self.section.as_str(), self.reading.as_str()),
        };
        Ok(Happened::ProgressRead {
            look: need(LookFor::from_code(&self.look), "look")?,
            section: need(Section::from_code(section), "section")?,
            reading: need(Progress::from_code(reading), "reading")?,
        })
    }

    /// Answers of a closing step kept without contact: "gloves:nitrile-new-pair-intact".
    fn answers(&self) -> Result<Vec<Signed>, String> {
        self.answers
            .iter()
            .take(20)
            .map(|a| {
                let (point, value) = a.split_once(':').unwrap_or((a.as_str(), ""));
                Ok(Signed {
                    hold_point: need(HoldPoint::from_code(point), "answer")?,
                    value: value.to_string(),
                    place: None,
                })
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::datetime;

    const NOW: OffsetDateTime = datetime!(2026-05-14 13:50 UTC);

    fn form(kind: &str) -> FactForm {
        FactForm {
            fact_id: "00000000-0000-4000-8000-000000000001".into(),
            kind: kind.into(),
            ..FactForm::default()
        }
    }

    #[test]
    fn a_tap_without_script_happens_now_and_with_it_when_the_station_says() {
        let mut f = FactForm {
            step: "apply-1".into(),
            section: "back-left".into(),
            pass: "1".into(),
            ..form("section_started")
        };
        assert_eq!(f.read(NOW).unwrap().happened_at, NOW);
        f.happened_at = "2026-05-14T15:49:30+02:00".into();
        assert_eq!(f.read(NOW).unwrap().happened_at, datetime!(2026-05-14 13:49:30 UTC));
        f.happened_at = "yesterday".into();
        assert!(f.read(NOW).unwrap_err().contains("instant"));
    }

    #[test]
    fn what_is_missing_is_said() {
        assert!(form("section_started").read(NOW).unwrap_err().contains("step"));
        assert!(form("sting_reported").read(NOW).unwrap_err().contains("place"));
        assert!(form("dance").read(NOW).is_err());
        let nameless = FactForm { kind: "stop_recorded".into(), ..FactForm::default() };
        assert!(nameless.read(NOW).unwrap_err().contains("name"));
        assert!(form("stop_recorded").read(NOW).is_ok());
    }

    #[test]
    fn a_curl_button_carries_rod_and_reading() {
        let f = FactForm { reading: "weakest:s".into(), ..form("test_curl_read") };
        assert_eq!(
            f.read(NOW).unwrap().happened,
            Happened::TestCurlRead { rod: Rod::Weakest, reading: CurlReading::S }
        );
    }
}
