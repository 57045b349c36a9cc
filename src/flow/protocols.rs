//! Protocols of a salon: the shipped ones are published to it once, its own copies are never overwritten.

use sha2::{Digest, Sha256};
use sqlx::PgConnection;

use crate::app::App;
use crate::domain::ids::PersonId;
use crate::domain::protocol::check::{self, Fault};
use crate::domain::protocol::{Protocol, difference, lawful};
use crate::domain::qualification::Chemistry;
use crate::reference::{self, Reference, protocol_document, protocol_text};
use crate::store::protocol_drafts::{self, Draft};
use crate::store::protocols::{self, NewRevision, OwnRevision, Revision, SHIPPED_MOST};
use crate::store::{Scoped, StoreError, Stored};

/// Why a copy was not changed or published.
#[derive(Debug)]
pub enum ProtocolRefused {
    /// No such protocol here, or no draft of it.
    NotFound,
    /// Somebody saved, published or discarded meanwhile.
    Stale,
    /// It breaks its own order or the floor of safety: every fault.
    Faults(Vec<Fault>),
    /// It says what the revision in force says.
    Unchanged,
    /// The database's own guard said no.
    Guard(String),
    /// The store failed.
    Store(StoreError),
}

impl From<StoreError> for ProtocolRefused {
    fn from(e: StoreError) -> Self {
        match e {
            StoreError::Refused { code, rule } if code == "RB008" => ProtocolRefused::Guard(rule),
            other => ProtocolRefused::Store(other),
        }
    }
}

/// Done, or why not.
pub type Kept<T> = Result<T, ProtocolRefused>;

/// Publishes every shipped revision that this salon does not have yet. A salon's own stay in force: their numbers
/// are higher.
pub async fn publish_shipped(s: &mut Scoped) -> Stored<()> {
    for (revision, document) in shipped() {
        protocols::insert(s, NewRevision { revision: &revision, document }).await?;
    }
    Ok(())
}

/// Notes in the database what this build ships, as its owner: rows that the app marks as shipped are held against it.
///
/// # Errors
/// Those of the database.
pub async fn note_shipped(owner: &mut PgConnection) -> Result<(), sqlx::Error> {
    for (revision, document) in shipped() {
        protocols::note_shipped(owner, NewRevision { revision: &revision, document }).await?;
    }
    Ok(())
}

/// The build's own protocols as rows, each with its document. They are checked by a test; one that does not parse is
/// not offered.
fn shipped() -> impl Iterator<Item = (Revision, serde_json::Value)> {
    Reference::protocol_texts().filter_map(|(name, body)| {
        let protocol = reference::protocols::parse(name, body).ok()?;
        Some((row(&protocol, body.to_string()), protocol_document::of(&protocol)))
    })
}

fn row(protocol: &Protocol, body: String) -> Revision {
    Revision {
        protocol: protocol.code.clone(),
        revision: i32::try_from(protocol.revision).unwrap_or(1),
        title: protocol.title.clone(),
        chemistry: Chemistry::of(protocol.family).code().to_string(),
        fingerprint: Sha256::digest(body.as_bytes()).to_vec(),
        body,
    }
}

/// A service of this salon: what is in force, and the newest shipped revision.
pub struct Service {
    /// The newest revision, the salon's own where there is one.
    pub current: Protocol,
    /// Its number.
    pub revision: i32,
    /// It is offered for no new plan.
    pub retired: bool,
    /// The newest shipped one.
    pub shipped: Protocol,
    /// The shipped one that the salon's own was compared with; the newest where there is no own.
    pub compared: Protocol,
    /// Every revision, newest first.
    pub issues: Vec<protocols::Issue>,
}

impl Service {
    /// The salon has a copy of its own.
    pub fn is_own(&self) -> bool {
        self.revision > SHIPPED_MOST
    }
}

