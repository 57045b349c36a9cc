//! `amounts`: hair mass of a zone and the product for it, with its range.

use super::area::Area;
use super::kinds::{NotNegative, Positive};
use super::{BadInput, bad};
use crate::domain::amounts::{ZoneOfHair, amount};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

pub(super) struct Amounts;

/// How much hair lies in a zone, and how much product it takes.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Question {
    /// Hairs on a square centimetre of scalp (hairs/cm²).
    hairs_per_cm2: Positive,
    /// Scalp the zone grows from (cm²).
    scalp_cm2: NotNegative,
    /// Diameter of a hair (µm).
    diameter_um: Positive,
    /// Length of stretched hair in the zone (mm).
    zone_mm: Positive,
    /// Grams of product for a gram of hair (g/g).
    product_to_hair: Positive,
}

/// An estimate with its range.
#[derive(Serialize, JsonSchema)]
pub(super) struct Answer {
    /// Hair in the zone (g).
    hair_grams: f64,
    /// Product for it (g).
    product_grams: f64,
    /// Lower end of the range: product × 0.7, common practice (g).
    low_grams: f64,
    /// Upper end of the range: product × 1.3, common practice (g).
    high_grams: f64,
}

impl Area for Amounts {
    const NAME: &'static str = "amounts";
    const EXAMPLE: &'static str =
        r#"{"hairs_per_cm2":190,"scalp_cm2":600,"diameter_um":70,"zone_mm":25,"product_to_hair":3.0}"#;
    type Question = Question;
    type Answer = Answer;

    fn answer(question: Question) -> Result<Answer, BadInput> {
        let zone = ZoneOfHair {
            hairs_per_cm2: question.hairs_per_cm2.0,
            scalp_cm2: question.scalp_cm2.0,
            diameter_um: question.diameter_um.0,
            zone_mm: question.zone_mm.0,
        };
        let amount = amount(zone, question.product_to_hair.0);
        if !amount.high_grams.is_finite() || !amount.product_grams.is_finite() {
            return Err(bad("", "these figures make more grams than can be counted"));
        }
        Ok(Answer {
            hair_grams: amount.hair_grams,
            product_grams: amount.product_grams,
            low_grams: amount.low_grams,
            high_grams: amount.high_grams,
        })
    }
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    use super::super::run;

    fn ask(input: &Value) -> Result<Value, String> {
        let text = run("amounts", input.to_string().as_bytes()).map_err(|bad| bad.at)?;
        Ok(serde_json::from_str(&text).unwrap())
    }

    fn contract() -> Value {
        json!({"hairs_per_cm2": 190, "scalp_cm2": 600, "diameter_um": 70, "zone_mm": 25, "product_to_hair": 3.0})
    }

    #[test]
    fn the_example_of_the_contract_is_answered() {
        let answer = ask(&contract()).unwrap();
        assert!((answer["hair_grams"].as_f64().unwrap() - 14.478).abs() < 0.001);
        assert!((answer["product_grams"].as_f64().unwrap() - 43.434).abs() < 0.003);
        let mut bald = contract();
        bald["scalp_cm2"] = json!(0);
        assert_eq!(ask(&bald).unwrap()["product_grams"], 0.0);
    }

    #[test]
    fn bad_figures_are_refused_at_their_place() {
        for (field, value) in [
            ("hairs_per_cm2", json!(0)),
            ("scalp_cm2", json!(-1)),
            ("diameter_um", json!("70")),
            ("zone_mm", json!(0)),
            ("product_to_hair", json!(0)),
            ("grams", json!(1)),
        ] {
            let mut input = contract();
            input[field] = value;
            assert_eq!(ask(&input), Err(format!("/{field}")));
        }
        let mut wild = contract();
        wild["zone_mm"] = json!(1e308);
        wild["product_to_hair"] = json!(1e308);
        assert_eq!(ask(&wild), Err(String::new()));
    }
}
