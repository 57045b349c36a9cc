//! `check` over a salon's own database: clean after a whole service, and each forgery found and named.

use rinsebell::check::{self, Report};
use rinsebell::domain::ids::RunId;
use rinsebell::domain::run::Command;
use sqlx::AssertSqlSafe;

use crate::support::{Salon, Walked, walked_until};

async fn report(salon: &Salon) -> Report {
    check::run(&salon.database.owner).await.expect("the check runs to its end")
}

async fn whole_retouch() -> (Salon, RunId) {
    let Walked { salon, run, who, .. } = walked_until("finish").await;
    salon.act(run, who, Command::FinishRun).await.unwrap();
    (salon, run)
}

/// The chain and the ledger written anew over whatever the rows say now: what a forger with every right would do.
const RECHAINED: &str = "do $$ declare e run_event; before bytea := ''; begin
    for e in select * from run_event order by salon_id, run_id, seq loop
      e.prev_hash := before;
      before := sha256(convert_to(rinsebell_event_words(e), 'UTF8'));
      update run_event set prev_hash = e.prev_hash, hash = before where salon_id = e.salon_id and run_id = e.run_id and seq = e.seq;
    end loop;
    update ledger set head_hash = before;
    update ledger set hash = sha256(convert_to(concat_ws(E'\\x1f', salon_id, ledger_seq, run_id, last_seq, encode(head_hash, 'hex'),
      to_char(at at time zone 'utc', 'YYYY-MM-DD\"T\"HH24:MI:SS.US\"Z\"'), encode(prev_hash, 'hex')), 'UTF8'));
  end $$";

struct Forgery {
    what: &'static str,
    done: String,
    mended: String,
    /// Words of the findings, with the place each must name.
    said: Vec<String>,
}

fn forgeries(run: RunId) -> Vec<Forgery> {
    let at = |seq: &str| format!("run {run}, event {seq}: ");
    let lot = "(select min(seq) from run_event where kind = 'lot_dispensed')";
    let scalp = "(select max(s.seq) from run_event s where s.hold_point = 'scalp' and s.seq <
        (select min(x.seq) from run_event x where x.kind = 'step_started' and x.step = 'apply-1'))";
    let forge = |what, done: &str, mended: &str, said: &[String]| Forgery {
        what,
        done: done.to_owned(),
        mended: mended.to_owned(),
        said: said.to_vec(),
    };
    vec![
        forge(
            "a changed byte of data",
            &format!("update run_event set data = jsonb_set(data, '{{grams}}', '63') where seq = {lot}"),
            &format!("update run_event set data = jsonb_set(data, '{{grams}}', '62.0') where seq = {lot}"),
            &["its words do not give its hash.".into(), "is not among what was dispensed.".into()],
        ),
        forge(
            "a deleted event",
            "create table kept as select to_jsonb(t) as row from run_event t where seq = 5; delete from run_event where seq = 5",
            "alter table run_event disable trigger user; insert into run_event select (jsonb_populate_record(null::run_event, row)).* from kept;
             alter table run_event enable trigger user; drop table kept",
            &[format!("{}the line before it is 4, lines are missing.", at("6"))],
        ),
        forge(
            "a changed hash",
            "create table kept as select hash from run_event where seq = 7; update run_event set hash = sha256('x') where seq = 7",
            "update run_event set hash = (select hash from kept) where seq = 7; drop table kept",
            &[
                format!("{}its words do not give its hash.", at("7")),
                format!("{}it does not follow from the line before it.", at("8")),
            ],
        ),
        forge(
            "two events the other way round",
            "update run_event set seq = 100000 where seq = 4; update run_event set seq = 4 where seq = 5;
             update run_event set seq = 5 where seq = 100000",
            "update run_event set seq = 100000 where seq = 4; update run_event set seq = 4 where seq = 5;
             update run_event set seq = 5 where seq = 100000",
            &[
                format!("{}it does not follow from the line before it.", at("4")),
                format!("{}its words do not give its hash.", at("5")),
            ],
        ),
        forge(
            "an edited ledger",
            "update ledger set last_seq = last_seq - 1",
            "update ledger set last_seq = last_seq + 1",
            &[
                format!("ledger line 1 (run {run}): its words do not give its hash."),
                format!("run {run}: the ledger says it ended with event"),
            ],
        ),
        forge(
            "a run taken out of the ledger",
            "create table kept as select to_jsonb(t) as row from ledger t; delete from ledger",
            "alter table ledger disable trigger user; insert into ledger select (jsonb_populate_record(null::ledger, row)).* from kept;
             alter table ledger enable trigger user; drop table kept",
            &["it ended and does not stand in the ledger.".into()],
        ),
        forge(
            "an exposure missing from the strand",
            "create table kept as select to_jsonb(t) as row from strand_event t where seq = 3; delete from strand_event where seq = 3",
            "alter table strand_event disable trigger user; insert into strand_event select (jsonb_populate_record(null::strand_event, row)).* from kept;
             alter table strand_event enable trigger user; drop table kept",
            &[
                format!("run {run}: product B (thio, root-to-end) is not in the client's strand."),
                "entry 4 follows entry 2, entries are missing.".into(),
            ],
        ),
        forge(
            "an outcome forged",
            &format!("update run_event set outcome = 'fails' where seq = {scalp}"),
            &format!("update run_event set outcome = 'holds' where seq = {scalp}"),
            &[
                "its outcome says fails, its answer means holds.".into(),
                "its words do not give its hash.".into(),
            ],
        ),
        forge(
            "a red scalp forged whole, and everything hashed anew",
            &format!(
                "update run_event set data = jsonb_set(data, '{{value}}', '\"red\"') where seq = {scalp}; {RECHAINED}"
            ),
            &format!(
                "update run_event set data = jsonb_set(data, '{{value}}', '\"intact\"') where seq = {scalp}; {RECHAINED}"
            ),
            &[
                "its outcome says holds, its answer means fails.".into(),
                "step apply-1 started although scalp did not hold".into(),
            ],
        ),
        forge(
            "an end moved",
            "update run set ended_at = ended_at + interval '1 hour'",
            "update run set ended_at = ended_at - interval '1 hour'",
            &["its row says finished, its record finished.".into()],
        ),
        forge(
            "a patch test read later than the start",
            "update skin_test set read_at = read_at + interval '1 day'",
            "update skin_test set read_at = read_at - interval '1 day'",
            &["step apply-1 started although patch-test did not hold".into()],
        ),
        forge(
            "grams changed beside the record",
            "update dispensed set grams = grams + 1",
            "update dispensed set grams = grams - 1",
            &["stand as dispensed, and it does not say so.".into()],
        ),
    ]
}

