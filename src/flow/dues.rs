//! When a client is due again: from what the strand went through, what was measured and what the protocol asks.

use time::Date;

use crate::app::App;
use crate::domain::chemistry::family::Family;
use crate::domain::growth::visits::{self, Did, Visit};
use crate::domain::growth::{Lesson, Observation, Rate, Retouch};
use crate::domain::ids::ClientId;
use crate::domain::protocol::Protocol;
use crate::reference::Reference;
use crate::store::dues::{self, Due, GrowthEvent};
use crate::store::{Scoped, Stored, clients};

/// Curl a client starts from when the consult has not named one: the slowest of the published rows.
pub(super) const CURL_UNTIL_NAMED: &str = "tight";
/// The spread no estimate goes below, mm a day: readings by eye and by ruler are never exact for ever.
const LEAST_SD: f64 = 1e-4;

/// Works a client's due estimate out anew and keeps it: when a run has finished, and when new growth was measured.
/// Nothing is kept for a head on which nothing was done that comes again.
///
/// # Errors
/// Those of the store.
pub async fn refresh_due(s: &mut Scoped, app: &App, client: ClientId) -> Stored<Option<Due>> {
    let reference = &app.reference;
    let Some(record) = clients::find(s, client).await? else { return Ok(None) };
    let curl = record.curl_group.as_deref();
    let Some(last) = last_service(s, app, client).await? else { return Ok(None) };
    let prior = prior(s, reference, curl).await?;
    let Some(due) = keep_due(s, client, &last, prior).await? else { return Ok(None) };
    s.changed("regrowth");
    s.changed(format!("client:{client}"));
    Ok(Some(due))
}

/// The same for one of many, where what the salon has learned of this curl was asked once for all of them.
///
/// # Errors
/// Those of the store.
pub async fn refresh_due_from(
    s: &mut Scoped,
    app: &App,
    client: ClientId,
    prior: Rate,
) -> Stored<Option<Due>> {
    match last_service(s, app, client).await? {
        Some(last) => keep_due(s, client, &last, prior).await,
        None => Ok(None),
    }
}

/// The last service that comes again, and what was seen of the growth.
struct LastService {
    protocol: Protocol,
    on: Date,
    run_id: Option<i64>,
    seen: Vec<Visit>,
}

async fn last_service(s: &mut Scoped, app: &App, client: ClientId) -> Stored<Option<LastService>> {
    let reference = &app.reference;
    let events = dues::list_growth_events(s, client).await?;
    let again: Vec<&str> =
        reference.protocols.iter().filter(|p| p.retouch.is_some()).map(|p| p.code.as_str()).collect();
    let last_run = dues::find_last_run(s, client, &again).await?;
    let given = last_run.as_ref().and_then(|run| reference.protocol(&run.protocol));
    let Some((shipped, on)) = service_due(reference, given, &events) else { return Ok(None) };
    // Which service comes next is the trade's, its millimetres and weeks are the salon's own where it has some.
    let Some(protocol) = super::protocols::in_force(s, app, &shipped.code).await? else { return Ok(None) };
    Ok(Some(LastService {
        protocol,
        on,
        run_id: last_run.map(|run| run.run_id),
        seen: events.iter().map(|e| e.visit).collect(),
    }))
}

async fn keep_due(s: &mut Scoped, client: ClientId, last: &LastService, prior: Rate) -> Stored<Option<Due>> {
    let rate = prior.after_all(&visits::observations(&last.seen));
    let Some(due) = due_of(&last.protocol, rate, last.on) else { return Ok(None) };
    let due = Due { client_id: client.0, run_id: last.run_id, ..due };
    dues::upsert(s, &due).await?;
    Ok(Some(due))
}

