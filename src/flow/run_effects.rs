//! What follows from an act on a run, in the same transaction: the station held, the strand written on.

use super::runs::{self, Hand, Loaded};
use super::{aftercare, dues};
use crate::app::App;
use crate::calendar::Zone;
use crate::domain::ids::{ClientId, PersonId, RunId};
use crate::domain::protocol::PlannedApplication;
use crate::domain::run::{Command, State};
use crate::store::{Scoped, StoreError, Stored, finish, salons, sessions};

/// After a permission was given.
pub(super) async fn after_command(
    s: &mut Scoped,
    app: &App,
    after: &Loaded,
    command: &Command,
    hand: Hand<'_>,
) -> Stored<()> {
    match command {
        Command::StartStep { .. } | Command::FinishStep { .. } => runs::hold_station(s, after, hand).await,
        Command::FinishRun | Command::LeaveRun { .. } => end_run(s, app, after, hand).await,
        Command::ArmStation { station } => {
            if let Some(person) = hand.person {
                let (_, hash) = crate::secret::new_token();
                sessions::arm(s, *station, person.id, RunId(after.run.run_id), &hash).await?;
            }
            Ok(())
        }
        _ => Ok(()),
    }
}

/// The applications that touched the hair, in the protocol's order.
pub fn applications_met<'s>(state: &'s State<'_>) -> impl Iterator<Item = &'s PlannedApplication> {
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
    for application in applications_met(&state) {
        met.push(application.family);
        let (family, zone) = (application.family.code(), application.zone.code());
        finish::append_exposure(s, client, run, by, on, family, zone).await?;
    }
    if state.trimmed_mm > 0.0 {
        finish::append_trim(s, client, run, by, on, state.trimmed_mm).await?;
    }
    let due = dues::refresh_due(s, &app.reference, client).await?;
    aftercare::give(s, &app.reference, after, (&salon, &zone), &met, due.as_ref()).await?;
    sessions::release(s, run).await?;
    for topic in ["regrowth".to_string(), format!("client:{client}"), "shelf".to_string()] {
        s.changed(topic);
    }
    Ok(())
}
