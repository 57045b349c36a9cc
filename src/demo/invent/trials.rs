//! Visits that put nothing on the head: tests on skin, on strands, on cut hair for metal.

use time::{Duration, OffsetDateTime};

use super::Invention;
use super::calls::{Booked, Tried, Turn};
use super::heads::Metal;
use super::kinds::{METAL_VISIT, STRAND_VISIT};
use super::text::Table;
use super::world::next;
use crate::domain::chemistry::Verdict;

/// Of tests for metal: how many show none (common practice, no source).
const NO_METAL: f64 = 0.8;

impl Invention {
    /// A visit for tests: on skin, and the first time with a product often on a strand as well.
    pub(super) fn test(&mut self, head: usize, test: Booked, service: Option<Booked>, tried: &Tried) {
        let day = test.found.day;
        let by = test.found.stylist;
        let start = self.jittered(head, test.from);
        let plan = self.plan_of_test(head, test.kind, (start, by));
        let end = self.give(head, test.kind, plan, (start, day), by);
        let placed = start + (end - start) * 3 / 4;
        self.counts.tests += 1;
        let reacts = tried.reacts;
        for product in &tried.products {
            let shows = *self.heads[head].dice.pick(&["itching", "redness", "swelling"]);
            let read = match (reacts, service) {
                (true, _) => Some((placed + Duration::hours(50), by, shows)),
                (false, Some(s)) => Some((s.from - Duration::minutes(14), s.found.stylist, "no-reaction")),
                (false, None) => None,
            };
            // What is to be read tomorrow is not read yet.
            let read = read.filter(|(at, ..)| *at < self.world.instant(self.world.today, 0));
            self.skin_test(head, *product, (placed, by, day), read);
            if !reacts {
                self.heads[head].patch.insert(*product, placed);
            }
        }
        if reacts {
            // Nobody may override it: this line of service ends here.
            return;
        }
        let next_kind = service.map_or_else(|| self.heads[head].next_kind(), |s| s.kind);
        let new: Vec<i64> = self.world.kinds[next_kind]
            .opening()
            .map(|(_, id)| id.0)
            .filter(|id| !self.heads[head].met.contains(id))
            .collect();
        if !new.is_empty() && self.heads[head].dice.chance(0.5) {
            let start = end + Duration::minutes(3);
            let plan = self.plan_of_test(head, STRAND_VISIT, (start, by));
            let end = self.give(head, STRAND_VISIT, plan, (start, day), by);
            self.counts.tests += 1;
            for product in new {
                self.strand_test(head, next_kind, product, (end - Duration::minutes(4), by, day), true);
            }
        }
    }

    fn skin_test(
        &mut self,
        head: usize,
        product: i64,
        (placed, by, day): (OffsetDateTime, usize, usize),
        read: Option<(OffsetDateTime, usize, &str)>,
    ) {
        let id = next(&mut self.numbers.skin_test);
        let h = &mut self.heads[head];
        let places = ["behind-left-ear", "behind-right-ear", "left-inner-elbow", "right-inner-elbow"];
        let place = *h.dice.pick(&places);
        let reader = read.map(|(_, by, _)| self.world.hands[by].id);
        let at = read.map(|(at, ..)| at);
        self.batch
            .row(Table::SkinTest)
            .put(self.world.salon)
            .put(id)
            .put(h.id)
            .put(product)
            .put(self.world.lot(product, day).0)
            .put(self.world.products[&product].formula)
            .put(place)
            .at(placed)
            .put(self.world.hands[by].id)
            .maybe_at(at)
            .maybe(reader)
            .maybe_at(at)
            .maybe(reader)
            .maybe(read.map(|(_, _, outcome)| outcome))
            .end();
    }

    pub(super) fn strand_test(
        &mut self,
        head: usize,
        key: &str,
        product: i64,
        (at, by, day): (OffsetDateTime, usize, usize),
        passes: bool,
    ) {
        let minutes =
            self.world.kinds[key].frame.sheet.iter().filter_map(|s| s.target_min).max().unwrap_or(20);
        for place in ["worst-place", "sound-place"] {
            let passed = passes || place == "sound-place";
            let id = next(&mut self.numbers.hair_test);
            self.batch
                .row(Table::HairTest)
                .put(self.world.salon)
                .put(id)
                .put(self.heads[head].id)
                .put("strand")
                .put(product)
                .put(self.world.products[&product].formula)
                .put(place)
                .put(minutes)
                .put(passed)
                .put(if passed { "returns" } else { "breaks" })
                .put(false)
                .maybe(None::<&str>)
                .put(passed)
                .at(at)
                .put(self.world.hands[by].id)
                .put(self.world.lot(product, day).0)
                .put(&self.world.products[&product].strength)
                .end();
        }
        if passes {
            self.heads[head].strand_tests.insert(product, at);
        }
    }

    /// Home colour that may hold metal: cut strands tell, in the same chair.
    pub(super) fn metal_test(&mut self, head: usize, (start, by, day): (OffsetDateTime, usize, usize)) {
        let plan = self.plan_of_test(head, METAL_VISIT, (start, by));
        let end = self.give(head, METAL_VISIT, plan, (start, day), by);
        self.counts.tests += 1;
        let clear = self.heads[head].dice.chance(NO_METAL);
        let id = next(&mut self.numbers.hair_test);
        let none = None::<&str>;
        let row = self.batch.row(Table::HairTest).put(self.world.salon).put(id).put(self.heads[head].id);
        let row = row.put("metallic-salt").maybe(none).maybe(none).put("worst-place").put(30);
        let row = row.maybe(none).maybe(none).maybe(none);
        let row = row.put(if clear { "no-change" } else { "lightens-at-once" }).put(clear);
        let row = row.at(end - Duration::minutes(6)).put(self.world.hands[by].id);
        row.maybe(none).maybe(none).end();
        if clear {
            self.heads[head].metal = Metal::Cleared;
            self.turn(day + 1, 10 * 60, head, Turn::Call { wanted: day + 7 });
        }
    }

    fn plan_of_test(&mut self, head: usize, key: &'static str, (at, by): (OffsetDateTime, usize)) -> i64 {
        self.plan_row(head, key, (at - Duration::minutes(1), by), (Verdict::Clear, "[]", "[]", false))
    }
}
