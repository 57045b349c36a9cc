//! From the question to the salon, the days and the service that are searched.

use super::question::{Hours, Person, Place, Question, Segment as Asked, Taken};
use crate::calc::kinds::MINUTE_MS;
use crate::calc::{BadInput, bad};
use crate::calendar::{WeekdayHours, Zone, in_reach};
use crate::domain::booking::{
    Chain, ChainFault, Grid, Hands, PatchVisit, PlaceKind, PlaceStock, Qualification, Segment, Span, Worker,
    ms_of,
};
use std::collections::BTreeMap;
use time::{Date, Duration, Weekday};

/// Most candidate starts of one question.
pub(super) const MOST_STARTS: usize = 1_000_000;

/// The salon of the question: people and places with their names beside them.
pub(super) struct Salon<'a> {
    pub(super) ids: Vec<&'a str>,
    pub(super) people: Vec<Worker>,
    person_at: BTreeMap<&'a str, usize>,
    pub(super) places: Vec<PlaceStock>,
    place_at: BTreeMap<&'a str, usize>,
}

/// The local days looked at.
pub(super) struct Days {
    pub(super) zone: Zone,
    pub(super) from: Date,
    pub(super) days: u32,
    pub(super) grid: Grid,
}

/// The refusal of a first day whose search would leave the calendar.
pub(super) fn out_of_reach() -> BadInput {
    bad("/from", "from must lie in the years 1 to 9998, to the last day")
}

impl Days {
    pub(super) fn read(question: &Question) -> Result<Self, BadInput> {
        let zone = Zone::find(&question.zone).ok_or_else(|| bad("/zone", "no such time zone"))?;
        let (from, days) = (question.from.0, question.days.0);
        let until = from.checked_add(Duration::days(days));
        let until = until.filter(|until| in_reach(*until) && in_reach(from)).ok_or_else(out_of_reach)?;
        let grid = Grid {
            first_ms: ms_of(zone.midnight(from)),
            until_ms: ms_of(zone.midnight(until)),
            step_ms: question.grid_minutes.ms,
        };
        if grid.starts() > MOST_STARTS {
            return Err(bad("/days", format!("over {MOST_STARTS} candidate starts")));
        }
        Ok(Days { zone, from, days: days as u32, grid })
    }
}

fn qualification(may: Option<&String>) -> Option<Qualification> {
    may.map(|may| Qualification(may.clone()))
}

impl<'a> Salon<'a> {
    pub(super) fn read(question: &'a Question) -> Result<Self, BadInput> {
        let mut salon = Salon {
            ids: Vec::new(),
            people: Vec::new(),
            person_at: BTreeMap::new(),
            places: Vec::new(),
            place_at: BTreeMap::new(),
        };
        for (i, Person { id, may }) in question.people.0.iter().enumerate() {
            if salon.person_at.insert(id, i).is_some() {
                return Err(bad(format!("/people/{i}/id"), "this person is listed already"));
            }
            salon.ids.push(id);
            let may = may.as_ref().map_or(&[][..], |may| &may.0).iter().cloned().map(Qualification).collect();
            salon.people.push(Worker { may, ..Worker::default() });
        }
        for (i, Place { kind, count }) in question.places.0.iter().enumerate() {
            if salon.place_at.insert(kind, i).is_some() {
                return Err(bad(format!("/places/{i}/kind"), "this kind of place is listed already"));
            }
            let kind = PlaceKind(kind.clone());
            salon.places.push(PlaceStock { kind, count: count.0 as usize, taken: Vec::new() });
        }
        Ok(salon)
    }

    fn person(&self, id: &str, at: impl Fn() -> String) -> Result<usize, BadInput> {
        self.person_at.get(id).copied().ok_or_else(|| bad(at(), "no such person is listed"))
    }

    fn place(&self, kind: &str, at: impl Fn() -> String) -> Result<usize, BadInput> {
        self.place_at.get(kind).copied().ok_or_else(|| bad(at(), "no such kind of place is listed"))
    }

    pub(super) fn read_taken(&mut self, taken: &[Taken]) -> Result<(), BadInput> {
        for (i, Taken { person, place, start, end }) in taken.iter().enumerate() {
            let at = |field: &'static str| move || format!("/taken/{i}{field}");
            let rest = i64::from(end.0.nanosecond() % 1_000_000 > 0);
            let span = Span::new(ms_of(start.0), ms_of(end.0) + rest)
                .filter(|_| start.0 < end.0)
                .ok_or_else(|| bad(at("/end")(), "end must come after start"))?;
            match (person, place) {
                (Some(person), None) => {
                    let person = self.person(person, at("/person"))?;
                    self.people[person].taken.push(span);
                }
                (None, Some(place)) => {
                    let place = self.place(place, at("/place"))?;
                    self.places[place].taken.push(span);
                }
                _ => return Err(bad(at("")(), "either a person or a place is taken")),
            }
        }
        Ok(())
    }

    pub(super) fn read_hours(&self, hours: &[Hours]) -> Result<Vec<(usize, WeekdayHours)>, BadInput> {
        let read = |(i, one): (usize, &Hours)| {
            let person = self.person(&one.person, || format!("/hours/{i}/person"))?;
            let weekday = Weekday::Monday.nth_next(one.weekday.0 as u8 - 1);
            let checked = WeekdayHours::new(weekday, one.open.0, one.close.0);
            let checked =
                checked.ok_or_else(|| bad(format!("/hours/{i}/close"), "close must come after open"))?;
            Ok((person, checked))
        };
        hours.iter().enumerate().map(read).collect()
    }

    pub(super) fn read_chain(&self, asked: &[Asked]) -> Result<Chain, BadInput> {
        let read = |(i, segment)| self.read_segment(i, segment);
        let segments = asked.iter().enumerate().map(read).collect::<Result<Vec<_>, _>>()?;
        Chain::new(segments).map_err(|fault| {
            let at = match fault {
                ChainFault::Empty => "/segments".to_owned(),
                ChainFault::Length(i) => format!("/segments/{i}/minutes"),
                ChainFault::NotEarlier(i) | ChainFault::HandsOff(i) => format!("/segments/{i}/hands/same_as"),
            };
            bad(at, fault.to_string())
        })
    }

    fn read_segment(&self, index: usize, asked: &Asked) -> Result<Segment, BadInput> {
        let hands = asked.hands.as_ref().map(|hands| Hands {
            may: qualification(hands.may.as_ref()),
            same_as: hands.same_as.map(|same_as| same_as.0 as usize),
        });
        let named = asked.places.as_ref().map_or(&[][..], |places| &places.0);
        let mut places = Vec::with_capacity(named.len());
        for (i, kind) in named.iter().enumerate() {
            self.place(kind, || format!("/segments/{index}/places/{i}"))?;
            places.push(PlaceKind(kind.clone()));
        }
        Ok(Segment { length_ms: asked.minutes.ms, hands, places })
    }
}

pub(super) fn patch_visit(question: &Question) -> Option<PatchVisit> {
    let visit = question.patch_test.as_ref()?;
    Some(PatchVisit {
        length_ms: visit.minutes.ms,
        // A cast from f64 stops at the greatest i64: centuries, so no opening.
        least_before_ms: (visit.least_hours_before.0 * 60.0 * MINUTE_MS).round() as i64,
        may: qualification(visit.may.as_ref()),
    })
}
