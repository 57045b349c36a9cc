//! One product: what it is, what the law lets into it, its sheet's times, its lots.

use askama::Template;
use axum::extract::Path;
use time::{Date, OffsetDateTime};

use crate::domain::access::Act;
use crate::domain::chemistry::family::Family;
use crate::domain::chemistry::limits::Place;
use crate::domain::ids::ProductId;
use crate::domain::sheet::SheetHair;
use crate::domain::skin_test::is_never_left_on_skin;
use crate::domain::stock::{Base, Clock, CountsFrom, SkinTestKind};
use crate::flow::lots::{checks, contents_of};
use crate::store::Scoped;
use crate::store::lots::{self, Lot};
use crate::store::products::{self, Product, Times};
use crate::web::clients::zone;
use crate::web::contents::{self, LimitLine, limit_lines};
use crate::web::form::{Choice, Errors};
use crate::web::lots::LotLine;
use crate::web::problem::{Answered, Problem};
use crate::web::products::find;
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::sheet_times::{TimesTyped, times_words};
use crate::web::shelf::{family_words, usable_grams, use_words};
use crate::web::shell::Shell;
use crate::web::{once, page, typed};

/// The route of this screen.
pub const LINES: &[Line] = lines![get "/shelf/products/{id}" Open::To(Act::SeeShelf) => show];

#[derive(Template)]
#[template(path = "shelf/product.html")]
pub struct ProductPage {
    shell: Shell,
    errors: Errors,
    name: String,
    facts: Vec<(&'static str, String)>,
    /// What stands in place of a patch test; empty where one is made.
    instead: &'static str,
    retired: bool,
    low: bool,
    times: Vec<(String, String)>,
    typed: TimesTyped,
    clocks: Vec<Choice>,
    counts: Vec<Choice>,
    hairs: Vec<Choice>,
    limits: Vec<LimitLine>,
    place: &'static str,
    lots: Vec<LotLine>,
    /// More lots came in than are listed.
    cut: bool,
    once_key: String,
    retire_once_key: String,
    base: String,
    may_keep: bool,
}

/// What stands in place of a patch test (trade-rules.md, "Hold points", patch test).
pub fn instead_of_patch(p: &Product) -> &'static str {
    let never = Family::from_code(&p.family).is_none_or(is_never_left_on_skin);
    match (never, p.skin_test.as_str()) {
        (true, _) => {
            tr!(
                "Never left on skin: hydroxide, guanidine and lightener burn where they lie. In its place stands the sheet's \
             own test, or: no skin test by the sheet, with a strand test passed at the worst place within 14 days and the \
             scalp read intact today."
            )
        }
        (false, "patch") => "",
        _ => {
            tr!(
                "The sheet gives no test on skin; a strand test and the scalp decide. The record itself still asks for a patch \
             test of this chemistry before anything goes on."
            )
        }
    }
}

fn facts(p: &Product, parts: &[(i64, String)], usable: f32) -> Vec<(&'static str, String)> {
    let contents = contents_of(&p.contents);
    let said = if contents.is_empty() { tr!("not entered").into() } else { contents::words(&contents) };
    let mut facts = vec![
        (tr!("Chemistry"), family_words(&p.family).to_string()),
        (tr!("Used as"), use_words(&p.use_as).to_string()),
        (tr!("Form, strength"), format!("{}, {}", p.form, p.strength)),
        (tr!("Contents"), said),
        ("pH", p.ph.map_or_else(|| tr!("not entered").into(), |x| typed::shown(f64::from(x)))),
        (tr!("Base"), Base::from_code(&p.base).map_or("", Base::words).to_string()),
        (tr!("Skin test"), SkinTestKind::from_code(&p.skin_test).map_or("", SkinTestKind::words).to_string()),
        (tr!("Number (GTIN)"), p.gtin.clone().unwrap_or_else(|| tr!("not entered").into())),
        (tr!("Formula"), tr!("number {} here", p.formula)),
        (
            tr!("Usable"),
            tr!(
                "{usable} g, low under {} g",
                format_args!("{:.0}", p.low_grams),
                usable = format_args!("{:.0}", usable)
            ),
        ),
    ];
    if !parts.is_empty() {
        let names: Vec<&str> = parts.iter().map(|(_, name)| name.as_str()).collect();
        facts.push((tr!("Mixed with"), names.join(", or ")));
    }
    match p.mixed_life_min {
        Some(life) => {
            facts.push((tr!("Mixture"), tr!("to be used within {life} min, by the sheet", life = life)))
        }
        None if !parts.is_empty() => {
            facts.push((
                tr!("Mixture"),
                tr!("no minutes entered: it holds for the one step it is made for").into(),
            ));
        }
        None => {}
    }
    if p.sheet_forbids_closing_after_stop {
        facts.push((tr!("After a stop"), tr!("the sheet forbids neutralising or normalising").into()));
    }
    facts
}

/// What a page of one product is made from.
pub struct Opened {
    pub product: Product,
    pub times: Vec<Times>,
    parts: Vec<(i64, String)>,
    lots: Vec<Lot>,
    pub now: OffsetDateTime,
    pub today: Date,
}

/// Reads one product with everything its page shows.
pub async fn open(seat: &Seat, s: &mut Scoped, id: &str) -> Result<Opened, Problem> {
    let product = find(s, id).await?;
    let product_id = ProductId(product.product_id);
    let times = products::times(s, product_id).await?;
    let parts = products::list_parts(s, product_id).await?;
    let now = s.now().await?;
    let today = zone(seat)?.day_of(now);
    let lots = lots::list(s, Some(product_id), today).await?;
    Ok(Opened { product, parts, times, lots, now, today })
}

/// The page with what was typed into the form of times.
pub fn product_page(seat: &Seat, o: &Opened, typed: TimesTyped, errors: Errors) -> ProductPage {
    let p = &o.product;
    let usable = usable_grams(&o.lots, p.product_id, o.today);
    ProductPage {
        shell: seat.shell(o.now, "/shelf", &["shelf"]),
        name: p.name.clone(),
        facts: facts(p, &o.parts, usable),
        instead: instead_of_patch(p),
        retired: p.retired_at.is_some(),
        low: p.retired_at.is_none() && usable < p.low_grams,
        times: o.times.iter().map(times_words).collect(),
        clocks: Choice::list(Clock::ALL.map(|x| (x.code(), x.words())), &[typed.clock.as_str()]),
        counts: Choice::list(CountsFrom::ALL.map(|x| (x.code(), x.words())), &[typed.counts_from.as_str()]),
        hairs: Choice::list(
            SheetHair::ALL.map(|x| (x.code(), x.words())),
            &[if typed.hair.is_empty() { SheetHair::Any.code() } else { typed.hair.as_str() }],
        ),
        typed,
        limits: limit_lines(&checks(&seat.app, &seat.salon_row.place, p, None, None)),
        place: Place::from_code(&seat.salon_row.place).map_or("", Place::words),
        lots: o.lots.iter().map(|l| LotLine::of(l, o.today)).collect(),
        cut: o.lots.len() >= lots::LIST_MOST,
        once_key: once::key(),
        retire_once_key: once::key(),
        base: format!("/shelf/products/{}", p.product_id),
        may_keep: seat.may(Act::KeepShelf),
        errors,
    }
}

/// One product.
pub async fn show(seat: Seat, Path(id): Path<String>) -> Answered {
    seat.require(Act::SeeShelf)?;
    let mut s = seat.begin().await?;
    let o = open(&seat, &mut s, &id).await?;
    s.commit().await?;
    Ok(page::html(&product_page(&seat, &o, TimesTyped::default(), Errors::none())))
}
