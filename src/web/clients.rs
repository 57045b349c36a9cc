//! Clients: the list, the record, and the tabs over a client's screens.

use askama::Template;
use axum::extract::Path;
use axum_extra::extract::{Form, Query};
use serde::Deserialize;
use time::{Date, Duration};

use crate::calendar::{Zone, iso_day};
use crate::domain::access::Act;
use crate::domain::ids::{ClientId, PersonId};
use crate::flow::clients::{self as flow, Changed};
use crate::flow::openings::AHEAD_DAYS;
use crate::flow::services::Services;
use crate::store::bookings;
use crate::store::clients::{self, Client, Record};
use crate::store::people::{self, Person};
use crate::store::{Scoped, client_records};
use crate::web::form::{Choice, Errors};
use crate::web::problem::{Answered, Problem};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::shell::{ClientTabs, ScreenLink, Shell};
use crate::web::{once, page, typed};

/// The routes of these screens.
pub const LINES: &[Line] = lines![
    get "/clients" Open::To(Act::SeeClients) => list,
    get "/clients/new" Open::To(Act::KeepClients) => new_form,
    post "/clients" Open::To(Act::KeepClients) => enter,
    get "/clients/{id}" Open::To(Act::SeeClients) => record,
    post "/clients/{id}" Open::To(Act::KeepClients) => change,
];

/// Curl as the consult names it, with its words; codes as in shared/tables/growth.toml.
pub const CURL_GROUPS: [(&str, &str); 3] =
    [("tight", mark!("tight curl")), ("loose", mark!("loose curl or wave")), ("straight", mark!("straight"))];

/// The id of a path; anything that is no number is not there.
pub fn client_id(raw: &str) -> Result<ClientId, Problem> {
    raw.parse().map_err(|_| Problem::NotFound)
}

/// The client, or "nothing here" for an unknown or foreign id, or what became of a record that is none any more.
pub async fn find(s: &mut Scoped, id: ClientId) -> Result<Client, Problem> {
    let fate = client_records::find_fate(s, id).await?.ok_or(Problem::NotFound)?;
    if let Some(into) = fate.merged_into.filter(|_| !fate.erased) {
        let what = tr!(
            "Record {id} was merged: everything told and tried stands in the record it went into.",
            id = id
        );
        return Err(Problem::Gone { what, look: format!("/clients/{into}") });
    }
    if fate.erased {
        let what = tr!(
            "The person of record {id} was erased. What was done to the hair stands in the sign-off book under that number.",
            id = id
        );
        return Err(Problem::Gone { what, look: "/clients".into() });
    }
    clients::find(s, id).await?.ok_or(Problem::NotFound)
}

/// The salon's zone; the database only holds names that are one.
pub fn zone(seat: &Seat) -> Result<Zone, Problem> {
    Zone::find(&seat.salon_row.zone).ok_or(Problem::Broken)
}

/// The line of tabs over a client's screens. `current` is the last part of the path ("consult"), "" for the
/// record. Who may not see health answers sees the record and nothing else.
pub fn tabs(seat: &Seat, client: &Client, current: &str) -> ClientTabs {
    let base = format!("/clients/{}", client.client_id);
    let mut line = vec![(tr!("Record"), String::new())];
    if seat.may(Act::SeeHealth) {
        line.extend([
            (tr!("Strand"), "strand".into()),
            (tr!("Consult"), "consult".into()),
            (tr!("Consent"), "consent".into()),
            (tr!("Readings"), "readings".into()),
            (tr!("Tests"), "tests".into()),
            (tr!("Plan"), "plan".into()),
            (tr!("Visits"), "visits".into()),
        ]);
    }
    if seat.may(Act::FollowUp) {
        line.push((tr!("Messages"), "messages".into()));
    }
    let links = line
        .into_iter()
        .map(|(name, part)| ScreenLink {
            name: name.into(),
            href: if part.is_empty() { base.clone() } else { format!("{base}/{part}") },
            current: part == current,
        })
        .collect();
    ClientTabs { name: client.name.clone(), links }
}

