//! The files of `shared/demo/`, read. Days, hours and minutes count from loading.

use serde::Deserialize;
use serde::de::DeserializeOwned;
use std::collections::BTreeMap;
use std::sync::LazyLock;

use super::{DemoFault, Laid};
use crate::reference::Reference;

/// Everything the files say.
pub struct Files {
    pub salon: Salon,
    pub shelf: Vec<Product>,
    pub clients: Vec<Client>,
    pub bookings: Vec<Booking>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Shelf {
    products: Vec<Product>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Clients {
    clients: Vec<Client>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Bookings {
    bookings: Vec<Booking>,
}

fn read<T: DeserializeOwned>(name: &str) -> Laid<T> {
    let text = Reference::text(name).ok_or_else(|| DemoFault::File(format!("{name} is missing")))?;
    toml::from_str(text).map_err(|e| DemoFault::File(format!("{name}: {e}")))
}

static SHIPPED: LazyLock<Result<Files, String>> = LazyLock::new(|| Files::read().map_err(|e| e.to_string()));

impl Files {
    /// The shipped files, read once: what the store keeps as a known code is borrowed from them.
    pub fn shipped() -> Laid<&'static Files> {
        SHIPPED.as_ref().map_err(|e| DemoFault::File(e.clone()))
    }

    fn read() -> Laid<Files> {
        Ok(Files {
            salon: read("demo/salon.toml")?,
            shelf: read::<Shelf>("demo/shelf.toml")?.products,
            clients: read::<Clients>("demo/clients.toml")?.clients,
            bookings: read::<Bookings>("demo/bookings.toml")?.bookings,
        })
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Salon {
    pub name: String,
    pub zone: String,
    pub place: String,
    pub emergency_number: String,
    pub eye_wash_place: String,
    pub opens: String,
    pub closes: String,
    pub places: BTreeMap<String, i16>,
    pub people: Vec<Person>,
    pub stations: Vec<Station>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Person {
    pub name: String,
    pub role: String,
    pub qualifications: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Station {
    pub name: String,
    pub kind: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Product {
    pub code: String,
    pub name: String,
    pub family: String,
    #[serde(rename = "use")]
    pub use_as: String,
    pub form: String,
    pub strength: String,
    pub contents: Vec<Content>,
    /// The invented number, 13 digits.
    pub gtin: Option<String>,
    /// Low under so many grams; else the house's 150.
    pub low: Option<f32>,
    pub ph: f32,
    pub base: String,
    #[serde(default = "patch")]
    pub skin_test: String,
    pub sheet: Option<Sheet>,
    /// Codes of products, one of which it is mixed with.
    #[serde(default)]
    pub mixed_with: Vec<String>,
    /// Minutes the mixture may be used.
    pub mixed_life: Option<i16>,
    pub lots: Vec<Lot>,
}

fn patch() -> String {
    "patch".into()
}

#[derive(Deserialize, serde::Serialize)]
#[serde(deny_unknown_fields)]
pub struct Content {
    pub ingredient: String,
    pub percent: f64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Sheet {
    pub clock: String,
    pub target: f32,
    pub least: Option<f32>,
    pub most: f32,
    pub from: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Lot {
    pub code: String,
    pub received: i64,
    pub opened: Option<i64>,
    pub life_days: Option<i16>,
    pub best_before: Option<i64>,
    pub grams: f32,
    /// Its own contents, where the label differs from the product's.
    pub contents: Option<Vec<Content>>,
    /// Stands apart, and why.
    pub apart: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Client {
    pub name: String,
    pub born: String,
    pub phone: String,
    pub curl: String,
    pub curl_index: Option<f32>,
    pub usual: String,
    #[serde(default)]
    pub no_contact: bool,
    pub strand: Beginning,
    #[serde(default)]
    pub hair: Vec<Deed>,
    pub consult: Option<Consult>,
    pub consent: Option<Consent>,
    #[serde(default)]
    pub readings: Vec<Reading>,
    #[serde(default)]
    pub patch_tests: Vec<PatchTest>,
    #[serde(default)]
    pub strand_tests: Vec<StrandTest>,
    #[serde(default)]
    pub followups: Vec<Followup>,
    pub plan: Option<Plan>,
    pub run: Option<Run>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Beginning {
    pub length_mm: f64,
    pub day: i64,
    pub by: String,
}

/// One line of a strand's record: exactly one of `apply`, `measure_mm`, `trim_mm`.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Deed {
    pub day: i64,
    pub apply: Option<String>,
    pub zone: Option<String>,
    pub from_mm: Option<f64>,
    pub known: Option<String>,
    #[serde(default)]
    pub sd_days: f64,
    pub measure_mm: Option<f64>,
    pub sd_mm: Option<f64>,
    pub trim_mm: Option<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Consult {
    pub min: f64,
    pub by: String,
    #[serde(default)]
    pub words: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Consent {
    pub min: f64,
    pub by: String,
    pub station: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Reading {
    pub min: f64,
    pub by: String,
    pub place: String,
    pub new_growth_mm: Option<f32>,
    pub sd_mm: Option<f32>,
    pub texture: Option<String>,
    pub porosity: Option<String>,
    pub density: Option<String>,
    pub wet_stretch: Option<String>,
    pub shortest_mm: Option<f32>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PatchTest {
    pub product: String,
    pub place: String,
    pub placed_h: f64,
    pub off_h: Option<f64>,
    pub read_h: Option<f64>,
    pub by: String,
    pub read_by: Option<String>,
    pub outcome: Option<String>,
}

/// A strand test of the worst place and of a sound one, both passed.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StrandTest {
    pub product: String,
    pub day: i64,
    pub minutes: f32,
    pub by: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Followup {
    pub day: i64,
    pub by: String,
    pub outcome: String,
    pub next_day: Option<i64>,
    #[serde(default)]
    pub note: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Plan {
    pub protocol: String,
    pub min: f64,
    pub by: String,
    #[serde(rename = "A")]
    pub a: String,
    #[serde(rename = "B")]
    pub b: String,
    #[serde(rename = "C")]
    pub c: String,
    pub offer: Option<String>,
    #[serde(default)]
    pub offer_answer: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Run {
    pub by: String,
    pub station: String,
    pub min: f64,
    pub acts: Vec<Act>,
}

/// One act of a run: `start` a step, `sign` a hold point, take a `lot`, or `touch` a quadrant.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Act {
    pub min: f64,
    pub by: Option<String>,
    pub station: Option<String>,
    pub start: Option<String>,
    pub sign: Option<String>,
    pub answer: Option<String>,
    pub step: Option<String>,
    pub lot: Option<String>,
    pub application: Option<char>,
    pub grams: Option<f64>,
    pub touch: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Booking {
    pub client: String,
    pub purpose: String,
    pub protocol: String,
    pub in_min: Option<i64>,
    pub day: Option<i64>,
    pub at: Option<String>,
    pub minutes: i64,
    pub state: Option<String>,
    /// A patch-test visit for the service booked before it in the file.
    #[serde(default)]
    pub for_service: bool,
    pub hands: Vec<Hands>,
    #[serde(default)]
    pub places: Vec<Place>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Hands {
    pub who: String,
    pub from: i64,
    pub to: i64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Place {
    pub kind: String,
    pub from: i64,
    pub to: i64,
}
