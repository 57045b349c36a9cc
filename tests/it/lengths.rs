//! Lengths in millimetres or inches: the salon's unit, a person's own, and fields that take either.

use crate::chair::{consult, count, new_client, send, take, with};
use crate::support::{Browser, Salon};

async fn choose(at: &mut Browser, unit: &str) {
    let answer = at.post("/length-unit", &[("unit", unit)]).await;
    assert_eq!(answer.status, 303, "{}", answer.body);
}

async fn salon_unit(salon: &Salon, unit: &str) {
    sqlx::query("update salon set length_unit = $1").bind(unit).execute(&salon.owner).await.unwrap();
}

fn reading(growth: &str) -> Vec<(&'static str, String)> {
    [("place", "whole"), ("new_growth_mm", growth), ("read_as", "stretched"), ("read_by", "ruler")]
        .map(|(k, v)| (k, v.to_string()))
        .to_vec()
}

/// 25.4 mm an inch: the agreement of 1959, ISO 31-1.
#[tokio::test]
async fn what_is_written_in_inches_is_kept_in_mm_and_read_again_as_written() {
    let salon = Salon::open().await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let id = new_client(&mut chair, "Hester Quaye", "1988-02-28").await;
    let then: String = sqlx::query_scalar(
        "select to_char((rinsebell_now() at time zone zone)::date - 100, 'YYYY-MM-DD') from salon",
    )
    .fetch_one(&salon.owner)
    .await
    .unwrap();
    let met = [
        ("row_family", "oxidative-colour"),
        ("row_from", ""),
        ("row_to", ""),
        ("row_on", then.as_str()),
        ("row_sd", ""),
    ];
    let taken = take(&mut chair, id, &with(with(consult(), &[("length_mm", "8 in")]), &met)).await;
    assert_eq!(taken.status, 303, "{}", taken.body);
    let strand = chair.get(&format!("/clients/{id}/strand")).await;
    assert!(strand.body.contains("203 mm of hair"), "{}", strand.body);

    let here = format!("/clients/{id}/readings");
    let sent = send(&mut chair, &here, &here, &with(reading("1 1/8 in"), &[("shortest_mm", "9,5 cm")])).await;
    assert_eq!(sent.status, 303, "{}", sent.body);
    let (growth, shortest): (f32, f32) =
        sqlx::query_as("select new_growth_mm, shortest_mm from hair_reading where client_id = $1")
            .bind(id)
            .fetch_one(&salon.owner)
            .await
            .unwrap();
    assert!((growth - 28.575).abs() < 1e-3 && (shortest - 95.0).abs() < 1e-3, "{growth} {shortest}");
    let page = chair.get(&here).await;
    assert!(
        page.body.contains("28.57 mm stretched") || page.body.contains("28.58 mm stretched"),
        "{}",
        page.body
    );

    choose(&mut chair, "in").await;
    let page = chair.get(&here).await;
    assert!(page.body.contains("1\u{a0}1/8 in stretched"), "{}", page.body);
    let strand = chair.get(&format!("/clients/{id}/strand")).await;
    assert!(strand.body.contains("of hair") && strand.body.contains("0 in"), "{}", strand.body);
    assert!(!strand.body.contains(" mm stretched"), "{}", strand.body);
    // The other is one tap away, and only this person's.
    assert!(strand.body.contains("Lengths in mm"), "{}", strand.body);
    let mut other = salon.seat("Chair 2", "chair", salon.staff.manager).await;
    assert!(other.get(&here).await.body.contains("Lengths in inches"));
}

#[tokio::test]
async fn the_salon_says_the_unit_and_a_person_may_say_another() {
    let salon = Salon::open().await;
    let mut office = salon.seat("Office", "desk", salon.staff.manager).await;
    let id = new_client(&mut office, "Hester Quaye", "1988-02-28").await;
    let here = format!("/clients/{id}/consult?again=1");
    assert_eq!(office.get(&here).await.field("unit"), "mm");
    salon_unit(&salon, "in").await;
    assert_eq!(office.get(&here).await.field("unit"), "in");
    choose(&mut office, "mm").await;
    assert_eq!(office.get(&here).await.field("unit"), "mm");
    let odd = office.post("/length-unit", &[("unit", "ell")]).await;
    assert_eq!(odd.status, 400, "{}", odd.body);
    // The database knows no other unit either.
    let odd = sqlx::query("update salon set length_unit = 'ell'").execute(&salon.owner).await;
    assert!(odd.is_err_and(|e| e.to_string().contains("salon_length_unit_known")));
}

#[tokio::test]
async fn a_bare_number_is_in_the_unit_its_form_was_shown_in() {
    let salon = Salon::open().await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let id = new_client(&mut chair, "Hester Quaye", "1988-02-28").await;
    let length = "select count(*) from strand where client_id = $1 and length_mm = 200";
    // Shown in mm, then somebody who reads inches sits down and sends it.
    choose(&mut chair, "in").await;
    assert_eq!(take(&mut chair, id, &with(consult(), &[("unit", "mm")])).await.status, 303);
    assert_eq!(count(&salon, length, id).await, 1);
    let other = new_client(&mut chair, "Vane Ferris", "1988-02-28").await;
    assert_eq!(
        take(&mut chair, other, &with(consult(), &[("unit", "in"), ("length_mm", "10")])).await.status,
        303
    );
    let length = "select count(*) from strand where client_id = $1 and length_mm = 254";
    assert_eq!(count(&salon, length, other).await, 1);
}

#[tokio::test]
async fn nonsense_says_how_to_write_a_length_and_keeps_what_was_typed() {
    let salon = Salon::open().await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let id = new_client(&mut chair, "Hester Quaye", "1988-02-28").await;
    for bad in ["long", "1/0 in", "-3 in", "12 ells", "900 in", "1 3/2 in"] {
        let back = take(&mut chair, id, &with(consult(), &[("length_mm", bad)])).await;
        assert_eq!(back.status, 422, "{bad}");
        assert!(back.body.contains("such as 12, 12 mm, 1.5 cm, 1/2 in"), "{bad}: {}", back.body);
        assert_eq!(back.field("length_mm"), bad);
    }
    // What was understood stands under what comes back for another reason.
    let back = take(&mut chair, id, &with(consult(), &[("length_mm", "10 1/2 in"), ("scalp", "")])).await;
    assert!(back.status == 422 && back.body.contains("266.7 mm = 10 1/2 in"), "{}", back.body);
}
