//! The product form as typed, and how it is read.

use serde::Deserialize;

use crate::domain::chemistry::family::Family;
use crate::domain::chemistry::limits::LimitTable;
use crate::domain::chemistry::rules::Strength;
use crate::domain::skin_test::is_never_left_on_skin;
use crate::domain::stock::{Base, Form, SkinTestKind, UseAs, use_fault};
use crate::store::products::{Product, Record};
use crate::web::form::Errors;
use crate::web::typed;

/// Rows of contents a form shows.
pub const CONTENT_ROWS: usize = 6;

/// As typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Typed {
    pub once: String,
    pub version: String,
    pub name: String,
    pub family: String,
    pub use_as: String,
    pub form: String,
    pub strength: String,
    pub ingredient: Vec<String>,
    pub percent: Vec<String>,
    pub ph: String,
    pub base: String,
    pub skin_test: String,
    pub forbids_closing: String,
    pub new_formula: String,
}

/// Contents as kept: ingredient code and percent.
pub fn contents(product: &Product) -> Vec<(String, f64)> {
    let rows = product.contents.as_array().map(Vec::as_slice).unwrap_or_default();
    let row = |x: &serde_json::Value| Some((x["ingredient"].as_str()?.to_string(), x["percent"].as_f64()?));
    rows.iter().filter_map(row).collect()
}

impl Typed {
    /// The form of a product that stands.
    pub fn of(p: &Product) -> Typed {
        let contents = contents(p);
        Typed {
            version: p.version.to_string(),
            name: p.name.clone(),
            family: p.family.clone(),
            use_as: p.use_as.clone(),
            form: p.form.clone(),
            strength: p.strength.clone(),
            ingredient: contents.iter().map(|(code, _)| code.clone()).collect(),
            percent: contents.iter().map(|(_, x)| typed::shown(*x)).collect(),
            ph: p.ph.map(|x| typed::shown(f64::from(x))).unwrap_or_default(),
            base: p.base.clone(),
            skin_test: p.skin_test.clone(),
            forbids_closing: if p.sheet_forbids_closing_after_stop { "yes".into() } else { String::new() },
            ..Typed::default()
        }
    }

    /// Reads the form; `standing` is the product being changed, whose family and use stay.
    pub fn read(&self, limits: &LimitTable, standing: Option<&Product>) -> (Option<Record>, Errors) {
        let mut e = Errors::none();
        let name = typed::needed(&mut e, "name", &self.name, 120, "Write the name on the label.");
        let family = standing.map_or(&self.family, |p| &p.family);
        let family = typed::code(&mut e, "family", family, Family::from_code, "Choose its chemistry.")
            .filter(|f| *f != Family::Unknown);
        let use_as = standing.map_or(&self.use_as, |p| &p.use_as);
        let use_as = typed::code(&mut e, "use_as", use_as, UseAs::from_code, "Choose what it is used as.");
        if let (Some(f), Some(u)) = (family, use_as)
            && let Some(words) = use_fault(f, u)
        {
            e.note("use_as", words);
        }
        let form = typed::code(&mut e, "form", &self.form, Form::from_code, "Choose what it looks like.");
        let strength =
            typed::code(&mut e, "strength", &self.strength, Strength::from_code, "Choose its strength.");
        let contents = self.read_contents(&mut e, limits);
        let ph = typed::number(&mut e, "ph", &self.ph, (0.0, 14.0), "the pH");
        let base =
            typed::code(&mut e, "base", &self.base, Base::from_code, "Choose what the sheet says of base.");
        let skin = typed::code(
            &mut e,
            "skin_test",
            &self.skin_test,
            SkinTestKind::from_code,
            "Choose the sheet's skin test.",
        );
        if skin == Some(SkinTestKind::Patch) && family.is_some_and(is_never_left_on_skin) {
            e.note("skin_test", "This chemistry is never left on skin: no skin test by the sheet.");
        }
        let sheet_forbids_closing_after_stop = self.forbids_closing == "yes";
        if family.is_none() && e.of("family").is_empty() {
            e.note("family", "Choose its chemistry.");
        }
        let whole = (family, use_as, form, strength, base, skin);
        let record = match whole {
            (Some(f), Some(u), Some(form), Some(strength), Some(base), Some(skin)) if e.is_empty() => {
                Some(Record {
                    name,
                    family: f.code(),
                    use_as: u.code(),
                    form: form.code(),
                    strength: strength.code(),
                    contents,
                    ph: ph.map(|x| x as f32),
                    base: base.code(),
                    skin_test: skin.code(),
                    sheet_forbids_closing_after_stop,
                })
            }
            _ => None,
        };
        (record, e)
    }

    fn read_contents(&self, e: &mut Errors, limits: &LimitTable) -> serde_json::Value {
        let mut rows = Vec::new();
        let mut sum = 0.0;
        for n in 0..CONTENT_ROWS.max(self.ingredient.len()).min(40) {
            let at = |list: &[String]| list.get(n).map(|x| x.trim().to_string()).unwrap_or_default();
            let (code, percent) = (at(&self.ingredient), at(&self.percent));
            if code.is_empty() && percent.is_empty() {
                continue;
            }
            let name = format!("ingredient_{n}");
            if limits.find_ingredient(&code).is_none() {
                e.note(name, "Choose an ingredient of the list, or empty the row.");
                continue;
            }
            let percent =
                typed::needed_number(e, &format!("percent_{n}"), &percent, (0.0, 100.0), "percent by weight");
            sum += percent;
            rows.push(serde_json::json!({ "ingredient": code, "percent": percent }));
        }
        if sum > 100.0 {
            e.note("percent_0", "Together these are more than 100 %.");
        }
        serde_json::Value::Array(rows)
    }
}
