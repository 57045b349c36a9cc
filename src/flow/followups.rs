//! Noting what came of a try to reach a client.

use time::Date;

use super::calls::{holder, is_quiet, refusal};
use crate::calendar::Zone;
use crate::domain::call::{NoCall, Quiet, Way, against_noting};
use crate::domain::followup::{NextStep, Outcome};
use crate::domain::ids::PersonId;
use crate::store::clients::Client;
use crate::store::followups::{self, NewFollowup};
use crate::store::{Scoped, StoreError, calls};

/// What is noted.
pub struct Noted<'a> {
    pub client: &'a Client,
    pub by: PersonId,
    pub outcome: Outcome,
    pub way: Way,
    /// What is done next, with its day.
    pub next_step: Option<NextStep>,
    /// With [`Outcome::Later`]: the day to ask again from; else the next step's.
    pub next_on: Option<Date>,
    /// At most 500 characters.
    pub note: &'a str,
    /// The client who wanted no contact wants it again.
    pub contact_again: bool,
}

/// Why a try was not noted.
#[derive(Debug)]
pub enum NotNoted {
    /// It should not have been made.
    Refused(Vec<NoCall>),
    Store(StoreError),
}

impl From<StoreError> for NotNoted {
    fn from(e: StoreError) -> Self {
        match refusal(e) {
            Ok(why) => NotNoted::Refused(vec![why]),
            Err(e) => NotNoted::Store(e),
        }
    }
}

/// Notes a try, keeps the client's wish about being contacted, and puts the call down.
///
/// # Errors
/// [`NotNoted`]; nothing is to be committed then.
pub async fn note_followup(
    s: &mut Scoped,
    (zone, quiet): (&Zone, &Quiet),
    noted: &Noted<'_>,
) -> Result<(), NotNoted> {
    let id = noted.client.id();
    if noted.way == Way::WeCalled {
        let now = s.now().await?;
        let call = calls::find(s, id, now).await?;
        let still = is_quiet(zone, quiet, now);
        let why = against_noting(noted.client.no_contact, still, holder(call.as_ref()), noted.by);
        if !why.is_empty() {
            return Err(NotNoted::Refused(why));
        }
    }
    let new = NewFollowup {
        client: id,
        by: noted.by,
        outcome: noted.outcome,
        way: noted.way,
        next_step: noted.next_step,
        next_on: noted.next_on,
        note: noted.note,
        booking: None,
    };
    followups::insert(s, &new).await?;
    if noted.outcome == Outcome::NoContactWanted {
        followups::set_no_contact(s, id, true).await?;
    } else if noted.contact_again {
        followups::set_no_contact(s, id, false).await?;
    }
    calls::end_of_client(s, id, noted.by).await?;
    s.changed("regrowth");
    s.changed(format!("client:{id}"));
    Ok(())
}
