//! The demo salon: what it promises, through the domain and the screens; loaded once, refreshed, swept.

use rinsebell::demo;
use rinsebell::domain::ids::{PersonId, PlanId, RunId};
use rinsebell::domain::protocol::{HoldPoint, Section, SectionWork, StepCode};
use rinsebell::domain::run::{Command, CurlReading, Happened, HeadPlace, Rod, Signed};
use rinsebell::flow::runs;
use std::time::Duration;

use crate::support::{Browser, Salon};

impl Salon {
    async fn demo_number(&self, sql: &'static str, name: &str) -> i64 {
        sqlx::query_scalar(sql)
            .bind(name)
            .fetch_one(&self.owner)
            .await
            .unwrap_or_else(|e| panic!("{name}: {e}"))
    }

    async fn client_called(&self, name: &str) -> i64 {
        self.demo_number("select client_id from client where name = $1", name).await
    }

    async fn plan_of(&self, name: &str) -> PlanId {
        let sql = "select plan_id from plan join client using (salon_id, client_id) where name = $1";
        PlanId(self.demo_number(sql, name).await)
    }

    async fn run_of(&self, name: &str) -> RunId {
        let sql = "select run_id from run join client using (salon_id, client_id) where name = $1";
        RunId(self.demo_number(sql, name).await)
    }

    /// A browser as a newcomer makes one: the demo's one tap, then the printed PIN.
    async fn newcomer(&self, station: &str, person: PersonId, name: &str) -> Browser {
        let mut browser = Browser::stranger(&self.app);
        let welcome = browser.get("/welcome").await;
        assert!(welcome.body.contains(station), "{}", welcome.body);
        let id =
            self.demo_number("select station_id from station where name = $1", station).await.to_string();
        let paired = browser.post("/demo/station", &[("station", &id)]).await;
        assert_eq!(paired.status, 303, "{}", paired.body);
        let page = browser.get("/sign-in").await;
        let pin = demo::pin_of(name).unwrap();
        assert!(page.body.contains(pin), "the PIN is printed");
        let signed = browser
            .post("/sign-in", &[("person", &person.to_string()), ("pin", pin), ("next", "/floor")])
            .await;
        assert_eq!(signed.status, 303, "{}", signed.body);
        browser
    }
}

async fn page(browser: &mut Browser, path: &str) -> String {
    let answer = browser.get(path).await;
    assert_eq!(answer.status, 200, "{path}: {}", answer.body);
    answer.body
}

/// The part of a page between two words.
fn between<'a>(body: &'a str, from: &str, to: &str) -> &'a str {
    let start = body.find(from).unwrap_or_else(|| panic!("no {from} in {body}"));
    let rest = &body[start..];
    &rest[..rest[from.len()..].find(to).map_or(rest.len(), |i| i + from.len())]
}

#[tokio::test]
async fn loading_again_does_nothing() {
    let salon = Salon::demo().await;
    assert!(!demo::load(&salon.database.owner, &salon.app).await.unwrap());
    let salons: i64 = sqlx::query_scalar("select count(*) from salon").fetch_one(&salon.owner).await.unwrap();
    assert_eq!(salons, 1);
}

#[tokio::test]
async fn a_salon_of_ones_own_keeps_the_demo_out() {
    let salon = Salon::open().await;
    assert!(!demo::load(&salon.database.owner, &salon.app).await.unwrap());
    assert!(!demo::refresh(&salon.database.owner, &salon.app).await.unwrap(), "nor is it refreshed");
    let (count, name): (i64, String) =
        sqlx::query_as("select count(*), min(name) from salon").fetch_one(&salon.owner).await.unwrap();
    assert_eq!((count, name.as_str()), (1, "Kestrel Row"));
}

#[tokio::test]
async fn the_ready_client_is_started_at_once() {
    let salon = Salon::demo().await;
    let mut chair = salon.newcomer("Chair 1", salon.staff.other_stylist, "Priya Lund").await;
    let plan = salon.plan_of("Nerys Amblin").await;
    let shown = chair.get(&format!("/plans/{plan}")).await;
    assert_eq!(shown.status, 200);
    assert!(shown.body.contains("Start the service"), "{}", shown.body);
    let once = shown.field("once");
    let started =
        chair.post("/runs", &[("once", &once), ("plan", &plan.to_string()), ("chair", "Chair 1")]).await;
    assert_eq!(started.status, 303, "{}", started.body);
    let run = page(&mut chair, &started.location).await;
    assert!(run.contains("Nerys"), "{run}");
}

