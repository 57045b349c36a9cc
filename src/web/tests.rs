//! A client's tests before a service: on skin (patch test), on hair (strand test, metallic-salt test).

use askama::Template;
use axum::extract::Path;
use time::OffsetDateTime;

use crate::calendar::Zone;
use crate::domain::access::Act;
use crate::domain::hair_test::{SaltSign, TestPlace, WetStretch};
use crate::domain::skin_test::{Outcome, SkinPlace, readable_from};
use crate::store::clients::Client;
use crate::store::hair_photos::{self, Photo};
use crate::store::hair_tests::{self, HairTest};
use crate::store::skin_tests::{self, SkinTest};
use crate::store::{Scoped, lots, products};
use crate::web::clients::{client_id, find, tabs, zone};
use crate::web::form::{Choice, Errors};
use crate::web::hair_tests::{SaltTyped, StrandTyped};
use crate::web::problem::{Answered, Problem};
use crate::web::routes::{Line, Open, lines};
use crate::web::seat::Seat;
use crate::web::shell::{ClientTabs, Shell};
use crate::web::skin_tests::PlaceTyped;
use crate::web::{once, page, test_visits, typed};

/// The route of this screen; its acts stand in skin_tests and hair_tests.
pub const LINES: &[Line] = lines![get "/clients/{id}/tests" Open::To(Act::SeeHealth) => show];

/// What was typed into one of the forms of the screen; the others are as new.
#[derive(Clone, Debug, Default)]
pub struct AllTyped {
    pub place: PlaceTyped,
    pub strand: StrandTyped,
    pub salt: SaltTyped,
    /// The patch test an outcome was sent for, with the outcome chosen.
    pub outcome: Option<(i64, String)>,
}

struct SkinLine {
    id: i64,
    product: String,
    lot: String,
    place: &'static str,
    placed: String,
    off: String,
    told: String,
    /// The outcome read, or when it can be read.
    read: String,
    positive: bool,
    void: bool,
    /// Not read yet.
    open: bool,
    on_skin: bool,
    outcomes: Vec<Choice>,
    once_keys: [String; 3],
}

struct HairLine {
    id: i64,
    what: String,
    when: String,
    saw: String,
    passed: bool,
    void: bool,
    /// A strand test may carry a photo.
    strand: bool,
    /// Who agreed to the photo and when, or when it was erased; empty for none.
    photo: String,
    has_photo: bool,
    once_key: String,
}

#[derive(Template)]
#[template(path = "tests/show.html")]
struct TestsPage {
    shell: Shell,
    tabs: ClientTabs,
    errors: Errors,
    answer: String,
    refused: bool,
    skin: Vec<SkinLine>,
    hair: Vec<HairLine>,
    /// Lots that may be placed on skin: product and lot in one choice.
    lots: Vec<Choice>,
    places: Vec<Choice>,
    /// Products never left on skin, by name.
    never: Vec<String>,
    products: Vec<Choice>,
    strand: StrandTyped,
    strand_places: Vec<Choice>,
    formed: Vec<Choice>,
    stretch: Vec<Choice>,
    gummy: Vec<Choice>,
    salt: SaltTyped,
    salt_places: Vec<Choice>,
    signs: Vec<Choice>,
    once_keys: [String; 3],
    base: String,
    may_place: bool,
    may_read: bool,
    /// The test visit under way: its run, its title and chair.
    visit: Option<(i64, String)>,
    visits: String,
}

/// What a page of tests is made from.
pub struct Opened {
    pub client: Client,
    pub now: OffsetDateTime,
    pub zone: Zone,
    skin: Vec<SkinTest>,
    hair: Vec<HairTest>,
    photos: Vec<Photo>,
    products: Vec<products::Product>,
    lots: Vec<lots::Lot>,
    visit: Option<(i64, String)>,
}

/// Reads a client's tests and what the forms offer.
pub async fn open(seat: &Seat, s: &mut Scoped, id: &str) -> Result<Opened, Problem> {
    let client = find(s, client_id(id)?).await?;
    let skin = skin_tests::list_by_client(s, client.id()).await?;
    let hair = hair_tests::list_by_client(s, client.id()).await?;
    let photos = hair_photos::list_by_client(s, client.id()).await?;
    let mut products = products::list(s).await?;
    products.retain(|p| p.retired_at.is_none());
    let (now, zone) = (s.now().await?, zone(seat)?);
    let lots = lots::list(s, None, zone.day_of(now)).await?;
    let visit = test_visits::under_way(s, seat, client.id()).await?;
    Ok(Opened { client, now, zone, skin, hair, photos, products, lots, visit })
}

