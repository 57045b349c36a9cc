//! A whole service through the flow and the database's guard.

use rinsebell::domain::run::{Command, Happened, HeadPlace};
use rinsebell::flow::runs::Refused;

use crate::support::{Salon, Walked, start, walked_until};

#[tokio::test]
async fn a_whole_retouch_is_given_and_the_strand_is_written_on() {
    let Walked { salon, run, who, .. } = walked_until("finish").await;
    salon.act(run, who, Command::FinishRun).await.unwrap();
    let exposures: Vec<(String, String)> = sqlx::query_as(
        "select family, zone from strand_event where run_id = $1 and did = 'apply' order by seq",
    )
    .bind(run.0)
    .fetch_all(&salon.owner)
    .await
    .unwrap();
    let expected = [("thio", "new-growth"), ("thio", "root-to-end"), ("peroxide-neutraliser", "root-to-end")];
    assert_eq!(exposures, expected.map(|(a, b)| (a.to_string(), b.to_string())));
    let (last, hash): (i32, Vec<u8>) =
        sqlx::query_as("select last_seq, head_hash from ledger where run_id = $1")
            .bind(run.0)
            .fetch_one(&salon.owner)
            .await
            .unwrap();
    assert!(last > 40);
    assert_eq!(hash.len(), 32);
}

#[tokio::test]
async fn a_start_without_its_hold_points_is_refused_with_every_reason() {
    let Walked { salon, run, who, .. } = walked_until("base").await;
    let Err(Refused::Reasons(reasons)) = salon.act(run, who, start("apply-1")).await else {
        panic!("started")
    };
    assert!(reasons.len() >= 5, "{reasons:?}");
}

#[tokio::test]
async fn after_a_stop_nothing_new_goes_on_and_rinsing_stays_open() {
    let Walked { salon, run, who, .. } = walked_until("apply-1").await;
    salon.fact(run, 900, Happened::StopRecorded).await.unwrap();
    let incidents: i64 = sqlx::query_scalar("select count(*) from incident where run_id = $1")
        .bind(run.0)
        .fetch_one(&salon.owner)
        .await
        .unwrap();
    assert_eq!(incidents, 1);
    let Err(Refused::Reasons(reasons)) = salon.act(run, who, start("apply-2")).await else {
        panic!("opened after a stop")
    };
    assert!(format!("{reasons:?}").contains("RunStopped"));
    let after = salon
        .fact(
            run,
            901,
            Happened::SectionRinsed { step: "rinse-straightener".into(), section: None, clear: true },
        )
        .await
        .unwrap();
    assert!(!after.state().product_on());
}

#[tokio::test]
async fn a_fact_sent_twice_is_recorded_once() {
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    let who = salon.staff.stylist;
    let run = salon.start_run(stage.plan, who).await.unwrap();
    let a = salon.fact(run, 7, Happened::StingReported { place: HeadPlace::Nape }).await.unwrap();
    let b = salon.fact(run, 7, Happened::StingReported { place: HeadPlace::Nape }).await.unwrap();
    assert_eq!(a.events.len(), b.events.len());
}