#[tokio::test]
async fn the_refused_client_has_a_way_out_by_the_numbers_of_the_drawing() {
    let salon = Salon::demo().await;
    let mut chair = salon.newcomer("Chair 3", salon.staff.manager, "Ferris Vane").await;
    let plan = salon.plan_of("Hester Quaye").await;
    let shown = page(&mut chair, &format!("/plans/{plan}")).await;
    assert!(shown.contains("Refused") && !shown.contains("Start the service"), "{shown}");
    assert!(
        shown.contains("relaxed hair, 96 to 148 mm") && shown.contains("a trim of at least 52 mm"),
        "{shown}"
    );
    // The drawing (mock/strand.html): 148 mm, edges 23, 48, 96, computed by 2-domain.md.
    let client = salon.client_called("Hester Quaye").await;
    let strand = page(&mut chair, &format!("/clients/{client}/strand")).await;
    for figure in ["148", "96", "23"] {
        assert!(strand.contains(figure), "{figure}: {strand}");
    }
    let mut s = salon.app.begin(salon.id).await.unwrap();
    let id = rinsebell::domain::ids::ClientId(client);
    let record = rinsebell::store::clients::find(&mut s, id).await.unwrap().unwrap();
    let zone = rinsebell::calendar::Zone::find("Europe/Paris").unwrap();
    let today = zone.day_of(s.now().await.unwrap());
    let reference = rinsebell::reference::Reference::shipped();
    let told =
        rinsebell::flow::strands::load(&mut s, reference, &record, today, None).await.unwrap().unwrap();
    let edges: Vec<f64> = told.strand.pieces().map(|p| p.to_mm.round()).collect();
    assert_eq!(edges, [23.0, 48.0, 96.0, 148.0]);
}

#[tokio::test]
async fn the_waiting_client_waits_for_a_named_day() {
    let salon = Salon::demo().await;
    let plan = salon.plan_of("Una Rask").await;
    let (verdict, findings): (String, serde_json::Value) =
        sqlx::query_as("select verdict, findings from plan where plan_id = $1")
            .bind(plan.0)
            .fetch_one(&salon.owner)
            .await
            .unwrap();
    assert_eq!(verdict, "wait", "{findings}");
    // Seven days from thio after colour (trade-rules.md: H/CP); the colour is three days old.
    let day: String =
        sqlx::query_scalar("select ((rinsebell_now() at time zone 'Europe/Paris')::date + 4)::text")
            .fetch_one(&salon.owner)
            .await
            .unwrap();
    assert!(findings.to_string().contains(&day), "{day}: {findings}");
    let mut chair = salon.newcomer("Chair 4", salon.staff.stylist, "Tobias Fenn").await;
    let shown = page(&mut chair, &format!("/plans/{plan}")).await;
    assert!(!shown.contains("Start the service"), "{shown}");
}

#[tokio::test]
async fn the_due_list_has_somebody_in_every_group() {
    let salon = Salon::demo().await;
    let mut desk = salon.newcomer("Front desk", salon.staff.reception, "Joss Ember").await;
    let reach = page(&mut desk, "/regrowth").await;
    assert!(reach.contains("Ysolde Marr") && reach.contains("Amabel Thorne"), "{reach}");
    let waiting = page(&mut desk, "/regrowth?group=waiting").await;
    assert!(waiting.contains("Juno Ashby"), "{waiting}");
    let mut rest = String::new();
    for group in ["promised", "held", "soon"] {
        rest += &page(&mut desk, &format!("/regrowth?group={group}")).await;
    }
    for name in ["Coralie Beck", "Renske Vale"] {
        assert!(rest.contains(name), "{name}: {rest}");
    }
    let (middle, today): (time::Date, time::Date) = sqlx::query_as(
        "select middle_on, (rinsebell_now() at time zone 'Europe/Paris')::date from due join client using (salon_id, client_id)
         where name = 'Amabel Thorne'",
    )
    .fetch_one(&salon.owner)
    .await
    .unwrap();
    assert!((middle - today).whole_days().abs() <= 3, "due about today: {middle}, today {today}");
    let day = page(&mut desk, "/day").await;
    assert!(between(&day, "Patch tests to read", "</section>").contains("Bette Orrin"), "{day}");
    assert!(between(&day, "Patch tests to place", "</section>").contains("Sanne Brix"), "{day}");
    rest += &reach;
    assert!(!rest.contains("Ilka Dorn"), "who sits in the chair is not rung: {rest}");
}

