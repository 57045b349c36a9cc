//! The consult and the consent, read and signed in the chair.

use crate::chair::{consult, count, new_client, send, take, with};
use crate::support::{Browser, Salon};

const PIXEL: &str = "data:image/png;base64,iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mP8/5+hHgAHggJ/PchI7wAAAABJRU5ErkJggg==";

async fn chair(salon: &Salon) -> Browser {
    salon.seat("Chair 1", "chair", salon.staff.stylist).await
}

#[tokio::test]
async fn a_clean_consult_begins_a_bare_strand_and_brings_nothing() {
    let salon = Salon::open().await;
    let mut chair = chair(&salon).await;
    let id = new_client(&mut chair, "Nerys Amblin", "1990-05-14").await;
    let kept = take(&mut chair, id, &consult()).await;
    assert_eq!(kept.status, 303, "{}", kept.body);
    let page = chair.get(&kept.location).await;
    assert!(page.body.contains("The consult brings nothing against it"), "{}", page.body);
    let strand: (f64, i64) = sqlx::query_as(
        "select length_mm, (select count(*) from strand_event e where e.client_id = s.client_id) from strand s where client_id = $1",
    )
    .bind(id)
    .fetch_one(&salon.owner)
    .await
    .unwrap();
    assert_eq!(strand, (200.0, 0));
}

#[tokio::test]
async fn every_question_is_asked_and_what_was_typed_stays() {
    let salon = Salon::open().await;
    let mut chair = chair(&salon).await;
    let id = new_client(&mut chair, "Nerys Amblin", "").await;
    let back = take(
        &mut chair,
        id,
        &with(vec![], &[("words", "kept <i>so</i>"), ("row_from", "12"), ("row_family", "")]),
    )
    .await;
    assert_eq!(back.status, 422);
    for name in [
        "born_on",
        "black_henna",
        "scalp",
        "scratched",
        "pregnant",
        "medication",
        "scalp_treatment",
        "home_colour",
        "silver",
        "length_mm",
        "account",
        "row_family_0",
        "row_on_0",
    ] {
        assert!(back.body.contains(&format!("id=\"{name}-error\"")), "{name}");
    }
    assert!(back.body.contains("kept &#60;i&#62;so") && back.body.contains("value=\"12\""), "{}", back.body);
    let hostile =
        take(&mut chair, id, &with(consult(), &[("born_on", "1990-01-01"), ("words", "a\0b")])).await;
    assert_eq!(hostile.status, 422);
    assert!(hostile.body.contains("id=\"words-error\""));
    assert_eq!(count(&salon, "select count(*) from consult where client_id = $1", id).await, 0);
}

#[tokio::test]
async fn what_is_told_of_the_hair_lies_in_the_strand_as_told() {
    let salon = Salon::open().await;
    let mut chair = chair(&salon).await;
    let id = new_client(&mut chair, "Hester Quaye", "1988-02-29").await;
    let year_ago: String =
        sqlx::query_scalar("select to_char(rinsebell_now() - interval '300 days', 'YYYY-MM-DD')")
            .fetch_one(&salon.owner)
            .await
            .unwrap();
    let told = with(
        consult(),
        &[
            ("account", "up-to"),
            ("account_mm", "150"),
            ("row_family", "sodium-hydroxide"),
            ("row_from", "96"),
            ("row_to", ""),
            ("row_on", &year_ago),
            ("row_sd", "30"),
        ],
    );
    let kept = take(&mut chair, id, &told).await;
    assert_eq!(kept.status, 303, "{}", kept.body);
    let rows: Vec<(String, String, String, Option<f64>, f32)> = sqlx::query_as(
        "select family, zone, known, from_mm, on_sd_days from strand_event where client_id = $1 order by seq",
    )
    .bind(id)
    .fetch_all(&salon.owner)
    .await
    .unwrap();
    assert_eq!(rows.len(), 2);
    assert_eq!(
        (rows[0].0.as_str(), rows[0].1.as_str(), rows[0].2.as_str()),
        ("sodium-hydroxide", "ends-from", "told")
    );
    // 96 mm today less 300 days of growth at the published 0.280 mm a day (shared/tables/growth.toml): 12 mm then.
    assert!((rows[0].3.unwrap() - 12.0).abs() < 0.3, "{rows:?}");
    assert!((rows[0].4 - 30.0 / 1.96).abs() < 0.01);
    assert_eq!((rows[1].0.as_str(), rows[1].2.as_str(), rows[1].3), ("unknown", "inferred", Some(150.0)));
    // Told again without it: nothing is doubled, nothing lost.
    assert_eq!(take(&mut chair, id, &consult()).await.status, 303);
    assert_eq!(count(&salon, "select count(*) from strand_event where client_id = $1", id).await, 2);
    // A day and a place that do not fit are asked about.
    let odd = with(told, &[("row_on", "2020-01-01"), ("row_from", "20")]);
    let id = new_client(&mut chair, "Bette Orne", "1988-02-29").await;
    let back = take(&mut chair, id, &odd).await;
    assert_eq!(back.status, 422);
    assert!(back.body.contains("id=\"row_from_0-error\""), "{}", back.body);
}

