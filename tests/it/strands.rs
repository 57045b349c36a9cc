//! The Strand screen through the real router, with odd records too.

use crate::support::Salon;

async fn put(salon: &Salon, client: i64, sql: &'static str) {
    sqlx::query(sql)
        .bind(salon.id.0)
        .bind(client)
        .execute(&salon.owner)
        .await
        .unwrap_or_else(|e| panic!("{sql}: {e}"));
}

#[tokio::test]
async fn the_strand_says_what_is_in_the_hair_and_how_it_grows() {
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let page = chair.get(&format!("/clients/{}/strand", stage.client)).await;
    assert_eq!(page.status, 200);
    // Begun 100 days ago at 180 mm, all of it thio: 180 + 100 × 0.28 (shared/tables/growth.toml, african-2005).
    assert!(page.body.contains("208 mm of hair, the last 180 re-formed"), "{}", page.body);
    assert!(page.body.contains("28 mm stretched, as it lies about 19"), "{}", page.body);
    assert!(page.body.contains("class=\"fan\"") && page.body.contains("target 25 mm"), "{}", page.body);
    assert!(page.body.contains("no reaction") && page.body.contains("Strand test"), "{}", page.body);
    let client = stage.client;
    for href in [format!("/clients/{client}/readings"), format!("/clients/{client}/plan")] {
        assert!(page.body.contains(&href), "{href}");
    }
}

#[tokio::test]
async fn an_odd_record_is_told_and_never_breaks_the_page() {
    let salon = Salon::open().await;
    let client: i64 =
        sqlx::query_scalar("insert into client (salon_id, name) values ($1,'Una Rell') returning client_id")
            .bind(salon.id.0)
            .fetch_one(&salon.owner)
            .await
            .unwrap();
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.assistant).await;
    let path = format!("/clients/{client}/strand");
    let none = chair.get(&path).await;
    assert!(none.status == 200 && none.body.contains("Nobody has asked yet"), "{}", none.body);
    put(
        &salon,
        client,
        "insert into strand (salon_id, client_id, length_mm, on_day) values ($1,$2,0,'2026-01-01')",
    )
    .await;
    let bare = chair.get(&path).await;
    assert_eq!(bare.status, 200, "{}", bare.body);
    for sql in [
        "insert into strand_event (salon_id, client_id, seq, on_day, did, mm) values ($1,$2,1,'2026-01-02','trim',900)",
        "insert into strand_event (salon_id, client_id, seq, on_day, did, mm, sd_mm) values ($1,$2,2,'2025-01-02','measure',30,2)",
        "insert into strand_event (salon_id, client_id, seq, on_day, did, mm, sd_mm) values ($1,$2,3,'2026-03-02','measure','NaN','NaN')",
        "insert into strand_event (salon_id, client_id, seq, on_day, did, family, zone, from_mm, to_mm, known)
           values ($1,$2,4,'0001-01-01','apply','thio','between',80,20,'told')",
        "insert into strand_event (salon_id, client_id, seq, on_day, did, family, zone, from_mm, known, on_sd_days)
           values ($1,$2,5,'9990-01-01','apply','unknown','ends-from','Infinity','inferred',40000)",
        "insert into strand_event (salon_id, client_id, seq, on_day, did, mm) values ($1,$2,6,'2026-06-02','trim','Infinity')",
    ] {
        put(&salon, client, sql).await;
        let page = chair.get(&path).await;
        assert_eq!(page.status, 200, "{sql}: {}", page.body);
    }
    let page = chair.get(&path).await;
    assert!(page.body.contains("The record does not fit together"), "{}", page.body);
    assert!(page.body.contains("A trim of 900 mm on 2 January 2026"), "{}", page.body);
    assert!(page.body.contains("holds a figure that cannot be"), "{}", page.body);
    assert!(!page.body.contains("NaN"), "{}", page.body);
}
