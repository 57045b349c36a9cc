//! The Shelf: products, their sheets' times, lots, limits.

use crate::chair::{new_client, product, send, straightener, with};
use crate::support::Salon;

#[tokio::test]
async fn a_product_is_held_against_the_law_of_the_salons_place() {
    let salon = Salon::open().await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let (product_id, _) = straightener(&mut chair, "Kestrel Smooth").await;
    let here = format!("/shelf/products/{product_id}");
    let page = chair.get(&here).await;
    // 3-calc.md, limits: 11 % ammonium thioglycolate is 9.28 % as thioglycolic acid, limit 11 %, pH 7 to 9.5.
    assert!(
        page.body.contains("9.28 %") && page.body.contains("7 to 9.5") && page.body.contains("within"),
        "{}",
        page.body
    );
    let strong = with(
        product(),
        &[("name", "Too Much"), ("ingredient", "ammonium-thioglycolate"), ("percent", "14"), ("ph", "9.2")],
    );
    let made = send(&mut chair, "/shelf/products/new", "/shelf/products", &strong).await;
    assert!(chair.get(&made.location).await.body.contains("not allowed so"));
    let again = send(&mut chair, "/shelf/products/new", "/shelf/products", &strong).await;
    assert!(again.status == 422 && again.body.contains("id=\"name-error\""), "a name stands once");
}

#[tokio::test]
async fn a_product_form_with_faults_keeps_what_was_typed() {
    let salon = Salon::open().await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let bad = with(
        product(),
        &[
            ("name", ""),
            ("family", "sodium-hydroxide"),
            ("use_as", "lotion"),
            ("ph", "15"),
            ("ingredient", "sugar"),
            ("percent", "12.7"),
        ],
    );
    let back = send(&mut chair, "/shelf/products/new", "/shelf/products", &bad).await;
    assert_eq!(back.status, 422);
    for name in ["name", "use_as", "ph", "skin_test", "ingredient_0"] {
        assert!(back.body.contains(&format!("id=\"{name}-error\"")), "{name}");
    }
    assert!(back.body.contains("value=\"15\"") && back.body.contains("value=\"12.7\""));
    let unknown = with(product(), &[("family", "unknown")]);
    assert_eq!(send(&mut chair, "/shelf/products/new", "/shelf/products", &unknown).await.status, 422);
}

#[tokio::test]
async fn the_sheets_times_say_from_when_they_count() {
    let salon = Salon::open().await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let (product_id, _) = straightener(&mut chair, "Kestrel Smooth").await;
    let here = format!("/shelf/products/{product_id}");
    assert!(chair.get(&here).await.body.contains("No times of the sheet are entered"));
    let times = [
        ("clock", "exposure"),
        ("target_min", "25"),
        ("least_min", ""),
        ("most_min", "30"),
        ("counts_from", "first-touch"),
    ];
    let times: Vec<_> = times.map(|(k, v)| (k, v.to_string())).to_vec();
    let to = format!("{here}/times");
    for (others, field) in [
        (&[("most_min", "20")][..], "most_min"),
        (&[("counts_from", "")], "counts_from"),
        (&[("least_min", "26")], "least_min"),
        (&[("target_min", "0")], "target_min"),
        (&[("clock", "wall")], "clock"),
    ] {
        let back = send(&mut chair, &here, &to, &with(times.clone(), others)).await;
        assert!(back.status == 422 && back.body.contains(&format!("id=\"{field}-error\"")), "{field}");
    }
    assert_eq!(send(&mut chair, &here, &to, &times).await.status, 303);
    assert_eq!(
        send(&mut chair, &here, &to, &with(times, &[("most_min", "28")])).await.status,
        303,
        "entered again, it stands once"
    );
    let page = chair.get(&here).await;
    assert!(page.body.contains("25 min, longest allowed 28, from the first touch"), "{}", page.body);
}

#[tokio::test]
async fn a_lot_says_where_it_went_and_leaves_use_for_good() {
    let salon = Salon::open().await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let (product_id, lot_id) = straightener(&mut chair, "Kestrel Smooth").await;
    let shelf = chair.get("/shelf").await;
    assert!(shelf.body.contains("500 g") && !shelf.body.contains("<strong>low"), "{}", shelf.body);
    let client = new_client(&mut chair, "Nerys Amblin", "1990-05-14").await;
    let tests = format!("/clients/{client}/tests");
    let lot = format!("{product_id}-{lot_id}");
    let placed = with(vec![], &[("lot", &lot), ("place", "left-inner-elbow")]);
    assert_eq!(send(&mut chair, &tests, &format!("{tests}/skin"), &placed).await.status, 303);
    let here = format!("/shelf/lots/{lot_id}");
    assert!(chair.get(&here).await.body.contains("Nerys Amblin"));
    assert_eq!(send(&mut chair, &here, &format!("{here}/opening"), &[]).await.status, 303);
    assert_eq!(send(&mut chair, &here, &format!("{here}/withdrawal"), &[]).await.status, 303);
    assert!(chair.get(&here).await.body.contains("out of use"));
    assert!(chair.get("/shelf").await.body.contains("<strong>low"));
    let again = send(&mut chair, &tests, &format!("{tests}/skin"), &placed).await;
    assert_eq!(again.status, 422, "a lot out of use is not placed");
    let page = format!("/shelf/products/{product_id}");
    let twice = with(
        vec![],
        &[("code", "L-1"), ("received_on", "2026-01-05"), ("received_grams", "10"), ("best_before", "soon")],
    );
    let back = send(&mut chair, &page, &format!("{page}/lots"), &twice).await;
    assert!(
        back.status == 422
            && back.body.contains("id=\"best_before-error\"")
            && back.body.contains("value=\"soon\"")
    );
    let back = send(&mut chair, &page, &format!("{page}/lots"), &with(twice, &[("best_before", "")])).await;
    assert!(back.status == 422 && back.body.contains("id=\"code-error\""));
    for unknown in ["/shelf/lots/999999", "/shelf/products/x", "/shelf/products/999999/label"] {
        assert_eq!(chair.get(unknown).await.status, 404, "{unknown}");
    }
    let mut desk = salon.seat("Desk", "desk", salon.staff.reception).await;
    assert_eq!(desk.get("/shelf").await.status, 403);
    let mut basin = salon.seat("Basin", "basin", salon.staff.assistant).await;
    assert_eq!(basin.get("/shelf").await.status, 200);
    assert_eq!(basin.get("/shelf/products/new").await.status, 403);
}
