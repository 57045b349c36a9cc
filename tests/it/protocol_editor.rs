//! A salon's own protocols: copied, changed, published with who and why, and never another salon's.

use rinsebell::domain::ids::SalonId;
use rinsebell::domain::protocol::edit::StepChange;
use rinsebell::domain::protocol::{HoldPoint, Protocol, StepCode};
use rinsebell::flow::protocols::{self as flow, Beginning, ProtocolRefused};
use rinsebell::reference::{Reference, protocol_document, protocol_text};
use rinsebell::store::protocols::{self, NewRevision, Revision};
use rinsebell::store::{Scoped, StoreError};
use sha2::{Digest, Sha256};

use crate::protocol_screens::{post, publish};
use crate::support::Salon;

pub const CODE: &str = "curl-retouch";

pub async fn shipped(salon: &Salon) {
    let mut s = salon.app.begin(salon.id).await.expect("begin");
    flow::publish_shipped(&mut s).await.expect("published");
    s.commit().await.expect("committed");
}

pub async fn scoped(salon: &Salon, id: SalonId) -> Scoped {
    salon.app.begin(id).await.expect("begin")
}

fn change(p: &mut Protocol, code: &str, f: impl FnOnce(&mut StepChange)) {
    let at = p.index_of(&StepCode::from(code)).expect("that step");
    let mut c = StepChange::of(&p.steps[at]);
    f(&mut c);
    p.steps[at].change(c);
}

/// The revision of the retouch that this build ships.
fn shipped_revision() -> i32 {
    i32::try_from(Reference::shipped().protocol(CODE).expect("shipped").revision).expect("small")
}

/// Publishes the retouch with a shorter cover, by flow.
async fn own_cover(salon: &Salon, most: u16, why: &str) -> i32 {
    let by = salon.staff.manager;
    let mut s = scoped(salon, salon.id).await;
    flow::begin_draft(&mut s, &salon.app, CODE, Beginning::Current, by).await.expect("begun");
    let mut open = flow::draft(&mut s, &salon.app, CODE).await.expect("read").expect("there");
    change(&mut open.protocol, "cover", |c| c.phase.most_min = Some(most));
    flow::save_draft(&mut s, open.draft.version, &open.protocol, by).await.expect("saved");
    let seen = open.draft.version + 1;
    let number = flow::publish(&mut s, &salon.app, CODE, seen, (why, false), by).await.expect("published");
    s.commit().await.expect("committed");
    number
}

#[tokio::test]
async fn a_copy_is_changed_published_and_taken_by_new_plans_alone() {
    let salon = Salon::open().await;
    let stage = salon.stage().await;
    let run = salon.start_run(stage.plan, salon.staff.stylist).await.expect("started");
    let number = own_cover(&salon, 12, "Our cream works faster.").await;
    assert_eq!(number, 1001, "the salon's own numbers begin above the shipped ones");
    let mut s = scoped(&salon, salon.id).await;
    let newest = protocols::list_newest(&mut s).await.expect("listed");
    let current = newest.iter().find(|r| r.protocol == CODE).expect("offered");
    assert_eq!(current.revision, 1001);
    let most = |p: &Protocol| p.step(&"cover".into()).and_then(|x| x.phase).and_then(|t| t.most_min);
    assert_eq!(most(&salon.app.protocol(current).expect("read")), Some(12));
    // The service under way keeps the revision it began with.
    let loaded = rinsebell::flow::runs::load(&mut s, &salon.app, run).await.expect("read").expect("there");
    assert_eq!((most(&loaded.frame.protocol), loaded.run.revision < 1000), (Some(15), true));
    let service = flow::service(&mut s, &salon.app, CODE).await.expect("read").expect("there");
    let issue = &service.issues[0];
    assert_eq!(
        (issue.by_name.as_deref(), issue.why.as_deref()),
        (Some("Ondine Marsh"), Some("Our cream works faster."))
    );
    s.commit().await.expect("committed");
    // A new plan takes the salon's own: asked through the screen.
    let mut chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    let page = chair.get(&format!("/clients/{}/plan?protocol={CODE}", stage.client)).await;
    let once = page.field("once");
    let ids = [stage.straightener.to_string(), stage.lotion.to_string(), stage.neutraliser.to_string()];
    let fields = [
        ("once", once.as_str()),
        ("protocol", CODE),
        ("product_A", ids[0].as_str()),
        ("product_B", ids[1].as_str()),
        ("product_C", ids[2].as_str()),
        ("zone_A", "new-growth"),
        ("zone_B", "root-to-end"),
        ("zone_C", "root-to-end"),
    ];
    let made = chair.post(&format!("/clients/{}/plans", stage.client), &fields).await;
    assert_eq!(made.status, 303, "{}", made.body);
    let revision: i32 = sqlx::query_scalar("select revision from plan where plan_id = $1")
        .bind(made.location_id())
        .fetch_one(&salon.owner)
        .await
        .expect("the plan");
    assert_eq!(revision, 1001);
}

