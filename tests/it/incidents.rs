//! Incidents: a stop opens one by itself, an account is written over the newest alone, a burn is not closed before a doctor
//! was advised, and the report carries what authorities ask for.

use rinsebell::domain::ids::ClientId;

use crate::support::{Answer, Browser, Salon};

async fn ready() -> (Salon, Browser, ClientId) {
    let salon = Salon::open().await;
    let client = salon.client("Ilka Moorcroft").await;
    let chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    (salon, chair, client)
}

async fn open(chair: &mut Browser, client: ClientId) -> i64 {
    let once = rinsebell::secret::new_uuid();
    let done = chair.post(&format!("/clients/{client}/incidents"), &[("once", &once)]).await;
    assert_eq!(done.status, 303, "{}", done.body);
    done.location_id()
}

async fn write(chair: &mut Browser, id: i64, newest: &str, more: &[(&str, &str)]) -> Answer {
    let once = rinsebell::secret::new_uuid();
    let now = chair.get(&format!("/incidents/{id}")).await;
    assert_eq!(now.status, 200, "{}", now.body);
    let (on, at) = (now.field("onset_on"), now.field("onset_at"));
    let mut fields = vec![("once", once.as_str()), ("newest", newest), ("onset_on", &on), ("onset_at", &at)];
    fields.extend(more);
    chair.post(&format!("/incidents/{id}/accounts"), &fields).await
}

#[tokio::test]
async fn a_burn_is_written_down_and_not_closed_before_a_doctor_was_advised() {
    let (salon, mut chair, client) = ready().await;
    let id = open(&mut chair, client).await;
    assert!(chair.get("/incidents").await.body.contains("nothing written yet"));
    let bare = write(&mut chair, id, "", &[("doctor", "no")]).await;
    assert_eq!(bare.status, 422);
    assert!(bare.body.contains("at least one sign"), "{}", bare.body);
    let early = [
        ("signs", "burn"),
        ("aid", "rinsed"),
        ("doctor", "no"),
        ("words", "behind the ear"),
        ("closed", "yes"),
    ];
    let refused = write(&mut chair, id, "", &early).await;
    assert_eq!(refused.status, 422);
    assert!(
        refused.body.contains("a doctor is advised") && refused.body.contains("behind the ear"),
        "{}",
        refused.body
    );
    let kept = write(
        &mut chair,
        id,
        "",
        &[
            ("signs", "burn"),
            ("aid", "rinsed"),
            ("doctor", "advised"),
            ("words", "behind the ear"),
            ("serious", "deep-burn"),
        ],
    )
    .await;
    assert_eq!(kept.status, 303, "{}", kept.body);
    // Serious and untold: not closed either; a second writer over the old account is told and loses nothing.
    let newest = chair.get(&format!("/incidents/{id}")).await.field("newest");
    let untold = write(
        &mut chair,
        id,
        &newest,
        &[("signs", "burn"), ("doctor", "seen"), ("serious", "deep-burn"), ("closed", "yes")],
    )
    .await;
    assert!(untold.status == 422 && untold.body.contains("told to the maker"), "{}", untold.body);
    let stale =
        write(&mut chair, id, "", &[("signs", "redness"), ("doctor", "no"), ("words", "my second thought")])
            .await;
    assert!(
        stale.status == 422 && stale.body.contains("meanwhile") && stale.body.contains("my second thought"),
        "{}",
        stale.body
    );
    let end = write(
        &mut chair,
        id,
        &newest,
        &[
            ("signs", "burn"),
            ("doctor", "seen"),
            ("serious", "deep-burn"),
            ("told", "maker"),
            ("closed", "yes"),
        ],
    )
    .await;
    assert_eq!(end.status, 303, "{}", end.body);
    assert!(!chair.get("/incidents").await.body.contains("Ilka"), "closed ones are not among the open");
    assert!(chair.get("/incidents?all=yes").await.body.contains("Ilka"));
    let report = chair.get(&format!("/incidents/{id}/report")).await;
    // Fields of the UK authority's form for undesirable effects (published.md §8): professional use, onset, signs, site.
    for field in [
        "Used by: a professional",
        "Began",
        "Signs: burn",
        "Serious: second- or third-degree burn",
        "behind the ear",
        "Told: the maker",
    ] {
        assert!(report.body.contains(field), "{field}: {}", report.body);
    }
    // The database by itself.
    let raw =
        "insert into incident_account (salon_id, incident_id, client_id, onset_at, signs, doctor, closed, by)
        values ($1,$2,$3, rinsebell_now(), array['blisters'], 'no', true, $4)";
    let error = sqlx::query(raw)
        .bind(salon.id.0)
        .bind(id)
        .bind(client.0)
        .bind(salon.staff.stylist.0)
        .execute(&salon.owner)
        .await
        .unwrap_err();
    assert!(error.to_string().contains("incident_account_doctor_before_closed"), "{error}");
    let other = salon.client("Nerys Amblin").await;
    let error = sqlx::query(sqlx::AssertSqlSafe(raw.replace("true", "false")))
        .bind(salon.id.0)
        .bind(id)
        .bind(other.0)
        .bind(salon.staff.stylist.0)
        .execute(&salon.owner)
        .await;
    assert!(error.unwrap_err().to_string().contains("incident:other-client"));
}

