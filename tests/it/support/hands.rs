//! Somebody's hands on a run, through the flow: each act its own transaction, as a request would.

use rinsebell::domain::ids::{PersonId, PlanId, RunId, StationId};
use rinsebell::domain::protocol::{HoldPoint, StepCode};
use rinsebell::domain::run::{Command, Fact, FactId, Happened, Signed};
use rinsebell::flow::runs::{self, Hand, Loaded, Refused};
use rinsebell::store::people;

use super::Salon;

impl Salon {
    /// Starts a run of a plan.
    pub async fn start_run(&self, plan: PlanId, person: PersonId) -> Result<RunId, Refused> {
        let mut s = self.app.begin(self.id).await.expect("begin");
        let who = people::find(&mut s, person).await.expect("read").expect("there");
        let hand = Hand { person: Some(&who), station: None, session: None };
        let id = runs::start_run(&mut s, &self.app, plan, "Chair 2", hand).await?;
        s.commit().await.expect("committed");
        Ok(id)
    }

    /// A permission, known up to the newest event.
    pub async fn act(&self, run: RunId, person: PersonId, command: Command) -> Result<Loaded, Refused> {
        let mut s = self.app.begin(self.id).await.expect("begin");
        let who = people::find(&mut s, person).await.expect("read").expect("there");
        let hand = Hand { person: Some(&who), station: None, session: None };
        let after = runs::act(&mut s, &self.app, run, i64::MAX, command, hand).await?;
        s.commit().await.expect("committed");
        Ok(after)
    }

    /// A fact that happened now, by this station.
    pub async fn fact(&self, run: RunId, id: u128, happened: Happened) -> Result<Loaded, Refused> {
        let mut s = self.app.begin(self.id).await.expect("begin");
        let now = s.now().await.expect("the clock");
        let hand = Hand { person: None, station: None::<StationId>, session: None };
        let fact = Fact { fact_id: FactId(id), happened_at: now, happened };
        let after = runs::record_fact(&mut s, &self.app, run, fact, hand).await?;
        s.commit().await.expect("committed");
        Ok(after)
    }

    /// Signs every hold point of a step with its first answer that holds; lots are dispensed first.
    pub async fn sign_all(
        &self,
        run: RunId,
        person: PersonId,
        step: &str,
        dispense: Option<(char, rinsebell::domain::ids::LotId)>,
    ) {
        if let Some((application, lot)) = dispense {
            self.act(run, person, Command::DispenseLot { application, lot, grams: 62.0 })
                .await
                .expect("dispensed");
        }
        let mut s = self.app.begin(self.id).await.expect("begin");
        let loaded = runs::load(&mut s, &self.app, run).await.expect("read").expect("there");
        s.commit().await.expect("committed");
        let code = StepCode::from(step);
        let points: Vec<HoldPoint> = loaded.frame.protocol.step(&code).expect("a step").hold_points.clone();
        for hold_point in points {
            let value = match hold_point {
                HoldPoint::StrandTest => "not-asked",
                other => other.answers()[0].code,
            };
            let signed = Signed { hold_point, value: value.into(), place: None };
            self.act(run, person, Command::SignHoldPoint { step: code.clone(), signed })
                .await
                .unwrap_or_else(|e| panic!("{hold_point:?}: {e:?}"));
        }
    }
}
