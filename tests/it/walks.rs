//! Every shipped service and test visit, walked from the door to the due date through the real router: consult, tests,
//! plan, start, every step with its hold points, taps, looks and rinses, the end, the aftercare sheet, who is due.
//!
//! A page is asked before each act and the act's own form is sent: what a screen does not offer cannot be walked.

mod given;
mod ready;

use std::time::Duration;

use rinsebell::domain::ids::PersonId;
use rinsebell::domain::protocol::{Kind, Protocol};
use rinsebell::reference::Reference;
use rinsebell::store::people;

use crate::support::{Browser, Salon};

/// Longest a walk may take on a slow machine.
const LONGEST: Duration = Duration::from_secs(240);

/// A service and the head it is walked on.
struct Case {
    code: &'static str,
    /// What the lengths met before, as told, and from how many millimetres of 200.
    met: Option<(&'static str, &'static str)>,
    /// The service the client is due for afterwards; none where nothing comes again.
    due: Option<&'static str>,
}

/// A salon with the services, everything it takes in hands and its stylist at a chair.
async fn house() -> (Salon, Browser) {
    let salon = Salon::open().await;
    let mut s = salon.app.begin(salon.id).await.expect("begin");
    rinsebell::flow::protocols::publish_shipped(&mut s).await.expect("published");
    let all = ["thio", "hydroxide", "colour", "lightener"].map(String::from);
    for person in [salon.staff.stylist, salon.staff.manager] {
        people::set_qualifications(&mut s, person, &all).await.expect("qualified");
    }
    s.commit().await.expect("committed");
    let chair = salon.seat("Chair 1", "chair", salon.staff.stylist).await;
    (salon, chair)
}

/// The same person at another station: sessions end with the day.
async fn again(salon: &Salon, person: PersonId, station: &str) -> Browser {
    salon.seat(station, "chair", person).await
}

fn shipped(code: &str) -> Protocol {
    Reference::shipped().protocol(code).expect("a shipped protocol").clone()
}

async fn walk(case: Case) {
    let protocol = shipped(case.code);
    let (salon, mut desk) = house().await;
    let shelf = ready::stock(&mut desk, &protocol).await;
    let client = ready::client(&mut desk).await;
    ready::place_skin_tests(&mut desk, client, &shelf).await;
    salon.advance(Duration::from_secs(49 * 3600)).await;
    let mut chair = again(&salon, salon.staff.stylist, "Chair 2").await;
    ready::read_skin_tests(&salon, &mut chair, client).await;
    ready::consult_and_consent(&salon, &mut chair, client, case.met).await;
    ready::strand_tests(&mut chair, client, &shelf).await;
    ready::refused_without_sheet_times(&mut chair, client, &protocol, &shelf).await;
    ready::enter_sheet_times(&mut chair, &protocol, &shelf).await;
    let plan = ready::plan(&mut chair, client, &protocol, &shelf).await;
    let run = ready::start(&mut chair, plan).await;
    given::every_step(&salon, &mut chair, run, &protocol, &shelf).await;
    given::ended(&salon, &mut chair, run, &protocol, &shelf).await;
    let due: Option<String> = sqlx::query_scalar("select protocol from due where client_id = $1")
        .bind(client)
        .fetch_optional(&salon.owner)
        .await
        .expect("read");
    assert_eq!(due.as_deref(), case.due, "{}: due for", case.code);
    let list = chair.get("/regrowth").await;
    assert_eq!(list.status, 200);
}