#[tokio::test]
async fn the_service_under_way_is_at_its_second_pass_with_nothing_amiss() {
    let salon = Salon::demo().await;
    let run = salon.run_of("Ilka Dorn").await;
    let mut s = salon.app.begin(salon.id).await.unwrap();
    let loaded = runs::load(&mut s, &salon.app, run).await.unwrap().unwrap();
    let state = loaded.state();
    assert_eq!(state.step_in_hand().map(|x| x.code.as_str()), Some("apply-2"));
    let on = loaded.now - state.exposure('A').unwrap().first_touch;
    // The drawing (mock/run.html): 9:50 from first touch.
    assert!((580..680).contains(&on.whole_seconds()), "on {on}");
    assert_eq!(state.breaches(loaded.now), []);
    drop(s);
    let (chain_holds, starts): (bool, i64) = sqlx::query_as(
        "select bool_and(e.hash = sha256(convert_to(rinsebell_event_words(e), 'UTF8'))
             and e.prev_hash = coalesce((select p.hash from run_event p where p.salon_id = e.salon_id and p.run_id = e.run_id and p.seq = e.seq - 1), '')),
           count(*) filter (where kind = 'step_started')
         from run_event e where run_id = $1",
    )
    .bind(run.0)
    .fetch_one(&salon.owner)
    .await
    .unwrap();
    assert!(chain_holds && starts == 9, "{starts}");
    let mut chair = salon.newcomer("Chair 2", salon.staff.stylist, "Tobias Fenn").await;
    let floor = page(&mut chair, "/floor").await;
    assert!(floor.contains("Ilka"), "{floor}");
    let shown = page(&mut chair, &format!("/runs/{run}")).await;
    assert!(shown.to_lowercase().contains("back left"), "the next quadrant: {shown}");
}

async fn sign_what_is_missing(salon: &Salon, run: RunId, who: PersonId, code: &str) {
    let mut s = salon.app.begin(salon.id).await.unwrap();
    let loaded = runs::load(&mut s, &salon.app, run).await.unwrap().unwrap();
    drop(s);
    for hold_point in loaded.frame.protocol.step(&code.into()).unwrap().hold_points.clone() {
        let value = match hold_point {
            HoldPoint::StrandTest => "passed",
            other => other.answers()[0].code,
        };
        let signed = Signed { hold_point, value: value.into(), place: None };
        salon
            .act(run, who, Command::SignHoldPoint { step: code.into(), signed })
            .await
            .unwrap_or_else(|e| panic!("{code} {hold_point:?}: {e:?}"));
    }
}

/// Gives the steps of a run from one after `after` to its end, as fast as their least times allow.
async fn give_the_rest(salon: &Salon, run: RunId, who: PersonId, after: &str) {
    let mut s = salon.app.begin(salon.id).await.unwrap();
    let steps = runs::load(&mut s, &salon.app, run).await.unwrap().unwrap().frame.protocol.steps.clone();
    drop(s);
    let mut fact = 1;
    let from = steps.iter().position(|x| x.code.as_str() == after).unwrap() + 1;
    for step in &steps[from..] {
        let code = step.code.as_str();
        if code == "wind" {
            let sql = "select lot_id from lot where code = $1";
            let lot = rinsebell::domain::ids::LotId(salon.demo_number(sql, "KR-3112").await);
            let taken = Command::DispenseLot { application: 'B', lot, grams: 88.0 };
            salon.act(run, who, taken).await.unwrap();
        }
        sign_what_is_missing(salon, run, who, code).await;
        let start = Command::StartStep { step: StepCode::from(code) };
        salon.act(run, who, start).await.unwrap_or_else(|e| panic!("{code}: {e:?}"));
        let mut facts = Vec::new();
        if let Some(SectionWork::Apply { pass }) = step.sections {
            let tap = |section| Happened::SectionStarted { step: step.code.clone(), section, pass };
            facts.extend(Section::QUADRANTS.map(tap));
        }
        if step.rods {
            facts.push(Happened::RodsNoted {
                count: 64,
                first_at: HeadPlace::Nape,
                last_at: HeadPlace::Crown,
            });
        }
        if !step.rinses.is_empty() {
            facts.push(Happened::SectionRinsed { step: step.code.clone(), section: None, clear: true });
        }
        let least =
            [step.phase, step.exposure].iter().flatten().filter_map(|t| t.least_min.or(t.target_min)).max();
        for happened in facts {
            salon.fact(run, fact, happened).await.unwrap();
            fact += 1;
        }
        salon.advance(Duration::from_secs(u64::from(least.unwrap_or(1)) * 60)).await;
        if step.reads_curls() {
            salon
                .fact(run, fact, Happened::TestCurlRead { rod: Rod::First, reading: CurlReading::S })
                .await
                .unwrap();
            fact += 1;
        }
        if code == "trim" {
            salon.fact(run, fact, Happened::Trimmed { mm: 6.0 }).await.unwrap();
            fact += 1;
        }
    }
}

