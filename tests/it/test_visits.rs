//! Test visits: begun from the client's page or a plan's finding, written down in the visit; a plan that puts
//! nothing on is a test visit's and nothing else.

use rinsebell::domain::ids::{ClientId, RunId};
use rinsebell::domain::protocol::{Kind, StepCode};
use rinsebell::domain::run::Command;
use rinsebell::flow::runs;
use rinsebell::store::openings;

use crate::support::{Answer, Browser, Salon, start};

async fn begin(chair: &mut Browser, client: ClientId, visit: &str) -> Answer {
    let path = format!("/clients/{client}/test-visits");
    let form = chair.get(&path).await;
    assert_eq!(form.status, 200, "{}", form.body);
    chair.post(&path, &[("once", &form.field("once")), ("chair", "Chair 1"), ("visit", visit)]).await
}

/// Signs and starts each step up to one, that one included.
async fn walk_to(salon: &Salon, run: RunId, last: &str) {
    let mut s = salon.app.begin(salon.id).await.unwrap();
    let loaded = runs::load(&mut s, &salon.app, run).await.unwrap().unwrap();
    s.commit().await.unwrap();
    assert_eq!(loaded.frame.protocol.kind, Kind::TestVisit);
    let who = salon.staff.stylist;
    for step in &loaded.frame.protocol.steps {
        let code = step.code.as_str();
        salon.sign_all(run, who, code, None).await;
        salon.act(run, who, start(code)).await.unwrap_or_else(|e| panic!("{code}: {e:?}"));
        if code == last {
            return;
        }
    }
    panic!("no step {last}");
}

#[tokio::test]
async fn a_strand_test_visit_is_begun_walked_and_written_down() {
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let record = chair.get(&format!("/clients/{}", stage.client)).await;
    assert!(record.body.contains(&format!("/clients/{}/test-visits", stage.client)), "{}", record.body);
    let begun = begin(&mut chair, stage.client, "visit-strand-test").await;
    assert_eq!(begun.status, 303, "{}", begun.body);
    let run = RunId(begun.location_id());
    let tests = format!("/clients/{}/tests", stage.client);
    assert!(chair.get(&tests).await.body.contains(&format!("/runs/{run}\">Back to it")));
    let path = format!("/clients/{}/test-visits", stage.client);
    let key = rinsebell::web::once::key();
    let again = [("once", key.as_str()), ("chair", "Chair 1"), ("visit", "visit-strand-test")];
    let twice = chair.post(&path, &again).await;
    assert_eq!(twice.status, 422, "one visit of a client at a time");
    assert!(twice.body.contains("under way"), "{}", twice.body);

    walk_to(&salon, run, "read").await;
    let page = chair.get(&format!("/runs/{run}")).await;
    assert!(page.body.contains("Nothing yet."), "{}", page.body);
    let bar = page.body.split("class=\"bar\" role").nth(1).expect("a bar of acts");
    assert!(bar.contains(&format!("{tests}#note-strand")), "the first act is to write it down: {bar}");
    assert!(page.body.contains("Go on: Say what follows"), "nobody is held up: {}", page.body);
    let form = chair.get(&tests).await;
    let product = stage.straightener.to_string();
    let kept = chair
        .post(
            &format!("{tests}/strand"),
            &[
                ("once", &form.field("once")),
                ("strand_product", &format!("{product}-{}", stage.straightener_lot)),
                ("strand_place", "worst-place"),
                ("strand_minutes", "20"),
                ("curl_formed", "yes"),
                ("wet_stretch", "returns"),
                ("gummy", "no"),
            ],
        )
        .await;
    assert_eq!(kept.status, 303, "{}", kept.body);
    let page = chair.get(&format!("/runs/{run}")).await;
    assert!(page.body.contains("worst place: passed"), "{}", page.body);
    let bar = page.body.split("class=\"bar\" role").nth(1).expect("a bar of acts");
    assert!(!bar.contains("#note-strand") && bar.contains("Start: Say what follows"), "{bar}");
    let who = salon.staff.stylist;
    salon.act(run, who, start("say")).await.unwrap();
    salon.act(run, who, Command::FinishStep { step: StepCode::from("say") }).await.unwrap();
    salon.act(run, who, Command::FinishRun).await.unwrap();
    let touched: i64 = sqlx::query_scalar("select count(*) from strand_event where run_id = $1")
        .bind(run.0)
        .fetch_one(&salon.owner)
        .await
        .unwrap();
    assert_eq!(touched, 0, "nothing of a test visit lies in the hair");
}

