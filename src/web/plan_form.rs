//! The form of a plan: which product goes where, what is typed kept.

use crate::domain::length;
use std::collections::BTreeMap;

use crate::domain::ids::ProductId;
use crate::domain::protocol::{PlannedApplication, PlannedZone, Protocol};
use crate::domain::strand::Zone;
use crate::flow::plan_checks::{Asked, PlannedTrim, fits};
use crate::store::plans::Plan;
use crate::store::products::Product;
use crate::web::form::{Choice, Errors};
use crate::web::typed;

/// Fields as sent; a plan has at most twelve applications.
pub type Typed = BTreeMap<String, String>;

const ZONES: [(&str, &str); 4] = [
    ("new-growth", mark!("new growth")),
    ("root-to-end", mark!("root to end")),
    ("between", mark!("from … to …")),
    ("ends-from", mark!("from … to the ends")),
];
/// Longest hair that is planned for, mm.
const LONGEST_MM: f64 = 3000.0;

/// One application's fields.
pub struct Fields {
    pub letter: char,
    pub title: String,
    pub product_name: String,
    pub products: Vec<Choice>,
    pub zone_name: String,
    pub zones: Vec<Choice>,
    pub from_name: String,
    pub from: String,
    pub to_name: String,
    pub to: String,
}

fn value<'a>(typed: &'a Typed, name: &str) -> &'a str {
    typed.get(name).map_or("", String::as_str)
}

/// The fields of every application, filled with what was typed, or as the protocol has it.
pub fn fields(protocol: &Protocol, shelf: &[Product], typed: &Typed) -> Vec<Fields> {
    protocol.applications.iter().map(|a| application_fields(a, shelf, typed)).collect()
}

fn application_fields(a: &PlannedApplication, shelf: &[Product], typed: &Typed) -> Fields {
    let name = |what: &str| format!("{what}_{}", a.letter);
    let fitting: Vec<(String, String)> = shelf
        .iter()
        .filter(|p| fits(a, p))
        .map(|p| (p.product_id.to_string(), product_words(&p.name, &p.strength)))
        .collect();
    let (product, zone) = (value(typed, &name("product")), value(typed, &name("zone")));
    let zone = if zone.is_empty() { a.zone.code() } else { zone };
    Fields {
        letter: a.letter,
        title: a.title.clone(),
        product_name: name("product"),
        products: Choice::names(fitting.iter().map(|(id, words)| (id.as_str(), words.as_str())), &[product]),
        zone_name: name("zone"),
        zones: Choice::list(ZONES, &[zone]),
        from_name: name("from"),
        from: value(typed, &name("from")).into(),
        to_name: name("to"),
        to: value(typed, &name("to")).into(),
    }
}

/// The choices of a trim's answer.
pub fn answers(typed: &Typed) -> Vec<Choice> {
    let said = value(typed, "trim_agreed");
    Choice::list(
        [("", tr!("not asked yet")), ("yes", tr!("the client says yes")), ("no", tr!("the client says no"))],
        &[said],
    )
}

/// What is asked for, read; errors name the field.
pub fn read(
    protocol: &Protocol,
    shelf: &[Product],
    typed: &Typed,
    errors: &mut Errors,
) -> (Vec<Asked>, Option<PlannedTrim>) {
    let mut asked = Vec::new();
    for a in &protocol.applications {
        let name = |what: &str| format!("{what}_{}", a.letter);
        let product = typed::code(
            errors,
            &name("product"),
            value(typed, &name("product")),
            |c| {
                let id = c.parse::<i64>().ok()?;
                shelf.iter().find(|p| p.product_id == id && fits(a, p)).map(|p| ProductId(p.product_id))
            },
            tr!("Choose one of the products on the Shelf that fit."),
        );
        let zone = read_zone(a, typed, errors);
        if let (Some(product), Some(zone)) = (product, zone) {
            asked.push(Asked { letter: a.letter, product, zone });
        }
    }
    (asked, read_trim(typed, errors))
}

fn read_zone(a: &PlannedApplication, typed: &Typed, errors: &mut Errors) -> Option<Zone> {
    let name = |what: &str| format!("{what}_{}", a.letter);
    let mut mm = |what: &str, words: &str| {
        typed::needed_length(errors, &name(what), value(typed, &name(what)), (0.0, LONGEST_MM), words)
    };
    match value(typed, &name("zone")) {
        "" => Some(match a.zone {
            PlannedZone::NewGrowth => Zone::NewGrowth,
            PlannedZone::RootToEnd => Zone::RootToEnd,
        }),
        "new-growth" => Some(Zone::NewGrowth),
        "root-to-end" => Some(Zone::RootToEnd),
        "ends-from" => Some(Zone::EndsFrom(mm("from", tr!("where it begins, from the scalp, stretched")))),
        "between" => {
            let from = mm("from", tr!("where it begins, from the scalp, stretched"));
            let to = mm("to", tr!("where it ends, from the scalp, stretched"));
            if to <= from {
                if errors.of(&name("to")).is_empty() && errors.of(&name("from")).is_empty() {
                    errors.note(name("to"), tr!("It ends behind where it begins: write a larger number."));
                }
                return None;
            }
            Some(Zone::Between(from, to))
        }
        _ => {
            errors.note(name("zone"), tr!("Choose one of the zones."));
            None
        }
    }
}

fn read_trim(typed: &Typed, errors: &mut Errors) -> Option<PlannedTrim> {
    let asked = value(typed, "put_trim");
    if !asked.is_empty() {
        let mm = typed::length(errors, "trim_mm", asked, (1.0, LONGEST_MM), tr!("the trim"))?;
        return Some(PlannedTrim { mm, agreed: None });
    }
    let mm = typed::length(errors, "trim_mm", value(typed, "trim_mm"), (1.0, LONGEST_MM), tr!("the trim"))?;
    let agreed = match value(typed, "trim_agreed") {
        "" => None,
        "yes" => Some(true),
        "no" => Some(false),
        _ => {
            errors.note("trim_agreed", tr!("Choose what the client said."));
            None
        }
    };
    Some(PlannedTrim { mm, agreed })
}

/// A kept plan as the form shows it again.
pub fn of(plan: &Plan) -> Typed {
    let mut typed = Typed::new();
    for a in plan.applications.iter() {
        let mut put = |what: &str, v: String| typed.insert(format!("{what}_{}", a.letter), v);
        put("product", a.product_id.to_string());
        put("zone", a.zone.clone());
        put("from", a.from_mm.map(length::written).unwrap_or_default());
        put("to", a.to_mm.map(length::written).unwrap_or_default());
    }
    typed.insert("trim_mm".into(), plan.trim_mm.map(|mm| length::written(f64::from(mm))).unwrap_or_default());
    let said = match plan.trim_agreed {
        Some(true) => "yes",
        Some(false) => "no",
        None => "",
    };
    typed.insert("trim_agreed".into(), said.into());
    typed
}

/// A product with its strength, said once where the name says it already.
fn product_words(name: &str, strength: &str) -> String {
    if name.to_lowercase().contains(strength) { name.to_owned() } else { format!("{name}, {strength}") }
}