/// What was asked of the list.
#[derive(Deserialize, Default)]
#[serde(default)]
pub struct Asked {
    name: String,
    after: String,
    after_id: String,
}

struct ListedClient {
    href: String,
    name: String,
    phone: String,
    usual: String,
    no_contact: bool,
}

#[derive(Template)]
#[template(path = "clients/list.html")]
struct ListPage {
    shell: Shell,
    asked: String,
    errors: Errors,
    clients: Vec<ListedClient>,
    more: String,
    first_page: bool,
    /// Who takes files in.
    imports: bool,
}

fn person_name(team: &[Person], id: Option<i64>) -> String {
    team.iter().find(|p| Some(p.id.0) == id).map(|p| p.name.clone()).unwrap_or_default()
}

/// The list: by name, fifty at a time.
pub async fn list(seat: Seat, Query(q): Query<Asked>) -> Answered {
    seat.require(Act::SeeClients)?;
    let mut errors = Errors::none();
    let asked = typed::line(&mut errors, "name", &q.name, 200);
    let after_name = typed::line(&mut errors, "name", &q.after, 200);
    let after = q.after_id.parse::<i64>().ok().map(|id| (after_name.as_str(), id));
    let mut s = seat.begin().await?;
    let now = s.now().await?;
    let team = people::list(&mut s).await?;
    let mut found = if errors.is_empty() { clients::list(&mut s, &asked, after).await? } else { Vec::new() };
    s.commit().await?;
    let more = if found.len() as i64 > clients::PAGE {
        found.truncate(clients::PAGE as usize);
        found.last().map_or_else(String::new, |c| {
            let (name, after) = (page::query_value(&asked), page::query_value(&c.name));
            format!("/clients?name={name}&after={after}&after_id={}", c.client_id)
        })
    } else {
        String::new()
    };
    let shown = ListPage {
        shell: seat.shell(now, "/clients", &["clients"]),
        clients: found
            .into_iter()
            .map(|c| ListedClient {
                href: format!("/clients/{}", c.client_id),
                usual: person_name(&team, c.usual_person_id),
                name: c.name,
                phone: c.phone,
                no_contact: c.no_contact,
            })
            .collect(),
        first_page: after.is_none(),
        imports: seat.may(Act::ImportClients),
        more,
        asked: q.name,
        errors,
    };
    Ok(if shown.errors.is_empty() { page::html(&shown) } else { page::refused(&shown) })
}

/// The record as typed.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Typed {
    once: String,
    version: String,
    name: String,
    born_on: String,
    phone: String,
    email: String,
    curl_group: String,
    curl_index: String,
    usual_person: String,
    no_contact: String,
}

impl Typed {
    fn of(c: &Client) -> Typed {
        Typed {
            once: String::new(),
            version: c.version.to_string(),
            name: c.name.clone(),
            born_on: c.born_on.map(iso_day).unwrap_or_default(),
            phone: c.phone.clone(),
            email: c.email.clone(),
            curl_group: c.curl_group.clone().unwrap_or_default(),
            curl_index: c.curl_index.map(|x| typed::shown(f64::from(x))).unwrap_or_default(),
            usual_person: c.usual_person_id.map(|x| x.to_string()).unwrap_or_default(),
            no_contact: if c.no_contact { "yes".into() } else { String::new() },
        }
    }