#[tokio::test]
async fn a_draft_below_the_floor_is_kept_and_not_published() {
    let salon = Salon::open().await;
    shipped(&salon).await;
    let by = salon.staff.manager;
    let mut s = scoped(&salon, salon.id).await;
    flow::begin_draft(&mut s, &salon.app, CODE, Beginning::Current, by).await.expect("begun");
    let mut open = flow::draft(&mut s, &salon.app, CODE).await.expect("read").expect("there");
    change(&mut open.protocol, "apply-1", |c| c.hold_points.retain(|p| *p != HoldPoint::Gloves));
    change(&mut open.protocol, "cover", |c| c.phase.most_min = Some(45));
    flow::save_draft(&mut s, 1, &open.protocol, by).await.expect("saved with its faults");
    let open = flow::draft(&mut s, &salon.app, CODE).await.expect("read").expect("there");
    let told: Vec<_> = open.faults.iter().map(|f| f.reason.as_str()).collect();
    assert!(
        told.iter().any(|r| r.contains("gloves")) && told.iter().any(|r| r.contains("never above 15")),
        "{told:?}"
    );
    let no = flow::publish(&mut s, &salon.app, CODE, 2, ("Because.", false), by).await.expect_err("refused");
    assert!(matches!(no, ProtocolRefused::Faults(f) if f.len() == open.faults.len()));
    // Whoever saves over an older version is told, and nothing is lost.
    let late = flow::save_draft(&mut s, 1, &open.protocol, by).await.expect_err("stale");
    assert!(matches!(late, ProtocolRefused::Stale));
    s.commit().await.expect("committed");
    // The same with the domain gone round: the database holds the floor by itself.
    let mut s = scoped(&salon, salon.id).await;
    let mut weak = open.protocol.clone();
    weak.revision = 1001;
    let refused = insert(&mut s, &weak, by.0, Some("Because.")).await.expect_err("below the floor");
    assert!(matches!(refused, StoreError::Refused { ref code, .. } if code == "RB008"), "{refused}");
}

/// Inserts a salon's revision by the store's own hand.
async fn insert(s: &mut Scoped, p: &Protocol, by: i64, why: Option<&str>) -> Result<bool, StoreError> {
    let row = Revision {
        protocol: p.code.clone(),
        revision: i32::try_from(p.revision).expect("small"),
        title: p.title.clone(),
        chemistry: "thio".into(),
        body: protocol_text::write(p),
        fingerprint: vec![0; 32],
    };
    let new = NewRevision { revision: &row, document: protocol_document::of(p) };
    let by = rinsebell::domain::ids::PersonId(by);
    let why = why.unwrap_or("");
    let based_on = Reference::shipped().protocol(&p.code).expect("shipped").revision;
    let based_on = i32::try_from(based_on).expect("small");
    protocols::insert_own(s, protocols::OwnRevision { new, based_on, by, why, retired: false }).await
}

