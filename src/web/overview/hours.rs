//! Hours wanted and open in the weeks to come.

use crate::app::App;
use crate::flow::overview::Frame;
use crate::flow::overview::hours::{Coming, Hours, coming};
use crate::store::{Scoped, Stored};
use crate::web::overview::figure::{Cell, Figure, Row, percent, short_day, week_cells};
use crate::web::picture::hours::{HoursAhead, WeekHours};

fn chairs_open(week: &Coming, chairs: f64) -> f64 {
    week.open.open_min * chairs
}

/// The tightest week: where what may be wanted takes the largest part of what is open.
fn tightest(hours: &Hours) -> Option<&Coming> {
    let part = |w: &Coming| {
        let chairs = w.wanted.chair.high / chairs_open(w, hours.chairs).max(1.0);
        chairs.max(w.wanted.hands.high / w.open.hands_min.max(1.0))
    };
    let wanted = hours.weeks.iter().filter(|w| w.wanted.visits >= 0.05);
    wanted.max_by(|a, b| part(a).total_cmp(&part(b)))
}

fn sentence(hours: &Hours) -> String {
    let h = |minutes: f64| format!("{:.0}", minutes / 60.0);
    let sum = |of: fn(&Coming) -> f64| hours.weeks.iter().map(of).sum::<f64>();
    let wanted = sum(|w| w.wanted.chair.mean);
    let Some(tight) = tightest(hours).filter(|_| wanted >= 30.0) else {
        return tr!("Nobody known today is likely to want a service in the next twelve weeks.").into();
    };
    let (chair, open) = (tight.wanted.chair, chairs_open(tight, hours.chairs));
    tr!(
        "In the next twelve weeks clients known today will want about {} hours in a chair; {} are in the book. The tightest \
         week begins {}: {} hours wanted, 8 times in 10 between {} and {}; {} chair hours are open, and {} hours of hands \
         against {} wanted.",
        h(wanted),
        h(sum(|w| w.booked_min)),
        short_day(tight.wanted.week.monday()),
        h(chair.mean),
        h(chair.low),
        h(chair.high),
        h(open),
        h(tight.open.hands_min),
        h(tight.wanted.hands.mean)
    )
}

fn about(hours: &Hours) -> String {
    let habit = &hours.habit;
    let learned = match (habit.returns(), habit.middle()) {
        (0, _) => tr!(
            "Until thirty clients have come again, how they keep to it is taken as is usual in the trade."
        )
        .to_string(),
        (n, Some(middle)) => tr!(
            "Growth says when; how clients keep to it is learned from {n} returns: half of those who come have come by {middle} \
             times the days their hair needs, {} come again at all.",
            percent(habit.comes()),
            n = n,
            middle = format_args!("{:.2}", middle)
        ),
        (n, None) => tr!("Growth says when; how clients keep to it is learned from {n} returns.", n = n),
    };
    let cut = if hours.cut { tr!(" There are more clients than were counted.") } else { "" };
    let chairs = if hours.chairs > 0.0 {
        ""
    } else {
        tr!(" How many chairs there are has not been entered in Team yet.")
    };
    tr!(
        "{learned} New clients, and services that growth does not bring back, come on top.{cut}{chairs}",
        learned = learned,
        cut = cut,
        chairs = chairs
    )
}

/// Hours wanted and open.
pub async fn hours(s: &mut Scoped, app: &App, frame: &Frame) -> Stored<Figure> {
    let hours = coming(s, app, frame).await?;
    let sentence = sentence(&hours);
    let rows = hours.weeks.iter().map(|w| {
        let mut cells = week_cells(w.wanted.week);
        cells.push(Cell {
            shown: format!("{:.0}", w.wanted.visits),
            plain: format!("{:.2}", w.wanted.visits),
        });
        let chair = w.wanted.chair;
        cells.extend([chair.low, chair.mean, chair.high].map(Cell::hours));
        cells.push(Cell::hours(chairs_open(w, hours.chairs)));
        cells.push(Cell::hours(w.booked_min));
        let hands = w.wanted.hands;
        cells.extend([hands.low, hands.mean, hands.high, w.open.hands_min].map(Cell::hours));
        Row { cells, href: format!("/overview/hours/rows?week={}", w.wanted.week) }
    });
    let picture = HoursAhead {
        weeks: hours.weeks.iter().map(|w| short_day(w.wanted.week.monday())).collect(),
        hours: hours
            .weeks
            .iter()
            .map(|w| {
                let h = |minutes: f64| minutes / 60.0;
                let chair = w.wanted.chair;
                WeekHours {
                    booked: h(w.booked_min),
                    wanted: (h(chair.low), h(chair.mean), h(chair.high)),
                    open: h(chairs_open(w, hours.chairs)),
                }
            })
            .collect(),
        label: sentence.clone(),
    };
    Ok(Figure {
        name: "hours",
        heading: tr!("Hours wanted and open"),
        about: tr!(
            "Dot: hours in a chair that will be wanted, its whisker 8 times in 10. Toned bar: in the book. Stroke: open, as long \
             as anybody who treats hair is there, times the chairs{}. {}",
            if picture.is_cut() { "; where it is missing it lies far above" } else { "" },
            about(&hours)
        ),
        picture: Some(picture.draw()),
        sentence,
        keys: Vec::new(),
        columns: vec![
            tr!("Week"),
            tr!("Begins"),
            tr!("Visits"),
            tr!("Chair, low"),
            tr!("Chair wanted"),
            tr!("Chair, high"),
            tr!("Chair open"),
            tr!("In the book"),
            tr!("Hands, low"),
            tr!("Hands wanted"),
            tr!("Hands, high"),
            tr!("Hands at work"),
        ],
        rows: rows.collect(),
    })
}
