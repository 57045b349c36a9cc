//! A lot at the door: what its label says, what the law says of it, in for use or apart. The same form judges a lot that
//! stands on the shelf anew.

use askama::Template;
use axum::extract::Path;
use axum::response::Response;
use axum_extra::extract::{Form, Query};
use serde::Deserialize;
use time::{Date, OffsetDateTime};

use crate::calendar::iso_day;
use crate::domain::access::Act;
use crate::domain::chemistry::limits::Place;
use crate::domain::gs1::{self, Scan};
use crate::domain::ids::LotId;
use crate::domain::lot::{self, ReceptionRefusal, Verdict};
use crate::flow::lots::{self as flow, LotRefused, Told, checks, contents_of};
use crate::store::Scoped;
use crate::store::lots::{self, Lot, Received};
use crate::store::products::Product;
use crate::web::clients::zone;
use crate::web::contents::{self, ContentRow, LimitLine, limit_lines};
use crate::web::form::{Choice, Errors};
use crate::web::problem::{Answered, Problem};
use crate::web::products::{Scanned, find};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::shell::Shell;
use crate::web::{once, page, typed};

/// The routes of this screen.
pub const LINES: &[Line] = lines![
    get "/shelf/products/{id}/lots/new" Open::To(Act::KeepShelf) => new_form,
    post "/shelf/products/{id}/lots" Open::To(Act::KeepShelf) => receive,
    get "/shelf/lots/{id}/judgement" Open::To(Act::KeepShelf) => judge_form,
    post "/shelf/lots/{id}/judgement" Open::To(Act::KeepShelf) => judge,
];

/// What the box of quarantine says.
fn apart_words(lot: Option<&Lot>) -> &'static str {
    match lot {
        None => tr!("Take it in apart: quarantined, never dispensed"),
        Some(l) if l.quarantined => {
            tr!("It stands apart: quarantined, never dispensed. Unticked, it is for use again")
        }
        Some(_) => tr!("Put it apart: quarantined, never dispensed"),
    }
}

/// A lot as typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct LotTyped {
    pub once: String,
    pub code: String,
    pub received_on: String,
    pub best_before: String,
    pub opened_on: String,
    pub opened_life_days: String,
    pub received_grams: String,
    pub ingredient: Vec<String>,
    pub percent: Vec<String>,
    pub ph: String,
    pub seen: Vec<String>,
    pub apart: String,
    pub apart_reason: String,
    pub why_anew: String,
    /// Pieces the scanned code names beside its weight.
    #[serde(skip)]
    pub pieces: Option<u32>,
}

/// A scanned weight to a tenth of a gram, as it is typed.
fn in_grams(grams: f64) -> String {
    typed::shown((grams * 10.0).round() / 10.0)
}

impl LotTyped {
    /// Received today, as a rule; what the scanner read stands in it.
    fn fresh(today: Date, scan: &str) -> LotTyped {
        let mut fresh = LotTyped { received_on: iso_day(today), ..LotTyped::default() };
        match gs1::read(scan, today) {
            Ok(Scan::Elements(e)) => {
                fresh.best_before = e.last_day().map(iso_day).unwrap_or_default();
                fresh.received_grams = e.grams().map(in_grams).unwrap_or_default();
                fresh.pieces = e.count.filter(|n| *n > 1 && !fresh.received_grams.is_empty());
                fresh.code = e.lot.unwrap_or_default();
            }
            Ok(Scan::Code(code)) => fresh.code = code,
            _ => {}
        }
        fresh
    }

    fn read(&self, e: &mut Errors, today: Date) -> Option<Received> {
        let code = typed::needed(e, "code", &self.code, 40, tr!("Write the lot's code as printed on it."));
        let what = tr!("the grams received");
        let grams = typed::needed_number(e, "received_grams", &self.received_grams, (1.0, 100_000.0), what);
        let received = typed::past_day(e, "received_on", &self.received_on, today);
        if self.received_on.trim().is_empty() {
            e.note("received_on", tr!("Write the day it came in."));
        }
        let best_before = typed::day(e, "best_before", &self.best_before);
        let opened_on = typed::past_day(e, "opened_on", &self.opened_on, today);
        let what = tr!("days it keeps once opened");
        let life = typed::number(e, "opened_life_days", &self.opened_life_days, (1.0, 2000.0), what);
        received.filter(|_| e.is_empty()).map(|received_on| Received {
            code,
            received_on,
            best_before,
            opened_on,
            opened_life_days: life.map(|x| x.round() as i16),
            received_grams: grams as f32,
        })
    }

