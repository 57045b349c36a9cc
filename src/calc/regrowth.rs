//! `regrowth`: what measurements make of a client's rate, and when new growth is long enough.

use super::area::Area;
use super::kinds::{Items, NotNegative, Positive};
use super::{BadInput, bad};
use crate::domain::growth::{self, questioned};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

pub(super) struct Regrowth;

/// How fast a client's hair grows, and when new growth is long enough.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Question {
    /// The rate believed before any measurement.
    prior: Rate,
    /// Measurements of new growth, in the order made.
    observations: Option<Items<Observation>>,
    /// New growth that is wanted, stretched (mm).
    target_mm: Positive,
    /// Since the last service, fractional; without it `now` and `chance_due` are null (days).
    days_since: Option<NotNegative>,
    /// Never due before this, counted from the last service; 0 when not given (days).
    least_days: Option<NotNegative>,
}

/// A normally distributed rate.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct Rate {
    /// Mean (mm of stretched hair a day).
    mean_mm_per_day: Positive,
    /// Standard deviation (mm a day).
    sd_mm_per_day: Positive,
}

/// New growth measured after an interval: stretched as `mm`, or natural as `natural_mm` with its `curl_index`.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(extend("oneOf" = [
    {"required": ["mm"], "properties": {"mm": {"type": "number"}, "natural_mm": {"type": "null"},
        "curl_index": {"type": "null"}, "curl_index_sd": {"type": "null"}}},
    {"required": ["natural_mm", "curl_index"], "properties": {"mm": {"type": "null"},
        "natural_mm": {"type": "number"}, "curl_index": {"type": "number"}}}]))]
struct Observation {
    /// Since the service before it (days).
    days: Positive,
    /// Stretched new growth (mm).
    mm: Option<Positive>,
    /// Standard deviation of the reading as it was read (mm).
    sd_mm: Positive,
    /// New growth read unstretched, in place of `mm` (mm).
    natural_mm: Option<Positive>,
    /// Stretched length ÷ natural length; goes with `natural_mm` (no unit).
    curl_index: Option<Positive>,
    /// Its standard deviation; 0 when not given (no unit).
    curl_index_sd: Option<NotNegative>,
}

/// What is believed after all measurements; days are counted from the last service.
#[derive(Serialize, JsonSchema)]
pub(super) struct Answer {
    /// The rate.
    rate: RateAnswer,
    /// New growth `days_since` the last service.
    now: Option<Now>,
    /// Chance that the target is reached now; 0 before `least_days` and at 0 days (0 to 1).
    chance_due: Option<f64>,
    /// When the target is reached with a chance of 10, 50 and 90 % (days).
    due_in_days: Due,
    /// Index of each observation that lies over 4 standard deviations from what was to be expected; all are used.
    questioned: Vec<usize>,
}

/// The rate after all measurements.
#[derive(Serialize, JsonSchema)]
struct RateAnswer {
    /// Mean (mm of stretched hair a day).
    mean_mm_per_day: f64,
    /// Standard deviation (mm a day).
    sd_mm_per_day: f64,
}

/// New growth, stretched.
#[derive(Serialize, JsonSchema)]
struct Now {
    /// Mean (mm).
    mean_mm: f64,
    /// The 10 % point, cut at 0 (mm).
    low_mm: f64,
    /// The 90 % point (mm).
    high_mm: f64,
}

/// Days since the last service; null where the chance is never reached.
#[derive(Serialize, JsonSchema)]
struct Due {
    /// With a chance of 10 % (days).
    early: Option<f64>,
    /// With a chance of 50 % (days).
    middle: Option<f64>,
    /// With a chance of 90 % (days).
    late: Option<f64>,
}

impl Area for Regrowth {
    const NAME: &'static str = "regrowth";
    const EXAMPLE: &'static str = r#"{"prior":{"mean_mm_per_day":0.30,"sd_mm_per_day":0.08},
 "observations":[{"days":91,"mm":30,"sd_mm":2},{"days":84,"natural_mm":17,"curl_index":1.5,"curl_index_sd":0.1,"sd_mm":2}],
 "target_mm":25,"days_since":60,"least_days":56}"#;
    type Question = Question;
    type Answer = Answer;

    fn answer(question: Question) -> Result<Answer, BadInput> {
        let prior =
            growth::Rate { mean: question.prior.mean_mm_per_day.0, sd: question.prior.sd_mm_per_day.0 };
        let given = question.observations.unwrap_or_default().0;
        let seen =
            given.iter().enumerate().map(|(i, one)| one.stretched(i)).collect::<Result<Vec<_>, _>>()?;
        let target_mm = question.target_mm.0;
        let days_since = question.days_since.map(|days| days.0);
        let least_days = question.least_days.unwrap_or_default().0;

        let rate = prior.after_all(&seen);
        let growth = days_since.map(|days| rate.growth(days));
        let due = |p: f64| rate.due_days(target_mm, p).map(|days| days.max(least_days));
        let chance = |days| if days < least_days { 0.0 } else { rate.chance(target_mm, days) };
        let answer = Answer {
            rate: RateAnswer { mean_mm_per_day: rate.mean, sd_mm_per_day: rate.sd },
            now: growth.map(|g| Now { mean_mm: g.mean, low_mm: g.low, high_mm: g.high }),
            chance_due: days_since.map(chance),
            due_in_days: Due { early: due(0.1), middle: due(0.5), late: due(0.9) },
            questioned: questioned(prior, &seen),
        };
        let numbers = [Some(rate.mean), Some(rate.sd), growth.map(|g| g.high), answer.chance_due, due(0.9)];
        // Only the late edge may be open-ended: a mean so small that its day is beyond numbers is no rate.
        let ends = [due(0.1), due(0.5)].iter().all(|day| day.is_some_and(f64::is_finite));
        if rate.sd <= 0.0 || !ends || numbers.iter().flatten().any(|number| !number.is_finite()) {
            return Err(bad("", "these numbers are too large or too small to reckon with"));
        }
        Ok(answer)
    }
}

impl Observation {
    /// The reading as stretched hair; `index` is its place among the observations.
    fn stretched(&self, index: usize) -> Result<growth::Observation, BadInput> {
        let here = |field: &str| format!("/observations/{index}{field}");
        let (days, sd_mm) = (self.days.0, self.sd_mm.0);
        if let Some(mm) = self.mm {
            let natural = [
                ("natural_mm", self.natural_mm.is_some()),
                ("curl_index", self.curl_index.is_some()),
                ("curl_index_sd", self.curl_index_sd.is_some()),
            ];
            return match natural.into_iter().find(|(_, given)| *given) {
                Some((name, _)) => Err(bad(
                    here(&format!("/{name}")),
                    format!("{name} stands in place of mm, not beside it"),
                )),
                None => Ok(growth::Observation { days, mm: mm.0, sd_mm }),
            };
        }
        let Some(natural_mm) = self.natural_mm else {
            return Err(bad(here(""), "mm is missing (or natural_mm with curl_index)"));
        };
        let index = self.curl_index.ok_or_else(|| bad(here(""), "curl_index is missing"))?;
        let index_sd = self.curl_index_sd.unwrap_or_default();
        Ok(growth::Observation::natural(days, (natural_mm.0, sd_mm), (index.0, index_sd.0)))
    }
}
