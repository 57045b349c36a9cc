//! `kill -9` of the app and of the server at random moments under load: nothing that was acknowledged is lost or
//! doubled, and `rinsebell check` finds nothing wrong.

use crate::support::plain_http::Jar;
use crate::support::program::{Folder, Serving, outcome, pid, rinsebell, wait_for};
use rinsebell::cluster;
use rustix::process::{Signal, kill_process};
use sqlx::postgres::PgPoolOptions;
use std::collections::BTreeSet;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, RwLock};
use std::time::{Duration, Instant};

/// Kills asked for (issue 3: 50).
const KILLS: u32 = 50;
/// The killing ends here, however slow the machine.
const LONGEST: Duration = Duration::from_secs(150);
/// Acts of one worker: the run's screen reads at most 2000 events.
const MOST_ACTS: usize = 400;

/// A small generator: the same seed gives the same moments and names (xorshift64*, Vigna 2016).
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_F491_4F6C_DD1D)
    }

    fn millis(&mut self, from: u64, to: u64) -> Duration {
        Duration::from_millis(from + self.next() % (to - from))
    }

    fn uuid(&mut self) -> String {
        let (a, b) = (self.next(), self.next());
        format!(
            "{:08x}-{:04x}-4{:03x}-8{:03x}-{:012x}",
            a >> 32,
            a >> 16 & 0xffff,
            a & 0xfff,
            b >> 52,
            b & 0xffff_ffff_ffff
        )
    }
}

fn seed() -> u64 {
    let given = std::env::var("RINSEBELL_CRASH_SEED").ok().and_then(|s| s.parse().ok());
    let seed = given.unwrap_or_else(|| {
        let since = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH);
        since.expect("after 1970").as_nanos() as u64 | 1
    });
    println!("RINSEBELL_CRASH_SEED={seed}");
    seed
}

fn serve(folder: &Folder) -> Serving {
    let data = folder.path().to_str().unwrap();
    Serving::start(rinsebell(&["serve", "--listen", "127.0.0.1:0", "--data", data]))
}

/// What the demo laid out: the run under way, stations by name, people by name.
struct Ids {
    run: i64,
    stations: Vec<(String, i64)>,
    people: Vec<(String, i64)>,
}

fn id(of: &[(String, i64)], name: &str) -> String {
    of.iter().find(|(n, _)| n == name).unwrap_or_else(|| panic!("no {name}")).1.to_string()
}

/// Asks the database as its owner.
fn with_owner<T>(folder: &Folder, ask: impl AsyncFnOnce(sqlx::PgPool) -> T) -> T {
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build().unwrap();
    runtime.block_on(async {
        let opened = cluster::open(&folder.data(), None).await.unwrap();
        let pool = PgPoolOptions::new().max_connections(1).connect_with(opened.owner.clone()).await.unwrap();
        let answer = ask(pool.clone()).await;
        pool.close().await;
        opened.guard.stop(Duration::from_secs(5)).await.unwrap();
        answer
    })
}

fn ids(folder: &Folder) -> Ids {
    with_owner(folder, async |pool| Ids {
        run: sqlx::query_scalar("select run_id from run where ended_at is null limit 1")
            .fetch_one(&pool)
            .await
            .unwrap(),
        stations: sqlx::query_as("select name, station_id from station").fetch_all(&pool).await.unwrap(),
        people: sqlx::query_as("select name, person_id from person").fetch_all(&pool).await.unwrap(),
    })
}

/// What the workers share: where the program serves now, and when to end.
#[derive(Clone)]
struct Stage {
    address: Arc<RwLock<String>>,
    over: Arc<AtomicBool>,
    run: i64,
}

impl Stage {
    fn address(&self) -> String {
        self.address.read().unwrap().clone()
    }

    /// Sends until it is acknowledged: what a station does. The same act, the same name.
    fn until_acknowledged(&self, jar: &mut Jar, path: &str, fields: &[(&str, &str)]) {
        wait_for("an acknowledgement", || match jar.post(&self.address(), path, fields) {
            Some(reply) if matches!(reply.status, 204 | 303) => Some(()),
            // Away, or cut off in the midst of it: again.
            None => None,
            Some(reply) if matches!(reply.status, 500 | 503) => None,
            Some(other) => panic!("{path} {fields:?}: {} {}", other.status, other.body),
        });
    }
}

/// Facts tapped at one station, each acknowledged before the next.
fn tap(stage: &Stage, mut jar: Jar, mut dice: Dice) -> Vec<String> {
    let mut acknowledged = Vec::new();
    let path = format!("/runs/{}/facts", stage.run);
    while !stage.over.load(Ordering::Relaxed) && acknowledged.len() < MOST_ACTS {
        let name = dice.uuid();
        stage.until_acknowledged(
            &mut jar,
            &path,
            &[("kind", "comfort_noted"), ("comfort", "no"), ("fact_id", &name)],
        );
        acknowledged.push(name);
        std::thread::sleep(dice.millis(20, 250));
    }
    acknowledged
}

/// Gloves signed again and again; how often it was acknowledged.
fn sign(stage: &Stage, mut jar: Jar, mut dice: Dice) -> usize {
    let mut acknowledged = 0;
    let path = format!("/runs/{}/sign-offs", stage.run);
    while !stage.over.load(Ordering::Relaxed) && acknowledged < MOST_ACTS {
        let once = dice.uuid();
        let fields = [
            ("once", once.as_str()),
            ("known", "1"),
            ("step", "apply-2"),
            ("sign", "gloves:nitrile-new-pair-intact"),
        ];
        stage.until_acknowledged(&mut jar, &path, &fields);
        acknowledged += 1;
        std::thread::sleep(dice.millis(20, 250));
    }
    acknowledged
}