#[tokio::test]
async fn reception_and_other_salons_see_no_incident() {
    let (salon, mut chair, client) = ready().await;
    let id = open(&mut chair, client).await;
    let mut desk = salon.seat("Desk", "desk", salon.staff.reception).await;
    for path in ["/incidents".to_string(), format!("/incidents/{id}"), format!("/incidents/{id}/report")] {
        assert_eq!(desk.get(&path).await.status, 403, "{path}");
    }
    let other = salon.second().await;
    let mut s = salon.app.begin(other).await.unwrap();
    assert!(rinsebell::store::incidents::list(&mut s, false, None).await.unwrap().is_empty());
}

#[tokio::test]
async fn nothing_more_is_written_about_an_incident_of_somebody_erased() {
    let (salon, mut chair, client) = ready().await;
    let id = open(&mut chair, client).await;
    sqlx::query("update client set erased_at = rinsebell_now() where client_id = $1")
        .bind(client.0)
        .execute(&salon.owner)
        .await
        .unwrap();
    let page = chair.get(&format!("/incidents/{id}")).await;
    let gone = "This person was erased: nothing more is written about them.";
    assert!(page.body.contains(gone) && !page.body.contains("name=\"sites\""), "{}", page.body);
    assert!(!page.body.contains("Add a photo"));
    // A form that was open before.
    let once = rinsebell::secret::new_uuid();
    let fields =
        [("once", once.as_str()), ("signs", "burn"), ("doctor", "seen"), ("sites", "behind the ear")];
    let refused = chair.post(&format!("/incidents/{id}/accounts"), &fields).await;
    assert!(refused.status == 422 && refused.body.contains(gone), "{} {}", refused.status, refused.body);
    let mut app = crate::calls::app(&salon).await;
    let account = "insert into incident_account (salon_id, incident_id, client_id, onset_at, signs, sites, by)
        select salon_id, incident_id, client_id, opened_at, array['redness'], 'neck', opened_by from incident";
    assert_eq!(crate::calls::says(&mut app, account.into()).await, "RB016 client:erased");
    let told = "insert into incident (salon_id, client_id, opened_at, kind, opened_by)
        select salon_id, client_id, opened_at, 'other', opened_by from incident";
    assert_eq!(crate::calls::says(&mut app, told.into()).await, "RB016 client:erased");
    // What a service records by itself is part of the record, whoever it was.
    assert_eq!(crate::calls::says(&mut app, told.replace("other", "sting")).await, "done 1");
}

#[tokio::test]
async fn reception_writes_a_complaint_down_with_the_words_to_say_and_never_reads_it_again() {
    let (salon, mut chair, client) = ready().await;
    let mut desk = salon.seat("Front desk", "desk", salon.staff.reception).await;
    assert!(desk.get(&format!("/clients/{client}")).await.body.contains("/complaint\""));
    let path = format!("/clients/{client}/complaint");
    let page = desk.get(&path).await;
    assert!(
        page.body.contains("cool running water, twenty minutes") && page.body.contains("call 112 now"),
        "{}",
        page.body
    );
    let (once, on, at) = (page.field("once"), page.field("onset_on"), page.field("onset_at"));
    let told = [
        ("once", once.as_str()),
        ("onset_on", on.as_str()),
        ("onset_at", at.as_str()),
        ("words", "Her scalp burns since yesterday."),
    ];
    let bare = desk.post(&path, &told).await;
    assert_eq!(bare.status, 422);
    assert!(
        bare.body.contains("how it stands with a doctor") && bare.body.contains("burns since yesterday"),
        "{}",
        bare.body
    );
    let mut whole = told.to_vec();
    whole.extend([("doctor", "advised"), ("signs", "burn")]);
    let kept = desk.post(&path, &whole).await;
    assert_eq!(kept.status, 303, "{}", kept.body);
    let noted = desk.get(&kept.location).await.body;
    assert!(
        noted.contains("tell a stylist or the manager now") && !noted.contains("since yesterday"),
        "{noted}"
    );
    assert!(!desk.get(&path).await.body.contains("since yesterday"));
    assert_eq!(desk.get("/incidents").await.status, 403);
    assert!(chair.get("/incidents").await.body.contains("Ilka Moorcroft"));
    let words: Vec<String> = sqlx::query_scalar(
        "select w.body from incident_account a join answer w using (salon_id) where w.answer_id = a.words_id",
    )
    .fetch_all(&salon.owner)
    .await
    .unwrap();
    assert_eq!(words, ["Her scalp burns since yesterday."], "once, and nothing of the refused one");
    let mut basin = salon.seat("Basin", "basin", salon.staff.assistant).await;
    assert_eq!(basin.get(&path).await.status, 403);
}
