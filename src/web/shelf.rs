//! The Shelf: what stands there, what is low, what is running out of date, what stands apart.

use askama::Template;
use time::{Date, Duration};

use crate::calendar::day_words;
use crate::domain::access::Act;
use crate::domain::chemistry::family::Family;
use crate::domain::stock::{SOON_DAYS, UseAs};
use crate::store::lots::{self, Lot};
use crate::store::overview::{self, Used};
use crate::store::products::{self, Product};
use crate::web::clients::zone;
use crate::web::lots::{LotLine, state};
use crate::web::page;
use crate::web::problem::Answered;
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::shell::Shell;

/// The route of this screen.
pub const LINES: &[Line] = lines![get "/shelf" Open::To(Act::SeeShelf) => show];

/// Lots of one product named in its row; the rest stand on its page.
const LOTS_IN_A_ROW: usize = 6;

/// A lot in its product's row.
struct InRow {
    href: String,
    code: String,
    state: &'static str,
}

struct Standing {
    href: String,
    name: String,
    family: &'static str,
    use_as: &'static str,
    strength: String,
    left: String,
    low: bool,
    low_mark: String,
    /// How long it lasts at the pace of the last twelve weeks; empty where nothing was used.
    lasts: String,
    last_day: String,
    lots: Vec<InRow>,
}

/// A lot that wants looking after.
struct Told {
    href: String,
    what: String,
    left: String,
    why: String,
}

#[derive(Template)]
#[template(path = "shelf/list.html")]
struct ShelfPage {
    shell: Shell,
    answer: String,
    standing: Vec<Standing>,
    ending: Vec<Told>,
    apart: Vec<Told>,
    /// The book has more lots than were read.
    cut: bool,
    soon_days: i64,
    any_low: bool,
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
    // A sum of nothing is minus nought, which a screen would print.
    lots.iter().filter(|l| l.product_id == product_id && l.usable_on(day)).map(Lot::left_grams).sum::<f32>()
        + 0.0
}

/// A product that lasts no longer is low whatever its mark says, weeks: what is ordered today comes in about that time
/// (common practice, no source).
const LOW_WEEKS: f64 = 1.0;
/// Weeks by whose use that is reckoned.
const PACE_WEEKS: i64 = 12;

fn standing(p: Product, lots: &[Lot], today: Date, used: &[Used]) -> Standing {
    let left = usable_grams(lots, p.product_id, today);
    let gone = used.iter().find(|u| u.product_id == p.product_id).map_or(0.0, |u| u.grams);
    let weeks = (gone > 0.0).then(|| f64::from(left) * PACE_WEEKS as f64 / gone);
    let mine = || lots.iter().filter(|l| l.product_id == p.product_id);
    let usable = mine().filter(|l| l.usable_on(today) && l.left_grams() > 0.0);
    let at_hand = mine().filter(|l| l.withdrawn_at.is_none() && l.left_grams() > 0.0);
    Standing {
        href: format!("/shelf/products/{}", p.product_id),
        family: family_words(&p.family),
        use_as: use_words(&p.use_as),
        left: format!("{left:.0} g"),
        low: left < p.low_grams || weeks.is_some_and(|w| w < LOW_WEEKS),
        lasts: weeks.map_or_else(String::new, |w| tr!("{} weeks", format_args!("{w:.1}"))),
        low_mark: format!("{:.0} g", p.low_grams),
        last_day: usable
            .filter_map(Lot::last_day)
            .min()
            .map(|d| format!("{} {}", day_words(d), d.year()))
            .unwrap_or_default(),
        lots: at_hand
            .take(LOTS_IN_A_ROW)
            .map(|l| InRow {
                href: format!("/shelf/lots/{}", l.lot_id),
                code: l.code.clone(),
                state: state(l, today),
            })
            .collect(),
        strength: p.strength,
        name: p.name,
    }
}

/// Lots with grams left whose last day is near or gone, the earliest first.
fn ending(lots: &[Lot], name: impl Fn(i64) -> String, today: Date) -> Vec<Told> {
    let soon = today.saturating_add(Duration::days(SOON_DAYS));
    let mut found: Vec<(Date, &Lot)> = lots
        .iter()
        .filter(|l| l.withdrawn_at.is_none() && !l.quarantined && l.left_grams() > 0.0)
        .filter_map(|l| Some((l.last_day().filter(|d| *d <= soon)?, l)))
        .collect();
    found.sort_by_key(|(day, l)| (*day, l.lot_id));
    let one = |(day, l): &(Date, &Lot)| {
        let line = LotLine::of(l, today);
        let gone = if *day < today { tr!("out of date since") } else { tr!("last day") };
        Told {
            href: line.href,
            what: tr!("{}, lot {}", name(l.product_id), line.code),
            left: line.left,
            why: format!("{gone} {} {}", day_words(*day), day.year()),
        }
    };
    found.iter().map(one).collect()
}

fn apart(lots: &[Lot], name: impl Fn(i64) -> String, today: Date) -> Vec<Told> {
    lots.iter()
        .filter(|l| l.quarantined && l.withdrawn_at.is_none())
        .map(|l| {
            let line = LotLine::of(l, today);
            Told {
                href: line.href,
                what: tr!("{}, lot {}", name(l.product_id), line.code),
                left: line.left,
                why: l.quarantine_reason.clone().unwrap_or_default(),
            }
        })
        .collect()
}

/// Everything on the shelf.
pub async fn show(seat: Seat) -> Answered {
    seat.require(Act::SeeShelf)?;
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let all = products::list(&mut s).await?;
    let today = zone(&seat)?.day_of(now);
    let lots = lots::list(&mut s, None, today).await?;
    let used = overview::sum_used(&mut s, now - Duration::weeks(PACE_WEEKS), now).await?;
    s.commit().await?;
    let names: Vec<(i64, String)> = all.iter().map(|p| (p.product_id, p.name.clone())).collect();
    let name = |id: i64| names.iter().find(|n| n.0 == id).map(|n| n.1.clone()).unwrap_or_default();
    let (ending, apart) = (ending(&lots, name, today), apart(&lots, name, today));
    let (put_away, here): (Vec<Product>, Vec<Product>) =
        all.into_iter().partition(|p| p.retired_at.is_some());
    let standing: Vec<Standing> = here.into_iter().map(|p| standing(p, &lots, today, &used)).collect();
    let low = standing.iter().filter(|p| p.low).count();
    let answer = match (standing.len(), low) {
        (0, _) => tr!("The shelf is empty").to_string(),
        (n, 0) => tr!("{n} products, none low", n = n),
        (n, low) => tr!("{low} of {n} products low", low = low, n = n),
    };
    Ok(page::html(&ShelfPage {
        shell: seat.shell(now, "/shelf", &["shelf"]),
        answer,
        standing,
        ending,
        apart,
        cut: lots.len() >= lots::LIST_MOST,
        soon_days: SOON_DAYS,
        any_low: low > 0,
        put_away: put_away
            .into_iter()
            .map(|p| (format!("/shelf/products/{}", p.product_id), p.name))
            .collect(),
        may_keep: seat.may(Act::KeepShelf),
    }))
}
