//! The Run screen put into words and pictures. Nothing is decided here.

use askama::Template;
use time::OffsetDateTime;

use super::around::Around;
use super::bowl::Bowl;
use super::checks::ScalpAsk;
use super::lately::Lately;
use super::panels::{CurlPanel, LookPanel, StopPanel};
use super::practice::Practised;
use super::refused::Said;
use super::test_visit::TestPanel;
use crate::calendar::Zone;
use crate::domain::access::Act;
use crate::domain::protocol::{SectionWork, Step};
use crate::domain::run::hands_stay::end_words;
use crate::domain::run::headline::{Headline, NextAct};
use crate::domain::run::{CurlReading, State};
use crate::flow::run_hands;
use crate::flow::runs::Loaded;
use crate::web::bar::{Bar, MainAct, Reach};
use crate::web::bell_words::{Ring, name_near};
use crate::web::once;
use crate::web::picture::Clock;
use crate::web::picture::head_map::HeadMap;
use crate::web::picture::mark::Drawing;
use crate::web::seat::{Seat, Who, first_name};
use crate::web::shell::Shell;

pub(super) fn ms(at: OffsetDateTime) -> i64 {
    (at.unix_timestamp_nanos() / 1_000_000) as i64
}

/// One value of a hold point to tap.
pub(super) struct Value {
    pub(super) code: String,
    pub(super) words: &'static str,
    pub(super) asks_where: bool,
    /// The step may go on with it.
    pub(super) holds: bool,
}

/// A hold point before the step that waits.
pub(super) struct Point {
    pub(super) title: &'static str,
    pub(super) question: &'static str,
    pub(super) code: &'static str,
    /// The step it is answered for.
    pub(super) step: String,
    /// Who answered what and when; empty while it waits.
    pub(super) held: String,
    pub(super) fails: bool,
    /// Nobody may override it, nor put it right.
    pub(super) for_good: bool,
    /// What an answer that does not hold asks for now.
    pub(super) then: &'static str,
    pub(super) values: Vec<Value>,
}

/// A recent tap that may be taken back.
#[derive(Clone)]
pub(super) struct Tap {
    /// The fact's name; empty for a permission.
    pub(super) fact: String,
    /// A permission's place in the record; 0 for a fact.
    pub(super) seq: i64,
    pub(super) words: String,
    pub(super) at: String,
}

/// A row of the record.
pub(super) struct Row {
    pub(super) at: String,
    pub(super) what: String,
    pub(super) by: String,
    pub(super) holds: String,
}

/// A step in the list.
pub(super) struct StepRow {
    pub(super) at: String,
    pub(super) title: String,
    pub(super) minutes: String,
    pub(super) hands: &'static str,
    pub(super) here: bool,
    pub(super) done: bool,
}

/// A clock of the step in hand.
pub(super) struct Dial {
    pub(super) clock: Clock,
    /// The way to the longest allowed, unseen: out of contact the page rings by it.
    pub(super) most: Option<Clock>,
    pub(super) words: String,
    pub(super) small: bool,
    pub(super) class: &'static str,
}

/// The Run screen.
#[derive(Template)]
#[template(path = "runs/run.html")]
pub(super) struct RunPage {
    pub(super) shell: Shell,
    id: i64,
    /// Where its acts are sent: the path before each, and what goes after.
    base: String,
    tail: String,
    practised: Option<Practised>,
    known: i64,
    once_key: String,
    about: String,
    locked: bool,
    not_you: String,
    headline: Headline,
    next_line: String,
    in_hand: String,
    pace: String,
    dials: Vec<Dial>,
    rings: Vec<Ring>,
    state_class: &'static str,
    window: Option<Drawing>,
    head: Option<HeadMap>,
    readings: Vec<(&'static str, String, String)>,
    words: String,
    cautions: Vec<String>,
    pause_title: String,
    points: Vec<Point>,
    /// How many of them wait.
    points_left: usize,
    /// Answers of the step in hand, with its code.
    answered: Vec<(String, Point)>,
    scalp: Option<ScalpAsk>,
    bowl: Option<Bowl>,
    /// Until when hands stay, before an opening step.
    hands_line: String,
    /// Goes with the live part's address, so that a lot that was scanned stays chosen.
    scan_query: String,
    curls: Option<CurlPanel>,
    looks: Option<LookPanel>,
    rods: Option<String>,
    trim: bool,
    tests: Option<TestPanel>,
    stop: Option<StopPanel>,
    taps: Vec<Tap>,
    lately: Lately,
    /// Gloves are on: every act is a large one.
    wet: bool,
    signed: Vec<Row>,
    steps: Vec<StepRow>,
    /// The step after the one in hand, where the bar's act is another: going on is never hidden.
    next_start: Option<(String, String)>,
    /// It would end work sooner than meant: asked about first.
    next_early: bool,
    done: usize,
    to_come: usize,
    breaches: Vec<String>,
    offered: bool,
    /// Handed on to this station while somebody else is signed in: by whom, who is.
    handed_on: Option<(String, String)>,
    others: Vec<(i64, String)>,
    stations: Vec<(i64, String)>,
    places: Vec<(&'static str, &'static str)>,
    ended: bool,
    aftercare: bool,
    refusal_heading: &'static str,
    reasons: Vec<crate::web::form::Reason>,
    bar: Bar,
    comfort_fact: String,
    may_end: bool,
    /// A manager may name hands that stay.
    may_name: bool,
    /// Until when they stay, in words.
    hands_end: &'static str,
}

pub(super) struct Maker<'a> {
    pub(super) seat: &'a Seat,
    pub(super) loaded: &'a Loaded,
    pub(super) around: &'a Around,
    pub(super) state: State<'a>,
    pub(super) zone: Zone,
    pub(super) now: OffsetDateTime,
}

