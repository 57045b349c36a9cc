//! `exposure`: minutes of each quadrant from first touch to rinse.

use super::area::Area;
use super::kinds::{Instant, Items, Name, Positive};
use super::{BadInput, bad};
use crate::domain::exposure::{self, ExposureRefusal, fold, minutes};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

pub(super) struct Exposure;

/// How long product has lain on each quadrant, from first touch to rinse.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Question {
    /// Starts and rinses in the order of `at`.
    events: Items<Event>,
    /// The instant open quadrants are counted to; no event lies after it.
    now: Instant,
    /// Longest time the product may lie (minutes).
    most_minutes: Positive,
}

/// What happened to a quadrant.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Event {
    /// When.
    at: Instant,
    /// Its name, such as back-right; any name will do.
    quadrant: Name,
    /// `start` at the first touch of product, `rinse` at its end; each once.
    did: Did,
}

#[derive(Clone, Copy, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(inline)]
enum Did {
    Start,
    Rinse,
}

/// Times of all quadrants.
#[derive(Serialize, JsonSchema)]
pub(super) struct Answer {
    /// Quadrants in the order of their first start.
    quadrants: Vec<Quadrant>,
    /// The longest time; null before the first start (minutes).
    longest_minutes: Option<f64>,
    /// The shortest time; null before the first start (minutes).
    shortest_minutes: Option<f64>,
    /// Longest less shortest; null before the first start (minutes).
    spread_minutes: Option<f64>,
    /// Whether the longest exceeds `most_minutes`.
    over_most: bool,
}

/// One quadrant's time.
#[derive(Serialize, JsonSchema)]
struct Quadrant {
    /// Its name.
    quadrant: String,
    /// From its start to its rinse, or to now; fractional (minutes).
    minutes: f64,
    /// Whether it was not rinsed yet.
    open: bool,
}

impl Area for Exposure {
    const NAME: &'static str = "exposure";
    const EXAMPLE: &'static str = r#"{"events":[
    {"at":"2025-04-10T10:00:00Z","quadrant":"back-right","did":"start"},
    {"at":"2025-04-10T10:03:30Z","quadrant":"back-left","did":"start"},
    {"at":"2025-04-10T10:18:00Z","quadrant":"back-right","did":"rinse"}],
 "now":"2025-04-10T10:20:00Z","most_minutes":20}"#;
    type Question = Question;
    type Answer = Answer;

    fn answer(question: Question) -> Result<Answer, BadInput> {
        let touch = |event: &Event| match event.did {
            Did::Start => exposure::Touch::Start,
            Did::Rinse => exposure::Touch::Rinse,
        };
        let events = &question.events.0;
        let touches: Vec<_> = events.iter().map(|e| (e.at.0, e.quadrant.0.as_str(), touch(e))).collect();
        let (now, most) = (question.now.0, question.most_minutes.0);
        let clocks = fold(&touches, now).map_err(|(index, why)| {
            // Order is a fault of the instant, the rest of what is said to have happened then.
            let field = match why {
                ExposureRefusal::OutOfOrder | ExposureRefusal::InTheFuture => "at",
                ExposureRefusal::SecondStart | ExposureRefusal::RinseWithoutStart => "did",
            };
            bad(format!("/events/{index}/{field}"), words(why))
        })?;
        let all = minutes(&clocks, now);
        let quadrants = clocks.iter().map(|clock| Quadrant {
            quadrant: clock.quadrant.to_owned(),
            minutes: clock.minutes(now),
            open: clock.to.is_none(),
        });
        Ok(Answer {
            quadrants: quadrants.collect(),
            longest_minutes: all.map(|m| m.longest),
            shortest_minutes: all.map(|m| m.shortest),
            spread_minutes: all.map(|m| m.spread),
            over_most: all.is_some_and(|m| m.longest > most),
        })
    }
}

fn words(why: ExposureRefusal) -> &'static str {
    match why {
        ExposureRefusal::OutOfOrder => "earlier than the event before it",
        ExposureRefusal::InTheFuture => "later than now",
        ExposureRefusal::SecondStart => "this quadrant has started already",
        ExposureRefusal::RinseWithoutStart => "a rinse without a running start",
    }
}