/// A first service and, eleven weeks later, the retouch it made due, on one head with the same products: what the first
/// one wrote into the strand is what the second one's plan meets.
async fn walk_and_come_back(first: &str, retouch: &str) {
    let (first, retouch) = (shipped(first), shipped(retouch));
    let (salon, mut desk) = house().await;
    let shelf = ready::stock(&mut desk, &first).await;
    let client = ready::client(&mut desk).await;
    ready::place_skin_tests(&mut desk, client, &shelf).await;
    ready::enter_sheet_times(&mut desk, &first, &shelf).await;
    salon.advance(Duration::from_secs(49 * 3600)).await;
    let stylist = salon.staff.stylist;
    for (visit, protocol) in [&first, &retouch].into_iter().enumerate() {
        let mut chair = again(&salon, stylist, &format!("Chair {}", visit + 2)).await;
        if visit == 0 {
            ready::read_skin_tests(&salon, &mut chair, client).await;
        } else {
            ready::measure(&mut chair, client, "22").await;
        }
        ready::consult_and_consent(&salon, &mut chair, client, None).await;
        ready::strand_tests(&mut chair, client, &shelf).await;
        let plan = ready::plan(&mut chair, client, protocol, &shelf).await;
        let run = ready::start(&mut chair, plan).await;
        given::every_step(&salon, &mut chair, run, protocol, &shelf).await;
        given::ended(&salon, &mut chair, run, protocol, &shelf).await;
        let due: String = sqlx::query_scalar("select protocol from due where client_id = $1")
            .bind(client)
            .fetch_one(&salon.owner)
            .await
            .expect("due again");
        assert_eq!(due, retouch.code);
        salon.advance(Duration::from_secs(77 * 24 * 3600)).await;
    }
}

#[tokio::test]
async fn a_relaxed_head_comes_back_for_its_retouch() {
    let walked = walk_and_come_back("relaxer-sodium-virgin", "relaxer-sodium-retouch");
    tokio::time::timeout(2 * LONGEST, walked).await.expect("a walk has an end");
}

#[tokio::test]
async fn a_curled_head_comes_back_for_its_retouch() {
    let walked = walk_and_come_back("curl-virgin", "curl-retouch");
    tokio::time::timeout(2 * LONGEST, walked).await.expect("a walk has an end");
}

macro_rules! walks {
    ($($name:ident: $code:literal on $met:expr, due $due:expr;)+) => {
        $(#[tokio::test]
        async fn $name() {
            let walked = tokio::time::timeout(LONGEST, walk(Case { code: $code, met: $met, due: $due })).await;
            walked.expect("a walk has an end");
        })+

        #[test]
        fn every_shipped_service_is_walked() {
            let walked = [$($code),+];
            for p in Reference::shipped().protocols.iter().filter(|p| p.kind == Kind::Service) {
                assert!(walked.contains(&p.code.as_str()), "{} is walked by no test", p.code);
            }
        }
    };
}

walks! {
    curl_retouch: "curl-retouch" on Some(("thio", "25")), due Some("curl-retouch");
    curl_virgin: "curl-virgin" on None, due Some("curl-retouch");
    curl_coloured: "curl-coloured" on Some(("oxidative-colour", "30")), due Some("curl-retouch");
    relaxer_sodium_virgin: "relaxer-sodium-virgin" on None, due Some("relaxer-sodium-retouch");
    relaxer_sodium_retouch: "relaxer-sodium-retouch" on Some(("sodium-hydroxide", "25")), due Some("relaxer-sodium-retouch");
    relaxer_guanidine_virgin: "relaxer-guanidine-virgin" on None, due Some("relaxer-guanidine-retouch");
    relaxer_guanidine_retouch: "relaxer-guanidine-retouch" on Some(("guanidine-hydroxide", "25")), due Some("relaxer-guanidine-retouch");
    wave_alkaline: "wave-alkaline" on None, due None;
    wave_acid: "wave-acid" on None, due None;
    wave_partial: "wave-partial" on None, due None;
    colour_regrowth: "colour-regrowth" on Some(("oxidative-colour", "20")), due Some("colour-regrowth");
    lightener_regrowth: "lightener-regrowth" on Some(("lightener", "20")), due Some("lightener-regrowth");
    gloss: "gloss" on None, due None;
}