#[tokio::test]
async fn the_service_under_way_goes_on_to_its_end_and_the_sheet_is_given() {
    let salon = Salon::demo().await;
    let (run, who) = (salon.run_of("Ilka Dorn").await, salon.staff.stylist);
    for (n, section) in Section::QUADRANTS[1..].iter().enumerate() {
        let tap = Happened::SectionStarted { step: "apply-2".into(), section: *section, pass: 2 };
        salon.fact(run, 500 + n as u128, tap).await.unwrap();
    }
    give_the_rest(&salon, run, who, "apply-2").await;
    salon.act(run, who, Command::FinishRun).await.unwrap();
    let mut chair = salon.newcomer("Chair 2", who, "Tobias Fenn").await;
    let sheet = page(&mut chair, &format!("/runs/{run}/aftercare")).await;
    for words in [
        "Aftercare for Ilka Dorn",
        "48 hours without a wash",
        "By what your hair has shown: from ",
        "Straightening cream, regular, lot KR-2214, 62 g",
        "Curl lotion, regular, lot KR-3112, 88 g",
        "6 mm off the ends",
    ] {
        assert!(sheet.contains(words), "{words}: {sheet}");
    }
    let done: Vec<(String, Option<String>)> =
        sqlx::query_as("select did, family from strand_event where run_id = $1 order by seq")
            .bind(run.0)
            .fetch_all(&salon.owner)
            .await
            .unwrap();
    assert_eq!(done.len(), 4, "{done:?}");
    let due_run: Option<i64> = sqlx::query_scalar(
        "select run_id from due where client_id = (select client_id from run where run_id = $1)",
    )
    .bind(run.0)
    .fetch_one(&salon.owner)
    .await
    .unwrap();
    assert_eq!(due_run, Some(run.0));
}

#[tokio::test]
async fn refreshing_dates_it_from_now_and_leaves_other_salons_alone() {
    let salon = Salon::demo().await;
    let other = salon.second().await;
    let rows = async || -> Vec<i64> {
        sqlx::query_scalar(
            "select n from (values ((select count(*) from client), 1), ((select count(*) from run_event), 2), ((select count(*) from booking), 3),
               ((select count(*) from due), 4), ((select count(*) from lot), 5)) v(n, k) order by k",
        )
        .fetch_all(&salon.owner)
        .await
        .unwrap()
    };
    let before = rows().await;
    salon.advance(Duration::from_secs(3 * 86_400)).await;
    let mut chair = salon.newcomer("Chair 2", salon.staff.stylist, "Tobias Fenn").await;
    assert!(demo::refresh(&salon.database.owner, &salon.app).await.unwrap());
    assert_eq!(rows().await, before);
    let salons: Vec<(i64, bool)> = sqlx::query_as("select salon_id, demo from salon order by demo")
        .fetch_all(&salon.owner)
        .await
        .unwrap();
    assert_eq!(salons[0], (other.0, false));
    assert!(salons[1].1 && salons[1].0 != salon.id.0, "{salons:?}");
    let minutes: f64 =
        sqlx::query_scalar("select (extract(epoch from rinsebell_now() - started_at) / 60)::float8 from run")
            .fetch_one(&salon.owner)
            .await
            .unwrap();
    assert!((46.0..60.0).contains(&minutes), "{minutes}");
    // The station of before is gone: the browser is asked which one it is.
    let asked = chair.get("/floor").await;
    assert_eq!((asked.status, asked.location.as_str()), (303, "/welcome"));
}

