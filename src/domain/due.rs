//! A due client in time, and who is called first: by what is lost by waiting.
//!
//! The days of this file are common practice, no source; the order is the trade's own reason for a latest week
//! (trade-rules.md): a line of demarcation left too long breaks.

use std::cmp::Ordering;

use time::{Date, Duration};

use super::chemistry::family::coded;
use super::followup::Group;
use super::growth::Rate;
use super::ids::ClientId;

/// Days past the latest week after which a client counts as lapsed: soon not called day by day any more, but won back.
pub const LAPSED_DAYS: i64 = 56;
/// Days for which somebody lapsed is still called: whoever slips over that edge without having been reached has one last
/// try, four weeks of it, before they are one of a long list.
pub const LATELY_DAYS: i64 = 28;
/// Days past the latest week after which nobody is called day by day.
pub const CALLED_DAYS: i64 = LAPSED_DAYS + LATELY_DAYS;
/// How far ahead an early edge may lie to be listed, days.
pub const LOOK_AHEAD_DAYS: i64 = 56;

/// When somebody is due, in local days.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Dates {
    /// The last service of that chemistry.
    pub last_on: Date,
    /// One chance in ten that new growth is long enough.
    pub early_on: Date,
    /// Even chances.
    pub middle_on: Date,
    /// Nine in ten; open-ended when absent.
    pub late_on: Option<Date>,
    /// Never sooner.
    pub least_on: Date,
    /// The demarcation gets weak after this.
    pub latest_on: Date,
}

coded! {
    /// How far along the window a client is.
    Stage {
        /// The window has not opened.
        NotYet = "not-yet", "not yet";
        /// One chance in ten or more.
        Early = "early", "due early";
        /// Even chances or more.
        Middle = "middle", "due";
        /// Nine in ten or more.
        Late = "late", "due late";
        /// Past the latest week.
        Overdue = "overdue", "overdue";
        /// Past it by more than [`LAPSED_DAYS`].
        Lapsed = "lapsed", "lapsed";
    }
}

impl Dates {
    /// Days past the latest week on a day, 0 when it is still to come.
    #[must_use]
    pub fn past_days(&self, today: Date) -> i64 {
        (today - self.latest_on).whole_days().max(0)
    }

    /// The last day on which somebody is in the list of whom to call.
    #[must_use]
    pub fn called_until(&self) -> Date {
        self.latest_on.saturating_add(Duration::days(CALLED_DAYS))
    }

    /// The stage on a day. The latest week speaks before the window: it is the deadline.
    #[must_use]
    pub fn stage(&self, today: Date) -> Stage {
        match (today - self.latest_on).whole_days() {
            past if past > LAPSED_DAYS => Stage::Lapsed,
            1.. => Stage::Overdue,
            _ if self.late_on.is_some_and(|day| day <= today) => Stage::Late,
            _ if self.middle_on <= today => Stage::Middle,
            _ if self.early_on <= today => Stage::Early,
            _ => Stage::NotYet,
        }
    }
}

/// The score of somebody who cannot be due by the day asked about; also the edge of every score.
const FAR: f64 = 1e9;

/// What is lost by waiting with one client. Ordered: the least is called first.
#[derive(Clone, Copy, Debug)]
pub struct Urgency {
    /// Days past the latest week, 0 when it is still to come.
    pub past_days: i64,
    /// (μ − T/Δ)/σ on the day of the next free chair: the chance's own argument, so that it orders as the chance does
    /// and tells almost-sure ones apart. Within ±1e9.
    pub score: f64,
    /// Whose; settles what is equal.
    pub client: ClientId,
}

impl Urgency {
    /// Judged today, with the next free chair for this service on `free_on`.
    #[must_use]
    pub fn of(
        dates: &Dates,
        rate: Rate,
        target_mm: f64,
        (today, free_on): (Date, Date),
        client: ClientId,
    ) -> Self {
        let days = (free_on - dates.last_on).whole_days();
        let score = if free_on < dates.least_on || days <= 0 {
            -FAR
        } else {
            ((rate.mean - target_mm / days as f64) / rate.sd).clamp(-FAR, FAR)
        };
        Self { past_days: dates.past_days(today), score, client }
    }

    /// The place in the order, as the list turns its pages by it: the class, the key in it, the client; each ascending.
    #[must_use]
    pub fn key(&self) -> (i16, f64, i64) {
        if self.past_days > 0 {
            (0, -(self.past_days as f64), self.client.0)
        } else {
            (1, -self.score, self.client.0)
        }
    }
}

