//! The Run screen put into words and pictures. Nothing is decided here.

use askama::Template;
use time::OffsetDateTime;

use super::acts::Said;
use crate::calendar::Zone;
use crate::domain::access::Act;
use crate::domain::ids::{PlanId, StationId};
use crate::domain::protocol::{HoldPoint, Meaning, Section, SectionWork, Step};
use crate::domain::run::bells::BellKind;
use crate::domain::run::headline::{Headline, NextAct, Window};
use crate::domain::run::{CurlReading, EventKind, Granted, Happened, HeadPlace, Rod, State};
use crate::flow::runs::Loaded;
use crate::store::{Scoped, Stored, people, run_frames, stations};
use crate::web::bar::{Bar, MainAct, Reach, Stings, Stop};
use crate::web::form::Choice;
use crate::web::once;
use crate::web::picture::head_map::{HeadMap, Lap, Quad, QuadState, Side};
use crate::web::picture::mark::Drawing;
use crate::web::picture::{Clock, window};
use crate::web::seat::{Seat, Who, first_name, short_name};
use crate::web::shell::Shell;

fn ms(at: OffsetDateTime) -> i64 {
    (at.unix_timestamp_nanos() / 1_000_000) as i64
}

/// What the page shows beside the run itself.
pub(super) struct Around {
    names: Vec<(i64, String)>,
    stations: Vec<(i64, String)>,
    lots: Vec<run_frames::LotRow>,
    aftercare: bool,
}

impl Around {
    pub(super) async fn load(s: &mut Scoped, seat: &Seat, loaded: &Loaded) -> Stored<Around> {
        let names =
            people::list(s).await?.into_iter().filter(|p| !p.left).map(|p| (p.id.0, p.name)).collect();
        let own = seat.station_id();
        let stations = stations::list(s)
            .await?
            .into_iter()
            .filter(|x| x.paired && !x.revoked && Some(StationId(x.station_id)) != own && x.kind != "wall")
            .map(|x| (x.station_id, x.name))
            .collect();
        let lots = run_frames::list_lots(s, PlanId(loaded.run.plan_id)).await?;
        let aftercare = crate::store::finish::find_aftercare(s, crate::domain::ids::RunId(loaded.run.run_id))
            .await?
            .is_some();
        Ok(Around { names, stations, lots, aftercare })
    }

    fn name(&self, id: i64) -> String {
        self.names.iter().find(|(n, _)| *n == id).map_or_else(|| "somebody".into(), |(_, n)| n.clone())
    }
}

/// One value of a hold point to tap.
pub(super) struct Value {
    code: String,
    words: &'static str,
    holds: bool,
    asks_where: bool,
}

/// A hold point before the step that waits.
pub(super) struct Point {
    title: &'static str,
    question: &'static str,
    code: &'static str,
    /// Who answered what and when; empty while it waits.
    held: String,
    fails: bool,
    values: Vec<Value>,
}

/// A lot to dispense.
pub(super) struct Bowl {
    application: char,
    title: String,
    product: String,
    lots: Vec<Choice>,
}

/// A recent tap that may be taken back.
pub(super) struct Tap {
    fact: String,
    words: String,
    at: String,
}

/// A row of the record.
pub(super) struct Row {
    at: String,
    what: String,
    by: String,
    holds: String,
}

/// A step in the list.
pub(super) struct StepRow {
    at: String,
    title: String,
    minutes: String,
    hands: &'static str,
    here: bool,
    done: bool,
}

/// A clock of the step in hand.
pub(super) struct Dial {
    clock: Clock,
    words: String,
    small: bool,
    class: &'static str,
}

/// A bell to take.
pub(super) struct Ring {
    key: String,
    words: String,
    step: String,
    clock: &'static str,
    only_rinse: bool,
    fact: String,
}

