//! One client's whole record as one file to read and to print: whoever it is about may ask for it.

use askama::Template;
use axum::extract::Path;
use axum::response::{Html, IntoResponse as _, Response};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use time::OffsetDateTime;

use crate::calendar::{Zone, iso_day};
use crate::domain::access::Act;
use crate::domain::ids::RunId;
use crate::flow::client_records as flow;
use crate::store::client_records::{self, NoteCopy};
use crate::store::{Scoped, consults, hair_tests, result_photos, runs, skin_tests};
use crate::web::client_imports::download;
use crate::web::clients::{client_id, find, zone};
use crate::web::form::Errors;
use crate::web::problem::Problem;
use crate::web::proof::{VisitPage, visit_page};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::shell::Shell;

/// The route of the copy.
pub const LINES: &[Line] = lines![
    get "/clients/{id}/record" Open::To(Act::KeepRecords) => copy,
];

/// Rows of each list in the file.
const MOST: i64 = 500;
/// Visits in the file, newest first.
const VISITS_MOST: usize = 100;
/// Pictures in the file, newest first: each is two million bytes at most.
const PHOTOS_MOST: i64 = 12;
/// The file's own look, so that it needs nothing beside it.
const LOOK: &str = include_str!("../../static/css/copy.css");

type Told = (String, String, String);

struct List {
    title: &'static str,
    none: &'static str,
    rows: Vec<Told>,
}

