//! What stands under the clocks: hold points, bowl, test curls, stop, last taps, record, steps.

use super::view::{Maker, Row, StepRow, curl_words};
use crate::domain::protocol::{Heat, HoldPoint, LookFor, Section, Step};
use crate::domain::run::{CurlReading, EventKind, FIRST_AID_WATER_MIN, Granted, Progress, Rod};
use crate::web::once;
use crate::words;

/// Looks: rows of sections, readings to tap.
pub(super) struct LookPanel {
    pub(super) what: &'static str,
    pub(super) look: &'static str,
    pub(super) every: u16,
    /// Section, its words, what was seen there.
    pub(super) rows: Vec<(&'static str, &'static str, String)>,
    pub(super) readings: Vec<(&'static str, &'static str)>,
    pub(super) fact: String,
}

/// Test curls: rows of rods, readings to tap.
pub(super) struct CurlPanel {
    pub(super) rows: Vec<(&'static str, &'static str, String)>,
    pub(super) readings: Vec<(&'static str, &'static str)>,
    pub(super) fact: String,
}

/// What stands after a stop.
pub(super) struct StopPanel {
    pub(super) at: String,
    pub(super) aid: Vec<String>,
    pub(super) eye_wash: String,
    pub(super) emergency: String,
    pub(super) ask: bool,
    pub(super) whole: Option<bool>,
    /// Asked before "whole" is said while the water has not run its minutes; empty once it has.
    pub(super) early: String,
    /// The sheet forbids closing the hair.
    pub(super) forbidden: bool,
    pub(super) may_close: bool,
}

