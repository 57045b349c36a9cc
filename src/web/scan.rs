//! One field for a wedge scanner: what it types and ends with Enter finds the lot.

use askama::Template;
use axum_extra::extract::Query;
use serde::Deserialize;
use time::OffsetDateTime;

use crate::calendar::day_words;
use crate::domain::access::Act;
use crate::domain::gs1::{self, Elements, Gtin, Scan};
use crate::domain::ids::ProductId;
use crate::store::Scoped;
use crate::store::{lots, products};
use crate::web::clients::zone;
use crate::web::problem::{Answered, Problem};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::shell::Shell;
use crate::web::{page, typed};

/// The route of this field.
pub const LINES: &[Line] = lines![get "/shelf/scan" Open::To(Act::SeeShelf) => find];

/// What was scanned or typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Scanned {
    pub code: String,
}

/// What a scan came to.
enum Came {
    /// One thing: go there.
    To(String),
    /// Several lots of one code: product, lot, link.
    Several(Vec<(String, String)>),
    /// No product has this number.
    NoProduct(Gtin),
    /// No lot is called so.
    NoLot(String),
}

#[derive(Template)]
#[template(path = "shelf/scan.html")]
struct ScanPage {
    shell: Shell,
    answer: String,
    code: String,
    /// What was understood, part by part.
    parts: Vec<(&'static str, String)>,
    fault: String,
    several: Vec<(String, String)>,
    /// The number no product has; empty where that is not the matter.
    number: String,
    /// Products without a number: a lot of one of them may be meant.
    products: Vec<(String, String)>,
    new_product: String,
    may_keep: bool,
}

fn parts(e: &Elements) -> Vec<(&'static str, String)> {
    let day = |d: time::Date| format!("{} {}", day_words(d), d.year());
    let mut parts = Vec::new();
    let mut say = |what, value: Option<String>| parts.extend(value.map(|v| (what, v)));
    say(tr!("Number (GTIN)"), e.gtin.as_ref().map(|g| g.digits().to_string()));
    say(tr!("Lot"), e.lot.clone());
    say(tr!("Best before"), e.best_before.map(day));
    say(tr!("Use by"), e.use_by.map(day));
    say(tr!("Made on"), e.made_on.map(day));
    say(tr!("Serial number"), e.serial.clone());
    say(tr!("Pieces"), e.count.map(|n| n.to_string()));
    say(tr!("Net weight"), e.grams().map(|g| format!("{} g", typed::shown(g))));
    parts
}

async fn lots_of(
    s: &mut Scoped,
    code: &str,
    product: Option<ProductId>,
) -> Result<Vec<(String, String)>, Problem> {
    let mut found = Vec::new();
    for (lot, product) in lots::list_by_code(s, code, product).await? {
        let name = products::find(s, ProductId(product)).await?.map(|p| p.name).unwrap_or_default();
        found.push((tr!("{name}, lot {code}", name = name, code = code), format!("/shelf/lots/{lot}")));
    }
    Ok(found)
}

fn one_or_several(mut found: Vec<(String, String)>) -> Option<Came> {
    match found.len() {
        0 => None,
        1 => found.pop().map(|(_, href)| Came::To(href)),
        _ => Some(Came::Several(found)),
    }
}

/// Where a scan leads. `raw` goes on to the form of a lot, which reads it again.
async fn lead(s: &mut Scoped, raw: &str, scan: &Scan) -> Result<Came, Problem> {
    let (gtin, lot) = match scan {
        Scan::Elements(e) => (e.gtin.clone(), e.lot.clone()),
        Scan::Gtin { gtin, typed } => {
            if let Some(came) = one_or_several(lots_of(s, typed, None).await?) {
                return Ok(came);
            }
            (Some(gtin.clone()), None)
        }
        Scan::Code(code) => (None, Some(code.clone())),
    };
    let product = match &gtin {
        Some(g) => products::find_by_gtin(s, g.digits()).await?,
        None => None,
    };
    Ok(match (gtin, product, lot) {
        (_, Some(p), None) => Came::To(format!("/shelf/products/{p}")),
        (_, Some(p), Some(lot)) => one_or_several(lots_of(s, &lot, Some(p)).await?).unwrap_or_else(|| {
            Came::To(format!("/shelf/products/{p}/lots/new?scan={}", page::query_value(raw)))
        }),
        (Some(g), None, lot) => {
            let found = match &lot {
                Some(lot) => lots_of(s, lot, None).await?,
                None => Vec::new(),
            };
            // A lot of this code stands there under a product without a number: it may be meant, so it is asked.
            if found.is_empty() { Came::NoProduct(g) } else { Came::Several(found) }
        }
        (None, None, Some(lot)) => one_or_several(lots_of(s, &lot, None).await?).unwrap_or(Came::NoLot(lot)),
        (None, None, None) => Came::NoLot(raw.trim().to_string()),
    })
}

fn empty(seat: &Seat, now: OffsetDateTime, code: &str) -> ScanPage {
    ScanPage {
        shell: seat.shell(now, "/shelf", &[]),
        answer: String::new(),
        code: code.trim().to_string(),
        parts: Vec::new(),
        fault: String::new(),
        several: Vec::new(),
        number: String::new(),
        products: Vec::new(),
        new_product: format!("/shelf/products/new?scan={}", page::query_value(code)),
        may_keep: seat.may(Act::KeepShelf),
    }
}

/// Finds what was scanned.
pub async fn find(seat: Seat, Query(q): Query<Scanned>) -> Answered {
    seat.require(Act::SeeShelf)?;
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let today = zone(&seat)?.day_of(now);
    let scan = match gs1::read(&q.code, today) {
        Ok(scan) => scan,
        Err(fault) => {
            let answer = tr!("This code was not read").to_string();
            return Ok(page::refused(&ScanPage {
                answer,
                fault: fault.words(),
                ..empty(&seat, now, &q.code)
            }));
        }
    };
    let mut shown = empty(&seat, now, &q.code);
    if let Scan::Elements(e) = &scan {
        shown.parts = parts(e);
    }
    match lead(&mut s, &q.code, &scan).await? {
        // Who may not keep the shelf is not led to a form they may not send.
        Came::To(href) if !href.contains("/lots/new") || seat.may(Act::KeepShelf) => {
            return Ok(page::see(&href));
        }
        Came::To(_) => shown.answer = tr!("This lot is not on the shelf yet").into(),
        Came::Several(found) => {
            shown.answer =
                if found.len() == 1 { tr!("Is it this lot?") } else { tr!("Several lots are called so") }
                    .into();
            shown.several = found;
        }
        Came::NoLot(code) => shown.answer = tr!("No lot is called {code}", code = code),
        Came::NoProduct(gtin) => {
            shown.answer = tr!("No product has this number").into();
            shown.number = gtin.digits().to_string();
            let all = products::list(&mut s).await?;
            let bare = all.into_iter().filter(|p| p.gtin.is_none() && p.retired_at.is_none()).take(60);
            let to = |id: i64| format!("/shelf/products/{id}/lots/new?scan={}", page::query_value(&q.code));
            shown.products = bare.map(|p| (to(p.product_id), p.name)).collect();
        }
    }
    s.commit().await?;
    Ok(page::html(&shown))
}
