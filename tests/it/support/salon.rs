//! One database with a founded salon, its app and its owner's hand on the clock.

use std::sync::OnceLock;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::Duration;

use rinsebell::app::{App, Settings};
use rinsebell::cluster::throwaway::{TestDatabase, Throwaway};
use rinsebell::domain::access::Role;
use rinsebell::domain::ids::{PersonId, SalonId, StationId};
use rinsebell::reference::Reference;
use rinsebell::store::{people, stations};
use rinsebell::{flow, secret};
use sqlx::PgPool;
use sqlx::postgres::PgPoolOptions;
use tokio::sync::OnceCell;
use tokio_util::sync::CancellationToken;

use super::Browser;

static CLUSTER: OnceCell<Throwaway> = OnceCell::const_new();
static NEXT: AtomicU32 = AtomicU32::new(1);
/// One PIN for everybody in tests, hashed once.
pub const PIN: &str = "402917";
pub const PASSPHRASE: &str = "three calm herons wade";

/// The clock of a practice database: an offset the app role cannot write.
const PRACTICE_CLOCK: &str = "
    create table practice_clock (ahead interval not null);
    insert into practice_clock values ('0');
    create or replace function rinsebell_now() returns timestamptz language sql volatile security definer
      set search_path = pg_catalog, public
      as 'select clock_timestamp() + (select ahead from public.practice_clock)';";

/// Ids of different tables lie far apart, so that a swapped id fails.
const FAR_APART: &str = "
    do $$ declare t record; n bigint := 1000; begin
      for t in select c.oid::regclass as seq from pg_class c where c.relkind = 'S' and c.relname like '%\\_seq' order by c.relname loop
        execute format('alter sequence %s restart with %s', t.seq, n); n := n + 10000;
      end loop; end $$;";

async fn cluster() -> &'static Throwaway {
    CLUSTER
        .get_or_init(|| async {
            let cluster = Throwaway::open(&std::env::temp_dir()).await.expect("a throw-away cluster opens");
            let made = cluster
                .create_database("practice", rinsebell::cluster::DATABASE)
                .await
                .expect("the template is made");
            let owner = PgPoolOptions::new()
                .max_connections(1)
                .connect_with(made.owner.clone())
                .await
                .expect("owner");
            sqlx::migrate!("./migrations").run(&owner).await.expect("migrations run");
            let mut conn = owner.acquire().await.expect("a connection");
            rinsebell::flow::protocols::note_shipped(&mut conn).await.expect("what is shipped is noted");
            drop(conn);
            sqlx::raw_sql(PRACTICE_CLOCK).execute(&owner).await.expect("the clock is replaced");
            sqlx::raw_sql(FAR_APART).execute(&owner).await.expect("ids lie far apart");
            owner.close().await;
            cluster
        })
        .await
}

/// The hash of [`PIN`], made once: hashing is slow on purpose.
fn pin_hash() -> &'static str {
    static HASH: OnceLock<String> = OnceLock::new();
    HASH.get_or_init(|| {
        std::thread::spawn(|| {
            tokio::runtime::Runtime::new()
                .expect("a runtime")
                .block_on(secret::Hasher::default().hash(PIN))
                .expect("hashed")
        })
        .join()
        .expect("the hashing thread ends")
    })
}

/// Somebody of the test salon.
#[derive(Clone, Copy, Debug)]
pub struct Staff {
    pub manager: PersonId,
    pub stylist: PersonId,
    pub other_stylist: PersonId,
    pub assistant: PersonId,
    pub reception: PersonId,
}

/// A salon in a database of its own.
pub struct Salon {
    pub app: App,
    pub id: SalonId,
    pub staff: Staff,
    /// The owner's connections: arranges what the app may not.
    pub owner: PgPool,
    /// Connect options for attacks.
    pub database: TestDatabase,
    stop: CancellationToken,
}

impl Salon {
    /// A fresh database without a salon, with the app on it.
    async fn bare(demo: bool) -> (App, PgPool, TestDatabase, CancellationToken) {
        let cluster = cluster().await;
        let name = format!("t_{}", NEXT.fetch_add(1, Ordering::Relaxed));
        let database = cluster.create_database(&name, "practice").await.expect("a database of its own");
        let owner = PgPoolOptions::new()
            .max_connections(2)
            .connect_with(database.owner.clone())
            .await
            .expect("owner");
        let stop = CancellationToken::new();
        let settings = Settings { secure: false, practice: true, demo };
        let app = App::start(database.app.clone(), Reference::embedded(), settings, stop.clone());
        (app, owner, database, stop)
    }

