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

/// A head as the drawings have it (mock/strand.html, mock/plan.html): 148 mm, the last 52 relaxed last summer,
/// coloured root to end on 4 December and on the new growth on 26 February; the days are moved to today.
async fn hester(salon: &Salon) -> Stage {
    let stage = salon.stage().await;
    let client: i64 = sqlx::query_scalar(
        "insert into client (salon_id, name, born_on, curl_group, curl_index) values ($1,'Hester Quaye','1991-02-11','tight',1.5) returning client_id",
    )
    .bind(salon.id.0)
    .fetch_one(&salon.owner)
    .await
    .unwrap();
    // 77 days at 0.28 mm are about the drawing's 23 mm; 148 mm today began 161 days ago at 148 − 45 = 103.
    for sql in [
        "insert into consult (salon_id, client_id, taken_by, black_henna_reaction, black_henna, scalp, scratched_within_3_days, pregnant, medication,
           scalp_treatment, home_colour, silver_in_history) values ($1,$2,$3,false,false,'intact',false,false,false,false,'never',false)",
        "insert into strand (salon_id, client_id, length_mm, on_day) select $1,$2,103, rinsebell_now()::date - 161 where $3 > 0",
        "insert into strand_event (salon_id, client_id, seq, on_day, did, family, zone, from_mm, known, recorded_by)
           values ($1,$2,1, rinsebell_now()::date - 161,'apply','sodium-hydroxide','ends-from',51,'told',$3)",
        "insert into strand_event (salon_id, client_id, seq, on_day, did, family, zone, known, recorded_by)
           values ($1,$2,2, rinsebell_now()::date - 161,'apply','oxidative-colour','root-to-end','recorded',$3)",
        "insert into strand_event (salon_id, client_id, seq, on_day, did, mm, sd_mm, recorded_by)
           values ($1,$2,3, rinsebell_now()::date - 77,'measure',25,2,$3)",
        "insert into strand_event (salon_id, client_id, seq, on_day, did, family, zone, known, recorded_by)
           values ($1,$2,4, rinsebell_now()::date - 77,'apply','oxidative-colour','new-growth','recorded',$3)",
    ] {
        sqlx::query(sql)
            .bind(salon.id.0)
            .bind(client)
            .bind(salon.staff.stylist.0)
            .execute(&salon.owner)
            .await
            .unwrap_or_else(|e| panic!("{sql}: {e}"));
    }
    Stage { client: ClientId(client), ..stage }
}

/// The drawing's own plan: A to 80 mm, B root to end.
fn as_drawn(stage: &Stage) -> Vec<(&'static str, String)> {
    let mut fields = retouch(stage);
    fields[2].1 = "between".into();
    fields.extend([("from_A", "0".to_string()), ("to_A", "80".to_string())]);
    fields
}

