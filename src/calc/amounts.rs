//! `amounts`: hair mass of a zone and the product for it, with its range.

use serde::Serialize;

use super::{BadInput, Node, answer};
use crate::domain::amounts::{ZoneOfHair, amount};

#[derive(Serialize)]
struct Answer {
    hair_grams: f64,
    product_grams: f64,
    low_grams: f64,
    high_grams: f64,
}

/// Computes one document.
pub(super) fn run(root: Node<'_>) -> Result<String, BadInput> {
    let fields = root.fields(&["hairs_per_cm2", "scalp_cm2", "diameter_um", "zone_mm", "product_to_hair"])?;
    let zone = ZoneOfHair {
        hairs_per_cm2: fields.need("hairs_per_cm2")?.positive()?,
        scalp_cm2: fields.need("scalp_cm2")?.not_negative()?,
        diameter_um: fields.need("diameter_um")?.positive()?,
        zone_mm: fields.need("zone_mm")?.positive()?,
    };
    let amount = amount(zone, fields.need("product_to_hair")?.positive()?);
    if !amount.high_grams.is_finite() || !amount.product_grams.is_finite() {
        return Err(root.bad("these figures make more grams than can be counted"));
    }
    answer(&Answer {
        hair_grams: amount.hair_grams,
        product_grams: amount.product_grams,
        low_grams: amount.low_grams,
        high_grams: amount.high_grams,
    })
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
