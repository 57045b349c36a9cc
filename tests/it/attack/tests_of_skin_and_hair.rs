//! Patch test, strand test and consult: what was found before decides at the start, and is not written over.

use super::stage::{Attempt, Event, Hand, Stage};

/// The refusal's words when `arranged` by the owner; "" when the step starts.
async fn said(hand: &mut Hand, arranged: &str) -> String {
    let mut attempt = Attempt::begin(hand).await;
    attempt.owner(arranged).await;
    let app = attempt.app().await;
    app.told(Event::may("run_started")).await;
    app.dispense("lot").await;
    app.sign_all_but("").await;
    let answer = app.tell(&Event::start("apply")).await;
    attempt.end().await;
    answer.map_or_else(|no| no.words, |n| if n == 1 { String::new() } else { format!("{n} rows") })
}

async fn check(cases: &[(&str, &str, &str)]) {
    let stage = Stage::open().await;
    let mut hand = Hand::open(&stage.salon.database.superuser, stage.house).await;
    let mut wrong = Vec::new();
    for (name, arranged, expected) in cases {
        let words = said(&mut hand, arranged).await;
        if words != *expected {
            wrong.push(format!("{name}: said {words:?}, expected {expected:?}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[tokio::test]
async fn a_patch_test_of_this_product_was_placed_48_hours_ago_and_read_after() {
    // trade-rules.md, hold points: placed ≥ 48 h and read before; 6 months at most; void on a changed formula.
    check(&[
        ("as arranged", "", ""),
        ("none", "delete from skin_test where salon_id = {s}", "patch-test:not-held"),
        (
            "placed 47 hours ago",
            "update skin_test set placed_at = rinsebell_now() - interval '47 hours' where salon_id = {s}",
            "patch-test:not-held",
        ),
        (
            "unread",
            "update skin_test set read_at = null, read_by = null, outcome = null where salon_id = {s}",
            "patch-test:not-held",
        ),
        (
            "told by phone, never looked at",
            "update skin_test set read_at = null, read_by = null, outcome = null,
            told_outcome = 'no-reaction', told_at = rinsebell_now() where salon_id = {s}",
            "patch-test:not-held",
        ),
        (
            "read after one hour",
            "update skin_test set read_at = placed_at + interval '1 hour' where salon_id = {s}",
            "patch-test:not-held",
        ),
        (
            "too old",
            "update skin_test set placed_at = rinsebell_now() - interval '184 days' where salon_id = {s}",
            "patch-test:not-held",
        ),
        (
            "older than the salon allows",
            "update salon set patch_valid_days = 2 where salon_id = {s};;
            update skin_test set placed_at = rinsebell_now() - interval '4 days' where salon_id = {s}",
            "patch-test:not-held",
        ),
        (
            "of another product",
            "update skin_test set product_id = {lotion}, lot_id = {other_lot} where salon_id = {s}",
            "patch-test:not-held",
        ),
        (
            "of another formula",
            "update product set formula = 2 where salon_id = {s} and product_id = {product}",
            "patch-test:not-held",
        ),
        (
            "another client's",
            "update skin_test set client_id = {stranger} where salon_id = {s}",
            "patch-test:not-held",
        ),
        (
            "called not for skin by somebody",
            "update product set skin_test = 'none-by-sheet' where salon_id = {s};;
            delete from skin_test where salon_id = {s}",
            "patch-test:not-held",
        ),
    ])
    .await;
}

#[tokio::test]
async fn a_reaction_is_a_stop_whatever_came_later() {
    let other = "insert into skin_test (salon_id, client_id, product_id, lot_id, formula, place, placed_at, placed_by, read_at, read_by, outcome) values
        ({s}, {client}, {lotion}, {other_lot}, 1, 'behind-left-ear', rinsebell_now() - interval '20 days', {stylist}, rinsebell_now() - interval '17 days', {stylist}, 'blister')";
    check(&[
        ("read", "update skin_test set outcome = 'itching' where salon_id = {s}", "patch-test:reaction"),
        ("told by phone", "update skin_test set told_outcome = 'swelling' where salon_id = {s}", "patch-test:reaction"),
        // trade-rules.md, before the service: "any past reaction to the family: refuse, nobody may override".
        ("to another product of the family", other, "patch-test:reaction"),
        ("told in a consult", "update consult set reaction_families = '{thio}' where salon_id = {s}", "consult:past-reaction"),
        ("told in an old consult, not in the new one", "update consult set reaction_families = '{thio}' where salon_id = {s};;
            insert into consult (salon_id, client_id, taken_by, black_henna_reaction, black_henna, scalp, scratched_within_3_days, pregnant, medication,
              scalp_treatment, home_colour, silver_in_history)
            values ({s}, {client}, {stylist}, false, false, 'intact', false, false, false, false, 'never', false)", "consult:past-reaction"),
        ("to colour alone", "update consult set reaction_families = '{oxidative-colour}' where salon_id = {s}", ""),
    ])
    .await;
}

#[tokio::test]
async fn a_strand_test_of_this_product_passed_within_14_days_on_hair_untouched_since() {
    let put_on =
        "insert into strand_event (salon_id, client_id, seq, on_day, did, family, zone, known) values
        ({s}, {client}, 2, rinsebell_now()::date, 'apply', 'oxidative-colour', 'root-to-end', '{known}');;
        update plan set strand_seq = 2 where salon_id = {s} and plan_id = {plan}";
    check(&[
        ("none", "delete from hair_test where salon_id = {s}", "strand-test:not-held"),
        ("15 days old", "update hair_test set done_at = rinsebell_now() - interval '15 days' where salon_id = {s}", "strand-test:not-held"),
        ("failed", "update hair_test set gummy = true, passed = false where salon_id = {s}", "strand-test:not-held"),
        ("of a sound place", "update hair_test set place = 'sound-place' where salon_id = {s}", "strand-test:not-held"),
        ("of another product", "update hair_test set product_id = {lotion} where salon_id = {s}", "strand-test:not-held"),
        ("failed again since", "insert into hair_test (salon_id, client_id, kind, product_id, formula, place, minutes, curl_formed, wet_stretch, gummy, passed, done_by)
            values ({s}, {client}, 'strand', {product}, 1, 'sound-place', 15, true, 'breaks', false, false, {stylist})", "strand-test:not-held"),
        ("coloured here since", &put_on.replace("{known}", "recorded"), "strand-test:not-held"),
        ("coloured at home since, as told", &put_on.replace("{known}", "told"), "strand-test:not-held"),
        ("salt test failed", "insert into hair_test (salon_id, client_id, kind, place, minutes, salt_sign, passed, done_by)
            values ({s}, {client}, 'metallic-salt', 'worst-place', 30, 'heats-or-smells', false, {stylist})", "salt-test:failed"),
    ])
    .await;
}

#[tokio::test]
async fn what_was_read_or_told_of_a_patch_test_is_not_written_over() {
    let stage = Stage::open().await;
    let mut hand = Hand::open(&stage.salon.database.superuser, stage.house).await;
    let of = "where salon_id = {s} and skin_test_id = {skin_test}";
    let unread = format!("update skin_test set read_at = null, read_by = null, outcome = null {of}");
    let told = format!(
        "update skin_test set read_at = null, read_by = null, outcome = null, told_outcome = 'blister' {of}"
    );
    let young = format!(
        "update skin_test set placed_at = rinsebell_now() - interval '10 hours', read_at = null, read_by = null, outcome = null {of}"
    );
    let cases = [
        ("", format!("update skin_test set outcome = 'itching' {of}"), "RB005"),
        ("", format!("update skin_test set outcome = null, read_at = null, read_by = null {of}"), "RB005"),
        ("", format!("update skin_test set told_outcome = 'no-reaction' {of}"), "RB005"),
        ("", format!("update skin_test set told_outcome = 'rash-elsewhere' {of}"), ""),
        (&told, format!("update skin_test set told_outcome = 'no-reaction' {of}"), "RB005"),
        (&told, format!("update skin_test set told_outcome = null {of}"), "RB005"),
        (
            &unread,
            format!(
                "update skin_test set outcome = 'no-reaction', read_by = {{stylist}}, read_at = '2020-01-01' {of}"
            ),
            "",
        ),
        (
            &young,
            format!(
                "update skin_test set outcome = 'no-reaction', read_by = {{stylist}}, read_at = '2030-01-01' {of}"
            ),
            "RB005",
        ),
        (
            &young,
            format!(
                "update skin_test set outcome = 'redness', read_by = {{stylist}}, read_at = rinsebell_now() {of}"
            ),
            "",
        ),
        // Who took it off is said with it, and when is the database's.
        (&unread, format!("update skin_test set taken_off_at = rinsebell_now() {of}"), "23514"),
        (
            &unread,
            format!("update skin_test set taken_off_at = '2020-01-01', taken_off_by = {{stylist}} {of}"),
            "",
        ),
        (&unread, format!("update skin_test set taken_off_by = {{stylist}} {of}"), "23514"),
        (&unread, format!("update skin_test set lot_id = {{other_lot}} {of}"), "42501"),
        ("", format!("update skin_test set placed_at = '2020-01-01' {of}"), "42501"),
        ("", format!("update skin_test set formula = 7 {of}"), "42501"),
        ("", format!("delete from skin_test {of}"), "42501"),
        (
            "",
            "update product set formula = 0 where salon_id = {s} and product_id = {product}".to_string(),
            "RB005",
        ),
    ];
    for (arranged, sql, code) in cases {
        let mut attempt = Attempt::begin(&mut hand).await;
        attempt.owner(arranged).await;
        let done = attempt.app().await.run(&sql).await;
        attempt.end().await;
        assert_eq!(done.map_or_else(|no| no.code, |_| String::new()), code, "{sql}");
    }
}

#[tokio::test]
async fn instants_and_formula_of_a_test_are_the_databases_own() {
    let stage = Stage::open().await;
    let mut app = stage.app().await;
    app.must(
        "insert into skin_test (salon_id, client_id, product_id, lot_id, formula, place, placed_at, placed_by, read_at, read_by, outcome, told_outcome) values
         ({s}, {client}, {lotion}, {other_lot}, 9, 'behind-left-ear', '2020-01-01', {stylist}, '2020-01-05', {stylist}, 'no-reaction', 'no-reaction')",
    )
    .await;
    let forged = app
        .number("select count(*) from skin_test where salon_id = {s} and product_id = {lotion} and formula = 1 and read_at is null
            and outcome is null and told_outcome is null and placed_at > rinsebell_now() - interval '1 minute'")
        .await;
    assert_eq!(forged, 1);
    app.must(
        "insert into hair_test (salon_id, client_id, kind, product_id, formula, place, minutes, curl_formed, wet_stretch, gummy, passed, done_at, done_by)
         values ({s}, {stranger}, 'strand', {product}, 9, 'worst-place', 15, true, 'returns', false, true, '2030-01-01', {stylist})",
    )
    .await;
    let now = app
        .number(
            "select count(*) from hair_test where salon_id = {s} and client_id = {stranger} and formula = 1
            and done_at between rinsebell_now() - interval '1 minute' and rinsebell_now()",
        )
        .await;
    assert_eq!(now, 1);
    for forged in [
        "consent (salon_id, client_id, words, signed_name, signer, witnessed_by, signed_at) values
            ({s}, {stranger}, 'w', 'n', 'client', {stylist}, '2030-01-01')",
        "hair_reading (salon_id, client_id, place, taken_by, texture, taken_at)
            values ({s}, {stranger}, 'nape', {stylist}, 'fine', '2030-01-01')",
    ] {
        app.must(&format!("insert into {forged}")).await;
    }
    let late = app.number("select (select count(*) from consent where signed_at > '2029-01-01') + (select count(*) from hair_reading where taken_at > '2029-01-01')").await;
    assert_eq!(late, 0);
    let lye = app
        .run(
            "insert into skin_test (salon_id, client_id, product_id, lot_id, formula, place, placed_by)
            values ({s}, {client}, {relaxer}, {lot}, 1, 'behind-left-ear', {stylist})",
        )
        .await;
    // trade-rules.md: hydroxide, guanidine, lightener are never left on skin.
    assert_eq!(lye.expect_err("never on skin").code, "RB005");
    let mixed = app
        .run(
            "insert into skin_test (salon_id, client_id, product_id, lot_id, formula, place, placed_by)
            values ({s}, {client}, {product}, {other_lot}, 1, 'behind-left-ear', {stylist})",
        )
        .await;
    assert_eq!(mixed.expect_err("another product's lot").code, "23503");
}