#[tokio::test]
async fn thio_over_hydroxide_is_refused_in_mm_with_its_way_out_and_never_starts() {
    let salon = Salon::open().await;
    let stage = hester(&salon).await;
    let mut chair = salon.seat("Chair 3", "chair", salon.staff.stylist).await;
    let strand = chair.get(&format!("/clients/{}/strand", stage.client)).await;
    assert_eq!(strand.status, 200, "{}", strand.body);
    assert!(strand.body.contains("mm of hair, the last 52 relaxed"), "{}", strand.body);
    let (plan, page) = planned(&mut chair, stage.client, &as_drawn(&stage)).await;
    assert!(page.body.contains("<h1>Refused as planned</h1>"), "{}", page.body);
    assert!(page.body.contains("B runs over relaxed hair"), "{}", page.body);
    assert!(page.body.contains("A stops short of relaxed hair"), "{}", page.body);
    assert!(page.body.contains("Possible with a trim of at least 52 mm"), "{}", page.body);
    assert!(page.body.contains("url(#p-refuse)"), "the hatch is drawn");
    assert!(!page.body.contains("Start the service"), "a refused plan shows no start");
    let refused = start(&mut chair, plan, &page).await;
    assert_eq!(refused.status, 422, "{}", refused.body);
    assert!(refused.body.contains("This plan is refused"), "{}", refused.body);
    // The database says so as well, whoever asks.
    let hand = salon.start_run(rinsebell::domain::ids::PlanId(plan), salon.staff.stylist).await;
    assert!(format!("{hand:?}").contains("plan:not-clear"), "{hand:?}");
    let noted = chair
        .post(
            &format!("/plans/{plan}/offer"),
            &[
                ("once", &page.field("once")),
                ("offer", "Trim and set; look again in June"),
                ("offer_answer", ""),
            ],
        )
        .await;
    assert_eq!(noted.status, 422);
    assert!(noted.body.contains("Trim and set; look again in June"), "typed words stay");
    let noted = chair
        .post(
            &format!("/plans/{plan}/offer"),
            &[("once", &noted.field("once")), ("offer", "Trim and set"), ("offer_answer", "She says yes")],
        )
        .await;
    assert_eq!(noted.status, 303, "{}", noted.body);
    assert!(chair.get(&format!("/plans/{plan}")).await.body.contains("She says yes"));
}

#[tokio::test]
async fn a_trim_is_asked_for_then_cut_then_looked_at() {
    let salon = Salon::open().await;
    let stage = hester(&salon).await;
    let mut chair = salon.seat("Chair 3", "chair", salon.staff.stylist).await;
    let mut fields = as_drawn(&stage);
    fields[7].1 = "70".into();
    let (_, asked) = planned(&mut chair, stage.client, &fields).await;
    assert!(asked.body.contains("Refused as planned"), "a trim nobody agreed to changes nothing");
    assert!(
        asked.body.contains("With a trim of 70 mm first") && !asked.body.contains("are cut: check again")
    );
    fields[8].1 = "yes".into();
    let (plan, agreed) = planned(&mut chair, stage.client, &fields).await;
    assert!(agreed.body.contains("Cut 70 mm first, then look"), "{}", agreed.body);
    assert!(!agreed.body.contains("relaxed hair, "), "{}", agreed.body);
    assert!(!agreed.body.contains("Start the service"), "nothing starts before it is cut");
    let cut = chair.post(&format!("/plans/{plan}/cut"), &[("once", &agreed.field("once"))]).await;
    assert_eq!(cut.status, 303, "{}", cut.body);
    let after = chair.get(&cut.location).await;
    assert!(
        after.body.contains("<h1>Refused as planned</h1>"),
        "coloured hair takes mild at most: {}",
        after.body
    );
    assert!(!after.body.contains("runs over relaxed hair"), "{}", after.body);
    let strand = chair.get(&format!("/clients/{}/strand", stage.client)).await;
    assert!(strand.body.contains("trim of 70 mm") && !strand.body.contains("relaxed"), "{}", strand.body);
    fields[7].1 = "500".into();
    let all = make(&mut chair, stage.client, &fields).await;
    assert_eq!(all.status, 422, "{}", all.body);
    assert!(all.body.contains("value=\"500\"") && all.body.contains("value=\"80\""), "typed figures stay");
}