impl Maker<'_> {
    pub(super) fn curls(&self) -> Option<CurlPanel> {
        let reads = self.state.running().iter().any(|c| c.test_curl)
            || self.state.step_in_hand().is_some_and(|s| s.reads_curls());
        if !reads || self.state.ended.is_some() {
            return None;
        }
        let seen = |rod: Rod| {
            self.state
                .test_curls
                .iter()
                .filter(|c| c.rod == rod)
                .map(|c| format!("{} {}", self.clock(c.at), curl_words(c.reading)))
                .collect::<Vec<_>>()
                .join(", ")
        };
        Some(CurlPanel {
            rows: vec![
                ("first", tr!("First rod"), seen(Rod::First)),
                ("last", tr!("Last rod"), seen(Rod::Last)),
                ("weakest", tr!("Weakest place"), seen(Rod::Weakest)),
            ],
            readings: CurlReading::ALL.iter().map(|r| (r.code(), curl_words(*r))).collect(),
            fact: once::key(),
        })
    }

    pub(super) fn looks(&self) -> Option<LookPanel> {
        let watched = |c: &crate::domain::run::Running| c.look.filter(|l| l.what != LookFor::TestCurl);
        let look = self.state.running().iter().find_map(watched)?;
        let open = self.state.exposures.iter().filter(|e| e.is_open()).flat_map(|e| &e.sections);
        let seen = |section: Section| {
            let of = self.state.looks.iter().filter(|l| l.section == section && l.look == look.what);
            of.map(|l| format!("{} {}", self.clock(l.at), l.reading.words())).collect::<Vec<_>>().join(", ")
        };
        Some(LookPanel {
            what: look.what.words(),
            look: look.what.code(),
            every: look.every_min,
            rows: open
                .filter(|s| s.is_open())
                .map(|s| (s.section.code(), s.section.words(), seen(s.section)))
                .collect(),
            readings: Progress::ALL.iter().map(|r| (r.code(), r.words())).collect(),
            fact: once::key(),
        })
    }

    pub(super) fn stop_panel(&self) -> Option<StopPanel> {
        let stop = self.state.stop?;
        let mine = self.around.practised.is_some()
            || self.seat.person().is_some_and(|p| {
                p.role == crate::domain::access::Role::Manager || self.state.stylist == Some(p.id)
            });
        Some(StopPanel {
            at: self.clock(stop.at),
            aid: self.loaded.frame.protocol.stop_words.clone(),
            eye_wash: self.seat.salon_row.eye_wash_place.clone(),
            emergency: self.seat.salon_row.emergency_number.clone(),
            ask: !self.state.product_on() && self.state.ended.is_none(),
            whole: stop.read,
            early: self.water_short(),
            forbidden: self.state.sheet_forbids_closing(),
            may_close: mine
                && stop.read == Some(true)
                && !self.state.product_on()
                && self.state.ended.is_none(),
        })
    }

    pub(super) fn signed(&self) -> Vec<Row> {
        let by = |p: Option<crate::domain::ids::PersonId>| {
            p.map_or_else(|| tr!("this station").into(), |p| self.around.name(p.0))
        };
        let is_bowl = |kind: &EventKind| matches!(kind, EventKind::Granted(Granted::LotDispensed { .. }));
        let follows_a_bowl =
            |seq: i64| self.loaded.events.iter().any(|e| e.seq == seq - 1 && is_bowl(&e.kind));
        self.loaded
            .events
            .iter()
            .rev()
            .filter(|e| !self.state.is_taken_back(e))
            // What was signed with a bowl is said by the bowl's own line: a dispensed lot stands once.
            .filter(|e| !(e.kind.hold_point() == Some(HoldPoint::Lot) && follows_a_bowl(e.seq)))
            .filter_map(|e| {
                let (what, holds) = match &e.kind {
                    EventKind::Granted(Granted::HoldPointSigned { signed, .. }) => (
                        format!(
                            "{}: {}",
                            signed.hold_point.title(),
                            signed.answer().map_or(tr!("not known"), |a| words::of(a.words))
                        ),
                        if signed.holds() { "holds" } else { tr!("does not hold") },
                    ),
                    EventKind::Granted(Granted::LotDispensed { application, grams, lot }) => {
                        let code = self
                            .around
                            .lots
                            .iter()
                            .find(|l| l.lot_id == lot.0)
                            .map_or("", |l| l.code.as_str());
                        (
                            tr!(
                                "{grams} g for {application}, lot {code}{}",
                                self.beyond_the_book(lot.0),
                                grams = format_args!("{:.0}", grams),
                                application = application,
                                code = code
                            ),
                            "dispensed",
                        )
                    }
                    _ => return None,
                };
                Some(Row { at: self.clock(e.recorded_at), what, by: by(e.by), holds: holds.into() })
            })
            .take(40)
            .collect()
    }

    /// How long the water has run, while that is short of its twenty minutes.
    fn water_short(&self) -> String {
        if !self.state.water_runs_short(self.now) {
            return String::new();
        }
        match self.state.water_until() {
            None => tr!("No water is on record yet: put it on first.").into(),
            Some(until) => {
                let ran = self.now - (until - time::Duration::minutes(FIRST_AID_WATER_MIN));
                let ran = crate::web::picture::clock::reading(ran.whole_milliseconds() as i64);
                tr!("The water has run {ran} of 20:00, until {}.", self.clock(until), ran = ran)
            }
        }
    }

    pub(super) fn steps(&self) -> Vec<StepRow> {
        let hands = |s: &Step| match s.hands {
            crate::domain::protocol::Hands::Nobody => tr!("nobody"),
            crate::domain::protocol::Hands::Stylist => "stylist",
            crate::domain::protocol::Hands::Assistant => tr!("assistant or stylist"),
            crate::domain::protocol::Hands::Any => tr!("anybody who treats hair"),
        };
        self.loaded
            .frame
            .protocol
            .steps
            .iter()
            .zip(&self.state.steps)
            .enumerate()
            .map(|(i, (step, s))| StepRow {
                at: s.started_at.map(|at| self.clock(at)).unwrap_or_default(),
                title: step.title.clone(),
                minutes: tr!("about {}", step.minutes_typical),
                hands: hands(step),
                here: self.state.in_hand == Some(i),
                done: s.finished_at.is_some(),
            })
            .collect()
    }

    pub(super) fn cautions(&self) -> Vec<String> {
        if self.state.stop.is_some() {
            return Vec::new();
        }
        let step = self.state.step_in_hand().or_else(|| self.state.next_step());
        let mut all: Vec<String> = step
            .map(|s| s.cautions.iter().map(|c| format!("{} ({})", c.words, c.mark.words())).collect())
            .unwrap_or_default();
        if let Some(heat) = step.map(|s| s.heat).filter(|h| *h != Heat::None) {
            all.push(format!("{}.", crate::domain::words::capital(heat.words())));
        }
        if self.state.product_on() {
            all.push(tr!("The product's own sheet, local rules and licensed practice come first.").into());
        }
        all
    }
}

pub(super) fn rod_words(rod: Rod) -> &'static str {
    match rod {
        Rod::First => tr!("first rod"),
        Rod::Last => tr!("last rod"),
        Rod::Weakest => tr!("weakest place"),
    }
}
