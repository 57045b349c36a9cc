//! Taking and putting down a call, and who of the team sees to whom.

use time::OffsetDateTime;

use crate::calendar::Zone;
use crate::domain::call::{NoCall, Quiet, against};
use crate::domain::ids::{ClientId, PersonId, StationId};
use crate::store::calls::{self, Call};
use crate::store::clients::Client;
use crate::store::{Scoped, StoreError, Stored};

/// How taking a call ended.
#[derive(Debug)]
pub enum Taking {
    /// The call is this person's.
    Taken,
    /// All that stands against it. Nothing is to be committed.
    Refused(Vec<NoCall>),
}

/// Whether nobody is called at this instant.
#[must_use]
pub fn is_quiet(zone: &Zone, quiet: &Quiet, now: OffsetDateTime) -> bool {
    let local = zone.local(now);
    quiet.holds(local.weekday(), u16::from(local.hour()) * 60 + u16::from(local.minute()))
}

/// Who has the call, as the domain asks it.
#[must_use]
pub fn holder(call: Option<&Call>) -> Option<PersonId> {
    call.map(|call| PersonId(call.by))
}

/// The database's own no, where it is one about calls.
///
/// # Errors
/// Anything else is given back.
pub fn refusal(e: StoreError) -> Result<NoCall, StoreError> {
    match &e {
        StoreError::Refused { code, rule } if code == "RB014" => {
            rule.strip_prefix("call:").and_then(NoCall::from_code).ok_or(e)
        }
        // Two at once: the other was first.
        StoreError::Refused { code, rule } if code == "23P01" && rule.starts_with("call_claim_") => {
            Ok(NoCall::Held)
        }
        _ => Err(e),
    }
}

/// Takes a client's call for a quarter of an hour. A call this person still had of somebody else is put down.
///
/// # Errors
/// Those of the store.
pub async fn take_call(
    s: &mut Scoped,
    (zone, quiet): (&Zone, &Quiet),
    client: &Client,
    by: PersonId,
    station: Option<StationId>,
) -> Stored<Taking> {
    let now = s.now().await?;
    let has = calls::find(s, client.id(), now).await?;
    let why = against(client.no_contact, is_quiet(zone, quiet, now), holder(has.as_ref()), by);
    if !why.is_empty() {
        return Ok(Taking::Refused(why));
    }
    if has.is_some() {
        return Ok(Taking::Taken);
    }
    put_down(s, by).await?;
    match calls::insert(s, client.id(), by, station).await {
        Ok(()) => {}
        Err(e) => return Ok(Taking::Refused(vec![refusal(e)?])),
    }
    s.changed("regrowth");
    s.changed(format!("client:{}", client.id()));
    Ok(Taking::Taken)
}

/// Puts down whatever call this person has.
///
/// # Errors
/// Those of the store.
pub async fn put_down(s: &mut Scoped, by: PersonId) -> Stored<()> {
    let now = s.now().await?;
    for client in calls::end_all_of(s, by, now).await? {
        s.changed("regrowth");
        s.changed(format!("client:{client}"));
    }
    Ok(())
}

/// Says who of the team sees to a client, or that nobody does.
///
/// # Errors
/// Those of the store.
pub async fn assign(s: &mut Scoped, client: ClientId, to: Option<PersonId>, by: PersonId) -> Stored<()> {
    calls::assign(s, client, to, by).await?;
    s.changed("regrowth");
    s.changed(format!("client:{client}"));
    Ok(())
}