/// An instant as the screens say it: `Thu 14 May 10:00`.
pub fn instant_words(zone: &Zone, at: OffsetDateTime) -> String {
    format!("{} {}", zone.day_words(at), zone.clock(at))
}

fn outcome_words(code: &str) -> &'static str {
    Outcome::from_code(code).map_or("", Outcome::words)
}

fn is_positive(code: &str) -> bool {
    Outcome::from_code(code).is_none_or(Outcome::is_positive)
}

fn skin_line(o: &Opened, t: &SkinTest, typed: &AllTyped) -> SkinLine {
    let at = |x| instant_words(&o.zone, x);
    let chosen =
        typed.outcome.as_ref().filter(|(id, _)| *id == t.skin_test_id).map_or("", |(_, code)| code.as_str());
    let told_positive = t.told_outcome.as_deref().is_some_and(is_positive);
    let read = match (&t.outcome, t.read_at) {
        (Some(code), Some(read_at)) => {
            let by = t.read_by.as_deref().unwrap_or_default();
            let head = if is_positive(code) { "Positive: " } else { "" };
            format!("{head}{}, read {} by {by}", outcome_words(code), at(read_at))
        }
        _ if o.now < readable_from(t.placed_at) => format!("to read from {}", at(readable_from(t.placed_at))),
        _ => tr!("to read now, in the chair").into(),
    };
    SkinLine {
        id: t.skin_test_id,
        product: t.product_name.clone(),
        lot: t.lot_code.clone(),
        place: SkinPlace::from_code(&t.place).map_or("", SkinPlace::words),
        placed: format!("{} by {}", at(t.placed_at), t.placed_by),
        off: t.taken_off_at.map_or_else(|| "still on".into(), at),
        told: match (&t.told_outcome, t.told_at) {
            (Some(code), Some(told_at)) => format!("told {}: {}", at(told_at), outcome_words(code)),
            _ => String::new(),
        },
        read,
        positive: told_positive || t.outcome.as_deref().is_some_and(is_positive),
        void: t.formula != t.formula_now,
        open: t.read_at.is_none(),
        on_skin: t.taken_off_at.is_none() && t.read_at.is_none(),
        outcomes: Choice::list(Outcome::ALL.map(|x| (x.code(), x.words())), &[chosen]),
        once_keys: [once::key(), once::key(), once::key()],
    }
}

fn photo_words(o: &Opened, p: &Photo) -> String {
    let who = if p.agreed_by == "guardian" { "the guardian" } else { "the client" };
    let agreed = format!("{who} agreed {}, asked by {}", instant_words(&o.zone, p.agreed_at), p.asked_by);
    match p.taken_back_at {
        None => agreed,
        Some(at) => format!("{agreed}; taken back and erased {}", instant_words(&o.zone, at)),
    }
}

fn hair_line(o: &Opened, t: &HairTest) -> HairLine {
    let place = TestPlace::from_code(&t.place).map_or("", TestPlace::words);
    let minutes = typed::shown(f64::from(t.minutes));
    let saw = match t.kind.as_str() {
        "strand" => {
            let stretch =
                t.wet_stretch.as_deref().and_then(WetStretch::from_code).map_or("", WetStretch::words);
            let formed = if t.curl_formed == Some(true) { "curl formed" } else { "no curl" };
            let gummy = if t.gummy == Some(true) { ", gummy" } else { "" };
            format!("{formed}, wet stretch {stretch}{gummy}")
        }
        _ => t.salt_sign.as_deref().and_then(SaltSign::from_code).map_or("", SaltSign::words).to_string(),
    };
    let name = t.product_name.as_deref().unwrap_or("Metallic-salt test");
    let strength = t.strength.as_ref().map(|x| format!(", {x}")).unwrap_or_default();
    let lot = t.lot_code.as_ref().map(|x| format!(", lot {x}")).unwrap_or_default();
    let photo = o.photos.iter().find(|p| p.hair_test_id == t.hair_test_id);
    HairLine {
        id: t.hair_test_id,
        strand: t.kind == "strand",
        has_photo: photo.is_some_and(|p| p.taken_back_at.is_none()),
        photo: photo.map(|p| photo_words(o, p)).unwrap_or_default(),
        once_key: once::key(),
        what: format!("{name}{strength}{lot}, {place}, {minutes} min"),
        when: format!("{} by {}", instant_words(&o.zone, t.done_at), t.done_by),
        saw,
        passed: t.passed,
        void: t.formula != t.formula_now,
    }
}

