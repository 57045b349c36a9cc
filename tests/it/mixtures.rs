//! A gloss of colour and developer: what it is mixed with and how long it lives are entered from the sheet, both lots go
//! into the bowl, and a mixture past its minutes is mixed anew.

use std::time::Duration;

use rinsebell::domain::ids::{LotId, PlanId, RunId};
use rinsebell::domain::protocol::{HoldPoint, StepCode};
use rinsebell::domain::run::{Command, Refusal, Signed};
use rinsebell::flow::runs::Refused;

use crate::chair::{product, send, with};
use crate::support::{Browser, Salon};

/// The product form of a gloss whose developer has this id.
fn gloss(developer: &str, life: &str) -> Vec<(&'static str, String)> {
    with(
        product(),
        &[
            ("name", "Kestrel Gloss"),
            ("family", "oxidative-colour"),
            ("use_as", "colour"),
            ("parts", developer),
            ("mixed_life_min", life),
        ],
    )
}

async fn enter(at: &mut Browser, fields: &[(&'static str, String)]) -> i64 {
    let made = send(at, "/shelf/products/new", "/shelf/products", fields).await;
    assert_eq!(made.status, 303, "{}", made.body);
    made.location_id()
}

async fn developer(at: &mut Browser) -> i64 {
    let fields = [("name", "Developer"), ("family", "oxidative-colour"), ("use_as", "other")];
    enter(at, &with(product(), &fields)).await
}

#[tokio::test]
async fn what_a_product_is_mixed_with_is_entered_from_its_sheet() {
    let salon = Salon::open().await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    assert!(chair.get("/shelf/products/new").await.body.contains("Enter its activator or developer first"));
    let part = developer(&mut chair).await.to_string();
    for (developer, life, field) in [("1", "30", "parts"), (part.as_str(), "300", "mixed_life_min")] {
        let back = send(&mut chair, "/shelf/products/new", "/shelf/products", &gloss(developer, life)).await;
        assert!(
            back.status == 422
                && back.body.contains(&format!("id=\"{field}-error\""))
                && back.body.contains(&format!("value=\"{life}\"")),
            "{field}: {}",
            back.body
        );
    }
    let id = enter(&mut chair, &gloss(&part, "30")).await;
    let page = chair.get(&format!("/shelf/products/{id}")).await;
    assert!(
        page.body.contains("Mixed with")
            && page.body.contains("Developer")
            && page.body.contains("within 30 min"),
        "{}",
        page.body
    );
    // Taken out again, the row stays for what was mixed before.
    let form = format!("/shelf/products/{id}/label");
    let version = chair.get(&form).await.field("version");
    let mut out = with(gloss("", "30"), &[("version", version.as_str())]);
    out.retain(|(name, _)| *name != "parts");
    assert_eq!(send(&mut chair, &form, &form, &out).await.status, 303);
    assert!(!chair.get(&format!("/shelf/products/{id}")).await.body.contains("Mixed with"));
    let kept: i64 = sqlx::query_scalar(
        "select count(*) from product_part where product_id = $1 and taken_out_at is not null",
    )
    .bind(id)
    .fetch_one(&salon.owner)
    .await
    .unwrap();
    assert_eq!(kept, 1);
}

/// A client of the salon ready for a gloss of these products, begun and mixed, the bowl to come; the run and the lots.
async fn ready(salon: &Salon, product: i64, part: i64) -> (RunId, LotId, LotId) {
    let stage = salon.stage().await;
    let who = salon.staff.stylist.0;
    let sql = format!(
        "insert into qualification (salon_id, person_id, chemistry) values ({s}, {who}, 'colour') on conflict do nothing;
        insert into product_time (salon_id, product_id, clock, target_min, most_min, counts_from, entered_by) values
          ({s}, {product}, 'exposure', 20, 30, 'first-touch', {who}), ({s}, {product}, 'phase', 15, 20, 'cover', {who});
        insert into lot (salon_id, product_id, code, received_on, received_grams) values
          ({s}, {product}, 'GL-1', current_date, 600), ({s}, {part}, 'DV-1', current_date, 900);
        insert into skin_test (salon_id, client_id, product_id, lot_id, formula, place, placed_at, placed_by, read_at, read_by, outcome)
          select {s}, {client}, product_id, lot_id, 1, 'left-inner-elbow', rinsebell_now() - interval '60 hours', {who},
            rinsebell_now() - interval '1 hour', {who}, 'no-reaction' from lot where product_id = {product};
        insert into plan (salon_id, client_id, protocol, revision, made_by, as_of, strand_seq, verdict, findings, applications)
          select {s}, {client}, 'gloss', max(revision), {who}, current_date, 1, 'clear', '[]', '[{{\"letter\": \"A\"}}]'
          from protocol_revision where salon_id = {s} and protocol = 'gloss';
        insert into plan_product (salon_id, plan_id, application, product_id)
          select {s}, plan_id, 'A', {product} from plan where salon_id = {s} and protocol = 'gloss'",
        s = salon.id.0,
        client = stage.client.0,
    );
    sqlx::raw_sql(sqlx::AssertSqlSafe(sql)).execute(&salon.owner).await.expect("arranged");
    let one = |sql: &'static str| sqlx::query_scalar::<_, i64>(sql).bind(salon.id.0).fetch_one(&salon.owner);
    let plan = one("select plan_id from plan where salon_id = $1 and protocol = 'gloss'").await.unwrap();
    let colour = one("select lot_id from lot where salon_id = $1 and code = 'GL-1'").await.unwrap();
    let developer = one("select lot_id from lot where salon_id = $1 and code = 'DV-1'").await.unwrap();
    let run = salon.start_run(PlanId(plan), salon.staff.stylist).await.unwrap();
    for step in ["receive", "inspect", "section", "protect", "mix"] {
        salon.sign_all(run, salon.staff.stylist, step, None).await;
        let start = Command::StartStep { step: step.into() };
        salon.act(run, salon.staff.stylist, start).await.unwrap_or_else(|e| panic!("{step}: {e:?}"));
    }
    (run, LotId(colour), LotId(developer))
}

fn mixed() -> Command {
    let signed = Signed { hold_point: HoldPoint::Mixed, value: "now-for-this-head".into(), place: None };
    Command::SignHoldPoint { step: StepCode::from("apply"), signed }
}

#[tokio::test]
async fn both_lots_go_into_the_bowl_and_a_dead_mixture_is_mixed_anew() {
    let salon = Salon::open().await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let part = developer(&mut chair).await;
    let id = enter(&mut chair, &gloss(&part.to_string(), "30")).await;
    let (run, colour, other) = ready(&salon, id, part).await;
    let here = format!("/runs/{run}");
    let page = chair.get(&here).await;
    for shown in
        ["Mixed with", "name=\"part\"", "lot GL-1, 600 g left", "lot DV-1, 900 g left", "Dispense both"]
    {
        assert!(page.body.contains(shown), "{shown}: {}", page.body);
    }
    // A scan of the developer picks it and leaves the colour as it was.
    let scanned = chair.get(&format!("{here}?scan=DV-1&lot={}", colour.0)).await;
    assert!(scanned.body.contains("Scanned: Developer, lot DV-1"), "{}", scanned.body);
    assert!(chair.get(&format!("{here}?scan=nothing")).await.body.contains("scan-error"));
    let lots = format!("{here}/lots");
    let known = page.field("known");
    let fill = |grams: &str| {
        let (lot, part) = (colour.0.to_string(), other.0.to_string());
        with(
            vec![],
            &[
                ("known", known.as_str()),
                ("application", "A"),
                ("lot", &lot),
                ("grams", "45"),
                ("part", &part),
                ("part_grams", grams),
            ],
        )
    };
    // All or nothing: without the developer's grams the colour is not dispensed either, and what was typed stays.
    let back = send(&mut chair, &here, &lots, &fill("")).await;
    assert!(back.status == 422 && back.body.contains("value=\"45\""), "{}", back.body);
    let none: i64 = sqlx::query_scalar("select count(*) from dispensed where run_id = $1")
        .bind(run.0)
        .fetch_one(&salon.owner)
        .await
        .unwrap();
    assert_eq!(none, 0);
    assert_eq!(send(&mut chair, &here, &lots, &fill("60")).await.status, 303);
    let page = chair.get(&here).await;
    assert!(!page.body.contains("Dispense both"), "the bowl is full");
    let signed = page.body.matches("dispensed, in date, within the law").count();
    assert_eq!(signed, 1, "answered beside its hold point; the list of what was signed names the bowls");
    for lot in [colour, other] {
        assert!(chair.get(&format!("/shelf/lots/{}", lot.0)).await.body.contains("Gloss, root to end"));
    }
    let who = salon.staff.stylist;
    for (point, value) in [
        (HoldPoint::PatchTest, "no-reaction-since"),
        (HoldPoint::Scalp, "intact"),
        (HoldPoint::Gloves, "nitrile-new-pair-intact"),
    ] {
        let signed = Signed { hold_point: point, value: value.into(), place: None };
        let sign = Command::SignHoldPoint { step: StepCode::from("apply"), signed };
        salon.act(run, who, sign).await.unwrap_or_else(|e| panic!("{point:?}: {e:?}"));
    }
    salon.act(run, who, mixed()).await.unwrap();
    assert!(chair.get(&here).await.body.contains("Mixture, use until"));
    salon.advance(Duration::from_secs(31 * 60)).await;
    // The first chair has locked itself meanwhile.
    let mut chair = salon.seat("Chair 3", "chair", who).await;
    let page = chair.get(&here).await;
    assert!(
        page.body.contains("Mixture past its time") && page.body.contains("Throw it away and mix anew"),
        "{}",
        page.body
    );
    assert!(page.body.contains("Dispense both"), "the bowl is asked for again");
    let dead = |refused: Refused| match refused {
        Refused::Reasons(all) => {
            all.iter().any(|r| matches!(r, Refusal::MixtureDead { application: 'A', .. }))
        }
        _ => false,
    };
    let begin = || Command::StartStep { step: StepCode::from("apply") };
    assert!(salon.act(run, who, begin()).await.is_err_and(dead));
    assert!(salon.act(run, who, mixed()).await.is_err_and(dead), "the same bowl is not mixed now");
    assert_eq!(send(&mut chair, &here, &lots, &fill("60")).await.status, 303);
    salon.act(run, who, mixed()).await.unwrap();
    salon.act(run, who, begin()).await.unwrap();
}
