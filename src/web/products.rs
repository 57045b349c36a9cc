//! Entering a product, changing what its label says, putting it away. Its page: `product_page`; its times: `sheet_times`.

use axum::extract::Path;
use axum_extra::extract::{Form, Query};
use serde::Deserialize;

use crate::domain::access::Act;
use crate::domain::gs1::{self, Scan};
use crate::domain::ids::ProductId;
use crate::flow::products::{self as flow, ProductRefused};
use crate::store::Scoped;
use crate::store::products::{self, Product};
use crate::web::clients::zone;
use crate::web::form::Errors;
use crate::web::problem::{Answered, Problem};
use crate::web::product_form::{Typed, form_page, others};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::{once, page};

/// The routes of these acts.
pub const LINES: &[Line] = lines![
    get "/shelf/products/new" Open::To(Act::KeepShelf) => new_form,
    post "/shelf/products" Open::To(Act::KeepShelf) => enter,
    get "/shelf/products/{id}/label" Open::To(Act::KeepShelf) => edit_form,
    post "/shelf/products/{id}/label" Open::To(Act::KeepShelf) => change,
    post "/shelf/products/{id}/retirement" Open::To(Act::KeepShelf) => retire,
];

/// The product of a path.
pub async fn find(s: &mut Scoped, id: &str) -> Result<Product, Problem> {
    let id: ProductId = id.parse().map_err(|_| Problem::NotFound)?;
    products::find(s, id).await?.ok_or(Problem::NotFound)
}

/// What a scanner read before the form was opened; empty when nothing was scanned.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Scanned {
    pub scan: String,
}

fn taken(errors: &mut Errors, gtin: bool) {
    if gtin {
        errors.note("gtin", tr!("Another product on the shelf has this number."));
    } else {
        errors.note("name", tr!("A product of this name stands on the shelf already."));
    }
}

/// The form of a new product; a number that was scanned stands in it.
pub async fn new_form(seat: Seat, Query(q): Query<Scanned>) -> Answered {
    seat.require(Act::KeepShelf)?;
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let others = others(&mut s, None).await?;
    s.commit().await?;
    let gtin = match gs1::read(&q.scan, zone(&seat)?.day_of(now)) {
        Ok(Scan::Elements(e)) => e.gtin,
        Ok(Scan::Gtin { gtin, .. }) => Some(gtin),
        _ => None,
    };
    let typed = Typed {
        gtin: gtin.map(|g| g.digits().to_string()).unwrap_or_default(),
        scan: q.scan,
        ..Typed::default()
    };
    Ok(page::html(&form_page(&seat, now, (None, &others), typed, Errors::none())))
}

/// Enters a product; where it began with a scan, its lot is next.
pub async fn enter(seat: Seat, Query(q): Query<Scanned>, Form(mut f): Form<Typed>) -> Answered {
    seat.require(Act::KeepShelf)?;
    f.scan = q.scan;
    let mut s = seat.begin().await?;
    if let Some(again) = once::claim(&mut s, &f.once, "/shelf/products").await? {
        return Ok(again);
    }
    let now = s.now().await?;
    let others = others(&mut s, None).await?;
    let (record, mut errors) = f.read(&seat.app.reference.limits, None, &others);
    if let Some(record) = record {
        match flow::enter_product(&mut s, &record).await {
            Ok(id) => {
                let here = format!("/shelf/products/{id}");
                let next = if f.scan.is_empty() {
                    here
                } else {
                    format!("{here}/lots/new?scan={}", page::query_value(&f.scan))
                };
                let answer = once::settle(&mut s, &f.once, &next).await?;
                s.commit().await?;
                return Ok(answer);
            }
            Err(ProductRefused::NameTaken) => taken(&mut errors, false),
            Err(ProductRefused::GtinTaken) => taken(&mut errors, true),
            Err(ProductRefused::Stale) => return Err(Problem::Broken),
            Err(ProductRefused::Store(e)) => return Err(e.into()),
        }
    }
    Ok(page::refused(&form_page(&seat, now, (None, &others), f, errors)))
}

/// The form of a product that stands.
pub async fn edit_form(seat: Seat, Path(id): Path<String>) -> Answered {
    seat.require(Act::KeepShelf)?;
    let mut s = seat.begin().await?;
    let product = find(&mut s, &id).await?;
    let now = s.now().await?;
    let others = others(&mut s, Some(&product)).await?;
    let parts = products::list_parts(&mut s, ProductId(product.product_id)).await?;
    s.commit().await?;
    let typed = Typed::of(&product, &parts);
    Ok(page::html(&form_page(&seat, now, (Some(&product), &others), typed, Errors::none())))
}

/// Changes a product.
pub async fn change(seat: Seat, Path(id): Path<String>, Form(f): Form<Typed>) -> Answered {
    let by = seat.require(Act::KeepShelf)?.id;
    let mut s = seat.begin().await?;
    let product = find(&mut s, &id).await?;
    let here = format!("/shelf/products/{}", product.product_id);
    if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
        return Ok(again);
    }
    let now = s.now().await?;
    let others = others(&mut s, Some(&product)).await?;
    let (record, mut errors) = f.read(&seat.app.reference.limits, Some(&product), &others);
    if let Some(record) = record {
        let version =
            f.version.parse().map_err(|_| Problem::Bad(tr!("The form has lost its version.").into()))?;
        let product_id = ProductId(product.product_id);
        let (of, today) = ((product_id, version), zone(&seat)?.day_of(now));
        let new_formula = f.new_formula == "yes";
        match flow::change_product(&mut s, &seat.app, of, &record, new_formula, (by, today)).await {
            Ok(()) => {
                let answer = once::settle(&mut s, &f.once, &here).await?;
                s.commit().await?;
                return Ok(answer);
            }
            Err(ProductRefused::NameTaken) => taken(&mut errors, false),
            Err(ProductRefused::GtinTaken) => taken(&mut errors, true),
            Err(ProductRefused::Stale) => {
                let what = tr!("{} was changed by somebody else since this page was opened.", product.name);
                return Err(Problem::Stale { what, look: format!("{here}/label") });
            }
            Err(ProductRefused::Store(e)) => return Err(e.into()),
        }
    }
    Ok(page::refused(&form_page(&seat, now, (Some(&product), &others), f, errors)))
}

/// Put away, or taken up again.
#[derive(Deserialize)]
pub struct RetireTyped {
    #[serde(default)]
    once: String,
    #[serde(default)]
    retired: String,
}

/// Puts a product away, or takes it up again.
pub async fn retire(seat: Seat, Path(id): Path<String>, Form(f): Form<RetireTyped>) -> Answered {
    seat.require(Act::KeepShelf)?;
    let mut s = seat.begin().await?;
    let product = find(&mut s, &id).await?;
    let here = format!("/shelf/products/{}", product.product_id);
    if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
        return Ok(again);
    }
    flow::retire_product(&mut s, ProductId(product.product_id), f.retired == "yes").await?;
    let answer = once::settle(&mut s, &f.once, &here).await?;
    s.commit().await?;
    Ok(answer)
}
