//! What follows from an act on a run, in the same transaction: the station held, the strand written on.

use super::runs::{self, Hand, Loaded};
use super::{aftercare, dues, sign_in};
use crate::app::App;
use crate::calendar::Zone;
use crate::domain::chemistry::family::{Family, Group};
use crate::domain::ids::{ClientId, PersonId, PlanId, RunId};
use crate::domain::protocol::{PlannedApplication, PlannedZone};
use crate::domain::run::{Command, State};
use crate::domain::strand::{Deed, Exposure, Known, Zone as StrandZone};
use crate::store::{Scoped, StoreError, Stored, finish, plans, salons, sessions, strands};

/// After a permission was given.
pub(super) async fn after_command(
    s: &mut Scoped,
    app: &App,
    after: &Loaded,
    command: &Command,
    hand: Hand<'_>,
) -> Stored<()> {
    match command {
        Command::StartStep { .. } | Command::FinishStep { .. } | Command::TakeBack { .. } => {
            runs::hold_station(s, after, hand).await
        }
        Command::FinishRun | Command::LeaveRun { .. } => end_run(s, app, after, hand).await,
        Command::ArmStation { station } => {
            if let Some(person) = hand.person {
                let (_, hash) = crate::secret::new_token();
                let run = RunId(after.run.run_id);
                sessions::arm(s, *station, person.id, run, &hash, sign_in::STATION_IDLE_S).await?;
            }
            Ok(())
        }
        _ => Ok(()),
    }
}

/// A product that touched the hair in a run.
#[derive(Clone, Copy, Debug)]
pub struct Met {
    /// Of which application.
    pub letter: char,
    /// Of the product that went on.
    pub family: Family,
    /// Where the plan put it.
    pub zone: StrandZone,
    /// Of what re-forms hair: whether it was put on to straighten.
    pub straightened: Option<bool>,
}

/// What touched the hair: the family of the product that went on, where the plan put it. A protocol only proposes both.
pub async fn exposures_met(s: &mut Scoped, run: &Loaded, state: &State<'_>) -> Stored<Vec<Met>> {
    let plan = plans::find(s, PlanId(run.run.plan_id)).await?;
    let kept = plan.map(|p| p.applications.0).unwrap_or_default();
    let met = applications_met(state).map(|application| {
        let planned = kept.iter().find(|k| k.letter.starts_with(application.letter));
        let zone = planned.and_then(super::plans::kept_zone).unwrap_or(match application.zone {
            PlannedZone::NewGrowth => StrandZone::NewGrowth,
            PlannedZone::RootToEnd => StrandZone::RootToEnd,
        });
        let product = run.frame.product(application.letter);
        let family = product.map_or(application.family, |p| p.family);
        let straightened = (family.group() == Group::Thio).then_some(application.straightens);
        Met { letter: application.letter, family, zone, straightened }
    });
    Ok(met.collect())
}

/// The applications that touched the hair, in the protocol's order.
fn applications_met<'s>(state: &'s State<'_>) -> impl Iterator<Item = &'s PlannedApplication> {
    state.frame.protocol.applications.iter().filter(|application| {
        state.exposure(application.letter).is_some()
            || application.steps.iter().any(|c| state.step_state(c).is_some_and(|x| x.started_at.is_some()))
    })
}

/// What touched the hair is in the strand from now on, whatever way the run ended; a trim is taken off.
async fn end_run(s: &mut Scoped, app: &App, after: &Loaded, hand: Hand<'_>) -> Stored<()> {
    let (client, run) = (ClientId(after.run.client_id), RunId(after.run.run_id));
    let by = hand.person.map_or(PersonId(after.run.started_by), |p| p.id);
    let salon = salons::find(s).await?.ok_or_else(|| StoreError::Corrupt("salon", s.salon.to_string()))?;
    let zone = Zone::find(&salon.zone).ok_or_else(|| StoreError::Corrupt("salon", salon.zone.clone()))?;
    let on = zone.day_of(after.now);
    let state = after.state();
    let mut met = Vec::new();
    for touched in exposures_met(s, after, &state).await? {
        met.push(touched.family);
        append_exposure(s, after, touched, on, by).await?;
    }
    if state.trimmed_mm > 0.0 {
        finish::append_trim(s, client, run, by, on, state.trimmed_mm).await?;
    }
    let due = dues::refresh_due(s, app, client).await?;
    aftercare::give(s, &app.reference, after, (&salon, &zone), &met, due.as_ref()).await?;
    sessions::release(s, run).await?;
    for topic in ["regrowth".to_string(), format!("client:{client}"), "shelf".to_string()] {
        s.changed(topic);
    }
    Ok(())
}

async fn append_exposure(s: &mut Scoped, run: &Loaded, met: Met, on: time::Date, by: PersonId) -> Stored<()> {
    let Met { family, zone, straightened, .. } = met;
    let exposure = Exposure { family, on, known: Known::Recorded, on_sd_days: 0.0, straightened };
    let (client, id) = (ClientId(run.run.client_id), RunId(run.run.run_id));
    strands::append(s, client, (on, &Deed::Apply(zone, exposure)), Some(id), Some(by)).await?;
    Ok(())
}

/// After a fact that came when the run had ended: what it says touched the hair, and what it says was cut off,
/// is in the strand too, on the day the run ended. What was written there stays: taking back a late tap
/// takes no history off a head.
pub(super) async fn after_late_fact(
    s: &mut Scoped,
    app: &App,
    before: &Loaded,
    after: &Loaded,
    hand: Hand<'_>,
) -> Stored<()> {
    let known: Vec<char> = applications_met(&before.state()).map(|a| a.letter).collect();
    let state = after.state();
    let fresh: Vec<Met> =
        exposures_met(s, after, &state).await?.into_iter().filter(|m| !known.contains(&m.letter)).collect();
    let cut = state.trimmed_mm - before.state().trimmed_mm;
    if fresh.is_empty() && cut <= 0.0 {
        return Ok(());
    }
    let salon = salons::find(s).await?.ok_or_else(|| StoreError::Corrupt("salon", s.salon.to_string()))?;
    let zone = Zone::find(&salon.zone).ok_or_else(|| StoreError::Corrupt("salon", salon.zone.clone()))?;
    let on = zone.day_of(after.run.ended_at.unwrap_or(after.now));
    let by = hand.person.map_or(PersonId(after.run.started_by), |p| p.id);
    for met in fresh {
        append_exposure(s, after, met, on, by).await?;
    }
    let (client, run) = (ClientId(after.run.client_id), RunId(after.run.run_id));
    if cut > 0.0 {
        finish::append_trim(s, client, run, by, on, cut).await?;
    }
    dues::refresh_due(s, app, client).await?;
    for topic in ["regrowth".to_string(), format!("client:{client}")] {
        s.changed(topic);
    }
    Ok(())
}
