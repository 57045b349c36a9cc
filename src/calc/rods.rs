//! `rods`: turns, what they form, and how many rods a head takes.

use serde::Serialize;

use super::{BadInput, Node, answer};
use crate::domain::rods::{
    CurlForm, END_PAPERS_PER_ROD, form_of, largest_rod_for_s_mm, rod_for, rods_for_head, turns,
};

/// What depends on the rod is null when even the thinnest is too thick for the section.
#[derive(Serialize)]
struct Answer {
    rod_mm: Option<f64>,
    turns: Option<f64>,
    forms: Option<&'static str>,
    rods: Option<u64>,
    end_papers: Option<u64>,
    largest_rod_for_s_mm: f64,
}

fn form_words(turns: f64) -> &'static str {
    match form_of(turns) {
        Some(CurlForm::S) => "S",
        Some(CurlForm::C) => "C",
        None => "less than C",
    }
}

/// Computes one document.
pub(super) fn run(root: Node<'_>) -> Result<String, BadInput> {
    let fields = root.fields(&["section_mm", "wanted", "rod_mm", "rod_length_mm", "scalp_cm2"])?;
    let section_mm = fields.need("section_mm")?.positive()?;
    let wanted = fields.need("wanted")?.one_of(&[("C", CurlForm::C), ("S", CurlForm::S)])?;
    let given_mm = fields.find("rod_mm").map(|node| node.positive()).transpose()?;
    let rod_length_mm = fields.need("rod_length_mm")?.positive()?;
    let scalp_cm2 = fields.need("scalp_cm2")?.not_negative()?;

    let rod_mm = given_mm.or_else(|| rod_for(section_mm, wanted));
    let turns = rod_mm.map(|rod_mm| turns(section_mm, rod_mm));
    let finite = |value: f64| value.is_finite();
    if !turns.is_none_or(finite) || !rod_mm.is_none_or(finite) {
        return Err(root.bad("these figures make no turns that can be counted"));
    }
    let rods = match rod_mm {
        None => None,
        Some(rod_mm) => Some(
            rods_for_head(scalp_cm2, rod_length_mm, rod_mm)
                .ok_or_else(|| root.bad("these figures make more rods than can be counted"))?,
        ),
    };
    answer(&Answer {
        rod_mm,
        turns,
        forms: turns.map(form_words),
        rods,
        end_papers: rods.map(|rods| rods * END_PAPERS_PER_ROD),
        largest_rod_for_s_mm: largest_rod_for_s_mm(section_mm),
    })
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    use super::super::run;

    fn ask(input: &Value) -> Result<Value, String> {
        let text = run("rods", input.to_string().as_bytes()).map_err(|bad| bad.at)?;
        Ok(serde_json::from_str(&text).unwrap())
    }

    fn contract() -> Value {
        json!({"section_mm": 120, "wanted": "S", "rod_mm": null, "rod_length_mm": 80, "scalp_cm2": 600})
    }

    #[test]
    fn the_example_of_the_contract_is_answered() {
        let answer = ask(&contract()).unwrap();
        assert_eq!(answer["rod_mm"], 15.0);
        assert_eq!(answer["forms"], "S");
        assert_eq!(answer["rods"], 50);
        assert_eq!(answer["end_papers"], 100);
        assert!((answer["largest_rod_for_s_mm"].as_f64().unwrap() - 15.278_874_536_8).abs() < 1e-9);
    }

    #[test]
    fn hair_too_short_for_any_rod_leaves_the_rest_null() {
        let mut input = contract();
        input["section_mm"] = json!(3);
        let answer = ask(&input).unwrap();
        assert_eq!(answer["rod_mm"], Value::Null);
        assert_eq!(answer["rods"], Value::Null);
        input["rod_mm"] = json!(5);
        assert_eq!(ask(&input).unwrap()["forms"], "less than C");
    }

    #[test]
    fn bad_figures_are_refused_at_their_place() {
        for (field, value) in [
            ("section_mm", json!(0)),
            ("wanted", json!("Z")),
            ("rod_mm", json!(-1)),
            ("rod_length_mm", json!("80")),
            ("scalp_cm2", json!(-0.1)),
            ("colour", json!(1)),
        ] {
            let mut input = contract();
            input[field] = value;
            assert_eq!(ask(&input), Err(format!("/{field}")));
        }
        let mut wild = contract();
        wild["scalp_cm2"] = json!(1e300);
        assert_eq!(ask(&wild), Err(String::new()));
        wild = contract();
        wild["rod_mm"] = json!(1e-320);
        assert_eq!(ask(&wild), Err(String::new()));
    }
}
