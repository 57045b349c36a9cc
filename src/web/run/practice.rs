//! A practice: a whole service at the Run screen's own parts, on a head of yarn. Nothing is recorded: what was done
//! stands in the address, and the rules of a run are folded over it anew for each page.

use askama::Template;
use axum::extract::{Path, Query};
use axum::response::Response;
use axum_extra::extract::Form;
use serde::Deserialize;
use time::{Duration, OffsetDateTime};

use super::acts::{EndForm, LotForm, ReasonForm, SignForm, StepForm, StopReading, TakeBackForm};
use super::around::Around;
use super::bowl::Picked;
use super::facts::FactForm;
use super::refused::{Said, said};
use super::rehearsal;
use super::view::RunPage;
use crate::calendar::Zone;
use crate::domain::access::Act;
use crate::domain::lot::Verdict;
use crate::domain::protocol::{Kind, Protocol};
use crate::domain::run::Command;
use crate::domain::run::practice::{self, SECONDS_MOST};
use crate::domain::run::rehearsal::Rehearsal;
use crate::flow::runs::{Loaded, Refused};
use crate::flow::{protocols, services};
use crate::store::StoreError;
use crate::store::run_frames::{LotRow, PlanProduct};
use crate::store::runs;
use crate::web::form::Reason;
use crate::web::page;
use crate::web::problem::{Answered, Problem};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::shell::Shell;

/// The routes of a practice. An act answers with the address of what is then; no line of these writes a row.
pub const LINES: &[Line] = lines![
    get "/practice" Open::To(Act::StartStep) => list,
    get "/practice/{code}" Open::To(Act::StartStep) => show,
    post "/practice/{code}/facts" Open::To(Act::StartStep) => record,
    post "/practice/{code}/sign-offs" Open::To(Act::StartStep) => sign,
    post "/practice/{code}/lots" Open::To(Act::StartStep) => dispense,
    post "/practice/{code}/steps" Open::To(Act::StartStep) => step,
    post "/practice/{code}/takings-back" Open::To(Act::StartStep) => take_back,
    post "/practice/{code}/stop-readings" Open::To(Act::StartStep) => read_stop,
    post "/practice/{code}/stop-closings" Open::To(Act::StartStep) => close_stop,
    post "/practice/{code}/endings" Open::To(Act::StartStep) => end,
];

/// Grams in a made-up lot: more than any bowl takes.
const GRAMS: f64 = 1000.0;

/// Where a practice stands; whatever is sent is taken into bounds.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Where {
    /// When it began, seconds since 1970.
    from: String,
    /// Seconds by which its clock was put on.
    ahead: String,
    /// What was done.
    did: String,
}

