//! Strand: what is in a client's hair, how it grows, what was felt and tested.

use crate::domain::length;
use askama::Template;
use axum::extract::Path;
use time::Date;

use crate::calendar::Zone;
use crate::domain::access::Act;
use crate::domain::growth::{ChanceWords, Retouch};
use crate::domain::protocol::Protocol;
use crate::domain::strand::Deed;
use crate::flow::strands::{self as flow, Told, day_words};
use crate::reference::Reference;
use crate::store::clients::Client;
use crate::store::readings::Reading;
use crate::store::{hair_tests, readings, skin_tests};
use crate::web::clients::{client_id, find, tabs, zone};
use crate::web::page;
use crate::web::picture::fan::Fan;
use crate::web::picture::strand_ruler::StrandRuler;
use crate::web::problem::Answered;
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::shell::{ClientTabs, Shell};
use crate::web::strand_fan;
use crate::web::strand_words::{self, Row};

/// The routes of this screen.
pub const LINES: &[Line] = lines![get "/clients/{id}/strand" Open::To(Act::SeeHealth) => show];

/// Visits that are listed.
const MOST_VISITS: usize = 12;
/// Tests of each kind that are listed.
const MOST_TESTS: usize = 4;

struct Place {
    name: String,
    words: String,
}

struct Fact {
    name: String,
    words: String,
}

#[derive(Template)]
#[template(path = "strands/show.html")]
struct StrandPage {
    shell: Shell,
    tabs: ClientTabs,
    base: String,
    client: i64,
    book: bool,
    measure: bool,
    plan: bool,
    answer: String,
    lead: String,
    odd: Vec<String>,
    ruler: Option<StrandRuler>,
    rows: Vec<Row>,
    places: Vec<Place>,
    growth: Option<Growth>,
    facts: Vec<Fact>,
}

struct Growth {
    heading: String,
    small: String,
    fan: Fan,
    words: String,
}

/// The retouch that comes next for what last met the root.
fn retouch<'r>(reference: &'r Reference, told: &Told) -> Option<&'r Protocol> {
    let root = told.story.root_met_on()?;
    // The deed of that day which is kept up; a neutraliser met the root as well.
    told.story.deeds.iter().rev().find_map(|(on, deed)| match deed {
        Deed::Apply(_, exposure) if *on == root => reference.retouch_of(exposure.family),
        _ => None,
    })
}

/// What a length is as it lies, when the curl index is known: "as it lies about 21".
fn as_it_lies(mm: f64, client: &Client) -> String {
    match client.curl_index.filter(|c| *c > 1.0) {
        Some(index) if mm >= 1.0 => {
            tr!(", as it lies about {}", length::figure(mm / f64::from(index)))
        }
        _ => String::new(),
    }
}

fn growth(told: &Told, client: &Client, today: Date, reference: &Reference) -> Option<Growth> {
    let last = told.story.root_met_on()?;
    let days = (today - last).whole_days();
    if days < 1 {
        return None;
    }
    let days = days as f64;
    let protocol = retouch(reference, told);
    let asked = protocol.and_then(|p| p.retouch).map(|r| Retouch {
        target_mm: r.target_mm,
        least_weeks: r.least_weeks,
        latest_weeks: r.latest_weeks,
    });
    let window = asked.map(|r| r.window(told.rate, last));
    let chance = asked.map(|r| r.chance(told.rate, days));
    let rate = tr!("{} {} a day", length::rate(told.rate.mean), crate::words::measuring().symbol());
    let small = match (asked, chance) {
        (Some(r), Some(chance)) => tr!(
            "{rate}; {} today: {}, {} %",
            length::said(r.target_mm),
            ChanceWords::of(chance).words(),
            format_args!("{:.0}", (chance * 100.0).clamp(0.0, 99.4)),
            rate = rate
        ),
        _ => rate,
    };
    let now = told.rate.growth(days);
    let due = window.and_then(|w| {
        let (early, late) = (w.early?, w.late);
        let until = late.map_or("open-ended".to_string(), day_words);
        Some(tr!(
            " Due from {} to {until}, in the end by {}.",
            day_words(early),
            day_words(w.latest),
            until = until
        ))
    });
    Some(Growth {
        heading: tr!("New growth since {}", day_words(last)),
        small,
        fan: strand_fan::draw(told, last, days, asked, window),
        words: tr!(
            "About {} stretched today{}, between {} and {}, 8 times in 10.{}",
            length::said(now.mean),
            as_it_lies(now.mean, client),
            length::figure(now.low),
            length::figure(now.high),
            due.unwrap_or_default()
        ),
    })
}

