//! The Shelf: what stands there, what is low, what is running out of date.

use askama::Template;
use time::Date;

use crate::calendar::day_words;
use crate::domain::access::Act;
use crate::domain::chemistry::family::Family;
use crate::domain::stock::{LOW_GRAMS, UseAs};
use crate::store::lots::{self, Lot};
use crate::store::products;
use crate::web::clients::zone;
use crate::web::page;
use crate::web::problem::Answered;
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::shell::Shell;

/// The route of this screen.
pub const LINES: &[Line] = lines![get "/shelf" Open::To(Act::SeeShelf) => show];

struct Standing {
    href: String,
    name: String,
    family: &'static str,
    use_as: &'static str,
    strength: String,
    left: String,
    low: bool,
    last_day: String,
}

#[derive(Template)]
#[template(path = "shelf/list.html")]
struct ShelfPage {
    shell: Shell,
    answer: String,
    standing: Vec<Standing>,
    put_away: Vec<(String, String)>,
    may_keep: bool,
}

/// The words of a stored family.
pub fn family_words(code: &str) -> &'static str {
    Family::from_code(code).map_or("", Family::words)
}

/// The words of a stored use.
pub fn use_words(code: &str) -> &'static str {
    UseAs::from_code(code).map_or("", UseAs::words)
}

/// Grams that may still be used on a day.
pub fn usable_grams(lots: &[Lot], product_id: i64, day: Date) -> f32 {
    lots.iter().filter(|l| l.product_id == product_id && l.usable_on(day)).map(Lot::left_grams).sum()
}

/// Everything on the shelf.
pub async fn show(seat: Seat) -> Answered {
    seat.require(Act::SeeShelf)?;
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let all = products::list(&mut s).await?;
    let lots = lots::list(&mut s, None).await?;
    s.commit().await?;
    let today = zone(&seat)?.day_of(now);
    let mut standing = Vec::new();
    let mut put_away = Vec::new();
    for p in all {
        let href = format!("/shelf/products/{}", p.product_id);
        if p.retired_at.is_some() {
            put_away.push((href, p.name));
            continue;
        }
        let left = usable_grams(&lots, p.product_id, today);
        let mine = lots
            .iter()
            .filter(|l| l.product_id == p.product_id && l.usable_on(today) && l.left_grams() > 0.0);
        standing.push(Standing {
            href,
            family: family_words(&p.family),
            use_as: use_words(&p.use_as),
            left: format!("{left:.0} g"),
            low: left < LOW_GRAMS,
            last_day: mine.filter_map(Lot::last_day).min().map(day_words).unwrap_or_default(),
            strength: p.strength,
            name: p.name,
        });
    }
    let low = standing.iter().filter(|p| p.low).count();
    let answer = match (standing.len(), low) {
        (0, _) => "The shelf is empty".to_string(),
        (n, 0) => format!("{n} products, none low"),
        (n, low) => format!("{low} of {n} products low"),
    };
    Ok(page::html(&ShelfPage {
        shell: seat.shell(now, "/shelf", &["shelf"]),
        answer,
        standing,
        put_away,
        may_keep: seat.may(Act::KeepShelf),
    }))
}
