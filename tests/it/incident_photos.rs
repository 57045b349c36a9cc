//! Photos of incidents: agreed to, seen by who may see the incident, erased on a word and with the person.

use image::ImageFormat;

use crate::hair_photos::{photo, picture};
use crate::support::Salon;

#[tokio::test]
async fn photos_of_an_incident_are_kept_when_agreed_and_erased_on_a_word_or_with_the_person() {
    let salon = Salon::open().await;
    let client = salon.client("Ilka Moorcroft").await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let once = rinsebell::secret::new_uuid();
    let opened = chair.post(&format!("/clients/{client}/incidents"), &[("once", &once)]).await;
    let here = format!("/incidents/{}", opened.location_id());
    let to = format!("{here}/photos");
    let file = picture(1700, 900, ImageFormat::Png);

    let unasked = photo(&mut chair, &to, "", &file).await;
    assert!(unasked.status == 422 && unasked.body.contains("who agreed"), "{}", unasked.body);
    let text = photo(&mut chair, &to, "client", b"not a picture").await;
    assert!(text.status == 422 && text.body.contains("JPEG, PNG or WebP"), "{}", text.body);
    for no in 1..=6 {
        let kept = photo(&mut chair, &to, "client", &file).await;
        assert_eq!(kept.status, 303, "photo {no}: {}", kept.body);
    }
    let seventh = photo(&mut chair, &to, "client", &file).await;
    assert_eq!(seventh.status, 422, "six are enough");
    let shown = chair.get(&format!("{to}/1")).await;
    assert_eq!(shown.status, 200);
    assert_eq!(shown.headers["content-type"], "image/jpeg");
    assert_eq!(shown.headers["cache-control"], "private, no-store");
    let page = chair.get(&here).await;
    assert!(page.body.contains("Look at photo 6") && !page.body.contains("Add a photo"), "{}", page.body);
    let mut desk = salon.seat("Desk", "desk", salon.staff.reception).await;
    assert_eq!(desk.get(&format!("{to}/1")).await.status, 403);

    let gone = chair.post(&format!("{to}/2/erasure"), &[("once", &rinsebell::secret::new_uuid())]).await;
    assert_eq!(gone.status, 303, "{}", gone.body);
    assert_eq!(chair.get(&format!("{to}/2")).await.status, 404);
    assert!(chair.get(&here).await.body.contains("Photo 2: erased"));

    // The database says the same to whoever asks it.
    let mut app = crate::calls::app(&salon).await;
    let back = "update incident_photo set jpeg = '\\xffd8ff00' where photo_no = 2";
    assert_eq!(crate::calls::says(&mut app, back.into()).await, "RB005 photo:only-erased");
    sqlx::query("update client set born_on = current_date - interval '15 years' where client_id = $1")
        .bind(client.0)
        .execute(&salon.owner)
        .await
        .unwrap();
    let minor = "insert into incident_photo (salon_id, incident_id, photo_no, jpeg, width_px, height_px, agreed_by, asked_by)
        select salon_id, incident_id, 1, '\\xffd8ff00', 1, 1, 'client', opened_by from incident";
    sqlx::query("delete from incident_photo where photo_no > 1").execute(&salon.owner).await.unwrap();
    assert_eq!(crate::calls::says(&mut app, minor.into()).await, "RB005 photo:guardian");

    let left = "select count(*) from incident_photo where jpeg is not null";
    sqlx::query("update client set erased_at = rinsebell_now() where client_id = $1")
        .bind(client.0)
        .execute(&salon.owner)
        .await
        .unwrap();
    let left: i64 = sqlx::query_scalar(left).fetch_one(&salon.owner).await.unwrap();
    assert_eq!(left, 0, "whoever is erased is in no picture");
    let again = photo(&mut chair, &to, "guardian", &file).await;
    assert!(again.status >= 400 && again.status < 500, "{}", again.status);
    assert_eq!(
        crate::calls::says(&mut app, minor.replace("'client'", "'guardian'")).await,
        "RB016 client:erased"
    );
}
