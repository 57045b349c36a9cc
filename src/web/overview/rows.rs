//! The rows behind a figure: who and what was counted, each leading to its own screen.

use askama::Template;
use axum_extra::extract::Query;
use serde::Deserialize;

use super::held::held_words;
use super::open;
use crate::domain::followup::Outcome;
use crate::domain::overview::{Reach, Week};
use crate::flow::overview::times::Given;
use crate::flow::overview::{self as flow, Frame};
use crate::flow::services::Services;
use crate::store::overview::rows as store;
use crate::store::people;
use crate::web::incident_report::kind_words;
use crate::web::overview::figure::{percent, short_day};
use crate::web::page;
use crate::web::problem::{Answered, Problem};
use crate::web::seat::Seat;
use crate::web::shell::Shell;
use crate::words;

/// What is asked for.
#[derive(Deserialize, Default)]
#[serde(default)]
pub struct Asked {
    week: String,
    person: String,
    what: String,
}

/// A row: its first cell leads on.
struct Line {
    href: String,
    cells: Vec<String>,
}

#[derive(Template)]
#[template(path = "overview/rows.html")]
struct RowsPage {
    shell: Shell,
    /// The figure they belong to.
    figure: &'static str,
    back: String,
    answer: String,
    about: String,
    columns: Vec<&'static str>,
    rows: Vec<Line>,
    cut: bool,
}

impl RowsPage {
    fn named<'a>(&'a self, row: &'a Line) -> impl Iterator<Item = (&'static str, &'a str)> {
        self.columns.iter().copied().zip(row.cells.iter().map(String::as_str)).skip(1)
    }
}

fn broken() -> Problem {
    Problem::Bad(tr!("This link is not whole: open the overview again.").into())
}

fn week(frame: &Frame, q: &Asked) -> Result<Week, Problem> {
    q.week.parse().ok().filter(|week| frame.is_near(*week)).ok_or_else(broken)
}

fn begins(week: Week) -> String {
    tr!("the week that begins {} {}", short_day(week.monday()), week.monday().year())
}

/// Cuts a list to a page; true when there was more.
fn cut<T>(list: &mut Vec<T>) -> bool {
    let most = usize::try_from(store::MOST).unwrap_or(300);
    let more = list.len() > most;
    list.truncate(most);
    more
}

fn said(cut: bool, counted: String) -> String {
    if cut { tr!("More than {}", counted) } else { counted }
}

/// Clients due in a week, by deadline.
pub async fn due(seat: Seat, Query(q): Query<Asked>) -> Answered {
    let (mut s, frame) = open(&seat).await?;
    let week = week(&frame, &q)?;
    let to = week.plus(1).monday();
    let mut found = store::list_due(&mut s, frame.zone.name(), week.monday(), to).await?;
    let services = Services::load(&mut s, &seat.app.reference).await?;
    s.commit().await?;
    let cut = cut(&mut found);
    let rows: Vec<Line> = found
        .iter()
        .map(|d| {
            let last = d.outcome.as_deref().and_then(Outcome::from_code);
            let reach = Reach::of(d.booking_id.is_some(), d.no_contact, last);
            let stands = match d.booked_at {
                Some(at) => tr!("in the book, {}", frame.zone.day_words(at)),
                None => reach.words().to_string(),
            };
            Line {
                href: format!("/clients/{}/followups", d.client_id),
                cells: vec![
                    d.name.clone(),
                    services.title(&d.protocol).to_string(),
                    short_day(d.middle_on),
                    short_day(d.latest_on),
                    stands,
                ],
            }
        })
        .collect();
    Ok(page::html(&RowsPage {
        shell: seat.shell(frame.now, "/overview", &[]),
        figure: tr!("Due and reached"),
        back: "/overview#due".into(),
        answer: said(cut, trn!(rows.len(), "{n} client is due", "{n} clients are due")),
        about: tr!("In {}, and not here since, by deadline.", begins(week)),
        columns: vec![
            tr!("Client"),
            tr!("Service"),
            tr!("Likely long enough"),
            tr!("Latest by"),
            tr!("Stands"),
        ],
        rows,
        cut,
    }))
}