/// Law: peroxide at most 12 % on hair, Regulation (EC) 1223/2009 Annex III; the warning of Annex III for hair colourants.
#[tokio::test]
async fn a_caution_of_law_stays_word_by_word_in_the_domain_and_in_the_database() {
    let salon = Salon::open().await;
    shipped(&salon).await;
    let by = salon.staff.manager;
    let code = "colour-regrowth";
    let law = |p: &Protocol| {
        p.steps.iter().enumerate().find_map(|(i, s)| {
            s.cautions.iter().position(|c| c.words.contains("12 %")).map(|n| (i, n, s.code.clone()))
        })
    };
    let mut s = scoped(&salon, salon.id).await;
    flow::begin_draft(&mut s, &salon.app, code, Beginning::Current, by).await.expect("begun");
    let open = flow::draft(&mut s, &salon.app, code).await.expect("read").expect("there");
    assert_eq!(open.faults, []);
    let (at, n, step) = law(&open.protocol).expect("a caution of law");
    let mut weaker = open.protocol.clone();
    let mut words = StepChange::of(&weaker.steps[at]);
    words.cautions[n] = "Not too much peroxide.".into();
    weaker.steps[at].change(words);
    flow::save_draft(&mut s, open.draft.version, &weaker, by).await.expect("a draft may be wrong");
    let open = flow::draft(&mut s, &salon.app, code).await.expect("read").expect("there");
    assert_eq!(open.faults.len(), 1, "{:?}", open.faults);
    assert!(open.faults[0].reason.contains("Peroxide at most 12 % on hair."), "{}", open.faults[0].reason);
    let no = flow::publish(&mut s, &salon.app, code, open.draft.version, ("Shorter.", false), by).await;
    assert!(matches!(no, Err(ProtocolRefused::Faults(f)) if f.len() == 1));
    drop(s);

    let shipped = Reference::shipped().protocol(code).expect("shipped").clone();
    let mut out = shipped.clone();
    out.steps[at].cautions.clear();
    for (mut own, says) in [(weaker, true), (out, true), (shipped, false)] {
        own.revision = 1001;
        let mut s = scoped(&salon, salon.id).await;
        match insert(&mut s, &own, by.0, Some("Because.")).await {
            Ok(done) => assert!(done && !says),
            Err(no) => {
                assert!(says && no.to_string().contains(&format!("law-lost {}", step.as_str())), "{no}")
            }
        }
    }
}

#[tokio::test]
async fn the_database_takes_no_revision_without_a_manager_and_a_reason_and_changes_none() {
    let salon = Salon::open().await;
    shipped(&salon).await;
    let p = {
        let mut p = Reference::shipped().protocol(CODE).expect("shipped").clone();
        p.revision = 1001;
        p
    };
    let staff = salon.staff;
    for (who, why, says) in [
        (staff.stylist.0, Some("Because."), "not-a-manager"),
        (staff.assistant.0, Some("Because."), "not-a-manager"),
        (staff.manager.0, None, "protocol_revision_who_and_why"),
        (staff.manager.0, Some("  "), "protocol_revision_who_and_why"),
    ] {
        let mut s = scoped(&salon, salon.id).await;
        let no = insert(&mut s, &p, who, why).await.expect_err("refused");
        assert!(no.to_string().contains(says), "{who} {why:?}: {no}");
    }
    // A manager whose PIN is taken back publishes nothing more.
    let mut s = scoped(&salon, salon.id).await;
    sqlx::query("update person set disabled_at = rinsebell_now() where salon_id = $1 and person_id = $2")
        .bind(salon.id.0)
        .bind(staff.manager.0)
        .execute(&mut *s.tx)
        .await
        .expect("disabled");
    let no = insert(&mut s, &p, staff.manager.0, Some("Because.")).await.expect_err("refused");
    assert!(no.to_string().contains("not-a-manager"), "{no}");
    // A salon's revision under a shipped number, and the other way round.
    let mut low = p.clone();
    low.revision = 77;
    let mut s = scoped(&salon, salon.id).await;
    let no = insert(&mut s, &low, staff.manager.0, Some("Because.")).await.expect_err("refused");
    assert!(no.to_string().contains("protocol_revision_own_numbers"), "{no}");
    let number = own_cover(&salon, 12, "Our cream works faster.").await;
    for sql in [
        "update protocol_revision set why = 'other' where salon_id = $1 and revision = $2",
        "update protocol_revision set published_by = null where salon_id = $1 and revision = $2",
        "delete from protocol_revision where salon_id = $1 and revision = $2",
    ] {
        let mut s = scoped(&salon, salon.id).await;
        let no =
            sqlx::query(sqlx::AssertSqlSafe(sql)).bind(salon.id.0).bind(number).execute(&mut *s.tx).await;
        let code = no.expect_err(sql).as_database_error().and_then(|e| e.code().map(|c| c.to_string()));
        assert_eq!(code.as_deref(), Some("42501"), "{sql}: the app has no such right");
    }
    let moment: bool = sqlx::query_scalar(
        "select published_at <= rinsebell_now() and published_by = $2 from protocol_revision where salon_id = $1 and revision = 1001",
    )
    .bind(salon.id.0)
    .bind(staff.manager.0)
    .fetch_one(&salon.owner)
    .await
    .expect("one row");
    assert!(moment);
}

