//! `limits`: contents against the law, in the law's own unit.

use super::{BadInput, Node, answer};
use crate::domain::chemistry::limits::{Hands, Ingredient, Place, Purpose};
use crate::reference::Reference;
use serde::Serialize;

#[derive(Serialize)]
struct Answer<'a> {
    checks: Vec<CheckAnswer<'a>>,
}

#[derive(Serialize)]
struct CheckAnswer<'a> {
    #[serde(rename = "as")]
    counted_as: &'a str,
    percent: f64,
    limit_percent: Option<f64>,
    ph_low: Option<f64>,
    ph_high: Option<f64>,
    within: Option<bool>,
    source: &'a str,
    must_say: Vec<&'a str>,
}

pub(super) fn run(input: Node<'_>) -> Result<String, BadInput> {
    let fields = input.fields(&["place", "use", "purpose", "contents", "ph"])?;
    let place = fields.need("place")?.one_of(&Place::ALL.map(|p| (p.code(), p)))?;
    let hands = fields.need("use")?.one_of(&Hands::ALL.map(|h| (h.code(), h)))?;
    let purpose = fields.need("purpose")?.one_of(&Purpose::ALL.map(|p| (p.code(), p)))?;
    let contents = fields.need("contents")?.list()?.map(read_content).collect::<Result<Vec<_>, _>>()?;
    let ph = fields.find("ph").map(|ph| ph.number()).transpose()?;

    let checks = Reference::shipped().limits.check((place, hands, purpose), &contents, ph);
    if checks.iter().any(|check| !check.percent.is_finite()) {
        return Err(input.bad("these percentages are too large to add up"));
    }
    let checks = checks.iter().map(|check| CheckAnswer {
        counted_as: check.counted_as,
        percent: check.percent,
        limit_percent: check.limit.percent,
        ph_low: check.limit.ph_low,
        ph_high: check.limit.ph_high,
        within: check.within,
        source: &check.limit.source,
        must_say: check.must_say().collect(),
    });
    answer(&Answer { checks: checks.collect() })
}

fn read_content(node: Node<'_>) -> Result<(&'static Ingredient, f64), BadInput> {
    let fields = node.fields(&["ingredient", "percent"])?;
    let named = fields.need("ingredient")?;
    let code = named.text()?;
    let known = Reference::shipped().limits.find_ingredient(code);
    let ingredient = known.ok_or_else(|| named.bad(format!("no such ingredient: {code}")))?;
    Ok((ingredient, fields.need("percent")?.not_negative()?))
}
