//! Regrowth: who is due, how sure, who has been reached, what stands in the way, and whom to call now.

mod asked;
mod row;

use askama::Template;
use axum_extra::extract::Query;
use time::{Date, Duration, OffsetDateTime};

use crate::calendar::day_words;
use crate::domain::access::{Act, may};
use crate::domain::due::View;
use crate::domain::followup::{Group, NextStep, Outcome};
use crate::domain::ids::ClientId;
use crate::flow::calls::is_quiet;
use crate::flow::due_list;
use crate::flow::services::Services;
use crate::store::due_list::Counts;
use crate::store::people::{self, Person};
use crate::store::{Scoped, calls, clients, followups, salons};
use crate::web::clients::{CURL_GROUPS, zone};
use crate::web::form::{Choice, Errors};
use crate::web::page;
use crate::web::picture::mark::Drawing;
use crate::web::picture::regrowth::{DueWindow, GrowthNow};
use crate::web::problem::{Answered, Problem};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::shell::Shell;
use crate::words;

use asked::Asked;
use row::{Do, Row, SCALE_BEFORE, SCALE_DAYS, SCALE_MM, Teller, short_day};

/// The routes of this screen.
pub const LINES: &[Line] = lines![
    get "/regrowth" Open::To(Act::FollowUp) => list,
];

/// A view in the line over the list.
struct ViewLink {
    words: String,
    href: String,
    current: bool,
}

#[derive(Template)]
#[template(path = "regrowth/list.html")]
struct ListPage {
    shell: Shell,
    errors: Errors,
    /// What was noted just now, of whom.
    just_noted: String,
    /// The list's own address: news fetch it again from there.
    part: String,
    answer: String,
    summary: String,
    quiet: String,
    views: Vec<ViewLink>,
    asked: Asked,
    narrowed: bool,
    people: Vec<Choice>,
    whose: Vec<Choice>,
    services: Vec<Choice>,
    curls: Vec<Choice>,
    scale_mm: Drawing,
    scale_days: Drawing,
    heading: &'static str,
    rows: Vec<Row>,
    more: String,
    first: String,
    empty: &'static str,
}

/// A count as it begins a sentence.
fn counted(n: usize) -> String {
    const WORDS: [&str; 13] = [
        mark!("Nobody"),
        mark!("One"),
        mark!("Two"),
        mark!("Three"),
        mark!("Four"),
        mark!("Five"),
        mark!("Six"),
        mark!("Seven"),
        mark!("Eight"),
        mark!("Nine"),
        mark!("Ten"),
        mark!("Eleven"),
        mark!("Twelve"),
    ];
    WORDS.get(n).map_or_else(|| n.to_string(), |w| words::of(w).to_string())
}

fn ticks(today: Date) -> Vec<(f64, String)> {
    let first = today - Duration::days(SCALE_BEFORE);
    (0..SCALE_DAYS)
        .map(|n| (n, first + Duration::days(n)))
        .filter(|(n, day)| day.weekday() == time::Weekday::Monday && n / 7 % 3 == 0)
        .map(|(n, day)| (n as f64, short_day(day)))
        .collect()
}

/// The screen's answer: how many, of whom.
fn answer(view: View, rows: usize, more: bool) -> String {
    let who = counted(rows);
    let on_page = if more { tr!(", and more") } else { "" };
    match view {
        View::Now => tr!("{who} to reach today{on_page}", who = who, on_page = on_page),
        View::Early => tr!("{who} due, early in the window{on_page}", who = who, on_page = on_page),
        View::Middle => tr!("{who} due, about the middle{on_page}", who = who, on_page = on_page),
        View::Late => tr!("{who} due, late in the window{on_page}", who = who, on_page = on_page),
        View::Overdue => tr!("{who} past the latest week{on_page}", who = who, on_page = on_page),
        View::Lapsed => tr!("{who} lapsed{on_page}", who = who, on_page = on_page),
        View::Blocked => {
            tr!("{who} with something before the service{on_page}", who = who, on_page = on_page)
        }
        View::Waiting => tr!("{who} waiting for an answer or a day{on_page}", who = who, on_page = on_page),
        View::Held => tr!("{who} held back{on_page}", who = who, on_page = on_page),
        View::Soon => tr!("{who} to be asked later{on_page}", who = who, on_page = on_page),
        View::Promised => tr!("{who} booked{on_page}", who = who, on_page = on_page),
    }
}

fn empty(view: View, narrowed: bool) -> &'static str {
    match (view, narrowed) {
        (_, true) => tr!("Nobody of whom you asked for. Ask for fewer things at once."),
        (View::Now, _) => {
            tr!("Whoever had a service here comes into this list eight weeks before the next one is due.")
        }
        (View::Promised, _) => tr!("Nobody who is due has a booking yet."),
        _ => tr!("Nobody stands here now."),
    }
}