fn answer(o: &Opened) -> (String, bool) {
    let positive =
        |t: &&SkinTest| [&t.outcome, &t.told_outcome].into_iter().flatten().any(|code| is_positive(code));
    if let Some(t) = o.skin.iter().find(positive) {
        return (format!("Positive: no {}", t.product_name), true);
    }
    let open: Vec<&SkinTest> = o.skin.iter().filter(|t| t.read_at.is_none()).collect();
    if open.iter().any(|t| o.now >= readable_from(t.placed_at)) {
        return ("A patch test is to be read".into(), false);
    }
    match open.iter().map(|t| readable_from(t.placed_at)).min() {
        Some(at) => (format!("To read from {}", instant_words(&o.zone, at)), false),
        None if o.skin.is_empty() => ("No patch test yet".into(), false),
        None => ("Every patch test is read".into(), false),
    }
}

/// A product with each of its lots in use; alone where it has none.
fn strand_choices(o: &Opened, p: &products::Product, today: time::Date) -> Vec<(String, String)> {
    let mine = o.lots.iter().filter(|l| l.product_id == p.product_id && l.usable_on(today));
    let lots: Vec<_> = mine
        .map(|l| {
            (format!("{}-{}", p.product_id, l.lot_id), format!("{}, {}, lot {}", p.name, p.strength, l.code))
        })
        .collect();
    if lots.is_empty() {
        vec![(p.product_id.to_string(), format!("{}, {}", p.name, p.strength))]
    } else {
        lots
    }
}

/// The screen with what was typed.
pub fn tests_page(seat: &Seat, o: &Opened, typed: AllTyped, errors: Errors) -> impl Template {
    let today = o.zone.day_of(o.now);
    let named = |id: i64| o.products.iter().find(|p| p.product_id == id);
    let lots: Vec<(String, String)> = o
        .lots
        .iter()
        .filter(|l| l.usable_on(today))
        .filter_map(|l| Some((l, named(l.product_id).filter(|p| p.skin_test == "patch")?)))
        .map(|(l, p)| (format!("{}-{}", p.product_id, l.lot_id), format!("{}, lot {}", p.name, l.code)))
        .collect();
    let tested: Vec<(String, String)> = o.products.iter().flat_map(|p| strand_choices(o, p, today)).collect();
    let ask = || std::iter::once(("", tr!("choose")));
    let pairs = |list: &'_ [(String, String)], chosen: &str| {
        Choice::names(ask().chain(list.iter().map(|(a, b)| (a.as_str(), b.as_str()))), &[chosen])
    };
    let yes_no = |chosen: &str| Choice::list([("yes", "yes"), ("no", "no")], &[chosen]);
    let (answer, refused) = answer(o);
    let places = TestPlace::ALL.map(|x| (x.code(), x.words()));
    TestsPage {
        shell: seat.shell(o.now, "/clients", &[&format!("client:{}", o.client.client_id)]),
        tabs: tabs(seat, &o.client, "tests"),
        answer,
        refused,
        skin: o.skin.iter().map(|t| skin_line(o, t, &typed)).collect(),
        hair: o.hair.iter().map(|t| hair_line(o, t)).collect(),
        lots: pairs(&lots, &typed.place.lot),
        places: Choice::list(SkinPlace::ALL.map(|x| (x.code(), x.words())), &[typed.place.place.as_str()]),
        never: o.products.iter().filter(|p| p.skin_test != "patch").map(|p| p.name.clone()).collect(),
        products: pairs(&tested, &typed.strand.product),
        strand_places: Choice::list(places, &[typed.strand.place.as_str()]),
        formed: yes_no(&typed.strand.curl_formed),
        stretch: Choice::list(
            WetStretch::ALL.map(|x| (x.code(), x.words())),
            &[typed.strand.wet_stretch.as_str()],
        ),
        gummy: yes_no(&typed.strand.gummy),
        strand: typed.strand,
        salt_places: Choice::list(places, &[typed.salt.place.as_str()]),
        signs: Choice::list(SaltSign::ALL.map(|x| (x.code(), x.words())), &[typed.salt.sign.as_str()]),
        salt: typed.salt,
        once_keys: [once::key(), once::key(), once::key()],
        base: format!("/clients/{}/tests", o.client.client_id),
        may_place: seat.may(Act::PlaceSkinTest),
        may_read: seat.may(Act::ReadTest),
        visit: o.visit.clone(),
        visits: format!("/clients/{}/test-visits", o.client.client_id),
        errors,
    }
}

/// The screen.
pub async fn show(seat: Seat, Path(id): Path<String>) -> Answered {
    seat.require(Act::SeeHealth)?;
    let mut s = seat.begin().await?;
    let o = open(&seat, &mut s, &id).await?;
    s.commit().await?;
    Ok(page::html(&tests_page(&seat, &o, AllTyped::default(), Errors::none())))
}
