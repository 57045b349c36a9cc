//! One product: what it is, its sheet's times, what the law lets into it, its lots.

use askama::Template;
use axum::extract::Path;
use axum_extra::extract::Form;
use serde::Deserialize;
use time::{Date, OffsetDateTime};

use crate::domain::access::Act;
use crate::domain::chemistry::family::Family;
use crate::domain::chemistry::limits::{Hands, Place};
use crate::domain::chemistry::rules::Strength;
use crate::domain::ids::ProductId;
use crate::domain::stock::{self, Base, Clock, CountsFrom, SkinTestKind, UseAs, purpose};
use crate::flow::products::{self as flow, ProductRefused};
use crate::store::Scoped;
use crate::store::lots::{self, Lot};
use crate::store::products::{self, Product, Times};
use crate::web::clients::zone;
use crate::web::form::{Choice, Errors};
use crate::web::lots::{LotLine, LotTyped};
use crate::web::problem::{Answered, Problem};
use crate::web::product_form::{CONTENT_ROWS, Typed, contents};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::shelf::{family_words, usable_grams, use_words};
use crate::web::shell::Shell;
use crate::web::{once, page, typed};

/// The routes of these screens.
pub const LINES: &[Line] = lines![
    get "/shelf/products/new" Open::To(Act::KeepShelf) => new_form,
    post "/shelf/products" Open::To(Act::KeepShelf) => enter,
    get "/shelf/products/{id}" Open::To(Act::SeeShelf) => show,
    get "/shelf/products/{id}/label" Open::To(Act::KeepShelf) => edit_form,
    post "/shelf/products/{id}/label" Open::To(Act::KeepShelf) => change,
    post "/shelf/products/{id}/times" Open::To(Act::KeepShelf) => enter_times,
    post "/shelf/products/{id}/retirement" Open::To(Act::KeepShelf) => retire,
];

/// The product of a path.
pub async fn find(s: &mut Scoped, id: &str) -> Result<Product, Problem> {
    let id: ProductId = id.parse().map_err(|_| Problem::NotFound)?;
    products::find(s, id).await?.ok_or(Problem::NotFound)
}

struct ContentRow {
    n: usize,
    ingredients: Vec<Choice>,
    percent: String,
}

#[derive(Template)]
#[template(path = "shelf/product_form.html")]
struct FormPage {
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
}

fn form_page(
    seat: &Seat,
    now: OffsetDateTime,
    p: Option<&Product>,
    typed: Typed,
    errors: Errors,
) -> FormPage {
    let limits = &seat.app.reference.limits;
    let words = |code: &str| code.replace('-', " ");
    let ingredients: Vec<(String, String)> = std::iter::once((String::new(), "nothing".to_string()))
        .chain(limits.ingredients.iter().map(|i| (i.code.clone(), words(&i.code))))
        .collect();
    let row = |n: usize| {
        let chosen = typed.ingredient.get(n).map_or("", String::as_str);
        ContentRow {
            n,
            ingredients: Choice::list(ingredients.iter().map(|(a, b)| (a.as_str(), b.as_str())), &[chosen]),
            percent: typed.percent.get(n).cloned().unwrap_or_default(),
        }
    };
    let count = CONTENT_ROWS.max(typed.ingredient.len()).min(40);
    let rows = (0..count).map(row).collect();
    let families = Family::ALL.into_iter().filter(|f| *f != Family::Unknown).map(|f| (f.code(), f.words()));
    let base = p.map(|p| format!("/shelf/products/{}", p.product_id));
    FormPage {
        shell: seat.shell(now, "/shelf", &[]),
        once_key: once::key(),
        action: base.as_ref().map_or_else(|| "/shelf/products".into(), |b| format!("{b}/label")),
        back: base.unwrap_or_else(|| "/shelf".into()),
        standing: p.map(|p| (family_words(&p.family), use_words(&p.use_as))),
        families: Choice::list(std::iter::once(("", "choose")).chain(families), &[typed.family.as_str()]),
        uses: Choice::list(UseAs::ALL.map(|x| (x.code(), x.words())), &[typed.use_as.as_str()]),
        forms: Choice::list(stock::Form::ALL.map(|x| (x.code(), x.words())), &[typed.form.as_str()]),
        strengths: Choice::list(Strength::ALL.map(|x| (x.code(), x.words())), &[typed.strength.as_str()]),
        rows,
        bases: Choice::list(Base::ALL.map(|x| (x.code(), x.words())), &[typed.base.as_str()]),
        skin_tests: Choice::list(
            SkinTestKind::ALL.map(|x| (x.code(), x.words())),
            &[typed.skin_test.as_str()],
        ),
        forbids: Choice::list(
            [("yes", "The sheet forbids neutralising or normalising after a stop")],
            &[typed.forbids_closing.as_str()],
        ),
        new_formula: Choice::list(
            [("yes", "New formula: patch tests and strand tests of the old one no longer hold")],
            &[typed.new_formula.as_str()],
        ),
        errors,
        typed,
    }
}

