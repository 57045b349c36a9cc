//! The product form: as typed, how it is read, as shown.

use askama::Template;
use serde::Deserialize;
use time::OffsetDateTime;

use crate::domain::chemistry::family::Family;
use crate::domain::chemistry::limits::LimitTable;
use crate::domain::chemistry::rules::Strength;
use crate::domain::gs1::Gtin;
use crate::domain::ids::ProductId;
use crate::domain::skin_test::is_never_left_on_skin;
use crate::domain::stock::{Base, Form, LOW_GRAMS, SkinTestKind, UseAs, use_fault};
use crate::flow::lots::{contents_of, kept_contents};
use crate::store::products::{self, Product, Record};
use crate::store::{Scoped, Stored};
use crate::web::contents::{self, ContentRow};
use crate::web::form::{Choice, Errors};
use crate::web::seat::Seat;
use crate::web::shelf::{family_words, use_words};
use crate::web::shell::Shell;
use crate::web::{once, page, typed};

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
    pub gtin: String,
    pub low_grams: String,
    pub mixed_life_min: String,
    pub parts: Vec<String>,
    /// What the scanner read, where the form came from a scan: the lot follows.
    pub scan: String,
}

impl Typed {
    /// The form of a product that stands.
    pub fn of(p: &Product, parts: &[(i64, String)]) -> Typed {
        let contents = contents_of(&p.contents);
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
            gtin: p.gtin.clone().unwrap_or_default(),
            low_grams: typed::shown(f64::from(p.low_grams)),
            mixed_life_min: p.mixed_life_min.map(|m| m.to_string()).unwrap_or_default(),
            parts: parts.iter().map(|(id, _)| id.to_string()).collect(),
            ..Typed::default()
        }
    }

    /// Reads the form; `standing` is the product being changed, whose family and use stay; `others` may be mixed with it.
    pub fn read(
        &self,
        limits: &LimitTable,
        standing: Option<&Product>,
        others: &[(i64, String)],
    ) -> (Option<Record>, Errors) {
        let mut e = Errors::none();
        let name = typed::needed(&mut e, "name", &self.name, 120, tr!("Write the name on the label."));
        let gtin = self.read_gtin(&mut e);
        let (family, use_as) = self.read_uses(&mut e, standing);
        let form =
            typed::code(&mut e, "form", &self.form, Form::from_code, tr!("Choose what it looks like."));
        let strength =
            typed::code(&mut e, "strength", &self.strength, Strength::from_code, tr!("Choose its strength."));
        let contents = contents::read(&mut e, limits, &self.ingredient, &self.percent);
        let ph = typed::number(&mut e, "ph", &self.ph, (0.0, 14.0), tr!("the pH"));
        let low = typed::number(
            &mut e,
            "low_grams",
            &self.low_grams,
            (0.0, 100_000.0),
            tr!("the grams wished for"),
        );
        let what = tr!("the minutes a mixture may be used");
        let life = typed::number(&mut e, "mixed_life_min", &self.mixed_life_min, (1.0, 240.0), what);
        let known = |id: &ProductId| others.iter().any(|(other, _)| *other == id.0);
        let parts: Vec<ProductId> =
            self.parts.iter().filter_map(|id| id.parse().ok()).filter(known).collect();
        if parts.len() != self.parts.len() {
            e.note("parts", tr!("One of these is not on the shelf any more: choose again."));
        }
        let base = typed::code(
            &mut e,
            "base",
            &self.base,
            Base::from_code,
            tr!("Choose what the sheet says of base."),
        );
        let words = tr!("Choose the sheet's skin test.");
        let skin = typed::code(&mut e, "skin_test", &self.skin_test, SkinTestKind::from_code, words);
        if skin == Some(SkinTestKind::Patch) && family.is_some_and(is_never_left_on_skin) {
            e.note("skin_test", tr!("This chemistry is never left on skin: no skin test by the sheet."));
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
                    contents: kept_contents(&contents),
                    ph: ph.map(|x| x as f32),
                    base: base.code(),
                    skin_test: skin.code(),
                    sheet_forbids_closing_after_stop: self.forbids_closing == "yes",
                    gtin: gtin.map(|g| g.digits().to_string()),
                    low_grams: low.map_or(LOW_GRAMS, |x| x as f32),
                    // Rounded to the stricter side.
                    mixed_life_min: life.map(|x| x.floor() as i16),
                    parts,
                })
            }
            _ => None,
        };
        (record, e)
    }

    fn read_uses(&self, e: &mut Errors, standing: Option<&Product>) -> (Option<Family>, Option<UseAs>) {
        let family = standing.map_or(&self.family, |p| &p.family);
        let known = |code: &str| Family::from_code(code).filter(|f| *f != Family::Unknown);
        let family = typed::code(e, "family", family, known, tr!("Choose its chemistry."));
        let use_as = standing.map_or(&self.use_as, |p| &p.use_as);
        let use_as = typed::code(e, "use_as", use_as, UseAs::from_code, tr!("Choose what it is used as."));
        if let (Some(f), Some(u)) = (family, use_as)
            && let Some(words) = use_fault(f, u)
        {
            e.note("use_as", words);
        }
        (family, use_as)
    }

    fn read_gtin(&self, e: &mut Errors) -> Option<Gtin> {
        let digits: String = self.gtin.chars().filter(|c| !matches!(c, ' ' | '-')).collect();
        if digits.is_empty() {
            return None;
        }
        Gtin::read(&digits)
            .map_err(|_| {
                e.note("gtin", tr!("Write the number under the bars, 8, 12, 13 or 14 digits: its last digit does not fit the others."));
            })
            .ok()
    }
}