/// One service. `None`: this salon has none such.
pub async fn service(s: &mut Scoped, app: &App, code: &str) -> Stored<Option<Service>> {
    let issues = protocols::list_issues(s, code).await?;
    let Some(newest) = issues.first() else { return Ok(None) };
    let corrupt = || StoreError::Corrupt("protocol_revision", code.to_owned());
    let shipped = issues.iter().find(|i| !i.is_own()).ok_or_else(corrupt)?.revision;
    let (revision, retired) = (newest.revision, newest.retired);
    let compared = newest.based_on.unwrap_or(shipped);
    Ok(Some(Service {
        current: revision_of(s, app, code, revision).await?,
        revision,
        retired,
        shipped: revision_of(s, app, code, shipped).await?,
        compared: revision_of(s, app, code, compared).await?,
        issues,
    }))
}

/// A revision's protocol, which is there.
pub async fn revision_of(s: &mut Scoped, app: &App, code: &str, revision: i32) -> Stored<Protocol> {
    let found = protocols::find(s, code, revision).await?;
    app.protocol(&found.ok_or_else(|| StoreError::Corrupt("protocol_revision", code.to_owned()))?)
}

/// The protocol that new plans take, for the book and for when a head is due: the salon's own, else the shipped one.
/// Whether it is offered is asked where it is booked and planned.
pub async fn in_force(s: &mut Scoped, app: &App, code: &str) -> Stored<Option<Protocol>> {
    match protocols::find_own(s, code).await? {
        Some(own) => app.protocol(&own).map(Some),
        None => Ok(app.reference.protocol(code).cloned()),
    }
}

/// A draft, read and judged.
pub struct OpenDraft {
    /// As kept.
    pub draft: Draft,
    /// What it says.
    pub protocol: Protocol,
    /// Everything that keeps it from being published.
    pub faults: Vec<Fault>,
}

/// Everything wrong with a salon's own protocol as it stands: as `rinsebell check protocols` judges it, and what it lost of
/// the newest shipped one that law asks for.
pub fn judge(protocol: &Protocol, shipped: &Protocol) -> Vec<Fault> {
    let mut faults = check::check(protocol, reference::floor::shipped());
    faults.extend(lawful::missing(shipped, protocol));
    faults
}

/// The draft of a protocol, judged anew.
pub async fn draft(s: &mut Scoped, app: &App, code: &str) -> Stored<Option<OpenDraft>> {
    let Some(draft) = protocol_drafts::find(s, code).await? else { return Ok(None) };
    let mut protocol = reference::protocols::read(&draft.protocol, &draft.body)
        .map_err(|_| StoreError::Corrupt("protocol_draft", draft.protocol.clone()))?;
    reference::floor::shipped().cap(&mut protocol);
    let faults = judge(&protocol, app.reference.protocol(code).unwrap_or(&protocol));
    Ok(Some(OpenDraft { draft, protocol, faults }))
}

/// What a draft begins as.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Beginning {
    /// The revision in force.
    Current,
    /// The newest shipped one: the way back.
    Shipped,
}

/// Begins a draft; one that is there stays as it is.
pub async fn begin_draft(s: &mut Scoped, app: &App, code: &str, from: Beginning, by: PersonId) -> Kept<()> {
    let found = service(s, app, code).await?.ok_or(ProtocolRefused::NotFound)?;
    let (body, based_on) = match from {
        Beginning::Current => (&found.current, found.compared.revision),
        Beginning::Shipped => (&found.shipped, found.shipped.revision),
    };
    let based_on = i32::try_from(based_on).unwrap_or(1);
    let new = protocol_drafts::insert(s, code, based_on, &protocol_text::write(body), by).await?;
    // A way back that finds a draft would not be taken: it says so.
    if !new && from == Beginning::Shipped {
        return Err(ProtocolRefused::Stale);
    }
    s.changed("protocols");
    Ok(())
}

