//! The aftercare sheet: put in words when a service ends, kept word for word.

use super::runs::Loaded;
use crate::calendar::{Zone, day_words};
use crate::domain::chemistry::family::Family;
use crate::domain::ids::{LotId, RunId};
use crate::domain::qualification::Chemistry;
use crate::domain::run::state::Ended;
use crate::reference::Reference;
use crate::reference::aftercare::AftercareValues;
use crate::store::dues::Due;
use crate::store::salons::Salon;
use crate::store::{Scoped, Stored, finish, visits};

/// Writes the sheet of a run that has just ended. Where nothing touched the hair there is none.
///
/// Parts are parted by an empty line; the first line of each is its heading.
pub(super) async fn give(
    s: &mut Scoped,
    reference: &Reference,
    after: &Loaded,
    (salon, zone): (&Salon, &Zone),
    touched: &[Family],
    due: Option<&Due>,
) -> Stored<()> {
    if touched.is_empty() {
        return Ok(());
    }
    let state = after.state();
    let finished = matches!(state.ended, Some((Ended::Finished, _)));
    let chemistries: Vec<&str> = touched.iter().map(|f| Chemistry::of(*f).code()).collect();
    let (window, latest) = due.map(in_words).unwrap_or_default();
    let values =
        AftercareValues { window: &window, latest: &latest, emergency_number: &salon.emergency_number };
    let mut parts = reference.aftercare.parts(&chemistries, finished, &values);
    let used = lots_used(s, after).await?;
    if !used.is_empty() {
        parts.push((tr!("Used on {}", zone.day_words(after.now)), used));
    }
    if state.trimmed_mm > 0.0 {
        parts.push((
            tr!("Trimmed").into(),
            vec![tr!("{} mm off the ends, stretched.", format_args!("{:.0}", state.trimmed_mm))],
        ));
    }
    let words: Vec<String> =
        parts.iter().map(|(heading, lines)| format!("{heading}\n{}", lines.join("\n"))).collect();
    finish::insert_aftercare(s, RunId(after.run.run_id), &words.join("\n\n")).await
}

/// The due window and the latest day. An open end is said as one.
fn in_words(due: &Due) -> (String, String) {
    let from = due.early_on.max(due.least_on);
    let middle = due.middle_on.max(due.least_on);
    let window = match due.late_on.map(|late| late.max(due.least_on)) {
        Some(late) => {
            tr!("from {} to {}, most likely about {}", day_words(from), day_words(late), day_words(middle))
        }
        None => tr!("from {} on, most likely about {}", day_words(from), day_words(middle)),
    };
    (window, day_words(due.latest_on))
}

/// What went on, with lot and grams: one line a lot.
async fn lots_used(s: &mut Scoped, after: &Loaded) -> Stored<Vec<String>> {
    let known = visits::list_lots(s, RunId(after.run.run_id)).await?;
    let state = after.state();
    let mut sums: Vec<(char, LotId, f64)> = Vec::new();
    for d in &state.dispensed {
        match sums.iter_mut().find(|(letter, lot, _)| *letter == d.application && *lot == d.lot) {
            Some((_, _, grams)) => *grams += d.grams,
            None => sums.push((d.application, d.lot, d.grams)),
        }
    }
    Ok(sums
        .into_iter()
        .map(|(_, lot, grams)| {
            // The lot's own product: of a mixture each part stands in its own line.
            let (product, code) = known
                .iter()
                .find(|l| l.0 == lot.0)
                .map_or((tr!("Product"), "?"), |l| (l.2.as_str(), l.1.as_str()));
            tr!(
                "{product}, lot {code}, {grams} g",
                product = product,
                code = code,
                grams = format_args!("{:.0}", grams)
            )
        })
        .collect())
}