/// Clients who may come in a week, the likeliest first.
pub async fn hours(seat: Seat, Query(q): Query<Asked>) -> Answered {
    let (mut s, frame) = open(&seat).await?;
    let week = week(&frame, &q)?;
    let ahead = usize::try_from(week.since(frame.this_week())).map_err(|_| broken())?;
    if !(1..=flow::WEEKS).contains(&ahead) {
        return Err(broken());
    }
    let comers = flow::hours::comers(&mut s, &seat.app).await?;
    let habit = flow::hours::habit(&mut s, &seat.app, &frame.zone, frame.today).await?;
    let mut likely: Vec<(f64, &flow::hours::Comer)> = comers
        .iter()
        .map(|c| (c.head.visits(&habit, frame.today, ahead)[ahead - 1], c))
        .filter(|(p, _)| *p >= 0.005)
        .collect();
    likely.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.client_id.cmp(&b.1.client_id)));
    let cut = cut(&mut likely);
    let ids: Vec<i64> = likely.iter().map(|(_, c)| c.client_id).collect();
    let names = store::list_names(&mut s, &ids).await?;
    let services = Services::load(&mut s, &seat.app.reference).await?;
    s.commit().await?;
    let name = |id: i64| names.iter().find(|x| x.0 == id).map(|x| x.1.clone()).unwrap_or_default();
    let rows: Vec<Line> = likely
        .iter()
        .map(|(p, c)| Line {
            href: format!("/clients/{}", c.client_id),
            cells: vec![
                name(c.client_id),
                services.title(&c.protocol).to_string(),
                short_day(c.head.last_on),
                percent(*p),
                tr!("{} min", format_args!("{:.0}", c.head.minutes.chair)),
                tr!("{} min", format_args!("{:.0}", c.head.minutes.hands)),
            ],
        })
        .collect();
    Ok(page::html(&RowsPage {
        shell: seat.shell(frame.now, "/overview", &[]),
        figure: tr!("Hours wanted and open"),
        back: "/overview#hours".into(),
        answer: said(cut, trn!(rows.len(), "{n} client may come", "{n} clients may come")),
        about: tr!("In {}, the likeliest first; a chance under 1 in 200 is left out.", begins(week)),
        columns: vec![
            tr!("Client"),
            tr!("Service"),
            tr!("Last here"),
            tr!("Chance"),
            tr!("In a chair"),
            tr!("Hands"),
        ],
        rows,
        cut,
    }))
}

/// Services in the book of a week, those nobody came to first.
pub async fn missed(seat: Seat, Query(q): Query<Asked>) -> Answered {
    let (mut s, frame) = open(&seat).await?;
    let week = week(&frame, &q)?;
    let (from, to) = frame.span(week, 1);
    let mut found = store::list_bookings(&mut s, from, to).await?;
    let services = Services::load(&mut s, &seat.app.reference).await?;
    s.commit().await?;
    let cut = cut(&mut found);
    let missed = found.iter().filter(|b| b.state == "missed").count() as u64;
    let rows = found
        .iter()
        .map(|b| Line {
            href: format!("/bookings/{}", b.booking_id),
            cells: vec![
                b.name.clone(),
                format!("{}, {}", frame.zone.day_words(b.starts_at), frame.zone.clock(b.starts_at)),
                b.protocol.as_deref().map_or_else(String::new, |p| services.title(p).to_string()),
                match b.state.as_str() {
                    "missed" => tr!("did not come").to_string(),
                    "cancelled" => tr!("called off").to_string(),
                    "kept" => tr!("came").to_string(),
                    _ => tr!("in the book").to_string(),
                },
                b.reason.clone().unwrap_or_default(),
            ],
        })
        .collect();
    Ok(page::html(&RowsPage {
        shell: seat.shell(frame.now, "/overview", &[]),
        figure: tr!("Did not come"),
        back: "/overview#missed".into(),
        answer: trn!(missed, "{n} client did not come", "{n} clients did not come"),
        about: tr!("Services in the book of {}.", begins(week)),
        columns: vec![tr!("Client"), tr!("When"), tr!("Service"), tr!("How"), tr!("Why")],
        rows,
        cut,
    }))
}