#[derive(Template)]
#[template(path = "shelf/product_form.html")]
pub struct FormPage {
    shell: Shell,
    errors: Errors,
    typed: Typed,
    once_key: String,
    action: String,
    back: String,
    /// None for a new product; else its family and use in words, which stay.
    standing: Option<(&'static str, &'static str)>,
    families: Vec<Choice>,
    uses: Vec<Choice>,
    forms: Vec<Choice>,
    strengths: Vec<Choice>,
    rows: Vec<ContentRow>,
    bases: Vec<Choice>,
    skin_tests: Vec<Choice>,
    forbids: Vec<Choice>,
    new_formula: Vec<Choice>,
    /// Products it may be mixed with; empty where the shelf has none.
    parts: Vec<Choice>,
}

/// What a product may be mixed with: activators and developers, which are used as nothing by themselves, by name.
pub async fn others(s: &mut Scoped, standing: Option<&Product>) -> Stored<Vec<(i64, String)>> {
    let kept = match standing {
        Some(p) => products::list_parts(s, ProductId(p.product_id)).await?,
        None => Vec::new(),
    };
    let own = standing.map(|p| p.product_id);
    let fits = |p: &Product| {
        let used = p.retired_at.is_none() && p.use_as == UseAs::Other.code();
        Some(p.product_id) != own && (used || kept.iter().any(|(id, _)| *id == p.product_id))
    };
    Ok(products::list(s).await?.into_iter().filter(fits).map(|p| (p.product_id, p.name)).collect())
}

/// The form with what was typed and what is wrong with it; `others` may be mixed with it.
pub fn form_page(
    seat: &Seat,
    now: OffsetDateTime,
    (p, others): (Option<&Product>, &[(i64, String)]),
    typed: Typed,
    errors: Errors,
) -> FormPage {
    let families = Family::ALL.into_iter().filter(|f| *f != Family::Unknown).map(|f| (f.code(), f.words()));
    let base = p.map(|p| format!("/shelf/products/{}", p.product_id));
    let pick = |pairs: Vec<(&str, &str)>, chosen: &str| Choice::list(pairs, &[chosen]);
    let action = match &base {
        Some(b) => format!("{b}/label"),
        None if typed.scan.is_empty() => "/shelf/products".into(),
        None => format!("/shelf/products?scan={}", page::query_value(&typed.scan)),
    };
    FormPage {
        shell: seat.shell(now, "/shelf", &[]),
        once_key: once::key(),
        action,
        back: base.unwrap_or_else(|| "/shelf".into()),
        standing: p.map(|p| (family_words(&p.family), use_words(&p.use_as))),
        families: pick(std::iter::once(("", tr!("choose"))).chain(families).collect(), &typed.family),
        uses: pick(UseAs::ALL.map(|x| (x.code(), x.words())).to_vec(), &typed.use_as),
        forms: pick(Form::ALL.map(|x| (x.code(), x.words())).to_vec(), &typed.form),
        strengths: pick(Strength::ALL.map(|x| (x.code(), x.words())).to_vec(), &typed.strength),
        rows: contents::rows(&seat.app.reference.limits, &typed.ingredient, &typed.percent),
        bases: pick(Base::ALL.map(|x| (x.code(), x.words())).to_vec(), &typed.base),
        skin_tests: pick(SkinTestKind::ALL.map(|x| (x.code(), x.words())).to_vec(), &typed.skin_test),
        forbids: pick(
            vec![("yes", tr!("The sheet forbids neutralising or normalising after a stop"))],
            &typed.forbids_closing,
        ),
        new_formula: pick(
            vec![("yes", tr!("New formula: patch tests and strand tests of the old one no longer hold"))],
            &typed.new_formula,
        ),
        parts: {
            let ids: Vec<String> = others.iter().map(|(id, _)| id.to_string()).collect();
            let chosen: Vec<&str> = typed.parts.iter().map(String::as_str).collect();
            Choice::names(ids.iter().zip(others).map(|(id, (_, name))| (id.as_str(), name.as_str())), &chosen)
        },
        errors,
        typed,
    }
}