    fn read(&self, team: &[Person], today: Date) -> (Record, Errors) {
        let mut e = Errors::none();
        let name =
            typed::needed(&mut e, "name", &self.name, 200, tr!("Write the client's name, in any script."));
        let born_on = typed::past_day(&mut e, "born_on", &self.born_on, today);
        let phone = typed::line(&mut e, "phone", &self.phone, 40);
        let email = typed::line(&mut e, "email", &self.email, 254);
        let inside = email.split_once('@').is_some_and(|(a, b)| !a.is_empty() && !b.is_empty());
        if !email.is_empty() && (!inside || email.contains(char::is_whitespace)) {
            e.note("email", tr!("An address has a name, an @ and a place, such as nerys@example.org."));
        }
        let curl_group = match self.curl_group.as_str() {
            "" => None,
            code => typed::code(
                &mut e,
                "curl_group",
                code,
                |c| CURL_GROUPS.iter().find(|(x, _)| *x == c).map(|(x, _)| (*x).to_string()),
                tr!("Choose one of the curls, or not looked at yet."),
            ),
        };
        let curl_index = typed::number(
            &mut e,
            "curl_index",
            &self.curl_index,
            (1.0, 6.0),
            tr!("stretched length ÷ length as it lies"),
        );
        let usual_person = match self.usual_person.as_str() {
            "" => None,
            code => typed::code(
                &mut e,
                "usual_person",
                code,
                |c| c.parse::<PersonId>().ok().filter(|id| team.iter().any(|p| p.id == *id)),
                tr!("Choose somebody of the team."),
            ),
        };
        let no_contact = self.no_contact == "yes";
        let curl_index = curl_index.map(|x| x as f32);
        (Record { name, born_on, phone, email, curl_group, curl_index, usual_person, no_contact }, e)
    }
}

/// A booking ahead, in words.
pub struct Booked {
    pub href: String,
    pub words: String,
    pub protocol: String,
}

/// What a client has booked from now on, for who books; nothing for anybody else.
pub async fn booked(s: &mut Scoped, seat: &Seat, client: &Client) -> Result<Vec<Booked>, Problem> {
    if !seat.may(Act::Book) {
        return Ok(Vec::new());
    }
    let zone = zone(seat)?;
    let now = s.now().await?;
    let services = Services::load(s, &seat.app.reference).await?;
    let ahead = now + Duration::days(AHEAD_DAYS);
    let list = bookings::list_of_client(s, client.id(), now, ahead).await?;
    let open = list.into_iter().filter(|b| b.state == "booked");
    Ok(open
        .map(|b| {
            let protocol = b.protocol.unwrap_or_default();
            let when = format!("{}, {}", zone.day_words(b.from_at), zone.clock(b.from_at));
            let title = services.title(&protocol);
            let words = match b.purpose.as_str() {
                "patch-test" => tr!("{}: patch test for {}", when, title),
                _ => tr!("{}: {}", when, title),
            };
            let service = if b.purpose == "service" { protocol } else { String::new() };
            Booked { href: format!("/bookings/{}", b.booking_id), words, protocol: service }
        })
        .collect())
}

#[derive(Template)]
#[template(path = "clients/record.html")]
struct RecordPage {
    shell: Shell,
    errors: Errors,
    typed: Typed,
    /// None on a new client.
    tabs: Option<ClientTabs>,
    action: String,
    once_key: String,
    curls: Vec<Choice>,
    people: Vec<Choice>,
    contact: Vec<Choice>,
    health: bool,
    /// The address of its openings, empty for who does not book.
    openings: String,
    /// What is booked ahead, for who books.
    booked: Vec<Booked>,
    /// Test visits are begun or booked by whoever may do either.
    visits: bool,
    /// Who keeps whole records: copy, merge, erase.
    records: bool,
}

fn record_page(
    seat: &Seat,
    now: time::OffsetDateTime,
    client: Option<&Client>,
    team: &[Person],
    typed: Typed,
    errors: Errors,
    booked: Vec<Booked>,
) -> RecordPage {
    let pairs: Vec<(String, String)> =
        std::iter::once((String::new(), tr!("nobody in particular").to_string()))
            .chain(
                team.iter()
                    .filter(|p| !p.left || p.id.to_string() == typed.usual_person)
                    .map(|p| (p.id.to_string(), p.name.clone())),
            )
            .collect();
    let topic = client.map(|c| format!("client:{}", c.client_id));
    let topics: Vec<&str> = topic.iter().map(String::as_str).collect();
    RecordPage {
        shell: seat.shell(now, "/clients", &topics),
        tabs: client.map(|c| tabs(seat, c, "")),
        action: client.map_or_else(|| "/clients".to_string(), |c| format!("/clients/{}", c.client_id)),
        once_key: once::key(),
        curls: Choice::list(
            std::iter::once(("", tr!("not looked at yet"))).chain(CURL_GROUPS),
            &[typed.curl_group.as_str()],
        ),
        people: Choice::names(
            pairs.iter().map(|(a, b)| (a.as_str(), b.as_str())),
            &[typed.usual_person.as_str()],
        ),
        contact: Choice::list(
            [("yes", tr!("Does not want to be reached by us"))],
            &[typed.no_contact.as_str()],
        ),
        health: seat.may(Act::SeeHealth),
        records: seat.may(Act::KeepRecords),
        visits: seat.may(Act::StartRun) || seat.may(Act::Book),
        openings: client
            .filter(|_| seat.may(Act::Book))
            .map_or_else(String::new, |c| format!("/openings?client={}", c.client_id)),
        errors,
        typed,
        booked,
    }
}

