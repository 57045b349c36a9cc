//! `rods`: turns, what they form, and how many rods a head takes.

use super::area::Area;
use super::kinds::{NotNegative, Positive};
use super::{BadInput, bad};
use crate::domain::rods::{
    CurlForm, END_PAPERS_PER_ROD, form_of, largest_rod_for_s_mm, rod_for, rods_for_head, turns,
};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

pub(super) struct Rods;

/// Which rod makes the wanted form of a section, and how many rods and end papers a head takes.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Question {
    /// Length of the section, stretched (mm).
    section_mm: Positive,
    /// C from 1.5 turns, S from 2.5.
    wanted: Wanted,
    /// Diameter of the rod; without it the largest whole half-millimetre that gives `wanted` (mm).
    rod_mm: Option<Positive>,
    /// Length of the rod (mm).
    rod_length_mm: Positive,
    /// Scalp to be wound (cm²).
    scalp_cm2: NotNegative,
}

#[derive(Clone, Copy, Deserialize, JsonSchema)]
#[schemars(inline)]
enum Wanted {
    C,
    S,
}

/// What depends on the rod is null when even the thinnest is too thick for the section.
#[derive(Serialize, JsonSchema)]
pub(super) struct Answer {
    /// Diameter of the rod (mm).
    rod_mm: Option<f64>,
    /// How often the section goes round it (turns).
    turns: Option<f64>,
    /// What that many turns form.
    forms: Option<Formed>,
    /// Rods for the whole scalp (rods).
    rods: Option<u64>,
    /// End papers, two for a rod (papers).
    end_papers: Option<u64>,
    /// The largest diameter that still gives an S (mm).
    largest_rod_for_s_mm: f64,
}

#[derive(Clone, Copy, Serialize, JsonSchema)]
#[schemars(inline)]
enum Formed {
    #[serde(rename = "less than C")]
    LessThanC,
    C,
    S,
}

fn formed(turns: f64) -> Formed {
    match form_of(turns) {
        Some(CurlForm::S) => Formed::S,
        Some(CurlForm::C) => Formed::C,
        None => Formed::LessThanC,
    }
}

impl Area for Rods {
    const NAME: &'static str = "rods";
    const EXAMPLE: &'static str =
        r#"{"section_mm":120,"wanted":"S","rod_mm":null,"rod_length_mm":80,"scalp_cm2":600}"#;
    type Question = Question;
    type Answer = Answer;

    fn answer(question: Question) -> Result<Answer, BadInput> {
        let section_mm = question.section_mm.0;
        let wanted = match question.wanted {
            Wanted::C => CurlForm::C,
            Wanted::S => CurlForm::S,
        };
        let rod_mm = question.rod_mm.map(|rod| rod.0).or_else(|| rod_for(section_mm, wanted));
        let turns = rod_mm.map(|rod_mm| turns(section_mm, rod_mm));
        let finite = |value: f64| value.is_finite();
        if !turns.is_none_or(finite) || !rod_mm.is_none_or(finite) {
            return Err(bad("", "these figures make no turns that can be counted"));
        }
        let count = |rod_mm| {
            rods_for_head(question.scalp_cm2.0, question.rod_length_mm.0, rod_mm)
                .ok_or_else(|| bad("", "these figures make more rods than can be counted"))
        };
        let rods = rod_mm.map(count).transpose()?;
        Ok(Answer {
            rod_mm,
            turns,
            forms: turns.map(formed),
            rods,
            end_papers: rods.map(|rods| rods * END_PAPERS_PER_ROD),
            largest_rod_for_s_mm: largest_rod_for_s_mm(section_mm),
        })
    }
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
