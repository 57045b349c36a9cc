//! Lots: booked in, opened, where they went.

use askama::Template;
use axum::extract::Path;
use axum_extra::extract::Form;
use serde::Deserialize;
use time::Date;

use crate::calendar::{day_words, iso_day};
use crate::domain::access::Act;
use crate::domain::ids::{LotId, ProductId};
use crate::flow::lots::{self as flow, LotRefused};
use crate::store::lots::{self, Lot, Received};
use crate::store::{Scoped, products};
use crate::web::clients::zone;
use crate::web::form::Errors;
use crate::web::problem::{Answered, Problem};
use crate::web::products::{open, refused_lot};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::shell::Shell;
use crate::web::{once, page, typed};

/// The routes of these screens.
pub const LINES: &[Line] = lines![
    post "/shelf/products/{id}/lots" Open::To(Act::KeepShelf) => receive,
    get "/shelf/lots/{id}" Open::To(Act::SeeShelf) => show,
    post "/shelf/lots/{id}/opening" Open::To(Act::KeepShelf) => open_lot,
    post "/shelf/lots/{id}/withdrawal" Open::To(Act::KeepShelf) => withdraw,
];

/// A lot in a table.
pub struct LotLine {
    pub href: String,
    pub code: String,
    pub received: String,
    pub last_day: String,
    pub opened: String,
    pub left: String,
    pub state: &'static str,
}

impl LotLine {
    /// A lot as a line on this day.
    pub fn of(l: &Lot, today: Date) -> LotLine {
        LotLine {
            href: format!("/shelf/lots/{}", l.lot_id),
            code: l.code.clone(),
            received: day_words(l.received_on),
            last_day: l
                .last_day()
                .map_or_else(|| "no date given".into(), |d| format!("{} {}", day_words(d), d.year())),
            opened: l.opened_on.map_or_else(|| "not opened".into(), day_words),
            left: format!("{:.0} of {:.0} g", l.left_grams(), l.received_grams),
            state: match (l.withdrawn_at.is_some(), l.usable_on(today)) {
                (true, _) => "out of use",
                (false, true) => "in date",
                (false, false) => "out of date",
            },
        }
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
}

impl LotTyped {
    /// Received today, as a rule.
    pub fn fresh(today: Date) -> LotTyped {
        LotTyped { received_on: iso_day(today), ..LotTyped::default() }
    }

    fn read(&self, today: Date) -> (Option<Received>, Errors) {
        let mut e = Errors::none();
        let code = typed::needed(&mut e, "code", &self.code, 40, "Write the lot's code as printed on it.");
        let grams = typed::needed_number(
            &mut e,
            "received_grams",
            &self.received_grams,
            (1.0, 100_000.0),
            "the grams received",
        );
        let received = typed::past_day(&mut e, "received_on", &self.received_on, today);
        if self.received_on.trim().is_empty() {
            e.note("received_on", "Write the day it came in.");
        }
        let best_before = typed::day(&mut e, "best_before", &self.best_before);
        let opened_on = typed::past_day(&mut e, "opened_on", &self.opened_on, today);
        let life = typed::number(
            &mut e,
            "opened_life_days",
            &self.opened_life_days,
            (1.0, 2000.0),
            "days it keeps once opened",
        );
        let lot = received.filter(|_| e.is_empty()).map(|received_on| Received {
            code,
            received_on,
            best_before,
            opened_on,
            opened_life_days: life.map(|x| x.round() as i16),
            received_grams: grams as f32,
        });
        (lot, e)
    }
}

/// Books a lot in.
pub async fn receive(seat: Seat, Path(id): Path<String>, Form(f): Form<LotTyped>) -> Answered {
    seat.require(Act::KeepShelf)?;
    let mut s = seat.begin().await?;
    let o = open(&seat, &mut s, &id).await?;
    let here = format!("/shelf/products/{}", o.product.product_id);
    if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
        return Ok(again);
    }
    let (lot, mut errors) = f.read(o.today);
    if let Some(lot) = lot {
        match flow::receive_lot(&mut s, ProductId(o.product.product_id), &lot).await {
            Ok(_) => {
                let answer = once::settle(&mut s, &f.once, &here).await?;
                s.commit().await?;
                return Ok(answer);
            }
            Err(LotRefused::CodeTaken) => errors.note("code", "This product has a lot of this code already."),
            Err(LotRefused::Store(e)) => return Err(e.into()),
        }
    }
    Ok(refused_lot(&seat, &o, f, errors))
}

