//! Regrowth: who is due, how sure, who has been reached, what stands in the way.

use askama::Template;
use axum_extra::extract::Query;
use serde::Deserialize;
use time::{Date, Duration, OffsetDateTime};

use crate::calendar::{Zone, day_words, iso_day};
use crate::domain::access::Act;
use crate::domain::followup::{CONSULT_DAYS, Group, LastWord, Outcome, Standing};
use crate::domain::growth::{ChanceWords, Rate, Retouch};
use crate::domain::ids::ClientId;
use crate::flow::openings::{SkinTest, is_chemical, skin_test};
use crate::flow::services::Services;
use crate::store::dues::{self, DueRow};
use crate::store::openings::{self, SkinTestState};
use crate::web::clients::zone;
use crate::web::page;
use crate::web::picture::mark::Drawing;
use crate::web::picture::regrowth::{DueWindow, GrowthNow};
use crate::web::problem::{Answered, Problem};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::{Seat, first_name};
use crate::web::shell::Shell;

/// The routes of this screen.
pub const LINES: &[Line] = lines![
    get "/regrowth" Open::To(Act::FollowUp) => list,
];

/// The scale of the column of windows, days, and how many of them lie before today.
const SCALE_DAYS: i64 = 77;
const SCALE_BEFORE: i64 = 31;
/// The scale of the column of new growth, mm.
const SCALE_MM: f64 = 40.0;
/// How far ahead an early edge may lie to be listed, days.
const LOOK_AHEAD_DAYS: i64 = 56;

/// Where the page before ended.
#[derive(Deserialize, Default)]
#[serde(default)]
pub struct Asked {
    after: String,
    after_id: String,
}

/// A client's row, in words and pictures.
struct Row {
    name: String,
    href: String,
    service: String,
    grown: GrowthNow,
    chance: &'static str,
    percent: String,
    window: DueWindow,
    deadline: String,
    said: String,
    said_more: String,
    blocks: Vec<String>,
    act: String,
    act_href: String,
    main: bool,
}

struct Grouped {
    heading: &'static str,
    rows: Vec<Row>,
}

#[derive(Template)]
#[template(path = "regrowth/list.html")]
struct ListPage {
    shell: Shell,
    answer: String,
    summary: String,
    scale_mm: Drawing,
    scale_days: Drawing,
    groups: Vec<Grouped>,
    more: String,
}

/// A count as it begins a sentence.
fn counted(n: usize) -> String {
    const WORDS: [&str; 13] = [
        "Nobody", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine", "Ten", "Eleven",
        "Twelve",
    ];
    WORDS.get(n).map_or_else(|| n.to_string(), |w| (*w).to_string())
}

/// A day without its weekday: `14 May`.
fn short_day(day: Date) -> String {
    day_words(day)[4..].to_string()
}

/// `5 to 13 May`, `25 Apr to 11 May`.
fn window_words(from: Date, to: Option<Date>) -> String {
    match to {
        None => format!("from {}, open-ended", short_day(from)),
        Some(to) if from == to => short_day(from),
        Some(to) if (from.year(), from.month()) == (to.year(), to.month()) => {
            format!("{} to {}", from.day(), short_day(to))
        }
        Some(to) => format!("{} to {}", short_day(from), short_day(to)),
    }
}

/// What a row is judged against.
struct Eye<'a> {
    zone: &'a Zone,
    now: OffsetDateTime,
    today: Date,
    seat: &'a Seat,
    services: &'a Services,
}

