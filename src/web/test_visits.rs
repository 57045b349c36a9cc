//! Test visits of a client: which test, where, begun at once; or an opening for it.

use askama::Template;
use axum::extract::Path;
use axum_extra::extract::Form;
use serde::Deserialize;

use crate::domain::access::Act;
use crate::domain::ids::ClientId;
use crate::domain::protocol::{Kind, Protocol, TestKind};
use crate::flow::runs::Hand;
use crate::flow::test_visits::{self as flow, test_of};
use crate::store::clients::Client;
use crate::store::runs;
use crate::store::{Scoped, stations};
use crate::web::clients::{client_id, find, tabs};
use crate::web::form::{Choice, Errors, Reason};
use crate::web::plan_start::refused_reasons;
use crate::web::plans::chairs;
use crate::web::problem::{Answered, Problem};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::shell::{ClientTabs, Shell};
use crate::web::{once, page, typed};

/// The routes of this screen.
pub const LINES: &[Line] = lines![
    get "/clients/{id}/test-visits" Open::To(Act::SeeClients) => choose,
    post "/clients/{id}/test-visits" Open::To(Act::StartRun) => start,
];

/// A start as typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Typed {
    once: String,
    visit: String,
    chair: String,
}

/// One test visit to choose.
struct Visit {
    code: String,
    title: String,
    /// Where a finding of a plan leads: the test's own code.
    test: &'static str,
    about: &'static str,
    minutes: u32,
    /// The address of its openings, empty for who does not book.
    book: String,
}

#[derive(Template)]
#[template(path = "test_visits/choose.html")]
struct ChoosePage {
    shell: Shell,
    tabs: ClientTabs,
    errors: Errors,
    reasons: Vec<Reason>,
    action: String,
    once_key: String,
    visits: Vec<Visit>,
    chairs: Vec<Choice>,
    may_start: bool,
    /// The service or visit of this client that is under way; empty for none.
    under_way: String,
    /// The address of the client's tests, empty for who sees none.
    tests: String,
}

/// What a test visit finds out (trade-rules.md: common practice).
fn about(test: TestKind) -> &'static str {
    match test {
        TestKind::PatchTest => {
            tr!("Each product of the planned service on skin, 48 hours or more before it; read in the chair.")
        }
        TestKind::StrandTest => {
            tr!(
                "Strands taken through the service, from the worst place and a sound one. Nothing goes on the head."
            )
        }
        TestKind::MetallicSaltTest => {
            tr!("Cut strands in peroxide and ammonia, 30 minutes, looked at again at 24 hours.")
        }
    }
}

fn visit(seat: &Seat, client: &Client, protocol: &Protocol) -> Option<Visit> {
    let test = test_of(protocol)?;
    let service = page::query_value(&protocol.code);
    let bookable = seat.may(Act::Book);
    Some(Visit {
        title: crate::words::of(&protocol.title).to_owned(),
        test: test.code(),
        about: about(test),
        minutes: protocol.steps.iter().map(|s| u32::from(s.minutes_typical)).sum(),
        book: if bookable {
            format!("/openings?client={}&protocol={service}", client.client_id)
        } else {
            String::new()
        },
        code: protocol.code.clone(),
    })
}

async fn choose_page(
    s: &mut Scoped,
    seat: &Seat,
    client: &Client,
    f: &Typed,
    (errors, reasons): (Errors, Vec<Reason>),
) -> Result<ChoosePage, Problem> {
    let now = s.now().await?;
    let base = format!("/clients/{}", client.client_id);
    let stations = stations::list(s).await?;
    let open = runs::list_by_client(s, client.id()).await?.into_iter().find(|r| r.ended_at.is_none());
    let visits = flow::list_test_visits(s, &seat.app).await?;
    let under_way = open.map(|r| format!("/runs/{}", r.run_id)).unwrap_or_default();
    Ok(ChoosePage {
        shell: seat.shell(now, "/clients", &[&format!("client:{}", client.client_id)]),
        tabs: tabs(seat, client, "test-visits"),
        errors,
        reasons,
        action: format!("{base}/test-visits"),
        once_key: once::key(),
        visits: visits.iter().filter_map(|(_, p)| visit(seat, client, p)).collect(),
        chairs: chairs(&stations, seat, &f.chair),
        may_start: seat.may(Act::StartRun) && under_way.is_empty(),
        under_way,
        tests: if seat.may(Act::SeeHealth) { format!("{base}/tests") } else { String::new() },
    })
}

/// The visits to choose from.
pub async fn choose(seat: Seat, Path(id): Path<String>) -> Answered {
    seat.require(Act::SeeClients)?;
    let mut s = seat.begin().await?;
    let client = find(&mut s, client_id(&id)?).await?;
    let none = (Errors::none(), Vec::new());
    let shown = choose_page(&mut s, &seat, &client, &Typed::default(), none).await?;
    s.commit().await?;
    Ok(page::html(&shown))
}

/// Starts one.
pub async fn start(seat: Seat, Path(id): Path<String>, Form(f): Form<Typed>) -> Answered {
    let person = seat.require(Act::StartRun)?.clone();
    let id = client_id(&id)?;
    let mut s = seat.begin().await?;
    if let Some(again) = once::claim(&mut s, &f.once, &format!("/clients/{id}/test-visits")).await? {
        return Ok(again);
    }
    let client = find(&mut s, id).await?;
    let mut errors = Errors::none();
    let chair = typed::needed(&mut errors, "chair", &f.chair, 60, tr!("Choose the chair."));
    let visits = flow::list_test_visits(&mut s, &seat.app).await?;
    if !visits.iter().any(|(r, _)| r.protocol == f.visit) {
        errors.note("visit", tr!("Choose which test it is."));
    }
    if !errors.is_empty() {
        return Ok(page::refused(&choose_page(&mut s, &seat, &client, &f, (errors, Vec::new())).await?));
    }
    let hand = Hand { person: Some(&person), station: seat.station_id(), session: seat.session_id };
    match flow::start_test_visit(&mut s, &seat.app, &client, &f.visit, &chair, hand).await {
        Ok(run) => {
            let answer = once::settle(&mut s, &f.once, &format!("/runs/{run}")).await?;
            s.commit().await?;
            Ok(answer)
        }
        Err(refused) => {
            drop(s);
            let reasons = refused_reasons(refused, &seat, &client)?;
            let mut s = seat.begin().await?;
            let client = find(&mut s, id).await?;
            let shown = choose_page(&mut s, &seat, &client, &f, (Errors::none(), reasons)).await?;
            Ok(page::refused(&shown))
        }
    }
}

/// The test visit of this client that is under way, or the service whose protocol puts a test on record: its run and
/// title. From there somebody came to write the test down, and goes back.
pub async fn under_way(
    s: &mut Scoped,
    seat: &Seat,
    client: ClientId,
) -> Result<Option<(i64, String)>, Problem> {
    let Some(run) = runs::list_by_client(s, client).await?.into_iter().find(|r| r.ended_at.is_none()) else {
        return Ok(None);
    };
    let protocol = crate::flow::runs::protocol(s, &seat.app, &run.protocol, run.revision).await?;
    let visit = protocol.filter(|p| p.kind == Kind::TestVisit || test_of(p).is_some());
    Ok(visit.map(|p| (run.run_id, format!("{}, {}", p.title, run.chair))))
}
