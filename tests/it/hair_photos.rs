//! Photos of strand tests: agreed to, drawn anew, seen by few, erased on a word; and the minutes tried.

use axum::body::Body;
use axum::http::{Request, header};
use image::{DynamicImage, ImageFormat, RgbImage};
use std::io::Cursor;

use crate::chair::{count, new_client, send, straightener, with};
use crate::support::{Answer, Browser, Salon};

pub fn picture(width: u32, height: u32, kind: ImageFormat) -> Vec<u8> {
    let mut file = Vec::new();
    let drawn = RgbImage::from_fn(width, height, |x, y| image::Rgb([(x % 250) as u8, (y % 250) as u8, 40]));
    DynamicImage::ImageRgb8(drawn).write_to(&mut Cursor::new(&mut file), kind).expect("written");
    file
}

/// Sends a photo as the form does.
pub async fn photo(at: &mut Browser, to: &str, agreed_by: &str, file: &[u8]) -> Answer {
    let once = rinsebell::secret::new_uuid().to_string();
    let mut body = Vec::new();
    for (name, value) in [("once", once.as_str()), ("agreed_by", agreed_by)] {
        body.extend(
            format!("--cut\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n")
                .into_bytes(),
        );
    }
    body.extend(b"--cut\r\nContent-Disposition: form-data; name=\"photo\"; filename=\"IMG.jpg\"\r\nContent-Type: image/jpeg\r\n\r\n");
    body.extend(file);
    body.extend(b"\r\n--cut--\r\n");
    let request = Request::post(to)
        .header(header::COOKIE, at.cookie_line())
        .header(header::CONTENT_TYPE, "multipart/form-data; boundary=cut")
        .header("sec-fetch-site", "same-origin")
        .body(Body::from(body))
        .expect("a request");
    at.send(request).await
}

async fn strand(at: &mut Browser, client: i64, product: &str, minutes: &str) -> i64 {
    let tests = format!("/clients/{client}/tests");
    let fields = with(
        vec![],
        &[
            ("strand_product", product),
            ("strand_place", "worst-place"),
            ("strand_minutes", minutes),
            ("curl_formed", "yes"),
            ("wet_stretch", "returns"),
            ("gummy", "no"),
        ],
    );
    let kept = send(at, &tests, &format!("{tests}/strand"), &fields).await;
    assert_eq!(kept.status, 303, "{}", kept.body);
    let page = at.get(&tests).await;
    let id = page.body.split("/tests/hair/").nth(1).expect("the test may carry a photo");
    id.split('/').next().and_then(|x| x.parse().ok()).expect("an id")
}

#[tokio::test]
async fn a_photo_is_kept_when_agreed_seen_by_few_and_erased_on_a_word() {
    let salon = Salon::open().await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let (product_id, lot_id) = straightener(&mut chair, "Kestrel Smooth").await;
    let client = new_client(&mut chair, "Nerys Amblin", "1990-05-14").await;
    let test = strand(&mut chair, client, &format!("{product_id}-{lot_id}"), "22").await;
    let tests = format!("/clients/{client}/tests");
    let page = chair.get(&tests).await;
    assert!(page.body.contains("Kestrel Smooth, regular, lot L-1, the worst place, 22 min"), "{}", page.body);
    let to = format!("{tests}/hair/{test}/photo");
    assert_eq!(chair.get(&to).await.status, 404, "none yet");
    let file = picture(2000, 1000, ImageFormat::Png);
    let unasked = photo(&mut chair, &to, "", &file).await;
    assert!(
        unasked.status == 422 && unasked.body.contains(&format!("agreed_{test}-error")),
        "{}",
        unasked.body
    );
    let text = photo(&mut chair, &to, "client", b"not a picture").await;
    assert!(text.status == 422 && text.body.contains("JPEG, PNG or WebP"), "{}", text.body);
    let huge = photo(&mut chair, &to, "client", &vec![0xff; 9 * 1024 * 1024]).await;
    assert!(huge.status == 422 && huge.body.contains("8 MB"), "{} {}", huge.status, huge.body);
    assert_eq!(photo(&mut chair, &to, "client", &file).await.status, 303);
    assert_eq!(photo(&mut chair, &to, "client", &file).await.status, 422, "a test has one photo");
    let shown = chair.get(&to).await;
    assert_eq!(shown.status, 200);
    for (name, value) in [
        ("content-type", "image/jpeg"),
        ("cache-control", "private, no-store"),
        ("x-content-type-options", "nosniff"),
        ("cross-origin-resource-policy", "same-origin"),
    ] {
        assert_eq!(shown.headers[name], value);
    }
    assert!(shown.headers["content-security-policy"].to_str().unwrap().starts_with("default-src 'none'"));
    let size: (i16, i16) =
        sqlx::query_as("select width_px, height_px from hair_photo where hair_test_id = $1")
            .bind(test)
            .fetch_one(&salon.owner)
            .await
            .unwrap();
    assert_eq!(size, (1600, 800));
    assert!(chair.get(&tests).await.body.contains("the client agreed"));
    // Of another client the same number is nothing; reception, and a locked station, see none.
    let other = new_client(&mut chair, "Bette Orr", "1991-01-02").await;
    assert_eq!(
        chair.get(&to.replace(&format!("/clients/{client}/"), &format!("/clients/{other}/"))).await.status,
        404
    );
    let mut desk = salon.seat("Desk", "desk", salon.staff.reception).await;
    assert_eq!(desk.get(&to).await.status, 403);
    assert_eq!(photo(&mut desk, &to, "client", &file).await.status, 403);
    let mut basin = salon.seat("Basin", "basin", salon.staff.assistant).await;
    assert_eq!(basin.get(&to).await.status, 200);
    assert_eq!(photo(&mut basin, &to, "client", &file).await.status, 403);
    assert_ne!(Browser::stranger(&salon.app).get(&to).await.status, 200);
    let back = format!("{tests}/hair/{test}/erasure");
    assert_eq!(send(&mut chair, &tests, &back, &[]).await.status, 303);
    assert_eq!(chair.get(&to).await.status, 404);
    assert!(chair.get(&tests).await.body.contains("taken back and erased"));
    let left =
        count(&salon, "select count(*) from hair_photo where jpeg is not null and hair_test_id = $1", test)
            .await;
    assert_eq!(left, 0, "the picture itself is gone");
    assert_eq!(photo(&mut chair, &to, "client", &file).await.status, 422, "and is not put back");
}

