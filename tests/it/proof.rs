//! The sign-off book through the router: the list, one visit's sheet, a client's visits.

use rinsebell::domain::run::{Command, Happened, HeadPlace};
use rinsebell::flow::runs::{self, Hand};
use std::time::Duration;

use crate::support::{Salon, Walked, walked_until};

#[tokio::test]
async fn a_visit_stands_in_the_book_whole_and_a_forged_one_is_told() {
    let Walked { salon, run, who } = walked_until("finish").await;
    salon.act(run, who, Command::FinishRun).await.unwrap();
    let mut desk = salon.seat("Back office", "office", salon.staff.manager).await;
    let book = desk.get("/proof").await;
    assert_eq!(book.status, 200);
    assert!(book.body.contains(&format!("/proof/runs/{run}")) && book.body.contains("Nerys Amblin"));
    let sheet = desk.get(&format!("/proof/runs/{run}")).await;
    assert_eq!(sheet.status, 200);
    for words in [
        "the record is whole",
        "Line 1 of the salon’s ledger",
        "Tobias Fenn",
        "Scalp: ",
        "back right",
        // The stage's sheet allows 42 minutes for the straightener, 65 for the lotion.
        "Longest allowed 42 min (product sheet)",
        "Longest allowed 65 min (product sheet)",
        "64 rods; first nape, last crown",
        "first rod",
        "62 g",
        "lot 7K-",
        "Service finished",
    ] {
        assert!(sheet.body.contains(words), "{words} in {}", sheet.body);
    }
    let head: String = sqlx::query_scalar("select encode(head_hash, 'hex') from ledger where run_id = $1")
        .bind(run.0)
        .fetch_one(&salon.owner)
        .await
        .unwrap();
    assert!(sheet.body.contains(&head), "the chain's head is printed");
    sqlx::query("update run_event set data = '{\"value\": \"red\"}' where run_id = $1 and seq = 3")
        .bind(run.0)
        .execute(&salon.owner)
        .await
        .unwrap();
    let forged = desk.get(&format!("/proof/runs/{run}")).await;
    assert_eq!(forged.status, 200);
    assert!(
        forged.body.contains("This record does not hold")
            && forged.body.contains("Event 3: its words do not give its hash."),
        "{}",
        forged.body
    );
}

#[tokio::test]
async fn late_facts_breaches_and_incidents_are_marked() {
    let Walked { salon, run, who, .. } = walked_until("apply-1").await;
    let mut s = salon.app.begin(salon.id).await.unwrap();
    let happened_at = s.now().await.unwrap() - Duration::from_secs(90);
    let fact = rinsebell::domain::run::Fact {
        fact_id: rinsebell::domain::run::FactId(777),
        happened_at,
        happened: Happened::StingReported { place: HeadPlace::Nape },
    };
    let hand = Hand { person: None, station: None, session: None };
    runs::record_fact(&mut s, &salon.app, run, fact, hand).await.unwrap();
    s.commit().await.unwrap();
    let mut chair = salon.seat("Chair 2", "chair", who).await;
    let sheet = chair.get(&format!("/proof/runs/{run}")).await.body;
    for words in [
        "It stings: nape",
        "kept without contact, told at ",
        "this station",
        "Incidents",
        "still on",
        "the service is under way",
    ] {
        assert!(sheet.contains(words), "{words} in {sheet}");
    }
}

#[tokio::test]
async fn the_book_is_found_through_by_name_and_day_and_page() {
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    let run = salon.start_run(stage.plan, salon.staff.stylist).await.unwrap();
    sqlx::raw_sql(sqlx::AssertSqlSafe(format!(
        "do $$ declare p bigint; begin for i in 1..54 loop
           insert into plan (salon_id, client_id, protocol, revision, made_by, as_of, strand_seq, verdict, findings, applications)
             select salon_id, client_id, protocol, revision, made_by, as_of, strand_seq, verdict, findings, applications from plan
             where plan_id = {} returning plan_id into p;
           insert into run (salon_id, client_id, plan_id, protocol, revision, reference_fingerprint, chair, started_by, started_at, ended_at, ended_how)
             select salon_id, client_id, p, protocol, revision, reference_fingerprint, 'Chair 9', started_by,
               timestamptz '2026-03-01 10:00+01' + make_interval(days => i / 20), timestamptz '2026-05-01', 'left' from run where run_id = {run};
         end loop; end $$",
        stage.plan
    )))
    .execute(&salon.owner)
    .await
    .unwrap();
    let mut desk = salon.seat("Back office", "office", salon.staff.manager).await;
    let rows = |body: &str| body.matches("/proof/runs/").count();
    let first = desk.get("/proof").await.body;
    assert_eq!(rows(&first), 50);
    let at = first.find("/proof?name=").expect("a way to older visits");
    let more: String = first[at..].split('"').next().unwrap().replace("&#38;", "&").replace("&amp;", "&");
    assert_eq!(rows(&desk.get(&more).await.body), 5, "55 visits, none twice, none passed over");
    assert_eq!(rows(&desk.get("/proof?name=nerys&on=2026-03-01").await.body), 19);
    assert_eq!(rows(&desk.get("/proof?name=Zo").await.body), 0);
    assert_eq!(rows(&desk.get("/proof?name=%25").await.body), 0, "a sign of its own, not any name");
    let odd = desk.get("/proof?on=2026-13-45").await;
    assert!(odd.status == 200 && odd.body.contains("such as 2026-05-14"));
    let visits = desk.get(&format!("/clients/{}/visits", stage.client)).await;
    assert_eq!((visits.status, rows(&visits.body)), (200, 55));
    for path in ["/proof/runs/1", "/proof/runs/abc", "/clients/1/visits"] {
        assert_eq!(desk.get(path).await.status, 404, "{path}");
    }
}