fn place(r: &Reading, zone: &Zone) -> Place {
    let mut words: Vec<String> = Vec::new();
    let mut put = |name: &str, value: &Option<String>| {
        if let Some(v) = value {
            words.push(format!("{name} {}", v.replace('-', " ")));
        }
    };
    put("texture", &r.texture);
    put("porosity", &r.porosity);
    put("density", &r.density);
    put(tr!("wet stretch"), &r.wet_stretch);
    if r.breakage == Some(true) {
        words.push(tr!("broken hairs").into());
    }
    if r.lightened == Some(true) {
        words.push("lightened".into());
    }
    if let Some(mm) = r.shortest_mm {
        words.push(tr!("shortest layer {mm}", mm = length::said(f64::from(mm))));
    }
    if let Some(mm) = r.new_growth_mm {
        let how = if r.read_natural { tr!("as it lies") } else { tr!("stretched") };
        words.push(tr!("new growth {mm} {how}", mm = length::said(f64::from(mm)), how = how));
    }
    if words.is_empty() {
        words.push(tr!("looked at, nothing noted").into());
    }
    let name = if r.place == "whole" {
        tr!("whole head").to_string()
    } else {
        crate::words::of(&r.place).to_owned()
    };
    Place { name, words: tr!("{}. {} by {}", words.join(", "), zone.day_words(r.taken_at), r.taken_by) }
}

fn visits(told: &Told) -> Vec<Fact> {
    let mut facts: Vec<(Date, Vec<String>)> = Vec::new();
    for (on, deed) in told.story.deeds.iter().rev() {
        let words = match deed {
            Deed::Apply(zone, exposure) => {
                use crate::domain::strand::Zone;
                let place = match zone {
                    Zone::NewGrowth => tr!("new growth").to_string(),
                    Zone::RootToEnd => tr!("root to end").to_string(),
                    Zone::EndsFrom(mm) => tr!("from {mm} to the ends", mm = length::said(*mm)),
                    Zone::Between(a, b) => {
                        tr!("{a} to {b}", a = length::figure(*a), b = length::said(*b))
                    }
                };
                format!("{}, {place}, {}", strand_words::met_words(exposure), exposure.known.words())
            }
            Deed::Measure { mm, .. } => tr!("new growth {mm} stretched", mm = length::said(*mm)),
            Deed::Trim(mm) => tr!("trim of {mm}", mm = length::said(*mm)),
        };
        let full = facts.len() == MOST_VISITS;
        match facts.last_mut() {
            Some((day, all)) if day == on => all.insert(0, words),
            _ if full => break,
            _ => facts.push((*on, vec![words])),
        }
    }
    facts.into_iter().map(|(on, all)| Fact { name: day_words(on), words: all.join("; ") }).collect()
}

fn tests(skin: &[skin_tests::SkinTest], hair: &[hair_tests::HairTest], zone: &Zone) -> Vec<Fact> {
    let mut facts: Vec<Fact> = skin
        .iter()
        .take(MOST_TESTS)
        .map(|t| {
            let outcome = t.outcome.as_deref().or(t.told_outcome.as_deref());
            let read = match (outcome, t.read_at) {
                (Some(o), Some(at)) => tr!("read {}: {}", zone.day_words(at), o.replace('-', " ")),
                (Some(o), None) => tr!("told: {}", o.replace('-', " ")),
                (None, _) => tr!("not read yet").into(),
            };
            let void = if t.formula == t.formula_now { "" } else { tr!("; the formula has changed since") };
            Fact {
                name: tr!("Patch test").into(),
                words: tr!(
                    "{}, placed {}, {read}{void}",
                    t.product_name,
                    zone.day_words(t.placed_at),
                    read = read,
                    void = void
                ),
            }
        })
        .collect();
    if skin.is_empty() {
        facts.push(Fact { name: tr!("Patch test").into(), words: tr!("not placed").into() });
    }
    for t in hair.iter().take(MOST_TESTS) {
        let (name, of) = match t.kind.as_str() {
            "strand" => (tr!("Strand test"), t.product_name.clone().unwrap_or_default()),
            _ => (tr!("Metallic-salt test"), String::new()),
        };
        let of = if of.is_empty() { of } else { format!("{of}, ") };
        let said = if t.passed { "passed" } else { "failed" };
        let words = format!("{of}{}: {said}", zone.day_words(t.done_at));
        facts.push(Fact { name: name.into(), words });
    }
    if !hair.iter().any(|t| t.kind == "strand") {
        facts.push(Fact { name: tr!("Strand test").into(), words: tr!("not done").into() });
    }
    facts
}

