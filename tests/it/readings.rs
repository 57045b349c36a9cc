//! Hair readings and the strand's measure.

use crate::chair::{consult, count, new_client, send, take, with};
use crate::support::{Answer, Browser, Salon};

async fn read(at: &mut Browser, client: i64, others: &[(&'static str, &str)]) -> Answer {
    let here = format!("/clients/{client}/readings");
    let fields =
        [("place", "whole"), ("new_growth_mm", "28"), ("read_as", "stretched"), ("read_by", "ruler")];
    let fields = with(fields.map(|(k, v)| (k, v.to_string())).to_vec(), others);
    send(at, &here, &here, &fields).await
}

async fn relaxed_client(salon: &Salon, at: &mut Browser) -> i64 {
    let id = new_client(at, "Hester Quaye", "1988-02-28").await;
    let then: String = sqlx::query_scalar(
        "select to_char((rinsebell_now() at time zone zone)::date - 100, 'YYYY-MM-DD') from salon",
    )
    .fetch_one(&salon.owner)
    .await
    .unwrap();
    let told = [
        ("row_family", "oxidative-colour"),
        ("row_from", ""),
        ("row_to", ""),
        ("row_on", then.as_str()),
        ("row_sd", ""),
    ];
    assert_eq!(take(at, id, &with(consult(), &told)).await.status, 303);
    id
}

#[tokio::test]
async fn new_growth_of_the_whole_head_measures_the_strand_and_a_place_does_not() {
    let salon = Salon::open().await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let id = relaxed_client(&salon, &mut chair).await;
    assert_eq!(
        read(&mut chair, id, &[("place", "nape"), ("texture", "fine"), ("wet_stretch", "does-not-return")])
            .await
            .status,
        303
    );
    let measures = "select count(*) from strand_event where client_id = $1 and did = 'measure'";
    assert_eq!(count(&salon, measures, id).await, 0);
    // As it lies 20 mm at curl index 1.5: 30 mm stretched, sd √((1.5·2)² + (20·0.1)²) = √13 (2-domain.md, by hand).
    let natural = [("new_growth_mm", "20"), ("read_as", "natural"), ("curl_index", "1,5")];
    let kept = read(&mut chair, id, &natural).await;
    assert_eq!(kept.status, 303, "{}", kept.body);
    let (mm, sd): (f64, f64) =
        sqlx::query_as("select mm, sd_mm from strand_event where client_id = $1 and did = 'measure'")
            .bind(id)
            .fetch_one(&salon.owner)
            .await
            .unwrap();
    assert!((mm - 30.0).abs() < 1e-6 && (sd - 13f64.sqrt()).abs() < 1e-6, "{mm} {sd}");
    let page = chair.get(&format!("/clients/{id}/readings")).await;
    assert!(page.body.contains("20 mm as it lies") && page.body.contains("wet stretch does not return"));
}

#[tokio::test]
async fn an_odd_reading_is_questioned_and_kept_when_confirmed() {
    let salon = Salon::open().await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let id = relaxed_client(&salon, &mut chair).await;
    let back = read(&mut chair, id, &[("new_growth_mm", "80"), ("porosity", "high")]).await;
    assert_eq!(back.status, 422);
    assert!(
        back.body.contains("after 100 days, where about 28") && back.body.contains("name=\"confirmed\""),
        "{}",
        back.body
    );
    assert!(back.body.contains("id=\"porosity-high\" name=\"porosity\" value=\"high\" checked"));
    assert_eq!(count(&salon, "select count(*) from hair_reading where client_id = $1", id).await, 0);
    assert_eq!(read(&mut chair, id, &[("new_growth_mm", "80"), ("confirmed", "yes")]).await.status, 303);
    assert_eq!(
        count(&salon, "select count(*) from hair_reading where client_id = $1 and confirmed_odd", id).await,
        1
    );
}

#[tokio::test]
async fn a_reading_says_what_it_is_of() {
    let salon = Salon::open().await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let id = relaxed_client(&salon, &mut chair).await;
    for (others, field) in [
        (&[("read_as", "")][..], "read_as"),
        (&[("read_by", "thumb")], "read_by"),
        (&[("read_as", "natural")], "curl_index"),
        (&[("new_growth_mm", "many")], "new_growth_mm"),
        (&[("new_growth_mm", ""), ("read_as", ""), ("read_by", "")], "new_growth_mm"),
        (&[("place", "beard")], "place"),
        (&[("texture", "silk")], "texture"),
    ] {
        let back = read(&mut chair, id, others).await;
        assert!(
            back.status == 422 && back.body.contains(&format!("id=\"{field}-error\"")),
            "{others:?}: {}",
            back.body
        );
    }
}