    /// A fresh database with the demo salon, loaded by two processes at once.
    pub async fn demo() -> Salon {
        let (app, owner, database, stop) = Salon::bare(true).await;
        let (a, b) = tokio::join!(
            rinsebell::demo::load(&database.owner, &app),
            rinsebell::demo::load(&database.owner, &app)
        );
        let loaded = [a.expect("loaded"), b.expect("loaded")];
        assert_eq!(loaded.iter().filter(|x| **x).count(), 1, "two processes load it once");
        let id: i64 =
            sqlx::query_scalar("select salon_id from salon").fetch_one(&owner).await.expect("one salon");
        let id = SalonId(id);
        let mut s = app.begin(id).await.expect("begin");
        let team = people::list(&mut s).await.expect("read");
        s.commit().await.expect("committed");
        let of = |name: &str| team.iter().find(|p| p.name == name).expect("hired").id;
        let staff = Staff {
            manager: of("Ferris Vane"),
            stylist: of("Tobias Fenn"),
            other_stylist: of("Priya Lund"),
            assistant: of("Mara Quill"),
            reception: of("Joss Ember"),
        };
        Salon { app, id, staff, owner, database, stop }
    }

    /// A fresh database, at noon, without a salon: app, its owner's connect options, the stop of the app.
    pub async fn nobody() -> (App, PgPool, TestDatabase, CancellationToken) {
        let (app, owner, database, stop) = Salon::bare(true).await;
        sqlx::query("update practice_clock set ahead = date_trunc('day', clock_timestamp()) + interval '12 hours' - clock_timestamp()")
            .execute(&owner)
            .await
            .expect("the clock is set");
        (app, owner, database, stop)
    }

    /// A fresh database with one salon, five people (PIN [`PIN`], manager also [`PASSPHRASE`]).
    pub async fn open() -> Salon {
        let (app, owner, database, stop) = Salon::bare(false).await;
        let id: i64 = sqlx::query_scalar(
            "insert into salon (name, zone) values ('Kestrel Row', 'Europe/Paris') returning salon_id",
        )
        .fetch_one(&owner)
        .await
        .expect("a salon");
        let id = SalonId(id);
        let staff = Self::hire(&app, id).await;
        Salon { app, id, staff, owner, database, stop }
    }

    async fn hire(app: &App, id: SalonId) -> Staff {
        let mut s = app.begin(id).await.expect("begin");
        let hash = pin_hash();
        let mut staff = Vec::new();
        for (name, role) in [
            ("Ondine Marsh", Role::Manager),
            ("Tobias Fenn", Role::Stylist),
            ("Priya Lund", Role::Stylist),
            ("Mara Quill", Role::Assistant),
            ("Joss Ember", Role::Reception),
        ] {
            let person = people::insert(&mut s, name, role, Some(hash), None).await.expect("hired");
            if matches!(role, Role::Stylist | Role::Manager) {
                people::set_qualifications(&mut s, person, &["thio".into(), "colour".into()])
                    .await
                    .expect("qualified");
            }
            staff.push(person);
        }
        s.commit().await.expect("committed");
        Staff {
            manager: staff[0],
            stylist: staff[1],
            other_stylist: staff[2],
            assistant: staff[3],
            reception: staff[4],
        }
    }

    /// Moves the database's clock ahead.
    pub async fn advance(&self, by: Duration) {
        sqlx::query("update practice_clock set ahead = ahead + make_interval(secs => $1)")
            .bind(by.as_secs_f64())
            .execute(&self.owner)
            .await
            .expect("the clock moves");
    }

    /// A second salon in the same database (a stranger's).
    pub async fn second(&self) -> SalonId {
        let id: i64 = sqlx::query_scalar(
            "insert into salon (name, zone) values ('Heron Yard', 'America/New_York') returning salon_id",
        )
        .fetch_one(&self.owner)
        .await
        .expect("a second salon");
        SalonId(id)
    }

    /// A browser paired as a new station of this kind; nobody signed in.
    pub async fn station(&self, name: &str, kind: &str) -> Browser {
        let mut s = self.app.begin(self.id).await.expect("begin");
        let station: StationId = stations::insert(&mut s, name, kind).await.expect("a station");
        s.commit().await.expect("committed");
        let token = flow::sign_in::pair_station(&self.app, self.id, station).await.expect("paired");
        Browser::new(&self.app, format!("rinsebell_station={}.{token}", self.id), station)
    }

    /// A browser at a new station with this person signed in.
    pub async fn seat(&self, name: &str, kind: &str, person: PersonId) -> Browser {
        let mut browser = self.station(name, kind).await;
        let answer = browser
            .post("/sign-in", &[("person", &person.to_string()), ("pin", PIN), ("next", "/floor")])
            .await;
        assert_eq!(answer.status, 303, "{}", answer.body);
        browser
    }
}

impl Drop for Salon {
    fn drop(&mut self) {
        self.stop.cancel();
    }
}