/// What the Run screen shows of a practice, and where its pages are.
#[derive(Clone)]
pub(super) struct Practised {
    pub(super) base: String,
    /// What goes after the path of an act.
    pub(super) tail: String,
    /// The same as fields of a form that asks.
    pub(super) hidden: Vec<(&'static str, String)>,
    /// The address of this page.
    pub(super) here: String,
    pub(super) clock: String,
    /// Some of its times are stand-ins for a product sheet's.
    pub(super) sheet: bool,
    /// The address told more than the rules allow.
    pub(super) lost: bool,
    /// A real service is under way, and its bells do not ring on this page.
    pub(super) under_way: bool,
    /// When the next bell rings, milliseconds since 1970 by the practice's own clock; empty for none.
    pub(super) bell_ms: String,
    /// Words and address of each way to put the clock on.
    pub(super) jumps: Vec<(String, String)>,
    /// Without the last act; empty before the first.
    pub(super) back: String,
    pub(super) again: String,
}

/// A practice as its address tells it.
struct Practice {
    code: String,
    start: OffsetDateTime,
    ahead: i64,
    acts: Vec<practice::Practised>,
    walked: Rehearsal,
    now: OffsetDateTime,
    lost: bool,
    /// A real service is under way in the salon.
    under_way: bool,
}

/// The service that is practised, in the language of who practises; only what the salon offers.
async fn asked(seat: &Seat, code: &str) -> Result<(Protocol, OffsetDateTime, bool), Problem> {
    seat.require(Act::StartStep)?;
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let found = protocols::service(&mut s, &seat.app, code).await?;
    let real = !runs::list_open(&mut s).await?.is_empty();
    s.commit().await?;
    let service = found.filter(|f| !f.retired && f.current.kind == Kind::Service).ok_or(Problem::NotFound)?;
    Ok((service.current.spoken(), now, real))
}

impl Practice {
    async fn load(seat: &Seat, code: &str, at: &Where) -> Result<Practice, Problem> {
        let (protocol, real, under_way) = asked(seat, code).await?;
        let real = real.replace_nanosecond(0).map_err(|_| Problem::Broken)?;
        let most = i64::from(SECONDS_MOST);
        let from = at.from.parse().ok().and_then(|s| OffsetDateTime::from_unix_timestamp(s).ok());
        // One that began longer ago than a practice lasts begins anew.
        let near = |start: &OffsetDateTime| (0..=most).contains(&(real - *start).whole_seconds());
        let known = from.filter(near);
        let start = known.unwrap_or(real);
        let told = if known.is_some() { at.did.as_str() } else { "" };
        let read = practice::read(told, &protocol);
        let acts = read.clone().unwrap_or_default();
        let (mut walked, taken) = practice::after(&protocol, start, &acts);
        let lost = read.is_none() || taken < acts.len();
        let acts = acts.into_iter().take(taken).collect();
        let ahead = at.ahead.parse().unwrap_or(0_i64);
        let ahead = if known.is_some() { ahead.clamp(0, most) } else { 0 };
        let limit = start + Duration::seconds(most);
        // Never before what was done last.
        let now = (real + Duration::seconds(ahead)).min(limit).max(walked.now);
        walked.now = now;
        Ok(Practice { code: code.to_owned(), start, ahead, acts, walked, now, lost, under_way })
    }

    fn base(&self) -> String {
        format!("/practice/{}", page::query_value(&self.code))
    }

    fn did(&self, acts: usize) -> String {
        practice::write(&self.acts[..acts.min(self.acts.len())], &self.walked.frame.protocol)
            .unwrap_or_default()
    }

    fn tail(&self, acts: usize, ahead: i64) -> String {
        let did = self.did(acts);
        let did = if did.is_empty() { String::new() } else { format!("&did={did}") };
        format!("?from={}&ahead={ahead}{did}", self.start.unix_timestamp())
    }

    fn here(&self) -> String {
        format!("{}{}", self.base(), self.tail(self.acts.len(), self.ahead))
    }

    /// Does one thing more, now.
    fn act(&mut self, command: Command) -> Result<(), Refused> {
        let at_s = (self.now - self.start).whole_seconds();
        let command = practice::numbered(command, self.acts.len(), self.now);
        let act = practice::Practised { at_s: u32::try_from(at_s).unwrap_or(SECONDS_MOST), command };
        self.walked.command(&act.command).map_err(Refused::Reasons)?;
        self.acts.push(act);
        Ok(())
    }

    /// Ways to put the clock on: to what is next, and by the minute.
    fn jumps(&self) -> Vec<(String, String)> {
        let state = self.walked.state();
        if state.ended.is_some() {
            return Vec::new();
        }
        let to = |seconds: i64| {
            let ahead = (self.ahead + seconds).min(i64::from(SECONDS_MOST));
            format!("{}{}", self.base(), self.tail(self.acts.len(), ahead))
        };
        let away = |at: OffsetDateTime| (at - self.now).whole_seconds() + 1;
        let reading = |seconds: i64| format!("{}:{:02}", seconds / 60, seconds % 60);
        let bell = state.next_bell(self.now).map(|bell| away(bell.at)).filter(|s| *s > 0);
        let done = self.walked.done_at().map(away).filter(|s| *s > 0);
        let bell = bell.map(|s| (tr!("On to the next bell, in {}", reading(s)), to(s)));
        let done = done.map(|s| (tr!("On until the step has taken its time, in {}", reading(s)), to(s)));
        let by = [(tr!("Two minutes on").to_owned(), to(120)), (tr!("Ten minutes on").to_owned(), to(600))];
        by.into_iter().chain(bell).chain(done).collect()
    }

