//! Plan: choose what goes where, see what the check found, start the service.

use crate::domain::length;
use askama::Template;
use axum::extract::Path;
use axum_extra::extract::{Form, Query};
use serde::Deserialize;

use crate::domain::access::Act;
use crate::domain::ids::{ClientId, PlanId};
use crate::domain::plan_check::Way;
use crate::domain::protocol::{Kind, Protocol};
use crate::flow::plans::{self as flow};
use crate::store::clients::Client;
use crate::store::plans::{self, Plan};
use crate::store::products::{self, Product};
use crate::store::protocols::{self, Revision};
use crate::store::{Scoped, strands};
use crate::web::clients::{client_id, find, tabs, zone};
use crate::web::form::{Choice, Errors, Reason};
use crate::web::plan_form::{self, Fields, Typed};
use crate::web::plan_view::{self, PlanPage, Shown};
use crate::web::problem::{Answered, Problem};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::shell::{ClientTabs, Shell};
use crate::web::{once, page, typed};

/// The routes of these screens.
pub const LINES: &[Line] = lines![
    get "/clients/{id}/plan" Open::To(Act::SeeHealth) => choose,
    post "/clients/{id}/plans" Open::To(Act::MakePlan) => make,
    get "/plans/{id}" Open::To(Act::SeeHealth) => show,
    post "/plans/{id}/cut" Open::To(Act::MakePlan) => cut,
    post "/plans/{id}/offer" Open::To(Act::MakePlan) => offer,
];

/// What was asked of the form.
#[derive(Deserialize, Default)]
#[serde(default)]
pub struct AskedFor {
    protocol: String,
}

struct ListedPlan {
    href: String,
    title: String,
    when: String,
    by: String,
    said: String,
}

#[derive(Template)]
#[template(path = "plans/new.html")]
struct NewPage {
    shell: Shell,
    tabs: ClientTabs,
    errors: Errors,
    heading: String,
    lead: String,
    services: Vec<(String, String)>,
    action: String,
    once_key: String,
    protocol: String,
    fields: Vec<Fields>,
    answers: Vec<Choice>,
    trim_mm: String,
    back: String,
    plans: Vec<ListedPlan>,
    /// Where a test visit is started.
    visits: String,
}

/// The newest revision of a service.
async fn service(s: &mut Scoped, seat: &Seat, code: &str) -> Result<Option<(Revision, Protocol)>, Problem> {
    let newest = protocols::list_newest(s).await?;
    let Some(revision) = newest.into_iter().find(|r| r.protocol == code) else { return Ok(None) };
    let protocol = seat.app.protocol(&revision)?;
    Ok(Some((revision, protocol)))
}

async fn new_page(
    s: &mut Scoped,
    seat: &Seat,
    client: &Client,
    chosen: Option<&Protocol>,
    typed: &Typed,
    errors: Errors,
) -> Result<NewPage, Problem> {
    let now = s.now().await?;
    let zone = zone(seat)?;
    let shelf = products::list(s).await?;
    let base = format!("/clients/{}", client.client_id);
    let mut services = Vec::new();
    if seat.may(Act::MakePlan) && chosen.is_none() {
        for r in protocols::list_newest(s).await? {
            // A test visit puts nothing on the head: it is started, not planned.
            if seat.app.protocol(&r).is_ok_and(|p| p.kind == Kind::TestVisit) {
                continue;
            }
            services.push((
                crate::words::of(&r.title).to_owned(),
                format!("{base}/plan?protocol={}", page::query_value(&r.protocol)),
            ));
        }
    }
    let listed = plans::list_by_client(s, client.id()).await?;
    let (heading, lead) = match chosen {
        Some(protocol) => (
            tr!("{}: what goes where", protocol.title),
            tr!(
                "Every product is checked against this head: what is in the hair, what was felt, told and tested."
            ),
        ),
        None if listed.is_empty() => {
            (tr!("Nothing planned yet").to_string(), tr!("Choose a service; then what goes where."))
        }
        None => (tr!("What is planned next?").to_string(), tr!("An earlier plan stays as it was checked.")),
    };
    Ok(NewPage {
        shell: seat.shell(now, "/clients", &[&format!("client:{}", client.client_id)]),
        tabs: tabs(seat, client, "plan"),
        errors,
        heading,
        lead: lead.into(),
        services,
        action: format!("{base}/plans"),
        once_key: once::key(),
        protocol: chosen.map(|p| p.code.clone()).unwrap_or_default(),
        fields: chosen.map(|p| plan_form::fields(p, &shelf, typed)).unwrap_or_default(),
        answers: plan_form::answers(typed),
        trim_mm: typed.get("trim_mm").cloned().unwrap_or_default(),
        back: format!("{base}/plan"),
        visits: format!("{base}/test-visits"),
        plans: listed
            .into_iter()
            .map(|p| ListedPlan {
                href: format!("/plans/{}", p.plan_id),
                when: format!("{} {}", zone.day_words(p.made_at), zone.clock(p.made_at)),
                by: p.made_by_name,
                said: match p.run_id {
                    Some(_) => format!("{}, started", plan_view::verdict_word(&p.verdict)),
                    None => plan_view::verdict_word(&p.verdict).to_string(),
                },
                title: p.title,
            })
            .collect(),
    })
}

