//! Photos of results: on the record of a visit that has ended, agreed to, seen by few, erased on a word and with the person.

use image::ImageFormat;
use rinsebell::domain::run::Command;

use crate::chair::send;
use crate::hair_photos::{photo, picture};
use crate::support::{Browser, Walked, walked_until};

/// A JPEG with an EXIF block (CIPA DC-008) of a camera's own notes: its model says where it was.
fn with_notes(mut jpeg: Vec<u8>) -> Vec<u8> {
    assert_eq!(jpeg[..2], [0xff, 0xd8]);
    let words = b"NOTES-OF-A-CAMERA 52.2053N\0";
    // TIFF, little-endian, one entry: 0x0110 (model), ASCII, behind the directory.
    let mut tiff = b"II\x2a\0\x08\0\0\0\x01\0\x10\x01\x02\0".to_vec();
    tiff.extend((words.len() as u32).to_le_bytes());
    tiff.extend(26u32.to_le_bytes());
    tiff.extend([0; 4]);
    tiff.extend(words);
    let mut block = vec![0xff, 0xe1];
    block.extend(((tiff.len() + 8) as u16).to_be_bytes());
    block.extend(b"Exif\0\0");
    block.extend(tiff);
    jpeg.splice(2..2, block);
    jpeg
}

#[tokio::test]
async fn a_result_is_photographed_when_the_service_has_ended_and_the_client_agrees() {
    let Walked { salon, run, who } = walked_until("finish").await;
    let mut chair = salon.seat("Photo chair", "chair", salon.staff.stylist).await;
    let here = format!("/proof/runs/{run}");
    let to = format!("{here}/photos");
    let file = with_notes(picture(1700, 900, ImageFormat::Jpeg));
    assert!(file.windows(5).any(|w| w == b"NOTES"));
    // While it is under way there is no result: here and in the database.
    let early = photo(&mut chair, &to, "client", &file).await;
    assert!(early.status == 422 && early.body.contains("when it has ended"), "{}", early.body);
    let mut app = crate::calls::app(&salon).await;
    let raw = format!(
        "insert into result_photo (salon_id, run_id, photo_no, jpeg, width_px, height_px, agreed_by, asked_by)
         values ({}, {run}, 1, '\\xffd8ff00', 1, 1, 'client', {})",
        salon.id, salon.staff.stylist
    );
    assert_eq!(crate::calls::says(&mut app, raw.clone()).await, "RB006 photo:under-way");
    salon.act(run, who, Command::FinishRun).await.unwrap();
    let ended = chair.get(&format!("/runs/{run}")).await;
    assert!(ended.body.contains(&format!("{here}#photos")), "{}", ended.body);

    let unasked = photo(&mut chair, &to, "", &file).await;
    assert!(unasked.status == 422 && unasked.body.contains("who agreed"), "{}", unasked.body);
    let text = photo(&mut chair, &to, "client", b"not a picture").await;
    assert!(text.status == 422 && text.body.contains("JPEG, PNG or WebP"), "{}", text.body);
    let huge = photo(&mut chair, &to, "client", &vec![0xff; 9 * 1024 * 1024]).await;
    assert!(huge.status == 422 && huge.body.contains("8 MB"), "{} {}", huge.status, huge.body);
    let nobody = raw.replace("'client'", "'nobody'");
    assert_eq!(crate::calls::says(&mut app, nobody).await, "result_photo_agreed_known");
    let none = raw.replace("'\\xffd8ff00'", "null");
    assert_eq!(crate::calls::says(&mut app, none).await, "RB006 photo:none");
    for no in 1..=6 {
        let kept = photo(&mut chair, &to, "client", &file).await;
        assert_eq!((kept.status, kept.location.as_str()), (303, here.as_str()), "photo {no}: {}", kept.body);
    }
    assert_eq!(photo(&mut chair, &to, "client", &file).await.status, 422, "six are enough");
    assert_eq!(crate::calls::says(&mut app, raw.clone()).await, "RB006 photo:enough");

    // Drawn anew: resized, nothing of the camera left; a whole JPEG by another library (image).
    let shown = chair.get(&format!("{to}/1")).await;
    assert_eq!(shown.status, 200);
    assert_eq!(shown.headers["content-type"], "image/jpeg");
    assert_eq!(shown.headers["cache-control"], "private, no-store");
    let jpeg: Vec<u8> = sqlx::query_scalar("select jpeg from result_photo where photo_no = 1")
        .fetch_one(&salon.owner)
        .await
        .unwrap();
    for left in [&b"NOTES"[..], b"Exif"] {
        assert!(!jpeg.windows(left.len()).any(|w| w == left), "{}", String::from_utf8_lossy(left));
    }
    let drawn = image::load_from_memory_with_format(&jpeg, ImageFormat::Jpeg).expect("a whole picture");
    assert_eq!((drawn.width(), drawn.height()), (1600, 847));
    let page = chair.get(&here).await;
    assert!(page.body.contains("Look at photo 6") && !page.body.contains("Add a photo"), "{}", page.body);

    // Seen signed in, by who may see the record, in this salon.
    let mut desk = salon.seat("Photo desk", "desk", salon.staff.reception).await;
    assert_eq!(desk.get(&format!("{to}/1")).await.status, 403);
    assert_eq!(photo(&mut desk, &to, "client", &file).await.status, 403);
    let stranger = Browser::stranger(&salon.app).get(&format!("{to}/1")).await;
    assert_eq!((stranger.status, stranger.location.as_str()), (303, "/welcome"), "{}", stranger.body);
    let mut locked = salon.station("Photo wall", "chair").await;
    let nobody = locked.get(&format!("{to}/1")).await;
    assert!(
        nobody.status == 303 && nobody.location.starts_with("/sign-in"),
        "{} {}",
        nobody.status,
        nobody.location
    );

    // Taken back: the picture goes, that there was one stays.
    assert_eq!(send(&mut chair, &here, &format!("{to}/2/erasure"), &[]).await.status, 303);
    assert_eq!(chair.get(&format!("{to}/2")).await.status, 404);
    assert!(chair.get(&here).await.body.contains("Photo 2: erased"));
    let back = "update result_photo set jpeg = '\\xffd8ff00' where photo_no = 2";
    assert_eq!(crate::calls::says(&mut app, back.into()).await, "RB005 photo:only-erased");

    // The client's own copy has the five that are left, inside the file.
    let mut office = salon.seat("Photo office", "office", salon.staff.manager).await;
    let client: i64 = sqlx::query_scalar("select client_id from run where run_id = $1")
        .bind(run.0)
        .fetch_one(&salon.owner)
        .await
        .unwrap();
    let copy = office.get(&format!("/clients/{client}/record")).await;
    assert_eq!(copy.body.matches("data:image/jpeg;base64,").count(), 5);

    // A minor's guardian says yes, in the database too.
    sqlx::query("delete from result_photo where photo_no > 1").execute(&salon.owner).await.unwrap();
    sqlx::query("update client set born_on = current_date - interval '15 years' where client_id = $1")
        .bind(client)
        .execute(&salon.owner)
        .await
        .unwrap();
    let alone = photo(&mut chair, &to, "client", &file).await;
    assert!(alone.status == 422 && alone.body.contains("guardian says"), "{}", alone.body);
    assert_eq!(crate::calls::says(&mut app, raw.clone()).await, "RB005 photo:guardian");

    sqlx::query("update client set erased_at = rinsebell_now() where client_id = $1")
        .bind(client)
        .execute(&salon.owner)
        .await
        .unwrap();
    let left: i64 = sqlx::query_scalar("select count(*) from result_photo where jpeg is not null")
        .fetch_one(&salon.owner)
        .await
        .unwrap();
    assert_eq!(left, 0, "whoever is erased is in no picture");
    let again = raw.replace("'client'", "'guardian'");
    assert_eq!(crate::calls::says(&mut app, again).await, "RB016 client:erased");
}

#[tokio::test]
async fn the_other_salon_sees_no_result() {
    let Walked { salon, run, who } = walked_until("finish").await;
    salon.act(run, who, Command::FinishRun).await.unwrap();
    let mut chair = salon.seat("Photo chair", "chair", salon.staff.stylist).await;
    let to = format!("/proof/runs/{run}/photos");
    assert_eq!(photo(&mut chair, &to, "client", &picture(60, 40, ImageFormat::Png)).await.status, 303);
    let other = salon.second().await;
    let mut s = salon.app.begin(other).await.unwrap();
    let seen: i64 =
        sqlx::query_scalar("select count(*) from result_photo").fetch_one(&mut *s.tx).await.unwrap();
    assert_eq!(seen, 0, "the fence holds without any where");
    let found = rinsebell::store::result_photos::find_jpeg(&mut s, run, 1).await.unwrap();
    assert!(found.is_none());
}
