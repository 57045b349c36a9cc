//! A service walked step by step, everything signed, tapped and waited for.

use std::time::Duration;

use rinsebell::domain::ids::{PersonId, RunId};
use rinsebell::domain::protocol::{Section, StepCode};
use rinsebell::domain::run::{Command, CurlReading, Happened, HeadPlace, Rod};

use super::{Salon, Stage};

/// A salon in which one service was walked.
pub struct Walked {
    pub salon: Salon,
    pub run: RunId,
    /// Who gives it.
    pub who: PersonId,
}

/// A new salon and its staged service walked up to a step, that one included.
pub async fn walked_until(last: &str) -> Walked {
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    let who = salon.staff.stylist;
    let run = salon.start_run(stage.plan, who).await.unwrap();
    steps_until(&salon, &stage, run, who, last).await;
    Walked { salon, run, who }
}

/// The command that begins a step.
pub fn start(step: &str) -> Command {
    Command::StartStep { step: StepCode::from(step) }
}

/// Walks a run up to a step, that one included.
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