#[tokio::test]
async fn a_shipped_update_is_shown_and_overwrites_nothing() {
    let salon = Salon::open().await;
    shipped(&salon).await;
    own_cover(&salon, 12, "Our cream works faster.").await;
    // A later build ships the next revision, with a longer condition.
    let mut next = Reference::shipped().protocol(CODE).expect("shipped").clone();
    next.revision += 1;
    change(&mut next, "condition", |c| c.minutes_typical = 15);
    let row = Revision {
        protocol: CODE.into(),
        revision: i32::try_from(next.revision).expect("small"),
        title: next.title.clone(),
        chemistry: "thio".into(),
        body: protocol_text::write(&next),
        fingerprint: Sha256::digest(protocol_text::write(&next)).to_vec(),
    };
    let new = || NewRevision { revision: &row, document: protocol_document::of(&next) };
    let mut s = scoped(&salon, salon.id).await;
    let no = protocols::insert(&mut s, new()).await.expect_err("the owner has not noted that build");
    assert!(no.to_string().contains("protocol:not-shipped"), "{no}");
    drop(s);
    let mut owner = salon.owner.acquire().await.expect("a connection");
    protocols::note_shipped(&mut owner, new()).await.expect("noted");
    let mut s = scoped(&salon, salon.id).await;
    assert!(protocols::insert(&mut s, new()).await.expect("published"));
    flow::publish_shipped(&mut s).await.expect("and the start of every day");
    let service = flow::service(&mut s, &salon.app, CODE).await.expect("read").expect("there");
    assert_eq!(service.revision, 1001, "the salon's own stays in force");
    assert_eq!(service.compared.revision + 1, service.shipped.revision);
    s.commit().await.expect("committed");
    let mut office = salon.seat("Office", "office", salon.staff.manager).await;
    let page = office.get("/protocols/curl-retouch").await;
    let later = shipped_revision() + 1;
    assert!(page.body.contains(&format!("The shipped one is now revision {later}")), "{}", page.body);
    assert!(page.body.contains("<ins>15 minutes</ins>") && page.body.contains("<ins>12 minutes</ins>"));
    assert!(
        office.get("/protocols").await.body.contains(&format!("the shipped one changed: revision {later}"))
    );
    // Looked at and taken: published with the comparison ticked, it is news no longer.
    let begun = post(
        &mut office,
        "/protocols/curl-retouch",
        "/protocols/curl-retouch/drafts",
        &[("start", "current")],
    )
    .await;
    assert_eq!(begun.status, 303, "{}", begun.body);
    let sent = publish(&mut office, &[("why", "Seen, ours stays."), ("compared", "yes")]).await;
    assert_eq!(sent.status, 303, "{}", sent.body);
    let page = office.get("/protocols/curl-retouch").await;
    assert!(!page.body.contains("The shipped one is now revision"), "{}", page.body);
    // The way back is a revision too.
    let back = [("start", "shipped")];
    let begun = post(&mut office, "/protocols/curl-retouch", "/protocols/curl-retouch/drafts", &back).await;
    assert_eq!(begun.status, 303, "{}", begun.body);
    assert_eq!(publish(&mut office, &[("why", "Back to the shipped one.")]).await.status, 303);
    let page = office.get("/protocols/curl-retouch").await;
    assert!(page.body.contains("it says what the shipped one says"), "{}", page.body);
}

