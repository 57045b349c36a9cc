//! `exposure`: minutes of each quadrant from first touch to rinse.

use super::{BadInput, Node, answer};
use crate::domain::exposure::{ExposureRefusal, Touch, fold, minutes};
use serde::Serialize;
use time::OffsetDateTime;

#[derive(Serialize)]
struct Answer<'a> {
    quadrants: Vec<Quadrant<'a>>,
    longest_minutes: Option<f64>,
    shortest_minutes: Option<f64>,
    spread_minutes: Option<f64>,
    over_most: bool,
}

#[derive(Serialize)]
struct Quadrant<'a> {
    quadrant: &'a str,
    minutes: f64,
    open: bool,
}

pub(super) fn run(input: Node<'_>) -> Result<String, BadInput> {
    let fields = input.fields(&["events", "now", "most_minutes"])?;
    let events: Vec<Node<'_>> = fields.need("events")?.list()?.collect();
    let touches = events.iter().map(|event| read_touch(*event)).collect::<Result<Vec<_>, _>>()?;
    let now = fields.need("now")?.instant()?;
    let most = fields.need("most_minutes")?.positive()?;
    let clocks = fold(&touches, now).map_err(|(index, why)| {
        // Order is a fault of the instant, the rest of what is said to have happened then.
        let event = events[index];
        let field = match why {
            ExposureRefusal::OutOfOrder | ExposureRefusal::InTheFuture => "at",
            ExposureRefusal::SecondStart | ExposureRefusal::RinseWithoutStart => "did",
        };
        let place = event.fields(TOUCH_FIELDS).ok().and_then(|fields| fields.find(field)).unwrap_or(event);
        place.bad(words(why))
    })?;
    let all = minutes(&clocks, now);
    let quadrants = clocks.iter().map(|clock| Quadrant {
        quadrant: clock.quadrant,
        minutes: clock.minutes(now),
        open: clock.to.is_none(),
    });
    answer(&Answer {
        quadrants: quadrants.collect(),
        longest_minutes: all.map(|m| m.longest),
        shortest_minutes: all.map(|m| m.shortest),
        spread_minutes: all.map(|m| m.spread),
        over_most: all.is_some_and(|m| m.longest > most),
    })
}

const TOUCH_FIELDS: &[&str] = &["at", "quadrant", "did"];

fn read_touch(node: Node<'_>) -> Result<(OffsetDateTime, &str, Touch), BadInput> {
    let fields = node.fields(TOUCH_FIELDS)?;
    let at = fields.need("at")?.instant()?;
    let named = fields.need("quadrant")?;
    let quadrant = named.text()?;
    if quadrant.is_empty() {
        return Err(named.bad("a quadrant has a name"));
    }
    let did = fields.need("did")?.one_of(&[("start", Touch::Start), ("rinse", Touch::Rinse)])?;
    Ok((at, quadrant, did))
}

fn words(why: ExposureRefusal) -> &'static str {
    match why {
        ExposureRefusal::OutOfOrder => "earlier than the event before it",
        ExposureRefusal::InTheFuture => "later than now",
        ExposureRefusal::SecondStart => "this quadrant has started already",
        ExposureRefusal::RinseWithoutStart => "a rinse without a running start",
    }
}
