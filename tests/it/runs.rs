//! A whole service through the flow and the database's guard.

use rinsebell::domain::ids::{PersonId, RunId};
use rinsebell::domain::protocol::{Section, StepCode};
use rinsebell::domain::run::{Command, CurlReading, Happened, HeadPlace, Rod};
use rinsebell::flow::runs::Refused;
use std::time::Duration;

use crate::support::{Salon, Stage};

fn start(step: &str) -> Command {
    Command::StartStep { step: StepCode::from(step) }
}

pub async fn steps_until(salon: &Salon, stage: &Stage, run: RunId, who: PersonId, last: &str) {
    let mut s = salon.app.begin(salon.id).await.unwrap();
    let loaded = rinsebell::flow::runs::load(&mut s, &salon.app, run).await.unwrap().unwrap();
    s.commit().await.unwrap();
    let mut fact = 1;
    for step in &loaded.frame.protocol.steps {
        let code = step.code.as_str();
        let dispense = match (step.is_opening(), step.application) {
            (true, Some('A')) if code == "apply-1" => Some(('A', stage.straightener_lot)),
            (true, Some('B')) => Some(('B', stage.lotion_lot)),
            _ => None,
        };
        salon.sign_all(run, who, code, dispense).await;
        salon.act(run, who, start(code)).await.unwrap_or_else(|e| panic!("{code}: {e:?}"));
        let taps = step.sections.is_some() || step.is_opening();
        if let (true, Some(rinsebell::domain::protocol::SectionWork::Apply { pass })) = (taps, step.sections)
        {
            for section in Section::QUADRANTS {
                salon
                    .fact(run, fact, Happened::SectionStarted { step: step.code.clone(), section, pass })
                    .await
                    .unwrap();
                fact += 1;
                salon.advance(Duration::from_secs(60)).await;
            }
        }
        if step.rods {
            let noted =
                Happened::RodsNoted { count: 64, first_at: HeadPlace::Nape, last_at: HeadPlace::Crown };
            salon.fact(run, fact, noted).await.unwrap();
            fact += 1;
        }
        if !step.rinses.is_empty() {
            salon
                .fact(
                    run,
                    fact,
                    Happened::SectionRinsed { step: step.code.clone(), section: None, clear: true },
                )
                .await
                .unwrap();
            fact += 1;
        }
        let least =
            [step.phase, step.exposure].iter().flatten().filter_map(|t| t.least_min.or(t.target_min)).max();
        salon.advance(Duration::from_secs(u64::from(least.unwrap_or(2)) * 60)).await;
        if step.reads_curls() {
            let curl = Happened::TestCurlRead { rod: Rod::First, reading: CurlReading::S };
            salon.fact(run, fact, curl).await.unwrap();
            fact += 1;
        }
        if code == last {
            return;
        }
    }
}

#[tokio::test]
async fn a_whole_retouch_is_given_and_the_strand_is_written_on() {
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    let who = salon.staff.stylist;
    let run = salon.start_run(stage.plan, who).await.unwrap();
    steps_until(&salon, &stage, run, who, "finish").await;
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
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    let who = salon.staff.stylist;
    let run = salon.start_run(stage.plan, who).await.unwrap();
    steps_until(&salon, &stage, run, who, "base").await;
    let Err(Refused::Reasons(reasons)) = salon.act(run, who, start("apply-1")).await else {
        panic!("started")
    };
    assert!(reasons.len() >= 5, "{reasons:?}");
}

#[tokio::test]
async fn after_a_stop_nothing_new_goes_on_and_rinsing_stays_open() {
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    let who = salon.staff.stylist;
    let run = salon.start_run(stage.plan, who).await.unwrap();
    steps_until(&salon, &stage, run, who, "apply-1").await;
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
