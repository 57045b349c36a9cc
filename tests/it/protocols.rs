//! The service library cannot be made unsafe: every line of every shipped protocol dropped or weakened is refused,
//! by the domain and by the database, or is harmless for a listed reason.

use std::collections::BTreeMap;

use rinsebell::reference::{Reference, floor, protocol_document, protocols};
use sqlx::Row as _;

use crate::mutations::{Mutation, harmless, mutations, only_the_domain_sees};
use crate::support::bare::{bare_run, words};
use crate::support::{Salon, Stage};

fn of_all() -> impl Iterator<Item = (&'static str, &'static str, Mutation)> {
    Reference::protocol_texts()
        .flat_map(|(name, text)| mutations(text).into_iter().map(move |m| (name, text, m)))
}

#[test]
fn every_line_dropped_or_weakened_is_refused_or_harmless_for_a_listed_reason() {
    let mut unlisted = Vec::new();
    let mut reasons: BTreeMap<&str, usize> = BTreeMap::new();
    let (mut all, mut refused) = (0, 0);
    let mut lines = BTreeMap::new();
    for (name, _, m) in of_all() {
        all += 1;
        *lines.entry((name, m.line)).or_insert(0) += 1;
        if protocols::parse(name, &m.text).is_err() {
            refused += 1;
        } else if let Some(reason) = harmless(&m.what) {
            *reasons.entry(reason).or_default() += 1;
        } else {
            unlisted.push(format!("{name}:{}: {}", m.line, m.what));
        }
    }
    println!("{} lines, {all} mutations, {refused} refused, {} harmless:", lines.len(), all - refused);
    for (reason, count) in &reasons {
        println!("{count:5} {reason}");
    }
    assert!(unlisted.is_empty(), "{} accepted without a reason:\n{}", unlisted.len(), unlisted.join("\n"));
    // Every line that says something was tried.
    for (name, text) in Reference::protocol_texts() {
        for (i, line) in text.lines().enumerate() {
            let says = !line.trim().is_empty() && !line.starts_with('#') && line.trim() != "]";
            assert!(!says || lines.contains_key(&(name, i + 1)), "{name}:{}: not tried: {line}", i + 1);
        }
    }
}

#[tokio::test]
async fn what_the_domain_refuses_the_database_refuses_too() {
    let salon = Salon::open().await;
    let mut told: BTreeMap<String, usize> = BTreeMap::new();
    let mut cases: Vec<(String, serde_json::Value)> = Vec::new();
    for (name, _, m) in of_all() {
        // The figures of the book are held alike in every protocol: one shows it.
        let of_book = [".minutes.", ".hands.count", ".places"].iter().any(|f| m.what.contains(f));
        if of_book && !name.ends_with("curl-retouch.toml") {
            continue;
        }
        let Ok(read) = protocols::read(name, &m.text) else { continue };
        if protocols::parse(name, &m.text).is_err() {
            cases.push((format!("{name}:{}: {}", m.line, m.what), protocol_document::of(&read)));
        }
    }
    let mut passed = Vec::new();
    for chunk in cases.chunks(100) {
        let documents: Vec<_> = chunk.iter().map(|(_, d)| sqlx::types::Json(d)).collect();
        let rows = sqlx::query(
            "select i, (select count(*) from rinsebell_protocol_faults(d)) from unnest($1::jsonb[]) with ordinality x(d, i) order by i",
        )
        .bind(documents)
        .fetch_all(&salon.owner)
        .await
        .expect("the database judges every document");
        for (row, (what, _)) in rows.iter().zip(chunk) {
            if row.get::<i64, _>(1) > 0 {
                continue;
            }
            match only_the_domain_sees(what) {
                Some(reason) => *told.entry(reason.to_owned()).or_default() += 1,
                None => passed.push(what.clone()),
            }
        }
    }
    println!("{} refused by the domain, only there: {told:?}", cases.len());
    assert!(passed.is_empty(), "{} pass the database:\n{}", passed.len(), passed.join("\n"));
}

