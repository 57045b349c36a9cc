//! The database's fold of what is on the hair against the domain's, over taps in any order: both are asked whether
//! product may go on, so both must say the same.

use rinsebell::domain::ids::{RunId, StationId};
use rinsebell::domain::protocol::{Section, StepCode};
use rinsebell::domain::run::{Command, EventKind, FactId, Happened, NewEvent, Signed};
use rinsebell::flow::runs;
use std::time::Duration;

use crate::support::{Salon, Stage, start, steps_until};

/// Section, on since (µs), on before that (µs), the try's first touch (µs).
type Row = (String, i64, i64, i64);

/// Numbers that are the same every time (a linear congruence; Knuth's MMIX constants, from memory).
struct Dice(u64);

impl Dice {
    fn below(&mut self, n: u64) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % n
    }
}

fn happened(dice: &mut Dice, told: &[FactId]) -> Happened {
    let section = Section::QUADRANTS[dice.below(4) as usize];
    let step = |code: &str| StepCode::from(code);
    match dice.below(9) {
        0..3 => Happened::SectionStarted { step: step("apply-1"), section, pass: 1 },
        3 => Happened::SectionStarted { step: step("apply-2"), section, pass: 2 },
        4 | 5 => Happened::SectionRinsed {
            step: step("rinse-straightener"),
            section: Some(section),
            clear: dice.below(2) == 0,
        },
        6 => Happened::SectionRinsed {
            step: step("rinse-straightener"),
            section: None,
            clear: dice.below(3) > 0,
        },
        7 if !told.is_empty() => {
            let fact_id = told[dice.below(told.len() as u64) as usize];
            Happened::FactWithdrawn { fact_id, reason: "mistaken".into() }
        }
        _ => Happened::SectionRinsed { step: step("rinse-straightener"), section: None, clear: true },
    }
}

/// Facts within the last hour and a half on top of what is on record, folded by both, then taken away again.
async fn play(salon: &Salon, run: RunId, seed: u64) -> (Vec<Row>, Vec<Row>, String) {
    let mut dice = Dice(seed);
    let mut s = salon.app.begin(salon.id).await.expect("begin");
    let before = runs::load(&mut s, &salon.app, run).await.expect("read").expect("there");
    let mut seq = before.events.last().map_or(0, |e| e.seq);
    let mut told = Vec::new();
    for n in 0..1 + dice.below(10) {
        let kind = happened(&mut dice, &told);
        let fact_id = FactId(u128::from(seed) << 32 | u128::from(n) | 1 << 100);
        if !matches!(kind, Happened::FactWithdrawn { .. }) {
            told.push(fact_id);
        }
        seq += 1;
        let ago = time::Duration::seconds(i64::try_from(dice.below(90 * 60)).expect("small"));
        let event = NewEvent {
            happened_at: before.now - ago,
            claimed_at: None,
            by: None,
            station: StationId(0),
            fact_id: Some(fact_id),
            kind: EventKind::Happened(kind),
        };
        rinsebell::store::runs::append(&mut s, run, seq, &event).await.expect("kept").expect("in its place");
    }
    let loaded = runs::load(&mut s, &salon.app, run).await.expect("read").expect("there");
    let state = loaded.state();
    let us = |at: time::OffsetDateTime| i64::try_from(at.unix_timestamp_nanos() / 1000).expect("our time");
    let ended = state.closes.iter().map(|(_, at)| *at).max();
    let mut domain: Vec<Row> = Vec::new();
    for exposure in &state.exposures {
        for section in exposure.sections.iter().filter(|x| x.is_open()) {
            let on = section.spells.last().expect("open").start;
            let sum = i64::try_from(section.total(on).whole_microseconds()).expect("short");
            domain.push((section.section.code().into(), us(on), sum, us(exposure.touched_after(ended))));
        }
    }
    domain.sort();
    let database: Vec<Row> = sqlx::query_as(
        "select c.section, (extract(epoch from c.since) * 1000000)::bigint, (extract(epoch from c.before) * 1000000)::bigint,
            (extract(epoch from c.tried) * 1000000)::bigint
         from run r, lateral rinsebell_contact(r, 'A') c where r.salon_id = $1 and r.run_id = $2 order by c.section collate \"C\"",
    )
    .bind(salon.id.0)
    .bind(run.0)
    .fetch_all(&mut *s.tx)
    .await
    .expect("folded");
    (
        domain,
        database,
        format!("{:?}", loaded.events.iter().map(|e| (&e.kind, e.happened_at)).collect::<Vec<_>>()),
    )
}

async fn both_say_the_same(salon: &Salon, run: RunId, seeds: std::ops::Range<u64>) {
    let (mut open, mut closed) = (0, 0);
    for seed in seeds {
        let (domain, database, events) = play(salon, run, seed).await;
        assert_eq!(database, domain, "seed {seed}: {events}");
        *if domain.is_empty() { &mut closed } else { &mut open } += 1;
    }
    assert!(open > 5 && closed > 5, "{open} with product on, {closed} without");
}

/// Stopped, rinsed, read, ended, signed anew and begun again.
async fn begin_again(salon: &Salon, stage: &Stage, run: RunId) {
    let who = salon.staff.stylist;
    salon.fact(run, 900, Happened::StopRecorded).await.unwrap();
    let clear = Happened::SectionRinsed { step: "rinse-straightener".into(), section: None, clear: true };
    salon.fact(run, 901, clear).await.unwrap();
    salon.act(run, who, Command::ReadStop { whole: true, early: true }).await.unwrap();
    salon.act(run, who, Command::CloseStop { reason: "looked at".into() }).await.unwrap();
    let mut s = salon.app.begin(salon.id).await.unwrap();
    let loaded = runs::load(&mut s, &salon.app, run).await.unwrap().unwrap();
    s.commit().await.unwrap();
    for step in loaded.frame.protocol.steps.iter().filter(|x| ["inspect", "base"].contains(&x.code.as_str()))
    {
        for hold_point in &step.hold_points {
            let value = hold_point.answers()[0].code.into();
            let signed = Signed { hold_point: *hold_point, value, place: None };
            salon.act(run, who, Command::SignHoldPoint { step: step.code.clone(), signed }).await.unwrap();
        }
    }
    salon.sign_all(run, who, "apply-1", Some(('A', stage.straightener_lot))).await;
    salon.act(run, who, start("apply-1")).await.unwrap();
}

#[tokio::test]
async fn what_is_on_the_hair_is_the_same_in_the_domain_and_in_the_database() {
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    let who = salon.staff.stylist;
    let run = salon.start_run(stage.plan, who).await.unwrap();
    steps_until(&salon, &stage, run, who, "dispense").await;
    salon.sign_all(run, who, "apply-1", Some(('A', stage.straightener_lot))).await;
    salon.act(run, who, start("apply-1")).await.unwrap();
    salon.advance(Duration::from_secs(45 * 60)).await;
    both_say_the_same(&salon, run, 0..60).await;
    begin_again(&salon, &stage, run).await;
    salon.advance(Duration::from_secs(45 * 60)).await;
    both_say_the_same(&salon, run, 100..180).await;
}