/// The empty form.
pub async fn new_form(seat: Seat) -> Answered {
    seat.require(Act::KeepShelf)?;
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    s.commit().await?;
    Ok(page::html(&form_page(&seat, now, None, Typed::default(), Errors::none())))
}

/// Enters a product.
pub async fn enter(seat: Seat, Form(f): Form<Typed>) -> Answered {
    seat.require(Act::KeepShelf)?;
    let mut s = seat.begin().await?;
    if let Some(again) = once::claim(&mut s, &f.once, "/shelf/products").await? {
        return Ok(again);
    }
    let now = s.now().await?;
    let (record, mut errors) = f.read(&seat.app.reference.limits, None);
    if let Some(record) = record {
        match flow::enter_product(&mut s, &record).await {
            Ok(id) => {
                let answer = once::settle(&mut s, &f.once, &format!("/shelf/products/{id}")).await?;
                s.commit().await?;
                return Ok(answer);
            }
            Err(ProductRefused::NameTaken) => {
                errors.note("name", "A product of this name stands on the shelf already.")
            }
            Err(ProductRefused::Stale) => return Err(Problem::Broken),
            Err(ProductRefused::Store(e)) => return Err(e.into()),
        }
    }
    Ok(page::refused(&form_page(&seat, now, None, f, errors)))
}

/// The form of a product that stands.
pub async fn edit_form(seat: Seat, Path(id): Path<String>) -> Answered {
    seat.require(Act::KeepShelf)?;
    let mut s = seat.begin().await?;
    let product = find(&mut s, &id).await?;
    let now = s.now().await?;
    s.commit().await?;
    Ok(page::html(&form_page(&seat, now, Some(&product), Typed::of(&product), Errors::none())))
}

/// Changes a product.
pub async fn change(seat: Seat, Path(id): Path<String>, Form(f): Form<Typed>) -> Answered {
    seat.require(Act::KeepShelf)?;
    let mut s = seat.begin().await?;
    let product = find(&mut s, &id).await?;
    let here = format!("/shelf/products/{}", product.product_id);
    if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
        return Ok(again);
    }
    let now = s.now().await?;
    let (record, mut errors) = f.read(&seat.app.reference.limits, Some(&product));
    if let Some(record) = record {
        let version = f.version.parse().map_err(|_| Problem::Bad("The form has lost its version.".into()))?;
        let product_id = ProductId(product.product_id);
        match flow::change_product(&mut s, product_id, version, &record, f.new_formula == "yes").await {
            Ok(()) => {
                let answer = once::settle(&mut s, &f.once, &here).await?;
                s.commit().await?;
                return Ok(answer);
            }
            Err(ProductRefused::NameTaken) => {
                errors.note("name", "A product of this name stands on the shelf already.")
            }
            Err(ProductRefused::Stale) => {
                let what =
                    format!("{} was changed by somebody else since this page was opened.", product.name);
                return Err(Problem::Stale { what, look: format!("{here}/label") });
            }
            Err(ProductRefused::Store(e)) => return Err(e.into()),
        }
    }
    Ok(page::refused(&form_page(&seat, now, Some(&product), f, errors)))
}

/// One clock's minutes as typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct TimesTyped {
    once: String,
    clock: String,
    target_min: String,
    least_min: String,
    most_min: String,
    counts_from: String,
}

/// One clock's minutes as said.
struct TimeLine {
    clock: &'static str,
    words: String,
}

/// What the law says to one substance.
struct LimitLine {
    substance: String,
    percent: String,
    limit: String,
    ph: String,
    /// within, over, not judged.
    verdict: &'static str,
    over: bool,
    source: String,
    must_say: Vec<String>,
}

