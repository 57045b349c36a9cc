//! The Shelf: products, their sheets' times, lots, limits.

use crate::chair::{THIO_LABEL, new_client, product, send, straightener, with};
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
    let silent = send(&mut chair, &here, &format!("{here}/withdrawal"), &[]).await;
    assert!(silent.status == 422 && silent.body.contains("id=\"withdrawn_reason-error\""), "it says why");
    let why = with(vec![], &[("withdrawn_reason", "=recalled by the maker")]);
    assert_eq!(send(&mut chair, &here, &format!("{here}/withdrawal"), &why).await.status, 303);
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
    let mut twice = with(twice, &[("best_before", "")]);
    twice.extend(THIO_LABEL.map(|w| ("seen", w.to_string())));
    let back = send(&mut chair, &page, &format!("{page}/lots"), &twice).await;
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

#[tokio::test]
async fn every_product_has_its_low_mark_and_a_number_that_holds() {
    let salon = Salon::open().await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let (product_id, _) = straightener(&mut chair, "Kestrel Smooth").await;
    let here = format!("/shelf/products/{product_id}/label");
    let typed = |at: &str, low: &str, gtin: &str| {
        with(product(), &[("version", at), ("low_grams", low), ("gtin", gtin), ("new_formula", "")])
    };
    let wrong = send(&mut chair, &here, &here, &typed("1", "600", "9521234543214")).await;
    assert!(
        wrong.status == 422
            && wrong.body.contains("id=\"gtin-error\"")
            && wrong.body.contains("value=\"600\"")
    );
    assert_eq!(send(&mut chair, &here, &here, &typed("1", "600", "952 1234543213")).await.status, 303);
    let shown = chair.get(&format!("/shelf/products/{product_id}")).await;
    assert!(
        shown.body.contains("09521234543213") && shown.body.contains("low under 600 g"),
        "{}",
        shown.body
    );
    // 500 g came in, 600 are wished for.
    assert!(chair.get("/shelf").await.body.contains("<strong>low"));
    let twin = with(product(), &[("name", "Twin"), ("gtin", "09521234543213")]);
    let back = send(&mut chair, "/shelf/products/new", "/shelf/products", &twin).await;
    assert!(back.status == 422 && back.body.contains("id=\"gtin-error\""), "a number stands for one product");
    // The database asks for the check digit as well (GS1 General Specifications, 7.9).
    for (gtin, holds) in [
        ("09521234543213", true),
        ("09521234543214", false),
        ("9521234543213", false),
        ("0952123454321x", false),
    ] {
        let held: bool = sqlx::query_scalar("select rinsebell_gtin_holds($1)")
            .bind(gtin)
            .fetch_one(&salon.owner)
            .await
            .unwrap();
        assert_eq!(held, holds, "{gtin}");
    }
}

#[tokio::test]
async fn what_is_never_left_on_skin_says_what_stands_instead() {
    let salon = Salon::open().await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    for (name, family, use_as) in [
        ("Relaxer", "sodium-hydroxide", "straightener"),
        ("Guanidine", "guanidine-hydroxide", "straightener"),
        ("Powder", "lightener", "lightener"),
    ] {
        let typed = with(
            product(),
            &[("name", name), ("family", family), ("use_as", use_as), ("skin_test", "none-by-sheet")],
        );
        let made = send(&mut chair, "/shelf/products/new", "/shelf/products", &typed).await;
        let page = chair.get(&made.location).await;
        assert!(
            page.body.contains("Never left on skin") && page.body.contains("strand test passed"),
            "{name}"
        );
    }
    let client = new_client(&mut chair, "Nerys Amblin", "1990-05-14").await;
    let tests = chair.get(&format!("/clients/{client}/tests")).await;
    assert!(tests.body.contains("Never left on skin: Guanidine, Powder, Relaxer"), "{}", tests.body);
}
