//! The database away, slow, or with no connection left: 503 with Retry-After, nothing done by halves, and every
//! fact once when it is back. Through a socket that can be cut, between the app and its database.

use rinsebell::app::{App, Settings};
use rinsebell::domain::ids::RunId;
use rinsebell::reference::Reference;
use std::path::PathBuf;
use std::time::{Duration, Instant};
use tokio::net::{UnixListener, UnixStream};
use tokio::sync::watch;
use tokio_util::sync::CancellationToken;

use crate::support::{Answer, Browser, Salon};

/// A socket in front of the database's own.
struct Cut {
    folder: PathBuf,
    whole: watch::Sender<bool>,
}

impl Cut {
    fn open(real: PathBuf) -> Cut {
        let folder = std::env::temp_dir().join(format!("rc-{}", rinsebell::secret::new_uuid()));
        std::fs::create_dir(&folder).unwrap();
        let listener = UnixListener::bind(folder.join(".s.PGSQL.5432")).unwrap();
        let (whole, seen) = watch::channel(true);
        tokio::spawn(async move {
            while let Ok((near, _)) = listener.accept().await {
                let (mut seen, real) = (seen.clone(), real.clone());
                tokio::spawn(async move {
                    // Cut: closed at once, as a server that is gone.
                    if !*seen.borrow_and_update() {
                        return;
                    }
                    let (mut near, mut far) = (near, UnixStream::connect(real).await.unwrap());
                    tokio::select! {
                        _ = tokio::io::copy_bidirectional(&mut near, &mut far) => {}
                        _ = seen.wait_for(|whole| !whole) => {}
                    }
                });
            }
        });
        Cut { folder, whole }
    }

    fn cut(&self) {
        self.whole.send_replace(false);
    }

    fn mend(&self) {
        self.whole.send_replace(true);
    }
}

impl Drop for Cut {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.folder);
    }
}

/// A salon with a run, and an app of its own behind the cut.
struct House {
    salon: Salon,
    run: RunId,
    cut: Cut,
    app: App,
    chair: Browser,
    stop: CancellationToken,
}

impl House {
    async fn open() -> House {
        let salon = Salon::open().await;
        let stage = salon.stage().await;
        let run = salon.start_run(stage.plan, salon.staff.stylist).await.unwrap();
        let (at, port) = (salon.database.app.get_socket(), salon.database.app.get_port());
        let real = at.expect("the test cluster has a socket").join(format!(".s.PGSQL.{port}"));
        let cut = Cut::open(real);
        let stop = CancellationToken::new();
        let settings = Settings { secure: false, practice: true, demo: false };
        let through = salon.database.app.clone().socket(&cut.folder).port(5432);
        let app = App::start(through, Reference::embedded(), settings, stop.clone());
        let seat = salon.seat("Chair 2", "chair", salon.staff.stylist).await;
        let chair = seat.through(&app);
        House { salon, run, cut, app, chair, stop }
    }

    fn facts(&self) -> String {
        format!("/runs/{}/facts", self.run)
    }

    async fn tap(&mut self, name: &str) -> Answer {
        let path = self.facts();
        self.chair.post(&path, &[("kind", "comfort_noted"), ("comfort", "warm"), ("fact_id", name)]).await
    }

    /// How often a fact is on record, and how many events there are.
    async fn on_record(&self, name: &str) -> (i64, i64) {
        sqlx::query_as("select count(*) filter (where fact_id = $1::text::uuid), count(*) from run_event where run_id = $2")
            .bind(name)
            .bind(self.run.0)
            .fetch_one(&self.salon.owner)
            .await
            .unwrap()
    }

    /// Tapped again until it is taken; once the database is back this does not take long.
    async fn tap_until_taken(&mut self, name: &str) {
        let until = Instant::now() + Duration::from_secs(20);
        loop {
            match self.tap(name).await.status {
                303 => return,
                503 if Instant::now() < until => tokio::time::sleep(Duration::from_millis(50)).await,
                other => panic!("{other} after the database came back"),
            }
        }
    }
}

impl Drop for House {
    fn drop(&mut self) {
        self.stop.cancel();
    }
}

/// The superuser's hand, for what the owner may not see.
async fn superuser(salon: &Salon) -> sqlx::PgPool {
    let options = salon.database.superuser.clone();
    sqlx::postgres::PgPoolOptions::new().max_connections(1).connect_with(options).await.unwrap()
}

fn is_away(answer: &Answer) {
    assert_eq!(answer.status, 503, "{}", answer.body);
    assert_eq!(answer.headers["retry-after"], "3");
    assert!(answer.body.contains("nothing was done"), "{}", answer.body);
}

