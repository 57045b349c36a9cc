//! How a visit comes to stand in the book: somebody is reached or rings, a test goes before, hands and a chair are found,
//! and then the client comes, or not.

use time::{Duration, OffsetDateTime};

use super::Invention;
use super::diary::{Found, Shape};
use super::kinds::PATCH_VISIT;
use super::text::Table;
use super::world::next;
use crate::domain::plan_check::Skin;

/// Days looked ahead for an opening.
const LOOK_DAYS: usize = 24;
/// Days a test on skin is placed before the service, at least.
const TEST_DAYS: usize = 3;
/// Days a test on skin holds (trade-rules.md: six months at most), less the days an opening may be away.
const PATCH_HOLDS_DAYS: i64 = 183 - 30;
/// Of tests on skin: how many show something (common practice, no source).
const REACTS: f64 = 0.006;

/// What stands in the book for one visit.
#[derive(Clone, Copy, Debug)]
pub struct Booked {
    pub kind: &'static str,
    pub found: Found,
    pub from: OffsetDateTime,
}

/// What is tried on skin.
#[derive(Clone, Debug)]
pub struct Tried {
    pub products: Vec<i64>,
    /// The skin will show something.
    pub reacts: bool,
}

/// What a head's turn is.
#[derive(Clone, Debug)]
pub enum Turn {
    /// A next visit is agreed on, wanted on this day.
    Call { wanted: usize },
    /// A visit for tests; the service it is for, when that is given.
    Test { test: Booked, service: Option<Booked>, tried: Tried },
    /// The service.
    Visit(Booked),
}

impl Invention {
    /// A next visit is agreed on.
    pub(super) fn call(&mut self, head: usize, day: usize, wanted: usize) {
        let key = self.heads[head].next_kind();
        let (usual, not_before) = (self.heads[head].usual, self.heads[head].habits.not_before);
        let world = std::sync::Arc::clone(&self.world);
        let kind = &world.kinds[key];
        let at = |days: usize| world.instant(days, 12 * 60);
        let untested: Vec<i64> = kind
            .opening()
            .filter(|(p, _)| p.skin != Skin::NotBySheet)
            .filter(|(_, id)| {
                let placed = self.heads[head].patch.get(&id.0);
                placed.is_none_or(|placed| at(wanted.max(day)) - *placed > Duration::days(PATCH_HOLDS_DAYS))
            })
            .map(|(_, id)| id.0)
            .collect();
        let stylists = self.world.stylists(kind.chemistry, usual);
        let mut earliest = wanted.max(day + 1);
        let mut test = None;
        if !untested.is_empty() {
            let from = wanted.saturating_sub(TEST_DAYS + 3).max(day + 1);
            let shape = self.test_shape();
            let openers = self.world.stylists(None, usual);
            test = self.diary.find(&shape, (from, LOOK_DAYS), &openers, &world.helpers(), not_before);
            let Some(found) = test else { return self.later(head, day, wanted) };
            earliest = earliest.max(found.day + TEST_DAYS);
        }
        let helpers = self.world.helpers();
        let found = self.diary.find(&kind.shape, (earliest, LOOK_DAYS), &stylists, &helpers, not_before);
        let Some(found) = found else { return self.later(head, day, wanted) };
        let coming = found.day >= self.world.today;
        let misses = self.heads[head].habits.misses;
        let past = test.is_some_and(|t| t.day + TEST_DAYS < self.world.today);
        let reacts = self.heads[head].dice.chance(REACTS) && past;
        let state = match self.heads[head].dice.even() {
            _ if reacts => "cancelled",
            _ if coming => "booked",
            x if x < misses => "missed",
            x if x < misses + 0.05 => "cancelled",
            _ => "kept",
        };
        let booking = self.book(head, day, (key, found, state, None));
        let service = Booked { kind: key, found, from: self.world.instant(found.day, found.minute) };
        let comes = reacts || matches!(state, "kept" | "booked");
        if let Some(found) = test.filter(|_| comes) {
            let state = if found.day >= self.world.today { "booked" } else { "kept" };
            self.book(head, day, (PATCH_VISIT, found, state, Some((booking, key))));
            let from = self.world.instant(found.day, found.minute);
            let test = Booked { kind: PATCH_VISIT, found, from };
            if state == "kept" {
                let service = (!coming && !reacts).then_some(service);
                let tried = Tried { products: untested, reacts };
                self.turn(found.day, found.minute, head, Turn::Test { test, service, tried });
            }
        }
        self.reached(head, day, booking, state);
        match state {
            _ if reacts => {}
            "kept" => self.turn(found.day, found.minute, head, Turn::Visit(service)),
            "booked" => self.counts.ahead += 1,
            _ => {
                self.counts.missed += u64::from(state == "missed");
                let again = found.day + usize::try_from(self.heads[head].dice.whole(2, 14)).unwrap_or(2);
                self.later(head, again, again + 4);
            }
        }
    }