impl RunPage {
    pub(super) fn new(seat: &Seat, loaded: &Loaded, around: Around, said: Option<Said>) -> RunPage {
        let state = loaded.state();
        let zone = Zone::find(&seat.salon_row.zone)
            .unwrap_or_else(|| Zone::find("UTC").expect("UTC is a zone of every build"));
        let maker = Maker { seat, loaded, around: &around, state, zone, now: loaded.now };
        maker.page(said)
    }
}

impl Maker<'_> {
    pub(super) fn clock(&self, at: OffsetDateTime) -> String {
        self.zone.clock(at)
    }

    fn page(&self, said: Option<Said>) -> RunPage {
        let (state, run) = (&self.state, &self.loaded.run);
        let headline = state.headline(self.now);
        let pause = self.pause_step(&headline);
        let step = state.step_in_hand();
        let locked = self.seat.person().is_none();
        let name = name_near(run);
        let total = self.loaded.frame.protocol.steps.len();
        let turn = turn_words(state, total);
        let topic = format!("run:{}", run.run_id);
        let closes = self.loaded.frame.protocol.closes_hair();
        let taps = self.taps();
        let points = if locked { Vec::new() } else { pause.map(|s| self.points(s)).unwrap_or_default() };
        let (heading, reasons) = said.map_or(("", Vec::new()), |s| (s.heading, s.reasons));
        let practised = self.around.practised.clone();
        let mut shell = self.seat.shell(self.now, "/runs", &[&topic, "floor"]);
        // A practice has a clock of its own: no news of the real one may set it.
        shell.live = practised.is_none();
        RunPage {
            shell,
            id: run.run_id,
            base: self.base(),
            tail: practised.as_ref().map(|p| p.tail.clone()).unwrap_or_default(),
            known: state.seq,
            once_key: once::key(),
            about: format!("{name}, {}, {}{turn}", self.loaded.frame.protocol.title, run.chair),
            locked,
            not_you: self.seat.person().map(|p| first_name(&p.name).to_string()).unwrap_or_default(),
            next_line: headline.next_line().unwrap_or_default(),
            in_hand: headline.in_hand.clone().unwrap_or_default(),
            pace: self.pace(headline.next.as_deref()),
            dials: self.dials(),
            rings: self.rings(),
            state_class: self.state_class(),
            window: self.window_picture(),
            head: self.head(),
            readings: self.readings(),
            words: match state.stop {
                Some(_) => String::new(),
                None => step.or_else(|| state.next_step()).map(|s| s.words.clone()).unwrap_or_default(),
            },
            cautions: self.cautions(),
            pause_title: pause.map(|s| s.title.clone()).unwrap_or_default(),
            points_left: points.iter().filter(|p| p.held.is_empty() || p.fails).count(),
            points,
            answered: if locked { Vec::new() } else { self.answered_before(pause) },
            scalp: self.scalp_ask().filter(|_| !locked),
            bowl: if locked { None } else { pause.and_then(|s| self.bowl(s)) },
            hands_line: pause
                .filter(|s| !locked && run_hands::asked_for(Some(s)))
                .and_then(|_| self.around.hands?.words(closes, &|at| self.clock(at)))
                .unwrap_or_default(),
            hands_end: end_words(closes),
            may_name: self.seat.person().is_some_and(|p| p.role == crate::domain::access::Role::Manager),
            practised,
            scan_query: self.around.picked.query(),
            curls: self.curls(),
            looks: self.looks(),
            rods: step.filter(|s| s.rods && state.rods.is_none()).map(|_| once::key()),
            trim: step.is_some_and(|s| s.code.as_str().contains("trim")),
            tests: self.test_panel().filter(|_| self.around.practised.is_none()),
            stop: self.stop_panel(),
            lately: self.lately(&taps),
            wet: self.gloved(),
            taps,
            signed: if locked { Vec::new() } else { self.signed() },
            steps: self.steps(),
            next_start: match headline.act {
                NextAct::Nothing | NextAct::StartRun => None,
                NextAct::StartStep(_) if self.write_down(&headline.act).is_none() => None,
                _ if state.stop.is_some() => None,
                _ => state.next_possible(self.now).map(|s| (s.code.to_string(), s.title.clone())),
            },
            next_early: self.next_early(&headline),
            done: state.steps.iter().filter(|s| s.finished_at.is_some()).count(),
            to_come: state.steps.iter().filter(|s| s.started_at.is_none()).count(),
            breaches: state
                .breaches(self.now)
                .iter()
                .map(|b| b.words(&self.loaded.frame.protocol, &|i| self.clock(i)))
                .collect(),
            handed_on: self.seat.handed_on.as_ref().filter(|on| on.run.0 == run.run_id).and_then(|on| {
                let own = first_name(&self.seat.person()?.name).to_string();
                Some((first_name(&on.by.name).to_string(), own))
            }),
            offered: self.seat.person().is_some_and(|p| state.offered_to == Some(p.id)),
            others: self
                .around
                .names
                .iter()
                .filter(|(id, _)| {
                    self.around.may_answer.contains(id) && state.stylist.is_none_or(|s| s.0 != *id)
                })
                .cloned()
                .collect(),
            stations: self.around.stations.clone(),
            places: self.places(),
            ended: state.ended.is_some(),
            aftercare: self.around.aftercare,
            refusal_heading: heading,
            reasons,
            bar: self.bar(&headline),
            comfort_fact: once::key(),
            may_end: self.around.practised.is_some()
                || self.seat.person().is_some_and(|p| crate::domain::access::may(p.role, Act::FinishRun)),
            headline,
        }
    }

    /// Where the pages of this service are.
    pub(super) fn base(&self) -> String {
        let practised = self.around.practised.as_ref().map(|p| p.base.clone());
        practised.unwrap_or_else(|| format!("/runs/{}", self.loaded.run.run_id))
    }

    /// Where an act is sent.
    pub(super) fn to(&self, path: &str) -> String {
        let tail = self.around.practised.as_ref().map_or("", |p| p.tail.as_str());
        format!("{}/{path}{tail}", self.base())
    }

    pub(super) fn signing(&self) -> String {
        if self.around.practised.is_some() {
            return tr!("Practice: nothing is recorded").into();
        }
        match &self.seat.who {
            Who::In(p) => tr!("Taken as {}", p.name),
            _ => tr!("Taken as this station. Signing asks for a PIN.").into(),
        }
    }

    pub(super) fn pause_step(&self, headline: &Headline) -> Option<&Step> {
        if self.state.ended.is_some() {
            return None;
        }
        if let Some(stop) = self.state.stop {
            let NextAct::StartStep(code) = &headline.act else { return None };
            return self.loaded.frame.protocol.step(code).filter(|s| s.is_closing() && stop.read.is_some());
        }
        match &headline.act {
            NextAct::StartStep(code) => self.loaded.frame.protocol.step(code),
            NextAct::ReadScalp
            | NextAct::RinsePlace { .. }
            | NextAct::StartSection { .. }
            | NextAct::ReadCurl
            | NextAct::ReadLook(_)
            | NextAct::RinseSection { .. } => None,
            _ => self.state.next_possible(self.now),
        }
    }
}

pub(super) fn link(words: &str, href: &str) -> Option<MainAct> {
    Some(MainAct { words: words.into(), action: href.into(), reach: Reach::Link, hidden: Vec::new() })
}

/// How far a service has come, as it goes on after its title: ", step 3 of 12"; nothing once it has ended.
pub(super) fn turn_words(state: &State<'_>, total: usize) -> String {
    match (state.ended, state.in_hand) {
        (Some(_), _) => String::new(),
        (None, None) if state.furthest().is_some() && state.next_step().is_none() => {
            tr!(", all steps done").into()
        }
        (None, None) if state.furthest().is_some() => String::new(),
        (None, None) => tr!(", no step begun").into(),
        (None, Some(i)) => tr!(", step {} of {total}", i + 1, total = total),
    }
}

pub(super) fn pass_of(work: SectionWork) -> u8 {
    match work {
        SectionWork::Apply { pass } => pass,
        SectionWork::Smooth => 1,
        SectionWork::Rinse => 0,
    }
}

pub(super) fn curl_words(reading: CurlReading) -> &'static str {
    match reading {
        CurlReading::None => tr!("straight"),
        CurlReading::C => "C",
        CurlReading::S => tr!("firm S"),
        CurlReading::Over => tr!("over"),
    }
}
