//! What the law lets into a bottle: contents compared in the law's own unit.

use super::family::coded;

coded! {
    /// Where the law is read.
    Place {
        /// European Union.
        Eu = "eu", "European Union";
        /// United Kingdom.
        Uk = "uk", "United Kingdom";
        /// United States.
        Us = "us", "United States";
    }
}

coded! {
    /// Who uses the product.
    Hands {
        /// Sold to anybody.
        General = "general", "general use";
        /// Professional use.
        Professional = "professional", "professional use";
    }
}

coded! {
    /// What the product is for.
    Purpose {
        /// Waving or straightening.
        WavingStraightening = "waving-straightening", "waving or straightening";
        /// Neutralising.
        Neutralising = "neutralising", "neutralising";
        /// Permanent colour.
        OxidativeColour = "oxidative-colour", "oxidative colour";
    }
}

/// One ingredient as a label names it, and what the law counts it as.
#[derive(Clone, Debug, PartialEq)]
pub struct Ingredient {
    /// Code, as contents name it.
    pub code: String,
    /// Index of its substance in [`LimitTable::substances`].
    pub substance: usize,
    /// Multiplies a percentage of the ingredient into one of the substance (ratio of molar masses, or 1).
    pub factor: f64,
}

/// One entry of a law.
#[derive(Clone, Debug, PartialEq)]
pub struct Limit {
    /// Index of the substance.
    pub substance: usize,
    /// Where.
    pub place: Place,
    /// For whom.
    pub hands: Hands,
    /// For what.
    pub purpose: Purpose,
    /// Highest percentage in the ready-for-use product; 0 is forbidden, `None`: no law on file speaks.
    pub percent: Option<f64>,
    /// Lowest pH allowed, ready for use.
    pub ph_low: Option<f64>,
    /// Highest pH allowed, ready for use.
    pub ph_high: Option<f64>,
    /// The legal text, or the words that there is none.
    pub source: String,
    /// What the label must say, each with the percentage above which it must.
    pub must_say: Vec<(f64, String)>,
}

/// All entries, checked by the loader.
#[derive(Clone, Debug, PartialEq)]
pub struct LimitTable {
    /// What the law counts in ("thioglycolic-acid").
    pub substances: Vec<String>,
    /// Every known ingredient.
    pub ingredients: Vec<Ingredient>,
    /// Every entry.
    pub limits: Vec<Limit>,
}

/// The answer for one limited substance.
#[derive(Clone, Debug, PartialEq)]
pub struct Check<'t> {
    /// The entry it was judged by.
    pub limit: &'t Limit,
    /// The substance's code.
    pub counted_as: &'t str,
    /// Percentage of all its ingredients together, in the law's unit.
    pub percent: f64,
    /// Percentage and pH within the entry; `None` when nothing can be judged.
    pub within: Option<bool>,
}

impl<'t> Check<'t> {
    /// The words the label must carry at this percentage.
    pub fn must_say(&self) -> impl Iterator<Item = &'t str> + use<'t> {
        let (limit, percent) = (self.limit, self.percent);
        let above = move |(from, _): &&(f64, String)| percent > *from || *from == 0.0;
        limit.must_say.iter().filter(above).map(|(_, words)| words.as_str())
    }
}

impl LimitTable {
    /// The ingredient of a code.
    pub fn find_ingredient(&self, code: &str) -> Option<&Ingredient> {
        self.ingredients.iter().find(|ingredient| ingredient.code == code)
    }

    /// One check for each limited substance among `contents` (ingredient, percent w/w), in the order they are met.
    pub fn check(
        &self,
        (place, hands, purpose): (Place, Hands, Purpose),
        contents: &[(&Ingredient, f64)],
        ph: Option<f64>,
    ) -> Vec<Check<'_>> {
        let mut checks: Vec<Check<'_>> = Vec::new();
        for (ingredient, percent) in contents {
            let counted = percent * ingredient.factor;
            if let Some(known) = checks.iter_mut().find(|c| c.limit.substance == ingredient.substance) {
                known.percent += counted;
                continue;
            }
            let speaks = |limit: &&Limit| {
                (limit.substance, limit.place, limit.hands, limit.purpose)
                    == (ingredient.substance, place, hands, purpose)
            };
            if let Some(limit) = self.limits.iter().find(speaks) {
                let counted_as = self.substances[ingredient.substance].as_str();
                checks.push(Check { limit, counted_as, percent: counted, within: None });
            }
        }
        for check in &mut checks {
            check.within = judge(check.limit, check.percent, ph);
        }
        checks
    }
}

/// A substance no entry speaks of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unlimited<'t> {
    /// The substance's code.
    pub counted_as: &'t str,
    /// Percentage of all its ingredients together, in the substance's unit.
    pub percent: f64,
}

impl LimitTable {
    /// The substances among `contents` that no entry on file speaks of there, in the order they are met.
    pub fn unlimited(
        &self,
        (place, hands, purpose): (Place, Hands, Purpose),
        contents: &[(&Ingredient, f64)],
    ) -> Vec<Unlimited<'_>> {
        let asked = (place, hands, purpose);
        let mut found: Vec<(usize, f64)> = Vec::new();
        for (ingredient, percent) in contents {
            let counted = percent * ingredient.factor;
            match found.iter_mut().find(|(substance, _)| *substance == ingredient.substance) {
                Some((_, percent)) => *percent += counted,
                None => found.push((ingredient.substance, counted)),
            }
        }
        let speaks = |substance: usize| {
            self.limits.iter().any(|l| l.substance == substance && (l.place, l.hands, l.purpose) == asked)
        };
        found.retain(|(substance, _)| !speaks(*substance));
        let named = |(substance, percent): (usize, f64)| Unlimited {
            counted_as: self.substances[substance].as_str(),
            percent,
        };
        found.into_iter().map(named).collect()
    }
}

/// Edges are included; without a pH reading the window is not judged.
fn judge(limit: &Limit, percent: f64, ph: Option<f64>) -> Option<bool> {
    let amount = limit.percent.map(|most| percent <= most);
    let windowed = limit.ph_low.is_some() || limit.ph_high.is_some();
    let acid = ph
        .filter(|_| windowed)
        .map(|ph| limit.ph_low.is_none_or(|low| ph >= low) && limit.ph_high.is_none_or(|high| ph <= high));
    match (amount, acid) {
        (None, None) => None,
        (amount, acid) => Some(amount.unwrap_or(true) && acid.unwrap_or(true)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn limit(percent: Option<f64>, ph: Option<(f64, f64)>) -> Limit {
        Limit {
            substance: 0,
            place: Place::Eu,
            hands: Hands::General,
            purpose: Purpose::WavingStraightening,
            percent,
            ph_low: ph.map(|p| p.0),
            ph_high: ph.map(|p| p.1),
            source: String::new(),
            must_say: vec![],
        }
    }

    #[test]
    fn edges_are_within_and_a_missing_ph_is_not_judged() {
        let thio = limit(Some(8.0), Some((7.0, 9.5)));
        assert_eq!(judge(&thio, 8.0, Some(9.5)), Some(true));
        assert_eq!(judge(&thio, 8.0, Some(7.0)), Some(true));
        assert_eq!(judge(&thio, 8.0, Some(9.51)), Some(false));
        assert_eq!(judge(&thio, 8.01, None), Some(false));
        assert_eq!(judge(&thio, 8.0, None), Some(true));
        assert_eq!(judge(&limit(None, None), 8.0, Some(9.0)), None);
        assert_eq!(judge(&limit(Some(0.0), None), 0.1, None), Some(false));
    }
}
