//! Reading the salon, the days and the service of a question.

use std::collections::BTreeMap;

use time::{Date, Duration, Weekday};

use crate::calc::{BadInput, Fields, MOST_ITEMS, Node};
use crate::calendar::{WeekdayHours, Zone, in_reach};
use crate::domain::booking::{
    Chain, ChainFault, Grid, Hands, PatchVisit, PlaceKind, PlaceStock, Qualification, Segment, Span, Worker,
    ms_of,
};

const MINUTE_MS: f64 = 60_000.0;
/// The longest patch-test visit and grid step, minutes: a year.
const LONGEST_MIN: f64 = 366.0 * 24.0 * 60.0;
/// Most days of one question: ten years.
const MOST_DAYS: i64 = 3_660;
/// Most candidate starts of one question.
const MOST_STARTS: usize = 1_000_000;
/// Most places one segment occupies.
const MOST_PLACES_AT_ONCE: usize = 64;
/// The salon of the question: people and places with their names beside them.
pub(super) struct Salon<'a> {
    pub(super) ids: Vec<&'a str>,
    pub(super) people: Vec<Worker>,
    pub(super) person_at: BTreeMap<&'a str, usize>,
    pub(super) places: Vec<PlaceStock>,
    pub(super) place_at: BTreeMap<&'a str, usize>,
}

/// The local days looked at.
pub(super) struct Days {
    pub(super) zone: Zone,
    pub(super) from: Date,
    pub(super) days: u32,
    pub(super) grid: Grid,
}

pub(super) fn read_days(fields: Fields<'_>) -> Result<Days, BadInput> {
    let step_ms = read_minutes(fields.need("grid_minutes")?)?;
    let zone_node = fields.need("zone")?;
    let zone = Zone::find(zone_node.text()?).ok_or_else(|| zone_node.bad("no such time zone"))?;
    let from_node = fields.need("from")?;
    let from = from_node.day()?;
    let days_node = fields.need("days")?;
    let days = days_node.whole(1..=MOST_DAYS)?;
    let until = from.checked_add(Duration::days(days)).filter(|until| in_reach(*until) && in_reach(from));
    let until =
        until.ok_or_else(|| from_node.bad("from must lie in the years 1 to 9998, to the last day"))?;
    let grid = Grid { first_ms: ms_of(zone.midnight(from)), until_ms: ms_of(zone.midnight(until)), step_ms };
    if grid.starts() > MOST_STARTS {
        return Err(days_node.bad(format!("over {MOST_STARTS} candidate starts")));
    }
    Ok(Days { zone, from, days: days as u32, grid })
}

/// Minutes, fractions allowed, as milliseconds.
fn read_minutes(node: Node<'_>) -> Result<i64, BadInput> {
    let minutes = node.positive()?;
    let ms = (minutes * MINUTE_MS).round();
    if ms < 1.0 || minutes > LONGEST_MIN {
        return Err(node.bad("must be from a millisecond to a year"));
    }
    Ok(ms as i64)
}

fn read_qualification(fields: &Fields<'_>) -> Result<Option<Qualification>, BadInput> {
    let text = fields.find("may").map(|node| node.text()).transpose()?;
    Ok(text.map(|text| Qualification(text.to_owned())))
}

impl<'a> Salon<'a> {
    pub(super) fn read(fields: Fields<'a>) -> Result<Self, BadInput> {
        let mut salon = Salon {
            ids: Vec::new(),
            people: Vec::new(),
            person_at: BTreeMap::new(),
            places: Vec::new(),
            place_at: BTreeMap::new(),
        };
        for node in fields.need("people")?.list()? {
            let person = node.fields(&["id", "may"])?;
            let id = person.need("id")?;
            if salon.person_at.insert(id.text()?, salon.ids.len()).is_some() {
                return Err(id.bad("this person is listed already"));
            }
            salon.ids.push(id.text()?);
            let mut worker = Worker::default();
            if let Some(may) = person.find("may") {
                for node in may.list()? {
                    worker.may.push(Qualification(node.text()?.to_owned()));
                }
            }
            salon.people.push(worker);
        }
        for node in fields.need("places")?.list()? {
            let place = node.fields(&["kind", "count"])?;
            let kind = place.need("kind")?;
            if salon.place_at.insert(kind.text()?, salon.places.len()).is_some() {
                return Err(kind.bad("this kind of place is listed already"));
            }
            let count = place.need("count")?.whole(1..=MOST_ITEMS as i64)? as usize;
            salon.places.push(PlaceStock {
                kind: PlaceKind(kind.text()?.to_owned()),
                count,
                taken: Vec::new(),
            });
        }
        Ok(salon)
    }

    fn person(&self, node: Node<'a>) -> Result<usize, BadInput> {
        self.person_at.get(node.text()?).copied().ok_or_else(|| node.bad("no such person is listed"))
    }

    fn place(&self, node: Node<'a>) -> Result<usize, BadInput> {
        self.place_at.get(node.text()?).copied().ok_or_else(|| node.bad("no such kind of place is listed"))
    }

