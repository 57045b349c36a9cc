//! A walked service given to a head: its events with the instants of the day, chained as the server chains them, and what
//! follows from them in other tables.

use time::{Duration, OffsetDateTime};

use super::Invention;
use super::heads::Head;
use super::kinds::Kind;
use super::text::Table;
use super::visits::Did;
use super::walk::{Course, Data, Walk, strand_answer};
use super::world::next;
use crate::calendar::day_words;
use crate::domain::ids::RunId;
use crate::domain::qualification::Chemistry;
use crate::domain::run::FactId;
use crate::domain::strand::{Exposure, Known};
use crate::reference::aftercare::AftercareValues;
use crate::store::proof::{LedgerLine, Line};

/// How seldom a service goes otherwise than calmly (common practice, no source).
const STINGS: f64 = 0.012;
const STOPS: f64 = 0.005;
const LEAVES: f64 = 0.004;
/// A strand is not cut shorter than this, mm.
const LENGTH_LEAST_MM: f64 = 60.0;

/// A run that ended, waiting for its place in the ledger.
#[derive(Clone, Debug)]
pub struct Ended {
    at: OffsetDateTime,
    run: i64,
    last_seq: i32,
    head: Vec<u8>,
}

/// The way this service goes today.
fn course<'k>(kind: &'k Kind, head: &mut Head) -> &'k Walk {
    let throw = head.dice.even();
    let course = match throw {
        x if x < STINGS => Course::Sting,
        x if x < STINGS + STOPS => Course::Stop,
        x if x < STINGS + STOPS + LEAVES => Course::Left,
        _ => Course::Calm,
    };
    let long_enough = |w: &&Walk| head.strand.length_mm() - w.trimmed_mm > LENGTH_LEAST_MM;
    let seldom = kind.seldom.iter().find(|(c, _)| *c == course).map(|(_, walk)| walk);
    if let Some(walk) = seldom.filter(long_enough) {
        return walk;
    }
    let calm: Vec<&Walk> = kind.calm.iter().filter(long_enough).collect();
    // Every service has a way without a trim, or the strand is what is left of it.
    if calm.is_empty() { &kind.calm[0] } else { head.dice.pick::<&Walk>(&calm) }
}

impl Invention {
    /// Gives a service from its plan; gives when it ended.
    pub(super) fn give(
        &mut self,
        head: usize,
        key: &'static str,
        plan: i64,
        (start, day): (OffsetDateTime, usize),
        by: usize,
    ) -> OffsetDateTime {
        let world = std::sync::Arc::clone(&self.world);
        let kind = &world.kinds[key];
        let walk = course(kind, &mut self.heads[head]);
        let run = next(&mut self.numbers.run);
        let salon = world.salon;
        let client = self.heads[head].id;
        let stylist = world.hands[by].id;
        let (chair, chair_name) = &world.chairs[by % world.chairs.len()];
        let at = |micros: i64| start + Duration::microseconds(micros);
        let ended = at(walk.acts.last().map_or(0, |a| a.recorded));
        self.batch
            .row(Table::Run)
            .put(salon)
            .put(run)
            .put(client)
            .put(plan)
            .put(&kind.code)
            .put(kind.revision)
            .put(&world.app.reference.fingerprint)
            .words(chair_name)
            .put(stylist)
            .at(start)
            .at(ended)
            .put(walk.ended)
            .end();
        for step in &kind.steps {
            self.batch.row(Table::RunStep).put(salon).put(run).ready(step).end();
        }
        let helper = world.helpers().first().map_or(stylist, |h| world.hands[*h].id);
        let helped = self.heads[head].dice.chance(0.5);
        let tested = !self.heads[head].strand_tests.is_empty();
        let name = self.heads[head].dice.bits();
        let mut used = Vec::new();
        let mut line = Line {
            seq: 0,
            recorded_at: start,
            happened_at: start,
            by: None,
            station_id: None,
            kind: String::new(),
            fact_id: None,
            step: None,
            hold_point: None,
            outcome: None,
            version: 1,
            data: String::new(),
            answer_hash: None,
            prev_hash: Vec::new(),
            hash: Vec::new(),
            left_hash: None,
        };
        for act in &walk.acts {
            let rinses = helped && act.kind == "section_rinsed";
            line.seq += 1;
            line.recorded_at = at(act.recorded);
            line.happened_at = at(act.happened);
            line.by = Some(if rinses { helper.0 } else { stylist.0 });
            line.station_id = Some(if rinses { world.basin.0 } else { chair.0 });
            line.kind.clear();
            line.kind.push_str(act.kind);
            line.fact_id = act.fact.then(|| FactId(name.wrapping_add(line.seq as u128)).to_string());
            line.step.clone_from(&act.step);
            line.hold_point = act.hold_point.map(str::to_owned);
            line.outcome = act.outcome.map(str::to_owned);
            match &act.data {
                Data::Same(data) => line.data.clone_from(data),
                Data::Stylist => line.data = format!("{{\"stylist\": {stylist}}}"),
                Data::StrandTest => line.data = strand_answer(tested),
                Data::Lot(application, product) => {
                    let ((lot, code), grams) = (world.lot(product.0, day), self.grams(head));
                    used.push(format!("{}, lot {code}, {grams:.0} g", world.products[&product.0].name));
                    line.data = format!(
                        "{{\"grams\": {grams:.1}, \"lot_id\": {lot}, \"application\": \"{application}\"}}"
                    );
                    let row = self.batch.row(Table::Dispensed).put(salon).put(run).put(line.seq).put(lot);
                    row.put(application).put(format_args!("{grams:.1}")).end();
                }
            }
            let before = std::mem::take(&mut line.hash);
            line.seal(salon, RunId(run), &before);
            self.event(run, &line);
        }
        self.counts.events += walk.acts.len() as u64;
        for mishap in &walk.mishaps {
            self.counts.incidents += 1;
            let id = next(&mut self.numbers.incident);
            let row =
                self.batch.row(Table::Incident).put(salon).put(id).put(client).put(run).at(at(mishap.at));
            row.put(mishap.kind).maybe(mishap.place.as_ref()).put(stylist).end();
        }
        self.ended.push(Ended { at: ended, run, last_seq: line.seq, head: line.hash });
        self.left_on_the_hair(head, walk, (run, day), (ended, by));
        self.aftercare(walk, run, (ended, day), used);
        ended
    }

