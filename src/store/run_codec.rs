//! How events of a run are written into columns and read back. Version 1 of every kind.

use serde_json::{Value, json};

use super::{StoreError, Stored};
use crate::domain::ids::{LotId, PersonId, StationId};
use crate::domain::protocol::{Clock, HoldPoint, LookFor, Section, StepCode};
use crate::domain::run::{
    Comfort, CurlReading, EventKind, FactId, Granted, Happened, HeadPlace, Progress, Rod, Signed,
};

fn place(p: Option<HeadPlace>) -> Value {
    p.map_or(Value::Null, |p| Value::from(p.code()))
}

fn signed(s: &Signed) -> Value {
    json!({"hold_point": s.hold_point.code(), "value": s.value, "place": place(s.place)})
}

/// The `data` column of an event.
pub fn data_of(kind: &EventKind) -> Value {
    match kind {
        EventKind::Granted(granted) => granted_data(granted),
        EventKind::Happened(happened) => happened_data(happened),
    }
}

fn granted_data(granted: &Granted) -> Value {
    match granted {
        Granted::RunStarted { stylist } => json!({"stylist": stylist.0}),
        Granted::HoldPointSigned { signed, .. } => {
            json!({"value": signed.value, "place": place(signed.place)})
        }
        Granted::StepStarted { .. } | Granted::StepFinished { .. } | Granted::HandoverAccepted => json!({}),
        Granted::LotDispensed { application, lot, grams } => {
            json!({"application": application.to_string(), "lot_id": lot.0, "grams": grams})
        }
        Granted::HandoverOffered { to } => json!({"to": to.0}),
        Granted::StopRead { whole } => json!({"whole": whole}),
        Granted::StopClosed { reason } => json!({"reason": reason}),
        Granted::RunFinished { stopped } => json!({"how": if *stopped { "stopped" } else { "finished" }}),
        Granted::RunLeft { rinsed, reason } => json!({"rinsed": rinsed, "reason": reason}),
        Granted::StationArmed { station } => json!({"station": station.0}),
        Granted::HandsNamed { person } => json!({"person": person.0}),
        Granted::PermissionWithdrawn { seq, reason } => json!({"seq": seq, "reason": reason}),
    }
}

fn happened_data(happened: &Happened) -> Value {
    match happened {
        Happened::SectionStarted { section, pass, .. } => json!({"section": section.code(), "pass": pass}),
        Happened::SectionRinsed { section, clear, .. } => {
            json!({"section": section.map(Section::code), "clear": clear})
        }
        Happened::BellAnswered { clock, comfort, place: at, .. } => {
            json!({"clock": clock.code(), "comfort": comfort.code(), "place": place(*at)})
        }
        Happened::TestCurlRead { rod, reading } => json!({"rod": rod.code(), "reading": reading.code()}),
        Happened::ProgressRead { look, section, reading } => {
            json!({"look": look.code(), "section": section.code(), "reading": reading.code()})
        }
        Happened::RodsNoted { count, first_at, last_at } => {
            json!({"count": count, "first_at": first_at.code(), "last_at": last_at.code()})
        }
        Happened::PlaceRinsed { place } => json!({"place": place.code()}),
        Happened::StingReported { place } => json!({"place": place.code()}),
        Happened::StopRecorded => json!({}),
        Happened::ClosingStarted { answers, .. } => {
            json!({"answers": answers.iter().map(signed).collect::<Vec<_>>()})
        }
        Happened::FactWithdrawn { fact_id, reason } => {
            json!({"fact_id": fact_id.to_string(), "reason": reason})
        }
        Happened::Trimmed { mm } => json!({"mm": mm}),
        Happened::ComfortNoted { comfort, place: at } => {
            json!({"comfort": comfort.code(), "place": place(*at)})
        }
    }
}

/// What is read from a row: kind, step, hold point and data.
pub struct Parts<'a> {
    pub kind: &'a str,
    pub step: Option<&'a str>,
    pub hold_point: Option<&'a str>,
    pub data: &'a Value,
}

