//! A rehearsal: a protocol walked at the Run screen's own parts with a clock that jumps. Nothing is recorded: the
//! state is the number of acts in the address, and the rules of a run are folded over made-up instants.

use askama::Template;
use axum::extract::{Path, Query};
use serde::Deserialize;
use time::OffsetDateTime;

use super::around::Around;
use super::bowl::Picked;
use super::view::{Dial, Maker, StepRow};
use crate::calendar::Zone;
use crate::domain::access::Act;
use crate::domain::protocol::Protocol;
use crate::domain::run::headline::Headline;
use crate::domain::run::rehearsal::{ACTS_MOST, Rehearsal};
use crate::flow::protocols;
use crate::flow::runs::Loaded;
use crate::store::runs::Run;
use crate::web::page;
use crate::web::picture::head_map::HeadMap;
use crate::web::picture::mark::Drawing;
use crate::web::problem::{Answered, Problem};
use crate::web::seat::Seat;
use crate::web::shell::Shell;

/// Where the rehearsal stands; whatever is sent is taken into bounds.
#[derive(Default, Deserialize)]
#[serde(default)]
pub struct Where {
    /// `draft`, or what is in force.
    of: String,
    acts: String,
    /// When it began, seconds since 1970: clocks keep their place from page to page.
    from: String,
    /// The fast clock goes on by itself.
    fast: String,
}

/// A hold point of the step that waits, and its first answer.
struct PointLine {
    title: &'static str,
    question: &'static str,
    held: String,
}

#[derive(Template)]
#[template(path = "protocols/rehearsal.html")]
struct RehearsalPage {
    shell: Shell,
    code: String,
    /// "draft", "current".
    of: String,
    about: String,
    headline: Headline,
    next_line: String,
    pace: String,
    said: String,
    clock: String,
    dials: Vec<Dial>,
    rings: Vec<String>,
    state_class: &'static str,
    window: Option<Drawing>,
    head: Option<HeadMap>,
    readings: Vec<(&'static str, String, String)>,
    words: String,
    cautions: Vec<String>,
    pause_title: String,
    points: Vec<PointLine>,
    sheet: bool,
    steps: Vec<(StepRow, String)>,
    breaches: Vec<String>,
    stuck: Vec<String>,
    /// Addresses of the next act, the next step, the act before; empty for none.
    next: String,
    next_step: String,
    before: String,
    again: String,
    fast: bool,
    fast_toggle: String,
}

/// What is rehearsed, and as it is called.
async fn asked(seat: &Seat, code: &str, of: &str) -> Result<(Protocol, String, OffsetDateTime), Problem> {
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let found = if of == "draft" {
        let open = protocols::draft(&mut s, &seat.app, code).await?.ok_or(Problem::NotFound)?;
        (open.protocol, tr!("the draft, version {}", open.draft.version), now)
    } else {
        let service = protocols::service(&mut s, &seat.app, code).await?.ok_or(Problem::NotFound)?;
        (service.current, tr!("revision {}, in force", service.revision), now)
    };
    s.commit().await?;
    Ok(found)
}

/// A run that is none: numbers nobody has.
pub(super) fn loaded(walked: &Rehearsal, start: OffsetDateTime) -> Loaded {
    let p = &walked.frame.protocol;
    Loaded {
        run: Run {
            run_id: 0,
            client_id: 0,
            client_name: tr!("Nobody").into(),
            plan_id: 0,
            protocol: p.code.clone(),
            revision: i32::try_from(p.revision).unwrap_or(0),
            chair: String::new(),
            started_by: 0,
            started_at: start,
            ended_at: None,
            ended_how: None,
        },
        frame: walked.frame.clone(),
        events: walked.events.clone(),
        products: Vec::new(),
        now: walked.now,
    }
}

pub(super) fn around() -> Around {
    Around {
        names: vec![(0, "rehearsed".into())],
        may_answer: Vec::new(),
        stations: Vec::new(),
        station_names: Vec::new(),
        lots: Vec::new(),
        aftercare: false,
        hands: None,
        beyond: Vec::new(),
        picked: Picked::default(),
        written: Vec::new(),
        stands: false,
        practised: None,
    }
}

/// The rehearsal after so many acts.
pub async fn show(seat: Seat, Path(code): Path<String>, Query(q): Query<Where>) -> Answered {
    seat.require(Act::KeepProtocols)?;
    let of = if q.of == "draft" { "draft" } else { "current" };
    let (protocol, what, now) = asked(&seat, &code, of).await?;
    let acts = q.acts.parse().unwrap_or(0_usize).min(ACTS_MOST);
    // Half a century either way is more than a rehearsal needs, and every clock stays a clock.
    let near = |at: &OffsetDateTime| (*at - now).whole_days().abs() < 20_000;
    let from = q.from.parse().ok().and_then(|s| OffsetDateTime::from_unix_timestamp(s).ok()).filter(near);
    let start = from.unwrap_or(now).replace_nanosecond(0).map_err(|_| Problem::Broken)?;
    let protocol = protocol.spoken();
    let walked = Rehearsal::after(&protocol, start, acts);
    let at = Address { code: &code, of, start, fast: q.fast == "yes" };
    let run = loaded(&walked, start);
    let around = around();
    let zone = Zone::find(&seat.salon_row.zone).ok_or(Problem::Broken)?;
    let maker = Maker { seat: &seat, loaded: &run, around: &around, state: run.state(), zone, now: run.now };
    Ok(page::html(&maker.rehearsal(&walked, &at, what)))
}

/// Where the pages of one rehearsal are.
struct Address<'a> {
    code: &'a str,
    of: &'static str,
    start: OffsetDateTime,
    fast: bool,
}