#[tokio::test]
async fn every_table_of_a_salon_is_emptied_by_a_refresh() {
    let salon = Salon::demo().await;
    let tables: Vec<String> = sqlx::query_scalar(
        "select c.relname::text from pg_class c join pg_attribute a on a.attrelid = c.oid
         where c.relkind = 'r' and c.relnamespace = 'public'::regnamespace and a.attname = 'salon_id' and not a.attisdropped order by 1",
    )
    .fetch_all(&salon.owner)
    .await
    .unwrap();
    let mut known = rinsebell::store::demo::TABLES.map(String::from).to_vec();
    known.sort();
    assert_eq!(known, tables);
}

#[tokio::test]
async fn only_the_owner_and_only_in_a_demo_salon_says_when_an_event_was_recorded() {
    let salon = Salon::demo().await;
    let run = salon.run_of("Ilka Dorn").await;
    let insert = "insert into run_event (salon_id, run_id, seq, by, kind, data)
        select salon_id, run_id, max(seq) + 1, (select started_by from run where run_id = $1), 'station_armed', '{}'
        from run_event where run_id = $1 group by 1, 2 returning recorded_at > rinsebell_now() - interval '1 minute'";
    let past = "select set_config('rinsebell.demo_at', (rinsebell_now() - interval '5 minutes')::text, true)";
    let mut s = salon.app.begin(salon.id).await.unwrap();
    sqlx::query(past).execute(&mut *s.tx).await.unwrap();
    let fresh: bool = sqlx::query_scalar(insert).bind(run.0).fetch_one(&mut *s.tx).await.unwrap();
    assert!(fresh, "the app's events carry the clock");
    drop(s);
    for (demo, carries_the_clock) in [(true, false), (false, true)] {
        let mut tx = salon.owner.begin().await.unwrap();
        sqlx::query("update salon set demo = $1").bind(demo).execute(&mut *tx).await.unwrap();
        sqlx::query(past).execute(&mut *tx).await.unwrap();
        let fresh: bool = sqlx::query_scalar(insert).bind(run.0).fetch_one(&mut *tx).await.unwrap();
        assert_eq!(fresh, carries_the_clock, "demo: {demo}");
        let future =
            "select set_config('rinsebell.demo_at', (rinsebell_now() + interval '5 minutes')::text, true)";
        sqlx::query(future).execute(&mut *tx).await.unwrap();
        let fresh: bool = sqlx::query_scalar(insert).bind(run.0).fetch_one(&mut *tx).await.unwrap();
        assert!(fresh, "never the future");
        tx.rollback().await.unwrap();
    }
}

#[tokio::test]
async fn the_hourly_sweep_forgets_old_keys_and_closes_old_sign_ins() {
    let salon = Salon::demo().await;
    let _chair = salon.newcomer("Chair 2", salon.staff.stylist, "Tobias Fenn").await;
    sqlx::query("insert into idempotency (salon_id, key, path, made_at) values ($1, gen_random_uuid(), '/x', rinsebell_now() - interval '3 days'),
        ($1, gen_random_uuid(), '/x', rinsebell_now())")
        .bind(salon.id.0)
        .execute(&salon.owner)
        .await
        .unwrap();
    let counted = async || -> (i64, i64) {
        sqlx::query_as("select (select count(*) from idempotency), (select count(*) from session where ended_at is null)")
            .fetch_one(&salon.owner)
            .await
            .unwrap()
    };
    rinsebell::work::step(&salon.app).await.unwrap();
    assert_eq!(counted().await, (1, 1));
    salon.advance(Duration::from_secs(13 * 3600)).await;
    rinsebell::work::step(&salon.app).await.unwrap();
    assert_eq!(counted().await, (1, 0));
}

#[tokio::test]
async fn the_demo_shelf_has_every_family_one_low_one_apart_one_near_its_date() {
    let salon = Salon::demo().await;
    let mut chair = salon.newcomer("Chair 1", salon.staff.stylist, "Tobias Fenn").await;
    let shelf = chair.get("/shelf").await;
    for words in [
        "guanidine hydroxide relaxer",
        "sodium hydroxide relaxer",
        "thio ester",
        "lightener",
        "direct dye",
        "normalising shampoo",
        "Quarantined <small>",
        "KR-3311",
        "Running out of date",
        "KR-3405",
        "Lightening powder",
        "<h2>Low</h2>",
    ] {
        assert!(shelf.body.contains(words), "{words}");
    }
    let lot = chair.get("/shelf/scan?code=%2801%2909520000990015%2810%29KR-2201").await;
    assert!(lot.location.starts_with("/shelf/lots/"), "{lot:?}");
}
