//! Test visits: a patch test placed, strands taken through, cut strands in the bath. Nothing goes on the head, so
//! there is nothing to check: the plan of such a visit has no application and is clear.

use super::plan_checks::salon;
use super::plans::NotStarted;
use super::runs::{self, Hand};
use super::strands;
use crate::app::App;
use crate::domain::chemistry::Verdict;
use crate::domain::ids::{ClientId, RunId};
use crate::domain::protocol::{Kind, Protocol, TestKind};
use crate::domain::run::Refusal;
use crate::store::clients::Client;
use crate::store::plans::{self, NewPlan};
use crate::store::protocols::{self, Revision};
use crate::store::runs::Run;
use crate::store::{Scoped, Stored, clients, hair_tests, skin_tests};

/// The salon's test visits, newest revision of each, by title.
///
/// # Errors
/// Those of the store.
pub async fn list_test_visits(s: &mut Scoped, app: &App) -> Stored<Vec<(Revision, Protocol)>> {
    let mut visits = Vec::new();
    for revision in protocols::list_newest(s).await? {
        // A text this build cannot read offers no visit, and hides none of the others.
        let Ok(protocol) = app.protocol(&revision) else { continue };
        if protocol.kind == Kind::TestVisit {
            visits.push((revision, protocol));
        }
    }
    Ok(visits)
}

/// The test a visit records.
pub fn test_of(protocol: &Protocol) -> Option<TestKind> {
    protocol.steps.iter().find_map(|step| step.records)
}

/// Starts a test visit now; whoever asks answers for it. Gives the run.
///
/// # Errors
/// [`NotStarted::NotFound`] for a code that is none of the salon's test visits, else as for any run.
pub async fn start_test_visit(
    s: &mut Scoped,
    app: &App,
    client: &Client,
    code: &str,
    chair: &str,
    hand: Hand<'_>,
) -> Result<RunId, NotStarted> {
    let Some(person) = hand.person else {
        return Err(NotStarted::Run(runs::Refused::Reasons(vec![Refusal::PersonMissing])));
    };
    let visits = list_test_visits(s, app).await?;
    let (revision, _) = visits.iter().find(|(r, _)| r.protocol == code).ok_or(NotStarted::NotFound)?;
    clients::lock(s, client.id()).await?;
    let (_, zone) = salon(s).await?;
    let today = zone.day_of(s.now().await?);
    let told = strands::load(s, &app.reference, client, today, None).await?;
    let plan = plans::insert(
        s,
        &NewPlan {
            client: client.id(),
            protocol: &revision.protocol,
            revision: revision.revision,
            by: person.id,
            as_of: today,
            strand_seq: told.as_ref().map_or(0, |t| t.last_seq),
            verdict: Verdict::Clear.code(),
            findings: &[],
            applications: &[],
            trim_mm: None,
            trim_agreed: None,
        },
    )
    .await?;
    let run = runs::start_run(s, app, plan, chair, hand).await.map_err(NotStarted::Run)?;
    s.changed(format!("client:{}", client.client_id));
    Ok(run)
}

/// What was written down since a test visit began, in words: one line a test. In a service whose protocol reads the
/// strand tests, those as well that may still stand from the days before.
///
/// # Errors
/// Those of the store.
pub async fn list_written(
    s: &mut Scoped,
    run: &Run,
    (kind, before_days): (TestKind, i64),
) -> Stored<Vec<String>> {
    let client = ClientId(run.client_id);
    let within =
        |at: time::OffsetDateTime| at >= run.started_at && run.ended_at.is_none_or(|ended| at <= ended);
    if kind == TestKind::PatchTest {
        let placed = skin_tests::list_by_client(s, client).await?;
        let here = placed.iter().filter(|t| within(t.placed_at));
        return Ok(here.map(|t| tr!("{}, lot {}: placed", t.product_name, t.lot_code)).collect());
    }
    let code = if kind == TestKind::StrandTest { "strand" } else { "metallic-salt" };
    let done = hair_tests::list_by_client(s, client).await?;
    let before = |at| before_days > 0 && run.started_at - time::Duration::days(before_days) <= at;
    let here = done.iter().filter(|t| t.kind == code && (within(t.done_at) || before(t.done_at)));
    let words = |t: &hair_tests::HairTest| {
        let name = t.product_name.as_deref().unwrap_or(tr!("Cut strands"));
        let place = if t.place == "worst-place" { tr!("worst place") } else { tr!("sound place") };
        format!("{name}, {place}: {}", if t.passed { "passed" } else { tr!("not passed") })
    };
    Ok(here.map(words).collect())
}
