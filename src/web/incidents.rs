//! Incidents: what went wrong, written down so that the client is helped and whoever must know can be told.

use askama::Template;
use axum::extract::Path;
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};
use axum_extra::extract::{Form, Query};
use serde::Deserialize;
use time::OffsetDateTime;

use crate::calendar::{Zone, day_words, iso_day};
use crate::domain::access::Act;
use crate::domain::ids::{ClientId, IncidentId};
use crate::domain::incident::{Aid, Amiss, Doctor, Serious, Sign};
use crate::flow::incidents::{self as flow, Kept, Told};
use crate::store::incident_photos::{self as store_photos, IncidentPhoto};
use crate::store::incidents::{self, Account, Incident, Met};
use crate::web::clients::{client_id, find as find_client, zone};
use crate::web::form::{Choice, Errors};
use crate::web::incident_photos;
use crate::web::incident_report::{self, kind_words, words_of};
use crate::web::problem::{Answered, Problem};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::shell::Shell;
use crate::web::{once, page, typed};

/// The routes of this screen.
pub const LINES: &[Line] = lines![
    get "/incidents" Open::To(Act::SeeProof) => list,
    get "/incidents/{id}" Open::To(Act::SeeProof) => show,
    post "/incidents/{id}/accounts" Open::To(Act::SeeProof) => write,
    get "/incidents/{id}/report" Open::To(Act::SeeProof) => report,
    post "/clients/{id}/incidents" Open::To(Act::SeeProof) => open,
];

/// Longest account, characters.
pub const WORDS_MOST: usize = 2000;

/// What was asked of the list.
#[derive(Deserialize, Default)]
#[serde(default)]
pub struct Asked {
    all: String,
    before: String,
}

struct Row {
    href: String,
    when: String,
    client: String,
    what: String,
    signs: String,
    state: String,
    serious: bool,
}

#[derive(Template)]
#[template(path = "incidents/list.html")]
struct ListPage {
    shell: Shell,
    answer: String,
    all: bool,
    rows: Vec<Row>,
    more: String,
}

fn row(zone: &Zone, i: Incident) -> Row {
    let state = match (i.closed, i.follow_on) {
        (None, _) => tr!("nothing written yet").to_string(),
        (Some(true), _) => "closed".to_string(),
        (Some(false), Some(day)) => tr!("looked after again {}", day_words(day)),
        (Some(false), None) => "open".to_string(),
    };
    let place = i.place.filter(|p| !p.is_empty()).map_or_else(String::new, |p| format!(", {p}"));
    let service = i.service.map_or_else(String::new, |t| format!("; {t}"));
    Row {
        href: format!("/incidents/{}", i.incident_id),
        when: format!("{}, {}", zone.day_words(i.opened_at), zone.clock(i.opened_at)),
        client: i.client_name,
        what: format!("{}{place}{service}", kind_words(&i.kind)),
        signs: words_of(&i.signs.unwrap_or_default(), |c| Sign::from_code(c).map(Sign::words)),
        state,
        serious: i.serious.is_some_and(|s| !s.is_empty()),
    }
}

/// Open incidents, or all.
pub async fn list(seat: Seat, Query(asked): Query<Asked>) -> Answered {
    seat.require(Act::SeeProof)?;
    let zone = zone(&seat)?;
    let all = asked.all == "yes";
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let mut rows = incidents::list(&mut s, !all, asked.before.parse().ok()).await?;
    s.commit().await?;
    let size = usize::try_from(incidents::PAGE).unwrap_or(50);
    let mut more = String::new();
    if rows.len() > size {
        rows.truncate(size);
        let every = if all { "all=yes&" } else { "" };
        more =
            rows.last().map_or_else(String::new, |i| format!("/incidents?{every}before={}", i.incident_id));
    }
    let answer = match (rows.len(), all) {
        (0, false) => tr!("No incident is open").to_string(),
        (0, true) => tr!("No incident so far").to_string(),
        (1, false) => tr!("One incident is open").to_string(),
        (n, false) if more.is_empty() => tr!("{n} incidents are open", n = n),
        (_, false) => tr!("More than fifty incidents are open").to_string(),
        (_, true) => tr!("Every incident, newest first").to_string(),
    };
    Ok(page::html(&ListPage {
        shell: seat.shell(now, "/proof", &["incidents"]),
        answer,
        all,
        rows: rows.into_iter().map(|i| row(&zone, i)).collect(),
        more,
    }))
}