    fn told(&self, e: &mut Errors, seat: &Seat) -> Told {
        let contents = contents::read(e, &seat.app.reference.limits, &self.ingredient, &self.percent);
        let ph = typed::number(e, "ph", &self.ph, (0.0, 14.0), tr!("the pH as measured")).map(|x| x as f32);
        let reason = typed::line(e, "apart_reason", &self.apart_reason, lot::REASON_MOST_CHARS);
        Told {
            contents: (!contents.is_empty()).then_some(contents),
            ph,
            seen: self.seen.clone(),
            apart: (self.apart == "yes").then_some(reason),
        }
    }
}

#[derive(Template)]
#[template(path = "shelf/lot_form.html")]
struct LotForm {
    shell: Shell,
    errors: Errors,
    answer: String,
    product: String,
    product_href: String,
    own_contents: String,
    action: String,
    back: String,
    /// Judged anew: code, dates and grams stay.
    anew: bool,
    typed: LotTyped,
    rows: Vec<ContentRow>,
    differs: bool,
    limits: Vec<LimitLine>,
    place: &'static str,
    words: Vec<Choice>,
    apart: Vec<Choice>,
    outside: bool,
    once_key: String,
    grams_hint: String,
}

fn form(
    seat: &Seat,
    now: OffsetDateTime,
    (product, lot): (&Product, Option<&Lot>),
    typed: LotTyped,
    errors: Errors,
) -> LotForm {
    // What stands in the rows is judged, readable or not; a fault in a row is told beside it.
    let mut quiet = Errors::none();
    let told = typed.told(&mut quiet, seat);
    let found = checks(&seat.app, &seat.salon_row.place, product, told.contents.as_deref(), told.ph);
    let outside = lot::verdict(&found) == Verdict::Outside;
    let own = contents_of(&product.contents);
    let say = lot::must_say(&found);
    let seen: Vec<&str> = typed.seen.iter().map(String::as_str).collect();
    let base = format!("/shelf/products/{}", product.product_id);
    let lot_href = lot.map(|l| format!("/shelf/lots/{}", l.lot_id));
    LotForm {
        shell: seat.shell(now, "/shelf", &[]),
        answer: match (outside, lot) {
            (true, _) => tr!("Outside the law: into quarantine only").into(),
            (false, None) => tr!("A lot came in").into(),
            (false, Some(l)) => tr!("Judge lot {} anew", l.code),
        },
        product: product.name.clone(),
        own_contents: if own.is_empty() { tr!("not entered").into() } else { contents::words(&own) },
        action: lot_href.as_ref().map_or_else(|| format!("{base}/lots"), |l| format!("{l}/judgement")),
        back: lot_href.unwrap_or_else(|| base.clone()),
        product_href: base,
        anew: lot.is_some(),
        rows: contents::rows(&seat.app.reference.limits, &typed.ingredient, &typed.percent),
        differs: told.contents.is_some() || told.ph.is_some() || !quiet.is_empty(),
        limits: limit_lines(&found),
        place: Place::from_code(&seat.salon_row.place).map_or("", Place::words),
        words: Choice::list(say.iter().map(|w| (*w, *w)), &seen),
        apart: Choice::list([("yes", apart_words(lot))], &[typed.apart.as_str()]),
        outside,
        grams_hint: typed.pieces.map_or_else(String::new, |n| {
            tr!("The code says {n} pieces, and this weight of all of them together: check it", n = n)
        }),
        typed,
        once_key: once::key(),
        errors,
    }
}

fn note_refusals(errors: &mut Errors, why: &[ReceptionRefusal]) {
    for refusal in why {
        match refusal {
            ReceptionRefusal::OutsideLaw => errors.note(
                "apart",
                tr!("Outside the law's limits it can only be taken in apart, to be sent back. Nobody may override it."),
            ),
            ReceptionRefusal::WordsNotSeen(words) => errors.note(
                "seen",
                tr!("Read the label and tick what it says; not ticked: {}. A label without it sends the lot back, or apart.", words.join("; ")),
            ),
            ReceptionRefusal::WhyMissing => errors.note(
                "why_anew",
                tr!("Say why it is judged anew: what was wrong and is mended, in at most 300 characters."),
            ),
            ReceptionRefusal::ManagerLetsOut => errors.note(
                "apart",
                tr!("It stands in quarantine, and only a manager lets it out. Leave it apart, or ask a manager."),
            ),
            ReceptionRefusal::LawNotAsked => errors.note(
                "apart",
                tr!("What it contains is not entered, so the law could not be asked. Enter the product's contents, or this lot's, first."),
            ),
            ReceptionRefusal::ReasonMissing => {
                errors.note("apart_reason", tr!("Say why it stands apart, in at most 300 characters."))
            }
        }
    }
}

