//! What is asked: a salon, a service and when it is wanted.

use crate::calc::MOST_ITEMS;
use crate::calc::kinds::{ClockTime, Day, Instant, Items, Minutes, NotNegative, Whole};
use schemars::JsonSchema;
use serde::Deserialize;

/// Most days of one question: ten years.
pub(super) const MOST_DAYS: i64 = 3_660;
/// Most places one segment occupies.
pub(super) const MOST_PLACES_AT_ONCE: usize = 64;
/// As many as an array may have.
const MANY: i64 = MOST_ITEMS as i64;

/// Starts at which a whole service fits: hands and places free for every segment of it.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(in crate::calc) struct Question {
    /// Starts are tried this far apart, from local midnight of `from` (minutes of elapsed time).
    pub(super) grid_minutes: Minutes,
    /// The salon's time zone, by its IANA name.
    pub(super) zone: String,
    /// The first local day.
    pub(super) from: Day,
    /// How many local days (days).
    pub(super) days: Whole<1, MOST_DAYS>,
    /// When people work; rows that touch are one stretch.
    pub(super) hours: Items<Hours>,
    /// Everybody, each once.
    pub(super) people: Items<Person>,
    /// Every kind of place, each once.
    pub(super) places: Items<Place>,
    /// What is taken already.
    pub(super) taken: Option<Items<Taken>>,
    /// The service: its segments follow one another without a gap.
    pub(super) segments: Items<Segment, 1>,
    /// A patch-test visit before it; none when not given.
    pub(super) patch_test: Option<PatchTest>,
    /// Openings nearest to this instant come first.
    pub(super) wanted: Instant,
    /// How many openings are named (openings).
    pub(super) most: Whole<1, MANY>,
}

/// One row of somebody's working hours.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Hours {
    /// Whose, by id.
    pub(super) person: String,
    /// ISO weekday: Monday is 1.
    pub(super) weekday: Whole<1, 7>,
    /// From, on the salon's wall clock (HH:MM).
    pub(super) open: ClockTime,
    /// To, later than `open`, at most 24:00 (HH:MM).
    pub(super) close: ClockTime,
}

/// One of the team.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Person {
    /// A name for this question.
    pub(super) id: String,
    /// Qualifications; none when not given.
    pub(super) may: Option<Items<String>>,
}

/// One kind of place.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Place {
    /// Its name, such as chair.
    pub(super) kind: String,
    /// How many there are (places).
    pub(super) count: Whole<1, MANY>,
}

/// A person or one place of a kind, taken for a time; `end` is exclusive.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(extend("oneOf" = [
    {"required": ["person"], "properties": {"person": {"type": "string"}, "place": {"type": "null"}}},
    {"required": ["place"], "properties": {"place": {"type": "string"}, "person": {"type": "null"}}}]))]
pub(super) struct Taken {
    /// Who, by id; or a place.
    pub(super) person: Option<String>,
    /// Which kind of place; or a person.
    pub(super) place: Option<String>,
    /// From.
    pub(super) start: Instant,
    /// To, later than `start`.
    pub(super) end: Instant,
}

/// One segment of the service.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Segment {
    /// How long it is (minutes).
    pub(super) minutes: Minutes,
    /// Who is needed; nobody when not given.
    pub(super) hands: Option<Hands>,
    /// Kinds of place it occupies; a kind twice is two of them.
    pub(super) places: Option<Items<String, 0, MOST_PLACES_AT_ONCE>>,
}

/// Whose hands a segment needs.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Hands {
    /// The qualification asked for; anybody when not given.
    pub(super) may: Option<String>,
    /// Index of an earlier segment with hands that the same person does.
    pub(super) same_as: Option<Whole<0, MANY>>,
}

/// The patch-test visit: the latest grid start that ends early enough before the opening.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct PatchTest {
    /// How long it is (minutes).
    pub(super) minutes: Minutes,
    /// From its end to the opening's start at least (elapsed hours).
    pub(super) least_hours_before: NotNegative,
    /// The qualification asked for; anybody when not given.
    pub(super) may: Option<String>,
}