    /// Hands of a visit for tests: as its protocol takes. A strand done besides lies in its bowl most of the time.
    fn test_shape(&self) -> Shape {
        Shape::short(self.world.kinds.get(PATCH_VISIT).map_or(30, |k| k.shape.minutes) + 4)
    }

    /// Nothing was found, or nobody came: another try some days on, five in a row at most.
    fn later(&mut self, head: usize, day: usize, wanted: usize) {
        let h = &mut self.heads[head];
        h.failed += 1;
        if h.failed <= 5 {
            let on = day + usize::try_from(h.dice.whole(5, 15)).unwrap_or(5);
            self.turn(on, 10 * 60, head, Turn::Call { wanted: wanted.max(on + 1) });
        }
    }

    /// Writes a booking with its hands and places; gives its number.
    fn book(
        &mut self,
        head: usize,
        day: usize,
        (key, found, state, test_for): (&'static str, Found, &'static str, Option<(i64, &'static str)>),
    ) -> i64 {
        let id = next(&mut self.numbers.booking);
        let shape = if test_for.is_some() { self.test_shape() } else { self.world.kinds[key].shape.clone() };
        let live = state != "cancelled";
        if live {
            self.diary.take(&shape, found);
        }
        let from = self.world.instant(found.day, found.minute);
        let at = |minutes: i64| from + Duration::minutes(minutes);
        let world = std::sync::Arc::clone(&self.world);
        let protocol = &world.kinds[test_for.map_or(key, |(_, service)| service)].code;
        let minute = 9 * 60 + u16::try_from(self.heads[head].dice.whole(0, 480)).unwrap_or(0);
        let made = self.world.instant(day, minute);
        let salon = self.world.salon.0;
        let reason = ["Not well today.", "Work came between.", "Moved to another week."];
        let reason = (!live).then(|| *self.heads[head].dice.pick(&reason));
        self.batch
            .row(Table::Booking)
            .put(salon)
            .put(id)
            .put(self.heads[head].id)
            .put(if test_for.is_some() { "patch-test" } else { "service" })
            .put(protocol)
            .span(from, at(shape.minutes))
            .put(state)
            .maybe(test_for.map(|(booking, _)| booking))
            .put(self.world.desk)
            .at(made)
            .maybe(reason)
            .end();
        let own = shape.stylist.iter().map(|span| (found.stylist, *span));
        let any = shape.anybody.iter().enumerate().map(|(n, span)| (found.helper(n), *span));
        for (part, (who, (start, end))) in own.chain(any).enumerate() {
            let hand = self.world.hands[who].id;
            let row = self.batch.row(Table::BookingHands).put(salon).put(id).put(part).put(hand);
            row.span(at(start), at(end)).put(live).end();
        }
        for (part, (kind, start, end)) in shape.places.iter().enumerate() {
            let row = self.batch.row(Table::BookingPlace).put(salon).put(id).put(part).put(kind);
            row.span(at(*start), at(*end)).put(live).end();
        }
        id
    }

    /// What reception noted of reaching the client.
    fn reached(&mut self, head: usize, day: usize, booking: i64, state: &str) {
        let h = &mut self.heads[head];
        if h.no_contact || h.habits.books_in_chair || !h.dice.chance(0.45) {
            return;
        }
        let tries = h.dice.weighed(&[(0.6, 0), (0.3, 1), (0.1, 2)]);
        for before in (1..=tries).rev() {
            let outcome = if self.heads[head].dice.chance(0.6) { "no-answer" } else { "message-left" };
            self.note(head, day.saturating_sub(before), (outcome, None, "", None));
        }
        let told = if state == "cancelled" { "Was not sure of the day." } else { "" };
        self.note(head, day, ("booked", None, told, Some(booking)));
    }

    /// A line of what was tried.
    pub(super) fn note(
        &mut self,
        head: usize,
        day: usize,
        (outcome, next_on, words, booking): (&str, Option<usize>, &str, Option<i64>),
    ) {
        if day >= self.world.today {
            return;
        }
        let minute = 9 * 60 + u16::try_from(self.heads[head].dice.whole(0, 560)).unwrap_or(0);
        let at = self.world.instant(day, minute);
        let id = next(&mut self.numbers.followup);
        let next_on = next_on.map(|d| crate::calendar::iso_day(self.world.date(d)));
        self.batch
            .row(Table::Followup)
            .put(self.world.salon)
            .put(id)
            .put(self.heads[head].id)
            .at(at)
            .put(self.world.desk)
            .put(outcome)
            .maybe(next_on)
            .words(words)
            .maybe(booking)
            .end();
    }
}