impl Ord for Urgency {
    fn cmp(&self, other: &Self) -> Ordering {
        let ((a, x, i), (b, y, j)) = (self.key(), other.key());
        a.cmp(&b).then(x.total_cmp(&y)).then(i.cmp(&j))
    }
}

impl PartialOrd for Urgency {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl PartialEq for Urgency {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Eq for Urgency {}

coded! {
    /// What of the list is looked at.
    View {
        /// To be called today.
        Now = "now", "Call now";
        /// Due, early in the window.
        Early = "early", "Due early";
        /// Due, in the middle.
        Middle = "middle", "Due";
        /// Due, late in the window.
        Late = "late", "Due late";
        /// Past the latest week.
        Overdue = "overdue", "Overdue";
        /// Long past it.
        Lapsed = "lapsed", "Lapsed";
        /// A test, a wait or a consult stands before the service.
        Blocked = "blocked", "Blocked";
        /// Reached for; an answer or a day is awaited.
        Waiting = "waiting", "Waiting";
        /// Not to be asked.
        Held = "held", "Held back";
        /// The window is far off.
        Soon = "soon", "Not yet";
        /// A service is booked.
        Promised = "promised", "Promised";
    }
}

impl View {
    /// Whether a client stands in this view. Who has a booking stands in [`View::Promised`] alone, who lapsed longer ago
    /// than [`LATELY_DAYS`] is won back, not called day by day.
    #[must_use]
    pub fn shows(self, (stage, past_days): (Stage, i64), group: Group, blocked: bool) -> bool {
        let promised = group == Group::Booked;
        match self {
            View::Now => group == Group::Reach && past_days <= CALLED_DAYS,
            View::Early => stage == Stage::Early && !promised,
            View::Middle => stage == Stage::Middle && !promised,
            View::Late => stage == Stage::Late && !promised,
            View::Overdue => stage == Stage::Overdue && !promised,
            View::Lapsed => stage == Stage::Lapsed && !promised,
            View::Blocked => blocked && !promised,
            View::Waiting => group == Group::Waiting,
            View::Held => group == Group::HeldBack,
            View::Soon => group == Group::NotYet,
            View::Promised => promised,
        }
    }

    /// The stage that a view is, where it is one.
    #[must_use]
    pub fn stage(self) -> Option<Stage> {
        match self {
            View::Early => Some(Stage::Early),
            View::Middle => Some(Stage::Middle),
            View::Late => Some(Stage::Late),
            View::Overdue => Some(Stage::Overdue),
            View::Lapsed => Some(Stage::Lapsed),
            _ => None,
        }
    }