/// The account as typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Typed {
    once: String,
    newest: String,
    onset_on: String,
    onset_at: String,
    signs: Vec<String>,
    sites: String,
    serious: Vec<String>,
    aid: Vec<String>,
    doctor: String,
    told: Vec<String>,
    words: String,
    follow_on: String,
    closed: String,
}

/// An account as shown.
struct Past {
    when: String,
    lines: Vec<String>,
}

#[derive(Template)]
#[template(path = "incidents/show.html")]
struct IncidentPage {
    shell: Shell,
    errors: Errors,
    once_key: String,
    base: String,
    client_href: String,
    client: String,
    answer: String,
    known: Vec<(String, String)>,
    met: Vec<String>,
    typed: Typed,
    signs: Vec<Choice>,
    serious: Vec<Choice>,
    aid: Vec<Choice>,
    doctor: Vec<Choice>,
    told: Vec<Choice>,
    closed: Vec<Choice>,
    past: Vec<Past>,
    is_serious: bool,
    /// The person was erased: what is kept is shown, and nothing asked.
    erased: bool,
    visit_href: String,
    photos: Vec<incident_photos::Shown>,
    photo_once: String,
    agreed_by: Vec<Choice>,
}

struct Opened {
    now: OffsetDateTime,
    incident: Incident,
    accounts: Vec<Account>,
    met: Vec<Met>,
    photos: Vec<IncidentPhoto>,
}

async fn load(seat: &Seat, id: IncidentId) -> Result<Opened, Problem> {
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let incident = incidents::find(&mut s, id).await?.ok_or(Problem::NotFound)?;
    let accounts = incidents::list_accounts(&mut s, id).await?;
    let met = match incident.run_id {
        Some(run) => incidents::list_met(&mut s, run).await?,
        None => Vec::new(),
    };
    let photos = store_photos::list(&mut s, id).await?;
    s.commit().await?;
    Ok(Opened { now, incident, accounts, met, photos })
}

/// How it stands with a doctor; nothing is chosen for whoever writes.
pub(super) fn doctor_choices(chosen: &str) -> Vec<Choice> {
    let all = Doctor::ALL.map(|d| (d.code(), d.words()));
    Choice::list(std::iter::once(("", tr!("choose"))).chain(all), &[chosen])
}

fn chosen(list: &[String]) -> Vec<&str> {
    list.iter().map(String::as_str).collect()
}

fn typed_of(zone: &Zone, o: &Opened) -> Typed {
    let (onset, newest) = match o.accounts.first() {
        Some(a) => (a.onset_at, Some(a)),
        None => (o.incident.opened_at, None),
    };
    let mut told = Vec::new();
    if newest.is_some_and(|a| a.maker_told) {
        told.push("maker".to_string());
    }
    if newest.is_some_and(|a| a.authority_told) {
        told.push("authority".to_string());
    }
    Typed {
        once: String::new(),
        newest: newest.map_or_else(String::new, |a| a.account_id.to_string()),
        onset_on: iso_day(zone.day_of(onset)),
        onset_at: zone.clock(onset),
        signs: newest.map(|a| a.signs.clone()).unwrap_or_default(),
        sites: newest.map_or_else(|| o.incident.place.clone().unwrap_or_default(), |a| a.sites.clone()),
        serious: newest.map(|a| a.serious.clone()).unwrap_or_default(),
        aid: newest.map(|a| a.aid.clone()).unwrap_or_default(),
        doctor: newest.map(|a| a.doctor.clone()).unwrap_or_default(),
        told,
        words: String::new(),
        follow_on: newest.and_then(|a| a.follow_on).map(iso_day).unwrap_or_default(),
        closed: if newest.is_some_and(|a| a.closed) { "yes".into() } else { String::new() },
    }
}