/// A line for each application of services, the worst first.
fn timed(frame: &Frame, services: &Services, given: &[Given]) -> Vec<Line> {
    let mut lines: Vec<(f64, Line)> = given
        .iter()
        .flat_map(|g| g.timed.iter().map(move |t| (g, t)))
        .map(|(g, t)| {
            let longest = t.longest_min().unwrap_or(0.0);
            let times = t.times();
            let over = match times.past_most {
                0 => String::new(),
                n => tr!("{n} on for longer than allowed", n = n),
            };
            let line = Line {
                href: format!("/proof/runs/{}", g.run.run_id),
                cells: vec![
                    g.run.client_name.clone(),
                    format!(
                        "{}, {}",
                        frame.zone.day_words(g.run.started_at),
                        frame.zone.clock(g.run.started_at)
                    ),
                    services.title(&g.run.protocol).to_string(),
                    g.run.by_name.clone(),
                    tr!(
                        "{longest} min, target {}, longest allowed {}",
                        format_args!("{:.0}", t.target_min),
                        format_args!("{:.0}", t.most_min),
                        longest = format_args!("{:.1}", longest)
                    ),
                    t.apart_min().map_or_else(String::new, |m| tr!("{m} min", m = format_args!("{:.1}", m))),
                    over,
                ],
            };
            (longest - t.most_min, line)
        })
        .collect();
    lines.sort_by(|a, b| b.0.total_cmp(&a.0));
    lines.into_iter().map(|(_, line)| line).collect()
}

const TIMED: &[&str] = &[
    mark!("Client"),
    mark!("When"),
    mark!("Service"),
    mark!("Begun by"),
    mark!("Longest quadrant"),
    mark!("First to last"),
    mark!("Past the longest allowed"),
];

/// Services of a week with their times.
pub async fn times(seat: Seat, Query(q): Query<Asked>) -> Answered {
    let (mut s, frame) = open(&seat).await?;
    let week = week(&frame, &q)?;
    let past = flow::times::past(&mut s, &seat.app, frame.span(week, 1), None).await?;
    let services = Services::load(&mut s, &seat.app.reference).await?;
    s.commit().await?;
    let mut rows = timed(&frame, &services, &past.given);
    let cut = cut(&mut rows) || past.cut;
    Ok(page::html(&RowsPage {
        shell: seat.shell(frame.now, "/overview", &[]),
        figure: tr!("Times kept"),
        back: "/overview#times".into(),
        answer: said(cut, trn!(rows.len(), "{n} application", "{n} applications")),
        about: tr!(
            "Of services begun in {}, nearest to the longest allowed or beyond it first.",
            begins(week)
        ),
        columns: TIMED.iter().map(|c| words::of(c)).collect(),
        rows,
        cut,
    }))
}

/// Services of one person with their times.
pub async fn spread(seat: Seat, Query(q): Query<Asked>) -> Answered {
    let (mut s, frame) = open(&seat).await?;
    let id: crate::domain::ids::PersonId = q.person.parse().map_err(|_| broken())?;
    let person = people::find(&mut s, id).await?.ok_or(Problem::NotFound)?;
    let past = flow::times::past(&mut s, &seat.app, frame.past_span(), Some(id.0)).await?;
    let services = Services::load(&mut s, &seat.app.reference).await?;
    s.commit().await?;
    let mut given = past.given;
    let apart = |g: &Given| g.timed.iter().filter_map(|t| t.apart_min()).fold(0.0, f64::max);
    given.sort_by(|a, b| apart(b).total_cmp(&apart(a)));
    let mut rows: Vec<Line> =
        given.iter().flat_map(|g| timed(&frame, &services, std::slice::from_ref(g))).collect();
    let cut = cut(&mut rows) || past.cut;
    Ok(page::html(&RowsPage {
        shell: seat.shell(frame.now, "/overview", &[]),
        figure: tr!("First to last"),
        back: "/overview#spread".into(),
        answer: format!(
            "{}: {}",
            person.name,
            said(cut, trn!(rows.len(), "{n} application", "{n} applications"))
        ),
        about: tr!("Of services begun in this week and the eleven before it, those furthest apart first.")
            .into(),
        columns: TIMED.iter().map(|c| words::of(c)).collect(),
        rows,
        cut,
    }))
}

