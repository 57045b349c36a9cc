//! The database holds by itself what the domain holds of complaints, of wrong taps and of gloves: events are written past
//! `decide` here, as a broken server would.

use std::time::Duration;

use rinsebell::domain::ids::{LotId, PersonId, RunId, StationId};
use rinsebell::domain::protocol::{HoldPoint, Section, StepCode};
use rinsebell::domain::run::{Command, EventKind, FactId, Granted, Happened, HeadPlace, NewEvent, Signed};
use rinsebell::flow::runs;
use rinsebell::store::StoreError;

use crate::support::{Salon, Walked, start, walked_until};

/// Writes a permission past every rule of the domain; the database's own word against it.
async fn past_the_domain(salon: &Salon, run: RunId, who: PersonId, granted: Granted) -> Result<(), String> {
    let mut s = salon.app.begin(salon.id).await.unwrap();
    let loaded = runs::load(&mut s, &salon.app, run).await.unwrap().unwrap();
    let event = NewEvent {
        happened_at: loaded.now,
        claimed_at: None,
        by: Some(who),
        station: StationId(0),
        fact_id: None,
        kind: EventKind::Granted(granted),
    };
    let seq = loaded.events.last().map_or(0, |e| e.seq) + 1;
    match rinsebell::store::runs::append(&mut s, run, seq, &event).await {
        Ok(_) => s.commit().await.map_err(|e| format!("{e:?}")),
        Err(StoreError::Refused { rule, .. }) => Err(rule),
        Err(other) => Err(format!("{other:?}")),
    }
}

fn begun(step: &str) -> Granted {
    Granted::StepStarted { step: StepCode::from(step) }
}

fn signed(step: &str, hold_point: HoldPoint, value: &str) -> Command {
    let signed = Signed { hold_point, value: value.into(), place: None };
    Command::SignHoldPoint { step: step.into(), signed }
}

async fn last_of(salon: &Salon, run: RunId, kind: &str) -> i64 {
    sqlx::query_scalar("select max(seq)::bigint from run_event where run_id = $1 and kind = $2")
        .bind(run.0)
        .bind(kind)
        .fetch_one(&salon.owner)
        .await
        .unwrap()
}

fn back(seq: i64) -> Granted {
    Granted::PermissionWithdrawn { seq, reason: "wrong tap".into() }
}

#[tokio::test]
async fn after_a_sting_nothing_opens_before_water_and_a_look() {
    let Walked { salon, run, who } = walked_until("apply-1").await;
    salon.sign_all(run, who, "apply-2", None).await;
    let hairline = HeadPlace::Hairline;
    salon.fact(run, 500, Happened::StingReported { place: hairline }).await.unwrap();
    salon.act(run, who, signed("apply-1", HoldPoint::Scalp, "intact")).await.unwrap();
    let refused = past_the_domain(&salon, run, who, begun("apply-2")).await;
    assert_eq!(refused, Err("sting:not-rinsed".into()));
    // Water elsewhere, and water that was taken back, answer for nothing.
    let elsewhere =
        Happened::SectionRinsed { step: "apply-1".into(), section: Some(Section::BackLeft), clear: true };
    salon.fact(run, 501, elsewhere).await.unwrap();
    salon.fact(run, 502, Happened::PlaceRinsed { place: hairline }).await.unwrap();
    let mistake = Happened::FactWithdrawn { fact_id: FactId(502), reason: "wrong place".into() };
    salon.fact(run, 503, mistake).await.unwrap();
    let refused = past_the_domain(&salon, run, who, begun("apply-2")).await;
    assert_eq!(refused, Err("sting:not-rinsed".into()));
    salon.advance(Duration::from_secs(5)).await;
    salon.fact(run, 504, Happened::PlaceRinsed { place: hairline }).await.unwrap();
    let refused = past_the_domain(&salon, run, who, begun("apply-2")).await;
    assert_eq!(refused, Err("sting:not-read".into()), "read before the water");
    salon.advance(Duration::from_secs(5)).await;
    salon.act(run, who, signed("apply-1", HoldPoint::Scalp, "intact")).await.unwrap();
    assert_eq!(past_the_domain(&salon, run, who, begun("apply-2")).await, Ok(()));
}

#[tokio::test]
async fn a_step_begun_by_mistake_is_taken_back_and_begun_again() {
    let Walked { salon, run, who } = walked_until("dispense").await;
    salon.sign_all(run, who, "apply-1", Some(('A', lot_of(&salon).await))).await;
    salon.act(run, who, start("apply-1")).await.unwrap();
    let wrong = last_of(&salon, run, "step_started").await;
    salon.act(run, who, Command::TakeBack { seq: wrong, reason: "wrong tap".into() }).await.unwrap();
    let on: i64 = sqlx::query_scalar(
        "select count(*) from run r, lateral rinsebell_contact(r, 'A') where r.run_id = $1",
    )
    .bind(run.0)
    .fetch_one(&salon.owner)
    .await
    .unwrap();
    assert_eq!(on, 0, "nothing was ever on");
    salon.act(run, who, start("apply-1")).await.expect("begun again, in the database as well");
    let begun_again = last_of(&salon, run, "step_started").await;
    let touch = Happened::SectionStarted { step: "apply-1".into(), section: Section::BackRight, pass: 1 };
    salon.fact(run, 600, touch).await.unwrap();
    for seq in [begun_again, wrong] {
        let refused = past_the_domain(&salon, run, who, back(seq)).await.expect_err("something rests on it");
        assert!(refused.starts_with("permission:"), "{refused}");
    }
}

