//! What the database itself asks of lots: at the bowl, at the start of a step, on skin; and of a mixture of two.

use super::stage::{Attempt, Event, Hand, Stage};

/// What stands against a lot, arranged as the owner; and the database's words.
const UNFIT: [(&str, &str); 6] = [
    ("best_before = '2020-01-01'", "lot:out-of-date"),
    ("opened_on = '2026-01-01', opened_life_days = 30", "lot:open-too-long"),
    ("withdrawn_at = rinsebell_now()", "lot:out-of-use"),
    ("quarantined = true, quarantine_reason = 'asked about'", "lot:quarantined"),
    ("quarantined = true, quarantine_reason = 'over', law_verdict = 'outside'", "lot:quarantined"),
    ("best_before = '2999-01-01', opened_on = '2026-01-01', opened_life_days = 2000", ""),
];

fn words<T>(done: Result<T, super::stage::No>) -> String {
    done.map_or_else(|no| no.words, |_| String::new())
}

#[tokio::test]
async fn a_lot_is_fit_at_the_bowl_at_the_start_and_on_skin() {
    let stage = Stage::open().await;
    let mut hand = Hand::open(&stage.salon.database.superuser, stage.house).await;
    let bowl = format!("{{\"application\": \"A\", \"lot_id\": {}, \"grams\": 40}}", stage.house.id("lot"));
    let dispense = || Event { data: bowl.clone(), ..Event::may("lot_dispensed") };
    for (change, expected) in UNFIT {
        let arranged = format!("update lot set {change} where salon_id = {{s}} and lot_id = {{lot}}");
        let mut attempt = Attempt::begin(&mut hand).await;
        attempt.owner(&arranged).await;
        let app = attempt.app().await;
        app.told(Event::may("run_started")).await;
        let said = words(app.tell(&dispense()).await);
        attempt.end().await;
        assert_eq!(said, expected, "at the bowl: {change}");
        // In the bowl already, when it turned out so.
        let mut attempt = Attempt::begin(&mut hand).await;
        let app = attempt.app().await;
        app.told(Event::may("run_started")).await;
        app.told(dispense()).await;
        app.sign_all_but("").await;
        attempt.owner(&arranged).await;
        let said = words(attempt.app().await.tell(&Event::start("apply")).await);
        attempt.end().await;
        assert_eq!(said.is_empty(), expected.is_empty(), "at the start: {change}: {said}");
        assert!(said.is_empty() || said == "lot:not-held" || said == expected, "{change}: {said}");
        let mut attempt = Attempt::begin(&mut hand).await;
        attempt.owner(&arranged).await;
        let skin =
            "insert into skin_test (salon_id, client_id, product_id, lot_id, formula, place, placed_by)
            values ({s}, {stranger}, {product}, {lot}, 1, 'left-inner-elbow', {stylist})";
        let said = words(attempt.app().await.run(skin).await);
        attempt.end().await;
        assert_eq!(said, expected, "on skin: {change}");
        let mut attempt = Attempt::begin(&mut hand).await;
        attempt.owner(&arranged).await;
        let strand = "insert into hair_test (salon_id, client_id, kind, product_id, lot_id, formula, place, minutes, curl_formed, wet_stretch,
              gummy, passed, done_by)
            values ({s}, {stranger}, 'strand', {product}, {lot}, 1, 'worst-place', 15, true, 'returns', false, true, {stylist})";
        let said = words(attempt.app().await.run(strand).await);
        attempt.end().await;
        assert_eq!(said, expected, "on a strand: {change}");
    }
}

#[tokio::test]
async fn a_lot_of_another_product_goes_into_no_bowl() {
    let stage = Stage::open().await;
    let mut app = stage.app().await;
    app.told(Event::may("run_started")).await;
    for (lot, letter) in [("other_lot", "A"), ("lot", "B"), ("product", "A")] {
        let data =
            format!("{{\"application\": \"{letter}\", \"lot_id\": {}, \"grams\": 40}}", stage.house.id(lot));
        let told = app.tell(&Event { data, ..Event::may("lot_dispensed") }).await;
        assert_eq!(words(told), "lot:other-product", "{lot} for {letter}");
    }
}