/// The empty form, or what the scanner read.
pub async fn new_form(seat: Seat, Path(id): Path<String>, Query(q): Query<Scanned>) -> Answered {
    seat.require(Act::KeepShelf)?;
    let mut s = seat.begin().await?;
    let product = find(&mut s, &id).await?;
    let now = s.now().await?;
    s.commit().await?;
    let typed = LotTyped::fresh(zone(&seat)?.day_of(now), &q.scan);
    Ok(page::html(&form(&seat, now, (&product, None), typed, Errors::none())))
}

/// Books a lot in.
pub async fn receive(seat: Seat, Path(id): Path<String>, Form(f): Form<LotTyped>) -> Answered {
    let by = seat.require(Act::KeepShelf)?.id;
    let mut s = seat.begin().await?;
    let product = find(&mut s, &id).await?;
    let now = s.now().await?;
    let here = format!("/shelf/products/{}", product.product_id);
    if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
        return Ok(again);
    }
    let mut errors = Errors::none();
    let received = f.read(&mut errors, zone(&seat)?.day_of(now));
    let told = f.told(&mut errors, &seat);
    if let Some(received) = received.filter(|_| errors.is_empty()) {
        match flow::receive_lot(&mut s, &seat.app, &product, &received, &told, by).await {
            Ok(_) => return settled(s, &f.once, &here).await,
            Err(why) => refused(&mut errors, why)?,
        }
    }
    Ok(page::refused(&form(&seat, now, (&product, None), f, errors)))
}

async fn settled(mut s: Scoped, key: &str, next: &str) -> Result<Response, Problem> {
    let answer = once::settle(&mut s, key, next).await?;
    s.commit().await?;
    Ok(answer)
}

fn refused(errors: &mut Errors, why: LotRefused) -> Result<(), Problem> {
    match why {
        LotRefused::CodeTaken => errors.note("code", tr!("This product has a lot of this code already.")),
        LotRefused::Reception(why) => note_refusals(errors, &why),
        LotRefused::Store(e) => return Err(e.into()),
    }
    Ok(())
}

async fn standing(s: &mut Scoped, id: &str) -> Result<(Product, Lot), Problem> {
    let id: LotId = id.parse().map_err(|_| Problem::NotFound)?;
    let lot = lots::find(s, id).await?.ok_or(Problem::NotFound)?;
    let product = find(s, &lot.product_id.to_string()).await?;
    Ok((product, lot))
}

/// The form of a lot that stands, with what was judged last.
pub async fn judge_form(seat: Seat, Path(id): Path<String>) -> Answered {
    seat.require(Act::KeepShelf)?;
    let mut s = seat.begin().await?;
    let (product, lot) = standing(&mut s, &id).await?;
    let kept = lots::find_judgement(&mut s, LotId(lot.lot_id)).await?.ok_or(Problem::NotFound)?;
    let now = s.now().await?;
    s.commit().await?;
    let own = kept.contents.as_ref().map(contents_of).unwrap_or_default();
    let typed = LotTyped {
        ingredient: own.iter().map(|(code, _)| code.clone()).collect(),
        percent: own.iter().map(|(_, x)| typed::shown(*x)).collect(),
        ph: kept.ph.map(|x| typed::shown(f64::from(x))).unwrap_or_default(),
        seen: contents::texts(&kept.label_seen),
        apart: if lot.quarantined { "yes".into() } else { String::new() },
        apart_reason: lot.quarantine_reason.clone().unwrap_or_default(),
        ..LotTyped::default()
    };
    Ok(page::html(&form(&seat, now, (&product, Some(&lot)), typed, Errors::none())))
}

/// Judges it anew.
pub async fn judge(seat: Seat, Path(id): Path<String>, Form(f): Form<LotTyped>) -> Answered {
    let by = seat.require(Act::KeepShelf)?.clone();
    let mut s = seat.begin().await?;
    let (product, lot) = standing(&mut s, &id).await?;
    let now = s.now().await?;
    let here = format!("/shelf/lots/{}", lot.lot_id);
    if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
        return Ok(again);
    }
    let mut errors = Errors::none();
    let told = f.told(&mut errors, &seat);
    if errors.is_empty() {
        match flow::judge_lot(&mut s, &seat.app, (&product, &lot), &told, &f.why_anew, &by).await {
            Ok(()) => return settled(s, &f.once, &here).await,
            Err(why) => refused(&mut errors, why)?,
        }
    }
    Ok(page::refused(&form(&seat, now, (&product, Some(&lot)), f, errors)))
}
