//! `limits`: contents against the law, in the law's own unit.

use super::area::Area;
use super::codes::Coded;
use super::kinds::{Items, NotNegative, Number};
use super::typed::repeated;
use super::{BadInput, bad};
use crate::domain::chemistry::limits::{Hands, Place, Purpose, Unlimited};
use crate::reference::Reference;
use schemars::{JsonSchema, Schema};
use serde::{Deserialize, Serialize};

pub(super) struct Limits;

/// Whether contents keep within the law, in the law's own unit, and which words the label must carry.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Question {
    /// Whose law: European Union, United Kingdom or United States.
    place: Coded<Place>,
    /// Sold to anybody, or for professional use.
    r#use: Coded<Hands>,
    /// What the product is for.
    purpose: Coded<Purpose>,
    /// What is in the product, ready for use.
    contents: Items<Content>,
    /// pH of the product, ready for use; without it a pH window is shown and not judged.
    ph: Option<Number>,
}

/// One ingredient.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct Content {
    /// The ingredient as the label names it.
    #[schemars(transform = known_ingredients)]
    ingredient: String,
    /// How much of it (% w/w).
    percent: NotNegative,
}

fn known_ingredients(schema: &mut Schema) {
    let codes: Vec<&str> =
        Reference::shipped().limits.ingredients.iter().map(|ingredient| ingredient.code.as_str()).collect();
    schema.insert("enum".into(), codes.into());
}

/// What the law says, and what it says nothing about.
#[derive(Serialize, JsonSchema)]
pub(super) struct Answer {
    /// One check for each limited substance; what the law sums is summed in one.
    checks: Vec<CheckAnswer>,
    /// Substances that no entry on file speaks of at this place, for this use and purpose.
    unlimited: Vec<UnlimitedAnswer>,
}

/// One limited substance.
#[derive(Serialize, JsonSchema)]
struct CheckAnswer {
    /// The substance the law counts in.
    r#as: &'static str,
    /// All its ingredients together, counted as that substance (% w/w).
    percent: f64,
    /// Highest percentage allowed, 0 where it is forbidden; null where no law on file speaks (% w/w).
    limit_percent: Option<f64>,
    /// Lowest pH allowed; null without a window.
    ph_low: Option<f64>,
    /// Highest pH allowed; null without a window.
    ph_high: Option<f64>,
    /// Whether percentage and pH keep within, edges included; null where nothing can be judged.
    within: Option<bool>,
    /// The legal text, or the words that there is none.
    source: &'static str,
    /// Words the label must carry at this percentage.
    must_say: Vec<&'static str>,
}

/// A substance the law on file says nothing about here.
#[derive(Serialize, JsonSchema)]
struct UnlimitedAnswer {
    /// The substance.
    r#as: &'static str,
    /// All its ingredients together, counted as that substance (% w/w).
    percent: f64,
    /// That nothing is said, and where nothing was found.
    says: String,
}

impl Area for Limits {
    const NAME: &'static str = "limits";
    const EXAMPLE: &'static str = r#"{"place":"eu","use":"professional","purpose":"waving-straightening",
 "contents":[{"ingredient":"ammonium-thioglycolate","percent":11.0},{"ingredient":"ammonia","percent":1.0}],
 "ph":9.2}"#;
    type Question = Question;
    type Answer = Answer;

    fn answer(question: Question) -> Result<Answer, BadInput> {
        let table = &Reference::shipped().limits;
        let asked = (question.place.0, question.r#use.0, question.purpose.0);
        let mut contents = Vec::with_capacity(question.contents.0.len());
        for (i, Content { ingredient, percent }) in question.contents.0.iter().enumerate() {
            let known = table.find_ingredient(ingredient).ok_or_else(|| {
                bad(
                    format!("/contents/{i}/ingredient"),
                    format!("no such ingredient: {}", repeated(ingredient)),
                )
            })?;
            contents.push((known, percent.0));
        }
        let checks = table.check(asked, &contents, question.ph.map(|ph| ph.0));
        let unlimited = table.unlimited(asked, &contents);
        let mut percents =
            checks.iter().map(|check| check.percent).chain(unlimited.iter().map(|u| u.percent));
        if percents.any(|percent| !percent.is_finite()) {
            return Err(bad("", "these percentages are too large to add up"));
        }
        let checks = checks.iter().map(|check| CheckAnswer {
            r#as: check.counted_as,
            percent: check.percent,
            limit_percent: check.limit.percent,
            ph_low: check.limit.ph_low,
            ph_high: check.limit.ph_high,
            within: check.within,
            source: &check.limit.source,
            must_say: check.must_say().collect(),
        });
        let unlimited = unlimited.iter().map(|found| silence(found, asked));
        Ok(Answer { checks: checks.collect(), unlimited: unlimited.collect() })
    }
}

fn silence(found: &Unlimited<'static>, (place, hands, purpose): (Place, Hands, Purpose)) -> UnlimitedAnswer {
    let where_ = format!("{}, {}, {}", place.words(), hands.words(), purpose.words());
    UnlimitedAnswer {
        r#as: found.counted_as,
        percent: found.percent,
        says: format!("No entry on file limits it ({where_}); other law may, and the product's sheet does."),
    }
}