fn incident_page(seat: &Seat, zone: &Zone, o: &Opened, typed: Typed, errors: Errors) -> IncidentPage {
    let i = &o.incident;
    let at = |t: OffsetDateTime| format!("{}, {}", zone.day_words(t), zone.clock(t));
    let who = i.opened_by_name.clone().unwrap_or_else(|| tr!("a tap at a station").into());
    let mut known = vec![
        (tr!("What").to_string(), kind_words(&i.kind).to_string()),
        (tr!("Recorded").to_string(), format!("{}, {who}", at(i.opened_at))),
    ];
    known.extend(i.place.clone().filter(|p| !p.is_empty()).map(|p| (tr!("Where").to_string(), p)));
    known.extend(i.service.clone().map(|t| (tr!("Service").to_string(), t)));
    let past = o.accounts.iter().map(|a| Past {
        when: format!("{}, {}", at(a.at), a.by_name),
        lines: incident_report::account_lines(zone, a),
    });
    let closed = o.accounts.first().is_some_and(|a| a.closed);
    IncidentPage {
        shell: seat.shell(o.now, "/proof", &["incidents"]),
        errors,
        once_key: once::key(),
        base: format!("/incidents/{}", i.incident_id),
        client_href: format!("/clients/{}", i.client_id),
        client: i.client_name.clone(),
        answer: match (o.accounts.is_empty(), closed) {
            (true, _) => tr!("{}: write down what happened", kind_words(&i.kind)),
            (false, true) => tr!("{}: closed", kind_words(&i.kind)),
            (false, false) => tr!("{}: open", kind_words(&i.kind)),
        },
        known,
        met: o.met.iter().map(|m| incident_report::met_words(zone, m)).collect(),
        signs: Choice::list(Sign::ALL.map(|x| (x.code(), x.words())), &chosen(&typed.signs)),
        serious: Choice::list(Serious::ALL.map(|x| (x.code(), x.words())), &chosen(&typed.serious)),
        aid: Choice::list(Aid::ALL.map(|x| (x.code(), x.words())), &chosen(&typed.aid)),
        doctor: doctor_choices(&typed.doctor),
        told: Choice::list(
            [("maker", tr!("the maker named on the label")), ("authority", tr!("the authority"))],
            &chosen(&typed.told),
        ),
        closed: Choice::list([("yes", tr!("closed: nothing more is to be done"))], &[typed.closed.as_str()]),
        is_serious: !typed.serious.is_empty(),
        erased: i.client_erased,
        typed,
        past: past.collect(),
        photos: incident_photos::shown(zone, o.photos.clone()),
        photo_once: once::key(),
        agreed_by: Choice::list([("client", tr!("the client")), ("guardian", tr!("the guardian"))], &[]),
        visit_href: i.run_id.map_or_else(String::new, |run| format!("/proof/runs/{run}")),
    }
}

/// The page again, with what was wrong; what is typed of an account is not in this form.
pub(super) async fn again(seat: &Seat, id: IncidentId, errors: Errors) -> Answered {
    let zone = zone(seat)?;
    let opened = load(seat, id).await?;
    let typed = typed_of(&zone, &opened);
    Ok(page::refused(&incident_page(seat, &zone, &opened, typed, errors)))
}

pub(super) fn incident_id(raw: &str) -> Result<IncidentId, Problem> {
    raw.parse().map_err(|_| Problem::NotFound)
}

/// One incident.
pub async fn show(seat: Seat, Path(id): Path<String>) -> Answered {
    seat.require(Act::SeeProof)?;
    let zone = zone(&seat)?;
    let opened = load(&seat, incident_id(&id)?).await?;
    let typed = typed_of(&zone, &opened);
    Ok(page::html(&incident_page(&seat, &zone, &opened, typed, Errors::none())))
}

fn read_all<T>(raw: &[String], read: impl Fn(&str) -> Option<T>) -> Vec<T> {
    raw.iter().filter_map(|code| read(code)).collect()
}

pub(super) fn read_onset(
    (on, at): (&str, &str),
    zone: &Zone,
    now: OffsetDateTime,
    errors: &mut Errors,
) -> OffsetDateTime {
    let day = typed::day(errors, "onset_on", on).unwrap_or_else(|| zone.day_of(now));
    let minute = typed::minute(errors, "onset_at", at);
    let at = zone.instant(day, minute);
    if errors.is_empty() && at > now {
        errors.note("onset_on", tr!("It has begun: write an instant that has been."));
    } else if errors.is_empty() && (now - at).whole_days() > 399 {
        errors.note("onset_on", tr!("Write a day within the last 399 days."));
    }
    at
}

pub(super) fn note_amiss(errors: &mut Errors, wrong: &[Amiss]) {
    for a in wrong {
        let field = match a {
            Amiss::NoSign => "signs",
            Amiss::NothingAndSomething => "aid",
            Amiss::ClosedWithoutDoctor => "doctor",
            Amiss::ClosedUntold => "told",
            Amiss::Erased => "",
        };
        errors.note(field, a.words());
    }
}

