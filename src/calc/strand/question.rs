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
#[derive(JsonSchema)]
#[schemars(tag = "did", rename_all = "kebab-case", deny_unknown_fields)]
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

/// The fields of every kind of event.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Given {
    on: Day,
    did: Did,
    family: Option<Coded<Family>>,
    zone: Option<Zone>,
    known: Option<Coded<Known>>,
    on_sd_days: Option<NotNegative>,
    new_growth_mm: Option<Positive>,
    sd_mm: Option<Positive>,
    mm: Option<Positive>,
}

#[derive(Clone, Copy, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Did {
    Apply,
    Measure,
    Trim,
}

impl Did {
    /// The fields of such an event.
    fn fields(self) -> &'static [&'static str] {
        match self {
            Did::Apply => &["on", "did", "family", "zone", "known", "on_sd_days"],
            Did::Measure => &["on", "did", "new_growth_mm", "sd_mm"],
            Did::Trim => &["on", "did", "mm"],
        }
    }
}

impl Given {
    /// The first field there is that is none of such an event.
    fn misplaced(&self) -> Option<&'static str> {
        let there = [
            ("family", self.family.is_some()),
            ("zone", self.zone.is_some()),
            ("known", self.known.is_some()),
            ("on_sd_days", self.on_sd_days.is_some()),
            ("new_growth_mm", self.new_growth_mm.is_some()),
            ("sd_mm", self.sd_mm.is_some()),
            ("mm", self.mm.is_some()),
        ];
        let fields = self.did.fields();
        there.into_iter().find(|(name, there)| *there && !fields.contains(name)).map(|(name, _)| name)
    }
}

impl<'de> Deserialize<'de> for Event {
    // Through all fields: serde's own tagged enums copy the object first and forget the places of what is inside it.
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let given = Given::deserialize(from)?;
        if let Some(name) = given.misplaced() {
            return Err(D::Error::unknown_field(name, given.did.fields()));
        }
        let Given { on, did, family, zone, known, on_sd_days, new_growth_mm, sd_mm, mm } = given;
        Ok(match did {
            Did::Apply => Event::Apply {
                on,
                family: needed("family", family)?,
                zone: needed("zone", zone)?,
                known,
                on_sd_days,
            },
            Did::Measure => Event::Measure {
                on,
                new_growth_mm: needed("new_growth_mm", new_growth_mm)?,
                sd_mm: needed("sd_mm", sd_mm)?,
            },
            Did::Trim => Event::Trim { on, mm: needed("mm", mm)? },
        })
    }
}

fn needed<T, E: Error>(name: &'static str, given: Option<T>) -> Result<T, E> {
    given.ok_or_else(|| E::missing_field(name))
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

/// The fields of the zones that are objects.
#[derive(Clone, Copy, Deserialize)]
#[serde(field_identifier)]
enum Edge {
    #[serde(rename = "ends_from_mm")]
    Ends,
    #[serde(rename = "from_mm")]
    From,
    #[serde(rename = "to_mm")]
    To,
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
        while let Some(edge) = map.next_key::<Edge>()? {
            given[edge as usize] = map.next_value()?;
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
