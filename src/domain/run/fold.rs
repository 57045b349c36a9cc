//! The fold: what a run's events amount to.
//!
//! Facts fold by (`happened_at`, seq), permissions by seq; withdrawn facts are ignored. The same
//! events in any order of arrival fold to the same state.

use super::event::{Event, EventKind, Granted, Happened};
use super::exposure::{self, Touch, TouchKind};
use super::frame::RunFrame;
use super::state::{
    BellTaken, Dispensed, Ended, Looked, Rods, SectionTap, Signature, State, StepState, Sting, Stop,
    StopCause, TestCurl,
};
use super::state::{Given, GivenKind, Rinsed, SkinRead, Water};
use super::value::Comfort;
use crate::domain::ids::PersonId;
use crate::domain::protocol::{Chemical, SectionWork, Step, StepCode};
use std::collections::{BTreeMap, BTreeSet};

impl<'f> State<'f> {
    /// Folds events, given in any order.
    pub fn fold(frame: &'f RunFrame, events: &[Event]) -> State<'f> {
        let mut state = State::empty(frame);
        let mut by_seq: Vec<&Event> = events.iter().collect();
        by_seq.sort_by_key(|e| e.seq);
        state.gather_withdrawn(&by_seq);
        for event in &by_seq {
            state.seq = state.seq.max(event.seq);
            if state.given_back.contains_key(&event.seq) {
                continue;
            }
            match &event.kind {
                EventKind::Granted(granted) => state.grant(event, granted),
                EventKind::Happened(happened) => state.note_in_record_order(event, happened),
            }
        }
        let mut by_instant = by_seq;
        by_instant.sort_by_key(|e| (e.happened_at, e.seq));
        by_instant.retain(|e| !state.is_taken_back(e));
        state.walk_steps(&by_instant);
        state.note_by_instant(&by_instant);
        state.expose(&by_instant);
        state
    }

    fn empty(frame: &'f RunFrame) -> State<'f> {
        State {
            frame,
            seq: 0,
            started_at: None,
            stylist: None,
            stylists: Vec::new(),
            offered_to: None,
            steps: vec![StepState::default(); frame.protocol.steps.len()],
            in_hand: None,
            signatures: Vec::new(),
            exposures: Vec::new(),
            taps: Vec::new(),
            test_curls: Vec::new(),
            looks: Vec::new(),
            rods: None,
            stings: Vec::new(),
            waters: Vec::new(),
            skin_reads: Vec::new(),
            given: Vec::new(),
            done_seqs: Vec::new(),
            stop: None,
            stops: Vec::new(),
            closed_seq: 0,
            closes: Vec::new(),
            bells_taken: Vec::new(),
            dispensed: Vec::new(),
            trimmed_mm: 0.0,
            armed: Vec::new(),
            ended: None,
            facts: BTreeSet::new(),
            firm_facts: BTreeSet::new(),
            withdrawn: BTreeMap::new(),
            given_back: BTreeMap::new(),
            openings: Vec::new(),
        }
    }

    /// A withdrawal may arrive before what it takes back, so this goes first; a stop stays.
    fn gather_withdrawn(&mut self, events: &[&Event]) {
        for event in events {
            let Some(fact_id) = event.fact_id else { continue };
            self.facts.insert(fact_id);
            if matches!(&event.kind, EventKind::Happened(h) if !h.may_be_withdrawn()) {
                self.firm_facts.insert(fact_id);
            }
        }
        for event in events {
            if let EventKind::Happened(Happened::FactWithdrawn { fact_id, reason }) = &event.kind
                && !self.firm_facts.contains(fact_id)
            {
                self.withdrawn.entry(*fact_id).or_insert_with(|| reason.clone());
            }
            if let EventKind::Granted(Granted::PermissionWithdrawn { seq, reason }) = &event.kind
                && events.iter().any(|e| {
                    e.seq == *seq
                        && e.seq < event.seq
                        && matches!(&e.kind, EventKind::Granted(g) if g.may_be_withdrawn())
                })
            {
                self.given_back.entry(*seq).or_insert_with(|| reason.clone());
            }
        }
    }

    /// It stands on record and counts for nothing: a wrong tap, taken back.
    pub fn is_taken_back(&self, event: &Event) -> bool {
        self.given_back.contains_key(&event.seq)
            || event.fact_id.is_some_and(|f| self.withdrawn.contains_key(&f))
    }

    fn grant(&mut self, event: &Event, granted: &Granted) {
        let what = match granted {
            Granted::StepStarted { step } => Some(GivenKind::Begun(step.clone())),
            Granted::StepFinished { step } => Some(GivenKind::Done(step.clone())),
            Granted::HoldPointSigned { step, signed } if granted.may_be_withdrawn() => {
                Some(GivenKind::Answered(step.clone(), signed.hold_point))
            }
            Granted::LotDispensed { application, .. } => Some(GivenKind::Bowl(*application)),
            _ => None,
        };
        self.given.extend(what.map(|what| Given { seq: event.seq, at: event.recorded_at, what }));
        match granted {
            Granted::RunStarted { stylist } => {
                self.started_at = Some(event.recorded_at);
                self.answer_for(*stylist);
            }
            Granted::HoldPointSigned { step, signed } => self.signatures.push(Signature {
                step: step.clone(),
                signed: signed.clone(),
                by: event.by,
                recorded_at: event.recorded_at,
                seq: event.seq,
            }),
            Granted::StepStarted { step } => {
                if self.frame.protocol.step(step).is_some_and(Step::is_opening) {
                    self.openings.push((step.clone(), event.recorded_at, event.seq));
                }
            }
            Granted::StepFinished { .. } | Granted::PermissionWithdrawn { .. } => {}
            Granted::LotDispensed { application, lot, grams } => self.dispensed.push(Dispensed {
                application: *application,
                lot: *lot,
                grams: *grams,
                at: event.recorded_at,
                seq: event.seq,
            }),
            Granted::HandoverOffered { to } => self.offered_to = Some(*to),
            Granted::HandoverAccepted => {
                if let Some(by) = event.by {
                    self.answer_for(by);
                }
            }
            Granted::HandsNamed { person } => self.answer_for(*person),
            Granted::StopRead { whole } => {
                if let Some(stop) = &mut self.stop {
                    stop.read = Some(*whole);
                    stop.read_at = Some(event.recorded_at);
                    let read = SkinRead { whole: *whole, at: event.recorded_at, stopped_at: stop.at };
                    self.skin_reads.push(read);
                }
            }
            Granted::StopClosed { .. } => {
                self.stop = None;
                self.closed_seq = event.seq;
                self.closes.push((event.seq, event.recorded_at));
            }
            Granted::RunFinished { stopped } => {
                let how = if *stopped { Ended::Stopped } else { Ended::Finished };
                self.ended = Some((how, event.recorded_at));
            }
            Granted::RunLeft { rinsed, .. } => {
                self.ended = Some((Ended::Left { rinsed: *rinsed }, event.recorded_at));
            }
            Granted::StationArmed { station } => self.armed.push((*station, event.recorded_at)),
        }
    }

    fn answer_for(&mut self, person: PersonId) {
        self.stylist = Some(person);
        self.offered_to = None;
        if !self.stylists.contains(&person) {
            self.stylists.push(person);
        }
    }

    /// Stings and stops count in the record's order: what was known when a permission was asked.
    fn note_in_record_order(&mut self, event: &Event, happened: &Happened) {
        let taken_back = event.fact_id.is_some_and(|f| self.withdrawn.contains_key(&f));
        let says_nothing_done = matches!(
            happened,
            Happened::BellAnswered { comfort: Comfort::No | Comfort::Warm, .. }
                | Happened::ComfortNoted { comfort: Comfort::No | Comfort::Warm, .. }
                | Happened::FactWithdrawn { .. }
        );
        if !taken_back && !says_nothing_done {
            self.done_seqs.push(event.seq);
        }
        match happened {
            Happened::StopRecorded => {
                self.stops.push((event.happened_at, event.seq));
                self.stop_at(event, StopCause::Recorded);
                // What was read before this stop was known says nothing about it.
                if let Some(stop) = &mut self.stop {
                    (stop.read, stop.read_at) = (None, None);
                }
            }
            Happened::StingReported { place } => {
                self.stings.push(Sting { place: *place, at: event.happened_at, seq: event.seq });
                let open = self.stings.iter().filter(|s| s.seq > self.closed_seq).count();
                if open >= 2 {
                    self.stop_at(event, StopCause::SecondSting);
                }
            }
            _ => {}
        }
    }

    fn stop_at(&mut self, event: &Event, cause: StopCause) {
        let (at, seq) = (event.happened_at, event.seq);
        let stop = self.stop.get_or_insert(Stop { at, seq, cause, read: None, read_at: None });
        stop.at = stop.at.min(at);
    }

    fn walk_steps(&mut self, events: &[&Event]) {
        let index = |code: &StepCode| self.frame.protocol.index_of(code);
        for event in events {
            let (step, begins, confirmed) = match &event.kind {
                EventKind::Granted(Granted::StepStarted { step }) => (step, true, true),
                EventKind::Happened(Happened::ClosingStarted { step, .. }) => (step, true, false),
                EventKind::Granted(Granted::StepFinished { step }) => (step, false, true),
                _ => continue,
            };
            let Some(i) = index(step) else { continue };
            if !begins {
                self.steps[i].finished_at = Some(event.happened_at);
                if self.in_hand == Some(i) {
                    self.in_hand = None;
                }
                continue;
            }
            if let Some(before) = self.in_hand.filter(|b| *b != i) {
                self.steps[before].finished_at = Some(event.happened_at);
            }
            let s = &mut self.steps[i];
            // Two stations may both have closed it without contact: that is still not confirmed.
            s.unconfirmed = !confirmed && (s.started_at.is_none() || s.unconfirmed);
            s.started_at.get_or_insert(event.happened_at);
            s.recorded_at.get_or_insert(event.recorded_at);
            s.seq = s.seq.max(event.seq);
            s.by = event.by;
            s.station = Some(event.station);
            s.finished_at = None;
            self.in_hand = Some(i);
        }
        if let Some((_, at)) = self.ended
            && let Some(i) = self.in_hand.take()
        {
            self.steps[i].finished_at = Some(at);
        }
    }

    fn note_by_instant(&mut self, events: &[&Event]) {
        for event in events {
            let EventKind::Happened(happened) = &event.kind else { continue };
            let at = event.happened_at;
            match happened {
                Happened::SectionStarted { step, section, pass } => {
                    let what = TouchKind::Start { section: *section, pass: *pass };
                    let touch = Touch { at, seq: event.seq, what };
                    self.taps.push(SectionTap { step: step.clone(), touch });
                }
                Happened::BellAnswered { step, clock, comfort, .. } => {
                    let taken = BellTaken { step: step.clone(), clock: *clock, at, comfort: *comfort };
                    self.bells_taken.push(taken);
                }
                Happened::TestCurlRead { rod, reading } => {
                    self.test_curls.push(TestCurl { rod: *rod, reading: *reading, at });
                }
                Happened::ProgressRead { look, section, reading } => {
                    self.looks.push(Looked { look: *look, section: *section, reading: *reading, at });
                }
                Happened::RodsNoted { count, first_at, last_at } => {
                    self.rods = Some(Rods { count: *count, first_at: *first_at, last_at: *last_at, at });
                }
                Happened::Trimmed { mm } => self.trimmed_mm += mm,
                Happened::SectionRinsed { section, clear, .. } => {
                    let what = section.map_or(Rinsed::Head { clear: *clear }, Rinsed::Section);
                    self.waters.push(Water { what, at });
                }
                Happened::PlaceRinsed { place } => {
                    self.waters.push(Water { what: Rinsed::Place(*place), at });
                }
                _ => {}
            }
        }
    }

    fn expose(&mut self, events: &[&Event]) {
        let rinses = events.iter().filter_map(|e| match &e.kind {
            EventKind::Happened(Happened::SectionRinsed { section, clear, .. }) => Some(Touch {
                at: e.happened_at,
                seq: e.seq,
                what: TouchKind::Rinse { section: *section, clear: *clear },
            }),
            _ => None,
        });
        let rinses: Vec<Touch> = rinses.collect();
        let protocol = &self.frame.protocol;
        for application in protocol.applications.iter().filter(|a| a.chemical == Chemical::Opening) {
            let letter = application.letter;
            let applies = |s: &Step| s.application == Some(letter) && s.is_opening();
            let started = protocol
                .steps
                .iter()
                .zip(&self.steps)
                .filter(|(s, _)| applies(s))
                .filter_map(|(_, s)| s.started_at)
                .min();
            let mut touches: Vec<Touch> = self
                .taps
                .iter()
                .filter(|t| {
                    protocol
                        .step(&t.step)
                        .is_some_and(|s| applies(s) && matches!(s.sections, Some(SectionWork::Apply { .. })))
                })
                .map(|t| t.touch)
                .collect();
            touches.extend(&rinses);
            let begins = self.openings.iter().filter(|(code, ..)| protocol.step(code).is_some_and(applies));
            touches.extend(begins.map(|(_, at, seq)| Touch { at: *at, seq: *seq, what: TouchKind::Begun }));
            self.exposures.extend(exposure::fold(
                letter,
                &protocol.sections_touched(letter),
                started,
                &touches,
            ));
        }
    }
}