/// Writes an account.
pub async fn write(seat: Seat, Path(id): Path<String>, Form(f): Form<Typed>) -> Answered {
    let by = seat.require(Act::SeeProof)?.id;
    let id = incident_id(&id)?;
    let zone = zone(&seat)?;
    let opened = load(&seat, id).await?;
    let mut errors = Errors::none();
    let onset_at = read_onset((&f.onset_on, &f.onset_at), &zone, opened.now, &mut errors);
    let sites = typed::line(&mut errors, "sites", &f.sites, 200);
    let words = typed::lines(&mut errors, "words", &f.words, WORDS_MOST);
    let follow_on = typed::day(&mut errors, "follow_on", &f.follow_on);
    let doctor = typed::code(
        &mut errors,
        "doctor",
        &f.doctor,
        Doctor::from_code,
        tr!("Choose how it stands with a doctor."),
    );
    if !errors.is_empty() {
        return Ok(page::refused(&incident_page(&seat, &zone, &opened, f, errors)));
    }
    let mut s = seat.begin().await?;
    let base = format!("/incidents/{id}");
    if let Some(again) = once::claim(&mut s, &f.once, &format!("{base}/accounts")).await? {
        return Ok(again);
    }
    let (signs, serious, aid) = (
        read_all(&f.signs, Sign::from_code),
        read_all(&f.serious, Serious::from_code),
        read_all(&f.aid, Aid::from_code),
    );
    let told = Told {
        onset_at,
        signs: &signs,
        sites: &sites,
        serious: &serious,
        aid: &aid,
        doctor: doctor.unwrap_or(Doctor::NotAsked),
        maker_told: f.told.iter().any(|t| t == "maker"),
        authority_told: f.told.iter().any(|t| t == "authority"),
        words: &words,
        follow_on,
        closed: f.closed == "yes",
    };
    let client = ClientId(opened.incident.client_id);
    match flow::write_account(&mut s, (id, client), &told, f.newest.parse().ok(), by).await? {
        Kept::Done => {
            let answer = once::settle(&mut s, &f.once, &base).await?;
            s.commit().await?;
            Ok(answer)
        }
        Kept::Amiss(wrong) => {
            drop(s);
            note_amiss(&mut errors, &wrong);
            Ok(page::refused(&incident_page(&seat, &zone, &opened, f, errors)))
        }
        Kept::Stale => {
            drop(s);
            let fresh = load(&seat, id).await?;
            errors.note("words", tr!("Somebody wrote another account meanwhile: it stands below. Yours is still here; keep it again."));
            let newest = fresh.accounts.first().map_or_else(String::new, |a| a.account_id.to_string());
            Ok(page::refused(&incident_page(&seat, &zone, &fresh, Typed { newest, ..f }, errors)))
        }
    }
}

/// The report as a readable file, in the fields authorities ask for.
pub async fn report(seat: Seat, Path(id): Path<String>) -> Answered {
    seat.require(Act::SeeProof)?;
    let zone = zone(&seat)?;
    let o = load(&seat, incident_id(&id)?).await?;
    let text = incident_report::text(&zone, &seat.salon_row, &o.incident, &o.accounts, &o.met, o.now);
    let mut response: Response = text.into_response();
    let h = response.headers_mut();
    h.insert(header::CONTENT_TYPE, HeaderValue::from_static("text/plain; charset=utf-8"));
    let name = format!("attachment; filename=\"incident-{}.txt\"", o.incident.incident_id);
    if let Ok(name) = HeaderValue::from_str(&name) {
        h.insert(header::CONTENT_DISPOSITION, name);
    }
    Ok(response)
}

/// A form with nothing but its key.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Keyed {
    once: String,
}

/// Opens an incident told afterwards.
pub async fn open(seat: Seat, Path(id): Path<String>, Form(f): Form<Keyed>) -> Answered {
    let by = seat.require(Act::SeeProof)?.id;
    let id = client_id(&id)?;
    let mut s = seat.begin().await?;
    find_client(&mut s, id).await?;
    if let Some(again) = once::claim(&mut s, &f.once, &format!("/clients/{id}/incidents")).await? {
        return Ok(again);
    }
    let incident = flow::open_incident(&mut s, id, by).await?;
    let answer = once::settle(&mut s, &f.once, &format!("/incidents/{incident}")).await?;
    s.commit().await?;
    Ok(answer)
}