#[tokio::test]
async fn a_mixture_takes_a_lot_of_each_part_and_dies_at_its_minutes() {
    let stage = Stage::open().await;
    let (mut owner, mut app) = (stage.owner().await, stage.app().await);
    // The straightener is mixed with what the lotion's lot holds, and lives ten minutes by its sheet.
    owner
        .must(
            "update run_step set needs = needs || '{mixed}', mixed_with = array[{lotion}], mixed_life_min = 10
            where salon_id = {s} and run_id = {run} and chemical = 'opening'",
        )
        .await;
    let later = "update practice_clock set ahead = ahead + interval '11 minutes'";
    let mixed = || Event::sign("mixed", "now-for-this-head", "holds", "apply");
    app.told(Event::may("run_started")).await;
    app.dispense("lot").await;
    app.sign_all_but("").await;
    assert_eq!(words(app.tell(&mixed()).await), "lot:part-not-held", "no activator in the bowl");
    app.dispense("other_lot").await;
    assert_eq!(words(app.tell(&Event::start("apply")).await), "mixed:missing");
    app.told(mixed()).await;
    owner.must("update lot set quarantined = true, quarantine_reason = 'asked' where salon_id = {s} and lot_id = {other_lot}").await;
    assert_eq!(
        words(app.tell(&Event::start("apply")).await),
        "lot:quarantined",
        "its other part stands apart"
    );
    owner.must("update lot set quarantined = false, quarantine_reason = null where salon_id = {s} and lot_id = {other_lot}").await;
    owner.must(later).await;
    assert_eq!(words(app.tell(&Event::start("apply")).await), "mixed:stale");
    assert_eq!(words(app.tell(&mixed()).await), "mixed:stale", "saying so again makes it no younger");
    app.dispense("lot").await;
    assert_eq!(words(app.tell(&mixed()).await), "mixed:stale", "nor does more of one part");
    app.dispense("other_lot").await;
    assert_eq!(words(app.tell(&Event::start("apply")).await), "mixed:missing", "the answer spoke of another");
    app.told(mixed()).await;
    app.told(Event::start("apply")).await;
    owner.must(later).await;
    app.told(Event::sign("gloves", "nitrile-new-pair-intact", "holds", "smooth")).await;
    assert_eq!(words(app.tell(&Event::start("smooth")).await), "mixed:stale", "nor in a later step of it");
}

#[tokio::test]
async fn what_is_mixed_with_what_is_frozen_by_the_database_and_stays_on_record() {
    let stage = Stage::open().await;
    let (mut owner, mut app) = (stage.owner().await, stage.app().await);
    app.must(
        "insert into product_part (salon_id, product_id, part_product_id) values ({s}, {product}, {lotion})",
    )
    .await;
    app.must("update product set mixed_life_min = 25 where salon_id = {s} and product_id = {product}").await;
    // Whatever a step's own row claims.
    owner
        .must(
            "insert into run_step (salon_id, run_id, step_no, code, chemical, chemistry, application, product_id, needs, mixed_with, mixed_life_min)
            values ({s}, {run}, 9, 'more', 'opening', 'thio', 'A', {product}, '{gloves,scalp,patch-test,plan,consent,lot,mixed}', '{}', 240)",
        )
        .await;
    let frozen = "select count(*) from run_step where salon_id = {s} and code = 'more' and mixed_with = array[{lotion}::bigint] and mixed_life_min = 25";
    assert_eq!(app.number(frozen).await, 1);
    assert_eq!(
        app.run("delete from product_part where salon_id = {s}").await.expect_err("kept").code,
        "42501"
    );
    let itself =
        "insert into product_part (salon_id, product_id, part_product_id) values ({s}, {product}, {product})";
    assert_eq!(app.run(itself).await.expect_err("with itself").words, "product_part_other");
}