/// Saves a changed draft over the version that was seen, wrong or right.
pub async fn save_draft(s: &mut Scoped, seen: i32, changed: &Protocol, by: PersonId) -> Kept<()> {
    let body = protocol_text::write(changed);
    if !protocol_drafts::save(s, &changed.code, seen, &body, by).await? {
        return Err(ProtocolRefused::Stale);
    }
    s.changed("protocols");
    Ok(())
}

/// Throws a draft away.
pub async fn discard_draft(s: &mut Scoped, code: &str, seen: i32) -> Kept<()> {
    if !protocol_drafts::remove(s, code, seen).await? {
        return Err(ProtocolRefused::Stale);
    }
    s.changed("protocols");
    Ok(())
}

/// Publishes a draft as the salon's next revision. `compared`: its differences from the newest shipped revision
/// were looked at, which is news no longer. Runs and plans of before keep theirs.
pub async fn publish(
    s: &mut Scoped,
    app: &App,
    code: &str,
    seen: i32,
    (why, compared): (&str, bool),
    by: PersonId,
) -> Kept<i32> {
    let open = draft(s, app, code).await?.ok_or(ProtocolRefused::Stale)?;
    if open.draft.version != seen {
        return Err(ProtocolRefused::Stale);
    }
    let found = service(s, app, code).await?.ok_or(ProtocolRefused::NotFound)?;
    if !open.faults.is_empty() {
        return Err(ProtocolRefused::Faults(open.faults));
    }
    let news = compared && found.compared.revision != found.shipped.revision;
    if difference::between(&found.current, &open.protocol).is_empty() && !found.retired && !news {
        return Err(ProtocolRefused::Unchanged);
    }
    let shipped = i32::try_from(found.shipped.revision).unwrap_or(1);
    let based_on = if compared { shipped } else { open.draft.based_on };
    let again = open.protocol.clone();
    let number = append(s, &found, open.protocol, based_on, (why, false), by).await?;
    if again.retouch != found.current.retouch {
        super::dues::renew_dues(s, &again).await?;
    }
    if !protocol_drafts::remove(s, code, seen).await? {
        return Err(ProtocolRefused::Stale);
    }
    Ok(number)
}

/// Takes a service out of what is offered for new plans, or offers it again: a revision like any other.
pub async fn retire(
    s: &mut Scoped,
    app: &App,
    code: &str,
    seen: i32,
    (why, retired): (&str, bool),
    by: PersonId,
) -> Kept<i32> {
    let found = service(s, app, code).await?.ok_or(ProtocolRefused::NotFound)?;
    if found.revision != seen || found.retired == retired {
        return Err(ProtocolRefused::Stale);
    }
    let based_on = i32::try_from(found.compared.revision).unwrap_or(1);
    // What is given no more need not keep to a floor that was raised since: the shipped text stands for it.
    let kept = judge(&found.current, &found.shipped).is_empty();
    let protocol = if kept { found.current.clone() } else { found.shipped.clone() };
    append(s, &found, protocol, based_on, (why, retired), by).await
}

async fn append(
    s: &mut Scoped,
    found: &Service,
    mut protocol: Protocol,
    based_on: i32,
    (why, retired): (&str, bool),
    by: PersonId,
) -> Kept<i32> {
    let number = found.revision.max(SHIPPED_MOST) + 1;
    protocol.revision = u32::try_from(number).unwrap_or(u32::MAX);
    let body = protocol_text::write(&protocol);
    // The very loader of every file has the last word on what is saved.
    let read = reference::protocols::parse(&protocol.code, &body)
        .map_err(|_| ProtocolRefused::Faults(judge(&protocol, &found.shipped)))?;
    let new = NewRevision { revision: &row(&read, body), document: protocol_document::of(&read) };
    if !protocols::insert_own(s, OwnRevision { new, based_on, by, why, retired }).await? {
        return Err(ProtocolRefused::Stale);
    }
    s.changed("protocols");
    Ok(number)
}