#[tokio::test]
async fn shipped_protocols_pass_the_database_and_a_weaker_copy_is_not_saved() {
    let salon = Salon::open().await;
    let mut s = salon.app.begin(salon.id).await.expect("a transaction");
    rinsebell::flow::protocols::publish_shipped(&mut s).await.expect("all of them are published");
    s.commit().await.expect("saved");
    let kept: i64 = sqlx::query_scalar("select count(*) from protocol_revision where document is not null")
        .fetch_one(&salon.owner)
        .await
        .expect("counted");
    assert_eq!(kept as usize, Reference::shipped().protocols.len());
    for (path, value, why) in [
        ("{steps,7,needs}", "[\"scalp\"]", "opening-gloves"),
        ("{steps,7,exposure}", "{\"most\": 90, \"source\": \"CP\"}", "straightener-sheet"),
        ("{applications,0,zone}", "\"root-to-end\"", "retouch-new-growth"),
        ("{stop_words}", "[\"Rinse.\"]", "stop-skin"),
    ] {
        let mut s = salon.app.begin(salon.id).await.expect("a transaction");
        let no = sqlx::query(
            "insert into protocol_revision (salon_id, protocol, revision, title, chemistry, body, fingerprint, document)
             select salon_id, protocol, 99, title, chemistry, body, fingerprint,
               jsonb_set(jsonb_set(document, '{revision}', '99'), $2::text[], $3::jsonb)
             from protocol_revision where salon_id = $1 and protocol = 'curl-retouch'",
        )
        .bind(salon.id.0)
        .bind(path)
        .bind(value)
        .execute(&mut *s.tx)
        .await
        .expect_err(path);
        let no = no.as_database_error().expect("refused by the database");
        assert_eq!(no.code().as_deref(), Some("RB008"), "{path}: {no}");
        assert!(no.message().contains(why), "{path}: {no}");
    }
    let mut s = salon.app.begin(salon.id).await.expect("a transaction");
    let no = sqlx::query(
        "insert into protocol_revision (salon_id, protocol, revision, title, chemistry, body, fingerprint)
         select salon_id, protocol, 99, title, chemistry, body, fingerprint from protocol_revision where salon_id = $1 limit 1",
    )
    .bind(salon.id.0)
    .execute(&mut *s.tx)
    .await
    .expect_err("no document");
    assert_eq!(no.as_database_error().and_then(|e| e.code()).as_deref(), Some("RB008"));
}

#[tokio::test]
async fn the_database_keeps_the_very_rows_of_the_shared_table() {
    let salon = Salon::open().await;
    let kept: serde_json::Value =
        sqlx::query_scalar("select rinsebell_floor()").fetch_one(&salon.owner).await.expect("the floor");
    assert_eq!(kept, protocol_document::of_floor(floor::shipped()));
}

/// What the database says of a shipped document with one value changed; every fault.
async fn faults(salon: &Salon, code: &str, path: &str, value: &str) -> Vec<String> {
    let (_, text) = Reference::protocol_texts()
        .find(|(name, _)| *name == format!("protocols/{code}.toml"))
        .expect("shipped");
    let document = protocol_document::of(&protocols::read(code, text).expect("it is read"));
    sqlx::query_scalar(
        "select f from rinsebell_protocol_faults(jsonb_set($1, $2::text[], $3::jsonb, true)) f",
    )
    .bind(sqlx::types::Json(document))
    .bind(path)
    .bind(value)
    .fetch_all(&salon.owner)
    .await
    .expect("judged, never an error")
}

/// The place of a step in a shipped protocol, from 0.
fn place(code: &str, step: &str) -> usize {
    let p = Reference::shipped().protocol(code).expect("shipped");
    p.steps.iter().position(|s| s.code.as_str() == step).expect("a step")
}