    pub(super) fn read_taken(&mut self, fields: Fields<'a>) -> Result<(), BadInput> {
        let Some(taken) = fields.find("taken") else { return Ok(()) };
        for node in taken.list()? {
            let one = node.fields(&["person", "place", "start", "end"])?;
            let end_node = one.need("end")?;
            let (start, end) = (one.need("start")?.instant()?, end_node.instant()?);
            let rest = i64::from(end.nanosecond() % 1_000_000 > 0);
            let span = Span::new(ms_of(start), ms_of(end) + rest)
                .filter(|_| start < end)
                .ok_or_else(|| end_node.bad("end must come after start"))?;
            match (one.find("person"), one.find("place")) {
                (Some(person), None) => {
                    let person = self.person(person)?;
                    self.people[person].taken.push(span);
                }
                (None, Some(place)) => {
                    let place = self.place(place)?;
                    self.places[place].taken.push(span);
                }
                _ => return Err(one.bad("either a person or a place is taken")),
            }
        }
        Ok(())
    }
}

pub(super) fn read_hours(node: Node<'_>, salon: &Salon<'_>) -> Result<Vec<(usize, WeekdayHours)>, BadInput> {
    let mut hours = Vec::new();
    for node in node.list()? {
        let one = node.fields(&["person", "weekday", "open", "close"])?;
        let person_node = one.need("person")?;
        let person = salon.person_at.get(person_node.text()?);
        let person = *person.ok_or_else(|| person_node.bad("no such person is listed"))?;
        let weekday = Weekday::Monday.nth_next(one.need("weekday")?.whole(1..=7)? as u8 - 1);
        let close_node = one.need("close")?;
        let (open_min, close_min) = (read_clock(one.need("open")?)?, read_clock(close_node)?);
        let checked = WeekdayHours::new(weekday, open_min, close_min);
        hours.push((person, checked.ok_or_else(|| close_node.bad("close must come after open"))?));
    }
    Ok(hours)
}

/// `HH:MM` from 00:00 to 24:00, as minutes.
fn read_clock(node: Node<'_>) -> Result<u16, BadInput> {
    let two = |part: &str| {
        let digits = part.len() == 2 && part.bytes().all(|b| b.is_ascii_digit());
        digits.then(|| part.parse::<u16>().ok()).flatten()
    };
    let parts = node.text()?.split_once(':').and_then(|(h, m)| Some((two(h)?, two(m)?)));
    match parts {
        Some((hour, minute)) if minute < 60 && hour * 60 + minute <= 24 * 60 => Ok(hour * 60 + minute),
        _ => Err(node.bad("not a time of day as HH:MM, 00:00 to 24:00")),
    }
}

pub(super) fn read_chain(node: Node<'_>, salon: &Salon<'_>) -> Result<Chain, BadInput> {
    let nodes: Vec<Node<'_>> = node.list()?.collect();
    let segments = nodes.iter().map(|node| read_segment(*node, salon)).collect::<Result<Vec<_>, _>>()?;
    Chain::new(segments).map_err(|fault| match fault {
        ChainFault::Empty => node.bad(fault.to_string()),
        ChainFault::Length(index) => inner(nodes[index], &["minutes"]).bad(fault.to_string()),
        ChainFault::NotEarlier(index) | ChainFault::HandsOff(index) => {
            inner(nodes[index], &["hands", "same_as"]).bad(fault.to_string())
        }
    })
}

/// The node at the end of a way of field names through a segment that was read already.
fn inner<'a>(node: Node<'a>, way: &[&str]) -> Node<'a> {
    way.iter().fold(node, |node, name| {
        let fields = node.fields(&SEGMENT).or(node.fields(&HANDS));
        fields.ok().and_then(|fields| fields.find(name)).unwrap_or(node)
    })
}

const SEGMENT: [&str; 3] = ["minutes", "hands", "places"];
const HANDS: [&str; 2] = ["may", "same_as"];

fn read_segment(node: Node<'_>, salon: &Salon<'_>) -> Result<Segment, BadInput> {
    let fields = node.fields(&SEGMENT)?;
    let length_ms = read_minutes(fields.need("minutes")?)?;
    let hands = match fields.find("hands") {
        None => None,
        Some(node) => {
            let hands = node.fields(&HANDS)?;
            let same_as = hands.find("same_as").map(|node| node.whole(0..=MOST_ITEMS as i64)).transpose()?;
            Some(Hands { may: read_qualification(&hands)?, same_as: same_as.map(|index| index as usize) })
        }
    };
    let mut places = Vec::new();
    if let Some(list) = fields.find("places") {
        for node in list.list()? {
            if !salon.place_at.contains_key(node.text()?) {
                return Err(node.bad("no such kind of place is listed"));
            }
            places.push(PlaceKind(node.text()?.to_owned()));
        }
        if places.len() > MOST_PLACES_AT_ONCE {
            return Err(list.bad(format!("over {MOST_PLACES_AT_ONCE} places in one segment")));
        }
    }
    Ok(Segment { length_ms, hands, places })
}

pub(super) fn read_patch_test(node: Node<'_>) -> Result<PatchVisit, BadInput> {
    let fields = node.fields(&["minutes", "least_hours_before", "may"])?;
    let hours = fields.need("least_hours_before")?.not_negative()?;
    Ok(PatchVisit {
        length_ms: read_minutes(fields.need("minutes")?)?,
        // A cast from f64 stops at the greatest i64: centuries, so no opening.
        least_before_ms: (hours * 60.0 * MINUTE_MS).round() as i64,
        may: read_qualification(&fields)?,
    })
}
