//! The recall list: from a lot to every head and every patch of skin it met; on a page to print, and as a table file.

use askama::Template;
use axum::extract::Path;
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse as _, Response};
use axum_extra::extract::Form;
use serde::Deserialize;

use crate::calendar::Zone;
use crate::domain::access::Act;
use crate::domain::hair_test::TestPlace;
use crate::domain::ids::{ClientId, LotId, ProductId};
use crate::domain::skin_test::{Outcome, SkinPlace};
use crate::flow::lots as flow;
use crate::store::Scoped;
use crate::store::lots::{self, Lot};
use crate::store::products::{self, Product};
use crate::store::recall::{self, Call, Tested, Went};
use crate::web::clients::zone;
use crate::web::problem::{Answered, Problem};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::shell::Shell;
use crate::web::{csv, once, page};

/// The routes of this list. The file leaves the house: whoever may see the sign-off book may take it.
pub const LINES: &[Line] = lines![
    get "/shelf/lots/{id}/recall" Open::To(Act::SeeShelf) => show,
    post "/shelf/lots/{id}/recall/calls" Open::To(Act::Book) => call,
    get "/shelf/lots/{id}/recall.csv" Open::To(Act::SeeProof) => file,
];

/// One head a lot met.
pub struct Head {
    pub client_href: String,
    pub name: String,
    pub phone: String,
    pub email: String,
    pub when: String,
    /// The service, or the test.
    pub what: String,
    /// The visit's whole record; empty for a test.
    pub visit_href: String,
    pub grams: String,
    pub by: String,
    /// What went wrong since, in words; empty for nothing.
    pub since: String,
    pub client: i64,
    /// The same telephone number as a link takes it.
    pub dial: String,
    /// The last try to tell this client of the lot, in words; empty for none.
    pub told: String,
    /// Somebody was told.
    pub is_told: bool,
    pub once_key: String,
}

/// Digits and the plus alone, as a telephone link takes them (RFC 3966).
pub fn dial(phone: &str) -> String {
    phone.chars().filter(|c| c.is_ascii_digit() || *c == '+').collect()
}

fn incident_words(kind: &str) -> &'static str {
    match kind {
        "stop-and-rinse" => tr!("stop and rinse"),
        "sting" => tr!("it stung"),
        "over-processed" => "over-processed",
        "most-time-passed" => tr!("longest time passed"),
        "late-breach" => tr!("late breach"),
        _ => tr!("something else"),
    }
}

fn test_words(t: &Tested) -> (String, String) {
    if t.kind == "strand" {
        let failed = t.outcome.as_deref() == Some("failed");
        let place = TestPlace::from_code(&t.place).map_or("", TestPlace::words);
        return (
            tr!("strand test, {place}", place = place),
            if failed { tr!("not passed").into() } else { String::new() },
        );
    }
    let seen = t.outcome.as_deref().and_then(Outcome::from_code);
    let since = seen.filter(|o| o.is_positive()).map(|o| tr!("reaction: {}", o.words()));
    let place = SkinPlace::from_code(&t.place).map_or("", SkinPlace::words);
    let unread = if seen.is_some() { "" } else { tr!(", not read yet") };
    (tr!("patch test {place}{unread}", place = place, unread = unread), since.unwrap_or_default())
}

impl Head {
    /// Services and tests together, newest first within each kind.
    pub fn list(went: &[Went], tested: &[Tested], calls: &[Call], zone: &Zone) -> Vec<Head> {
        let day = |at| format!("{} {}", zone.day_words(at), zone.day_of(at).year());
        let told = |client: i64| {
            let call = calls.iter().find(|c| c.client_id == client)?;
            let (when, clock) = (zone.day_words(call.at), zone.clock(call.at));
            let words = match call.outcome.as_str() {
                "told" => tr!("told {}, {}, by {}", when, clock, call.by),
                _ => tr!("not reached {}, {}, by {}", when, clock, call.by),
            };
            Some((words, call.outcome == "told"))
        };
        let services = went.iter().map(|w| Head {
            client_href: format!("/clients/{}", w.client_id),
            name: w.client_name.clone(),
            phone: w.phone.clone(),
            email: w.email.clone(),
            when: day(w.started_at),
            what: w.service.clone(),
            visit_href: format!("/proof/runs/{}", w.run_id),
            grams: format!("{:.0} g", w.grams),
            by: w.by.clone(),
            since: w
                .incidents
                .split(',')
                .filter(|x| !x.is_empty())
                .map(incident_words)
                .collect::<Vec<_>>()
                .join(", "),
            client: w.client_id,
            dial: dial(&w.phone),
            is_told: told(w.client_id).is_some_and(|t| t.1),
            told: told(w.client_id).map_or(String::new(), |t| t.0),
            once_key: once::key(),
        });
        let tests = tested.iter().map(|t| {
            let (what, since) = test_words(t);
            Head {
                client_href: format!("/clients/{}", t.client_id),
                name: t.client_name.clone(),
                phone: t.phone.clone(),
                email: t.email.clone(),
                when: day(t.at),
                what,
                visit_href: String::new(),
                grams: String::new(),
                by: t.by.clone(),
                since,
                client: t.client_id,
                dial: dial(&t.phone),
                is_told: told(t.client_id).is_some_and(|t| t.1),
                told: told(t.client_id).map_or(String::new(), |t| t.0),
                once_key: once::key(),
            }
        });
        services.chain(tests).collect()
    }
}