#[tokio::test]
async fn what_is_watched_is_watched_early_and_by_the_first_look() {
    let salon = Salon::open().await;
    let (apply, process) = (place("lightener-regrowth", "apply"), place("lightener-regrowth", "process"));
    // trade-rules.md: "lightener watched every few minutes" (common practice, no source).
    for (at, look, why) in [
        (apply, r#"{"what": "lift", "every": 4, "from": 6}"#, Some("lightener-watched")),
        (apply, r#"{"what": "lift", "every": 6, "from": 5}"#, Some("lightener-watched")),
        (apply, r#"{"what": "colour", "every": 4, "from": null}"#, Some("lightener-watched")),
        (process, r#"{"what": "lift", "every": 30, "from": null}"#, Some("lightener-watched")),
        (apply, r#"{"what": "lift", "every": 4, "from": 5}"#, None),
        (apply, "null", None),
    ] {
        let path = format!("{{steps,{at},look}}");
        let said = faults(&salon, "lightener-regrowth", &path, look).await;
        match why {
            Some(why) => assert!(said.iter().any(|f| f.contains(why)), "{look}: {said:?}"),
            None => assert!(said.is_empty(), "{look}: {said:?}"),
        }
    }
    // The domain says the same of the same changes, in its own words.
    let (name, text) =
        Reference::protocol_texts().find(|(n, _)| n.contains("lightener-regrowth")).expect("shipped");
    let every = r#"look = { what = "lift", every_min = 4, mark = "CP" }"#;
    for (change, fine) in [
        (r#"look = { what = "lift", every_min = 4, from_min = 6, mark = "CP" }"#, false),
        (r#"look = { what = "lift", every_min = 6, from_min = 5, mark = "CP" }"#, false),
        (r#"look = { what = "colour", every_min = 4, mark = "CP" }"#, false),
        (r#"look = { what = "lift", every_min = 4, from_min = 5, mark = "CP" }"#, true),
    ] {
        assert_eq!(protocols::parse(name, &text.replacen(every, change, 1)).is_ok(), fine, "{change}");
    }
    let later = text.replacen(every, "look = X", 2).replacen("look = X", every, 1);
    let later = later.replacen("look = X", r#"look = { what = "lift", every_min = 30, mark = "CP" }"#, 1);
    assert!(protocols::parse(name, &later).is_err(), "a rarer look in another step");
}

#[tokio::test]
async fn the_sections_are_one_parting_here_as_there_and_figures_are_numbers() {
    let salon = Salon::open().await;
    let apply = place("lightener-regrowth", "apply");
    for (path, value, why) in [
        (
            "{sections}",
            r#"["back-right","back-left","front-left","front-right","centre-nape","hairline"]"#,
            "sections-two-partings",
        ),
        ("{sections}", r#"["hairline"]"#, "sections-edge-alone"),
        ("{sections}", r#"["back-right","back-left","front-left","front-right","nose"]"#, "sections-unknown"),
        ("{sections}", r#"["back-right","back-left","front-left","hairline"]"#, "quadrant-left-out"),
        (
            "{sections}",
            r#"["back-right","back-left","front-left","front-right","hairline","hairline"]"#,
            "sections-twice",
        ),
        (
            "{steps,APPLY,sections}",
            r#"["back-right","back-left","front-left","front-right","hairline","hairline"]"#,
            "sections-twice",
        ),
        ("{steps,APPLY,sections}", r#"["back-right","centre-nape","hairline"]"#, "sections"),
        // The document is JSON: other ways to write a number are no numbers, and no error either.
        ("{steps,APPLY,look,every}", r#""0x4""#, "figure look.every"),
        ("{steps,APPLY,look,every}", r#""4""#, "figure look.every"),
        ("{steps,APPLY,look,every}", "4.5", "figure look.every"),
        ("{steps,APPLY,look,from}", "-1", "figure look.from"),
        ("{steps,APPLY,typical}", r#""1_0""#, "figure typical"),
        ("{steps,APPLY,exposure}", r#"{"most": "1e9", "source": "CP"}"#, "figure exposure.most"),
    ] {
        let path = path.replace("APPLY", &apply.to_string());
        let said = faults(&salon, "lightener-regrowth", &path, value).await;
        assert!(said.iter().any(|f| f.contains(why)), "{path} {value}: {said:?}");
    }
    assert_eq!(faults(&salon, "lightener-regrowth", "{steps,0,typical}", "1e1").await, [""; 0], "1e1 is ten");
    // A file may write its minutes in any way that TOML knows: the document holds the minutes.
    let (name, text) =
        Reference::protocol_texts().find(|(n, _)| n.contains("lightener-regrowth")).expect("shipped");
    let odd = text.replacen("every_min = 4", "every_min = 0x4", 1);
    let read = protocols::parse(name, &odd).expect("hexadecimal minutes are minutes");
    let plain = protocols::parse(name, text).expect("shipped");
    assert_eq!(protocol_document::of(&read), protocol_document::of(&plain));
    let beyond = text.replacen("every_min = 4", "every_min = 0b1_0000", 1);
    assert!(protocols::parse(name, &beyond).is_err(), "sixteen is too rare however it is written");
}

/// One step of a bare run, and its start: what the database says.
async fn by_hand(salon: &Salon, stage: &Stage, needs: &str, most: &str) -> Result<(), String> {
    let (mut s, run) = bare_run(salon, stage, needs, most).await?;
    sqlx::query(
        "insert into run_event (salon_id, run_id, seq, by, kind, data)
         select salon_id, run_id, 1, started_by, 'run_started', '{}' from run where salon_id = $1 and run_id = $2",
    )
    .bind(salon.id.0)
    .bind(run)
    .execute(&mut *s.tx)
    .await
    .map_err(words)?;
    Ok(())
}

#[tokio::test]
async fn a_run_freezes_no_step_weaker_than_its_revision_and_leaves_none_out() {
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    for (needs, most, why) in [
        ("array_remove(needs, 'strand-test')", "42", "step:needs-less"),
        ("array_remove(needs, 'barrier')", "42", "step:needs-less"),
        ("array_remove(needs, 'hair-dry')", "42", "step:needs-less"),
        ("needs", "null", "step:times-weaker"),
        ("needs", "42", "steps:left-out"),
    ] {
        let said = by_hand(&salon, &stage, needs, most).await;
        assert_eq!(said, Err(why.to_owned()), "{needs} {most}");
    }
    salon.start_run(stage.plan, salon.staff.stylist).await.expect("whole, it starts");
}
