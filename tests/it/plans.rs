//! Plans through the real router: checked, kept, started, refused.

use rinsebell::domain::ids::{ClientId, ProductId};

use crate::support::{Answer, Browser, Salon, Stage};

/// The fields of the retouch's plan, as the form sends them.
fn retouch(stage: &Stage) -> Vec<(&'static str, String)> {
    vec![
        ("protocol", "curl-retouch".into()),
        ("product_A", stage.straightener.to_string()),
        ("zone_A", "new-growth".into()),
        ("product_B", stage.lotion.to_string()),
        ("zone_B", "root-to-end".into()),
        ("product_C", stage.neutraliser.to_string()),
        ("zone_C", "root-to-end".into()),
        ("trim_mm", String::new()),
        ("trim_agreed", String::new()),
    ]
}

async fn make(chair: &mut Browser, client: ClientId, fields: &[(&'static str, String)]) -> Answer {
    let form = chair.get(&format!("/clients/{client}/plan?protocol=curl-retouch")).await;
    assert_eq!(form.status, 200, "{}", form.body);
    let once = form.field("once");
    let mut all = vec![("once", once.as_str())];
    all.extend(fields.iter().map(|(k, v)| (*k, v.as_str())));
    chair.post(&format!("/clients/{client}/plans"), &all).await
}

async fn planned(chair: &mut Browser, client: ClientId, fields: &[(&'static str, String)]) -> (i64, Answer) {
    let made = make(chair, client, fields).await;
    assert_eq!(made.status, 303, "{}", made.body);
    let plan = made.location_id();
    let page = chair.get(&format!("/plans/{plan}")).await;
    assert_eq!(page.status, 200, "{}", page.body);
    (plan, page)
}

async fn strand_tests(salon: &Salon, client: ClientId, products: &[ProductId], passed: bool) {
    for product in products {
        sqlx::query(
            "insert into hair_test (salon_id, client_id, kind, product_id, formula, place, minutes, curl_formed, wet_stretch, gummy, passed, done_at, done_by)
             values ($1,$2,'strand',$3,1,'worst-place',20,true,case when $4 then 'returns' else 'breaks' end,false,$4, rinsebell_now(), $5)",
        )
        .bind(salon.id.0)
        .bind(client.0)
        .bind(product.0)
        .bind(passed)
        .bind(salon.staff.stylist.0)
        .execute(&salon.owner)
        .await
        .unwrap();
    }
}

async fn start(chair: &mut Browser, plan: i64, page: &Answer) -> Answer {
    let id = plan.to_string();
    chair.post("/runs", &[("once", &page.field("once")), ("plan", &id), ("chair", "Chair 1")]).await
}

#[tokio::test]
async fn a_clear_plan_starts_its_service_once() {
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    strand_tests(&salon, stage.client, &[stage.straightener, stage.lotion], true).await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let (plan, page) = planned(&mut chair, stage.client, &retouch(&stage)).await;
    assert!(page.body.contains("Clear, the tests are passed"), "{}", page.body);
    assert!(page.body.contains("Start the service"), "{}", page.body);
    let asked: Vec<(String, bool)> = sqlx::query_as(
        "select application, strand_test_asked from plan_product where plan_id = $1 order by 1",
    )
    .bind(plan)
    .fetch_all(&salon.owner)
    .await
    .unwrap();
    assert_eq!(asked, [("A".into(), true), ("B".into(), true), ("C".into(), false)]);
    let once = page.field("once");
    let id = plan.to_string();
    let fields = [("once", once.as_str()), ("plan", &id), ("chair", "Chair 1")];
    let started = chair.post("/runs", &fields).await;
    assert_eq!(started.status, 303, "{}", started.body);
    assert!(started.location.starts_with("/runs/"), "{}", started.location);
    let again = chair.post("/runs", &fields).await;
    assert_eq!((again.status, &again.location), (303, &started.location), "a form sent twice starts once");
    let page = chair.get(&format!("/plans/{plan}")).await;
    assert!(page.body.contains("To the service") && !page.body.contains("Start the service"));
    let second = chair
        .post("/runs", &[("once", &rinsebell::web::once::key()), ("plan", &id), ("chair", "Chair 1")])
        .await;
    assert_eq!(second.status, 422, "{}", second.body);
}