#[tokio::test]
async fn a_reaction_stands_whatever_a_later_consult_leaves_out() {
    let salon = Salon::open().await;
    let mut chair = chair(&salon).await;
    let id = new_client(&mut chair, "Ilka Dorn", "1990-05-14").await;
    take(&mut chair, id, &with(consult(), &[("reactions", "thio")])).await;
    assert_eq!(take(&mut chair, id, &consult()).await.status, 303);
    let page = chair.get(&format!("/clients/{id}/consult")).await;
    assert!(page.body.contains("<h1>Refused: thio</h1>"), "{}", page.body);
    assert_eq!(count(&salon, "select count(*) from consult where client_id = $1", id).await, 2);
}

#[tokio::test]
async fn medication_asks_for_a_stylists_reason_kept_under_salt() {
    let salon = Salon::open().await;
    let mut chair = chair(&salon).await;
    let mut basin = salon.seat("Basin", "basin", salon.staff.assistant).await;
    let id = new_client(&mut chair, "Una Rook", "1990-05-14").await;
    let told = with(consult(), &[("medication", "yes")]);
    assert!(take(&mut chair, id, &told).await.body.contains("id=\"reason-error\""));
    let told = with(told, &[("reason", "Physician asked on Monday, no objection")]);
    let assistant = take(&mut basin, id, &told).await;
    assert_eq!(assistant.status, 422);
    assert!(assistant.body.contains("A stylist decides this"));
    assert_eq!(take(&mut chair, id, &told).await.status, 303);
    let kept: (i32, String) =
        sqlx::query_as("select octet_length(salt), body from answer where client_id = $1")
            .bind(id)
            .fetch_one(&salon.owner)
            .await
            .unwrap();
    assert_eq!(kept, (16, "Physician asked on Monday, no objection".into()));
    assert!(chair.get(&format!("/clients/{id}/consult")).await.body.contains("advise asking a physician"));
}

