//! Clients: who is due and how far they were reached, who did not come.

use crate::domain::followup::Outcome;
use crate::domain::overview::{Reach, Week, share};
use crate::flow::overview::{Frame, WEEKS};
use crate::store::overview as store;
use crate::store::{Scoped, Stored};
use crate::web::overview::figure::{Cell, Figure, Row, keys, percent, short_day, week_cells};
use crate::web::picture::weeks::{Fill, WeekBars};

/// A week's clients by how far they were reached, in the order of [`Reach::ALL`].
type Reached = [u64; 5];

fn place(reach: Reach) -> usize {
    Reach::ALL.iter().position(|r| *r == reach).unwrap_or(0)
}

const DUE_FILLS: [(Fill, &str); 5] = [
    (Fill::Solid, mark!("in the book")),
    (Fill::Tone, "answered"),
    (Fill::Slant, mark!("tried, no answer")),
    (Fill::Blank, mark!("not reached yet")),
    (Fill::Tone, mark!("wants no contact")),
];

/// From the oldest week looked back on to the last looked ahead.
fn due_weeks(frame: &Frame) -> (Week, Week) {
    let this = frame.this_week();
    (this.plus(1 - WEEKS as i64), this.plus(WEEKS as i64 + 1))
}

/// Who is due and has not come, by week. With it: clients due up to this week, and those of them not reached.
pub async fn due(s: &mut Scoped, frame: &Frame) -> Stored<(Figure, u64, u64)> {
    let (from, to) = due_weeks(frame);
    let counts = store::count_due(s, frame.zone.name(), (from.monday(), to.monday()), frame.now).await?;
    let weeks: Vec<Week> = from.run(2 * WEEKS).collect();
    let mut by_week: Vec<Reached> = vec![[0; 5]; weeks.len()];
    for row in counts {
        let last = row.outcome.as_deref().and_then(Outcome::from_code);
        let reach = Reach::of(row.booked, row.no_contact, last);
        let at = usize::try_from(Week::of(row.monday).since(from)).ok().and_then(|n| by_week.get_mut(n));
        if let Some(week) = at {
            week[place(reach)] += u64::try_from(row.clients).unwrap_or(0);
        }
    }
    let so_far = by_week.iter().take(WEEKS).fold([0; 5], |mut sum: Reached, week| {
        sum.iter_mut().zip(week).for_each(|(a, b)| *a += b);
        sum
    });
    let due: u64 = so_far.iter().sum();
    let [booked, answered, tried, untried, _] = so_far;
    let sentence = match due {
        0 => tr!("Nobody has been due up to this week without coming.").to_string(),
        _ => trn!(
            due,
            "{n} client is due up to this week and not here yet: {booked} in the book, {answered} answered, {tried} tried without an answer, {untried} not reached.",
            "{n} clients are due up to this week and not here yet: {booked} in the book, {answered} answered, {tried} tried without an answer, {untried} not reached.",
            booked = booked,
            answered = answered,
            tried = tried,
            untried = untried
        ),
    };
    let rows = weeks.iter().zip(&by_week).map(|(week, reached)| {
        let all: u64 = reached.iter().sum();
        let mut cells = week_cells(*week);
        cells.push(Cell::of(all));
        cells.extend(reached.iter().map(Cell::of));
        Row { cells, href: if all > 0 { format!("/overview/due/rows?week={week}") } else { String::new() } }
    });
    let figure = Figure {
        name: "due",
        heading: tr!("Due and reached"),
        about: tr!("Each client stands once, in the week in which new growth is as likely as not long enough; whoever was served \
                since stands in a later one.")
            .into(),
        picture: Some(
            WeekBars {
                weeks: weeks.iter().map(|w| short_day(w.monday())).collect(),
                today: Some(WEEKS - 1),
                parts: by_week
                    .iter()
                    .map(|r| DUE_FILLS.iter().take(4).zip(r).map(|((fill, _), n)| (*fill, *n as f64)).collect())
                    .collect(),
                unit: "clients",
                label: sentence.clone(),
            }
            .draw(),
        ),
        sentence,
        keys: keys(&DUE_FILLS[..4]),
        columns: vec![
            tr!("Week"),
            tr!("Begins"),
            tr!("Due"),
            tr!("In the book"),
            tr!("Answered"),
            tr!("Tried, no answer"),
            tr!("Not reached yet"),
            tr!("Wants no contact"),
        ],
        rows: rows.collect(),
    };
    Ok((figure, due, tried + untried))
}

/// Who was booked for a service and did not come, by week.
pub async fn missed(s: &mut Scoped, frame: &Frame) -> Stored<Figure> {
    let (from, to) = frame.past_span();
    let counts = store::count_bookings(s, frame.zone.name(), from, to).await?;
    let weeks: Vec<Week> = frame.past().collect();
    let of = |week: Week, state: &str| -> u64 {
        let found = counts.iter().find(|c| c.monday == week.monday() && c.what == state);
        found.map_or(0, |c| u64::try_from(c.count).unwrap_or(0))
    };
    let sum = |state: &str| weeks.iter().map(|w| of(*w, state)).sum::<u64>();
    let (kept, missed, off) = (sum("kept"), sum("missed"), sum("cancelled"));
    let sentence = match share(missed, kept + missed) {
        None => tr!("Nobody was booked for a service in these weeks.").to_string(),
        Some(part) => trn!(
            kept + missed,
            "Of {n} visit booked and not called off, {missed} did not come ({}); {off} called off before.",
            "Of {n} visits booked and not called off, {missed} did not come ({}); {off} called off before.",
            percent(part),
            missed = missed,
            off = off
        ),
    };
    let rows = weeks.iter().map(|week| {
        let (kept, missed, off, open) =
            (of(*week, "kept"), of(*week, "missed"), of(*week, "cancelled"), of(*week, "booked"));
        let mut cells = week_cells(*week);
        cells.extend([kept, missed, off, open].map(Cell::of));
        cells.push(Cell::share(share(missed, kept + missed)));
        let any = kept + missed + off + open > 0;
        Row { cells, href: if any { format!("/overview/missed/rows?week={week}") } else { String::new() } }
    });
    let fills =
        [(Fill::Solid, tr!("did not come")), (Fill::Slant, tr!("called off")), (Fill::Blank, tr!("came"))];
    Ok(Figure {
        name: "missed",
        heading: tr!("Did not come"),
        about: tr!(
            "Bookings for services of this week and the eleven before it; patch tests are not counted."
        )
        .into(),
        picture: (kept + missed + off > 0).then(|| {
            WeekBars {
                weeks: weeks.iter().map(|w| short_day(w.monday())).collect(),
                today: Some(WEEKS - 1),
                parts: weeks
                    .iter()
                    .map(|w| {
                        let n = |state| of(*w, state) as f64;
                        vec![(fills[0].0, n("missed")), (fills[1].0, n("cancelled")), (fills[2].0, n("kept"))]
                    })
                    .collect(),
                unit: "visits",
                label: sentence.clone(),
            }
            .draw()
        }),
        sentence,
        keys: keys(&fills),
        columns: vec![
            tr!("Week"),
            tr!("Begins"),
            tr!("Came"),
            tr!("Did not come"),
            tr!("Called off"),
            tr!("Still in the book"),
            tr!("Share that did not come"),
        ],
        rows: rows.collect(),
    })
}
