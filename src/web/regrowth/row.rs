//! A client's row on Regrowth, in words and pictures.

use time::Date;

use crate::calendar::{Zone, day_words, month_words};
use crate::domain::access::Act;
use crate::domain::due::Stage;
use crate::domain::followup::{Block, Group, NextStep, Outcome};
use crate::domain::growth::{ChanceWords, Rate, Retouch};
use crate::flow::due_list::Listed;
use crate::flow::services::Services;
use crate::store::calls::Call;
use crate::web::once;
use crate::web::page;
use crate::web::picture::regrowth::{DueWindow, GrowthNow};
use crate::web::seat::{Seat, first_name};

/// The scale of the column of windows, days, and how many of them lie before today.
pub(super) const SCALE_DAYS: i64 = 77;
pub(super) const SCALE_BEFORE: i64 = 31;
/// The scale of the column of new growth, mm.
pub(super) const SCALE_MM: f64 = 40.0;

/// What can be done in a row.
pub(super) enum Do {
    /// Take the call: a form.
    Call { action: String, words: String, once_key: String },
    /// Go somewhere.
    Go { href: String, words: String },
    /// Nothing now, and why.
    Nothing(String),
}

/// A client's row.
pub(super) struct Row {
    pub(super) name: String,
    pub(super) href: String,
    pub(super) service: String,
    /// Why it stands where it stands.
    pub(super) why: String,
    pub(super) grown: GrowthNow,
    pub(super) chance: &'static str,
    pub(super) percent: String,
    pub(super) window: DueWindow,
    pub(super) deadline: String,
    pub(super) past: bool,
    pub(super) said: String,
    pub(super) said_more: String,
    pub(super) blocks: Vec<String>,
    pub(super) act: Do,
    pub(super) main: bool,
}

/// A day without its weekday: `14 May`.
pub(super) fn short_day(day: Date) -> String {
    format!("{} {}", day.day(), month_words(day.month()))
}

/// `5 to 13 May`, `25 Apr to 11 May`.
fn window_words(from: Date, to: Option<Date>) -> String {
    match to {
        None => tr!("from {}, open-ended", short_day(from)),
        Some(to) if from == to => short_day(from),
        Some(to) if (from.year(), from.month()) == (to.year(), to.month()) => {
            tr!("{} to {}", from.day(), short_day(to))
        }
        Some(to) => tr!("{} to {}", short_day(from), short_day(to)),
    }
}

/// What rows are worded against.
pub(super) struct Teller<'a> {
    pub(super) zone: &'a Zone,
    pub(super) today: Date,
    pub(super) seat: &'a Seat,
    pub(super) services: &'a Services,
    /// Calls under way.
    pub(super) calls: &'a [Call],
    /// Nobody is called now, and until when it is so.
    pub(super) quiet: Option<String>,
}

