//! Patch tests, strand tests, metallic-salt tests.

use std::time::Duration;

use crate::chair::{count, new_client, product, send, straightener, with};
use crate::support::{Answer, Browser, Salon};

fn fields(pairs: &[(&'static str, &str)]) -> Vec<(&'static str, String)> {
    pairs.iter().map(|(k, v)| (*k, (*v).to_string())).collect()
}

async fn place(at: &mut Browser, client: i64, lot: &str) -> Answer {
    let here = format!("/clients/{client}/tests");
    send(at, &here, &format!("{here}/skin"), &fields(&[("lot", lot), ("place", "behind-left-ear")])).await
}

async fn skin_test_id(salon: &Salon, client: i64) -> i64 {
    count(salon, "select max(skin_test_id) from skin_test where client_id = $1", client).await
}

#[tokio::test]
async fn a_patch_test_is_read_as_no_reaction_from_48_hours_on_and_then_stands() {
    let salon = Salon::open().await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let (product, lot) = straightener(&mut chair, "Kestrel Smooth").await;
    let id = new_client(&mut chair, "Nerys Amblin", "1990-05-14").await;
    let here = format!("/clients/{id}/tests");
    assert!(chair.get(&here).await.body.contains("No patch test yet"));
    assert_eq!(place(&mut chair, id, &format!("{product}-{lot}")).await.status, 303);
    assert!(chair.get(&here).await.body.contains("<h1>To read from "));
    let test = skin_test_id(&salon, id).await;
    let to = format!("{here}/skin/{test}/reading");
    let fine = fields(&[("outcome", "no-reaction")]);
    let early = send(&mut chair, &here, &to, &fine).await;
    assert_eq!(early.status, 422);
    assert!(early.body.contains("48 hours after placing"), "{}", early.body);
    let told = send(&mut chair, &here, &format!("{here}/skin/{test}/telling"), &fine).await;
    assert_eq!(told.status, 303, "{}", told.body);
    assert_eq!(
        count(&salon, "select count(*) from skin_test where client_id = $1 and outcome is not null", id)
            .await,
        0
    );
    salon.advance(Duration::from_secs(48 * 3600)).await;
    let mut chair = salon.seat("Chair 2", "chair", salon.staff.stylist).await;
    assert!(chair.get(&here).await.body.contains("A patch test is to be read"));
    assert_eq!(send(&mut chair, &here, &format!("{here}/skin/{test}/removal"), &[]).await.status, 303);
    assert_eq!(send(&mut chair, &here, &to, &fine).await.status, 303);
    let again = send(&mut chair, &here, &to, &fields(&[("outcome", "blister")])).await;
    assert_eq!(again.status, 409, "what was read stands");
    assert!(chair.get(&here).await.body.contains("no reaction, read "));
}

#[tokio::test]
async fn a_reaction_is_read_at_once_and_refuses_in_words() {
    let salon = Salon::open().await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let mut basin = salon.seat("Basin", "basin", salon.staff.assistant).await;
    let (product, lot) = straightener(&mut chair, "Kestrel Smooth").await;
    let id = new_client(&mut chair, "Nerys Amblin", "1990-05-14").await;
    let here = format!("/clients/{id}/tests");
    assert_eq!(place(&mut basin, id, &format!("{product}-{lot}")).await.status, 303, "an assistant places");
    let test = skin_test_id(&salon, id).await;
    let to = format!("{here}/skin/{test}/reading");
    let red = fields(&[("outcome", "redness")]);
    assert_eq!(send(&mut basin, &here, &to, &red).await.status, 403, "an assistant does not read");
    assert_eq!(send(&mut chair, &here, &to, &fields(&[("outcome", "fine")])).await.status, 422);
    assert_eq!(send(&mut chair, &here, &to, &red).await.status, 303);
    let page = chair.get(&here).await;
    assert!(page.body.contains("Positive: no Kestrel Smooth") && page.body.contains("nobody may override"));
    let other = new_client(&mut chair, "Ilka Dorn", "1990-05-14").await;
    let foreign = format!("/clients/{other}/tests/skin/{test}/removal");
    assert_eq!(send(&mut chair, &here, &foreign, &[]).await.status, 404, "another client's test");
}

#[tokio::test]
async fn hydroxide_and_lightener_are_never_left_on_skin() {
    let salon = Salon::open().await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let (_, thio_lot) = straightener(&mut chair, "Kestrel Smooth").await;
    let lye = with(product(), &[("name", "Heron Relax"), ("family", "sodium-hydroxide")]);
    let back = send(&mut chair, "/shelf/products/new", "/shelf/products", &lye).await;
    assert!(back.status == 422 && back.body.contains("id=\"skin_test-error\""));
    let lye = with(lye, &[("skin_test", "none-by-sheet")]);
    let lye_id = send(&mut chair, "/shelf/products/new", "/shelf/products", &lye).await.location_id();
    let id = new_client(&mut chair, "Nerys Amblin", "1990-05-14").await;
    let refused = place(&mut chair, id, &format!("{lye_id}-{thio_lot}")).await;
    assert_eq!(refused.status, 422);
    assert!(refused.body.contains("Heron Relax is never left on skin"), "{}", refused.body);
    for bad in ["", "1", "0-0", "999999-999999", "a-b"] {
        assert_eq!(place(&mut chair, id, bad).await.status, 422, "{bad}");
    }
    assert_eq!(count(&salon, "select count(*) from skin_test where client_id = $1", id).await, 0);
}

#[tokio::test]
async fn a_new_formula_voids_what_was_tested() {
    let salon = Salon::open().await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let (product_id, lot) = straightener(&mut chair, "Kestrel Smooth").await;
    let id = new_client(&mut chair, "Nerys Amblin", "1990-05-14").await;
    place(&mut chair, id, &format!("{product_id}-{lot}")).await;
    let label = format!("/shelf/products/{product_id}/label");
    let page = chair.get(&label).await;
    let change = with(
        product(),
        &[
            ("version", &page.field("version")),
            ("ingredient", "ammonium-thioglycolate"),
            ("percent", "9"),
            ("ph", "9.2"),
        ],
    );
    assert_eq!(send(&mut chair, &label, &label, &change).await.status, 303);
    assert!(
        chair
            .get(&format!("/clients/{id}/tests"))
            .await
            .body
            .contains("Void: the product has another formula now")
    );
    let stale = send(&mut chair, &label, &label, &change).await;
    assert_eq!(stale.status, 409);
}

#[tokio::test]
async fn a_strand_test_passes_by_its_signs_and_a_salt_test_lies_30_minutes() {
    let salon = Salon::open().await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let (product, _) = straightener(&mut chair, "Kestrel Smooth").await;
    let id = new_client(&mut chair, "Nerys Amblin", "1990-05-14").await;
    let here = format!("/clients/{id}/tests");
    let product = product.to_string();
    let strand = fields(&[
        ("strand_product", &product),
        ("strand_place", "worst-place"),
        ("strand_minutes", "12,5"),
        ("curl_formed", "yes"),
        ("wet_stretch", "returns"),
        ("gummy", "no"),
    ]);
    let to = format!("{here}/strand");
    assert_eq!(send(&mut chair, &here, &to, &strand).await.status, 303);
    assert_eq!(send(&mut chair, &here, &to, &with(strand.clone(), &[("gummy", "yes")])).await.status, 303);
    let back =
        send(&mut chair, &here, &to, &with(strand.clone(), &[("wet_stretch", ""), ("strand_minutes", "-3")]))
            .await;
    assert!(back.status == 422 && back.body.contains("value=\"-3\""), "{}", back.body);
    assert_eq!(
        send(&mut chair, &here, &to, &with(strand, &[("strand_product", "999999")])).await.status,
        422
    );
    let passed: Vec<bool> =
        sqlx::query_scalar("select passed from hair_test where client_id = $1 order by hair_test_id")
            .bind(id)
            .fetch_all(&salon.owner)
            .await
            .unwrap();
    assert_eq!(passed, [true, false]);
    let salt = fields(&[("salt_place", "worst-place"), ("salt_minutes", "29"), ("salt_sign", "no-change")]);
    let to = format!("{here}/metallic-salt");
    assert_eq!(send(&mut chair, &here, &to, &salt).await.status, 422);
    assert_eq!(send(&mut chair, &here, &to, &with(salt, &[("salt_minutes", "30")])).await.status, 303);
}