#[derive(Template)]
#[template(path = "shelf/recall.html")]
struct RecallPage {
    shell: Shell,
    answer: String,
    product: String,
    code: String,
    gtin: String,
    lot_href: String,
    heads: Vec<Head>,
    printed: String,
    may_proof: bool,
    may_call: bool,
    /// How many of those met were told.
    reached: String,
    /// More were met than a list shows.
    cut: bool,
}

/// Rows a list holds of each kind (the store's own bound).
const MOST: usize = 500;

struct Found {
    lot: Lot,
    product: Product,
    went: Vec<Went>,
    tested: Vec<Tested>,
    calls: Vec<Call>,
}

async fn find(s: &mut Scoped, id: &str) -> Result<Found, Problem> {
    let id: LotId = id.parse().map_err(|_| Problem::NotFound)?;
    let lot = lots::find(s, id).await?.ok_or(Problem::NotFound)?;
    let product = products::find(s, ProductId(lot.product_id)).await?.ok_or(Problem::NotFound)?;
    Ok(Found {
        went: recall::list_went(s, id).await?,
        tested: recall::list_tested(s, id).await?,
        calls: recall::list_calls(s, id).await?,
        lot,
        product,
    })
}

/// The list, to read and to print.
pub async fn show(seat: Seat, Path(id): Path<String>) -> Answered {
    seat.require(Act::SeeShelf)?;
    let mut s = seat.begin().await?;
    let f = find(&mut s, &id).await?;
    let now = s.now().await?;
    s.commit().await?;
    let zone = zone(&seat)?;
    let heads = Head::list(&f.went, &f.tested, &f.calls, &zone);
    let mut met: Vec<i64> =
        f.went.iter().map(|w| w.client_id).chain(f.tested.iter().map(|t| t.client_id)).collect();
    met.sort_unstable();
    met.dedup();
    let told = f.calls.iter().filter(|c| c.outcome == "told" && met.contains(&c.client_id)).count();
    Ok(page::html(&RecallPage {
        shell: seat.shell(now, "/shelf", &["shelf"]),
        answer: match met.len() {
            0 => tr!("Lot {} met nobody", f.lot.code),
            1 => tr!("Lot {} met one client", f.lot.code),
            n => tr!("Lot {} met {n} clients", f.lot.code, n = n),
        },
        product: f.product.name,
        code: f.lot.code,
        gtin: f.product.gtin.unwrap_or_default(),
        lot_href: format!("/shelf/lots/{}", f.lot.lot_id),
        cut: f.went.len() >= MOST || f.tested.len() >= MOST,
        heads,
        printed: format!("{} {} {}", zone.day_words(now), zone.day_of(now).year(), zone.clock(now)),
        may_proof: seat.may(Act::SeeProof),
        may_call: seat.may(Act::Book),
        reached: match (told, met.len()) {
            (_, 0) => String::new(),
            (told, all) if told == all => tr!("All of them were told.").into(),
            (told, all) => tr!("Told so far: {} of {}.", told, all),
        },
    }))
}

/// A try to tell a client, as tapped.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Tried {
    once: String,
    client: String,
    outcome: String,
}

/// Notes that somebody was told, or not reached.
pub async fn call(seat: Seat, Path(id): Path<String>, Form(f): Form<Tried>) -> Answered {
    let by = seat.require(Act::Book)?.id;
    let mut s = seat.begin().await?;
    let found = find(&mut s, &id).await?;
    let here = format!("/shelf/lots/{}/recall", found.lot.lot_id);
    if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
        return Ok(again);
    }
    let unread = || Problem::Bad(tr!("This form was not made here: open the page again.").into());
    let told = match f.outcome.as_str() {
        "told" => true,
        "not-reached" => false,
        _ => return Err(unread()),
    };
    let client: i64 = f.client.parse().map_err(|_| unread())?;
    let met = found.went.iter().map(|w| w.client_id).chain(found.tested.iter().map(|t| t.client_id));
    if !met.into_iter().any(|c| c == client) {
        return Err(Problem::NotFound);
    }
    flow::note_recall_call(&mut s, LotId(found.lot.lot_id), ClientId(client), told, by).await?;
    let answer = once::settle(&mut s, &f.once, &here).await?;
    s.commit().await?;
    Ok(answer)
}

/// The list as a table file.
pub async fn file(seat: Seat, Path(id): Path<String>) -> Result<Response, Problem> {
    seat.require(Act::SeeProof)?;
    let mut s = seat.begin().await?;
    let f = find(&mut s, &id).await?;
    s.commit().await?;
    let zone = zone(&seat)?;
    let titles = [
        "product",
        "lot",
        "client",
        "phone",
        "email",
        "day",
        tr!("service or test"),
        "grams",
        "by",
        "since",
        "told",
    ];
    let mut rows: Vec<Vec<String>> = vec![titles.map(str::to_string).to_vec()];
    rows.extend(Head::list(&f.went, &f.tested, &f.calls, &zone).into_iter().map(|h| {
        let (product, lot) = (f.product.name.clone(), f.lot.code.clone());
        vec![product, lot, h.name, h.phone, h.email, h.when, h.what, h.grams, h.by, h.since, h.told]
    }));
    let mut answer = csv::text(&rows).into_response();
    let headers = answer.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("text/csv; charset=utf-8; header=present"));
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("private, no-store"));
    headers.insert(
        header::CONTENT_DISPOSITION,
        HeaderValue::from_str(&format!("attachment; filename=\"recall-lot-{}.csv\"", f.lot.lot_id))
            .map_err(|_| Problem::Broken)?,
    );
    Ok(answer)
}
