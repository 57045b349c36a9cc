//! An opening step starts when everything holds at that instant, and for no other reason.

use super::stage::{Attempt, Event, Hand, SIGNED, Stage};

/// One try: what the owner arranges before the sign-offs, which sign-off is left out, what happens after them,
/// who starts, and what the database says.
pub struct Try {
    pub name: &'static str,
    pub before: &'static str,
    pub left_out: &'static str,
    pub after: &'static str,
    pub lot: &'static str,
    pub told: Vec<Event>,
    /// Once that was told, by the owner; and what is told after it.
    pub then: &'static str,
    pub more: Vec<Event>,
    pub step: &'static str,
    pub by: &'static str,
    pub no: &'static str,
}

pub fn attempt(name: &'static str, no: &'static str) -> Try {
    let (told, more) = (Vec::new(), Vec::new());
    Try {
        name,
        before: "",
        left_out: "",
        after: "",
        lot: "lot",
        told,
        then: "",
        more,
        step: "apply",
        by: "stylist",
        no,
    }
}

/// Runs one try in a transaction of its own; the refusal's words, or "" when the step started.
async fn outcome(hand: &mut Hand, t: &Try) -> String {
    let mut attempt = Attempt::begin(hand).await;
    attempt.owner(t.before).await;
    let app = attempt.app().await;
    app.told(Event::may("run_started")).await;
    if !t.lot.is_empty() {
        app.dispense(t.lot).await;
    }
    app.sign_all_but(t.left_out).await;
    attempt.owner(t.after).await;
    let app = attempt.app().await;
    for event in &t.told {
        app.told(event.clone()).await;
    }
    attempt.owner(t.then).await;
    let app = attempt.app().await;
    for event in &t.more {
        app.told(event.clone()).await;
    }
    let said = match app.tell(&Event::start(t.step).by(t.by)).await {
        Ok(1) => String::new(),
        Ok(n) => format!("{n} rows"),
        Err(no) => {
            assert_eq!(no.code, "RB001", "{}: {no:?}", t.name);
            no.words
        }
    };
    attempt.end().await;
    said
}

