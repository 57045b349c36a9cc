//! `regrowth`: what measurements make of a client's rate, and when new growth is long enough.

use super::{BadInput, Node, answer};
use crate::domain::growth::{Observation, Rate, questioned};
use serde::Serialize;

#[derive(Serialize)]
struct Answer {
    rate: RateAnswer,
    now: Option<Now>,
    chance_due: Option<f64>,
    due_in_days: Due,
    questioned: Vec<usize>,
}

#[derive(Serialize)]
struct RateAnswer {
    mean_mm_per_day: f64,
    sd_mm_per_day: f64,
}

#[derive(Serialize)]
struct Now {
    mean_mm: f64,
    low_mm: f64,
    high_mm: f64,
}

#[derive(Serialize)]
struct Due {
    early: Option<f64>,
    middle: Option<f64>,
    late: Option<f64>,
}

pub(super) fn run(input: Node<'_>) -> Result<String, BadInput> {
    let fields = input.fields(&["prior", "observations", "target_mm", "days_since", "least_days"])?;
    let prior = read_rate(fields.need("prior")?)?;
    let seen = match fields.find("observations") {
        Some(list) => list.list()?.map(read_observation).collect::<Result<Vec<_>, _>>()?,
        None => Vec::new(),
    };
    let target_mm = fields.need("target_mm")?.positive()?;
    let days_since = fields.find("days_since").map(|days| days.not_negative()).transpose()?;
    let least_days = fields.find("least_days").map_or(Ok(0.0), |days| days.not_negative())?;

    let rate = prior.after_all(&seen);
    let growth = days_since.map(|days| rate.growth(days));
    let due = |p: f64| rate.due_days(target_mm, p).map(|days| days.max(least_days));
    let answered = Answer {
        rate: RateAnswer { mean_mm_per_day: rate.mean, sd_mm_per_day: rate.sd },
        now: growth.map(|g| Now { mean_mm: g.mean, low_mm: g.low, high_mm: g.high }),
        chance_due: days_since.map(|days| if days < least_days { 0.0 } else { rate.chance(target_mm, days) }),
        due_in_days: Due { early: due(0.1), middle: due(0.5), late: due(0.9) },
        questioned: questioned(prior, &seen),
    };
    let numbers =
        [Some(rate.mean), Some(rate.sd), growth.map(|g| g.high), answered.chance_due, due(0.1), due(0.9)];
    if rate.sd <= 0.0 || numbers.iter().flatten().any(|number| !number.is_finite()) {
        return Err(input.bad("these numbers are too large or too small to reckon with"));
    }
    answer(&answered)
}

fn read_rate(node: Node<'_>) -> Result<Rate, BadInput> {
    let fields = node.fields(&["mean_mm_per_day", "sd_mm_per_day"])?;
    Ok(Rate {
        mean: fields.need("mean_mm_per_day")?.positive()?,
        sd: fields.need("sd_mm_per_day")?.positive()?,
    })
}

fn read_observation(node: Node<'_>) -> Result<Observation, BadInput> {
    let fields = node.fields(&["days", "mm", "sd_mm", "natural_mm", "curl_index", "curl_index_sd"])?;
    let days = fields.need("days")?.positive()?;
    let sd_mm = fields.need("sd_mm")?.positive()?;
    if let Some(mm) = fields.find("mm") {
        for natural in ["natural_mm", "curl_index", "curl_index_sd"] {
            if let Some(given) = fields.find(natural) {
                return Err(given.bad(format!("{natural} stands in place of mm, not beside it")));
            }
        }
        return Ok(Observation { days, mm: mm.positive()?, sd_mm });
    }
    if fields.find("natural_mm").is_none() {
        return Err(fields.bad("mm is missing (or natural_mm with curl_index)"));
    }
    let natural_mm = fields.need("natural_mm")?.positive()?;
    let index = fields.need("curl_index")?.positive()?;
    let index_sd = fields.find("curl_index_sd").map_or(Ok(0.0), |sd| sd.not_negative())?;
    Ok(Observation::natural(days, (natural_mm, sd_mm), (index, index_sd)))
}
