//! The start of a planned service, and why it is not started, in words.

use axum_extra::extract::Form;
use serde::Deserialize;

use crate::domain::access::Act;
use crate::domain::ids::PlanId;
use crate::flow::plans::{self as flow, NotStarted};
use crate::flow::runs::{Hand, Refused};
use crate::store::clients::Client;
use crate::web::clients::zone;
use crate::web::form::{Errors, Reason};
use crate::web::plans::{Again, find_plan, plan_page, reason};
use crate::web::problem::{Answered, Problem};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::{once, page, typed};

/// The route of this act.
pub const LINES: &[Line] = lines![
    post "/runs" Open::To(Act::StartRun) => start,
];

/// A start as typed.
#[derive(Deserialize, Default)]
#[serde(default)]
pub struct TypedStart {
    once: String,
    plan: String,
    chair: String,
}

/// Starts the service of a plan.
pub async fn start(seat: Seat, Form(f): Form<TypedStart>) -> Answered {
    let person = seat.require(Act::StartRun)?.clone();
    let mut s = seat.begin().await?;
    if let Some(again) = once::claim(&mut s, &f.once, "/runs").await? {
        return Ok(again);
    }
    let (plan, client) = find_plan(&mut s, &f.plan).await?;
    let mut errors = Errors::none();
    let chair = typed::needed(&mut errors, "chair", &f.chair, 60, tr!("Choose the chair."));
    if !errors.is_empty() {
        let again = Again { errors, ..Again::default() };
        return Ok(page::refused(&plan_page(&mut s, &seat, &plan, &client, again).await?));
    }
    let hand = Hand { person: Some(&person), station: seat.station_id(), session: seat.session_id };
    match flow::start_service(&mut s, &seat.app, PlanId(plan.plan_id), &chair, hand).await {
        Ok(run) => {
            let answer = once::settle(&mut s, &f.once, &format!("/runs/{run}")).await?;
            s.commit().await?;
            Ok(answer)
        }
        Err(refused) => {
            drop(s);
            let reasons = refused_reasons(refused, &seat, &client)?;
            let mut s = seat.begin().await?;
            let (plan, client) = find_plan(&mut s, &f.plan).await?;
            let again = Again { reasons, chair: f.chair, ..Again::default() };
            Ok(page::refused(&plan_page(&mut s, &seat, &plan, &client, again).await?))
        }
    }
}

pub(super) fn refused_reasons(
    refused: NotStarted,
    seat: &Seat,
    client: &Client,
) -> Result<Vec<Reason>, Problem> {
    let zone = zone(seat)?;
    Ok(match refused {
        NotStarted::NotFound | NotStarted::Run(Refused::NotFound) => return Err(Problem::NotFound),
        NotStarted::Store(e) | NotStarted::Run(Refused::Store(e)) => match e {
            crate::store::StoreError::Refused { rule, .. } if rule == "run_one_open_a_client" => {
                vec![Reason::with_way(
                    tr!("A service of this client is under way already."),
                    tr!("Look at the Floor"),
                    "/floor",
                )]
            }
            crate::store::StoreError::Refused { rule, .. } if rule == "run_one_a_plan" => {
                vec![Reason::plain(tr!("A service was started from this plan already."))]
            }
            crate::store::StoreError::Refused { rule, .. } if rule == "run_step_sheet_entered" => {
                vec![Reason::with_way(
                    tr!("A time that must come from the product's sheet is not entered."),
                    tr!("Enter it on the Shelf"),
                    "/shelf",
                )]
            }
            crate::store::StoreError::Refused { rule, .. } if rule.starts_with("product:") => {
                vec![Reason::plain(tr!(
                    "A product of this plan is not what the service asks for: choose another."
                ))]
            }
            other => return Err(other.into()),
        },
        NotStarted::Against(against) => {
            against.into_iter().map(|(words, way)| reason(words, &way, client)).collect()
        }
        NotStarted::Run(Refused::Stale(what)) => vec![Reason::plain(what)],
        NotStarted::Run(Refused::Guard(rule)) => vec![Reason::plain(guard_words(&rule))],
        NotStarted::Run(Refused::Reasons(reasons)) => reasons
            .iter()
            .map(|r| Reason {
                words: r.words(&|at| zone.clock(at)),
                way: r.way_out().into(),
                href: String::new(),
            })
            .collect(),
    })
}

/// What the database's own guard says, in words.
fn guard_words(rule: &str) -> String {
    match rule {
        "plan:not-clear" => tr!("This plan is not clear: nothing is started from it.").into(),
        "plan:other" => tr!("This plan is another client's or another service's.").into(),
        "person:role" => tr!("A stylist or the manager starts a service.").into(),
        "person:not-qualified" => tr!("This asks for a qualification.").into(),
        other => tr!("The record does not allow it ({other}).", other = other),
    }
}