impl Teller<'_> {
    fn blocks(&self, listed: &Listed) -> Vec<String> {
        let row = &listed.row;
        let plan_refused = row.plan_verdict.as_deref() == Some("refuse");
        let words = |block: &Block| match block {
            // Reception learns that somebody has to look, not what was found.
            Block::Look if !self.seat.may(Act::SeeHealth) => tr!("a stylist looks first").to_string(),
            Block::Look if plan_refused => tr!("plan refused").into(),
            Block::Look => tr!("skin reacted: not this service").into(),
            Block::Wait(until) => tr!("wait until {}", day_words(*until)),
            Block::Test => tr!("patch test 48 h before").into(),
            Block::TestUnread => tr!("patch test placed, to be read").into(),
            Block::Consult => tr!("consult out of date").into(),
        };
        let mut blocks: Vec<String> = listed.blocks.iter().map(words).collect();
        if row.measured == 0 {
            blocks.push(tr!("never measured here").into());
        }
        blocks
    }

    fn said(&self, listed: &Listed) -> (String, String) {
        let row = &listed.row;
        if let Some(at) = row.booked_at.filter(|_| listed.standing.booked) {
            let patch = row.patch_visit_at.map_or_else(String::new, |at| {
                tr!("patch test {}, {}", self.zone.day_words(at), self.zone.clock(at))
            });
            return (format!("{}, {}", self.zone.day_words(at), self.zone.clock(at)), patch);
        }
        if row.no_contact {
            return (tr!("wants no contact").into(), self.who_and_note(listed));
        }
        let Some(last) = listed.standing.last else { return (tr!("not reached yet").into(), String::new()) };
        let day = short_day(last.on);
        if last.outcome == Outcome::Booked {
            // Nothing is booked ahead: the booking that was told of is over, one way or another.
            let words = match row.said_state.as_deref() {
                Some("cancelled") => tr!("{day}: booked, cancelled since", day = day),
                Some("missed") => tr!("{day}: booked, did not come", day = day),
                _ => tr!("{day}: booked", day = day),
            };
            return (words, self.who_and_note(listed));
        }
        let step = row.next_step.as_deref().and_then(NextStep::from_code).map(NextStep::words);
        let words = match (last.outcome, last.next_on, step) {
            (Outcome::Later, Some(next), _) => tr!("{day}: later, from {}", short_day(next), day = day),
            (outcome, Some(next), Some(step)) => {
                format!("{day}: {}; {step} {}", outcome.words(), short_day(next))
            }
            (outcome, Some(next), None) => {
                tr!("{day}: {}; again {}", outcome.words(), short_day(next), day = day)
            }
            (outcome, None, _) => format!("{day}: {}", outcome.words()),
        };
        (words, self.who_and_note(listed))
    }

    fn who_and_note(&self, listed: &Listed) -> String {
        let words = listed.row.said_by.clone().unwrap_or_default();
        match listed.row.note.as_deref().filter(|note| !note.is_empty()) {
            Some(note) if !words.is_empty() => format!("{words}: {note}"),
            _ => words,
        }
    }

    fn act(&self, listed: &Listed) -> Do {
        let row = &listed.row;
        let id = row.due.client_id;
        let word = format!("/clients/{id}/followups");
        let go = |href: String, words: &str| Do::Go { href, words: words.into() };
        if let Some(call) = self.calls.iter().find(|call| call.client_id == id) {
            let mine = self.seat.person().is_some_and(|me| me.id.0 == call.by);
            let until = self.zone.clock(call.until_at);
            return if mine {
                Do::Go { href: word, words: tr!("Your call, until {until}", until = until) }
            } else {
                Do::Nothing(tr!("{} is calling, until {until}", call.by_name, until = until))
            };
        }
        match listed.group {
            Group::Reach => match listed.standing.last.map(|last| last.outcome) {
                Some(Outcome::Spoke) => go(
                    format!("/openings?client={id}&protocol={}", page::query_value(&row.due.protocol)),
                    tr!("Find an opening"),
                ),
                _ => match &self.quiet {
                    Some(words) => Do::Nothing(words.clone()),
                    None => Do::Call {
                        action: format!("/clients/{id}/call"),
                        words: tr!("Call {}", first_name(&row.name)),
                        once_key: once::key(),
                    },
                },
            },
            Group::Booked => go(row.booking_id.map_or(word, |b| format!("/bookings/{b}")), tr!("Move")),
            Group::HeldBack if row.no_contact => go(word, tr!("Change the wish")),
            Group::HeldBack if listed.standing.refused && self.seat.may(Act::SeeHealth) => {
                go(format!("/clients/{id}/plan"), tr!("See the plan"))
            }
            _ => go(word, tr!("Note an answer")),
        }
    }

    /// Why this client stands here: what is lost by waiting.
    fn why(&self, listed: &Listed, asked: &Retouch, rate: Rate) -> String {
        let past = listed.urgency.past_days;
        if past > 0 {
            if listed.stage == Stage::Lapsed && self.today <= listed.called_until {
                return tr!(
                    "{past} days past the latest week, so lapsed: called until {} for a last try",
                    short_day(listed.called_until),
                    past = past
                );
            }
            let days = if past == 1 { tr!("1 day").to_string() } else { tr!("{past} days", past = past) };
            return tr!("{days} past the latest week: the line of demarcation gets weaker", days = days);
        }
        let row = &listed.row;
        let days = (row.free_on - row.due.last_on).whole_days().max(0) as f64;
        let chance = asked.chance(rate, days);
        let free = day_words(row.free_on);
        match ChanceWords::of(chance) {
            ChanceWords::TooSoon => tr!("not yet long enough by {free}, the next free chair", free = free),
            words => {
                tr!(
                    "{} long enough by {free}, the next free chair ({} %)",
                    words.words(),
                    format_args!("{:.0}", chance * 100.0),
                    free = free
                )
            }
        }
    }

    /// The row in words.
    pub(super) fn row(&self, listed: &Listed) -> Row {
        let (row, due) = (&listed.row, &listed.row.due);
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
            1 => tr!("1 day past the latest week").into(),
            2.. => tr!("{late} days past the latest week", late = late),
            _ => tr!("latest by {}", day_words(due.latest_on)),
        };
        let scale = |day: Date| (day - self.today).whole_days() as f64 + SCALE_BEFORE as f64;
        let (said, said_more) = self.said(listed);
        let mut service = self.services.title(&due.protocol).to_string();
        if let Some(usual) = &row.usual_name {
            service = format!("{service}, {}", first_name(usual));
        }
        if let Some(whose) = &row.assigned_name {
            service = tr!("{service}; {} sees to it", first_name(whose), service = service);
        }
        Row {
            name: row.name.clone(),
            href: format!("/clients/{}", due.client_id),
            service,
            why: self.why(listed, &asked, rate),
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
            past: late > 0,
            deadline,
            said,
            said_more,
            blocks: self.blocks(listed),
            act: self.act(listed),
            main: false,
        }
    }
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
}
