//! `tables/limits.toml`: what the law lets into a bottle.

use super::{Files, ReferenceFault, fault};
use crate::domain::chemistry::limits::{Hands, Ingredient, Limit, LimitTable, Place, Purpose};
use serde::Deserialize;

const FILE: &str = "tables/limits.toml";

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Table {
    ingredient: Vec<IngredientRow>,
    limit: Vec<LimitRow>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct IngredientRow {
    code: String,
    #[serde(rename = "as")]
    counted_as: String,
    /// The law's entry, when several entries count in one unit.
    entry: Option<String>,
    /// Molar mass of what it is counted as, then its own, g/mol.
    molar: Option<[f64; 2]>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct LimitRow {
    entry: String,
    places: Vec<String>,
    purposes: Vec<String>,
    annex: String,
    general: Option<f64>,
    professional: Option<f64>,
    ph: Option<[f64; 2]>,
    ph_most: Option<f64>,
    #[serde(default)]
    use_words: Vec<String>,
    #[serde(default)]
    general_words: Vec<String>,
    #[serde(default)]
    professional_words: Vec<String>,
    words_above: Option<WordsAbove>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WordsAbove {
    percent: f64,
    words: Vec<String>,
}

pub(super) fn load(files: &Files) -> Result<LimitTable, ReferenceFault> {
    let table: Table = files.toml(FILE)?;
    let mut entries: Vec<(String, String)> = Vec::new();
    let mut ingredients: Vec<Ingredient> = Vec::new();
    for row in table.ingredient {
        if ingredients.iter().any(|known| known.code == row.code) {
            return Err(fault(FILE, format!("ingredient {} is given twice", row.code)));
        }
        let factor = row.molar.map_or(1.0, |[counted, own]| counted / own);
        if !(factor > 0.0 && factor.is_finite()) {
            return Err(fault(FILE, format!("{}: molar masses are above 0", row.code)));
        }
        let entry = row.entry.unwrap_or_else(|| row.counted_as.clone());
        let substance = entries.iter().position(|(known, _)| *known == entry).unwrap_or_else(|| {
            entries.push((entry, row.counted_as));
            entries.len() - 1
        });
        ingredients.push(Ingredient { code: row.code, substance, factor });
    }
    let mut limits: Vec<Limit> = Vec::new();
    for row in &table.limit {
        let substance = entries
            .iter()
            .position(|(entry, _)| *entry == row.entry)
            .ok_or_else(|| fault(FILE, format!("no ingredient counts towards {}", row.entry)))?;
        for limit in row.limits(substance)? {
            let key = |l: &Limit| (l.substance, l.place, l.hands, l.purpose);
            if limits.iter().any(|known| key(known) == key(&limit)) {
                return Err(fault(FILE, format!("{}: one use is limited twice", row.entry)));
            }
            limits.push(limit);
        }
    }
    let substances = entries.into_iter().map(|(_, counted_as)| counted_as).collect();
    Ok(LimitTable { substances, ingredients, limits })
}

impl LimitRow {
    /// One limit for each place, purpose and pair of hands the row names.
    fn limits(&self, substance: usize) -> Result<Vec<Limit>, ReferenceFault> {
        let unknown = |code: &String| fault(FILE, format!("{}: unknown code {code}", self.entry));
        if self.general.is_some() != self.professional.is_some() {
            return Err(fault(FILE, format!("{}: a limit for one pair of hands only", self.entry)));
        }
        let mut limits = Vec::new();
        for place in &self.places {
            let place = Place::from_code(place).ok_or_else(|| unknown(place))?;
            for purpose in &self.purposes {
                let purpose = Purpose::from_code(purpose).ok_or_else(|| unknown(purpose))?;
                limits.extend(Hands::ALL.map(|hands| self.limit(substance, place, hands, purpose)));
            }
        }
        Ok(limits)
    }

    fn limit(&self, substance: usize, place: Place, hands: Hands, purpose: Purpose) -> Limit {
        let (percent, own_words) = match hands {
            Hands::General => (self.general, &self.general_words),
            Hands::Professional => (self.professional, &self.professional_words),
        };
        let (always, above) = (self.use_words.iter().chain(own_words), self.words_above.iter());
        let above = above.flat_map(|above| above.words.iter().map(|words| (above.percent, words.clone())));
        Limit {
            substance,
            place,
            hands,
            purpose,
            percent,
            ph_low: self.ph.map(|[low, _]| low),
            ph_high: self.ph.map(|[_, high]| high).or(self.ph_most),
            source: match place {
                Place::Eu => format!("Reg (EC) 1223/2009, {}", self.annex),
                Place::Uk => format!(
                    "UK retained Reg (EC) 1223/2009, {}; as in the EU at the end of 2020 (inference), later changes not checked",
                    self.annex
                ),
                Place::Us => self.annex.clone(),
            },
            must_say: always.map(|words| (0.0, words.clone())).chain(above).collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reference::Reference;

    fn check(
        place: Place,
        hands: Hands,
        contents: &[(&str, f64)],
        ph: Option<f64>,
    ) -> Vec<(f64, Option<f64>, Option<bool>)> {
        let table = &Reference::shipped().limits;
        let contents: Vec<_> =
            contents.iter().map(|(code, percent)| (table.find_ingredient(code).unwrap(), *percent)).collect();
        let checks = table.check((place, hands, Purpose::WavingStraightening), &contents, ph);
        checks.iter().map(|c| (c.percent, c.limit.percent, c.within)).collect()
    }

    /// The worked example of 3-calc.md.
    #[test]
    fn ammonium_thioglycolate_counts_as_the_acid() {
        let found = check(Place::Eu, Hands::Professional, &[("ammonium-thioglycolate", 11.0)], Some(9.2));
        assert_eq!(found.len(), 1);
        assert!((found[0].0 - 9.28).abs() < 0.005);
        assert_eq!((found[0].1, found[0].2), (Some(11.0), Some(true)));
    }

    #[test]
    fn hydroxides_are_summed_and_calcium_stands_alone() {
        let contents = [
            ("sodium-hydroxide", 1.0),
            ("calcium-hydroxide-with-guanidine", 7.0),
            ("lithium-hydroxide", 1.0),
        ];
        let found = check(Place::Uk, Hands::General, &contents, None);
        assert_eq!(found.len(), 2);
        assert!((found[0].0 - (1.0 + 40.0 / 23.95)).abs() < 1e-12);
        assert_eq!(found[0].2, Some(false));
        assert_eq!(found[1].2, Some(true));
    }

    #[test]
    fn where_no_law_speaks_nothing_is_judged() {
        assert_eq!(
            check(Place::Us, Hands::General, &[("sodium-hydroxide", 9.0)], Some(13.0)),
            [(9.0, None, None)]
        );
    }

    /// published.md §1 gives every ingredient a row in the EU for the use it is sold for, and the US says it has none.
    #[test]
    fn every_ingredient_has_an_answer_for_waving() {
        let table = &Reference::shipped().limits;
        for ingredient in &table.ingredients {
            for place in Place::ALL {
                assert_eq!(check(place, Hands::General, &[(&ingredient.code, 1.0)], None).len(), 1);
            }
        }
    }
}
