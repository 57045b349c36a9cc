//! Signing in at a station and away from one.

use std::time::Duration;

use crate::support::{Browser, Salon};

#[tokio::test]
async fn a_pin_opens_a_station_and_a_wrong_one_waits_longer_each_time() {
    let salon = Salon::open().await;
    let mut chair = salon.station("Chair 1", "chair").await;
    let tobias = salon.staff.stylist.to_string();
    let page = chair.get("/sign-in").await;
    assert_eq!(page.status, 200);
    assert!(page.body.contains("Tobias Fenn"));
    for _ in 0..4 {
        let wrong = chair.post("/sign-in", &[("person", &tobias), ("pin", "111111")]).await;
        assert_eq!(wrong.status, 422);
    }
    let waiting = chair.post("/sign-in", &[("person", &tobias), ("pin", "402917")]).await;
    assert_eq!(waiting.status, 422);
    assert!(waiting.body.contains("wait"), "{}", waiting.body);
    salon.advance(Duration::from_secs(400)).await;
    let right = chair.post("/sign-in", &[("person", &tobias), ("pin", "402917")]).await;
    assert_eq!((right.status, right.location.as_str()), (303, "/floor"));
}

#[tokio::test]
async fn twenty_wrong_tries_disable_a_pin_until_a_manager_resets_it() {
    let salon = Salon::open().await;
    let mut chair = salon.station("Chair 1", "chair").await;
    let mara = salon.staff.assistant.to_string();
    for _ in 0..20 {
        chair.post("/sign-in", &[("person", &mara), ("pin", "111111")]).await;
        salon.advance(Duration::from_secs(400)).await;
    }
    let right = chair.post("/sign-in", &[("person", &mara), ("pin", "402917")]).await;
    assert_eq!(right.status, 422);
    assert!(right.body.contains("disabled"), "{}", right.body);
}

#[tokio::test]
async fn a_stranger_is_led_to_pairing_and_a_used_code_opens_nothing() {
    let salon = Salon::open().await;
    let mut stranger = Browser::stranger(&salon.app);
    let floor = stranger.get("/").await;
    assert_eq!((floor.status, floor.location.as_str()), (303, "/welcome"));
    let none = stranger.post("/pair", &[("code", "12345678")]).await;
    assert_eq!(none.status, 422);
    assert!(none.body.contains("12345678"), "what was typed is still there");
}

#[tokio::test]
async fn a_form_from_another_site_is_refused() {
    let salon = Salon::open().await;
    let mut chair = salon.station("Chair 1", "chair").await;
    let request = axum::http::Request::post("/lock")
        .header("cookie", chair.cookie_line())
        .header("sec-fetch-site", "cross-site")
        .body(axum::body::Body::empty())
        .unwrap();
    assert_eq!(chair.send(request).await.status, 403);
}