/// What can be offered on the telephone: the next free chair, and for which of the services it is a later one.
fn offer(free: &[(String, Date)], title: impl Fn(&str) -> String) -> String {
    let Some(first) = free.iter().map(|(_, day)| *day).min() else {
        return tr!("No chair is free for these services within three weeks.").into();
    };
    let mut later: Vec<&(String, Date)> = free.iter().filter(|(_, day)| *day > first).collect();
    later.sort_by_key(|(_, day)| *day);
    let named = || {
        let each: Vec<String> =
            later.iter().map(|(code, day)| format!("{}, {}", title(code), day_words(*day))).collect();
        each.join("; ")
    };
    match later.len() {
        0 => tr!("The next free chair: {}.", day_words(first)),
        1..=2 => tr!("The next free chair: {}; later for {}.", day_words(first), named()),
        n => tr!("The next free chair: {}; later for {n} of the services.", day_words(first), n = n),
    }
}

/// What the team has noted today.
fn noted((tries, booked): (i64, i64)) -> String {
    match (tries, booked) {
        (0, _) => tr!("Nothing noted yet today.").into(),
        (1, 0) => tr!("Noted today: one try.").into(),
        (1, _) => tr!("Noted today: one booking.").into(),
        (n, 0) => tr!("Noted today: {n} tries, nothing booked.", n = n),
        (n, b) => tr!("Noted today: {n} tries, {b} of them booked.", n = n, b = b),
    }
}

fn count_of(view: View, counts: &Counts) -> Option<i64> {
    match view {
        View::Early => Some(counts.early),
        View::Middle => Some(counts.middle),
        View::Late => Some(counts.late),
        View::Overdue => Some(counts.overdue),
        View::Lapsed => Some(counts.lapsed),
        View::Promised => Some(counts.promised),
        // Counting these asks for each client's whole story; their own page does, a page at a time.
        View::Now | View::Blocked | View::Waiting | View::Held | View::Soon => None,
    }
}

fn views(asked: &Asked, current: View, counts: &Counts) -> Vec<ViewLink> {
    let link = |view: View| ViewLink {
        words: match count_of(view, counts) {
            Some(n) => format!("{} {n}", view.words()),
            None => view.words().into(),
        },
        href: asked.address(view, None),
        current: view == current,
    };
    View::ALL.into_iter().map(link).collect()
}

/// "anybody", then the pairs, the chosen one marked.
fn choices<'a>(
    anybody: &str,
    pairs: impl IntoIterator<Item = (&'a str, &'a str)>,
    chosen: &str,
) -> Vec<Choice> {
    let mut list = Choice::names(pairs, &[chosen]);
    list.insert(0, Choice { code: String::new(), words: anybody.into(), chosen: chosen.is_empty() });
    list
}

fn people_choices(team: &[Person], whose: bool, chosen: &str) -> Vec<Choice> {
    let ids: Vec<(String, &Person)> = team
        .iter()
        .filter(|p| !p.left && (!whose || may(p.role, Act::FollowUp)))
        .map(|p| (p.id.to_string(), p))
        .collect();
    let named = ids.iter().map(|(id, p)| (id.as_str(), p.name.as_str()));
    if whose {
        choices(
            tr!("anybody"),
            [("me", tr!("me")), ("nobody", tr!("nobody yet"))].into_iter().chain(named),
            chosen,
        )
    } else {
        choices(tr!("anybody"), named, chosen)
    }
}

/// Minutes for which the list says what was noted just now.
const JUST_MIN: i64 = 10;

/// What was noted of a client just now, for whoever comes back from it; empty of any other.
async fn just_noted(s: &mut Scoped, client: &str, now: OffsetDateTime) -> Result<String, Problem> {
    let Ok(client) = client.parse().map(ClientId) else { return Ok(String::new()) };
    let newest = followups::list(s, client).await?.into_iter().next();
    let newest = newest.filter(|f| now - f.at < Duration::minutes(JUST_MIN));
    let (Some(f), Some(of)) = (newest, clients::find(s, client).await?) else { return Ok(String::new()) };
    let outcome = Outcome::from_code(&f.outcome).map_or("", Outcome::words);
    let step = f.next_step.as_deref().and_then(NextStep::from_code).map(NextStep::words);
    Ok(match (step, f.next_on) {
        (Some(step), Some(on)) => tr!(
            "Noted: {}, {outcome}. Next: {step}, {}.",
            of.name,
            day_words(on),
            outcome = outcome,
            step = step
        ),
        (None, Some(on)) => {
            tr!("Noted: {}, {outcome}. Next on {}.", of.name, day_words(on), outcome = outcome)
        }
        _ => tr!("Noted: {}, {outcome}.", of.name, outcome = outcome),
    })
}