#[tokio::test]
async fn two_salons_changing_the_same_shipped_protocol_never_see_each_others() {
    let salon = Salon::open().await;
    shipped(&salon).await;
    let heron = salon.second().await;
    let mut s = scoped(&salon, heron).await;
    flow::publish_shipped(&mut s).await.expect("published");
    let hash = "$argon2id$v=19$m=19456,t=2,p=1$c2FsdHNhbHQ$c2FsdHNhbHRzYWx0c2FsdHNhbHRzYWx0c2FsdHNhbHQ";
    let owner = rinsebell::domain::access::Role::Manager;
    let by =
        rinsebell::store::people::insert(&mut s, "Imre Stead", owner, Some(hash), None).await.expect("hired");
    flow::begin_draft(&mut s, &salon.app, CODE, Beginning::Current, by).await.expect("begun");
    let mut open = flow::draft(&mut s, &salon.app, CODE).await.expect("read").expect("there");
    open.protocol.title = "Heron's retouch".into();
    flow::save_draft(&mut s, 1, &open.protocol, by).await.expect("saved");
    s.commit().await.expect("committed");
    own_cover(&salon, 12, "Kestrel's reason.").await;
    let mut office = salon.seat("Office", "office", salon.staff.manager).await;
    for path in ["/protocols", "/protocols/curl-retouch", "/protocols/curl-retouch/rehearsal"] {
        assert!(!office.get(path).await.body.contains("Heron"), "{path}");
    }
    assert_eq!(office.get("/protocols/curl-retouch/draft").await.status, 404, "their draft is not ours");
    let mut s = scoped(&salon, heron).await;
    let service = flow::service(&mut s, &salon.app, CODE).await.expect("read").expect("there");
    assert!(service.issues.iter().all(|i| i.revision < 1000 && i.why.is_none()), "nor our revision theirs");
    flow::publish(&mut s, &salon.app, CODE, 2, ("Heron's reason.", false), by).await.expect("published");
    let theirs = flow::service(&mut s, &salon.app, CODE).await.expect("read").expect("there");
    // Whoever looks for an opening gets each salon's own minutes.
    let in_force = flow::in_force(&mut s, &salon.app, CODE).await.expect("read").expect("there");
    assert_eq!(in_force.title, "Heron's retouch");
    let wave = flow::in_force(&mut s, &salon.app, "wave-acid").await.expect("read");
    assert_eq!(wave.as_ref(), salon.app.reference.protocol("wave-acid"), "what nobody changed is as shipped");
    assert_eq!(
        (theirs.revision, theirs.current.title.as_str()),
        (1001, "Heron's retouch"),
        "numbers are each salon's own"
    );
    s.commit().await.expect("committed");
    assert!(!office.get("/protocols/curl-retouch").await.body.contains("Heron"));
    // By raw SQL, as this salon, into the other's.
    let mut s = scoped(&salon, salon.id).await;
    for sql in [
        "insert into protocol_draft (salon_id, protocol, based_on, body, saved_by) values ($1, 'gloss', 1, '-', 1)",
        "insert into protocol_draft (salon_id, protocol, based_on, body, saved_by) select $1, 'gloss', 1, '-', person_id from person limit 1",
    ] {
        let no = sqlx::query(sqlx::AssertSqlSafe(sql)).bind(heron.0).execute(&mut *s.tx).await;
        assert!(no.is_err(), "{sql}");
        s = scoped(&salon, salon.id).await;
    }
    let touched = sqlx::query("update protocol_draft set body = '-' where salon_id = $1").bind(heron.0);
    assert_eq!(touched.execute(&mut *s.tx).await.expect("no row is seen").rows_affected(), 0);
}