#[derive(Template)]
#[template(path = "shelf/product.html")]
struct ProductPage {
    shell: Shell,
    errors: Errors,
    name: String,
    facts: Vec<(&'static str, String)>,
    retired: bool,
    times: Vec<TimeLine>,
    typed: TimesTyped,
    clocks: Vec<Choice>,
    counts: Vec<Choice>,
    limits: Vec<LimitLine>,
    place: &'static str,
    lots: Vec<LotLine>,
    lot: LotTyped,
    once_key: String,
    lot_once_key: String,
    retire_once_key: String,
    base: String,
    may_keep: bool,
}

fn limits(seat: &Seat, p: &Product) -> (Vec<LimitLine>, &'static str) {
    let table = &seat.app.reference.limits;
    let Some(place) = Place::from_code(&seat.salon_row.place) else { return (Vec::new(), "") };
    let use_as = UseAs::from_code(&p.use_as).unwrap_or(UseAs::Other);
    let family = Family::from_code(&p.family).unwrap_or(Family::Unknown);
    let Some(purpose) = purpose(family, use_as) else { return (Vec::new(), place.words()) };
    let contents = contents(p);
    let known: Vec<_> =
        contents.iter().filter_map(|(code, x)| Some((table.find_ingredient(code)?, *x))).collect();
    let ph = p.ph.map(|x| f64::from(x * 100.0).round() / 100.0);
    let checks = table.check((place, Hands::Professional, purpose), &known, ph);
    let line = |c: &crate::domain::chemistry::limits::Check<'_>| LimitLine {
        substance: c.counted_as.replace('-', " "),
        percent: format!("{} %", typed::shown(c.percent)),
        limit: c
            .limit
            .percent
            .map_or_else(|| "no figure in law".into(), |x| format!("{} %", typed::shown(x))),
        ph: match (c.limit.ph_low, c.limit.ph_high) {
            (Some(low), Some(high)) => format!("{} to {}", typed::shown(low), typed::shown(high)),
            (None, Some(high)) => format!("up to {}", typed::shown(high)),
            (Some(low), None) => format!("from {}", typed::shown(low)),
            (None, None) => String::new(),
        },
        verdict: match c.within {
            Some(true) => "within",
            Some(false) => "not allowed so",
            None => "not judged",
        },
        over: c.within == Some(false),
        source: c.limit.source.clone(),
        must_say: c.must_say().map(str::to_string).collect(),
    };
    (checks.iter().map(line).collect(), place.words())
}

fn times_words(t: &Times) -> TimeLine {
    let show = |x: f32| typed::shown(f64::from(x));
    let least = t.least_min.map(|x| format!("shortest {}, ", show(x))).unwrap_or_default();
    let from = CountsFrom::from_code(&t.counts_from).map_or("", CountsFrom::words);
    TimeLine {
        clock: Clock::from_code(&t.clock).map_or("", Clock::words),
        words: format!(
            "{} min, {least}longest allowed {}, from {from}",
            show(t.target_min),
            show(t.most_min)
        ),
    }
}

fn facts(p: &Product, usable: f32) -> Vec<(&'static str, String)> {
    let contents: Vec<String> =
        contents(p).iter().map(|(c, x)| format!("{} {} %", c.replace('-', " "), typed::shown(*x))).collect();
    let mut facts = vec![
        ("Chemistry", family_words(&p.family).to_string()),
        ("Used as", use_words(&p.use_as).to_string()),
        ("Form, strength", format!("{}, {}", p.form, p.strength)),
        ("Contents", if contents.is_empty() { "not entered".into() } else { contents.join(", ") }),
        ("pH", p.ph.map_or_else(|| "not entered".into(), |x| typed::shown(f64::from(x)))),
        ("Base", Base::from_code(&p.base).map_or("", Base::words).to_string()),
        ("Skin test", SkinTestKind::from_code(&p.skin_test).map_or("", SkinTestKind::words).to_string()),
        ("Formula", format!("number {} here", p.formula)),
        ("Usable", format!("{usable:.0} g")),
    ];
    if p.sheet_forbids_closing_after_stop {
        facts.push(("After a stop", "the sheet forbids neutralising or normalising".into()));
    }
    facts
}

/// What a page of one product is made from.
pub struct Opened {
    pub product: Product,
    times: Vec<Times>,
    lots: Vec<Lot>,
    now: OffsetDateTime,
    pub today: Date,
}

