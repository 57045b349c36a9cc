//! The manager's overview: what the weeks brought and will bring. Each figure is a sentence, a picture with its table, a
//! file, and leads to the rows it was counted from.

pub mod figure;
mod held;
mod hours;
mod people;
mod rows;
mod stock;
mod times;

use askama::Template;
use axum::response::Response;

use crate::domain::access::Act;
use crate::flow::overview::{self as flow, Frame};
use crate::store::Scoped;
use crate::web::clients::zone;
use crate::web::overview::figure::{Along, Figure};
use crate::web::page;
use crate::web::problem::{Answered, Problem};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::shell::Shell;

/// The routes of this screen.
pub const LINES: &[Line] = lines![
    get "/overview" Open::To(Act::SeeOverview) => show,
    get "/overview/due.csv" Open::To(Act::SeeOverview) => due_file,
    get "/overview/hours.csv" Open::To(Act::SeeOverview) => hours_file,
    get "/overview/missed.csv" Open::To(Act::SeeOverview) => missed_file,
    get "/overview/times.csv" Open::To(Act::SeeOverview) => times_file,
    get "/overview/spread.csv" Open::To(Act::SeeOverview) => spread_file,
    get "/overview/holds.csv" Open::To(Act::SeeOverview) => holds_file,
    get "/overview/incidents.csv" Open::To(Act::SeeOverview) => incidents_file,
    get "/overview/stock.csv" Open::To(Act::SeeOverview) => stock_file,
    get "/overview/due/rows" Open::To(Act::SeeOverview) => rows::due,
    get "/overview/hours/rows" Open::To(Act::SeeOverview) => rows::hours,
    get "/overview/missed/rows" Open::To(Act::SeeOverview) => rows::missed,
    get "/overview/times/rows" Open::To(Act::SeeOverview) => rows::times,
    get "/overview/spread/rows" Open::To(Act::SeeOverview) => rows::spread,
    get "/overview/holds/rows" Open::To(Act::SeeOverview) => rows::holds,
    get "/overview/incidents/rows" Open::To(Act::SeeOverview) => rows::incidents,
];

#[derive(Template)]
#[template(path = "overview/page.html")]
struct OverviewPage {
    shell: Shell,
    answer: String,
    figures: Vec<Figure>,
}

/// Opens the salon's weeks; whoever may not see the overview is told so.
async fn open(seat: &Seat) -> Result<(Scoped, Frame), Problem> {
    seat.require(Act::SeeOverview)?;
    let zone = zone(seat)?;
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    Ok((s, Frame::at(zone, now)))
}

/// All of it on one page.
pub async fn show(seat: Seat) -> Answered {
    let (mut s, frame) = open(&seat).await?;
    let (due, so_far, unreached) = people::due(&mut s, &frame).await?;
    let hours = hours::hours(&mut s, &seat.app, &frame).await?;
    let missed = people::missed(&mut s, &frame).await?;
    let past = flow::times::past(&mut s, &seat.app, frame.past_span(), None).await?;
    let holds = held::holds(&mut s, &frame).await?;
    let incidents = held::incidents(&mut s, &frame).await?;
    let stock = stock::stock(&mut s, &frame).await?;
    s.commit().await?;
    let answer = match (so_far, unreached) {
        (0, _) => tr!("Nobody is overdue").to_string(),
        (due, 0) => tr!("{due} due, all of them reached", due = due),
        (due, unreached) => tr!("{due} due, {unreached} not reached yet", due = due, unreached = unreached),
    };
    Ok(page::html(&OverviewPage {
        shell: seat.shell(frame.now, "/overview", &[]),
        answer,
        figures: vec![
            due.leading(Along::Weeks),
            hours.leading(Along::Weeks),
            missed.leading(Along::Weeks),
            times::kept(&past, &frame).leading(Along::Weeks),
            times::apart(&past).leading(Along::Rows),
            holds.leading(Along::Rows),
            incidents.leading(Along::Weeks),
            stock.leading(Along::Rows),
        ],
    }))
}

/// What a file is answered with.
type Filed = Result<Response, Problem>;

/// Due and reached, as a table file.
pub async fn due_file(seat: Seat) -> Filed {
    let (mut s, frame) = open(&seat).await?;
    let (figure, ..) = people::due(&mut s, &frame).await?;
    s.commit().await?;
    Ok(figure.file())
}

/// Hours wanted and open, as a table file.
pub async fn hours_file(seat: Seat) -> Filed {
    let (mut s, frame) = open(&seat).await?;
    let figure = hours::hours(&mut s, &seat.app, &frame).await?;
    s.commit().await?;
    Ok(figure.file())
}

/// Who did not come, as a table file.
pub async fn missed_file(seat: Seat) -> Filed {
    let (mut s, frame) = open(&seat).await?;
    let figure = people::missed(&mut s, &frame).await?;
    s.commit().await?;
    Ok(figure.file())
}

/// Times kept, as a table file.
pub async fn times_file(seat: Seat) -> Filed {
    let (mut s, frame) = open(&seat).await?;
    let past = flow::times::past(&mut s, &seat.app, frame.past_span(), None).await?;
    s.commit().await?;
    Ok(times::kept(&past, &frame).file())
}

/// First to last by person, as a table file.
pub async fn spread_file(seat: Seat) -> Filed {
    let (mut s, frame) = open(&seat).await?;
    let past = flow::times::past(&mut s, &seat.app, frame.past_span(), None).await?;
    s.commit().await?;
    Ok(times::apart(&past).file())
}

/// What was held up, as a table file.
pub async fn holds_file(seat: Seat) -> Filed {
    let (mut s, frame) = open(&seat).await?;
    let figure = held::holds(&mut s, &frame).await?;
    s.commit().await?;
    Ok(figure.file())
}

/// Incidents, as a table file.
pub async fn incidents_file(seat: Seat) -> Filed {
    let (mut s, frame) = open(&seat).await?;
    let figure = held::incidents(&mut s, &frame).await?;
    s.commit().await?;
    Ok(figure.file())
}

/// Stock, as a table file.
pub async fn stock_file(seat: Seat) -> Filed {
    let (mut s, frame) = open(&seat).await?;
    let figure = stock::stock(&mut s, &frame).await?;
    s.commit().await?;
    Ok(figure.file())
}
