//! Two records of one person: what was told or tried under either holds afterwards, for the domain and the database.

use rinsebell::check;
use rinsebell::domain::chemistry::family::Family;
use rinsebell::domain::ids::ClientId;
use rinsebell::domain::run::Command;
use rinsebell::flow::runs::Refused;
use rinsebell::store::{consults, hair_tests, plans, skin_tests};
use sqlx::AssertSqlSafe;

use crate::chair::{send, with};
use crate::support::{Answer, Browser, Salon, Walked, walked_until};

/// A second record of the same person, with one thing written under it.
async fn twin(salon: &Salon, sql: &str) -> ClientId {
    let id: i64 = sqlx::query_scalar(
        "insert into client (salon_id, name, phone, no_contact) values ($1, 'Nerys Amblin-Rook', '01632 960001', true) returning client_id",
    )
    .bind(salon.id.0)
    .fetch_one(&salon.owner)
    .await
    .unwrap();
    let sql = sql
        .replace("{c}", &id.to_string())
        .replace("{s}", &salon.id.to_string())
        .replace("{m}", &salon.staff.stylist.to_string());
    sqlx::raw_sql(AssertSqlSafe(sql.clone()))
        .execute(&salon.owner)
        .await
        .unwrap_or_else(|e| panic!("{sql}: {e}"));
    ClientId(id)
}