    /// The sheet given at the end, as the program words it; nothing is said of a day it is due again.
    fn aftercare(&mut self, walk: &Walk, run: i64, (at, day): (OffsetDateTime, usize), used: Vec<String>) {
        if walk.met.is_empty() {
            return;
        }
        let chemistries: Vec<&str> = walk.met.iter().map(|(f, ..)| Chemistry::of(*f).code()).collect();
        let values =
            AftercareValues { emergency_number: &self.world.emergency_number, ..AftercareValues::default() };
        let finished = walk.ended == "finished";
        let mut parts = self.world.app.reference.aftercare.parts(&chemistries, finished, &values);
        if !used.is_empty() {
            parts.push((format!("Used on {}", day_words(self.world.date(day))), used));
        }
        if walk.trimmed_mm > 0.0 {
            let words = format!("{:.0} mm off the ends, stretched.", walk.trimmed_mm);
            parts.push(("Trimmed".into(), vec![words]));
        }
        let words: Vec<String> =
            parts.iter().map(|(h, lines)| format!("{h}\n{}", lines.join("\n"))).collect();
        let row = self.batch.row(Table::Aftercare).put(self.world.salon).put(run);
        row.words(&words.join("\n\n")).at(at).end();
    }

    /// Grams in a bowl: what this head of hair takes, to the gram.
    fn grams(&mut self, head: usize) -> f64 {
        let h = &mut self.heads[head];
        let usual = match h.density {
            "thin" => 42.0,
            "thick" => 78.0,
            _ => 58.0,
        };
        (usual * h.dice.factor(0.1)).round().clamp(15.0, 150.0)
    }

    fn event(&mut self, run: i64, line: &Line) {
        self.batch
            .row(Table::RunEvent)
            .put(self.world.salon)
            .put(run)
            .put(line.seq)
            .at(line.recorded_at)
            .at(line.happened_at)
            .maybe(line.by)
            .maybe(line.station_id)
            .put(&line.kind)
            .maybe(line.fact_id.as_ref())
            .maybe(line.step.as_ref())
            .maybe(line.hold_point.as_ref())
            .maybe(line.outcome.as_ref())
            .put(line.version)
            .words(&line.data)
            .bytes(&line.prev_hash)
            .bytes(&line.hash)
            .end();
    }

    /// What the service put on the hair and cut off it, on record as the program writes it when a run ends.
    fn left_on_the_hair(
        &mut self,
        head: usize,
        walk: &Walk,
        (run, day): (i64, usize),
        (at, by): (OffsetDateTime, usize),
    ) {
        let on = self.world.date(day);
        for (family, zone, straightened) in &walk.met {
            let exposure = Exposure {
                family: *family,
                on,
                known: Known::Recorded,
                on_sd_days: 0.0,
                straightened: *straightened,
            };
            self.heads[head].strand.apply(*zone, exposure);
            let did = Did {
                family: Some(family.code()),
                zone: Some(*zone),
                known: "recorded",
                run: Some(run),
                straightened: *straightened,
                ..Did::default()
            };
            self.strand_event(head, ("apply", on), &did, (at, by));
        }
        if walk.trimmed_mm > 0.0 {
            // The way was chosen for a strand that is long enough.
            let _ = self.heads[head].strand.trim(walk.trimmed_mm);
            let did = Did { mm: Some(walk.trimmed_mm), run: Some(run), ..Did::default() };
            self.strand_event(head, ("trim", on), &did, (at, by));
        }
    }

    /// Runs that ended before a new day stand in the ledger in the order they ended.
    pub(super) fn close_the_day(&mut self) {
        let mut ended = std::mem::take(&mut self.ended);
        ended.sort_by_key(|e| (e.at, e.run));
        for one in ended {
            let mut line = LedgerLine {
                ledger_seq: self.ledger_seq + 1,
                run_id: one.run,
                last_seq: one.last_seq,
                head_hash: one.head,
                at: one.at,
                prev_hash: std::mem::take(&mut self.ledger_head),
                hash: Vec::new(),
            };
            line.seal(self.world.salon);
            self.ledger_seq = line.ledger_seq;
            self.batch
                .row(Table::Ledger)
                .put(self.world.salon)
                .put(line.ledger_seq)
                .put(line.run_id)
                .put(line.last_seq)
                .bytes(&line.head_hash)
                .at(line.at)
                .bytes(&line.prev_hash)
                .bytes(&line.hash)
                .end();
            self.ledger_head = line.hash;
        }
    }
}
