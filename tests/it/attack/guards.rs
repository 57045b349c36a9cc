//! What a start rests on besides its sign-offs: whose family goes on, whose turn it is, what is on the hair, what the
//! plan rests on; who may be named; what a stop lets through.

use super::stage::{Event, Hand, SIGNED, Stage};
use super::starts::{Try, attempt, check};

/// A revision of one thio application with a window, as `reference/protocol_document.rs` writes one.
const DOCUMENT: &str = r#"update protocol_revision set document = '{"sections": ["back-right", "back-left"],
  "applications": [{"letter": "A", "family": "thio", "chemical": "opening", "straightens": true, "strength_most": null}],
  "steps": [{"code": "drape", "optional": true}, {"code": "apply", "application": "A", "work": "apply", "optional": false, "window": 15,
      "sections": ["back-right", "back-left"]},
    {"code": "smooth", "application": "A", "work": "apply", "optional": false, "window": 15, "sections": ["back-right", "back-left"]},
    {"code": "neutralise", "optional": false}]}' where salon_id = {s}"#;

fn words(told: Result<u64, super::stage::No>) -> String {
    told.map_or_else(|no| no.words, |n| format!("{n} rows"))
}

async fn documented() -> (Stage, Hand) {
    let stage = Stage::open().await;
    stage.owner().await.must(DOCUMENT).await;
    let app = stage.app().await;
    (stage, app)
}