async fn merge(
    office: &mut Browser,
    kept: ClientId,
    gone: ClientId,
    others: &[(&'static str, &str)],
) -> Answer {
    let here = format!("/clients/{kept}/merge");
    let shown = format!("{here}?other={gone}");
    let page = office.get(&shown).await;
    assert_eq!(page.status, 200, "{}", page.body);
    let fields = with(
        vec![
            ("other", gone.to_string()),
            ("kept_version", page.field("kept_version")),
            ("gone_version", page.field("gone_version")),
        ],
        others,
    );
    send(office, &shown, &here, &fields).await
}

const CONSULT: &str = "insert into consult (salon_id, client_id, taken_at, taken_by, reaction_families, black_henna_reaction, black_henna, scalp,
    scratched_within_3_days, pregnant, medication, scalp_treatment, home_colour, silver_in_history)
  values ({s}, {c}, rinsebell_now() - interval '400 days', {m}, {f}, false, false, 'intact', false, false, false, false, 'never', false)";

/// What was written long ago under the other record, and what the database says of a start once the two are one.
fn dangers() -> Vec<(&'static str, String, &'static str)> {
    vec![
        ("a reaction told", CONSULT.replace("{f}", "'{thio}'"), "consult:past-reaction"),
        (
            "a patch test that reacted",
            "insert into skin_test (salon_id, client_id, product_id, lot_id, formula, place, placed_at, placed_by, read_at, read_by, outcome)
               select {s}, {c}, l.product_id, l.lot_id, 1, 'behind-left-ear', rinsebell_now() - interval '300 days', {m},
                 rinsebell_now() - interval '297 days', {m}, 'blister' from lot l join product p using (salon_id, product_id) where p.family = 'thio' limit 1"
                .into(),
            "patch-test:reaction",
        ),
        (
            "a failed test for metal",
            "insert into hair_test (salon_id, client_id, kind, place, minutes, salt_sign, passed, done_at, done_by)
               values ({s}, {c}, 'metallic-salt', 'worst-place', 30, 'heats-or-smells', false, rinsebell_now() - interval '5 days', {m})"
                .into(),
            "salt-test:failed",
        ),
    ]
}

/// Metal told of the hair, and where its story begins.
const METAL: &str =
    "insert into strand (salon_id, client_id, length_mm, on_day) values ({s}, {c}, 100, current_date - 300);
    insert into strand_event (salon_id, client_id, seq, on_day, did, family, zone, known)
      values ({s}, {c}, 1, current_date - 200, 'apply', 'metallic-salt', 'root-to-end', 'told')";

#[tokio::test]
async fn the_hairs_story_comes_along_whole_and_two_stories_are_not_laid_over_one_another() {
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    let mut office = salon.seat("Office", "office", salon.staff.manager).await;
    let told = twin(&salon, METAL).await;
    let back = merge(&mut office, stage.client, told, &[]).await;
    assert_eq!(back.status, 422);
    assert!(back.body.contains("Both records tell the hair"), "{}", back.body);
    let bare = twin(&salon, "select 1").await;
    assert_eq!(merge(&mut office, bare, told, &[]).await.status, 303);
    let mut s = salon.app.begin(salon.id).await.unwrap();
    let (story, last) = rinsebell::store::strands::find_story(&mut s, bare).await.unwrap().unwrap();
    assert_eq!((story.deeds.len(), last), (1, 1));
    assert!(rinsebell::store::strands::find_story(&mut s, told).await.unwrap().is_none());
    s.commit().await.unwrap();
    let shown =
        salon.seat("Chair", "chair", salon.staff.stylist).await.get(&format!("/clients/{bare}/strand")).await;
    assert!(shown.status == 200 && shown.body.to_lowercase().contains("metallic"), "{}", shown.body);
    assert_eq!(check::run(&salon.database.owner).await.unwrap().findings, Vec::<String>::new());
}

#[tokio::test]
async fn what_speaks_against_a_service_under_either_record_speaks_against_it_after_a_merge() {
    for (what, sql, why) in dangers() {
        let salon = Salon::open().await;
        let stage = salon.stage().await;
        let gone = twin(&salon, &sql).await;
        let mut office = salon.seat("Office", "office", salon.staff.manager).await;
        let done = merge(&mut office, stage.client, gone, &[("keep_phone", "gone")]).await;
        assert_eq!(done.status, 303, "{what}: {}", done.body);
        // The plan was clear before; no service starts from it now, and a new one is checked against all of it.
        let mut s = salon.app.begin(salon.id).await.unwrap();
        assert!(plans::find(&mut s, stage.plan).await.unwrap().unwrap().stale, "{what}");
        let told = consults::list_reactions_ever(&mut s, stage.client).await.unwrap();
        let seen = skin_tests::list_by_client(&mut s, stage.client).await.unwrap();
        let metal = hair_tests::latest_metal(&mut s, stage.client).await.unwrap();
        let known = match why {
            "consult:past-reaction" => told.contains(&Family::Thio),
            "patch-test:reaction" => seen.iter().any(|t| t.outcome.as_deref() == Some("blister")),
            _ => metal.is_some_and(|(passed, _)| !passed),
        };
        assert!(known, "{what}");
        s.commit().await.unwrap();
        // Nor does the database, whoever goes round the domain.
        let stale: bool = sqlx::query_scalar(
            "select rinsebell_plan_stale(p, -1, 'infinity') from plan p where plan_id = $1",
        )
        .bind(stage.plan.0)
        .fetch_one(&salon.owner)
        .await
        .unwrap();
        assert!(stale, "{what}");
        let refused = salon.start_run(stage.plan, salon.staff.stylist).await;
        assert!(matches!(refused, Err(Refused::Reasons(_))), "{what}: {refused:?}");
        let run: i64 = sqlx::query_scalar(
            "insert into run (salon_id, client_id, plan_id, protocol, revision, reference_fingerprint, chair, started_by)
             select salon_id, client_id, plan_id, protocol, revision, '-', 'Chair 1', made_by from plan where plan_id = $1 returning run_id",
        )
        .bind(stage.plan.0)
        .fetch_one(&salon.owner)
        .await
        .unwrap();
        let said: Option<String> = sqlx::query_scalar(
            "select rinsebell_tests_against(r, $2, rinsebell_now(), false) from run r where run_id = $1",
        )
        .bind(run)
        .bind(stage.straightener.0)
        .fetch_one(&salon.owner)
        .await
        .unwrap();
        assert_eq!(said.unwrap_or_default(), why, "{what}");
        let kept: (String, String, bool) =
            sqlx::query_as("select name, phone, no_contact from client where client_id = $1")
                .bind(stage.client.0)
                .fetch_one(&salon.owner)
                .await
                .unwrap();
        assert_eq!(
            kept,
            ("Nerys Amblin".into(), "01632 960001".into(), true),
            "a wish not to be reached holds too"
        );
        let left = office.get(&format!("/clients/{gone}")).await;
        assert!(
            left.status == 410 && left.body.contains(&format!("/clients/{}", stage.client)),
            "{}",
            left.body
        );
    }
}

#[tokio::test]
async fn a_merge_changes_nothing_about_what_was_judged_before_it() {
    let Walked { salon, run, who } = walked_until("finish").await;
    salon.act(run, who, Command::FinishRun).await.unwrap();
    let client: i64 = sqlx::query_scalar("select client_id from run").fetch_one(&salon.owner).await.unwrap();
    let client = ClientId(client);
    let mut office = salon.seat("Office", "office", salon.staff.manager).await;
    for (what, sql, _) in dangers() {
        let gone = twin(&salon, &sql).await;
        assert_eq!(merge(&mut office, client, gone, &[]).await.status, 303, "{what}");
        let found = check::run(&salon.database.owner).await.unwrap().findings;
        assert_eq!(found, Vec::<String>::new(), "{what}: known only since the merge");
    }
    let acts: i64 = sqlx::query_scalar("select count(*) from record_act where kind = 'merge'")
        .fetch_one(&salon.owner)
        .await
        .unwrap();
    assert_eq!(acts, 3);
}

#[tokio::test]
async fn a_record_with_visits_does_not_go_and_no_other_salons_does() {
    let Walked { salon, run, who } = walked_until("finish").await;
    let client: i64 = sqlx::query_scalar("select client_id from run").fetch_one(&salon.owner).await.unwrap();
    let client = ClientId(client);
    let other = twin(&salon, "select 1").await;
    let mut office = salon.seat("Office", "office", salon.staff.manager).await;
    let busy = merge(&mut office, client, other, &[]).await;
    assert!(busy.status == 422 && busy.body.contains("under way"), "{}", busy.body);
    salon.act(run, who, Command::FinishRun).await.unwrap();
    let back = merge(&mut office, other, client, &[]).await;
    assert_eq!(back.status, 422);
    assert!(back.body.contains("visits"), "{}", back.body);
    let found = office.get(&format!("/clients/{client}/merge?name=nerys")).await;
    assert!(found.body.contains("Nerys Amblin-Rook"), "{}", found.body);
    let foreign: i64 = sqlx::query_scalar(
        "with s as (insert into salon (name, zone) values ('Elsewhere', 'UTC') returning salon_id)
        insert into client (salon_id, name) select salon_id, 'Foreign One' from s returning client_id",
    )
    .fetch_one(&salon.owner)
    .await
    .unwrap();
    assert_eq!(office.get(&format!("/clients/{client}/merge?other={foreign}")).await.status, 404);
    // The owner's functions ask for themselves: another salon's rows, somebody who is no manager.
    for (salon_asked, by, code) in [
        (salon.id.0 + 1, salon.staff.manager.0, "salon:other"),
        (salon.id.0, salon.staff.stylist.0, "person:role"),
    ] {
        let mut s = salon.app.begin(salon.id).await.unwrap();
        let no = sqlx::query("select rinsebell_erase_client($1, $2, $3, 1, 'client-asked')")
            .bind(salon_asked)
            .bind(other.0)
            .bind(by)
            .execute(&mut *s.tx)
            .await
            .unwrap_err();
        assert_eq!(no.as_database_error().unwrap().message(), code);
    }
}