impl Address<'_> {
    fn base(&self) -> String {
        format!("/protocols/{}/rehearsal", page::query_value(self.code))
    }

    fn with(&self, acts: usize, fast: bool) -> String {
        let fast = if fast { "&fast=yes" } else { "" };
        format!("{}?of={}&from={}&acts={acts}{fast}", self.base(), self.of, self.start.unix_timestamp())
    }

    fn after(&self, acts: usize) -> String {
        self.with(acts, self.fast)
    }

    fn hidden(&self, acts: usize) -> Vec<(String, String)> {
        let pair = |a: &str, b: String| (a.to_owned(), b);
        vec![
            pair("of", self.of.to_owned()),
            pair("from", self.start.unix_timestamp().to_string()),
            pair("acts", acts.to_string()),
        ]
    }
}

impl Maker<'_> {
    fn rehearsal(&self, walked: &Rehearsal, at: &Address<'_>, what: String) -> RehearsalPage {
        let (state, protocol) = (&self.state, &walked.frame.protocol);
        let headline = state.headline(self.now);
        let mut further = walked.clone();
        let more = further.act();
        // To where the next step has begun, or to the end.
        while further.begun.len() == walked.begun.len() && further.act() {}
        let step = state.step_in_hand();
        let pause = self.pause_step(&headline);
        let mut head = self.head();
        if let Some(map) = &mut head {
            // Any tap does the next act: a rehearsal goes the way the protocol goes.
            map.asks = true;
            map.action = at.base();
            map.fact = String::new();
            map.hidden = at.hidden(walked.acts + 1);
            map.heading = tr!("Head from above").into();
        }
        let turn = super::view::turn_words(state, protocol.steps.len());
        let jump = |i: usize| {
            let code = &protocol.steps[i].code;
            let acts = walked.begun.iter().find(|(c, _)| c == code).map(|(_, acts)| *acts);
            acts.map(|acts| at.after(acts)).unwrap_or_default()
        };
        let mut shell = self.seat.shell(self.now, "/protocols", &[]);
        // The made-up clock is the page's own: no news of the real one may set it.
        shell.live = false;
        RehearsalPage {
            shell,
            code: protocol.code.clone(),
            of: at.of.to_owned(),
            about: format!("{}, {what}{turn}", protocol.title),
            next_line: headline.next_line().unwrap_or_default(),
            pace: self.pace(headline.next.as_deref()),
            said: walked.said.clone(),
            clock: self.clock(self.now),
            dials: self.dials(),
            rings: self
                .rings()
                .into_iter()
                .map(|r| r.words.replace(&format!("{}: ", crate::words::of(tr!("Nobody"))), ""))
                .collect(),
            state_class: self.state_class(),
            window: self.window_picture(),
            head,
            readings: self.readings(),
            words: step.or_else(|| state.next_step()).map(|s| s.words.clone()).unwrap_or_default(),
            cautions: self.cautions(),
            pause_title: pause.map(|s| s.title.clone()).unwrap_or_default(),
            points: pause
                .map(|s| self.points(s))
                .unwrap_or_default()
                .into_iter()
                .map(|p| PointLine { title: p.title, question: p.question, held: p.held })
                .collect(),
            sheet: !walked.frame.sheet.is_empty(),
            steps: self.steps().into_iter().enumerate().map(|(i, row)| (row, jump(i))).collect(),
            breaches: state
                .breaches(self.now)
                .iter()
                .map(|b| b.words(&walked.frame.protocol, &|i| self.clock(i)))
                .collect(),
            stuck: further.stuck.iter().filter(|_| !more).map(|r| r.words(&|i| self.clock(i))).collect(),
            next: if more { at.after(walked.acts + 1) } else { String::new() },
            next_step: if more && further.acts > walked.acts + 1 {
                at.after(further.acts)
            } else {
                String::new()
            },
            before: if walked.acts > 0 { at.after(walked.acts - 1) } else { String::new() },
            again: at.with(0, false),
            fast: at.fast,
            fast_toggle: at.with(walked.acts, !at.fast),
            headline,
        }
    }
}
