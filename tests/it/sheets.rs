//! Sheet times by hair: entered where the sheet tells hair apart, taken by the weakest place felt, capped all the same.

use rinsebell::domain::ids::ClientId;
use rinsebell::domain::plan_check::{Felt, Porosity, Texture};
use rinsebell::domain::protocol::Clock;
use rinsebell::domain::sheet::{SheetHair, SheetRow, choose, weakest};

use crate::chair::{send, with};
use crate::support::bare::bare_run;
use crate::support::{Answer, Browser, Salon, Stage};

fn sheet(hair: &str, target: &str, most: &str) -> Vec<(&'static str, String)> {
    let fields = [
        ("clock", "exposure"),
        ("target_min", target),
        ("least_min", ""),
        ("most_min", most),
        ("counts_from", "first-touch"),
        ("hair", hair),
    ];
    fields.map(|(k, v)| (k, v.to_string())).to_vec()
}

async fn enter(at: &mut Browser, stage: &Stage, hair: &str, target: &str, most: &str) -> Answer {
    let page = format!("/shelf/products/{}", stage.straightener);
    send(at, &page, &format!("{page}/times"), &sheet(hair, target, most)).await
}

async fn feel(salon: &Salon, client: ClientId, place: &str, texture: Option<&str>, porosity: Option<&str>) {
    sqlx::query(
        // Before the stage's plan: a plan older than what was felt is checked again.
        "insert into hair_reading (salon_id, client_id, taken_by, place, read_natural, texture, porosity, confirmed_odd, taken_at)
         values ($1,$2,$3,$4,false,$5,$6,false, rinsebell_now() - interval '10 minutes')",
    )
    .bind(salon.id.0)
    .bind(client.0)
    .bind(salon.staff.stylist.0)
    .bind(place)
    .bind(texture)
    .bind(porosity)
    .execute(&salon.owner)
    .await
    .expect("felt");
}

#[tokio::test]
async fn a_sheet_that_tells_hair_apart_is_entered_by_hair_and_a_misread_one_is_sent_back() {
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    let mut desk = salon.seat("Desk", "desk", salon.staff.manager).await;
    // The stage's general row: 35, longest 42.
    let longer = enter(&mut desk, &stage, "fine", "36", "42").await;
    assert_eq!(longer.status, 422);
    assert!(
        longer.body.contains("id=\"most_min-error\"") && longer.body.contains("read it again"),
        "{}",
        longer.body
    );
    assert!(longer.body.contains("value=\"36\""), "what was typed stays");
    assert_eq!(enter(&mut desk, &stage, "fine", "20", "25").await.status, 303);
    assert_eq!(enter(&mut desk, &stage, "coarse", "40", "45").await.status, 303);
    assert_eq!(enter(&mut desk, &stage, "medium", "30", "24").await.status, 422);
    assert_eq!(
        enter(&mut desk, &stage, "medium", "18", "24").await.status,
        422,
        "fine hair would get longer"
    );
    assert_eq!(enter(&mut desk, &stage, "silk", "18", "24").await.status, 422);
    let page = desk.get(&format!("/shelf/products/{}", stage.straightener)).await;
    for words in
        ["fine, porous or lightened hair", "20 min, longest allowed 25", "40 min, longest allowed 45"]
    {
        assert!(page.body.contains(words), "{words}: {}", page.body);
    }
    // Hair apart without the general minutes: those first.
    sqlx::query("delete from product_time where product_id = $1")
        .bind(stage.lotion.0)
        .execute(&salon.owner)
        .await
        .expect("taken out");
    let lotion = format!("/shelf/products/{}", stage.lotion);
    let back = send(&mut desk, &lotion, &format!("{lotion}/times"), &sheet("fine", "20", "30")).await;
    assert!(back.status == 422 && back.body.contains("id=\"hair-error\""), "{}", back.body);
}

#[tokio::test]
async fn the_weakest_place_felt_sets_the_time_and_plan_and_run_say_so() {
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    for (hair, target, most) in [("fine", "20", "25"), ("coarse", "40", "45")] {
        assert_eq!(enter(&mut chair, &stage, hair, target, most).await.status, 303);
    }
    feel(&salon, stage.client, "crown", Some("coarse"), Some("low")).await;
    feel(&salon, stage.client, "hairline", Some("medium"), Some("high")).await;
    // Later readings of a place take the earlier one's part: here they stay the weakest.
    feel(&salon, stage.client, "nape", Some("coarse"), None).await;
    let form = chair.get(&format!("/clients/{}/plan?protocol=curl-retouch", stage.client)).await;
    let fields = with(
        vec![("protocol", "curl-retouch".to_string()), ("once", form.field("once"))],
        &[
            ("product_A", &stage.straightener.to_string()),
            ("product_B", &stage.lotion.to_string()),
            ("product_C", &stage.neutraliser.to_string()),
        ],
    );
    let fields: Vec<(&str, &str)> = fields.iter().map(|(k, v)| (*k, v.as_str())).collect();
    let made = chair.post(&format!("/clients/{}/plans", stage.client), &fields).await;
    assert_eq!(made.status, 303, "{}", made.body);
    let plan = chair.get(&made.location).await;
    let said = "minutes for fine, porous or lightened hair, 20, longest allowed 25";
    assert!(plan.body.contains(said), "{}", plan.body);
    let run = salon.start_run(stage.plan, salon.staff.stylist).await.expect("it starts");
    let mut s = salon.app.begin(salon.id).await.expect("begin");
    let loaded = rinsebell::flow::runs::load(&mut s, &salon.app, run).await.expect("read").expect("there");
    s.commit().await.expect("committed");
    let step = "apply-1".into();
    let figures = loaded.frame.figures(&step, Clock::Exposure).expect("a clock");
    assert_eq!((figures.target_min, figures.most_min), (Some(20), Some(25)));
    assert_eq!(loaded.frame.sheet_hair(&step, Clock::Exposure), Some(SheetHair::Fine));
    let kept: (serde_json::Value, f32) = sqlx::query_as(
        "select sheet -> 'exposure_hair', exposure_most_min from run_step where run_id = $1 and code = 'apply-1'",
    )
    .bind(run.0)
    .fetch_one(&salon.owner)
    .await
    .expect("frozen");
    assert_eq!(kept, ("fine".into(), 25.0));
}