/// Reads one product with everything its page shows.
pub async fn open(seat: &Seat, s: &mut Scoped, id: &str) -> Result<Opened, Problem> {
    let product = find(s, id).await?;
    let product_id = ProductId(product.product_id);
    let (times, lots) = (products::times(s, product_id).await?, lots::list(s, Some(product_id)).await?);
    let now = s.now().await?;
    Ok(Opened { product, times, lots, now, today: zone(seat)?.day_of(now) })
}

fn product_page(seat: &Seat, o: &Opened, typed: TimesTyped, lot: LotTyped, errors: Errors) -> ProductPage {
    let p = &o.product;
    let (limits, place) = limits(seat, p);
    ProductPage {
        shell: seat.shell(o.now, "/shelf", &["shelf"]),
        name: p.name.clone(),
        facts: facts(p, usable_grams(&o.lots, p.product_id, o.today)),
        retired: p.retired_at.is_some(),
        times: o.times.iter().map(times_words).collect(),
        clocks: Choice::list(Clock::ALL.map(|x| (x.code(), x.words())), &[typed.clock.as_str()]),
        counts: Choice::list(CountsFrom::ALL.map(|x| (x.code(), x.words())), &[typed.counts_from.as_str()]),
        typed,
        limits,
        place,
        lots: o.lots.iter().map(|l| LotLine::of(l, o.today)).collect(),
        lot,
        once_key: once::key(),
        lot_once_key: once::key(),
        retire_once_key: once::key(),
        base: format!("/shelf/products/{}", p.product_id),
        may_keep: seat.may(Act::KeepShelf),
        errors,
    }
}

/// The page again after a lot that was not taken.
pub fn refused_lot(seat: &Seat, o: &Opened, lot: LotTyped, errors: Errors) -> axum::response::Response {
    page::refused(&product_page(seat, o, TimesTyped::default(), lot, errors))
}

/// One product.
pub async fn show(seat: Seat, Path(id): Path<String>) -> Answered {
    seat.require(Act::SeeShelf)?;
    let mut s = seat.begin().await?;
    let o = open(&seat, &mut s, &id).await?;
    s.commit().await?;
    Ok(page::html(&product_page(&seat, &o, TimesTyped::default(), LotTyped::fresh(o.today), Errors::none())))
}

fn read_times(f: &TimesTyped) -> (Option<Times>, Errors) {
    let mut e = Errors::none();
    let clock =
        typed::code(&mut e, "clock", &f.clock, Clock::from_code, "Choose which clock the sheet means.");
    let target =
        typed::needed_number(&mut e, "target_min", &f.target_min, (0.5, 180.0), "the sheet's minutes");
    let least = typed::number(&mut e, "least_min", &f.least_min, (0.0, 180.0), "the shortest minutes");
    if least.is_some_and(|x| x > target) {
        e.note("least_min", "The shortest is not longer than the sheet's minutes.");
    }
    let most =
        typed::needed_number(&mut e, "most_min", &f.most_min, (0.5, 180.0), "the longest minutes allowed");
    if e.is_empty() && most < target {
        e.note("most_min", "The longest allowed is not shorter than the sheet's minutes.");
    }
    let counts = typed::code(
        &mut e,
        "counts_from",
        &f.counts_from,
        CountsFrom::from_code,
        "Choose from when the sheet counts: without it no clock can be held to it.",
    );
    let times = clock.zip(counts).filter(|_| e.is_empty()).map(|(clock, counts)| Times {
        clock: clock.code().into(),
        target_min: target as f32,
        least_min: least.map(|x| x as f32),
        most_min: most as f32,
        counts_from: counts.code().into(),
    });
    (times, e)
}

/// Enters the sheet's minutes.
pub async fn enter_times(seat: Seat, Path(id): Path<String>, Form(f): Form<TimesTyped>) -> Answered {
    let by = seat.require(Act::KeepShelf)?.id;
    let mut s = seat.begin().await?;
    let o = open(&seat, &mut s, &id).await?;
    let here = format!("/shelf/products/{}", o.product.product_id);
    if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
        return Ok(again);
    }
    let (times, errors) = read_times(&f);
    let Some(times) = times else {
        return Ok(page::refused(&product_page(&seat, &o, f, LotTyped::fresh(o.today), errors)));
    };
    flow::enter_times(&mut s, ProductId(o.product.product_id), &times, by).await?;
    let answer = once::settle(&mut s, &f.once, &here).await?;
    s.commit().await?;
    Ok(answer)
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
