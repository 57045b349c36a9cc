//! After a stop whose product sheet forbids closing, and facts that come when a service has ended.

use rinsebell::domain::ids::RunId;
use rinsebell::domain::protocol::HoldPoint;
use rinsebell::domain::run::{Command, Happened, Refusal, Signed};
use rinsebell::flow::runs::Refused;

use crate::support::{Salon, Walked, start, steps_until, walked_until};

fn rinsed() -> Happened {
    Happened::SectionRinsed { step: "rinse-straightener".into(), section: None, clear: true }
}

/// Stopped after the first pass, rinsed, skin read whole, gloves and eyes answered for the neutraliser.
async fn stopped(salon: &Salon, forbids: bool) -> RunId {
    let stage = salon.stage().await;
    let who = salon.staff.stylist;
    if forbids {
        sqlx::query("update product set sheet_forbids_closing_after_stop = true where product_id = $1")
            .bind(stage.straightener.0)
            .execute(&salon.owner)
            .await
            .unwrap();
    }
    let run = salon.start_run(stage.plan, who).await.unwrap();
    steps_until(salon, &stage, run, who, "apply-1").await;
    salon.fact(run, 900, Happened::StopRecorded).await.unwrap();
    salon.fact(run, 901, rinsed()).await.unwrap();
    salon.act(run, who, Command::ReadStop { whole: true, early: true }).await.unwrap();
    for hold_point in [HoldPoint::Gloves, HoldPoint::EyeProtection] {
        let signed = Signed { hold_point, value: hold_point.answers()[0].code.into(), place: None };
        salon.act(run, who, Command::SignHoldPoint { step: "neutralise".into(), signed }).await.unwrap();
    }
    run
}

async fn guard_says(salon: &Salon, run: RunId) -> Option<String> {
    sqlx::query_scalar(
        "select rinsebell_closing_refused(r, st) from run r join run_step st using (salon_id, run_id)
         where r.run_id = $1 and st.code = 'neutralise'",
    )
    .bind(run.0)
    .fetch_one(&salon.owner)
    .await
    .unwrap()
}

#[tokio::test]
async fn after_a_stop_hair_is_closed_unless_the_sheet_forbids_it() {
    let salon = Salon::open().await;
    let run = stopped(&salon, false).await;
    assert_eq!(guard_says(&salon, run).await, None);
    salon.act(run, salon.staff.stylist, start("neutralise")).await.expect("closing is offered");
}

#[tokio::test]
async fn where_the_sheet_forbids_closing_water_and_help_remain_and_a_stylist_signs() {
    let salon = Salon::open().await;
    let run = stopped(&salon, true).await;
    let who = salon.staff.stylist;
    let Err(Refused::Reasons(why)) = salon.act(run, who, start("neutralise")).await else {
        panic!("the sheet forbids it")
    };
    assert_eq!(why, [Refusal::SheetForbidsClosing]);
    assert_eq!(guard_says(&salon, run).await.as_deref(), Some("closing:forbidden-by-sheet"));
    let mut chair = salon.seat("Chair 2", "chair", who).await;
    let page = chair.get(&format!("/runs/{run}")).await;
    assert!(page.body.contains("the product sheet forbids closing the hair"), "{}", page.body);
    assert!(page.body.contains("End the stopped service") && !page.body.contains("Start: Neutralise"));
    // Rinsing goes on, and what was done without contact is kept.
    salon.fact(run, 902, rinsed()).await.unwrap();
    let Err(Refused::Reasons(why)) = salon.act(run, salon.staff.assistant, Command::FinishRun).await else {
        panic!("a stylist signs")
    };
    assert!(matches!(why.as_slice(), [Refusal::RoleMissing { .. }]), "{why:?}");
    salon.act(run, who, Command::FinishRun).await.expect("signed by a stylist");
}

#[tokio::test]
async fn what_was_kept_at_a_station_reaches_the_strand_after_the_end() {
    let Walked { salon, run, who, .. } = walked_until("apply-1").await;
    let leave = Command::LeaveRun { rinsed: true, reason: "called away".into() };
    salon.act(run, who, leave).await.unwrap();
    let strand = async || -> Vec<String> {
        sqlx::query_scalar(
            "select coalesce(family, mm::text) from strand_event where run_id = $1 order by seq",
        )
        .bind(run.0)
        .fetch_all(&salon.owner)
        .await
        .unwrap()
    };
    assert_eq!(strand().await, ["thio"]);
    let closing = || Happened::ClosingStarted { step: "neutralise".into(), answers: Vec::new() };
    salon.fact(run, 950, closing()).await.unwrap();
    salon.fact(run, 950, closing()).await.unwrap();
    salon.fact(run, 951, Happened::Trimmed { mm: 12.0 }).await.unwrap();
    salon.fact(run, 952, rinsed()).await.unwrap();
    assert_eq!(strand().await, ["thio", "peroxide-neutraliser", "12"]);
}

#[tokio::test]
async fn a_record_of_thousands_is_read_to_its_end() {
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    let run = salon.start_run(stage.plan, salon.staff.stylist).await.unwrap();
    let first: i64 = sqlx::query_scalar("select max(seq)::bigint from run_event where run_id = $1")
        .bind(run.0)
        .fetch_one(&salon.owner)
        .await
        .unwrap();
    sqlx::query(
        "insert into run_event (salon_id, run_id, seq, happened_at, kind, fact_id, data)
         select $1, $2, $3 + n, rinsebell_now(), 'comfort_noted', gen_random_uuid(), '{\"comfort\": \"no\"}'
         from generate_series(1, 4100) n order by n",
    )
    .bind(salon.id.0)
    .bind(run.0)
    .bind(first)
    .execute(&salon.owner)
    .await
    .unwrap();
    let mut s = salon.app.begin(salon.id).await.unwrap();
    let events = rinsebell::store::runs::list_events(&mut s, run, 0).await.unwrap();
    assert_eq!(events.last().map(|e| e.seq), Some(first + 4100));
    assert_eq!(events.len() as i64, first + 4100);
}