#[tokio::test]
async fn the_words_signed_are_the_words_shown_and_a_drawing_is_looked_at() {
    let salon = Salon::open().await;
    let mut chair = chair(&salon).await;
    let id = new_client(&mut chair, "Nerys Amblin", "1990-05-14").await;
    let here = format!("/clients/{id}/consent");
    assert!(chair.get(&here).await.body.contains("No consult was read"));
    take(&mut chair, id, &consult()).await;
    let page = chair.get(&here).await;
    let shown = page.field("shown");
    let sign = |fields: &[(&'static str, &str)]| with(vec![("shown", shown.clone())], fields);
    assert_eq!(send(&mut chair, &here, &here, &sign(&[])).await.status, 422);
    for bad in ["data:image/svg+xml;base64,PHN2Zy8+", "data:image/png;base64,AAAA", &format!("{PIXEL}AAAA")] {
        assert_eq!(send(&mut chair, &here, &here, &sign(&[("signature", bad)])).await.status, 422, "{bad}");
    }
    let other = with(vec![("shown", "0".repeat(64))], &[("signature_typed", "Nerys Amblin")]);
    assert_eq!(send(&mut chair, &here, &here, &other).await.status, 409);
    assert_eq!(send(&mut chair, &here, &here, &sign(&[("signature", PIXEL)])).await.status, 303);
    let kept: (String, String, String, Option<i32>, i64) = sqlx::query_as(
        "select words, signed_name, signer, octet_length(drawing), witnessed_by from consent where client_id = $1",
    )
    .bind(id)
    .fetch_one(&salon.owner)
    .await
    .unwrap();
    assert!(kept.0.contains("My name is Nerys Amblin.") && kept.0.contains("Kestrel Row"));
    assert_eq!((kept.1.as_str(), kept.2.as_str(), kept.4), ("Nerys Amblin", "client", salon.staff.stylist.0));
    assert!(kept.3.is_some_and(|n| n > 60));
    assert!(chair.get(&here).await.body.contains("Signed today"));
}

#[tokio::test]
async fn a_minor_needs_a_guardian_who_signs_and_under_the_least_age_nothing_is_signed() {
    let salon = Salon::open().await;
    let mut chair = chair(&salon).await;
    let born = |years: i32| {
        sqlx::query_scalar::<_, String>(
            "select to_char(rinsebell_now() - make_interval(years => $1, days => 30), 'YYYY-MM-DD')",
        )
        .bind(years)
    };
    let seventeen = born(17).fetch_one(&salon.owner).await.unwrap();
    let id = new_client(&mut chair, "Joss Young", &seventeen).await;
    let back = take(&mut chair, id, &consult()).await;
    assert!(back.status == 422 && back.body.contains("id=\"guardian-error\""));
    assert_eq!(take(&mut chair, id, &with(consult(), &[("guardian", "Ada Young")])).await.status, 303);
    let here = format!("/clients/{id}/consent");
    let page = chair.get(&here).await;
    assert!(page.body.contains("I may decide for Joss Young"), "{}", page.body);
    let shown = page.field("shown");
    let drawn = with(vec![("shown", shown.clone())], &[("signature", PIXEL)]);
    assert_eq!(
        send(&mut chair, &here, &here, &drawn).await.status,
        422,
        "a guardian's name is not on record"
    );
    let signed = with(drawn, &[("signature_typed", "Ada Young")]);
    assert_eq!(send(&mut chair, &here, &here, &signed).await.status, 303);
    assert_eq!(
        count(&salon, "select count(*) from consent where client_id = $1 and signer = 'guardian'", id).await,
        1
    );

    let twelve = born(12).fetch_one(&salon.owner).await.unwrap();
    let id = new_client(&mut chair, "Pip Young", &twelve).await;
    take(&mut chair, id, &with(consult(), &[("guardian", "Ada Young")])).await;
    let page = chair.get(&format!("/clients/{id}/consult")).await;
    assert!(page.body.contains("Refused today"), "{}", page.body);
    assert!(chair.get(&format!("/clients/{id}/consent")).await.body.contains("Nothing to sign today"));
}

#[tokio::test]
async fn each_kind_of_service_asks_its_own_questions_and_their_answers_reach_the_plan() {
    use rinsebell::domain::consult::Sought;
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    let mut chair = chair(&salon).await;
    let id = stage.client.0;
    let path = format!("/clients/{id}/consult");
    let bare = chair.get(&format!("{path}?again=1")).await;
    assert!(
        !bare.body.contains("name=\"own_") && bare.body.contains("What is it read for?"),
        "{}",
        bare.body
    );
    for sought in Sought::ALL {
        let form = chair.get(&format!("{path}?again=1&sought={}", sought.code())).await;
        for question in sought.questions() {
            assert!(form.body.contains(question.words()), "{sought:?} asks {question:?}");
        }
        assert_eq!(
            form.body.matches("<fieldset class=\"field\" id=\"own_").count(),
            sought.questions().len()
        );
        // Nothing answered: each of its own questions is asked again, with the kind still chosen.
        let back = take(&mut chair, id, &with(consult(), &[("sought", sought.code())])).await;
        assert_eq!(back.status, 422);
        assert_eq!(back.body.matches("Ask this and choose.</a>").count(), sought.questions().len());
        assert!(back.body.contains(&format!("name=\"sought\" value=\"{}\"", sought.code())));
    }
    // An itch at a colour is a reaction, kept where reactions stand for good.
    let colour = [("sought", "colour"), ("own_colour_itched", "yes"), ("own_metal_at_home", "no")];
    let back = take(&mut chair, id, &with(consult(), &colour)).await;
    assert!(back.body.contains("id=\"own_colour_itched-error\""), "{}", back.body);
    // Metal at home waits for its test, also when a later consult says nothing of it.
    let curl = [
        ("sought", "curl"),
        ("own_last_relaxer", "no"),
        ("own_metal_at_home", "yes"),
        ("own_wave_failed", "no"),
        ("own_breaks", "yes"),
    ];
    assert_eq!(take(&mut chair, id, &with(consult(), &curl)).await.status, 303);
    let page = chair.get(&path).await;
    assert!(page.body.contains("There may be metal") && page.body.contains("Read for"), "{}", page.body);
    assert_eq!(take(&mut chair, id, &consult()).await.status, 303);
    let page = chair.get(&path).await;
    assert!(page.body.contains("There may be metal"), "later silence takes nothing back: {}", page.body);
    assert!(
        !page.body.contains("Hair breaks or comes out"),
        "what was not told again of the day is not kept"
    );
    let form = chair.get(&format!("/clients/{id}/plan?protocol=curl-retouch")).await;
    let products = [stage.straightener.to_string(), stage.lotion.to_string(), stage.neutraliser.to_string()];
    let once = form.field("once");
    let fields = [
        ("once", once.as_str()),
        ("protocol", "curl-retouch"),
        ("product_A", &products[0]),
        ("product_B", &products[1]),
        ("product_C", &products[2]),
    ];
    let made = chair.post(&format!("/clients/{id}/plans"), &fields).await;
    let plan = chair.get(&made.location).await;
    assert!(
        plan.body.contains("There may be metal") && plan.body.contains("/test-visits#metallic-salt-test")
    );
    assert!(plan.body.contains("The consult was not read for this: curl or straightening with thio"));
    assert!(!plan.body.contains("not read for this: wave"), "a curl service asks for its lotion too");
    let refused = sqlx::query(
        "insert into consult (salon_id, client_id, taken_by, black_henna_reaction, black_henna, scalp, scratched_within_3_days,
           pregnant, medication, scalp_treatment, home_colour, silver_in_history, sought)
         values ($1,$2,$3,false,false,'intact',false,false,false,false,'never',false,'relaxer')",
    )
    .bind(salon.id.0)
    .bind(id)
    .bind(salon.staff.stylist.0)
    .execute(&salon.owner)
    .await;
    assert!(
        format!("{refused:?}").contains("consult_own_answers_asked"),
        "a kind without its answers is none"
    );
}