#[tokio::test]
async fn a_whole_retouch_is_clean_and_every_forgery_is_named() {
    let (salon, run) = whole_retouch().await;
    let clean = report(&salon).await;
    assert_eq!(clean.findings, Vec::<String>::new());
    let events: i64 =
        sqlx::query_scalar("select count(*) from run_event").fetch_one(&salon.owner).await.unwrap();
    assert_eq!((clean.runs, clean.events, clean.wrong), (1, events as u64, 0));
    for forgery in forgeries(run) {
        let Forgery { what, done, mended, said } = forgery;
        sqlx::raw_sql(AssertSqlSafe(done))
            .execute(&salon.owner)
            .await
            .unwrap_or_else(|e| panic!("{what}: {e}"));
        let found = report(&salon).await;
        for words in said {
            assert!(
                found.findings.iter().any(|f| f.contains(&words)),
                "{what}: {words} in {:#?}",
                found.findings
            );
        }
        assert!(found.findings.iter().all(|f| f.starts_with(&format!("Salon {}", salon.id))), "{what}");
        sqlx::raw_sql(AssertSqlSafe(mended))
            .execute(&salon.owner)
            .await
            .unwrap_or_else(|e| panic!("{what}: {e}"));
        assert_eq!(report(&salon).await.findings, Vec::<String>::new(), "{what}, mended");
    }
}

#[tokio::test]
async fn a_run_under_way_with_a_stop_and_late_facts_is_clean() {
    let Walked { salon, run, who, .. } = walked_until("apply-1").await;
    salon.fact(run, 900, rinsebell::domain::run::Happened::StopRecorded).await.unwrap();
    let clear = rinsebell::domain::run::Happened::SectionRinsed {
        step: "rinse-straightener".into(),
        section: None,
        clear: true,
    };
    salon.fact(run, 901, clear).await.unwrap();
    salon.act(run, who, Command::LeaveRun { rinsed: true, reason: "went home".into() }).await.unwrap();
    assert_eq!(report(&salon).await.findings, Vec::<String>::new());
    // Facts that come when it is over are kept, and the ledger still stands.
    salon.fact(run, 902, rinsebell::domain::run::Happened::StopRecorded).await.unwrap();
    let after = report(&salon).await;
    assert_eq!((after.findings, after.runs), (Vec::new(), 1));
}

#[tokio::test]
async fn more_bookings_than_places_are_named() {
    let salon = Salon::open().await;
    salon.open_desk(2, 1).await;
    let client = salon.client("Una Reyes").await;
    sqlx::raw_sql(AssertSqlSafe(format!(
        "alter table booking_place disable trigger user;
         alter table booking_hands drop constraint booking_hands_no_double;
         do $$ declare b bigint; begin for i in 1..2 loop
           insert into booking (salon_id, client_id, purpose, span, made_by)
             values ({0}, {1}, 'service', tstzrange(now() + interval '1 day', now() + interval '26 hours'), {2}) returning booking_id into b;
           insert into booking_hands values ({0}, b, 1, {2}, (select span from booking where booking_id = b));
           insert into booking_place values ({0}, b, 1, 'basin', (select span from booking where booking_id = b));
         end loop; end $$;
         alter table booking_place enable trigger user",
        salon.id, client, salon.staff.stylist
    )))
    .execute(&salon.owner)
    .await
    .unwrap();
    let found = report(&salon).await.findings;
    assert_eq!(found.len(), 2, "{found:?}");
    assert!(found[0].contains("Tobias Fenn is booked twice at"), "{found:?}");
    assert!(found[1].contains("2 of 1 places (basin) booked at"), "{found:?}");
}
