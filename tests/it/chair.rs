//! What happens in the chair before a service, as fields of forms: helpers for several nouns.

use crate::support::{Answer, Browser, Salon};

/// A grown-up client entered through the form; the id.
pub async fn new_client(at: &mut Browser, name: &str, born_on: &str) -> i64 {
    let once = at.get("/clients/new").await.field("once");
    let fields = [("once", once.as_str()), ("name", name), ("born_on", born_on), ("curl_group", "tight")];
    let answer = at.post("/clients", &fields).await;
    assert_eq!(answer.status, 303, "{}", answer.body);
    answer.location_id()
}

/// A first consult with nothing against anything: 200 mm of hair, all accounted for.
pub fn consult() -> Vec<(&'static str, String)> {
    [
        ("black_henna", "no"),
        ("black_henna_reaction", ""),
        ("scalp", "intact"),
        ("scratched", "no"),
        ("braids_out_on", ""),
        ("pregnant", "no"),
        ("medication", "no"),
        ("scalp_treatment", "no"),
        ("reason", ""),
        ("home_colour", "never"),
        ("silver", "no"),
        ("words", ""),
        ("guardian", ""),
        ("length_mm", "200"),
        ("account", "whole"),
        ("account_mm", ""),
    ]
    .map(|(k, v)| (k, v.to_string()))
    .to_vec()
}

/// The same with some answers others.
pub fn with(
    mut fields: Vec<(&'static str, String)>,
    others: &[(&'static str, &str)],
) -> Vec<(&'static str, String)> {
    for (name, value) in others {
        match fields.iter_mut().find(|(n, _)| n == name) {
            Some(field) => field.1 = (*value).to_string(),
            None => fields.push((name, (*value).to_string())),
        }
    }
    fields
}

/// Opens `page`, takes its key, sends the fields to `to`.
pub async fn send(at: &mut Browser, page: &str, to: &str, fields: &[(&'static str, String)]) -> Answer {
    let once = at.get(page).await.field("once");
    let mut all: Vec<(&str, &str)> = vec![("once", once.as_str())];
    all.extend(fields.iter().map(|(k, v)| (*k, v.as_str())));
    at.post(to, &all).await
}

/// Takes a consult.
pub async fn take(at: &mut Browser, client: i64, fields: &[(&'static str, String)]) -> Answer {
    let to = format!("/clients/{client}/consult");
    send(at, &format!("{to}?again=1"), &to, fields).await
}

/// What a thio label must say in the EU for professional use (Annex III 2a, as in `shared/tables/limits.toml`).
pub const THIO_LABEL: [&str; 6] = [
    "For professional use only",
    "Contains thioglycolate",
    "Follow the instructions",
    "Avoid contact with eyes",
    "Rinse eyes immediately if product comes into contact with them.",
    "Wear suitable gloves",
];

/// A thio straightener with one lot of 500 g; the ids of product and lot.
pub async fn straightener(at: &mut Browser, name: &str) -> (i64, i64) {
    let fields = with(
        product(),
        &[("name", name), ("ingredient", "ammonium-thioglycolate"), ("percent", "11"), ("ph", "9.2")],
    );
    let made = send(at, "/shelf/products/new", "/shelf/products", &fields).await;
    assert_eq!(made.status, 303, "{}", made.body);
    let product_id = made.location_id();
    let page = made.location;
    let lot = [("code", "L-1"), ("received_on", "2026-01-05"), ("received_grams", "500")];
    let mut lot: Vec<_> = lot.map(|(k, v)| (k, v.to_string())).to_vec();
    lot.extend(THIO_LABEL.map(|w| ("seen", w.to_string())));
    let booked = send(at, &page, &format!("{page}/lots"), &lot).await;
    assert_eq!(booked.status, 303, "{}", booked.body);
    let shown = at.get(&page).await;
    let lot_id = shown.body.split("/shelf/lots/").nth(1).expect("the lot is listed");
    (product_id, lot_id.split('"').next().expect("an id").parse().expect("a number"))
}

/// A product form: a regular thio straightener, patch-tested, base.
pub fn product() -> Vec<(&'static str, String)> {
    [
        ("name", "Kestrel Smooth"),
        ("family", "thio"),
        ("use_as", "straightener"),
        ("form", "cream"),
        ("strength", "regular"),
        ("base", "base"),
        ("skin_test", "patch"),
    ]
    .map(|(k, v)| (k, v.to_string()))
    .to_vec()
}

/// How many rows a question finds, asked as the owner.
pub async fn count(salon: &Salon, sql: &'static str, client: i64) -> i64 {
    sqlx::query_scalar(sql).bind(client).fetch_one(&salon.owner).await.expect("counted")
}