    fn practised(&self, zone: &Zone) -> Practised {
        let tail = self.tail(self.acts.len(), self.ahead);
        let bell = self.walked.state().next_bell(self.now);
        let back =
            self.acts.len().checked_sub(1).map(|n| format!("{}{}", self.base(), self.tail(n, self.ahead)));
        Practised {
            base: self.base(),
            tail,
            hidden: vec![
                ("from", self.start.unix_timestamp().to_string()),
                ("ahead", self.ahead.to_string()),
                ("did", self.did(self.acts.len())),
            ],
            here: self.here(),
            clock: zone.clock(self.now),
            sheet: !self.walked.frame.sheet.is_empty(),
            lost: self.lost,
            under_way: self.under_way,
            bell_ms: bell.map(|b| super::view::ms(b.at).to_string()).unwrap_or_default(),
            jumps: self.jumps(),
            back: back.unwrap_or_default(),
            again: self.base(),
        }
    }

    /// A run that is none, of a client who is nobody.
    fn loaded(&self) -> Loaded {
        let mut run = rehearsal::loaded(&self.walked, self.start);
        run.run.client_name = tr!("Head of yarn").into();
        run.run.chair = tr!("practice place").into();
        // Bells are told apart by the run: each practice has its own.
        run.run.run_id = -self.start.unix_timestamp();
        run.products = self.products();
        run
    }

    fn products(&self) -> Vec<PlanProduct> {
        let title = |letter: char| {
            let application = self.walked.frame.protocol.application(letter);
            application.map(|a| a.title.clone()).unwrap_or_default()
        };
        let one = |p: &crate::domain::run::holds::FrameProduct| PlanProduct {
            application: p.application.to_string(),
            product_id: p.product.0,
            name: tr!("A practice product for “{}”", title(p.application)),
            family: p.family.code().to_owned(),
            strength: p.strength.clone(),
            skin_test: String::new(),
            strand_test_asked: false,
            sheet_forbids_closing_after_stop: false,
        };
        self.walked.frame.products.iter().map(one).collect()
    }

    /// One made-up lot of each product, under the number its stand-in has.
    fn around(&self, seat: &Seat, zone: &Zone, picked: Picked) -> Around {
        let lot = |p: PlanProduct| LotRow {
            lot_id: p.product_id,
            product_id: p.product_id,
            code: format!("YARN-{}", p.application),
            best_before: None,
            opened_on: None,
            opened_life_days: None,
            withdrawn: false,
            quarantined: false,
            law_verdict: Verdict::Within.code().into(),
            contents: None,
            ph: None,
            gtin: None,
            product: p.name,
            received_grams: GRAMS,
            left_grams: GRAMS,
        };
        let name = seat.person().map(|p| p.name.clone()).unwrap_or_default();
        Around {
            names: vec![(0, name)],
            station_names: vec![(0, tr!("practice place").into())],
            lots: self.products().into_iter().map(lot).collect(),
            picked,
            stands: true,
            practised: Some(self.practised(zone)),
            ..rehearsal::around()
        }
    }