/// The form of a service, or the services to choose from.
pub async fn choose(seat: Seat, Path(id): Path<String>, Query(q): Query<AskedFor>) -> Answered {
    seat.require(Act::SeeHealth)?;
    let mut s = seat.begin().await?;
    let client = find(&mut s, client_id(&id)?).await?;
    let chosen = if q.protocol.is_empty() || !seat.may(Act::MakePlan) {
        None
    } else {
        Some(service(&mut s, &seat, &q.protocol).await?.ok_or(Problem::NotFound)?.1)
    };
    let shown = new_page(&mut s, &seat, &client, chosen.as_ref(), &Typed::new(), Errors::none()).await?;
    s.commit().await?;
    Ok(page::html(&shown))
}

/// Checks and keeps a plan.
pub async fn make(seat: Seat, Path(id): Path<String>, Form(f): Form<Vec<(String, String)>>) -> Answered {
    let person = seat.require(Act::MakePlan)?.id;
    let typed: Typed = f.into_iter().take(100).collect();
    typed::measure_as_sent(typed.get("unit").map_or("", String::as_str));
    let id = client_id(&id)?;
    let text = |name: &str| typed.get(name).cloned().unwrap_or_default();
    let mut s = seat.begin().await?;
    if let Some(again) = once::claim(&mut s, &text("once"), &format!("/clients/{id}/plans")).await? {
        return Ok(again);
    }
    let client = find(&mut s, id).await?;
    let Some((revision, protocol)) = service(&mut s, &seat, &text("protocol")).await? else {
        return Err(Problem::Bad(tr!("This service is not one of the salon's.").into()));
    };
    let shelf = products::list(&mut s).await?;
    let mut errors = Errors::none();
    let (asked, trim) = plan_form::read(&protocol, &shelf, &typed, &mut errors);
    if let Some(trim) = trim {
        let today = zone(&seat)?.day_of(s.now().await?);
        let told = crate::flow::strands::load(&mut s, &seat.app.reference, &client, today, None).await?;
        let length = told.as_ref().map_or(0.0, |t| t.strand.length_mm());
        if flow::trimmed_length(length, trim.mm).is_none() {
            let words =
                tr!("The hair is {length} long: a trim leaves some of it.", length = length::said(length));
            errors.note("trim_mm", words);
        }
    }
    if !errors.is_empty() {
        let mut typed = typed;
        if let Some(mm) = typed.remove("put_trim") {
            typed.insert("trim_mm".into(), mm);
        }
        let shown = new_page(&mut s, &seat, &client, Some(&protocol), &typed, errors).await?;
        return Ok(page::refused(&shown));
    }
    let plan =
        flow::make_plan(&mut s, &seat.app, &client, (&revision, &protocol), &asked, trim, person).await?;
    let answer = once::settle(&mut s, &text("once"), &format!("/plans/{plan}")).await?;
    s.commit().await?;
    Ok(answer)
}

/// The plan of a path with its client.
pub(super) async fn find_plan(s: &mut Scoped, raw: &str) -> Result<(Plan, Client), Problem> {
    let id: PlanId = raw.parse().map_err(|_| Problem::NotFound)?;
    let plan = plans::find(s, id).await?.ok_or(Problem::NotFound)?;
    let client = find(s, ClientId(plan.client_id)).await?;
    Ok((plan, client))
}

/// What a page of a plan shows besides the plan.
#[derive(Default)]
pub(super) struct Again {
    pub(super) reasons: Vec<Reason>,
    pub(super) errors: Errors,
    pub(super) offer: Option<(String, String)>,
    pub(super) chair: String,
}

pub(super) async fn plan_page(
    s: &mut Scoped,
    seat: &Seat,
    plan: &Plan,
    client: &Client,
    again: Again,
) -> Result<PlanPage, Problem> {
    let now = s.now().await?;
    let revision = protocols::find(s, &plan.protocol, plan.revision).await?.ok_or(Problem::Broken)?;
    let protocol = seat.app.protocol(&revision)?;
    let told = flow::strand_of(s, &seat.app, client, plan).await?;
    let shelf: Vec<Product> = products::list(s).await?;
    let against = match plan.run_id {
        Some(_) => Vec::new(),
        None => flow::stands_against(s, &seat.app, client, plan, now).await?,
    };
    let stations = crate::store::stations::list(s).await?;
    let shown = Shown {
        seat,
        now,
        plan,
        client,
        protocol: &protocol,
        told: told.as_ref(),
        shelf: &shelf,
        waiting: against.into_iter().map(|(words, way)| reason(words, &way, client)).collect(),
        chairs: chairs(&stations, seat, &again.chair),
        reasons: again.reasons,
        errors: again.errors,
        offer: again.offer,
    };
    plan_view::page(shown)
}