/// The Run screen.
#[derive(Template)]
#[template(path = "runs/run.html")]
pub(super) struct RunPage {
    shell: Shell,
    id: i64,
    known: i64,
    once_key: String,
    about: String,
    locked: bool,
    signing: String,
    not_you: String,
    headline: Headline,
    next_line: String,
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
    pause_step: String,
    points: Vec<Point>,
    records: Vec<String>,
    bowl: Option<Bowl>,
    curls: Option<CurlPanel>,
    rods: Option<String>,
    trim: bool,
    stop: Option<StopPanel>,
    taps: Vec<Tap>,
    signed: Vec<Row>,
    steps: Vec<StepRow>,
    done: usize,
    to_come: usize,
    breaches: Vec<String>,
    offered: bool,
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
}

/// Test curls: rows of rods, readings to tap.
pub(super) struct CurlPanel {
    rows: Vec<(&'static str, &'static str, String)>,
    readings: Vec<(&'static str, &'static str)>,
    fact: String,
}

/// What stands after a stop.
pub(super) struct StopPanel {
    at: String,
    aid: Vec<String>,
    eye_wash: String,
    emergency: String,
    ask: bool,
    whole: Option<bool>,
    may_close: bool,
}

struct Maker<'a> {
    seat: &'a Seat,
    loaded: &'a Loaded,
    around: &'a Around,
    state: State<'a>,
    zone: Zone,
    now: OffsetDateTime,
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
    fn clock(&self, at: OffsetDateTime) -> String {
        self.zone.clock(at)
    }

    fn page(&self, said: Option<Said>) -> RunPage {
        let (state, run) = (&self.state, &self.loaded.run);
        let headline = state.headline(self.now);
        let pause = self.pause_step(&headline);
        let step = state.step_in_hand();
        let locked = self.seat.person().is_none();
        let name = short_name(&run.client_name);
        let index = state.in_hand.map_or(0, |i| i + 1);
        let total = self.loaded.frame.protocol.steps.len();
        let topic = format!("run:{}", run.run_id);
        let (heading, reasons) = said.map_or(("", Vec::new()), |s| (s.heading, s.reasons));
        RunPage {
            shell: self.seat.shell(self.now, "/runs", &[&topic, "floor"]),
            id: run.run_id,
            known: state.seq,
            once_key: once::key(),
            about: format!(
                "{name}, {}, {}, step {index} of {total}",
                self.loaded.frame.protocol.title, run.chair
            ),
            locked,
            signing: self.signing(),
            not_you: self.seat.person().map(|p| first_name(&p.name).to_string()).unwrap_or_default(),
            next_line: headline.next.as_ref().map_or_else(String::new, |n| {
                if n.starts_with("Then") || n.starts_with("Call") { n.clone() } else { format!("Then: {n}") }
            }),
            pace: self.pace(),
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
            pause_step: pause.map(|s| s.code.to_string()).unwrap_or_default(),
            points: if locked { Vec::new() } else { pause.map(|s| self.points(s)).unwrap_or_default() },
            records: Vec::new(),
            bowl: if locked { None } else { pause.and_then(|s| self.bowl(s)) },
            curls: self.curls(),
            rods: step.filter(|s| s.rods && state.rods.is_none()).map(|_| once::key()),
            trim: step.is_some_and(|s| s.code.as_str().contains("trim")),
            stop: self.stop_panel(),
            taps: self.taps(),
            signed: if locked { Vec::new() } else { self.signed() },
            steps: self.steps(),
            done: state.steps.iter().filter(|s| s.finished_at.is_some()).count(),
            to_come: state.steps.iter().filter(|s| s.started_at.is_none()).count(),
            breaches: state.breaches(self.now).iter().map(|b| b.words(&|i| self.clock(i))).collect(),
            offered: self.seat.person().is_some_and(|p| state.offered_to == Some(p.id)),
            others: self
                .around
                .names
                .iter()
                .filter(|(id, _)| state.stylist.is_none_or(|s| s.0 != *id))
                .cloned()
                .collect(),
            stations: self.around.stations.clone(),
            places: HeadPlace::ALL.iter().map(|p| (p.code(), p.words())).collect(),
            ended: state.ended.is_some(),
            aftercare: self.around.aftercare,
            refusal_heading: heading,
            reasons,
            bar: self.bar(&headline),
            comfort_fact: once::key(),
            may_end: self.seat.person().is_some_and(|p| crate::domain::access::may(p.role, Act::FinishRun)),
            headline,
        }
    }

    fn signing(&self) -> String {
        match &self.seat.who {
            Who::In(p) => format!("Taken as {}", p.name),
            _ => "Taken as this station. Signing asks for a PIN.".into(),
        }
    }

    /// The step whose hold points are asked now: the next one, or the one in hand when it wants a fresh scalp reading.
    fn pause_step(&self, headline: &Headline) -> Option<&Step> {
        if self.state.ended.is_some() {
            return None;
        }
        if let Some(stop) = self.state.stop {
            let NextAct::StartStep(code) = &headline.act else { return None };
            return self.loaded.frame.protocol.step(code).filter(|s| s.is_closing() && stop.read.is_some());
        }
        match &headline.act {
            NextAct::StartStep(code) => self.loaded.frame.protocol.step(code),
            NextAct::ReadScalp => self.state.next_step(),
            NextAct::StartSection { .. } | NextAct::ReadCurl | NextAct::RinseSection { .. } => None,
            _ => self.state.next_step(),
        }
    }

    fn pace(&self) -> String {
        match self.state.window(self.now).filter(|_| self.state.stop.is_none()) {
            Some(Window::Kept { shuts_at }) => format!("Both passes are done by {}.", self.clock(shuts_at)),
            Some(w @ Window::WillBeMissed { shuts_at }) => {
                format!("{}. The window shuts at {}.", w.words().unwrap_or_default(), self.clock(shuts_at))
            }
            Some(w @ Window::Past { shut_at }) => {
                format!("{}. The window shut at {}.", w.words().unwrap_or_default(), self.clock(shut_at))
            }
            None => String::new(),
        }
    }

    fn dials(&self) -> Vec<Dial> {
        let now = ms(self.now);
        let mut dials = Vec::new();
        if self.state.stop.is_some() {
            return dials;
        }
        if let Some(shuts) = self.state.window_shuts_at().filter(|shuts| *shuts > self.now) {
            dials.push(Dial {
                clock: Clock::down(ms(shuts), now),
                words: format!("left for both passes, window shuts {}", self.clock(shuts)),
                small: false,
                class: "",
            });
        }
        for running in self.state.running() {
            let title =
                self.loaded.frame.protocol.step(&running.step).map(|s| s.title.clone()).unwrap_or_default();
            let exposure = running.clock == crate::domain::protocol::Clock::Exposure;
            let source = if exposure { "from first touch" } else { "from the step's start" };
            let what = if exposure { "to the rinse".to_string() } else { format!("of “{title}”") };
            let most = running
                .most_at
                .map(|m| format!("; longest allowed at {}", self.clock(m)))
                .unwrap_or_default();
            let rinse_due = exposure && self.state.curl_says_rinse().is_some();
            let (clock, words, class) = match running.target_at.filter(|_| !rinse_due) {
                Some(target) if running.most_at.is_some_and(|m| m <= self.now) => (
                    Clock::up(ms(running.from), now),
                    format!(
                        "on, {source}: past the longest allowed ({})",
                        self.clock(running.most_at.unwrap_or(target))
                    ),
                    " over",
                ),
                Some(target) => (
                    Clock::down(ms(target), now),
                    format!("{what}, at {}, {source}{most}", self.clock(target)),
                    if target <= self.now { " ringing" } else { "" },
                ),
                None => (Clock::up(ms(running.from), now), format!("on, {source}{most}"), ""),
            };
            dials.push(Dial {
                clock,
                words,
                small: !dials.is_empty() || !running.on_hair && !self.state.product_on(),
                class,
            });
        }
        dials
    }

    fn rings(&self) -> Vec<Ring> {
        let (id, run) = (self.loaded.run.run_id, &self.loaded.run);
        // After a stop the first-aid words stand in the bells' place.
        let ringing = if self.state.stop.is_some() { Vec::new() } else { self.state.ringing(self.now) };
        ringing
            .into_iter()
            .map(|b| {
                let title =
                    self.loaded.frame.protocol.step(&b.step).map(|s| s.title.clone()).unwrap_or_default();
                let kind = match b.kind {
                    BellKind::Soon => "one minute to go",
                    BellKind::TestCurl => "test curl",
                    BellKind::Target => "at target",
                    BellKind::Most => "longest allowed, rinse now",
                    BellKind::RinseNow => "rinse now",
                };
                let mark = if b.only_rinsing_answers() { "most" } else { "target" };
                Ring {
                    key: format!("{id}:{mark}:{}:{}", b.clock.code(), ms(b.at) / 60_000),
                    words: format!("{}: {title}, {kind}", short_name(&run.client_name)),
                    step: b.step.to_string(),
                    clock: b.clock.code(),
                    only_rinse: b.only_rinsing_answers(),
                    fact: once::key(),
                }
            })
            .collect()
    }

    fn state_class(&self) -> &'static str {
        let rings = self.state.ringing(self.now);
        if rings.iter().any(|b| b.only_rinsing_answers()) {
            " over"
        } else if rings.is_empty() {
            ""
        } else {
            " ringing"
        }
    }

    fn window_picture(&self) -> Option<Drawing> {
        let shuts = self.state.window_shuts_at().filter(|_| self.state.stop.is_none())?;
        let steps: Vec<&Step> =
            self.loaded.frame.protocol.steps.iter().filter(|s| s.window_min.is_some()).collect();
        let length = steps.iter().filter_map(|s| s.window_min).max().unwrap_or(15);
        let opened = shuts - time::Duration::minutes(i64::from(length));
        let minutes = |at: OffsetDateTime| (at - opened).as_seconds_f64() / 60.0;
        let order = self.loaded.frame.sections();
        let passes = steps
            .iter()
            .filter_map(|step| {
                let Some(SectionWork::Apply { pass }) = step.sections else { return None };
                let taps: Vec<window::Tap> = self
                    .state
                    .exposures
                    .iter()
                    .filter(|e| Some(e.letter) == step.application)
                    .flat_map(|e| &e.sections)
                    .filter_map(|x| {
                        let at = x.passes.iter().find(|(p, _)| *p == pass)?.1;
                        let number = order.iter().position(|o| *o == x.section).map_or(0, |i| i + 1);
                        Some(window::Tap { at_min: minutes(at), number: u8::try_from(number).unwrap_or(0) })
                    })
                    .collect();
                let words = if pass == 1 { "first pass" } else { "second pass" };
                (!taps.is_empty()).then(|| window::Pass { words: words.into(), taps })
            })
            .collect();
        let window = window::Window {
            opened_ms: ms(opened),
            now_ms: ms(self.now),
            length_min: f64::from(length),
            opened_words: self.clock(opened),
            passes,
            label: format!(
                "Window of {length} minutes from {}, shuts at {}.",
                self.clock(opened),
                self.clock(shuts)
            ),
        };
        Some(window.draw())
    }

    /// The step whose quadrants are tapped now.
    fn head_step(&self) -> Option<&Step> {
        let in_hand = self.state.step_in_hand().filter(|s| s.sections.is_some());
        let rinse = || {
            let open = self.state.exposures.iter().find(|e| e.is_open())?;
            self.loaded.frame.protocol.steps.iter().find(|s| s.rinses.contains(&open.letter))
        };
        if self.state.stop.is_some() && self.state.product_on() { rinse() } else { in_hand }
    }

    fn head(&self) -> Option<HeadMap> {
        if self.state.ended.is_some() {
            return None;
        }
        let step = self.head_step()?;
        let work = step.sections?;
        let untapped = self.state.untapped(step);
        let next = untapped.first().copied();
        let quads = self
            .loaded
            .frame
            .sections()
            .iter()
            .enumerate()
            .map(|(i, section)| self.quad(step, *section, i + 1, next, &untapped))
            .collect();
        let (fact, mut hidden, heading, note) = match work {
            SectionWork::Rinse => (
                "section_rinsed",
                vec![("clear".to_string(), "yes".to_string())],
                "Head from above: tap a quadrant when its water runs clear",
                "From above, face up; sides are the client's. A quadrant nobody taps counts until the whole head runs clear.",
            ),
            SectionWork::Apply { .. } | SectionWork::Smooth => (
                "section_started",
                vec![("pass".to_string(), pass_of(work).to_string())],
                "Head from above: tap a quadrant as you touch it",
                "From above, face up; sides are the client's. Inner ring: first pass. Outer ring: second pass. Tap a quadrant or press its number.",
            ),
        };
        hidden.push(("kind".into(), fact.into()));
        hidden.push(("step".into(), step.code.to_string()));
        hidden.push(("fact_id".into(), once::key()));
        let lap = if pass_of(work) >= 2 { Lap::Second } else { Lap::First };
        Some(HeadMap {
            action: format!("/runs/{}/facts", self.loaded.run.run_id),
            // Each tap is its own fact: without script the hidden name is used once, the page then comes anew.
            fact: fact.into(),
            hidden,
            field: "section".into(),
            heading: heading.into(),
            note: note.into(),
            lap,
            quads,
        })
    }

    fn quad(
        &self,
        step: &Step,
        section: Section,
        number: usize,
        next: Option<Section>,
        untapped: &[Section],
    ) -> Quad {
        let side = match section {
            Section::BackRight => Side::BackRight,
            Section::BackLeft => Side::BackLeft,
            Section::FrontLeft => Side::FrontLeft,
            Section::FrontRight => Side::FrontRight,
        };
        let of = |e: &&crate::domain::run::exposure::Exposure| {
            Some(e.letter) == step.application
                || step.rinses.contains(&e.letter)
                || step.application.is_none() && e.is_open()
        };
        let exposure = self
            .state
            .exposures
            .iter()
            .rev()
            .find(of)
            .and_then(|e| e.sections.iter().find(|x| x.section == section));
        let clock = exposure.map(|x| {
            if x.is_open() {
                let from = self.now - x.total(self.now);
                Clock::up(ms(from), ms(self.now))
            } else {
                Clock::still(crate::web::picture::clock::reading(
                    x.total(self.now).whole_milliseconds() as i64
                ))
            }
        });
        let rinse = step.sections == Some(SectionWork::Rinse);
        let done = !untapped.contains(&section);
        let last_done = self.loaded.frame.sections().iter().take_while(|s| Some(**s) != next).last().copied();
        let (state, words) = match (rinse, done) {
            (true, true) => (QuadState::Rinsed, "clear"),
            (_, false) if next == Some(section) => (QuadState::Next, "next"),
            (false, true) if last_done == Some(section) && next.is_some() => (QuadState::InHand, "in hand"),
            (false, true) => (QuadState::Done, "done"),
            _ => (QuadState::Waiting, "waiting"),
        };
        Quad { side, number: u8::try_from(number).unwrap_or(0), clock, state, words: words.into() }
    }

    fn readings(&self) -> Vec<(&'static str, String, String)> {
        let Some(e) =
            self.state.exposures.iter().find(|e| e.is_open()).or_else(|| self.state.exposures.last())
        else {
            return Vec::new();
        };
        let read = |d: time::Duration| crate::web::picture::clock::reading(d.whole_milliseconds() as i64);
        let (longest, shortest) = (e.longest(self.now), e.shortest(self.now));
        let title =
            self.loaded.frame.protocol.application(e.letter).map(|a| a.title.clone()).unwrap_or_default();
        let mut all = vec![
            ("Longest on", read(longest), title),
            ("Shortest on", read(shortest), String::new()),
            ("First to last", read(longest - shortest), String::new()),
        ];
        if let Some(f) = self.state.exposure_figures(e.letter) {
            if let Some(most) = f.most_min {
                let from = match f.most_source {
                    crate::domain::protocol::Source::Sheet => "product sheet",
                    crate::domain::protocol::Source::Default { mark } => mark.words(),
                };
                all.push(("Longest allowed, first touch to rinse", format!("{most}:00"), from.to_string()));
            }
        }
        all
    }

    fn cautions(&self) -> Vec<String> {
        if self.state.stop.is_some() {
            return Vec::new();
        }
        let step = self.state.step_in_hand().or_else(|| self.state.next_step());
        let mut all: Vec<String> = step
            .map(|s| s.cautions.iter().map(|c| format!("{} ({})", c.words, c.mark.words())).collect())
            .unwrap_or_default();
        if self.state.product_on() {
            all.push("The product's own sheet, local rules and licensed practice come first.".into());
        }
        all
    }

    fn points(&self, step: &Step) -> Vec<Point> {
        let mut points: Vec<HoldPoint> = step.hold_points.clone();
        let stung = self.state.stings.last().is_some_and(|x| {
            !self.state.signatures.iter().any(|y| y.signed.hold_point == HoldPoint::Scalp && y.seq > x.seq)
        });
        if stung && !points.contains(&HoldPoint::Scalp) {
            points.push(HoldPoint::Scalp);
        }
        points.into_iter().map(|p| self.point(p, step)).collect()
    }

    fn point(&self, point: HoldPoint, step: &Step) -> Point {
        let signature = self.state.signature(point, &step.code).filter(|x| {
            point != HoldPoint::Scalp
                || (self.now - x.recorded_at <= time::Duration::minutes(90)
                    && !self.state.stings.iter().any(|y| y.seq > x.seq))
        });
        let answer = signature.and_then(|x| x.signed.answer());
        let held = signature.map_or_else(String::new, |x| {
            let who = x.by.map_or_else(|| "this station".into(), |p| self.around.name(p.0));
            let what = answer.map_or("not known", |a| a.words);
            let place = x.signed.place.map(|p| format!(", {}", p.words())).unwrap_or_default();
            format!("{what}{place}; {who}, {}", self.clock(x.recorded_at))
        });
        Point {
            title: point.title(),
            question: point.question(),
            code: point.code(),
            fails: answer.is_some_and(|a| a.meaning != Meaning::Holds),
            held,
            values: point
                .answers()
                .iter()
                .map(|a| Value {
                    code: format!("{}:{}", point.code(), a.code),
                    words: a.words,
                    holds: a.meaning == Meaning::Holds,
                    asks_where: a.asks_where,
                })
                .collect(),
        }
    }

    fn bowl(&self, step: &Step) -> Option<Bowl> {
        let letter = step.application.filter(|_| step.hold_points.contains(&HoldPoint::Lot))?;
        if self.state.dispensed.iter().any(|d| d.application == letter) {
            return None;
        }
        let product = self.loaded.products.iter().find(|p| p.application.starts_with(letter))?;
        let lots: Vec<(String, String)> = self
            .around
            .lots
            .iter()
            .filter(|l| l.product_id == product.product_id && !l.withdrawn)
            .map(|l| (l.lot_id.to_string(), format!("lot {}, {:.0} g left", l.code, l.left_grams)))
            .collect();
        let title =
            self.loaded.frame.protocol.application(letter).map(|a| a.title.clone()).unwrap_or_default();
        Some(Bowl {
            application: letter,
            title,
            product: product.name.clone(),
            lots: Choice::list(lots.iter().map(|(a, b)| (a.as_str(), b.as_str())), &[]),
        })
    }

    fn curls(&self) -> Option<CurlPanel> {
        let reads = self.state.running().iter().any(|c| c.test_curl)
            || self.state.step_in_hand().is_some_and(|s| s.test_curl);
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
                ("first", "First rod", seen(Rod::First)),
                ("last", "Last rod", seen(Rod::Last)),
                ("weakest", "Weakest place", seen(Rod::Weakest)),
            ],
            readings: CurlReading::ALL.iter().map(|r| (r.code(), curl_words(*r))).collect(),
            fact: once::key(),
        })
    }

    fn stop_panel(&self) -> Option<StopPanel> {
        let stop = self.state.stop?;
        let mine = self.seat.person().is_some_and(|p| {
            p.role == crate::domain::access::Role::Manager || self.state.stylist == Some(p.id)
        });
        Some(StopPanel {
            at: self.clock(stop.at),
            aid: self.loaded.frame.protocol.stop_words.clone(),
            eye_wash: self.seat.salon_row.eye_wash_place.clone(),
            emergency: self.seat.salon_row.emergency_number.clone(),
            ask: !self.state.product_on() && self.state.ended.is_none(),
            whole: stop.read,
            may_close: mine
                && stop.read == Some(true)
                && !self.state.product_on()
                && self.state.ended.is_none(),
        })
    }

    fn taps(&self) -> Vec<Tap> {
        if self.state.ended.is_some() {
            return Vec::new();
        }
        self.loaded
            .events
            .iter()
            .rev()
            .filter_map(|e| {
                let id = e.fact_id?;
                let EventKind::Happened(happened) = &e.kind else { return None };
                if !happened.may_be_withdrawn() || self.state.withdrawn.contains_key(&id) {
                    return None;
                }
                let words = match happened {
                    Happened::SectionStarted { section, pass, .. } => {
                        format!("{} touched, pass {pass}", section.words())
                    }
                    Happened::SectionRinsed { section, clear, .. } => format!(
                        "{} {}",
                        section.map_or("whole head", Section::words),
                        if *clear { "rinsed clear" } else { "water on" }
                    ),
                    Happened::TestCurlRead { rod, reading } => {
                        format!("test curl, {} rod: {}", rod.code(), curl_words(*reading))
                    }
                    _ => return None,
                };
                Some(Tap { fact: id.to_string(), words, at: self.clock(e.happened_at) })
            })
            .take(6)
            .collect()
    }

    fn signed(&self) -> Vec<Row> {
        let by = |p: Option<crate::domain::ids::PersonId>| {
            p.map_or_else(|| "this station".into(), |p| self.around.name(p.0))
        };
        self.loaded
            .events
            .iter()
            .rev()
            .filter_map(|e| {
                let (what, holds) = match &e.kind {
                    EventKind::Granted(Granted::HoldPointSigned { signed, .. }) => (
                        format!(
                            "{}: {}",
                            signed.hold_point.title(),
                            signed.answer().map_or("not known", |a| a.words)
                        ),
                        if signed.holds() { "holds" } else { "does not hold" },
                    ),
                    EventKind::Granted(Granted::LotDispensed { application, grams, lot }) => {
                        let code = self
                            .around
                            .lots
                            .iter()
                            .find(|l| l.lot_id == lot.0)
                            .map_or("", |l| l.code.as_str());
                        (format!("{grams:.0} g for {application}, lot {code}"), "dispensed")
                    }
                    _ => return None,
                };
                Some(Row { at: self.clock(e.recorded_at), what, by: by(e.by), holds: holds.into() })
            })
            .take(40)
            .collect()
    }

    fn steps(&self) -> Vec<StepRow> {
        let hands = |s: &Step| match s.hands {
            crate::domain::protocol::Hands::Nobody => "nobody",
            crate::domain::protocol::Hands::Stylist => "stylist",
            crate::domain::protocol::Hands::Assistant => "assistant or stylist",
            crate::domain::protocol::Hands::Any => "anybody who treats hair",
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
                minutes: format!("about {}", step.minutes_typical),
                hands: hands(step),
                here: self.state.in_hand == Some(i),
                done: s.finished_at.is_some(),
            })
            .collect()
    }

    fn bar(&self, headline: &Headline) -> Bar {
        let id = self.loaded.run.run_id;
        let facts = format!("/runs/{id}/facts");
        let open = self.state.ended.is_none() && self.state.started_at.is_some();
        let chemical = open
            && (self.state.product_on()
                || self.state.hair_open()
                || self.state.step_in_hand().is_some_and(Step::is_chemical));
        let fact =
            |kind: &str| vec![("kind".to_string(), kind.to_string()), ("fact_id".to_string(), once::key())];
        Bar {
            main: if open { self.main_act(headline, id, &facts) } else { None },
            stings: chemical.then(|| Stings {
                action: facts.clone(),
                hidden: fact("sting_reported"),
                places: HeadPlace::ALL
                    .iter()
                    .map(|p| (p.code().to_string(), p.words().to_string()))
                    .collect(),
                words: "Believe it: rinse that place now, then read the scalp before anything more goes on."
                    .into(),
            }),
            stop: (open && self.state.stop.is_none()).then(|| Stop {
                action: facts.clone(),
                hidden: fact("stop_recorded"),
                aid: self.loaded.frame.protocol.stop_words.clone(),
            }),
            said: self.signing(),
        }
    }

    fn main_act(&self, headline: &Headline, id: i64, facts: &str) -> Option<MainAct> {
        let title = |code: &crate::domain::protocol::StepCode| {
            self.loaded.frame.protocol.step(code).map(|s| s.title.clone()).unwrap_or_default()
        };
        let permission = |path: &str, words: String, mut fields: Vec<(String, String)>| {
            fields.push(("once".into(), once::key()));
            fields.push(("known".into(), self.state.seq.to_string()));
            Some(MainAct {
                words,
                action: format!("/runs/{id}/{path}"),
                reach: Reach::Permission,
                hidden: fields,
            })
        };
        let pair = |a: &str, b: &str| (a.to_string(), b.to_string());
        let fact = |kind: &str, words: String, mut fields: Vec<(String, String)>| {
            fields.extend([pair("kind", kind), ("fact_id".to_string(), once::key())]);
            Some(MainAct {
                words,
                action: facts.to_string(),
                reach: Reach::Fact(kind.into()),
                hidden: fields,
            })
        };
        match &headline.act {
            NextAct::StartStep(code) => permission(
                "steps",
                format!("Start: {}", title(code)),
                vec![pair("step", code.as_str()), pair("do", "start")],
            ),
            NextAct::FinishStep(code) => permission(
                "steps",
                format!("Done: {}", title(code)),
                vec![pair("step", code.as_str()), pair("do", "finish")],
            ),
            NextAct::StartSection { step, section, pass } => fact(
                "section_started",
                format!("Touching {}", section.words()),
                vec![
                    pair("step", step.as_str()),
                    pair("section", section.code()),
                    ("pass".into(), pass.to_string()),
                ],
            ),
            NextAct::RinseSection { step, section } => fact(
                "section_rinsed",
                format!("{} runs clear", capital(section.words())),
                vec![pair("step", step.as_str()), pair("section", section.code()), pair("clear", "yes")],
            ),
            NextAct::RinseClear { step } => fact(
                "section_rinsed",
                "Whole head runs clear".into(),
                vec![pair("step", step.as_str()), pair("clear", "yes")],
            ),
            NextAct::FinishRun => {
                permission("endings", "End the service".into(), vec![pair("how", "finished")])
            }
            NextAct::CloseStop => {
                permission("endings", "End the stopped service".into(), vec![pair("how", "finished")])
            }
            NextAct::ReadCurl => link("Read the test curl", "#curls"),
            NextAct::ReadScalp => link("Read the scalp", "#pause"),
            NextAct::ReadStop => link("Look, then answer", "#stop"),
            NextAct::StartRun | NextAct::Nothing => None,
        }
    }
}

fn link(words: &str, href: &str) -> Option<MainAct> {
    Some(MainAct { words: words.into(), action: href.into(), reach: Reach::Link, hidden: Vec::new() })
}

fn capital(words: &str) -> String {
    let mut chars = words.chars();
    chars.next().map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}

fn pass_of(work: SectionWork) -> u8 {
    match work {
        SectionWork::Apply { pass } => pass,
        SectionWork::Smooth => 1,
        SectionWork::Rinse => 0,
    }
}

fn curl_words(reading: CurlReading) -> &'static str {
    match reading {
        CurlReading::None => "straight",
        CurlReading::C => "C",
        CurlReading::S => "firm S",
        CurlReading::Over => "over",
    }
}

/// The aftercare sheet.
#[derive(Template)]
#[template(path = "runs/aftercare.html")]
pub(super) struct AftercarePage {
    pub shell: Shell,
    pub name: String,
    pub lines: Vec<String>,
}