/// What was held up, or gone on with, of one sort.
pub async fn holds(seat: Seat, Query(q): Query<Asked>) -> Answered {
    let (mut s, frame) = open(&seat).await?;
    let (words, over) = held_words(&q.what).ok_or_else(broken)?;
    let (from, to) = frame.past_span();
    let paper = matches!(q.what.as_str(), "plan-refused" | "consult-reason" | "lot-released");
    let mut found = if paper {
        store::list_held_papers(&mut s, &q.what, from, to).await?
    } else {
        store::list_held_events(&mut s, &q.what, from, to).await?
    };
    s.commit().await?;
    let cut = cut(&mut found);
    let href = |h: &store::Held| match (h.run_id, h.lot_id, h.client_id) {
        (Some(run), ..) => format!("/proof/runs/{run}"),
        (_, Some(lot), _) => format!("/shelf/lots/{lot}"),
        (.., Some(client)) if q.what == "consult-reason" => format!("/clients/{client}/consult"),
        (.., Some(client)) => format!("/clients/{client}/plan"),
        _ => String::new(),
    };
    let rows: Vec<Line> = found
        .iter()
        .map(|h| Line {
            href: href(h),
            cells: vec![
                h.name.clone(),
                format!("{}, {}", frame.zone.day_words(h.at), frame.zone.clock(h.at)),
                h.by_name.clone().unwrap_or_default(),
            ],
        })
        .collect();
    Ok(page::html(&RowsPage {
        shell: seat.shell(frame.now, "/overview", &[]),
        figure: tr!("Held up, and gone on"),
        back: "/overview#holds".into(),
        answer: format!("{words}: {}", said(cut, trn!(rows.len(), "{n} time", "{n} times"))),
        about: if over {
            tr!("What a person answered for by name, in this week and the eleven before it, newest first.")
                .into()
        } else {
            tr!("What said no in this week and the eleven before it, newest first.").into()
        },
        columns: vec![tr!("Whose"), tr!("When"), tr!("By")],
        rows,
        cut,
    }))
}

/// Incidents of a week.
pub async fn incidents(seat: Seat, Query(q): Query<Asked>) -> Answered {
    let (mut s, frame) = open(&seat).await?;
    let week = week(&frame, &q)?;
    let (from, to) = frame.span(week, 1);
    let mut found = store::list_incidents(&mut s, from, to).await?;
    s.commit().await?;
    let cut = cut(&mut found);
    let rows: Vec<Line> = found
        .iter()
        .map(|i| Line {
            href: format!("/incidents/{}", i.incident_id),
            cells: vec![
                i.client_name.clone(),
                format!("{}, {}", frame.zone.day_words(i.opened_at), frame.zone.clock(i.opened_at)),
                kind_words(&i.kind).to_string(),
                if i.run_id.is_some() { tr!("during a service") } else { tr!("told afterwards") }.to_string(),
            ],
        })
        .collect();
    Ok(page::html(&RowsPage {
        shell: seat.shell(frame.now, "/overview", &[]),
        figure: tr!("Incidents"),
        back: "/overview#incidents".into(),
        answer: said(cut, trn!(rows.len(), "{n} incident", "{n} incidents")),
        about: tr!("Opened in {}.", begins(week)),
        columns: vec![tr!("Client"), tr!("When"), tr!("What"), tr!("How")],
        rows,
        cut,
    }))
}