#[derive(Template)]
#[template(path = "clients/copy.html")]
struct CopyPage {
    name: String,
    salon: String,
    day: String,
    by: String,
    most: i64,
    most_visits: usize,
    /// What is not here whole.
    cut: Vec<&'static str>,
    details: Vec<(&'static str, String)>,
    lists: Vec<List>,
    visits: Vec<VisitPage>,
    consents: Vec<Told>,
    /// Photos of results: when, and the picture, inside the file.
    photos: Vec<(String, String)>,
}

fn instant(zone: &Zone, at: OffsetDateTime) -> String {
    format!("{} {}", iso_day(zone.day_of(at)), zone.clock(at))
}

fn notes(
    title: &'static str,
    none: &'static str,
    found: Vec<NoteCopy>,
    at: impl Fn(OffsetDateTime) -> String,
) -> List {
    List { title, none, rows: found.into_iter().map(|n| (at(n.at), n.what, n.words)).collect() }
}

async fn tests_and_consults(
    s: &mut Scoped,
    zone: &Zone,
    client: &crate::store::clients::Client,
) -> Result<Vec<List>, Problem> {
    let id = client.id();
    let at = |t| instant(zone, t);
    let consults = consults::list_by_client(s, id, MOST).await?;
    let told = consults.into_iter().map(|c| {
        let t = c.told;
        let families: Vec<&str> = t.reactions.iter().map(|f| f.words()).collect();
        let mut said = Vec::new();
        if !families.is_empty() {
            said.push(tr!("reacted to {}", families.join(", ")));
        }
        let flags = [
            (t.black_henna_reaction, tr!("reacted to black henna")),
            (t.black_henna, tr!("black henna")),
            (t.scratched_within_3_days, tr!("scratched within three days")),
            (t.pregnant, "pregnant"),
            (t.medication, "medication"),
            (t.scalp_treatment, tr!("scalp treatment")),
            (t.silver_in_history, tr!("silver in the hair's history")),
        ];
        said.extend(flags.into_iter().filter(|(yes, _)| *yes).map(|(_, w)| w.to_string()));
        let what = tr!("scalp {}, colour at home: {}", t.scalp.words(), t.home_colour.words());
        (at(c.taken_at), what, said.join("; "))
    });
    let consults = List { title: tr!("Consults"), none: tr!("None read."), rows: told.collect() };
    let skin = skin_tests::list_by_client(s, id).await?.into_iter().map(|t| {
        let outcome = t.outcome.or(t.told_outcome).unwrap_or_else(|| tr!("not read").into());
        (at(t.placed_at), tr!("patch test, {}: {}, lot {}", t.place, t.product_name, t.lot_code), outcome)
    });
    let mut rows: Vec<Told> = skin.collect();
    rows.extend(hair_tests::list_by_client(s, id).await?.into_iter().map(|t| {
        let what = [Some(tr!("{} test", t.kind)), t.product_name, t.lot_code.map(|l| tr!("lot {l}", l = l))];
        let result = if t.passed { "passed" } else { tr!("not passed") };
        (
            at(t.done_at),
            what.into_iter().flatten().collect::<Vec<_>>().join(", "),
            tr!("{} min, {result}", t.minutes, result = result),
        )
    }));
    Ok(vec![
        consults,
        List { title: tr!("Tests on skin and hair (the newest fifty of each)"), none: tr!("None."), rows },
    ])
}

/// The file. That it was taken stands in the book.
pub async fn copy(seat: Seat, Path(id): Path<String>) -> Result<Response, Problem> {
    let by = seat.require(Act::KeepRecords)?.clone();
    let zone = zone(&seat)?;
    let at = |t| instant(&zone, t);
    let mut s = seat.begin().await?;
    let client = find(&mut s, client_id(&id)?).await?;
    let id = client.id();
    let now = s.now().await?;
    let mut lists = tests_and_consults(&mut s, &zone, &client).await?;
    let words = client_records::list_answers(&mut s, id, MOST).await?;
    lists.push(notes(tr!("Answers in words"), tr!("None."), words, at));
    let strand = client_records::list_strand(&mut s, id, MOST).await?;
    // A day of the calendar, whatever the zone.
    lists.push(notes(tr!("The hair's story"), tr!("Nothing told."), strand, |t| iso_day(t.date())));
    let felt = client_records::list_readings(&mut s, id, MOST).await?;
    lists.push(notes(tr!("Measured and felt"), tr!("Nothing."), felt, at));
    let wrong = client_records::list_incidents(&mut s, id, MOST).await?;
    lists.push(notes(tr!("Incidents"), tr!("None."), wrong, at));
    let booked = client_records::list_bookings(&mut s, id, MOST).await?.into_iter().map(|b| {
        let what = b.protocol.map_or_else(|| b.purpose.clone(), |p| format!("{}, {p}", b.purpose));
        let why = b.reason.filter(|r| !r.is_empty()).map_or_else(String::new, |r| format!(": {r}"));
        (at(b.starts_at), what, format!("{}{why}", b.state))
    });
    lists.push(List { title: tr!("Bookings"), none: tr!("None."), rows: booked.collect() });
    let sent = client_records::list_messages(&mut s, id, MOST).await?;
    lists.push(notes(tr!("Messages (day and subject)"), tr!("None."), sent, at));
    let reached = client_records::list_followups(&mut s, id, MOST).await?;
    lists.push(notes(tr!("Calls"), tr!("None."), reached, at));
    let consents = client_records::list_consents(&mut s, id, MOST).await?.into_iter().map(|c| {
        let signed = tr!("Signed by {} ({}), witnessed by {}.", c.signed_name, c.signer, c.witness);
        (at(c.signed_at), signed, c.words)
    });
    let consents: Vec<Told> = consents.collect();
    let mut pictures = result_photos::list_by_client(&mut s, id, PHOTOS_MOST + 1).await?;
    let more_pictures = pictures.len() as i64 > PHOTOS_MOST;
    pictures.truncate(PHOTOS_MOST as usize);
    let photos = pictures
        .iter()
        .map(|p| (at(p.agreed_at), format!("data:image/jpeg;base64,{}", STANDARD.encode(&p.jpeg))))
        .collect();
    let (mut visits, mut more) = (Vec::new(), false);
    for run in runs::list_by_client(&mut s, id).await? {
        more = visits.len() == VISITS_MOST;
        if more {
            break;
        }
        let shell = Shell::plain("", 0);
        visits.push(visit_page(&mut s, &seat.app, &zone, RunId(run.run_id), shell, Errors::none()).await?);
    }
    flow::note_copy(&mut s, by.id, id).await?;
    s.commit().await?;
    let mut cut: Vec<&'static str> =
        lists.iter().filter(|l| l.rows.len() as i64 >= MOST).map(|l| l.title).collect();
    cut.extend((consents.len() as i64 >= MOST).then_some(tr!("Consents")));
    cut.extend(more.then_some(tr!("Visits")));
    cut.extend(more_pictures.then_some(tr!("Photos of results")));
    let none = |text: String| if text.is_empty() { tr!("not told").to_string() } else { text };
    let details = vec![
        (tr!("Number"), id.to_string()),
        (tr!("Born on"), none(client.born_on.map(iso_day).unwrap_or_default())),
        (tr!("Phone"), none(client.phone.clone())),
        (tr!("Email"), none(client.email.clone())),
        (tr!("Curl"), none(client.curl_group.clone().unwrap_or_default())),
        (tr!("To be reached"), if client.no_contact { tr!("no").into() } else { tr!("yes").into() }),
        (tr!("Here since"), at(client.created_at)),
    ];
    let shown = CopyPage {
        name: client.name,
        salon: seat.salon_row.name.clone(),
        day: at(now),
        by: by.name,
        most: MOST,
        most_visits: VISITS_MOST,
        cut,
        details,
        lists,
        visits,
        consents,
        photos,
    };
    let text = shown.render().map_err(|error| {
        tracing::error!(%error, "a template did not render");
        Problem::Broken
    })?;
    let text = text.replacen("<!--look-->", &format!("<style>{LOOK}</style>"), 1);
    Ok(download(Html(text).into_response(), "text/html; charset=utf-8", "client-record.html"))
}