/// Works out anew when everybody is due for one service: its millimetres or weeks were changed. The rate each head
/// was last estimated at stays.
///
/// # Errors
/// Those of the store.
pub async fn renew_dues(s: &mut Scoped, protocol: &Protocol) -> Stored<()> {
    let mut after = ClientId(0);
    loop {
        let page = dues::list_of_service(s, &protocol.code, after).await?;
        let Some(last) = page.last() else { break };
        after = ClientId(last.client_id);
        for known in page {
            let rate = Rate { mean: f64::from(known.rate_mm), sd: f64::from(known.rate_sd) };
            let Some(due) = due_of(protocol, rate, known.last_on) else { continue };
            let due = Due { client_id: known.client_id, run_id: known.run_id, ..due };
            dues::upsert(s, &due).await?;
        }
    }
    s.changed("regrowth");
    Ok(())
}

/// The service that comes next and the local day the last one of its chemistry was given.
fn service_due<'r>(
    reference: &'r Reference,
    given: Option<&'r Protocol>,
    events: &[GrowthEvent],
) -> Option<(&'r Protocol, Date)> {
    let family = |e: &GrowthEvent| e.family.as_deref().and_then(Family::from_code);
    let at_root = |e: &&GrowthEvent| matches!(e.visit.did, Did::Applied { at_scalp: true });
    let latest = |of: Family| {
        events.iter().rev().filter(at_root).find(|e| family(e).is_some_and(|f| f.group() == of.group()))
    };
    if let Some(given) = given {
        let last = latest(given.family)?;
        return Some((reference.retouch_of(given.family).unwrap_or(given), last.visit.on));
    }
    // Nothing given here comes again (a wave does not): what was told of elsewhere, the newest first.
    events.iter().rev().filter(at_root).filter(|e| !e.by_run).find_map(|e| {
        let protocol = reference.retouch_of(family(e)?)?;
        Some((protocol, e.visit.on))
    })
}

/// What the salon's clients of one curl teach, beside the published prior. `None` for a curl without a published row.
///
/// # Errors
/// Those of the store.
pub async fn lesson(s: &mut Scoped, reference: &Reference, curl: &str) -> Stored<Option<Lesson>> {
    let Some(start) = reference.growth.find_start(curl) else { return Ok(None) };
    let events = dues::list_curl_growth_events(s, curl).await?;
    let heads: Vec<Vec<Observation>> = events
        .chunk_by(|a, b| a.client_id == b.client_id)
        .map(|head| visits::observations(&head.iter().map(|e| e.visit).collect::<Vec<_>>()))
        .collect();
    Ok(Some(Lesson::learn(start.rate, &heads)))
}

/// Where a client of this curl starts: what the salon has learned when it may be used, else the published row. A curl
/// nobody has named teaches nothing and starts from the slowest published row.
pub async fn prior(s: &mut Scoped, reference: &Reference, curl: Option<&str>) -> Stored<Rate> {
    if let Some(curl) = curl
        && let Some(lesson) = lesson(s, reference, curl).await?
    {
        return Ok(lesson.prior());
    }
    let slowest = reference.growth.find_start(CURL_UNTIL_NAMED);
    Ok(slowest.expect("the shipped table has a start for each curl: a test holds it").rate)
}

fn due_of(protocol: &Protocol, rate: Rate, last_on: Date) -> Option<Due> {
    let again = protocol.retouch?;
    let asked = Retouch {
        target_mm: again.target_mm,
        least_weeks: again.least_weeks,
        latest_weeks: again.latest_weeks,
    };
    let window = asked.window(rate, last_on);
    let rate = Rate { sd: rate.sd.max(LEAST_SD), ..rate };
    Some(Due {
        client_id: 0,
        protocol: protocol.code.clone(),
        last_on,
        target_mm: asked.target_mm as f32,
        rate_mm: rate.mean as f32,
        rate_sd: rate.sd as f32,
        early_on: window.early?,
        middle_on: window.middle?,
        late_on: window.late,
        least_on: window.not_before,
        latest_on: window.latest,
        run_id: None,
    })
}