pub async fn check(tries: Vec<Try>) {
    let stage = Stage::open().await;
    let mut hand = Hand::open(&stage.salon.database.superuser, stage.house).await;
    let mut wrong = Vec::new();
    for t in &tries {
        let said = outcome(&mut hand, t).await;
        if said != t.no {
            wrong.push(format!("{}: said {said:?}, expected {:?}", t.name, t.no));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[tokio::test]
async fn with_everything_held_the_step_starts() {
    check(vec![
        attempt("all holds", ""),
        Try { by: "manager", ..attempt("a qualified manager", "") },
        Try { by: "other_stylist", ..attempt("another qualified stylist", "") },
        // trade-rules.md, hold points: scalp 90 min.
        Try {
            after: "update practice_clock set ahead = ahead + interval '89 minutes'",
            ..attempt("scalp 89 minutes old", "")
        },
    ])
    .await;
}

#[tokio::test]
async fn each_hold_point_left_out_is_refused() {
    let words = |point: &str| -> &'static str { format!("{point}:missing").leak() };
    check(SIGNED.iter().map(|(point, _)| Try { left_out: point, ..attempt(point, words(point)) }).collect())
        .await;
}

#[tokio::test]
async fn a_failed_hold_point_is_refused_and_scalp_and_itching_for_good() {
    let fails = |point: &'static str, value| Event::sign(point, value, "fails", "apply");
    let holds = |point: &'static str, value| Event::sign(point, value, "holds", "apply");
    check(vec![
        Try { told: vec![fails("gloves", "torn")], ..attempt("gloves torn", "gloves:failed") },
        Try {
            told: vec![fails("gloves", "torn"), holds("gloves", "vinyl-new-pair-intact")],
            ..attempt("torn, then a new pair", "")
        },
        Try { told: vec![fails("scalp", "red")], ..attempt("scalp red", "scalp:failed") },
        // "A failed scalp check or a positive patch test cannot be overridden by anybody."
        Try {
            told: vec![fails("scalp", "broken"), holds("scalp", "intact")],
            ..attempt("scalp broken, then intact", "scalp:failed")
        },
        Try {
            told: vec![fails("patch-test", "reaction-since"), holds("patch-test", "no-reaction-since")],
            ..attempt("itching since, then not", "patch-test:reaction")
        },
    ])
    .await;
}

#[tokio::test]
async fn a_stale_misplaced_or_borrowed_sign_off_is_refused() {
    check(vec![
        Try {
            after: "update practice_clock set ahead = ahead + interval '91 minutes'",
            ..attempt("scalp 91 minutes old", "scalp:stale")
        },
        Try {
            left_out: "gloves",
            told: vec![Event::sign("gloves", "nitrile-new-pair-intact", "holds", "smooth")],
            ..attempt("gloves signed for another step", "gloves:missing")
        },
        Try {
            left_out: "scalp",
            told: vec![
                Event { run: "other_run", ..Event::may("run_started") },
                Event { run: "other_run", ..Event::sign("scalp", "intact", "holds", "apply") },
            ],
            ..attempt("scalp signed in another run", "scalp:missing")
        },
        Try {
            told: vec![Event::fact("sting_reported", r#"{"place": "nape"}"#)],
            ..attempt("it stings", "scalp:stale")
        },
        Try {
            told: vec![Event {
                step: Some("apply"),
                ..Event::fact("bell_answered", r#"{"comfort": "stings", "place": "nape"}"#)
            }],
            ..attempt("it stings, said to a bell", "scalp:stale")
        },
        Try {
            told: vec![
                Event::fact("sting_reported", r#"{"place": "nape"}"#),
                Event::sign("scalp", "intact", "holds", "apply"),
                Event::fact("sting_reported", r#"{"place": "crown"}"#),
                Event::sign("scalp", "intact", "holds", "apply"),
            ],
            // 2-domain.md: "a second complaint or broken skin is stop and rinse".
            ..attempt("it stings a second time", "run:stopped")
        },
        Try { told: vec![Event::start("apply")], ..attempt("started a second time", "step:started-before") },
    ])
    .await;
}

fn stopped_and_closed(by: &'static str) -> Vec<Event> {
    let mut told = vec![
        Event::fact("stop_recorded", "{}"),
        Event { data: r#"{"whole": true}"#.into(), ..Event::may("stop_read") },
        Event { data: r#"{"reason": "was a mistake"}"#.into(), ..Event::may("stop_closed").by(by) },
    ];
    told[0].by = None;
    told
}

#[tokio::test]
async fn after_a_stop_nothing_new_goes_on_until_it_is_closed_with_fresh_hold_points() {
    let mut fresh = stopped_and_closed("manager");
    let again = SIGNED.iter().filter(|(p, _)| !["consent", "plan"].contains(p));
    fresh.extend(again.map(|(point, value)| Event::sign(point, value, "holds", "apply")));
    let mut closing = fresh.clone();
    closing.insert(1, Event { step: Some("neutralise"), ..Event::fact("closing_started", "{}") });
    check(vec![
        Try {
            told: closing,
            ..attempt("closed, signed anew, and the hair neutralised", "step:closing-begun")
        },
        Try { told: vec![Event::fact("stop_recorded", "{}")], ..attempt("stopped", "run:stopped") },
        Try {
            told: stopped_and_closed("stylist"),
            ..attempt("closed, old sign-offs", "gloves:before-stop-closed")
        },
        Try { told: fresh, ..attempt("closed, everything signed anew", "") },
    ])
    .await;
}

#[tokio::test]
async fn only_somebody_qualified_who_is_here_starts() {
    check(vec![
        Try { by: "assistant", ..attempt("an assistant, qualified on paper", "person:not-qualified") },
        Try { by: "colourist", ..attempt("qualified in colour alone", "person:not-qualified") },
        Try { by: "leaver", ..attempt("somebody who left", "person:not-here") },
        Try { by: "reception", ..attempt("reception", "person:role") },
        Try {
            after: "update person set disabled_at = rinsebell_now() where salon_id = {s} and person_id = {other_stylist}",
            by: "other_stylist",
            ..attempt("somebody whose PIN is disabled", "person:not-here")
        },
        Try {
            after: "delete from qualification where salon_id = {s} and person_id = {stylist}",
            ..attempt("the qualification was taken back", "person:not-qualified")
        },
    ])
    .await;
}

#[tokio::test]
async fn consent_and_age_hold_at_the_start() {
    let born = |years: u32| -> &'static str {
        format!("update client set born_on = (rinsebell_now() - interval '{years} years 1 month')::date where salon_id = {{s}} and client_id = {{client}}").leak()
    };
    let guardian = "insert into consent (salon_id, client_id, words, signed_name, signer, witnessed_by)
        values ({s}, {client}, 'Read with both.', 'Ada Vane', 'guardian', {stylist})";
    check(vec![
        Try { after: "delete from consent where salon_id = {s}", ..attempt("no consent", "consent:missing") },
        Try {
            after: "update consent set signed_at = rinsebell_now() - interval '13 hours' where salon_id = {s}",
            ..attempt("consent of an earlier visit", "consent:missing")
        },
        // trade-rules.md, before the service: lowest age 16 unless set; under 18 a guardian signs.
        Try { after: born(15), ..attempt("fifteen", "client:too-young") },
        Try { after: born(17), ..attempt("seventeen, alone", "consent:guardian-missing") },
        Try { before: born(17), after: guardian, ..attempt("seventeen with a guardian's signature", "") },
    ])
    .await;
}

#[tokio::test]
async fn the_plan_is_todays_and_clear() {
    check(vec![
        Try {
            after: "update plan set verdict = 'refuse' where salon_id = {s}",
            ..attempt("refused", "plan:not-clear")
        },
        Try {
            after: "update plan set verdict = 'wait' where salon_id = {s}",
            ..attempt("waiting", "plan:not-clear")
        },
        Try {
            after:
                "insert into strand_event (salon_id, client_id, seq, on_day, did, family, zone, known) values
                ({s}, {client}, 2, '2020-01-01', 'apply', 'plant-colour', 'root-to-end', 'told')",
            ..attempt("something told since", "plan:stale")
        },
        Try {
            after: "update plan set as_of = '2999-01-01' where salon_id = {s}",
            ..attempt("reckoned for a later day", "plan:not-today")
        },
    ])
    .await;
}

#[tokio::test]
async fn the_lot_is_dispensed_in_date_and_the_products_own() {
    check(vec![
        Try { lot: "", ..attempt("nothing dispensed", "lot:not-held") },
        Try {
            after: "update lot set best_before = '2020-01-01' where salon_id = {s}",
            ..attempt("out of date", "lot:not-held")
        },
        Try {
            after: "update lot set opened_on = '2026-01-01', opened_life_days = 30 where salon_id = {s};;
                update practice_clock set ahead = ahead",
            ..attempt("opened too long ago", "lot:not-held")
        },
        Try {
            after: "update lot set withdrawn_at = rinsebell_now() where salon_id = {s}",
            ..attempt("withdrawn", "lot:not-held")
        },
    ])
    .await;
}