#[tokio::test]
async fn answers_are_taken_back_while_nothing_rests_on_them_and_never_one_that_stops() {
    let Walked { salon, run, who } = walked_until("dispense").await;
    salon.sign_all(run, who, "apply-1", Some(('A', lot_of(&salon).await))).await;
    // Every reading of the visit, or the one before speaks.
    let all: Vec<i64> = sqlx::query_scalar(
        "select seq::bigint from run_event where run_id = $1 and hold_point = 'scalp' order by seq",
    )
    .bind(run.0)
    .fetch_all(&salon.owner)
    .await
    .unwrap();
    let [inspected, read] = all[..] else {
        panic!("read at the inspection and before the first pass: {all:?}")
    };
    let refused = past_the_domain(&salon, run, who, back(inspected)).await;
    assert_eq!(refused, Err("permission:rested-on".into()), "washed and parted on it");
    assert_eq!(past_the_domain(&salon, run, who, back(read)).await, Ok(()));
    let refused = past_the_domain(&salon, run, who, back(read)).await;
    assert_eq!(refused, Err("permission:not-withdrawable".into()), "once");
    let red = Signed { hold_point: HoldPoint::Scalp, value: "red".into(), place: Some(HeadPlace::Nape) };
    salon.act(run, who, Command::SignHoldPoint { step: "apply-1".into(), signed: red }).await.unwrap();
    let seq = last_of(&salon, run, "hold_point_signed").await;
    let refused = past_the_domain(&salon, run, who, back(seq)).await.expect_err("red");
    assert!(["permission:not-withdrawable", "run:stopped"].contains(&refused.as_str()), "{refused}");
}

async fn lot_of(salon: &Salon) -> LotId {
    let lot: i64 = sqlx::query_scalar(
        "select l.lot_id from lot l join plan_product p using (salon_id, product_id) where l.salon_id = $1 and p.application = 'A'
         order by l.lot_id limit 1",
    )
    .bind(salon.id.0)
    .fetch_one(&salon.owner)
    .await
    .unwrap();
    LotId(lot)
}

#[tokio::test]
async fn a_bowl_taken_back_goes_from_the_book_and_its_line_stays() {
    let Walked { salon, run, who } = walked_until("dispense").await;
    let lot = lot_of(&salon).await;
    let left = || async {
        sqlx::query_scalar::<_, f32>("select rinsebell_lot_left($1, $2)")
            .bind(salon.id.0)
            .bind(lot.0)
            .fetch_one(&salon.owner)
            .await
            .unwrap()
    };
    let grams = f64::from(left().await).min(1000.0);
    let dispense = || Command::DispenseLot { application: 'A', lot, grams };
    salon.act(run, who, dispense()).await.unwrap();
    let before = left().await;
    // Once more by a wrong tap, and more than the book has: the book says so of itself.
    salon.act(run, who, dispense()).await.unwrap();
    let seq = last_of(&salon, run, "lot_dispensed").await;
    salon.act(run, who, Command::TakeBack { seq, reason: "tapped twice".into() }).await.unwrap();
    assert!((left().await - before).abs() < 0.01, "{} of {before}", left().await);
    let (rows, lines): (i64, i64) = sqlx::query_as(
        "select (select count(*) from dispensed where run_id = $1 and lot_id = $2),
            (select count(*) from run_event where run_id = $1 and kind = 'lot_dispensed')",
    )
    .bind(run.0)
    .bind(lot.0)
    .fetch_one(&salon.owner)
    .await
    .unwrap();
    assert_eq!((rows, lines), (1, 2));
}

#[tokio::test]
async fn the_same_pair_is_asked_of_the_same_hands() {
    let Walked { salon, run, who } = walked_until("apply-1").await;
    let same = |by: PersonId| {
        let signed = Signed { hold_point: HoldPoint::Gloves, value: "same-pair-intact".into(), place: None };
        (by, Granted::HoldPointSigned { step: "apply-2".into(), signed })
    };
    let (assistant, granted) = same(salon.staff.assistant);
    let refused = past_the_domain(&salon, run, assistant, granted).await;
    assert_eq!(refused, Err("gloves:not-the-same".into()));
    let (stylist, granted) = same(who);
    assert_eq!(past_the_domain(&salon, run, stylist, granted).await, Ok(()));
    let clear = Happened::SectionRinsed { step: "rinse-straightener".into(), section: None, clear: true };
    salon.fact(run, 700, clear).await.unwrap();
    let (stylist, granted) = same(who);
    let refused = past_the_domain(&salon, run, stylist, granted).await;
    assert_eq!(refused, Err("gloves:not-the-same".into()), "water has run");
}