#[tokio::test]
async fn colour_of_this_week_waits_until_its_date() {
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    sqlx::query(
        "insert into strand_event (salon_id, client_id, seq, on_day, did, family, zone, known)
         values ($1,$2,2, rinsebell_now()::date - 3,'apply','oxidative-colour','root-to-end','told')",
    )
    .bind(salon.id.0)
    .bind(stage.client.0)
    .execute(&salon.owner)
    .await
    .unwrap();
    // trade-rules.md: seven days between oxidative colour and a thio product (H/CP), so four from now.
    let until: time::Date =
        sqlx::query_scalar("select rinsebell_now()::date + 4").fetch_one(&salon.owner).await.unwrap();
    sqlx::query("update product set strength = 'mild'").execute(&salon.owner).await.unwrap();
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let mut fields = retouch(&stage);
    // Nothing but the lotion meets it: the straightener would overlap what was re-formed.
    fields[2].1 = "new-growth".into();
    let (plan, page) = planned(&mut chair, stage.client, &fields).await;
    let verdict: String = sqlx::query_scalar("select verdict from plan where plan_id = $1")
        .bind(plan)
        .fetch_one(&salon.owner)
        .await
        .unwrap();
    assert_eq!(verdict, "wait", "{}", page.body);
    let day = rinsebell::flow::strands::day_words(until);
    assert!(page.body.contains(&format!("<h1>Wait until {day}</h1>")), "{day}: {}", page.body);
    assert_eq!(start(&mut chair, plan, &page).await.status, 422);
}

#[tokio::test]
async fn a_test_that_is_asked_for_comes_first_and_a_failed_one_refuses() {
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let (plan, page) = planned(&mut chair, stage.client, &retouch(&stage)).await;
    assert!(page.body.contains("<h1>Test first</h1>"), "{}", page.body);
    assert!(page.body.contains(&format!("/clients/{}/tests", stage.client)), "a way to the tests");
    assert!(!page.body.contains("Start the service"));
    let refused = start(&mut chair, plan, &page).await;
    assert_eq!(refused.status, 422);
    assert!(refused.body.contains("strand test, not done"), "{}", refused.body);
    strand_tests(&salon, stage.client, &[stage.straightener, stage.lotion], true).await;
    let passed = chair.get(&format!("/plans/{plan}")).await;
    assert!(passed.body.contains("Start the service"), "{}", passed.body);
    strand_tests(&salon, stage.client, &[stage.lotion], false).await;
    let failed = start(&mut chair, plan, &passed).await;
    assert_eq!(failed.status, 422, "{}", failed.body);
    assert!(failed.body.contains("the strand test failed"), "{}", failed.body);
}

#[tokio::test]
async fn a_stale_plan_an_old_plan_and_a_missing_sheet_do_not_start() {
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    strand_tests(&salon, stage.client, &[stage.straightener, stage.lotion], true).await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let (plan, page) = planned(&mut chair, stage.client, &retouch(&stage)).await;
    assert!(page.body.contains("Start the service"), "{}", page.body);
    sqlx::query(
        "insert into strand_event (salon_id, client_id, seq, on_day, did, mm) values ($1,$2,9, rinsebell_now()::date,'trim',5)",
    )
    .bind(salon.id.0)
    .bind(stage.client.0)
    .execute(&salon.owner)
    .await
    .unwrap();
    let stale = start(&mut chair, plan, &page).await;
    assert_eq!(stale.status, 422, "{}", stale.body);
    assert!(stale.body.contains("has changed since this plan was checked"), "{}", stale.body);
    let (fresh, page) = planned(&mut chair, stage.client, &retouch(&stage)).await;
    salon.advance(std::time::Duration::from_secs(13 * 3600)).await;
    let mut chair = salon.seat("Chair 2", "chair", salon.staff.stylist).await;
    let old = start(&mut chair, fresh, &page).await;
    assert!(old.status == 422 && old.body.contains("before this visit"), "{} {}", old.status, old.body);
    sqlx::query("delete from product_time where product_id = $1")
        .bind(stage.straightener.0)
        .execute(&salon.owner)
        .await
        .unwrap();
    let (plan, page) = planned(&mut chair, stage.client, &retouch(&stage)).await;
    assert!(
        page.body.contains("no start until the sheet’s time is entered")
            || page.body.contains("no start until the sheet&#39;s time is entered"),
        "{}",
        page.body
    );
    assert_eq!(start(&mut chair, plan, &page).await.status, 422);
}