impl Eye<'_> {
    fn last_word(&self, row: &DueRow) -> Option<LastWord> {
        let outcome = Outcome::from_code(row.outcome.as_deref()?)?;
        Some(LastWord { outcome, on: self.zone.day_of(row.said_at?), next_on: row.next_on })
    }

    fn skin(&self, row: &DueRow, states: &[SkinTestState]) -> SkinTest {
        let mine: Vec<SkinTestState> =
            states.iter().filter(|x| x.client_id == row.due.client_id).cloned().collect();
        // What a salon changes of a protocol is never whether it opens the hair.
        let chemical = self.seat.app.reference.protocol(&row.due.protocol).is_none_or(is_chemical);
        // A test has to hold when the service can be: today, or when the window opens.
        let until = self.zone.midnight(row.due.early_on.max(self.today));
        skin_test(&mine, chemical, i64::from(self.seat.salon_row.patch_valid_days), self.now, until)
    }

    fn standing(&self, row: &DueRow, skin: SkinTest) -> Standing {
        Standing {
            today: self.today,
            early_on: row.due.early_on,
            booked: row.booking_id.is_some(),
            no_contact: row.no_contact,
            refused: row.plan_verdict.as_deref() == Some("refuse") || skin == SkinTest::Reacted,
            wait_until: row.wait_until.filter(|day| *day > self.today),
            last: self.last_word(row),
        }
    }

    fn blocks(&self, row: &DueRow, skin: SkinTest) -> Vec<String> {
        let mut blocks = Vec::new();
        let refused = row.plan_verdict.as_deref() == Some("refuse");
        if skin == SkinTest::Reacted || refused {
            blocks.push(match (self.seat.may(Act::SeeHealth), refused) {
                (true, true) => "plan refused".to_string(),
                (true, false) => "skin reacted: not this service".to_string(),
                // Reception learns that somebody has to look, not what was found.
                (false, _) => "a stylist looks first".to_string(),
            });
        }
        if let Some(until) = row.wait_until.filter(|day| *day > self.today) {
            blocks.push(format!("wait until {}", day_words(until)));
        }
        if row.booking_id.is_none() || row.patch_visit_at.is_none() {
            match skin {
                SkinTest::Visit => blocks.push("patch test 48 h before".into()),
                SkinTest::Unread { .. } => blocks.push("patch test placed, to be read".into()),
                _ => {}
            }
        }
        let fresh = |at: OffsetDateTime| (self.now - at).whole_days() < CONSULT_DAYS;
        if !row.consult_at.is_some_and(fresh) {
            blocks.push("consult out of date".into());
        }
        blocks
    }

    fn said(&self, row: &DueRow, standing: &Standing) -> (String, String) {
        if let (Some(at), true) = (row.booked_at, standing.booked) {
            let patch = row.patch_visit_at.map_or_else(String::new, |at| {
                format!("patch test {}, {}", self.zone.day_words(at), self.zone.clock(at))
            });
            return (format!("{}, {}", self.zone.day_words(at), self.zone.clock(at)), patch);
        }
        if row.no_contact {
            return ("wants no contact".into(), self.who_and_when(row));
        }
        match standing.last {
            None => ("not reached yet".into(), String::new()),
            Some(last) => {
                let day = short_day(last.on);
                let words = match (last.outcome, last.next_on) {
                    (Outcome::Later, Some(next)) => format!("{day}: later, from {}", short_day(next)),
                    (outcome, _) => format!("{day}: {}", outcome.words()),
                };
                (words, self.who_and_when(row))
            }
        }
    }

    fn who_and_when(&self, row: &DueRow) -> String {
        let mut words = row.said_by.clone().unwrap_or_default();
        if let Some(note) = row.note.as_deref().filter(|note| !note.is_empty())
            && !words.is_empty()
        {
            words = format!("{words}: {note}");
        }
        words
    }

    fn act(&self, row: &DueRow, group: Group, standing: &Standing) -> (String, String) {
        let id = row.due.client_id;
        let word = format!("/clients/{id}/followups");
        let openings = format!("/openings?client={id}&protocol={}", page::query_value(&row.due.protocol));
        match group {
            Group::Reach => match standing.last.map(|last| last.outcome) {
                Some(Outcome::Spoke) => ("Find an opening".into(), openings),
                _ => (format!("Call {}", first_name(&row.name)), word),
            },
            Group::Booked => ("Move".into(), row.booking_id.map_or(word, |b| format!("/bookings/{b}"))),
            Group::HeldBack if row.no_contact => ("Change the wish".into(), word),
            Group::HeldBack if standing.refused && self.seat.may(Act::SeeHealth) => {
                ("See the plan".into(), format!("/clients/{id}/plan"))
            }
            _ => ("Note an answer".into(), word),
        }
    }

    fn row(&self, row: &DueRow, states: &[SkinTestState]) -> (Group, Row) {
        let skin = self.skin(row, states);
        let standing = self.standing(row, skin);
        let group = standing.group();
        let due = &row.due;
        let rate = Rate { mean: f64::from(due.rate_mm), sd: f64::from(due.rate_sd) };
        let days = (self.today - due.last_on).whole_days().max(0) as f64;
        let weeks = |to: Date| u16::try_from((to - due.last_on).whole_weeks()).unwrap_or(0);
        let target_mm = f64::from(due.target_mm);
        let asked =
            Retouch { target_mm, least_weeks: weeks(due.least_on), latest_weeks: weeks(due.latest_on) };
        let chance = asked.chance(rate, days);
        let grown = rate.growth(days);
        let late = (self.today - due.latest_on).whole_days();
        let deadline = match late {
            1 => "1 day past the latest week".into(),
            2.. => format!("{late} days past the latest week"),
            _ => format!("latest by {}", day_words(due.latest_on)),
        };
        let scale = |day: Date| (day - self.today).whole_days() as f64 + SCALE_BEFORE as f64;
        let (said, said_more) = self.said(row, &standing);
        let (act, act_href) = self.act(row, group, &standing);
        let mut service = self.services.title(&due.protocol).to_string();
        if let Some(usual) = &row.usual_name {
            service = format!("{service}, {}", first_name(usual));
        }
        let mut blocks = self.blocks(row, skin);
        if row.measured == 0 {
            blocks.push("never measured here".into());
        }
        let row = Row {
            name: row.name.clone(),
            href: format!("/clients/{}", due.client_id),
            service,
            grown: GrowthNow { mm: grown.mean, band: (grown.low, grown.high), target_mm, scale_mm: SCALE_MM },
            chance: ChanceWords::of(chance).words(),
            percent: format!("{:.0} %", chance * 100.0),
            window: DueWindow {
                days: SCALE_DAYS as f64,
                today: SCALE_BEFORE as f64,
                window: due.late_on.map(|late| (scale(due.early_on), scale(late))),
                middle: scale(due.middle_on),
                latest: Some(scale(due.latest_on)),
                words: window_words(due.early_on, due.late_on),
                latest_words: deadline.clone(),
            },
            deadline,
            said,
            said_more,
            blocks,
            act,
            act_href,
            main: false,
        };
        (group, row)
    }
}