struct WentLine {
    href: String,
    name: String,
    phone: String,
    when: String,
    what: String,
}

#[derive(Template)]
#[template(path = "shelf/lot.html")]
struct LotPage {
    shell: Shell,
    product: String,
    product_href: String,
    line: LotLine,
    went: Vec<WentLine>,
    base: String,
    once_key: String,
    withdraw_once_key: String,
    opened: bool,
    withdrawn: bool,
    may_keep: bool,
}

async fn find(s: &mut Scoped, id: &str) -> Result<Lot, Problem> {
    let id: LotId = id.parse().map_err(|_| Problem::NotFound)?;
    lots::find(s, id).await?.ok_or(Problem::NotFound)
}

/// One lot, and where it went.
pub async fn show(seat: Seat, Path(id): Path<String>) -> Answered {
    seat.require(Act::SeeShelf)?;
    let mut s = seat.begin().await?;
    let lot = find(&mut s, &id).await?;
    let product = products::find(&mut s, ProductId(lot.product_id)).await?.ok_or(Problem::NotFound)?;
    let went = lots::list_went(&mut s, LotId(lot.lot_id)).await?;
    let tested = lots::list_tested(&mut s, LotId(lot.lot_id)).await?;
    let now = s.now().await?;
    s.commit().await?;
    let zone = zone(&seat)?;
    let day = |at| format!("{} {}", zone.day_words(at), zone.day_of(at).year());
    let mut lines: Vec<WentLine> = Vec::new();
    lines.extend(went.into_iter().map(|w| WentLine {
        href: format!("/clients/{}", w.client_id),
        name: w.client_name,
        phone: w.phone,
        when: day(w.started_at),
        what: format!("{:.0} g dispensed", w.grams),
    }));
    lines.extend(tested.into_iter().map(|(client, name, phone, at)| WentLine {
        href: format!("/clients/{client}"),
        name,
        phone,
        when: day(at),
        what: "patch test".into(),
    }));
    Ok(page::html(&LotPage {
        shell: seat.shell(now, "/shelf", &["shelf"]),
        product: product.name,
        product_href: format!("/shelf/products/{}", lot.product_id),
        line: LotLine::of(&lot, zone.day_of(now)),
        went: lines,
        base: format!("/shelf/lots/{}", lot.lot_id),
        once_key: once::key(),
        withdraw_once_key: once::key(),
        opened: lot.opened_on.is_some(),
        withdrawn: lot.withdrawn_at.is_some(),
        may_keep: seat.may(Act::KeepShelf),
    }))
}

/// An act with nothing to type.
#[derive(Deserialize)]
pub struct Plain {
    #[serde(default)]
    once: String,
}

/// Opened today.
pub async fn open_lot(seat: Seat, Path(id): Path<String>, Form(f): Form<Plain>) -> Answered {
    act(seat, &id, &f.once, false).await
}

/// Taken out of use, for good.
pub async fn withdraw(seat: Seat, Path(id): Path<String>, Form(f): Form<Plain>) -> Answered {
    act(seat, &id, &f.once, true).await
}

async fn act(seat: Seat, id: &str, key: &str, withdraw: bool) -> Answered {
    seat.require(Act::KeepShelf)?;
    let mut s = seat.begin().await?;
    let lot = find(&mut s, id).await?;
    let here = format!("/shelf/lots/{}", lot.lot_id);
    if let Some(again) = once::claim(&mut s, key, &here).await? {
        return Ok(again);
    }
    if withdraw {
        flow::withdraw_lot(&mut s, LotId(lot.lot_id)).await?;
    } else {
        let today = zone(&seat)?.day_of(s.now().await?);
        flow::open_lot(&mut s, LotId(lot.lot_id), today).await?;
    }
    let answer = once::settle(&mut s, key, &here).await?;
    s.commit().await?;
    Ok(answer)
}