#[tokio::test]
async fn while_the_database_is_away_a_page_says_so_and_a_fact_is_taken_once_afterwards() {
    let mut house = House::open().await;
    let name = rinsebell::secret::new_uuid();
    assert_eq!(house.chair.get("/floor").await.status, 200);
    let before = house.on_record(&name).await.1;
    house.cut.cut();
    for path in ["/floor".to_owned(), format!("/runs/{}", house.run), "/clients".to_owned()] {
        is_away(&house.chair.get(&path).await);
    }
    is_away(&house.tap(&name).await);
    assert_eq!(house.chair.get("/health/live").await.status, 200);
    assert_eq!(house.chair.get("/health/ready").await.status, 503);
    assert_eq!(house.on_record(&name).await, (0, before), "nothing was done");
    house.cut.mend();
    house.tap_until_taken(&name).await;
    assert_eq!(house.tap(&name).await.status, 303, "sent again: its first answer");
    assert_eq!(house.on_record(&name).await, (1, before + 1));
    assert_eq!(house.chair.get("/floor").await.status, 200);
}

#[tokio::test]
async fn an_act_cut_off_in_its_midst_is_done_once_or_not_at_all() {
    let mut house = House::open().await;
    let name = rinsebell::secret::new_uuid();
    let mut hand = house.salon.owner.begin().await.unwrap();
    let lock = "select rinsebell_lock_run($1, $2)";
    sqlx::query(lock).bind(house.salon.id.0).bind(house.run.0).execute(&mut *hand).await.unwrap();
    let before = house.on_record(&name).await.1;
    let mut waiting = house.chair.clone();
    let path = house.facts();
    let name_sent = name.clone();
    let sent = tokio::spawn(async move {
        waiting.post(&path, &[("kind", "comfort_noted"), ("comfort", "warm"), ("fact_id", &name_sent)]).await
    });
    let waits = "select count(*) from pg_stat_activity where datname = current_database() and wait_event_type = 'Lock'";
    let (until, eyes) = (Instant::now() + Duration::from_secs(10), superuser(&house.salon).await);
    while sqlx::query_scalar::<_, i64>(waits).fetch_one(&eyes).await.unwrap() == 0 {
        assert!(Instant::now() < until, "the tap waits for the lock");
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    house.cut.cut();
    is_away(&sent.await.unwrap());
    hand.rollback().await.unwrap();
    house.cut.mend();
    house.tap_until_taken(&name).await;
    assert_eq!(house.on_record(&name).await, (1, before + 1));
}

#[tokio::test]
async fn a_slow_database_is_waited_for_only_so_long() {
    let mut house = House::open().await;
    let name = rinsebell::secret::new_uuid();
    let mut hand = house.salon.owner.begin().await.unwrap();
    let lock = "select rinsebell_lock_run($1, $2)";
    sqlx::query(lock).bind(house.salon.id.0).bind(house.run.0).execute(&mut *hand).await.unwrap();
    let began = Instant::now();
    is_away(&house.tap(&name).await);
    // lock_timeout is 4 s, statement_timeout 5 s (cluster::with_app_limits).
    assert!((3.0..8.0).contains(&began.elapsed().as_secs_f64()), "{:?}", began.elapsed());
    assert_eq!(house.chair.get("/floor").await.status, 200, "others read on meanwhile");
    hand.rollback().await.unwrap();
    house.tap_until_taken(&name).await;
    assert_eq!(house.on_record(&name).await.0, 1);
}

#[tokio::test]
async fn with_no_connection_left_the_answer_is_soon_again() {
    let mut house = House::open().await;
    let mut all = Vec::new();
    while let Some(one) = house.app.pool.try_acquire() {
        all.push(one);
    }
    while all.len() < 16 {
        all.push(house.app.pool.acquire().await.unwrap());
    }
    let began = Instant::now();
    is_away(&house.chair.get("/floor").await);
    assert!(began.elapsed() < Duration::from_secs(6), "{:?}", began.elapsed());
    drop(all);
    assert_eq!(house.chair.get("/floor").await.status, 200);
}

#[tokio::test]
async fn sessions_ended_by_the_server_are_not_noticed_by_anybody() {
    let mut house = House::open().await;
    assert_eq!(house.chair.get("/floor").await.status, 200);
    let ended: i64 = sqlx::query_scalar(
        "select count(pg_terminate_backend(pid)) from pg_stat_activity
         where datname = current_database() and usename = 'rinsebell_app'",
    )
    .fetch_one(&superuser(&house.salon).await)
    .await
    .unwrap();
    assert!(ended > 0);
    let name = rinsebell::secret::new_uuid();
    house.tap_until_taken(&name).await;
    assert_eq!(house.on_record(&name).await.0, 1);
    assert_eq!(house.chair.get("/floor").await.status, 200);
}