/// A browser at a demo station; with a person, signed in.
fn browser(address: &str, ids: &Ids, station: &str, person: Option<(&str, &str)>) -> Jar {
    let mut jar = Jar::default();
    let paired =
        jar.post(address, "/demo/station", &[("station", &id(&ids.stations, station))]).expect("paired");
    assert_eq!(paired.status, 303, "{}", paired.body);
    if let Some((name, pin)) = person {
        let fields =
            [("person", id(&ids.people, name)), ("pin", pin.to_owned()), ("next", "/floor".to_owned())];
        let fields = fields.each_ref().map(|(k, v)| (*k, v.as_str()));
        let signed = jar.post(address, "/sign-in", &fields).expect("signed in");
        assert_eq!(signed.status, 303, "{}", signed.body);
    }
    jar
}

/// Kills app and server by turns at random moments until 50 are done or time is up; the last one serving.
fn kill_by_turns(folder: &Folder, stage: &Stage, mut serving: Serving, dice: &mut Dice) -> (Serving, u32) {
    let until = Instant::now() + LONGEST;
    let mut kills = 0;
    while kills < KILLS && Instant::now() < until {
        std::thread::sleep(dice.millis(50, 800));
        if kills % 2 == 0 {
            serving.signal(Signal::KILL);
            serving.wait_end();
            serving = serve(folder);
            *stage.address.write().unwrap() = serving.address();
        } else {
            let server = wait_for("a server", || folder.postmaster());
            kill_process(pid(server), Signal::KILL).unwrap();
            wait_for("another server", || folder.postmaster().filter(|p| *p != server));
        }
        serving.wait_ready();
        kills += 1;
    }
    (serving, kills)
}

/// The record as it stands: fact names, sign-offs of the gloves, numbers.
async fn record(pool: sqlx::PgPool, run: i64) -> (Vec<String>, i64, Vec<i32>) {
    let facts = sqlx::query_scalar(
        "select fact_id::text from run_event where run_id = $1 and kind = 'comfort_noted'",
    );
    let signed =
        "select count(*) from run_event where run_id = $1 and hold_point = 'gloves' and step = 'apply-2'";
    (
        facts.bind(run).fetch_all(&pool).await.unwrap(),
        sqlx::query_scalar(signed).bind(run).fetch_one(&pool).await.unwrap(),
        sqlx::query_scalar("select seq from run_event where run_id = $1 order by seq")
            .bind(run)
            .fetch_all(&pool)
            .await
            .unwrap(),
    )
}

#[test]
fn no_acknowledged_act_is_lost_or_doubled_over_fifty_kills() {
    let mut dice = Dice(seed());
    let folder = Folder::new();
    let serving = serve(&folder);
    serving.wait_ready();
    let ids = ids(&folder);
    let before = with_owner(&folder, async |pool| record(pool, ids.run).await).1;
    let address = serving.address();
    let taps: Vec<Jar> =
        ["Chair 1", "Chair 3", "Basin"].iter().map(|name| browser(&address, &ids, name, None)).collect();
    let signer = browser(&address, &ids, "Chair 2", Some(("Tobias Fenn", "402917")));
    let stage = Stage {
        address: Arc::new(RwLock::new(address)),
        over: Arc::new(AtomicBool::new(false)),
        run: ids.run,
    };
    let dices: Vec<Dice> = (0..4).map(|_| Dice(dice.next() | 1)).collect();
    let (serving, kills, tapped, signed) = std::thread::scope(|scope| {
        let mut dices = dices.into_iter();
        let signer = scope.spawn({
            let (stage, dice) = (stage.clone(), dices.next().unwrap());
            move || sign(&stage, signer, dice)
        });
        let tappers: Vec<_> = taps
            .into_iter()
            .zip(dices)
            .map(|(jar, dice)| {
                let stage = stage.clone();
                scope.spawn(move || tap(&stage, jar, dice))
            })
            .collect();
        let killed = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
            kill_by_turns(&folder, &stage, serving, &mut dice)
        }));
        // The workers end their last act while it serves again.
        stage.over.store(true, Ordering::Relaxed);
        let (serving, kills) = killed.expect("every kill is recovered from");
        let tapped: Vec<Vec<String>> = tappers.into_iter().map(|t| t.join().unwrap()).collect();
        (serving, kills, tapped, signer.join().unwrap())
    });
    serving.stop();
    let acknowledged: Vec<String> = tapped.into_iter().flatten().collect();
    println!("{kills} kills, {} facts and {signed} sign-offs acknowledged", acknowledged.len());
    assert!(kills >= 20, "only {kills} kills in {LONGEST:?}: the machine is too slow to tell anything");
    assert!(acknowledged.len() as u32 > kills && signed as u32 > kills / 4, "there was load");

    let (facts, signatures, numbers) = with_owner(&folder, async |pool| record(pool, ids.run).await);
    let once: BTreeSet<&String> = facts.iter().collect();
    assert_eq!(once.len(), facts.len(), "no fact twice");
    assert_eq!(once, acknowledged.iter().collect(), "what was acknowledged is on record, and nothing else");
    assert_eq!(signatures - before, signed as i64, "each sign-off once");
    assert_eq!(numbers, (1..=numbers.len() as i32).collect::<Vec<_>>(), "no gap");
    let (code, out, err) = outcome(rinsebell(&["check", "--data", folder.path().to_str().unwrap()]));
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
    assert!(out.starts_with("nothing wrong: 1 runs, "), "{out}");
}
