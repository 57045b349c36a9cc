//! How long the shelf lasts at the pace of the last weeks.

use crate::flow::overview::{Frame, WEEKS};
use crate::store::overview as store;
use crate::store::{Scoped, Stored, lots, products};
use crate::web::overview::figure::{Cell, Figure, Row, keys};
use crate::web::picture::lying::{Lies, Lying, LyingRow};
use crate::web::picture::weeks::Fill;
use crate::web::shelf::usable_grams;

/// A product that lasts no longer than this is named first, weeks.
const SOON_WEEKS: f64 = 4.0;
/// Weeks a bar ends at: what lasts longer is not looked at.
const LONG_WEEKS: f64 = 26.0;
/// Most products of the picture; the table has all.
const DRAWN: usize = 12;

struct Lasting {
    id: i64,
    name: String,
    left: f64,
    week: f64,
    /// None where nothing was used.
    weeks: Option<f64>,
    low: bool,
}

fn weeks_words(l: &Lasting) -> String {
    match l.weeks {
        None => tr!("not used in these weeks").into(),
        Some(w) if w >= LONG_WEEKS => {
            tr!("{LONG_WEEKS} weeks and more", LONG_WEEKS = format_args!("{:.0}", LONG_WEEKS))
        }
        Some(w) => tr!("{w} weeks", w = format_args!("{:.1}", w)),
    }
}

/// What runs out first.
pub async fn stock(s: &mut Scoped, frame: &Frame) -> Stored<Figure> {
    let (from, to) = frame.past_span();
    let used = store::sum_used(s, from, to).await?;
    let lots = lots::list(s, None, frame.today).await?;
    // The week under way counts as far as it has gone.
    let gone = (frame.now - from).as_seconds_f64() / (7.0 * 86_400.0);
    let weeks = gone.clamp(1.0, WEEKS as f64);
    let mut all: Vec<Lasting> = products::list(s)
        .await?
        .into_iter()
        .filter(|p| p.retired_at.is_none())
        .map(|p| {
            let grams = used.iter().find(|u| u.product_id == p.product_id).map_or(0.0, |u| u.grams);
            let (left, week) = (f64::from(usable_grams(&lots, p.product_id, frame.today)), grams / weeks);
            Lasting {
                id: p.product_id,
                low: left < f64::from(p.low_grams),
                weeks: (week > 0.0).then(|| left / week),
                name: p.name,
                left,
                week,
            }
        })
        .collect();
    let ends = |l: &Lasting| l.weeks.unwrap_or(f64::INFINITY);
    all.sort_by(|a, b| ends(a).total_cmp(&ends(b)).then_with(|| a.name.cmp(&b.name)));
    let soon = all.iter().filter(|l| ends(l) < SOON_WEEKS).count() as u64;
    let low = all.iter().filter(|l| l.low).count();
    let sentence = match (all.first(), soon) {
        (None, _) => tr!("The shelf is empty.").to_string(),
        (_, 0) => tr!(
            "Nothing that is used runs out within four weeks; {low} of {} stand below their low mark.",
            all.len(),
            low = low
        ),
        (Some(first), _) => trn!(
            soon,
            "{n} product runs out within four weeks at the pace of the last twelve, {} first; {low} of {} stand below their low mark.",
            "{n} products run out within four weeks at the pace of the last twelve, {} first; {low} of {} stand below their low mark.",
            first.name,
            all.len(),
            low = low
        ),
    };
    let drawn = all.iter().filter(|l| l.weeks.is_some()).take(DRAWN);
    let picture = Lying {
        rows: drawn
            .map(|l| LyingRow {
                name: l.name.clone(),
                words: weeks_words(l),
                lies: Lies::Bar(if l.low { Fill::Solid } else { Fill::Tone }, ends(l).min(LONG_WEEKS)),
            })
            .collect(),
        against: (SOON_WEEKS, tr!("four weeks").into()),
        label: sentence.clone(),
    };
    Ok(Figure {
        name: "stock",
        heading: tr!("Stock"),
        about: tr!("Grams that may be used today, over the grams that went into bowls a week; mixtures and what was thrown away are \
                in the book of each lot.")
            .into(),
        picture: (!picture.rows.is_empty()).then(|| picture.draw()),
        sentence,
        keys: keys(&[(Fill::Solid, tr!("below its low mark")), (Fill::Tone, tr!("above it"))]),
        columns: vec![tr!("Product"), tr!("Grams left"), tr!("Grams a week"), tr!("Weeks left"), tr!("Below its low mark")],
        rows: all
            .iter()
            .map(|l| Row {
                cells: vec![
                    Cell::of(&l.name),
                    Cell { shown: format!("{:.0} g", l.left), plain: format!("{:.0}", l.left) },
                    Cell { shown: format!("{:.0} g", l.week), plain: format!("{:.1}", l.week) },
                    Cell {
                        shown: weeks_words(l),
                        plain: l.weeks.map_or_else(String::new, |w| format!("{w:.1}")),
                    },
                    Cell::of(if l.low { tr!("yes") } else { tr!("no") }),
                ],
                href: format!("/shelf/products/{}", l.id),
            })
            .collect(),
    })
}