impl Parts<'_> {
    fn corrupt(&self, what: &str) -> StoreError {
        StoreError::Corrupt("run_event", format!("{} without {what}", self.kind))
    }

    fn step(&self) -> Stored<StepCode> {
        self.step.map(StepCode::from).ok_or_else(|| self.corrupt("step"))
    }

    fn int(&self, key: &str) -> Stored<i64> {
        self.data[key].as_i64().ok_or_else(|| self.corrupt(key))
    }

    fn number(&self, key: &str) -> Stored<f64> {
        self.data[key].as_f64().ok_or_else(|| self.corrupt(key))
    }

    fn flag(&self, key: &str) -> Stored<bool> {
        self.data[key].as_bool().ok_or_else(|| self.corrupt(key))
    }

    fn text(&self, key: &str) -> Stored<&str> {
        self.data[key].as_str().ok_or_else(|| self.corrupt(key))
    }

    fn code<T>(&self, key: &str, read: impl Fn(&str) -> Option<T>) -> Stored<T> {
        read(self.text(key)?).ok_or_else(|| self.corrupt(key))
    }

    fn place(&self) -> Stored<Option<HeadPlace>> {
        match &self.data["place"] {
            Value::Null => Ok(None),
            _ => self.code("place", HeadPlace::from_code).map(Some),
        }
    }

    fn answers(&self) -> Stored<Vec<Signed>> {
        let list = self.data["answers"].as_array().ok_or_else(|| self.corrupt("answers"))?;
        list.iter()
            .map(|a| {
                let hold_point = a["hold_point"].as_str().and_then(HoldPoint::from_code);
                Ok(Signed {
                    hold_point: hold_point.ok_or_else(|| self.corrupt("answers"))?,
                    value: a["value"].as_str().ok_or_else(|| self.corrupt("answers"))?.to_string(),
                    place: a["place"].as_str().and_then(HeadPlace::from_code),
                })
            })
            .collect()
    }

    /// The event's kind, whole.
    ///
    /// # Errors
    /// `Corrupt` when the row cannot be one of ours.
    pub fn read(&self) -> Stored<EventKind> {
        match self.read_happened()? {
            Some(happened) => Ok(EventKind::Happened(happened)),
            None => self.read_granted().map(EventKind::Granted),
        }
    }

    fn read_granted(&self) -> Stored<Granted> {
        Ok(match self.kind {
            "run_started" => Granted::RunStarted { stylist: PersonId(self.int("stylist")?) },
            "hold_point_signed" => Granted::HoldPointSigned {
                step: self.step()?,
                signed: Signed {
                    hold_point: self
                        .hold_point
                        .and_then(HoldPoint::from_code)
                        .ok_or_else(|| self.corrupt("hold point"))?,
                    value: self.text("value")?.to_string(),
                    place: self.place()?,
                },
            },
            "step_started" => Granted::StepStarted { step: self.step()? },
            "step_finished" => Granted::StepFinished { step: self.step()? },
            "lot_dispensed" => Granted::LotDispensed {
                application: self
                    .text("application")?
                    .chars()
                    .next()
                    .ok_or_else(|| self.corrupt("application"))?,
                lot: LotId(self.int("lot_id")?),
                grams: self.number("grams")?,
            },
            "handover_offered" => Granted::HandoverOffered { to: PersonId(self.int("to")?) },
            "handover_accepted" => Granted::HandoverAccepted,
            "stop_read" => Granted::StopRead { whole: self.flag("whole")? },
            "stop_closed" => Granted::StopClosed { reason: self.text("reason")?.to_string() },
            "run_finished" => Granted::RunFinished { stopped: self.text("how")? == "stopped" },
            "run_left" => {
                Granted::RunLeft { rinsed: self.flag("rinsed")?, reason: self.text("reason")?.to_string() }
            }
            "station_armed" => Granted::StationArmed { station: StationId(self.int("station")?) },
            "hands_named" => Granted::HandsNamed { person: PersonId(self.int("person")?) },
            "permission_withdrawn" => Granted::PermissionWithdrawn {
                seq: self.int("seq")?,
                reason: self.text("reason")?.to_string(),
            },
            other => return Err(StoreError::Corrupt("run_event", other.to_string())),
        })
    }

    fn read_happened(&self) -> Stored<Option<Happened>> {
        Ok(Some(match self.kind {
            "section_started" => Happened::SectionStarted {
                step: self.step()?,
                section: self.code("section", Section::from_code)?,
                pass: u8::try_from(self.int("pass")?).map_err(|_| self.corrupt("pass"))?,
            },
            "section_rinsed" => Happened::SectionRinsed {
                step: self.step()?,
                section: match &self.data["section"] {
                    Value::Null => None,
                    _ => Some(self.code("section", Section::from_code)?),
                },
                clear: self.flag("clear")?,
            },
            "bell_answered" => Happened::BellAnswered {
                step: self.step()?,
                clock: self.code("clock", Clock::from_code)?,
                comfort: self.code("comfort", Comfort::from_code)?,
                place: self.place()?,
            },
            "test_curl_read" => Happened::TestCurlRead {
                rod: self.code("rod", Rod::from_code)?,
                reading: self.code("reading", CurlReading::from_code)?,
            },
            "progress_read" => Happened::ProgressRead {
                look: self.code("look", LookFor::from_code)?,
                section: self.code("section", Section::from_code)?,
                reading: self.code("reading", Progress::from_code)?,
            },
            "rods_noted" => Happened::RodsNoted {
                count: u16::try_from(self.int("count")?).map_err(|_| self.corrupt("count"))?,
                first_at: self.code("first_at", HeadPlace::from_code)?,
                last_at: self.code("last_at", HeadPlace::from_code)?,
            },
            "place_rinsed" => Happened::PlaceRinsed { place: self.code("place", HeadPlace::from_code)? },
            "sting_reported" => Happened::StingReported { place: self.code("place", HeadPlace::from_code)? },
            "stop_recorded" => Happened::StopRecorded,
            "closing_started" => Happened::ClosingStarted { step: self.step()?, answers: self.answers()? },
            "fact_withdrawn" => Happened::FactWithdrawn {
                fact_id: self.code("fact_id", FactId::new)?,
                reason: self.text("reason")?.to_string(),
            },
            "trimmed" => Happened::Trimmed { mm: self.number("mm")? },
            "comfort_noted" => Happened::ComfortNoted {
                comfort: self.code("comfort", Comfort::from_code)?,
                place: self.place()?,
            },
            _ => return Ok(None),
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_is_read_back_as_written() {
        let step = || StepCode::from("apply-1");
        let signed =
            || Signed { hold_point: HoldPoint::Scalp, value: "red".into(), place: Some(HeadPlace::Nape) };
        let kinds = [
            EventKind::Granted(Granted::RunStarted { stylist: PersonId(4) }),
            EventKind::Granted(Granted::HoldPointSigned { step: step(), signed: signed() }),
            EventKind::Granted(Granted::StepStarted { step: step() }),
            EventKind::Granted(Granted::StepFinished { step: step() }),
            EventKind::Granted(Granted::LotDispensed { application: 'A', lot: LotId(7), grams: 62.5 }),
            EventKind::Granted(Granted::HandoverOffered { to: PersonId(5) }),
            EventKind::Granted(Granted::HandoverAccepted),
            EventKind::Granted(Granted::StopRead { whole: false }),
            EventKind::Granted(Granted::StopClosed { reason: "looked".into() }),
            EventKind::Granted(Granted::RunFinished { stopped: true }),
            EventKind::Granted(Granted::RunLeft { rinsed: true, reason: "had to go".into() }),
            EventKind::Granted(Granted::StationArmed { station: StationId(2) }),
            EventKind::Granted(Granted::HandsNamed { person: PersonId(3) }),
            EventKind::Granted(Granted::PermissionWithdrawn { seq: 9, reason: "wrong tap".into() }),
            EventKind::Happened(Happened::SectionStarted {
                step: step(),
                section: Section::BackLeft,
                pass: 2,
            }),
            EventKind::Happened(Happened::SectionRinsed { step: step(), section: None, clear: true }),
            EventKind::Happened(Happened::SectionRinsed {
                step: step(),
                section: Some(Section::BackLeft),
                clear: false,
            }),
            EventKind::Happened(Happened::BellAnswered {
                step: step(),
                clock: Clock::Exposure,
                comfort: Comfort::Stings,
                place: Some(HeadPlace::Quadrant(Section::FrontLeft)),
            }),
            EventKind::Happened(Happened::TestCurlRead { rod: Rod::Weakest, reading: CurlReading::S }),
            EventKind::Happened(Happened::ProgressRead {
                look: LookFor::CombBack,
                section: Section::LeftNape,
                reading: Progress::Reached,
            }),
            EventKind::Happened(Happened::RodsNoted {
                count: 64,
                first_at: HeadPlace::Nape,
                last_at: HeadPlace::Crown,
            }),
            EventKind::Happened(Happened::PlaceRinsed { place: HeadPlace::Hairline }),
            EventKind::Happened(Happened::StingReported { place: HeadPlace::Eye }),
            EventKind::Happened(Happened::StopRecorded),
            EventKind::Happened(Happened::ClosingStarted { step: step(), answers: vec![signed()] }),
            EventKind::Happened(Happened::FactWithdrawn {
                fact_id: FactId(12),
                reason: "wrong quadrant".into(),
            }),
            EventKind::Happened(Happened::Trimmed { mm: 12.5 }),
            EventKind::Happened(Happened::ComfortNoted { comfort: Comfort::Warm, place: None }),
        ];
        for kind in kinds {
            let (data, code) = (data_of(&kind), kind.code());
            let parts = Parts {
                kind: code,
                step: kind.step().map(StepCode::as_str),
                hold_point: kind.hold_point().map(HoldPoint::code),
                data: &data,
            };
            assert_eq!(parts.read().unwrap(), kind, "{code}");
        }
    }
}