fn touch(step: &'static str, section: &str, pass: u8) -> Event {
    let data = format!(r#"{{"section": "{section}", "pass": {pass}}}"#);
    Event { step: Some(step), ..Event::fact("section_started", &data) }
}

fn rinse(section: &str) -> Event {
    let data = format!(r#"{{"section": {section}, "clear": true}}"#);
    Event { step: Some("smooth"), ..Event::fact("section_rinsed", &data) }
}

/// Everything the step `smooth` asks for.
fn signed_for_smooth() -> Vec<Event> {
    let again = SIGNED.iter().filter(|(p, _)| *p == "gloves");
    again.map(|(point, value)| Event::sign(point, value, "holds", "smooth")).collect()
}

#[tokio::test]
async fn no_other_chemistry_is_planned_dispensed_or_started() {
    use rinsebell::domain::chemistry::family::Family;
    let (stage, mut app) = documented().await;
    let plan = "insert into plan (salon_id, plan_id, client_id, protocol, revision, made_by, as_of, strand_seq, verdict, findings, applications)
        values ({s}, {plan} + 77, {client}, 'retouch-{s}', 1, {stylist}, '2020-01-01', 1, 'clear', '[]', '[{}]')";
    app.must(plan).await;
    let planned = |letter: &str, product: &str| {
        format!(
            "insert into plan_product (salon_id, plan_id, application, product_id) values ({{s}}, {{plan}} + 77, '{letter}', {{{product}}})"
        )
    };
    // "The two chemistries must never meet on one hair" (1-job.md).
    assert_eq!(words(app.run(&planned("A", "relaxer")).await), "product:other-family");
    assert_eq!(words(app.run(&planned("A", "colour")).await), "product:other-family");
    assert_eq!(words(app.run(&planned("B", "lotion")).await), "product:no-such-application");
    assert_eq!(words(app.run(&planned("A", "product")).await), "1 rows");
    let mut owner = stage.owner().await;
    let no = Vec::<String>::new();
    let mut differ = no.clone();
    for given in Family::ALL {
        for asked in Family::ALL {
            let sql =
                format!("select rinsebell_stands_for('{}', '{}')::int::bigint", given.code(), asked.code());
            if (owner.number(&sql).await == 1) != given.stands_for(asked) {
                differ.push(format!("{given:?} for {asked:?}"));
            }
        }
    }
    assert_eq!(differ, no);
    // The bottle turns out to be another chemistry than the Shelf had said: neither bowl nor start.
    let turned = "update product set family = 'sodium-hydroxide', skin_test = 'none-by-sheet' where salon_id = {s} and product_id = {product}";
    check(vec![
        Try { before: DOCUMENT, ..attempt("as planned", "") },
        Try { before: DOCUMENT, after: turned, ..attempt("another chemistry", "product:other-family") },
    ])
    .await;
    app.told(Event::may("run_started")).await;
    owner.must(turned).await;
    let bowl = format!(r#"{{"application": "A", "lot_id": {}, "grams": 40}}"#, stage.house.id("lot"));
    assert_eq!(
        words(app.tell(&Event { data: bowl, ..Event::may("lot_dispensed") }).await),
        "product:other-family"
    );
}

#[tokio::test]
async fn only_the_planned_products_own_lot_comes_into_a_bowl_and_none_after_a_stop() {
    let stage = Stage::open().await;
    let (mut app, mut owner) = (stage.app().await, stage.owner().await);
    app.told(Event::may("run_started")).await;
    let bowl = |letter: &str, lot: &str| {
        let data = format!(r#"{{"application": "{letter}", "lot_id": {}, "grams": 4}}"#, stage.house.id(lot));
        Event { data, ..Event::may("lot_dispensed") }
    };
    assert_eq!(words(app.tell(&bowl("A", "other_lot")).await), "lot:other-product");
    assert_eq!(words(app.tell(&bowl("B", "lot")).await), "lot:other-product");
    owner.must("update lot set best_before = '2020-01-01' where salon_id = {s}").await;
    assert_eq!(words(app.tell(&bowl("A", "lot")).await), "lot:out-of-date");
    owner
        .must("update lot set best_before = null, withdrawn_at = rinsebell_now() where salon_id = {s}")
        .await;
    assert_eq!(words(app.tell(&bowl("A", "lot")).await), "lot:out-of-use");
    owner.must("update lot set withdrawn_at = null where salon_id = {s}").await;
    assert_eq!(words(app.tell(&bowl("A", "lot")).await), "1 rows");
    app.told(Event::fact("stop_recorded", "{}")).await;
    assert_eq!(words(app.tell(&bowl("A", "lot")).await), "run:stopped");
}

#[tokio::test]
async fn the_bowl_mixed_last_speaks_and_every_product_of_the_service_is_tested() {
    let second = "insert into lot (salon_id, lot_id, product_id, code, received_on, received_grams) values ({s}, {lot} + 900, {product}, 'K-900', '2026-01-01', 500)";
    let mut spoiled = Event::may("lot_dispensed");
    spoiled.data = r#"{"application": "A", "lot_id": LOT, "grams": 4}"#.into();
    // A second product in the service, planned and never tried on this skin: the first one does not start either.
    let untried = "insert into plan_product (salon_id, plan_id, application, product_id) values ({s}, {plan}, 'B', {lotion});;
        insert into run_step (salon_id, run_id, step_no, code, chemical, chemistry, application, product_id, needs, exposure_most_min)
          values ({s}, {run}, 5, 'wind', 'opening', 'thio', 'B', {lotion}, '{gloves,scalp,patch-test,plan,consent,lot}', 60)";
    check(vec![Try { before: untried, ..attempt("the lotion never tried", "patch-test:not-held") }]).await;
    let stage = Stage::ready().await;
    let (mut app, mut owner) = (stage.app().await, stage.owner().await);
    owner.must(second).await;
    spoiled.data = spoiled.data.replace("LOT", &(stage.house.id("lot") + 900).to_string());
    app.told(spoiled).await;
    owner.must("update lot set best_before = '2020-01-01' where salon_id = {s} and code = 'K-900'").await;
    // The first bowl is still in date; what is in hand is not.
    assert_eq!(words(app.tell(&Event::start("apply")).await), "lot:out-of-date");
}

#[tokio::test]
async fn the_plan_is_of_this_visit_no_milder_than_its_findings_and_nothing_is_newer() {
    let consult = "insert into consult (salon_id, client_id, taken_at, taken_by, black_henna_reaction, black_henna, scalp, scratched_within_3_days, pregnant,
        medication, scalp_treatment, home_colour, silver_in_history)
        values ({s}, {client}, rinsebell_now(), {stylist}, false, false, 'intact', false, false, false, false, 'never', false)";
    check(vec![
        Try {
            after: "update plan set made_at = rinsebell_now() - interval '13 hours' where salon_id = {s}",
            ..attempt("of yesterday", "plan:of-earlier-visit")
        },
        Try { after: consult, ..attempt("something told since", "plan:stale") },
        Try {
            after: "insert into hair_reading (salon_id, client_id, place, taken_by, wet_stretch) values ({s}, {client}, 'nape', {stylist}, 'breaks')",
            ..attempt("felt since", "plan:stale")
        },
        Try {
            after: r#"update plan set findings = '[{"verdict": "clear"}, {"verdict": "refuse"}]' where salon_id = {s}"#,
            ..attempt("kept clear, and refused", "plan:not-clear")
        },
    ])
    .await;
    let stage = Stage::open().await;
    let mut app = stage.app().await;
    let plan = |verdict: &str, found: &str| {
        format!(
            "insert into plan (salon_id, client_id, protocol, revision, made_by, as_of, strand_seq, verdict, findings, applications)
             values ({{s}}, {{client}}, 'retouch-{{s}}', 1, {{stylist}}, '2020-01-01', 1, '{verdict}', '[{{\"verdict\": \"{found}\"}}]', '[{{}}]')"
        )
    };
    let milder = "plan:milder-than-its-findings";
    for (verdict, found, said) in [
        ("clear", "refuse", milder),
        ("clear", "test-first", milder),
        ("test-first", "wait", milder),
        ("wait", "refuse", milder),
        ("clear", "no-such-word", milder),
        ("refuse", "wait", "1 rows"),
        ("test-first", "test-first", "1 rows"),
    ] {
        assert_eq!(words(app.run(&plan(verdict, found)).await), said, "{verdict} with {found}");
    }
}

#[tokio::test]
async fn an_opening_step_waits_its_turn() {
    let smooth =
        |said: &'static str, name| Try { told: signed_for_smooth(), step: "smooth", ..attempt(name, said) };
    let drape = "update protocol_revision set document = jsonb_set(document, '{steps,0,optional}', 'false') where salon_id = {s}";
    let asked: &'static str = format!("{DOCUMENT};;{drape}").leak();
    let mut draped = vec![Event::start("drape")];
    draped.extend(signed_for_smooth());
    let mut done = vec![Event::start("apply"), rinse("null")];
    done.extend(signed_for_smooth());
    let mut past = done.clone();
    past.push(Event::start("smooth"));
    past.push(rinse("null"));
    check(vec![
        Try { before: DOCUMENT, ..smooth("step:out-of-turn", "before the first pass") },
        Try { before: asked, ..attempt("before draping, which is not optional", "step:out-of-turn") },
        Try { before: asked, told: draped.clone(), ..attempt("draped first", "") },
        Try { before: DOCUMENT, told: done, ..smooth("", "after the first pass") },
        Try {
            told: vec![Event { step: Some("neutralise"), ..Event::fact("closing_started", "{}") }],
            ..attempt("hair that is being closed", "step:closing-begun")
        },
    ])
    .await;
}

#[tokio::test]
async fn nothing_more_goes_on_past_the_window_the_longest_or_a_look_that_says_rinse() {
    let later = |minutes: u32| -> &'static str {
        format!("update practice_clock set ahead = ahead + interval '{minutes} minutes'").leak()
    };
    let mut begun = vec![Event::start("apply"), touch("apply", "back-right", 1)];
    begun.extend(signed_for_smooth());
    let second = |name, said, then: &'static str, more: Vec<Event>| Try {
        before: DOCUMENT,
        told: begun.clone(),
        then,
        more,
        step: "smooth",
        ..attempt(name, said)
    };
    let read = |kind, data: &str| Event::fact(kind, data);
    check(vec![
        second("at once", "", "", vec![]),
        // trade-rules.md, windows: both passes within 15 minutes.
        second("14 minutes after", "", later(14), vec![]),
        second("15 minutes after", "window:shut", later(15), vec![]),
        // House.sql: 20 minutes at most; the window said so before.
        second("20 minutes after", "most-time:passed", later(20), vec![]),
        second(
            "a firm S",
            "rinse:due",
            "",
            vec![read("test_curl_read", r#"{"rod": "first", "reading": "s"}"#)],
        ),
        second("a C", "", "", vec![read("test_curl_read", r#"{"rod": "first", "reading": "c"}"#)]),
        second(
            "lies smooth",
            "rinse:due",
            "",
            vec![read(
                "progress_read",
                r#"{"look": "comb-back", "section": "back-right", "reading": "reached"}"#,
            )],
        ),
    ])
    .await;
}

#[tokio::test]
async fn another_product_waits_until_the_water_ran_clear() {
    let second = "insert into plan_product (salon_id, plan_id, application, product_id) values ({s}, {plan}, 'B', {product});;
        insert into run_step (salon_id, run_id, step_no, code, chemical, chemistry, application, product_id, needs, exposure_most_min)
          values ({s}, {run}, 5, 'wind', 'opening', 'thio', 'B', {product}, '{gloves,scalp,patch-test,plan,consent,lot}', 60)";
    let optional: &'static str = format!(
        "{second};;update run_step set chemical = 'none', needs = '{{}}', application = null
        where salon_id = {{s}} and step_no in (3, 4)"
    )
    .leak();
    let bowl =
        |stage: &Stage| format!(r#"{{"application": "B", "lot_id": {}, "grams": 4}}"#, stage.house.id("lot"));
    let stage = Stage::open().await;
    let (mut app, mut owner) = (stage.app().await, stage.owner().await);
    for part in optional.split(";;") {
        owner.must(part).await;
    }
    app.told(Event::may("run_started")).await;
    app.dispense("lot").await;
    app.sign_all_but("").await;
    app.told(Event { data: bowl(&stage), ..Event::may("lot_dispensed") }).await;
    app.told(Event::sign("gloves", "nitrile-new-pair-intact", "holds", "wind")).await;
    app.told(Event::start("apply")).await;
    let wind = Event::start("wind");
    assert_eq!(words(app.tell(&wind).await), "rinse:missing");
    app.told(touch("apply", "back-right", 1)).await;
    app.told(touch("apply", "back-left", 1)).await;
    app.told(rinse("\"back-right\"")).await;
    assert_eq!(words(app.tell(&wind).await), "rinse:missing", "one quadrant of two");
    let last = rinse("\"back-left\"");
    app.told(last.clone()).await;
    let back = format!(r#"{{"fact_id": "{}", "reason": "mistaken"}}"#, last.fact_id.unwrap());
    app.told(Event::fact("fact_withdrawn", &back)).await;
    assert_eq!(words(app.tell(&wind).await), "rinse:missing", "a rinse taken back");
    assert_eq!(
        words(app.tell(&Event { data: r#"{"how": "finished"}"#.into(), ..Event::may("run_finished") }).await),
        "rinse:missing"
    );
    app.told(rinse("null")).await;
    app.told(wind).await;
}

#[tokio::test]
async fn a_service_is_not_ended_with_hair_opened_and_not_closed() {
    let finish = || Event { data: r#"{"how": "finished"}"#.into(), ..Event::may("run_finished") };
    for skin in ["", "whole", "not whole"] {
        let (_stage, mut app) = documented().await;
        app.told(Event::may("run_started")).await;
        app.dispense("lot").await;
        app.sign_all_but("").await;
        app.told(Event::start("apply")).await;
        app.told(touch("apply", "back-right", 1)).await;
        app.told(touch("apply", "back-left", 1)).await;
        app.told(rinse("null")).await;
        if skin.is_empty() {
            assert_eq!(words(app.tell(&finish()).await), "hair:left-open", "rinsed, not closed");
        } else {
            app.told(Event::fact("stop_recorded", "{}")).await;
            assert_eq!(words(app.tell(&finish()).await), "hair:left-open", "stopped, nobody looked");
            let read = format!(r#"{{"whole": {}}}"#, skin == "whole");
            app.told(Event { data: read, ..Event::may("stop_read") }).await;
        }
        if skin == "not whole" {
            // Later, off the scalp, by a doctor's leave (2-domain.md, opening and closing).
            assert_eq!(words(app.tell(&finish()).await), "1 rows");
            continue;
        }
        for (point, value) in [("gloves", "nitrile-new-pair-intact"), ("eye-protection", "cotton-bib-towel")]
        {
            app.told(Event::sign(point, value, "holds", "neutralise")).await;
        }
        app.told(Event::start("neutralise")).await;
        assert_eq!(words(app.tell(&finish()).await), "hair:left-open", "begun, not done");
        app.told(Event { step: Some("neutralise"), ..Event::may("step_finished") }).await;
        assert_eq!(words(app.tell(&finish()).await), "1 rows", "closed");
    }
}

#[tokio::test]
async fn a_manager_names_somebody_qualified_who_is_here_and_they_answer_for_it() {
    let (stage, other) = Stage::with_stranger().await;
    let mut app = stage.app().await;
    // The house's own run has ended; a run of the stranger's plan is open.
    let named = |by: &'static str, who: i64| Event {
        run: "other_run",
        data: format!(r#"{{"person": {who}}}"#),
        ..Event::may("hands_named").by(by)
    };
    let of = |e: Event| Event { run: "other_run", ..e };
    app.told(of(Event::may("run_started"))).await;
    let id = |name| stage.house.id(name);
    for (event, said) in [
        (named("stylist", id("other_stylist")), "hands:not-a-manager"),
        (named("assistant", id("other_stylist")), "hands:not-a-manager"),
        (named("reception", id("other_stylist")), "person:role"),
        (named("manager", id("assistant")), "hands:not-qualified"),
        (named("manager", id("colourist")), "hands:not-qualified"),
        (named("manager", id("reception")), "hands:not-qualified"),
        (named("manager", id("leaver")), "hands:not-qualified"),
        (named("manager", other.id("stylist")), "hands:not-qualified"),
        (named("manager", 1), "hands:not-qualified"),
        (Event { data: "{}".into(), ..named("manager", 1) }, "hands:not-qualified"),
    ] {
        assert_eq!(words(app.tell(&event).await), said, "{event:?}");
    }
    let offer = |by, who: i64| {
        of(Event { data: format!(r#"{{"to": {who}}}"#), ..Event::may("handover_offered").by(by) })
    };
    assert_eq!(words(app.tell(&offer("other_stylist", id("manager"))).await), "handover:not-yours");
    assert_eq!(words(app.tell(&offer("stylist", other.id("stylist"))).await), "handover:nobody-here");
    app.told(offer("stylist", id("colourist"))).await;
    let take = |by| of(Event::may("handover_accepted").by(by));
    assert_eq!(words(app.tell(&take("colourist")).await), "person:not-qualified");
    app.told(offer("stylist", id("other_stylist"))).await;
    app.told(named("manager", id("other_stylist"))).await;
    assert_eq!(words(app.tell(&take("other_stylist")).await), "handover:not-offered", "naming ends an offer");
    // Whoever is named ends a stop; who began it does so no longer (the domain: `State::stylist`).
    app.told(of(Event::fact("stop_recorded", "{}"))).await;
    app.told(of(Event { data: r#"{"whole": true}"#.into(), ..Event::may("stop_read") })).await;
    let close = |by| of(Event { data: r#"{"reason": "fine"}"#.into(), ..Event::may("stop_closed").by(by) });
    assert_eq!(words(app.tell(&close("stylist")).await), "stop_closed:not-yours");
    app.told(close("other_stylist")).await;
}

#[tokio::test]
async fn after_a_stop_hair_is_closed_once_the_skin_was_read_unless_the_sheet_forbids_it() {
    let stage = Stage::ready().await;
    let (mut app, mut owner) = (stage.app().await, stage.owner().await);
    app.told(Event::start("apply")).await;
    for (point, value) in [("gloves", "vinyl-new-pair-intact"), ("eye-protection", "cotton-bib-towel")] {
        app.told(Event::sign(point, value, "holds", "neutralise")).await;
    }
    let read = |whole: bool| Event { data: format!(r#"{{"whole": {whole}}}"#), ..Event::may("stop_read") };
    let close = Event::start("neutralise");
    let ended = Event { data: r#"{"reason": "fine"}"#.into(), ..Event::may("stop_closed") };
    app.told(read(true)).await;
    app.told(Event::fact("stop_recorded", "{}")).await;
    assert_eq!(words(app.tell(&close).await), "stop:not-read", "read before the stop");
    app.told(read(false)).await;
    // trade-rules.md, first aid: water for 20 minutes at least; later, off the scalp, a stylist signs.
    assert_eq!(words(app.tell(&close).await), "stop:skin-not-whole");
    owner.must("update practice_clock set ahead = ahead + interval '20 minutes'").await;
    assert_eq!(words(app.tell(&close.clone().by("assistant")).await), "stop:skin-not-whole");
    // A stop is not ended with product on.
    app.told(read(true)).await;
    assert_eq!(words(app.tell(&ended).await), "rinse:missing");
    app.told(rinse("null")).await;
    owner.must("update product set sheet_forbids_closing_after_stop = true where salon_id = {s} and product_id = {product}").await;
    assert_eq!(words(app.tell(&close).await), "closing:forbidden-by-sheet");
    assert_eq!(words(app.tell(&close.clone().by("manager")).await), "closing:forbidden-by-sheet");
    // Without contact it happened all the same, and stands as a fact.
    app.told(Event { step: Some("neutralise"), ..Event::fact("closing_started", r#"{"answers": []}"#) })
        .await;
    // A product that never touched forbids nothing (the domain: `tests_after_stop`).
    owner.must("update product set sheet_forbids_closing_after_stop = (product_id = {lotion}) where salon_id = {s}").await;
    app.told(close).await;
}

#[tokio::test]
async fn a_second_complaint_is_a_stop_that_is_read_before_the_hair_is_closed() {
    let stage = Stage::ready().await;
    let mut app = stage.app().await;
    app.told(Event::start("apply")).await;
    for (point, value) in [("gloves", "vinyl-new-pair-intact"), ("eye-protection", "cotton-bib-towel")] {
        app.told(Event::sign(point, value, "holds", "neutralise")).await;
    }
    let sting = || Event::fact("sting_reported", r#"{"place": "nape"}"#);
    app.told(sting()).await;
    app.told(Event::start("neutralise")).await;
    app.told(sting()).await;
    assert_eq!(words(app.tell(&Event::start("neutralise")).await), "stop:not-read");
    app.told(Event { data: r#"{"whole": true}"#.into(), ..Event::may("stop_read") }).await;
    app.told(Event::start("neutralise")).await;
}