/// The empty form.
pub async fn new_form(seat: Seat) -> Answered {
    seat.require(Act::KeepClients)?;
    let mut s = seat.begin().await?;
    let (now, team) = (s.now().await?, people::list(&mut s).await?);
    s.commit().await?;
    Ok(page::html(&record_page(&seat, now, None, &team, Typed::default(), Errors::none(), Vec::new())))
}

/// Enters a client.
pub async fn enter(seat: Seat, Form(f): Form<Typed>) -> Answered {
    seat.require(Act::KeepClients)?;
    let mut s = seat.begin().await?;
    if let Some(again) = once::claim(&mut s, &f.once, "/clients").await? {
        return Ok(again);
    }
    let (now, team) = (s.now().await?, people::list(&mut s).await?);
    let (record, errors) = f.read(&team, zone(&seat)?.day_of(now));
    if !errors.is_empty() {
        return Ok(page::refused(&record_page(&seat, now, None, &team, f, errors, Vec::new())));
    }
    let id = flow::enter_client(&mut s, &record).await?;
    let answer = once::settle(&mut s, &f.once, &format!("/clients/{id}")).await?;
    s.commit().await?;
    Ok(answer)
}

/// One client's record.
pub async fn record(seat: Seat, Path(id): Path<String>) -> Answered {
    seat.require(Act::SeeClients)?;
    let mut s = seat.begin().await?;
    let client = find(&mut s, client_id(&id)?).await?;
    let (now, team) = (s.now().await?, people::list(&mut s).await?);
    let ahead = booked(&mut s, &seat, &client).await?;
    s.commit().await?;
    let typed = Typed::of(&client);
    Ok(page::html(&record_page(&seat, now, Some(&client), &team, typed, Errors::none(), ahead)))
}

/// Changes a record.
pub async fn change(seat: Seat, Path(id): Path<String>, Form(f): Form<Typed>) -> Answered {
    seat.require(Act::KeepClients)?;
    let id = client_id(&id)?;
    let here = format!("/clients/{id}");
    let mut s = seat.begin().await?;
    if let Some(again) = once::claim(&mut s, &f.once, &here).await? {
        return Ok(again);
    }
    let client = find(&mut s, id).await?;
    let (now, team) = (s.now().await?, people::list(&mut s).await?);
    let mut f = f;
    if !seat.may(Act::SeeHealth) {
        // Not shown to this role, so not this role's to change.
        let kept = Typed::of(&client);
        (f.curl_group, f.curl_index) = (kept.curl_group, kept.curl_index);
    }
    let (record, errors) = f.read(&team, zone(&seat)?.day_of(now));
    if !errors.is_empty() {
        return Ok(page::refused(&record_page(&seat, now, Some(&client), &team, f, errors, Vec::new())));
    }
    let version =
        f.version.parse().map_err(|_| Problem::Bad(tr!("The form has lost its version.").into()))?;
    if flow::change_client(&mut s, id, version, &record).await? == Changed::Stale {
        let what = tr!("{} was changed by somebody else since this page was opened.", client.name);
        return Err(Problem::Stale { what, look: here });
    }
    let answer = once::settle(&mut s, &f.once, &here).await?;
    s.commit().await?;
    Ok(answer)
}