fn ticks(today: Date) -> Vec<(f64, String)> {
    let first = today - Duration::days(SCALE_BEFORE);
    (0..SCALE_DAYS)
        .map(|n| (n, first + Duration::days(n)))
        .filter(|(n, day)| day.weekday() == time::Weekday::Monday && n / 7 % 3 == 0)
        .map(|(n, day)| (n as f64, short_day(day)))
        .collect()
}

fn summary(reach: &[Row]) -> String {
    let mut words: Vec<String> = reach
        .iter()
        .take(3)
        .map(|row| {
            let why = if row.deadline.contains("past") { &row.deadline } else { &row.said };
            format!("{}: {why}", first_name(&row.name))
        })
        .collect();
    if reach.len() > 3 {
        words.push(format!("and {} more", reach.len() - 3));
    }
    words.join("; ") + if words.is_empty() { "" } else { "." }
}

/// The list, by deadline, two hundred at a time.
pub async fn list(seat: Seat, Query(q): Query<Asked>) -> Answered {
    seat.require(Act::FollowUp)?;
    let zone = zone(&seat)?;
    let after = match (q.after.as_str(), q.after_id.parse::<ClientId>()) {
        ("", _) => None,
        (day, Ok(id)) => Some((read_day(day)?, id)),
        _ => return Err(Problem::Bad("This link is not whole: open Regrowth again.".into())),
    };
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let today = zone.day_of(now);
    let mut rows = dues::list(&mut s, zone.name(), today + Duration::days(LOOK_AHEAD_DAYS), after).await?;
    let more = rows.len() > dues::PAGE;
    rows.truncate(dues::PAGE);
    let ids: Vec<i64> = rows.iter().map(|r| r.due.client_id).collect();
    let protocols: Vec<String> = rows.iter().map(|r| r.due.protocol.clone()).collect();
    let states = openings::list_skin_tests(&mut s, &ids, &protocols).await?;
    let services = Services::load(&mut s, &seat.app.reference).await?;
    s.commit().await?;
    let eye = Eye { zone: &zone, now, today, seat: &seat, services: &services };
    let mut grouped: Vec<(Group, Row)> = rows.iter().map(|row| eye.row(row, &states)).collect();
    if let Some((_, row)) = grouped.iter_mut().find(|(group, _)| *group == Group::Reach) {
        row.main = true;
    }
    let mut groups = Vec::new();
    for group in Group::ALL {
        let (mine, rest) = grouped.into_iter().partition(|(g, _)| *g == group);
        grouped = rest;
        let rows: Vec<Row> = mine.into_iter().map(|(_, row)| row).collect();
        groups.push(Grouped { heading: group.words(), rows });
    }
    let reach = groups.first().map_or(0, |g| g.rows.len());
    let page = ListPage {
        shell: seat.shell(now, "/regrowth", &["regrowth"]),
        answer: format!(
            "{} to reach today{}",
            counted(reach),
            if more || after.is_some() { ", on this page" } else { "" }
        ),
        summary: groups.first().map_or_else(String::new, |g| summary(&g.rows)),
        scale_mm: GrowthNow::scale(SCALE_MM),
        scale_days: DueWindow::scale(
            SCALE_DAYS as f64,
            (SCALE_BEFORE as f64, &format!("today, {}", short_day(today))),
            &ticks(today),
        ),
        more: match rows.last() {
            Some(last) if more => {
                format!("/regrowth?after={}&after_id={}", iso_day(last.due.latest_on), last.due.client_id)
            }
            _ => String::new(),
        },
        groups: groups.into_iter().filter(|g| !g.rows.is_empty()).collect(),
    };
    Ok(page::html(&page))
}

fn read_day(day: &str) -> Result<Date, Problem> {
    let mut errors = crate::web::form::Errors::none();
    crate::web::typed::day(&mut errors, "after", day)
        .ok_or_else(|| Problem::Bad("This link is not whole: open Regrowth again.".into()))
}

#[cfg(test)]
mod tests {
    use time::macros::date;

    use super::*;

    #[test]
    fn a_window_is_said_in_as_few_words_as_it_needs() {
        let from = date!(2026 - 05 - 05);
        assert_eq!(window_words(from, Some(date!(2026 - 05 - 13))), "5 to 13 May");
        assert_eq!(window_words(date!(2026 - 04 - 25), Some(date!(2026 - 05 - 11))), "25 Apr to 11 May");
        assert_eq!(window_words(from, None), "from 5 May, open-ended");
        assert_eq!(window_words(from, Some(from)), "5 May");
    }

    #[test]
    fn counts_begin_a_sentence() {
        assert_eq!([counted(0), counted(3), counted(40)], ["Nobody", "Three", "40"]);
    }
}