    fn page(&self, seat: &Seat, picked: Picked, said: Option<Said>) -> Result<Response, Problem> {
        let zone = Zone::find(&seat.salon_row.zone).ok_or(Problem::Broken)?;
        let loaded = self.loaded();
        let around = self.around(seat, &zone, picked);
        let status = said.as_ref().map_or(axum::http::StatusCode::OK, |s| s.status);
        let mut response = page::html(&RunPage::new(seat, &loaded, around, said));
        *response.status_mut() = status;
        Ok(response)
    }
}

/// The practice as its address tells it; without one it begins.
pub async fn show(
    seat: Seat,
    Path(code): Path<String>,
    Query(at): Query<Where>,
    Query(picked): Query<Picked>,
) -> Answered {
    Practice::load(&seat, &code, &at).await?.page(&seat, picked, None)
}

/// Does commands, all or none, and shows what is then, or why not.
async fn act(
    seat: &Seat,
    code: &str,
    at: &Where,
    commands: impl FnOnce(OffsetDateTime) -> Result<Vec<Command>, Problem>,
    picked: Picked,
) -> Answered {
    let mut practice = Practice::load(seat, code, at).await?;
    let commands = commands(practice.now)?;
    let before = practice.acts.len();
    for command in commands {
        if let Err(refused) = practice.act(command) {
            let mut said = said(refused, seat)?;
            if practice.acts.len() > before {
                // What was done of it before the refusal was never in the address.
                practice = Practice::load(seat, code, at).await?;
            }
            said.heading = tr!("Not yet");
            return practice.page(seat, picked, Some(said));
        }
    }
    if practice::write(&practice.acts, &practice.walked.frame.protocol).is_none() {
        let practice = Practice::load(seat, code, at).await?;
        let full = tr!("A practice takes no more acts than this: begin it again.");
        let reasons = vec![Reason::plain(full)];
        let status = axum::http::StatusCode::UNPROCESSABLE_ENTITY;
        return practice.page(seat, picked, Some(Said { heading: tr!("Not yet"), reasons, status }));
    }
    Ok(page::see(&practice.here()))
}

/// A fact of the service: happens now, by the practice's clock.
pub async fn record(
    seat: Seat,
    Path(code): Path<String>,
    Query(at): Query<Where>,
    Form(f): Form<FactForm>,
) -> Answered {
    let fact = |now| f.read(now).map(|fact| vec![Command::Record(fact)]).map_err(Problem::Bad);
    act(&seat, &code, &at, fact, Picked::default()).await
}

/// Hold points.
pub async fn sign(
    seat: Seat,
    Path(code): Path<String>,
    Query(at): Query<Where>,
    Form(f): Form<SignForm>,
) -> Answered {
    let commands = |_| match f.commands()? {
        none if none.is_empty() => Err(Problem::Bad(tr!("Choose what was seen, then sign.").into())),
        some => Ok(some),
    };
    act(&seat, &code, &at, commands, Picked::default()).await
}

/// Made-up lots into the bowl.
pub async fn dispense(
    seat: Seat,
    Path(code): Path<String>,
    Query(at): Query<Where>,
    Form(f): Form<LotForm>,
) -> Answered {
    act(&seat, &code, &at, |_| Ok(f.commands()), f.picked()).await
}

/// A step begun or finished.
pub async fn step(
    seat: Seat,
    Path(code): Path<String>,
    Query(at): Query<Where>,
    Form(f): Form<StepForm>,
) -> Answered {
    act(&seat, &code, &at, |_| Ok(vec![f.command()]), Picked::default()).await
}

/// A wrong tap of a permission taken back.
pub async fn take_back(
    seat: Seat,
    Path(code): Path<String>,
    Query(at): Query<Where>,
    Form(f): Form<TakeBackForm>,
) -> Answered {
    act(&seat, &code, &at, |_| Ok(vec![f.command()]), Picked::default()).await
}

/// The answer after a stop.
pub async fn read_stop(
    seat: Seat,
    Path(code): Path<String>,
    Query(at): Query<Where>,
    Form(f): Form<StopReading>,
) -> Answered {
    let command = f.command();
    act(&seat, &code, &at, |_| Ok(vec![command]), Picked::default()).await
}

/// The end of a stop.
pub async fn close_stop(
    seat: Seat,
    Path(code): Path<String>,
    Query(at): Query<Where>,
    Form(f): Form<ReasonForm>,
) -> Answered {
    let command = Command::CloseStop { reason: f.reason.clone() };
    act(&seat, &code, &at, |_| Ok(vec![command]), Picked::default()).await
}

/// The end of the service.
pub async fn end(
    seat: Seat,
    Path(code): Path<String>,
    Query(at): Query<Where>,
    Form(f): Form<EndForm>,
) -> Answered {
    act(&seat, &code, &at, |_| Ok(vec![f.command()]), Picked::default()).await
}

#[derive(Template)]
#[template(path = "runs/practice_list.html")]
struct ListPage {
    shell: Shell,
    /// Address and title of each.
    services: Vec<(String, String)>,
}

/// What can be practised.
pub async fn list(seat: Seat) -> Answered {
    seat.require(Act::StartStep)?;
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let all = services::Services::load(&mut s, &seat.app.reference).await?;
    let mut offered = Vec::new();
    for (code, title) in all.offered() {
        let found = match protocols::in_force(&mut s, &seat.app, code).await {
            // One that cannot be read cannot be practised; where it is needed for a service it is said so.
            Err(StoreError::Corrupt(..)) => None,
            other => other?,
        };
        if found.is_some_and(|p| p.kind == Kind::Service) {
            offered.push((format!("/practice/{}", page::query_value(code)), title.to_owned()));
        }
    }
    s.commit().await?;
    Ok(page::html(&ListPage { shell: seat.shell(now, "/practice", &[]), services: offered }))
}
