//! What is asked about a strand: its history and a plan.

use crate::calc::codes::Coded;
use crate::calc::kinds::{Day, Items, NotNegative, Positive};
use crate::calc::{BadInput, bad};
use crate::domain::chemistry::{Family, Strength};
use crate::domain::strand::{self, Known};
use schemars::JsonSchema;
use serde::de::{Deserializer, Error, MapAccess, Visitor};
use serde::{Deserialize, Serialize};
use std::fmt;

/// What a strand has met and, with a plan, what the plan would meet on it.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(in crate::calc) struct Question {
    /// Length of stretched hair on the day `on`, bare (mm).
    pub(super) length_mm: NotNegative,
    /// The day the history begins.
    pub(super) on: Day,
    /// How fast it grows (mm of stretched hair a day).
    pub(super) rate_mm_per_day: Positive,
    /// Standard deviation of that rate; 0.05 when not given (mm a day).
    pub(super) rate_sd: Option<Positive>,
    /// What happened, in order: the same day is allowed, an earlier one than before is not.
    pub(super) events: Items<Event>,
    /// The day that is asked about, not before the last event.
    pub(super) as_of: Day,
    /// Applications planned for that day, in order; none when not given.
    pub(super) plan: Option<Items<Application>>,
    /// What a metallic-salt test and the history say; not-cleared when not given.
    pub(super) metal_test: Option<MetalTest>,
}

/// One thing that happened to the strand; `did` says which.
#[derive(Deserialize, JsonSchema)]
#[serde(rename = "by did", rename_all = "kebab-case", deny_unknown_fields)]
#[schemars(rename = "Event", tag = "did")]
pub(super) enum Event {
    /// Something was put on a zone; on a zone that holds no hair it changes nothing.
    Apply {
        /// When.
        on: Day,
        /// Its chemistry.
        family: Coded<Family>,
        /// Where it went.
        zone: Zone,
        /// How it is known; recorded when not given.
        known: Option<Coded<Known>>,
        /// Standard deviation of a vague date; 0 when not given (days).
        on_sd_days: Option<NotNegative>,
    },
    /// New growth was measured: the bare piece at the scalp gets that length, all behind it is shifted.
    Measure {
        /// When.
        on: Day,
        /// Length of the bare piece at the scalp, stretched (mm).
        new_growth_mm: Positive,
        /// Standard deviation of the reading (mm).
        sd_mm: Positive,
    },
    /// The ends were cut.
    Trim {
        /// When.
        on: Day,
        /// How much, less than the whole length (mm).
        mm: Positive,
    },
}

impl Event {
    pub(super) fn on(&self) -> time::Date {
        match self {
            Event::Apply { on, .. } | Event::Measure { on, .. } | Event::Trim { on, .. } => on.0,
        }
    }
}

/// One product planned for one zone; two passes of one product are one application.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Application {
    /// Its chemistry.
    pub(super) family: Coded<Family>,
    /// Where it is to go.
    pub(super) zone: Zone,
    /// Whether a thio product straightens; false (waving) when not given.
    pub(super) straightens: Option<bool>,
    /// Its strength.
    pub(super) strength: Option<Coded<Strength>>,
}

#[derive(Clone, Copy, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(inline)]
pub(super) enum MetalTest {
    NotCleared,
    NegativeNoSilver,
}

/// Where: by name, or in mm of stretched hair from the scalp. Numeric zones end at the strand's end.
#[derive(Clone, Copy, JsonSchema)]
#[schemars(untagged, deny_unknown_fields)]
pub(super) enum Zone {
    /// new-growth: from the scalp to the nearest demarcation; root-to-end: all of it.
    Named(Named),
    /// From a place to the tip.
    Ends {
        /// The place (mm from the scalp).
        ends_from_mm: NotNegative,
    },
    /// Between two places.
    Between {
        /// The nearer place (mm from the scalp).
        from_mm: NotNegative,
        /// The farther place, not nearer than `from_mm` (mm from the scalp).
        to_mm: NotNegative,
    },
}

#[derive(Clone, Copy, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(inline)]
pub(super) enum Named {
    NewGrowth,
    RootToEnd,
}

impl Zone {
    /// The zone of the domain; `at` is where it stands in the document.
    pub(super) fn checked(self, at: impl Fn() -> String) -> Result<strand::Zone, BadInput> {
        Ok(match self {
            Zone::Named(Named::NewGrowth) => strand::Zone::NewGrowth,
            Zone::Named(Named::RootToEnd) => strand::Zone::RootToEnd,
            Zone::Ends { ends_from_mm } => strand::Zone::EndsFrom(ends_from_mm.0),
            Zone::Between { from_mm, to_mm } if to_mm.0 < from_mm.0 => {
                return Err(bad(at() + "/to_mm", "nearer than from_mm"));
            }
            Zone::Between { from_mm, to_mm } => strand::Zone::Between(from_mm.0, to_mm.0),
        })
    }
}

impl<'de> Deserialize<'de> for Zone {
    // By hand: serde's own untagged enums forget the places of what is inside them.
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        from.deserialize_any(ZoneVisitor)
    }
}

struct ZoneVisitor;

impl<'de> Visitor<'de> for ZoneVisitor {
    type Value = Zone;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("new-growth, root-to-end, {\"ends_from_mm\"} or {\"from_mm\", \"to_mm\"}")
    }

    fn visit_str<E: Error>(self, text: &str) -> Result<Zone, E> {
        match text {
            "new-growth" => Ok(Zone::Named(Named::NewGrowth)),
            "root-to-end" => Ok(Zone::Named(Named::RootToEnd)),
            _ => Err(E::custom("must be one of new-growth, root-to-end")),
        }
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Zone, A::Error> {
        const KNOWN: [&str; 3] = ["ends_from_mm", "from_mm", "to_mm"];
        let mut given: [Option<NotNegative>; 3] = [None; 3];
        while let Some(name) = map.next_key::<String>()? {
            let Some(at) = KNOWN.iter().position(|known| *known == name) else {
                return Err(A::Error::unknown_field(&name, &KNOWN));
            };
            given[at] = map.next_value()?;
        }
        match given {
            [Some(ends_from_mm), None, None] => Ok(Zone::Ends { ends_from_mm }),
            [None, Some(from_mm), Some(to_mm)] => Ok(Zone::Between { from_mm, to_mm }),
            [Some(_), Some(_), _] => Err(A::Error::unknown_field("from_mm", &KNOWN[..1])),
            [Some(_), None, Some(_)] => Err(A::Error::unknown_field("to_mm", &KNOWN[..1])),
            [None, None, _] => Err(A::Error::missing_field("from_mm")),
            [None, Some(_), None] => Err(A::Error::missing_field("to_mm")),
        }
    }
}