/// The first opening step of a bare run with this longest time: what the database says.
async fn froze(salon: &Salon, stage: &Stage, most: f32) -> Result<(), String> {
    bare_run(salon, stage, "needs", &most.to_string()).await.map(drop)
}

#[tokio::test]
async fn the_database_freezes_no_time_longer_than_the_sheet_gives_this_hair() {
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    let owner = |sql: &'static str| sqlx::query(sql).bind(stage.straightener.0).execute(&salon.owner);
    assert_eq!(froze(&salon, &stage, 42.0).await, Ok(()), "the general row");
    assert_eq!(froze(&salon, &stage, 42.5).await, Err("sheet:longer".into()));
    let row = "insert into product_time (salon_id, product_id, clock, target_min, most_min, counts_from, entered_by, hair)
        select salon_id, product_id, clock, 20, 25, counts_from, entered_by, 'fine' from product_time where product_id = $1";
    owner(row).await.expect("entered");
    assert_eq!(froze(&salon, &stage, 42.0).await, Ok(()), "nothing was felt: the general row");
    feel(&salon, stage.client, "crown", Some("coarse"), None).await;
    feel(&salon, stage.client, "nape", Some("fine"), None).await;
    assert_eq!(froze(&salon, &stage, 26.0).await, Err("sheet:longer".into()));
    assert_eq!(froze(&salon, &stage, 25.0).await, Ok(()));
    let longer =
        "update product_time set target_min = 40, most_min = 60 where product_id = $1 and hair = 'fine'";
    let no = owner(longer).await.expect_err("fine hair longer than any");
    assert_eq!(no.as_database_error().and_then(|e| e.code()).as_deref(), Some("RB010"));
    owner("delete from product_time where product_id = $1").await.expect("taken out");
    assert_eq!(froze(&salon, &stage, 25.0).await, Err("sheet:missing".into()));
}

#[tokio::test]
async fn the_database_and_the_domain_name_one_hair_and_one_row() {
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    let textures = [None, Some("fine"), Some("medium"), Some("coarse")];
    for crown in textures {
        for nape in textures {
            for porosity in [None, Some("normal"), Some("high")] {
                feel(&salon, stage.client, "crown", crown, None).await;
                feel(&salon, stage.client, "nape", nape, porosity).await;
                let told: Option<String> = sqlx::query_scalar("select rinsebell_weakest_hair($1, $2)")
                    .bind(salon.id.0)
                    .bind(stage.client.0)
                    .fetch_one(&salon.owner)
                    .await
                    .expect("named");
                let felt = [(crown, None), (nape, porosity)].map(|(t, p)| Felt {
                    texture: t.and_then(Texture::from_code),
                    porosity: p.and_then(Porosity::from_code),
                    ..Felt::default()
                });
                let ours = weakest(&felt).map(|h| h.code().to_string());
                assert_eq!(told, ours, "crown {crown:?}, nape {nape:?}, porosity {porosity:?}");
            }
        }
    }
    // Every set of rows, weaker hair never longer; every hair that may have been felt.
    for set in 0..16u8 {
        sqlx::query("delete from product_time where product_id = $1")
            .bind(stage.straightener.0)
            .execute(&salon.owner)
            .await
            .expect("taken out");
        let most = |h: SheetHair| match h {
            SheetHair::Fine => 11.0,
            SheetHair::Medium => 13.0,
            SheetHair::Any => 14.0,
            SheetHair::Coarse => 15.0,
        };
        let stands = SheetHair::ALL.into_iter().enumerate().filter(|(i, _)| set & (1 << i) != 0);
        let rows: Vec<SheetRow> =
            stands.map(|(_, hair)| SheetRow { hair, target_min: 9.0, most_min: most(hair) }).collect();
        for row in &rows {
            sqlx::query(
                "insert into product_time (salon_id, product_id, clock, target_min, most_min, counts_from, entered_by, hair)
                 values ($1,$2,'exposure',9,$3,'first-touch',$4,$5)",
            )
            .bind(salon.id.0)
            .bind(stage.straightener.0)
            .bind(row.most_min)
            .bind(salon.staff.stylist.0)
            .bind(row.hair.code())
            .execute(&salon.owner)
            .await
            .expect("entered");
        }
        for felt in [None, Some(SheetHair::Fine), Some(SheetHair::Medium), Some(SheetHair::Coarse)] {
            let told: Option<f32> = sqlx::query_scalar("select rinsebell_sheet_most($1, $2, 'exposure', $3)")
                .bind(salon.id.0)
                .bind(stage.straightener.0)
                .bind(felt.map(SheetHair::code))
                .fetch_one(&salon.owner)
                .await
                .expect("told");
            assert_eq!(told, choose(&rows, felt).map(|i| rows[i].most_min), "{rows:?} on {felt:?}");
        }
    }
}