#[tokio::test]
async fn what_was_typed_stays_and_nobody_sees_another_salons_plan() {
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let mut fields = as_drawn(&stage);
    fields[9].1 = "70".into();
    fields[10].1 = "12".into();
    let back = make(&mut chair, stage.client, &fields).await;
    assert_eq!(back.status, 422);
    assert!(back.body.contains("It ends behind where it begins"), "{}", back.body);
    assert!(back.body.contains("value=\"70\"") && back.body.contains("value=\"12\""), "{}", back.body);
    fields[1].1 = stage.neutraliser.to_string();
    assert_eq!(make(&mut chair, stage.client, &fields).await.status, 422, "a neutraliser is no straightener");
    for path in
        ["/plans/1", "/plans/x", "/plans/99999999999999999999", "/clients/1/plan", "/clients/1/strand"]
    {
        assert_eq!(chair.get(path).await.status, 404, "{path}");
    }
    let other = salon.second().await;
    let theirs: i64 = sqlx::query_scalar(
        "insert into client (salon_id, name) values ($1, 'Bette Orr') returning client_id",
    )
    .bind(other.0)
    .fetch_one(&salon.owner)
    .await
    .unwrap();
    assert_eq!(chair.get(&format!("/clients/{theirs}/strand")).await.status, 404);
    assert_eq!(chair.get(&format!("/clients/{theirs}/plan")).await.status, 404);
    let mut desk = salon.seat("Desk", "desk", salon.staff.reception).await;
    assert_eq!(desk.get(&format!("/clients/{}/strand", stage.client)).await.status, 403);
    assert_eq!(desk.get(&format!("/plans/{}", stage.plan)).await.status, 403);
}

/// What went on is written where it was planned, as the product it was: a protocol only proposes both.
#[tokio::test]
async fn a_run_writes_the_planned_zone_and_the_products_family() {
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    sqlx::query("update product set family = 'sulfite' where product_id = $1")
        .bind(stage.straightener.0)
        .execute(&salon.owner)
        .await
        .unwrap();
    strand_tests(&salon, stage.client, &[stage.straightener, stage.lotion], true).await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let mut fields = retouch(&stage);
    fields[2].1 = "between".into();
    fields.extend([("from_A", "0".to_string()), ("to_A", "6,5".to_string())]);
    let (plan, page) = planned(&mut chair, stage.client, &fields).await;
    let started = start(&mut chair, plan, &page).await;
    assert_eq!(started.status, 303, "{}", started.body);
    let run = rinsebell::domain::ids::RunId(started.location_id());
    let who = salon.staff.stylist;
    for step in ["receive", "inspect", "cleanse", "dry", "section", "base", "dispense", "apply-1"] {
        let lot = (step == "apply-1").then_some(('A', stage.straightener_lot));
        salon.sign_all(run, who, step, lot).await;
        if step == "apply-1" {
            let passed = rinsebell::domain::run::Signed {
                hold_point: rinsebell::domain::protocol::HoldPoint::StrandTest,
                value: "passed".into(),
                place: None,
            };
            let sign = rinsebell::domain::run::Command::SignHoldPoint { step: step.into(), signed: passed };
            salon.act(run, who, sign).await.unwrap();
        }
        let command = rinsebell::domain::run::Command::StartStep { step: step.into() };
        salon.act(run, who, command).await.unwrap_or_else(|e| panic!("{step}: {e:?}"));
    }
    let leave =
        rinsebell::domain::run::Command::LeaveRun { rinsed: true, reason: "The client has to go.".into() };
    salon.act(run, who, leave).await.unwrap();
    let written: Vec<(String, String, Option<f64>)> =
        sqlx::query_as("select family, zone, to_mm from strand_event where run_id = $1 and did = 'apply'")
            .bind(run.0)
            .fetch_all(&salon.owner)
            .await
            .unwrap();
    assert_eq!(written, [("sulfite".to_string(), "between".to_string(), Some(6.5))]);
}
