//! The record itself: append-only, gapless, stamped by the database, frozen at the start, closed at the end.

use super::stage::{Event, No, Stage};

fn code(done: Result<u64, No>) -> String {
    done.map_or_else(|no| no.code, |n| format!("{n} rows"))
}

#[tokio::test]
async fn nothing_on_record_is_changed_or_taken_out() {
    let stage = Stage::ready().await;
    let mut app = stage.app().await;
    for sql in [
        "update run_event set outcome = 'holds' where salon_id = {s}",
        "update run_event set recorded_at = rinsebell_now() where salon_id = {s}",
        "delete from run_event where salon_id = {s}",
        "truncate run_event",
        "update ledger set hash = '' where salon_id = {s}",
        "delete from ledger where salon_id = {s}",
        "update run set ended_at = rinsebell_now(), ended_how = 'left' where salon_id = {s}",
        "update run set plan_id = {other_plan} where salon_id = {s}",
        "delete from run where salon_id = {s}",
        "update run_step set needs = '{}' where salon_id = {s}",
        "update run_step set chemical = 'none' where salon_id = {s}",
        "delete from run_step where salon_id = {s}",
        "update dispensed set grams = 1 where salon_id = {s}",
        "delete from dispensed where salon_id = {s}",
        "update plan set verdict = 'clear' where salon_id = {s}",
        "update consent set signed_at = rinsebell_now() where salon_id = {s}",
        "update consult set reaction_families = '{}' where salon_id = {s}",
        "delete from consult where salon_id = {s}",
        "update strand_event set family = 'unknown' where salon_id = {s}",
        "delete from hair_test where salon_id = {s}",
        "update answer set body = '' where salon_id = {s}",
        "update protocol_revision set body = '' where salon_id = {s}",
        "alter table run_event disable trigger all",
        "drop trigger run_event_guard on run_event",
        "create or replace function rinsebell_now() returns timestamptz language sql as 'select now()'",
        "create table public.x (a int)",
        "create temp table run_event (a int)",
        "update practice_clock set ahead = '1 year'",
    ] {
        assert_eq!(code(app.run(sql).await), "42501", "{sql}");
    }
}

#[tokio::test]
async fn ledger_and_dispensed_rows_are_not_forged() {
    let stage = Stage::ready().await;
    let mut app = stage.app().await;
    let ledger = app
        .run("insert into ledger (salon_id, ledger_seq, run_id, last_seq, head_hash, at, prev_hash, hash) values ({s}, 1, {run}, 1, '', rinsebell_now(), '', '')")
        .await;
    assert_eq!(code(ledger), "RB006");
    let dispensed =
        app.run("insert into dispensed (salon_id, run_id, seq, lot_id, application, grams) values ({s}, {run}, 1, {lot}, 'A', 4)").await;
    assert_eq!(code(dispensed), "RB006");
}

#[tokio::test]
async fn instants_are_the_databases_and_a_facts_claim_is_clamped_and_kept() {
    let stage = Stage::open().await;
    let mut app = stage.app().await;
    app.told(Event { at: "'2020-01-01 00:00Z'::timestamptz", ..Event::may("run_started") }).await;
    app.told(Event {
        at: "'2999-01-01 00:00Z'::timestamptz",
        ..Event::sign("scalp", "intact", "holds", "apply")
    })
    .await;
    app.told(Event { at: "'2020-01-01 00:00Z'::timestamptz", ..Event::fact("sting_reported", "{}") }).await;
    app.told(Event { at: "'2999-01-01 00:00Z'::timestamptz", ..Event::fact("comfort_noted", "{}") }).await;
    let near = "recorded_at between rinsebell_now() - interval '1 minute' and rinsebell_now()";
    let right = app
        .number(&format!(
            "select count(*) from run_event e join run r using (salon_id, run_id) where e.salon_id = {{s}} and e.run_id = {{run}} and {near}
             and happened_at between r.started_at and e.recorded_at and (fact_id is null or data ? 'claimed_at')"
        ))
        .await;
    assert_eq!(right, 4);
}

