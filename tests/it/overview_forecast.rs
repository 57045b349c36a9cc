//! The hours foretold against hours that came: an invented salon's past, stood back by quarters of a year. Only what was
//! known on the day the forecast begins goes in; the weeks after it are counted as they came.

use std::collections::BTreeMap;

use rinsebell::demo::invent::{Asked, invent};
use rinsebell::domain::growth::Retouch;
use rinsebell::domain::growth::visits::{self, Did, Visit};
use rinsebell::domain::overview::{Habit, Head, Week, wanted};
use rinsebell::domain::protocol::Protocol;
use rinsebell::flow::overview::hours::{minutes_of, waits};
use rinsebell::reference::Reference;
use rinsebell::store::overview::Past;
use sqlx::PgPool;
use time::{Date, Duration};

use crate::support::Salon;

const WEEKS: usize = 12;

/// One client's record up to a day, and the services after it.
struct Client {
    curl: String,
    story: Vec<Visit>,
    given: Vec<(Date, String)>,
}

/// A line of a strand's story: client, day, what was done, whether at the scalp, millimetres and their doubt.
type Told = (i64, Date, String, bool, Option<f64>, Option<f64>);

async fn clients(owner: &PgPool, again: &[&str]) -> BTreeMap<i64, Client> {
    let mut all = BTreeMap::new();
    let heads: Vec<(i64, String)> =
        sqlx::query_as("select client_id, curl_group from client").fetch_all(owner).await.unwrap();
    for (id, curl) in heads {
        all.insert(id, Client { curl, story: Vec::new(), given: Vec::new() });
    }
    let events: Vec<Told> = sqlx::query_as(
        "select client_id, on_day, did, coalesce(zone in ('new-growth', 'root-to-end'), false), mm, sd_mm
         from strand_event where did in ('apply', 'measure') order by client_id, seq",
    )
    .fetch_all(owner)
    .await
    .unwrap();
    for (id, on, did, at_scalp, mm, sd_mm) in events {
        let did = match (did.as_str(), mm, sd_mm) {
            ("measure", Some(mm), Some(sd_mm)) => Did::Measured { mm, sd_mm },
            _ => Did::Applied { at_scalp },
        };
        all.get_mut(&id).unwrap().story.push(Visit { on, did });
    }
    let given: Vec<(i64, Date, String)> = sqlx::query_as(
        "select r.client_id, (r.started_at at time zone s.zone)::date, r.protocol from run r join salon s using (salon_id)
         where r.ended_how = 'finished' and r.protocol = any($1) order by r.started_at",
    )
    .bind(again)
    .fetch_all(owner)
    .await
    .unwrap();
    for (id, on, protocol) in given {
        all.get_mut(&id).unwrap().given.push((on, protocol));
    }
    all
}

/// What the salon knew of a client on a day; none of one who had nothing here that comes again.
fn known(reference: &Reference, client: &Client, today: Date) -> Option<(Head, Past)> {
    let before: Vec<&(Date, String)> = client.given.iter().filter(|(on, _)| *on < today).collect();
    let (last_on, code) = before.last()?;
    let given: &Protocol = reference.protocol(code)?;
    let due = reference.retouch_of(given.family).unwrap_or(given);
    let again = due.retouch?;
    let story: Vec<Visit> = client.story.iter().copied().filter(|v| v.on < today).collect();
    let rate = reference.growth.find_start(&client.curl)?.rate.after_all(&visits::observations(&story));
    let asked = Retouch {
        target_mm: again.target_mm,
        least_weeks: again.least_weeks,
        latest_weeks: again.latest_weeks,
    };
    let head = Head {
        rate,
        target_mm: asked.target_mm,
        least_days: f64::from(asked.least_weeks) * 7.0,
        last_on: *last_on,
        minutes: minutes_of(due),
    };
    let past = Past {
        client_id: 0,
        rate_mm: rate.mean as f32,
        target_mm: asked.target_mm as f32,
        least_days: i32::from(asked.least_weeks) * 7,
        days: before.iter().map(|(on, _)| *on).collect(),
    };
    Some((head, past))
}

/// Weeks inside the band, weeks, minutes that came, minutes foretold.
#[derive(Debug, Default)]
struct Tally {
    inside: usize,
    weeks: usize,
    came: f64,
    mean: f64,
}

fn stand_back(reference: &Reference, clients: &BTreeMap<i64, Client>, today: Date, tally: &mut Tally) {
    let known: Vec<(&Client, Head, Past)> = clients
        .values()
        .filter_map(|c| known(reference, c, today).map(|(head, past)| (c, head, past)))
        .collect();
    let pasts: Vec<Past> = known.iter().map(|k| k.2.clone()).collect();
    let habit = Habit::learn(&waits(&pasts, today)).expect("enough have come again");
    let heads: Vec<Head> = known.iter().map(|k| k.1).collect();
    let first = Week::of(today).plus(1);
    let mut came = [0.0; WEEKS];
    for (client, head, _) in &known {
        for (on, _) in &client.given {
            let slot = usize::try_from(Week::of(*on).since(first)).ok().filter(|n| *n < WEEKS);
            if let Some(slot) = slot {
                came[slot] += head.minutes.chair;
            }
        }
    }
    for (foretold, came) in wanted(&heads, &habit, today, WEEKS).iter().zip(came) {
        tally.inside += usize::from(foretold.chair.holds(came));
        tally.weeks += 1;
        tally.came += came;
        tally.mean += foretold.chair.mean;
    }
}

async fn held_back(seed: u64) -> Tally {
    let (app, owner, database, _stop) = Salon::nobody().await;
    let asked = Asked { seed, clients: 300, years: 2, staff: 6 };
    invent(&database.owner, &app, asked).await.unwrap_or_else(|e| panic!("{e}"));
    let reference = &app.reference;
    let again: Vec<&str> =
        reference.protocols.iter().filter(|p| p.retouch.is_some()).map(|p| p.code.as_str()).collect();
    let clients = clients(&owner, &again).await;
    let today: Date = sqlx::query_scalar("select (rinsebell_now() at time zone zone)::date from salon")
        .fetch_one(&owner)
        .await
        .unwrap();
    let mut tally = Tally::default();
    for quarters in 1..=3 {
        // Monday of the week before twelve whole ones.
        let back = Week::of(today).plus(-13 * quarters).monday() + Duration::days(2);
        stand_back(reference, &clients, back, &mut tally);
    }
    tally
}

/// Of 36 weeks of three held-back quarters four fifths are 28.8, with a binomial standard error of 2.4: three of those to
/// each side, and the middle within a tenth of what came.
#[tokio::test]
async fn eight_weeks_in_ten_of_held_back_quarters_lie_in_the_band() {
    let tally = held_back(11).await;
    assert_eq!(tally.weeks, 36);
    assert!((22..=35).contains(&tally.inside), "{tally:?}");
    assert!((tally.came / tally.mean - 1.0).abs() < 0.1, "{tally:?}");
}
