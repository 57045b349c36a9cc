//! Writing down what went wrong.

use time::{Date, OffsetDateTime};

use crate::domain::ids::{ClientId, IncidentId, PersonId};
use crate::domain::incident::{Account, Aid, Amiss, Doctor, Serious, Sign, amiss};
use crate::secret;
use crate::store::incidents::{self, NewAccount};
use crate::store::{Scoped, Stored, answers, client_records};

/// An account as it was typed.
#[derive(Clone, Debug)]
pub struct Told<'a> {
    pub onset_at: OffsetDateTime,
    pub signs: &'a [Sign],
    pub sites: &'a str,
    pub serious: &'a [Serious],
    pub aid: &'a [Aid],
    pub doctor: Doctor,
    pub maker_told: bool,
    pub authority_told: bool,
    pub words: &'a str,
    pub follow_on: Option<Date>,
    pub closed: bool,
}

/// What came of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Kept {
    Done,
    /// Somebody wrote another account since the page was opened.
    Stale,
    Amiss(Vec<Amiss>),
}

/// Writes an account of an incident over the newest one the page showed.
///
/// # Errors
/// Those of the store.
pub async fn write_account(
    s: &mut Scoped,
    (incident, client): (IncidentId, ClientId),
    told: &Told<'_>,
    newest: Option<i64>,
    by: PersonId,
) -> Stored<Kept> {
    let erased = client_records::find_fate(s, client).await?.is_none_or(|fate| fate.erased);
    let wrong = amiss(&Account {
        signs: told.signs,
        aid: told.aid,
        serious: told.serious,
        doctor: told.doctor,
        maker_told: told.maker_told,
        closed: told.closed,
        erased,
    });
    if !wrong.is_empty() {
        return Ok(Kept::Amiss(wrong));
    }
    let words_id = match told.words {
        "" => None,
        words => Some(answers::insert(s, client, &secret::random::<16>(), words).await?),
    };
    let account = NewAccount {
        incident,
        client,
        onset_at: told.onset_at,
        signs: &told.signs.iter().map(|x| x.code()).collect::<Vec<_>>(),
        sites: told.sites,
        serious: &told.serious.iter().map(|x| x.code()).collect::<Vec<_>>(),
        aid: &told.aid.iter().map(|x| x.code()).collect::<Vec<_>>(),
        doctor: told.doctor.code(),
        maker_told: told.maker_told,
        authority_told: told.authority_told,
        words_id,
        follow_on: told.follow_on,
        closed: told.closed,
        by,
    };
    if !incidents::insert_account(s, &account, newest).await? {
        return Ok(Kept::Stale);
    }
    s.changed("incidents");
    s.changed(format!("client:{client}"));
    Ok(Kept::Done)
}

/// Opens an incident told afterwards, of the client's newest service if there was one.
///
/// # Errors
/// Those of the store.
pub async fn open_incident(s: &mut Scoped, client: ClientId, by: PersonId) -> Stored<IncidentId> {
    let run = incidents::find_last_run(s, client).await?;
    let id = incidents::insert(s, client, run, by).await?;
    s.changed("incidents");
    Ok(id)
}