/// The list, in the order of calling, a page at a time.
pub async fn list(seat: Seat, Query(asked): Query<Asked>) -> Answered {
    let me = seat.require(Act::FollowUp)?.id;
    let zone = zone(&seat)?;
    let mut errors = Errors::none();
    let reference = &seat.app.reference;
    let wanted = asked.read(reference, me, &mut errors);
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let today = zone.day_of(now);
    let salon = salons::find(&mut s).await?.ok_or(Problem::Broken)?;
    let valid_days = i64::from(salon.patch_valid_days);
    let due = due_list::read_page(&mut s, &seat.app, &zone, valid_days, &wanted.question()).await?;
    let team = people::list(&mut s).await?;
    let calls = calls::list(&mut s, now).await?;
    let known = Services::load(&mut s, reference).await?;
    let just_noted = just_noted(&mut s, &asked.noted, now).await?;
    s.commit().await?;
    let quiet = is_quiet(&zone, &salon.quiet(), now);
    let quiet_words = super::calls::quiet_words(&salon);
    let teller = Teller {
        zone: &zone,
        today,
        seat: &seat,
        services: &known,
        calls: &calls,
        quiet: quiet.then(|| quiet_words.clone()),
    };
    let mut rows: Vec<Row> = due.rows.iter().map(|listed| teller.row(listed)).collect();
    let first_call = due.rows.iter().position(|listed| listed.group == Group::Reach);
    if let Some(row) = first_call.and_then(|n| rows.get_mut(n)) {
        row.main = matches!(row.act, Do::Call { .. } | Do::Go { .. });
    }
    let view = wanted.view;
    let services: Vec<(&str, &str)> = reference
        .protocols
        .iter()
        .filter(|p| p.retouch.is_some())
        .map(|p| (p.code.as_str(), known.title(&p.code)))
        .collect();
    let page = ListPage {
        shell: seat.shell(now, "/regrowth", &["regrowth"]),
        part: asked.address(view, wanted.after),
        answer: answer(view, rows.len(), due.next.is_some()),
        summary: format!("{} {}", offer(&due.free, |code| known.title(code).to_string()), noted(due.noted)),
        quiet: if quiet { quiet_words } else { String::new() },
        views: views(&asked, view, &due.counts),
        narrowed: asked.is_narrowed(),
        people: people_choices(&team, false, &asked.person),
        whose: people_choices(&team, true, &asked.whose),
        services: choices(tr!("any service"), services, &asked.service),
        curls: choices(tr!("any curl"), CURL_GROUPS.map(|(code, said)| (code, words::of(said))), &asked.curl),
        scale_mm: GrowthNow::scale(SCALE_MM),
        scale_days: DueWindow::scale(
            SCALE_DAYS as f64,
            (SCALE_BEFORE as f64, &tr!("today, {}", short_day(today))),
            &ticks(today),
        ),
        heading: if view == View::Now { tr!("Call now, in this order") } else { view.words() },
        more: due.next.map_or_else(String::new, |key| asked.address(view, Some(key))),
        first: if wanted.after.is_some() { asked.address(view, None) } else { String::new() },
        empty: empty(view, asked.is_narrowed()),
        rows,
        asked,
        errors,
        just_noted,
    };
    Ok(if page.errors.is_empty() { page::html(&page) } else { page::refused(&page) })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_begin_a_sentence() {
        assert_eq!([counted(0), counted(3), counted(40)], ["Nobody", "Three", "40"]);
        assert_eq!(answer(View::Now, 50, true), "50 to reach today, and more");
    }

    #[test]
    fn the_sentence_under_the_heading_says_what_can_be_offered() {
        let title = |code: &str| code.to_uppercase();
        let day = |n| time::Date::from_calendar_date(2026, time::Month::May, n).unwrap();
        let free =
            |of: &[(&str, u8)]| of.iter().map(|(c, n)| ((*c).to_string(), day(*n))).collect::<Vec<_>>();
        assert_eq!(offer(&[], title), "No chair is free for these services within three weeks.");
        assert_eq!(offer(&free(&[("a", 16), ("b", 16)]), title), "The next free chair: Sat 16 May.");
        let apart = offer(&free(&[("a", 19), ("b", 16)]), title);
        assert_eq!(apart, "The next free chair: Sat 16 May; later for A, Tue 19 May.");
        let many = offer(&free(&[("a", 19), ("b", 16), ("c", 20), ("d", 19)]), title);
        assert_eq!(many, "The next free chair: Sat 16 May; later for 3 of the services.");
        assert_eq!(noted((3, 1)), "Noted today: 3 tries, 1 of them booked.");
    }
}