#[tokio::test]
async fn a_minors_photo_asks_for_the_guardian_here_and_in_the_database() {
    let salon = Salon::open().await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let (product_id, lot_id) = straightener(&mut chair, "Kestrel Smooth").await;
    let client = new_client(&mut chair, "Una Reeve", "2012-05-14").await;
    let test = strand(&mut chair, client, &format!("{product_id}-{lot_id}"), "20").await;
    let to = format!("/clients/{client}/tests/hair/{test}/photo");
    let file = picture(60, 40, ImageFormat::Jpeg);
    let alone = photo(&mut chair, &to, "client", &file).await;
    assert!(alone.status == 422 && alone.body.contains("guardian says"), "{}", alone.body);
    let mut s = salon.app.begin(salon.id).await.unwrap();
    let raw = sqlx::query(
        "insert into hair_photo (salon_id, hair_test_id, jpeg, width_px, height_px, agreed_by, asked_by)
        values ($1, $2, '\\xffd8ff00', 10, 10, 'client', $3)",
    );
    let refused = raw.bind(salon.id.0).bind(test).bind(salon.staff.stylist.0).execute(&mut *s.tx).await;
    assert!(refused.unwrap_err().to_string().contains("photo:guardian"));
    drop(s);
    assert_eq!(photo(&mut chair, &to, "guardian", &file).await.status, 303);
    let mut s = salon.app.begin(salon.id).await.unwrap();
    let put = sqlx::query("update hair_photo set jpeg = '\\xffd8ffee' where salon_id = $1")
        .bind(salon.id.0)
        .execute(&mut *s.tx)
        .await;
    assert!(put.unwrap_err().to_string().contains("photo:only-erased"), "a photo is erased, never changed");
}

// trade-rules.md, "Hold points", strand test: "minutes used (they become the proposed target, never above the sheet)".
#[tokio::test]
async fn the_minutes_tried_become_the_target_of_the_service() {
    for (minutes, target) in [(22.0, 22), (39.0, 35)] {
        let salon = Salon::open().await;
        let stage = salon.stage().await;
        // The stage's sheet says 35 minutes, 42 at most.
        sqlx::query(
            "insert into hair_test (salon_id, client_id, kind, product_id, formula, place, minutes, curl_formed, wet_stretch, gummy, passed, done_by)
             values ($1, $2, 'strand', $3, 1, 'worst-place', $4, true, 'returns', false, true, $5)",
        )
        .bind(salon.id.0)
        .bind(stage.client.0)
        .bind(stage.straightener.0)
        .bind(minutes)
        .bind(salon.staff.stylist.0)
        .execute(&salon.owner)
        .await
        .unwrap();
        let run = salon.start_run(stage.plan, salon.staff.stylist).await.expect("a run under way");
        let kept: i32 = sqlx::query_scalar(
            "select round(min(exposure_target_min))::integer from run_step where salon_id = $1 and run_id = $2 and product_id = $3 and chemical = 'opening'",
        )
        .bind(salon.id.0)
        .bind(run.0)
        .bind(stage.straightener.0)
        .fetch_one(&salon.owner)
        .await
        .unwrap();
        assert_eq!(kept, target, "tried {minutes}");
    }
}