#[tokio::test]
async fn the_sequence_has_no_gap_and_a_taken_number_writes_nothing() {
    let stage = Stage::open().await;
    let mut app = stage.app().await;
    let at = |seq, event: Event| Event { seq: Some(seq), ..event };
    assert_eq!(code(app.tell(&at(2, Event::may("run_started"))).await), "RB002");
    assert_eq!(code(app.tell(&at(1, Event::sign("scalp", "intact", "holds", "apply"))).await), "RB003");
    app.told(Event::may("run_started")).await;
    let sign = Event::sign("scalp", "intact", "holds", "apply");
    assert_eq!(code(app.tell(&at(3, sign.clone())).await), "RB002");
    assert_eq!(code(app.tell(&at(1, sign.clone())).await), "0 rows");
    assert_eq!(code(app.tell(&at(-5, sign.clone())).await), "0 rows");
    assert_eq!(code(app.tell(&at(2, sign)).await), "1 rows");
    assert_eq!(code(app.tell(&Event::may("run_started")).await), "RB003");
}

#[tokio::test]
async fn facts_carry_their_name_once_and_permissions_a_person() {
    let stage = Stage::open().await;
    let mut app = stage.app().await;
    app.told(Event::may("run_started")).await;
    let sting = Event::fact("sting_reported", r#"{"place": "nape"}"#);
    app.told(sting.clone()).await;
    assert_eq!(
        app.tell(&sting).await.expect_err("twice"),
        No { code: "23505".into(), words: "run_event_fact_unique".into() }
    );
    for (event, expected) in [
        (Event { fact_id: None, by: Some("stylist"), ..sting.clone() }, "RB003"),
        (Event { fact_id: Some(rinsebell::secret::new_uuid()), ..Event::start("drape") }, "RB003"),
        (Event { by: None, ..Event::start("drape") }, "RB003"),
        (Event::may("step_skipped"), "RB003"),
        (Event { version: 2, ..Event::start("drape") }, "RB003"),
        (Event::start("nowhere"), "RB001"),
        (
            Event::fact(
                "fact_withdrawn",
                &format!(r#"{{"fact_id": "{}"}}"#, sting.fact_id.clone().unwrap_or_default()),
            ),
            "RB001",
        ),
    ] {
        assert_eq!(code(app.tell(&event).await), expected, "{event:?}");
    }
}

#[tokio::test]
async fn a_sign_off_means_what_its_value_means_and_who_may_sign_it() {
    let stage = Stage::open().await;
    let mut app = stage.app().await;
    app.told(Event::may("run_started")).await;
    let words = |no: No| format!("{} {}", no.code, no.words);
    for (event, expected) in [
        (Event::sign("scalp", "broken", "holds", "apply"), "RB001 scalp:value"),
        (Event::sign("gloves", "torn", "holds", "apply"), "RB001 gloves:value"),
        (Event::sign("gloves", "fine", "holds", "apply"), "RB001 gloves:value"),
        (Event::sign("luck", "good", "holds", "apply"), "RB001 luck:value"),
        (Event { step: None, ..Event::sign("scalp", "intact", "holds", "apply") }, "RB001 scalp:value"),
        (Event::sign("scalp", "intact", "holds", "apply").by("assistant"), "RB001 person:role"),
        (
            Event::sign("patch-test", "no-reaction-since", "holds", "apply").by("assistant"),
            "RB001 person:role",
        ),
        (
            Event::sign("gloves", "nitrile-new-pair-intact", "holds", "apply").by("reception"),
            "RB001 person:role",
        ),
        (Event::sign("scalp", "intact", "holds", "apply").by("leaver"), "RB001 person:not-here"),
        (Event { outcome: None, ..Event::sign("scalp", "intact", "holds", "apply") }, "RB001 scalp:value"),
    ] {
        assert_eq!(app.tell(&event).await.map_err(words), Err(expected.to_string()), "{event:?}");
    }
    app.told(Event::sign("gloves", "nitrile-new-pair-intact", "holds", "apply").by("assistant")).await;
    app.told(Event::sign("scalp", "red", "fails", "apply").by("assistant")).await;
}

#[tokio::test]
async fn every_answer_means_the_same_in_the_domain_and_in_the_database() {
    use rinsebell::domain::protocol::{HoldPoint, Meaning};
    let stage = Stage::open().await;
    let mut app = stage.app().await;
    for point in HoldPoint::ALL {
        for answer in point.answers() {
            let outcome = if answer.meaning == Meaning::Holds { "holds" } else { "fails" };
            let same = app
                .number(&format!(
                    "select (rinsebell_answer_outcome('{}', '{}') = '{outcome}')::int::bigint",
                    point.code(),
                    answer.code
                ))
                .await;
            assert_eq!(same, 1, "{} {}", point.code(), answer.code);
        }
    }
    let all: usize = HoldPoint::ALL.iter().map(|p| p.answers().len()).sum();
    let kept = app
        .number("select count(*) from regexp_matches(pg_get_functiondef('rinsebell_answer_outcome'::regproc), '''[a-z-]+:[a-z-]+''', 'g')")
        .await;
    assert_eq!(kept as usize, all, "the database knows no answer more");
}

#[tokio::test]
async fn closing_asks_for_gloves_and_eyes_and_a_stop_for_whole_skin() {
    let stage = Stage::ready().await;
    let mut app = stage.app().await;
    let words = |no: No| no.words;
    app.told(Event::start("apply")).await;
    let close = Event::start("neutralise").by("assistant");
    assert_eq!(app.tell(&close).await.map_err(words), Err("gloves:missing".into()));
    app.told(Event::sign("gloves", "vinyl-new-pair-intact", "holds", "neutralise").by("assistant")).await;
    assert_eq!(app.tell(&close).await.map_err(words), Err("eye-protection:missing".into()));
    app.told(Event::sign("eye-protection", "not-placed", "fails", "neutralise").by("assistant")).await;
    assert_eq!(app.tell(&close).await.map_err(words), Err("eye-protection:failed".into()));
    app.told(Event::sign("eye-protection", "cotton-bib-towel", "holds", "neutralise").by("assistant")).await;

    let ended = Event { data: r#"{"reason": "fine"}"#.into(), ..Event::may("stop_closed") };
    assert_eq!(
        app.tell(&ended).await.map_err(words),
        Err("stop_closed:skin-not-whole".into()),
        "no stop stands"
    );
    app.told(Event::fact("stop_recorded", "{}")).await;
    assert_eq!(app.tell(&ended).await.map_err(words), Err("stop_closed:skin-not-whole".into()));
    app.told(Event { data: r#"{"whole": false}"#.into(), ..Event::may("stop_read") }).await;
    assert_eq!(app.tell(&ended).await.map_err(words), Err("stop_closed:skin-not-whole".into()));
    app.told(Event { data: r#"{"whole": true}"#.into(), ..Event::may("stop_read") }).await;
    // Hair left open is the worse harm: closing goes on after a stop, once the skin was read whole.
    app.told(close).await;
    app.told(Event {
        step: Some("smooth"),
        ..Event::fact("section_rinsed", r#"{"section": null, "clear": true}"#)
    })
    .await;
    assert_eq!(
        app.tell(&ended.clone().by("other_stylist")).await.map_err(words),
        Err("stop_closed:not-yours".into())
    );
    assert_eq!(app.tell(&ended.clone().by("assistant")).await.map_err(words), Err("person:role".into()));
    let take = Event::may("handover_accepted").by("other_stylist");
    assert_eq!(app.tell(&take).await.map_err(words), Err("handover:not-offered".into()));
    let offer = format!(r#"{{"to": {}}}"#, stage.house.id("other_stylist"));
    app.told(Event { data: offer, ..Event::may("handover_offered") }).await;
    app.told(take).await;
    assert_eq!(app.tell(&ended).await.map_err(words), Err("stop_closed:not-yours".into()), "handed over");
    app.told(ended.by("other_stylist")).await;
}

#[tokio::test]
async fn an_ended_run_takes_facts_and_no_permission() {
    let stage = Stage::ready().await;
    let mut app = stage.app().await;
    app.told(Event::may("run_finished")).await;
    let after = app.tell(&Event::start("apply")).await.expect_err("ended");
    assert_eq!((after.code.as_str(), after.words.as_str()), ("RB001", "run:ended"));
    app.told(Event::fact("comfort_noted", "{}")).await;
    let ledger = app.number("select count(*) from ledger where salon_id = {s} and run_id = {run}").await;
    assert_eq!(ledger, 1);
    let ended = app.number("select count(*) from run where salon_id = {s} and run_id = {run} and ended_how = 'finished' and ended_at is not null").await;
    assert_eq!(ended, 1);
}

#[tokio::test]
async fn steps_are_frozen_and_ask_for_no_less_than_the_floor() {
    let stage = Stage::ready().await;
    let mut app = stage.app().await;
    let step = |run: &str, code: &str, product: &str, chemistry: &str, needs: &str| {
        format!(
            "insert into run_step (salon_id, run_id, step_no, code, chemical, chemistry, application, product_id, needs)
             values ({{s}}, {{{run}}}, 9, '{code}', 'opening', '{chemistry}', 'A', {product}, '{needs}')"
        )
    };
    let floor = "{gloves,scalp,patch-test,plan,consent,lot}";
    assert_eq!(
        code(app.run(&step("run", "more", "{product}", "thio", floor)).await),
        "RB006",
        "after the start"
    );
    let mut words = Vec::new();
    for left_out in ["gloves", "scalp", "patch-test", "plan", "consent", "lot"] {
        let needs = floor.replace(&format!("{left_out},"), "").replace(&format!(",{left_out}"), "");
        words.push(
            app.run(&step("other_run", "more", "{product}", "thio", &needs)).await.expect_err(left_out).words,
        );
    }
    assert!(words.iter().all(|w| w == "run_step_opening_floor"), "{words:?}");
    assert_eq!(
        code(app.run(&step("other_run", "more", "{lotion}", "thio", floor)).await),
        "RB006",
        "not what was planned"
    );
    assert_eq!(code(app.run(&step("other_run", "more", "null", "thio", floor)).await), "RB006", "no product");
    assert_eq!(
        code(app.run(&step("other_run", "more", "{product}", "colour", floor)).await),
        "RB006",
        "another chemistry"
    );
    let closing = app
        .run("insert into run_step (salon_id, run_id, step_no, code, chemical, chemistry, needs) values ({s}, {other_run}, 9, 'more', 'closing', 'thio', '{gloves}')")
        .await;
    assert_eq!(closing.expect_err("eyes").words, "run_step_closing_floor");
}

#[tokio::test]
async fn a_run_begins_clean_from_its_clients_plan_by_somebody_who_may() {
    let stage = Stage::open().await;
    let mut owner = stage.owner().await;
    owner
        .must("insert into plan (salon_id, plan_id, client_id, protocol, revision, made_by, as_of, strand_seq, verdict, findings, applications)
            select {s}, {plan} + 100000 * n, case n when 3 then {stranger} else {client} end, 'retouch-{s}', 1, {stylist}, '2020-01-01', 1,
              case n when 1 then 'refuse' when 2 then 'wait' else 'clear' end, '[]', '[{}]' from generate_series(1, 4) n")
        .await;
    let mut app = stage.app().await;
    let run = |n: i64, by: &str| {
        format!(
            "insert into run (salon_id, client_id, plan_id, protocol, revision, reference_fingerprint, chair, started_by, started_at, ended_at, ended_how)
             values ({{s}}, {{client}}, {{plan}} + 100000 * {n}, 'retouch-{{s}}', 1, '-', 'Chair 1', {{{by}}}, '2020-01-01', '2020-01-02', 'left')"
        )
    };
    for (sql, words) in [
        (run(1, "stylist"), "plan:not-clear"),
        (run(2, "stylist"), "plan:not-clear"),
        (run(3, "stylist"), "plan:other"),
        (run(4, "assistant"), "person:role"),
        (run(4, "leaver"), "person:role"),
        (run(4, "stylist"), "run_one_open_a_client"),
    ] {
        assert_eq!(app.run(&sql).await.expect_err("refused").words, words, "{sql}");
    }
    app.told(Event::may("run_started")).await;
    app.told(Event { data: r#"{"rinsed": true}"#.into(), ..Event::may("run_left") }).await;
    assert_eq!(code(app.run(&run(4, "stylist")).await), "1 rows");
    let clean = app
        .number("select count(*) from run where salon_id = {s} and chair = 'Chair 1' and ended_at is null and started_at > rinsebell_now() - interval '1 minute'")
        .await;
    assert_eq!(clean, 1);
}

#[tokio::test]
async fn events_are_written_at_read_committed_only() {
    let stage = Stage::ready().await;
    for level in ["repeatable read", "serializable"] {
        let mut app = stage.app().await;
        app.must(&format!("begin isolation level {level}")).await;
        assert_eq!(code(app.tell(&Event::start("apply")).await), "RB002", "{level}");
        app.must("rollback").await;
    }
}

#[tokio::test]
async fn the_chain_is_the_databases_whatever_is_claimed() {
    let stage = Stage::ready().await;
    let mut app = stage.app().await;
    app.must(
        "insert into run_event (salon_id, run_id, seq, by, station_id, kind, step, prev_hash, hash)
         select {s}, {run}, max(seq) + 1, {stylist}, {station}, 'step_started', 'drape', '\\x01', '\\x02' from run_event where salon_id = {s} and run_id = {run}",
    )
    .await;
    let broken = app
        .number(
            "select count(*) from (select e.hash, e.prev_hash, lag(e.hash, 1, ''::bytea) over (order by e.seq) as before,
               sha256(convert_to(rinsebell_event_words(e), 'UTF8')) as right from run_event e where e.salon_id = {s} and e.run_id = {run}) x
             where x.prev_hash <> x.before or x.hash <> x.right",
        )
        .await;
    assert_eq!(broken, 0);
}