/// The words under the answer.
fn lead(told: &Told, client: &Client) -> String {
    let line = told.strand.demarcation_mm();
    if line < 0.5 {
        return tr!("Stretched hair. No new growth in front of what was put on.").into();
    }
    let (low, high) = told
        .strand
        .demarcations()
        .next()
        .map_or((line, line), |(at, sd)| ((at - 1.96 * sd).max(0.0), at + 1.96 * sd));
    tr!(
        "New growth about {line} stretched{}; between {low} and {high}, 19 times in 20.",
        as_it_lies(line, client),
        line = length::said(line),
        low = length::figure(low),
        high = length::figure(high)
    )
}

/// A client's strand today.
pub async fn show(seat: Seat, Path(id): Path<String>) -> Answered {
    seat.require(Act::SeeHealth)?;
    let mut s = seat.begin().await?;
    let client = find(&mut s, client_id(&id)?).await?;
    let now = s.now().await?;
    let zone = zone(&seat)?;
    let today = zone.day_of(now);
    let reference = &seat.app.reference;
    let told = flow::load(&mut s, reference, &client, today, None).await?;
    let felt = readings::latest_by_place(&mut s, client.id()).await?;
    let skin = skin_tests::list_by_client(&mut s, client.id()).await?;
    let hair = hair_tests::list_by_client(&mut s, client.id()).await?;
    s.commit().await?;
    let mut facts = tests(&skin, &hair, &zone);
    if let Some(index) = client.curl_index {
        facts.insert(
            0,
            Fact {
                name: tr!("Curl index").into(),
                words: tr!("{index}, stretched ÷ as it lies", index = format_args!("{:.2}", index)),
            },
        );
    }
    let mut page = StrandPage {
        shell: seat.shell(now, "/clients", &[&format!("client:{}", client.client_id)]),
        tabs: tabs(&seat, &client, "strand"),
        base: format!("/clients/{}", client.client_id),
        client: client.client_id,
        book: seat.may(Act::Book),
        measure: seat.may(Act::MeasureHair),
        plan: seat.may(Act::MakePlan),
        answer: tr!("Nobody has asked yet what is in the hair").into(),
        lead: tr!("The consult asks how long it is, and every treatment it has met.").into(),
        odd: Vec::new(),
        ruler: None,
        rows: Vec::new(),
        places: felt.iter().map(|r| place(r, &zone)).collect(),
        growth: None,
        facts,
    };
    if let Some(told) = told {
        let strand = &told.strand;
        page.answer = strand_words::answer(strand);
        page.lead = lead(&told, &client);
        let since = told.story.root_met_on().map(day_words);
        let measured =
            told.story.deeds.iter().any(|(on, d)| *on == today && matches!(d, Deed::Measure { .. }));
        page.rows = strand_words::rows(strand, since, measured);
        page.ruler = (strand.length_mm() >= 0.5).then(|| {
            let label = tr!(
                "Strand ruler, {} from scalp to ends. The table after it says the same in words.",
                length::said(strand.length_mm())
            );
            strand_words::ruler(strand, label)
        });
        page.growth = growth(&told, &client, today, reference);
        page.facts.extend(visits(&told));
        page.odd = told.odd;
    }
    Ok(page::html(&page))
}