#[tokio::test]
async fn each_test_visit_can_be_started_and_reception_books_it() {
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    let mut desk = salon.seat("Desk", "desk", salon.staff.reception).await;
    let path = format!("/clients/{}/test-visits", stage.client);
    assert!(desk.get(&format!("/clients/{}", stage.client)).await.body.contains(&path));
    let page = desk.get(&path).await;
    assert!(!page.body.contains("Start it now") && !page.body.contains("/tests\""), "{}", page.body);
    for visit in ["visit-patch-test", "visit-strand-test", "visit-metal-test"] {
        let book = format!("/openings?client={}&amp;protocol={visit}", stage.client);
        assert!(
            page.body.contains(&book.replace("&amp;", "&#38;")) || page.body.contains(&book),
            "{}",
            page.body
        );
        let openings = desk.get(&book.replace("&amp;", "&")).await;
        assert_eq!(openings.status, 200);
    }
    let refused = desk.post(&path, &[("chair", "Chair 1"), ("visit", "visit-patch-test")]).await;
    assert_eq!(refused.status, 403);
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    for visit in ["visit-patch-test", "visit-strand-test", "visit-metal-test"] {
        let begun = begin(&mut chair, stage.client, visit).await;
        assert_eq!(begun.status, 303, "{visit}: {}", begun.body);
        let run = RunId(begun.location_id());
        assert_eq!(chair.get(&begun.location).await.status, 200);
        let left = Command::LeaveRun { rinsed: true, reason: "Called away.".into() };
        salon.act(run, salon.staff.stylist, left).await.unwrap();
    }
    let service = begin(&mut chair, stage.client, "curl-retouch").await;
    assert_eq!(service.status, 422, "a service is no test visit");
    assert!(service.body.contains("Choose which test it is."), "{}", service.body);
}

#[tokio::test]
async fn a_finding_that_asks_for_a_test_leads_to_its_visit_and_the_plan_stays() {
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let form = chair.get(&format!("/clients/{}/plan?protocol=curl-retouch", stage.client)).await;
    let products = [stage.straightener.to_string(), stage.lotion.to_string(), stage.neutraliser.to_string()];
    let fields = [
        ("once", form.field("once")),
        ("protocol", "curl-retouch".into()),
        ("product_A", products[0].clone()),
        ("product_B", products[1].clone()),
        ("product_C", products[2].clone()),
    ];
    let fields: Vec<(&str, &str)> = fields.iter().map(|(k, v)| (*k, v.as_str())).collect();
    let made = chair.post(&format!("/clients/{}/plans", stage.client), &fields).await;
    let plan = made.location_id();
    let page = chair.get(&format!("/plans/{plan}")).await;
    let way = format!("/clients/{}/test-visits#strand-test", stage.client);
    assert!(page.body.contains(&way) && page.body.contains("Test first"), "{}", page.body);
    let before = open_plan(&salon, stage.client).await;
    assert!(before.is_some());
    let run = RunId(begin(&mut chair, stage.client, "visit-metal-test").await.location_id());
    let left = Command::LeaveRun { rinsed: true, reason: "Called away.".into() };
    salon.act(run, salon.staff.stylist, left).await.unwrap();
    assert_eq!(open_plan(&salon, stage.client).await, before, "a test visit takes no plan's place");
    let page = chair.get(&format!("/plans/{plan}")).await;
    assert!(!page.body.contains("A newer plan"), "{}", page.body);
}

async fn open_plan(salon: &Salon, client: ClientId) -> Option<(String, Option<time::Date>)> {
    let mut s = salon.app.begin(salon.id).await.unwrap();
    let found = openings::find_open_plan(&mut s, client).await.unwrap();
    s.commit().await.unwrap();
    found
}

#[tokio::test]
async fn the_database_keeps_services_and_test_visits_apart() {
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    let insert = |protocol: &'static str, applications: &'static str| {
        let (salon, client) = (&salon, stage.client);
        async move {
            let mut s = salon.app.begin(salon.id).await.unwrap();
            sqlx::query(
                "insert into plan (salon_id, client_id, protocol, revision, made_by, as_of, strand_seq, verdict, findings, applications)
                 select $1, $2, $3, max(revision), $4, current_date, 0, 'clear', '[]', $5::jsonb from protocol_revision where salon_id = $1 and protocol = $3",
            )
            .bind(salon.id.0)
            .bind(client.0)
            .bind(protocol)
            .bind(salon.staff.stylist.0)
            .bind(applications)
            .execute(&mut *s.tx)
            .await
            .map(|_| ())
            .map_err(|e| e.to_string())
        }
    };
    let refused = insert("curl-retouch", "[]").await.expect_err("a service puts something on");
    assert!(refused.contains("plan:applications"), "{refused}");
    let refused = insert("visit-patch-test", "[{}]").await.expect_err("a test visit puts nothing on");
    assert!(refused.contains("plan:applications"), "{refused}");
    insert("visit-patch-test", "[]").await.expect("a test visit's plan");
    insert("curl-retouch", "[{}]").await.expect("a service's plan");
}