    /// Latest weeks before this day are not looked at: nobody of them stands in this view.
    #[must_use]
    pub fn latest_from(self, today: Date) -> Option<Date> {
        match self {
            View::Now => Some(today.saturating_sub(Duration::days(CALLED_DAYS))),
            View::Overdue => Some(today.saturating_sub(Duration::days(LAPSED_DAYS))),
            View::Early | View::Middle | View::Late => Some(today),
            _ => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use time::macros::date;

    use super::*;
    use crate::domain::growth::Retouch;

    const TODAY: Date = date!(2026 - 05 - 14);
    const ASKED: Retouch = Retouch { target_mm: 25.0, least_weeks: 10, latest_weeks: 20 };

    fn dates(rate: Rate, last_on: Date) -> Dates {
        let window = ASKED.window(rate, last_on);
        let open = |day: Option<Date>| day.unwrap_or(Date::MAX);
        Dates {
            last_on,
            early_on: open(window.early),
            middle_on: open(window.middle),
            late_on: window.late,
            least_on: window.not_before,
            latest_on: window.latest,
        }
    }

    fn urgency(mean: f64, last_on: Date, id: i64) -> Urgency {
        let rate = Rate { mean, sd: 0.05 };
        let free_on = TODAY + Duration::days(3);
        Urgency::of(&dates(rate, last_on), rate, ASKED.target_mm, (TODAY, free_on), ClientId(id))
    }

    /// A client drawn: rate, days since the last service, id.
    fn one() -> impl Strategy<Value = (f64, i64, i64)> {
        (0.15..0.55_f64, 0_i64..500, 1_i64..50)
    }

    fn of(&(mean, ago, id): &(f64, i64, i64)) -> Urgency {
        urgency(mean, TODAY - Duration::days(ago), id)
    }

    proptest! {
        #[test]
        fn the_order_is_total(a in one(), b in one(), c in one()) {
            let (x, y, z) = (of(&a), of(&b), of(&c));
            prop_assert_eq!(x.cmp(&y), y.cmp(&x).reverse());
            if x <= y && y <= z {
                prop_assert!(x <= z);
            }
            prop_assert_eq!(x.cmp(&y) == Ordering::Equal, x.key() == y.key());
        }

        #[test]
        fn past_the_latest_week_is_never_below_one_who_is_not(a in one(), b in one()) {
            let (x, y) = (of(&a), of(&b));
            if x.past_days > 0 && y.past_days == 0 {
                prop_assert!(x < y);
            }
        }

        /// Growing later: the last service later, or hair that grows slower.
        #[test]
        fn growing_later_never_lifts(a in one(), later in 0_i64..60, slower in 0.0..0.1_f64) {
            let (mean, ago, id) = a;
            let now = of(&a);
            prop_assert!(of(&(mean, (ago - later).max(0), id)) >= now);
            prop_assert!(of(&((mean - slower).max(0.05), ago, id)) >= now);
        }

        #[test]
        fn the_score_orders_as_the_chance_does(a in one(), b in one()) {
            let chance = |&(mean, ago, _): &(f64, i64, i64)| {
                ASKED.chance(Rate { mean, sd: 0.05 }, (ago + 3) as f64)
            };
            let (x, y) = (of(&a), of(&b));
            if chance(&a) > chance(&b) {
                prop_assert!(x.score > y.score);
            }
        }
    }

    #[test]
    fn the_stages_follow_the_window_and_the_latest_week() {
        let at = |today| dates(Rate { mean: 0.28, sd: 0.05 }, date!(2026 - 02 - 26)).stage(today);
        // By hand in tests/it/regrowth.rs: early 10 May, middle 27 May, late 22 June, latest 16 July.
        assert_eq!(at(date!(2026 - 05 - 09)), Stage::NotYet);
        assert_eq!(at(date!(2026 - 05 - 10)), Stage::Early);
        assert_eq!(at(date!(2026 - 05 - 27)), Stage::Middle);
        assert_eq!(at(date!(2026 - 06 - 22)), Stage::Late);
        assert_eq!(at(date!(2026 - 07 - 16)), Stage::Late);
        assert_eq!(at(date!(2026 - 07 - 17)), Stage::Overdue);
        assert_eq!(at(date!(2026 - 09 - 10)), Stage::Overdue);
        assert_eq!(at(date!(2026 - 09 - 11)), Stage::Lapsed);
    }

    #[test]
    fn nobody_of_a_view_has_a_latest_week_that_is_not_looked_at() {
        for ago in 0..400 {
            let of = dates(Rate { mean: 0.28, sd: 0.05 }, TODAY - Duration::days(ago));
            let along = (of.stage(TODAY), of.past_days(TODAY));
            for view in View::ALL.into_iter().filter(|view| view.shows(along, Group::Reach, true)) {
                assert!(view.latest_from(TODAY).is_none_or(|from| of.latest_on >= from), "{view:?} {ago}");
            }
        }
    }

    #[test]
    fn who_lapsed_lately_is_called_for_four_weeks_more() {
        // 26 February and twenty weeks: latest on 16 July; by hand 56 and 28 days on, 10 September and 8 October.
        let of = dates(Rate { mean: 0.28, sd: 0.05 }, date!(2026 - 02 - 26));
        let called = |today| View::Now.shows((of.stage(today), of.past_days(today)), Group::Reach, false);
        for (today, lapsed, is) in [
            (date!(2026 - 09 - 10), false, true),
            (date!(2026 - 09 - 11), true, true),
            (date!(2026 - 10 - 08), true, true),
            (date!(2026 - 10 - 09), true, false),
        ] {
            assert_eq!((of.stage(today) == Stage::Lapsed, called(today)), (lapsed, is), "{today}");
        }
        assert_eq!(of.called_until(), date!(2026 - 10 - 08));
    }

    #[test]
    fn every_client_stands_somewhere_and_a_booking_only_among_the_promised() {
        for stage in Stage::ALL {
            for group in Group::ALL {
                for blocked in [false, true] {
                    let past = if stage == Stage::Lapsed { 400 } else { 0 };
                    let views: Vec<View> =
                        View::ALL.into_iter().filter(|v| v.shows((stage, past), group, blocked)).collect();
                    if group == Group::Booked {
                        assert_eq!(views, [View::Promised]);
                    } else {
                        assert!(!views.is_empty(), "{stage:?} {group:?}");
                    }
                }
            }
        }
    }
}