pub(super) fn chairs(stations: &[crate::store::stations::Station], seat: &Seat, typed: &str) -> Vec<Choice> {
    let own = seat.station.as_ref().map_or("", |st| st.name.as_str());
    let mut names: Vec<&str> =
        stations.iter().filter(|st| st.kind == "chair").map(|st| st.name.as_str()).collect();
    if names.is_empty() {
        names.push("Chair 1");
    }
    let chosen = if typed.is_empty() { own } else { typed };
    Choice::names(names.into_iter().map(|n| (n, n)), &[chosen])
}

/// A reason with the screen its way out is on.
pub fn reason(words: String, way: &Way, client: &Client) -> Reason {
    Reason { words, way: way.words().into(), href: plan_view::href(way.code(), client.client_id) }
}

/// A plan as it was checked.
pub async fn show(seat: Seat, Path(id): Path<String>) -> Answered {
    seat.require(Act::SeeHealth)?;
    let mut s = seat.begin().await?;
    let (plan, client) = find_plan(&mut s, &id).await?;
    let shown = plan_page(&mut s, &seat, &plan, &client, Again::default()).await?;
    s.commit().await?;
    Ok(page::html(&shown))
}

/// The once-key alone.
#[derive(Deserialize, Default)]
#[serde(default)]
pub struct OnceOnly {
    once: String,
}

/// The agreed trim is cut: the strand is shorter, the service is checked again.
pub async fn cut(seat: Seat, Path(id): Path<String>, Form(f): Form<OnceOnly>) -> Answered {
    let person = seat.require(Act::MakePlan)?.id;
    let mut s = seat.begin().await?;
    if let Some(again) = once::claim(&mut s, &f.once, &format!("/plans/{id}/cut")).await? {
        return Ok(again);
    }
    let (plan, client) = find_plan(&mut s, &id).await?;
    crate::store::clients::lock(&mut s, client.id()).await?;
    let (plan, client) = (plans::find(&mut s, PlanId(plan.plan_id)).await?.ok_or(Problem::NotFound)?, client);
    let Some(mm) = plan.trim_mm.filter(|_| plan.trim_agreed == Some(true)).map(f64::from) else {
        let again = Again {
            reasons: vec![Reason::plain(tr!(
                "A trim is cut only with the client's yes: note it in the plan first."
            ))],
            ..Again::default()
        };
        return Ok(page::refused(&plan_page(&mut s, &seat, &plan, &client, again).await?));
    };
    if plan.stale {
        let what = tr!("What is in the hair has changed since this plan was checked.").into();
        return Err(Problem::Stale { what, look: format!("/clients/{}/strand", client.client_id) });
    }
    let length = strands::find_beginning(&mut s, client.id()).await?;
    if length.is_none() {
        return Err(Problem::NotFound);
    }
    let new = flow::cut_and_check(&mut s, &seat.app, &client, &plan, mm, person).await?;
    let answer = once::settle(&mut s, &f.once, &format!("/plans/{new}")).await?;
    s.commit().await?;
    Ok(answer)
}

/// An offer as typed.
#[derive(Deserialize, Default)]
#[serde(default)]
pub struct TypedOffer {
    once: String,
    offer: String,
    offer_answer: String,
}

/// Notes what was offered instead and what the client said.
pub async fn offer(seat: Seat, Path(id): Path<String>, Form(f): Form<TypedOffer>) -> Answered {
    seat.require(Act::MakePlan)?;
    let mut s = seat.begin().await?;
    if let Some(again) = once::claim(&mut s, &f.once, &format!("/plans/{id}/offer")).await? {
        return Ok(again);
    }
    let (plan, client) = find_plan(&mut s, &id).await?;
    let mut errors = Errors::none();
    let offered = typed::lines(&mut errors, "offer", &f.offer, 500);
    if offered.is_empty() {
        errors.note(
            "offer",
            tr!("Write what was offered, such as: trim, treat and set; we look again in June."),
        );
    }
    let said = typed::needed(
        &mut errors,
        "offer_answer",
        &f.offer_answer,
        500,
        tr!("Write what the client answered."),
    );
    if !errors.is_empty() {
        let again = Again { errors, offer: Some((f.offer, f.offer_answer)), ..Again::default() };
        return Ok(page::refused(&plan_page(&mut s, &seat, &plan, &client, again).await?));
    }
    flow::note_offer(&mut s, &plan, &offered, &said).await?;
    let answer = once::settle(&mut s, &f.once, &format!("/plans/{}", plan.plan_id)).await?;
    s.commit().await?;
    Ok(answer)
}
